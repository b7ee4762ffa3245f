"""Heat that spreads: rectangles on stacks with adiabatic edges, against the summed series.

Series: Yovanovich, Muzychka, Culham, J. Thermophys. Heat Transfer 13 (1999) 495; Muzychka, Culham, Yovanovich,
J. Electron. Packag. 125 (2003) 178. The numbers stand in K/W, and come from those formulas summed to all digits shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest
from stacks import Mapping, case_of, film, part, rise, solve_on

from thermsim.case.vocabulary.schema import Case
from thermsim.model.grid.plan import plan_grid
from thermsim.proof.closed_form.flux_channel import (
    Channel,
    ChannelLayer,
    Rectangle,
    influence_matrix,
    mean_rise,
    point_rise,
)
from thermsim.proof.closed_form.half_space import rectangle_mean

MULTIPLIERS = (2, 3, 4, 6)
FIRST_CELLS = 8_000  # at the first multiplier; 27 times as many at the last
ORDER = 1.7  # the jump of the flux at the edge of a source slows the mean below 2


@dataclass(frozen=True)
class Plate:
    """Layers from the heated top down: (thickness mm, in plane, through); source (centre, size) in mm."""

    layers: tuple[tuple[float, float, float], ...]
    film: float
    source: tuple[float, float, float, float]
    mean: float
    centre: float
    side: float = 40.0

    def case(self) -> Case:
        layers = [
            part(f"layer {number}", [self.side, self.side], thickness, [in_plane, through])
            for number, (thickness, in_plane, through) in enumerate(self.layers)
        ]
        zone = zone_of("source", self.source)
        top: Mapping = {"in": "layer 0", "at": "top", "zones": [zone]}
        at = [self.source[0], self.source[1], self.layers[0][0]]
        return case_of(
            layers[::-1],
            [top],
            [film("bottom", self.film)],
            probes=[{"probe": "centre", "in": "layer 0", "at_mm": at}],
        )

    def channel(self) -> tuple[Channel, Rectangle]:
        layers = tuple(ChannelLayer(1e-3 * t, along, through) for t, along, through in self.layers)
        side = 1e-3 * self.side
        return Channel(side, side, layers, self.film), Rectangle(*(1e-3 * length for length in self.source))


PLATES = {
    "E1": Plate(((3, 390, 390),), 5000, (20, 20, 10, 10), 0.262682, 0.296575),
    "E1b": Plate(((3, 390, 390),), 10_000, (15, 22, 14, 10), 0.169276, 0.198033),
    "E2": Plate(((3, 390, 390), (0.05, 4, 4)), 20_000, (20, 20, 10, 10), 0.159262, 0.190102),
    "E5": Plate(((1, 1500, 8),), 5000, (20, 20, 10, 10), 0.497133, 0.576759),
}


def zone_of(name: str, place: tuple[float, float, float, float], power_W: float = 1.0) -> Mapping:
    x, y, size_x, size_y = place
    return {
        "zone": name,
        "corner_mm": [x - size_x / 2, y - size_y / 2],
        "size_mm": [size_x, size_y],
        "power_W": power_W,
    }


def table(title: str, cells: list[int], sizes: list[float], errors: list[float]) -> list[float]:
    """Print `cells | h | error | ratio | order` and return the orders."""
    print(f"\n{title}\n{'cells':>9} | {'h':>7} | {'error':>11} | {'ratio':>6} | order")
    orders: list[float] = []
    for number, (count, size, error) in enumerate(zip(cells, sizes, errors, strict=True)):
        line = f"{count:9d} | {size:7.4f} | {error:11.4e} | "
        if number:
            ratio = abs(errors[number - 1] / error)
            orders.append(math.log(ratio) / math.log(sizes[number - 1] / size))
            line += f"{ratio:6.3f} | {orders[-1]:.3f}"
        print(line)
    return orders


@pytest.mark.parametrize("name", PLATES)
def test_source_on_a_plate(name: str) -> None:
    """Finest of four grids: mean within 0.25 %, centre within 0.15 %; extrapolated, both within 0.03 %."""
    plate = PLATES[name]
    channel, source = plate.channel()
    mean, centre = mean_rise(channel, source), point_rise(channel, source, source.centre_x, source.centre_y)
    assert mean.value == pytest.approx(plate.mean, abs=1e-6)
    assert centre.value == pytest.approx(plate.centre, abs=1e-6)
    case = plate.case()
    plan = plan_grid(case, FIRST_CELLS)
    means, centres, cells = [], [], []
    for multiplier in MULTIPLIERS:
        field = solve_on(case, plan.grid(multiplier))
        means.append(rise(field, "source"))
        centres.append(field.at((0.001 * (plate.source[0] - 20), 0.001 * (plate.source[1] - 20), total(plate))))
        cells.append(field.model.grid.cells)
    sizes = [1 / multiplier for multiplier in MULTIPLIERS]
    of_mean = table(f"{name}, mean of the source", cells, sizes, [value - mean.value for value in means])
    of_centre = table(f"{name}, its centre", cells, sizes, [value - centre.value for value in centres])
    assert min(of_mean) > ORDER and min(of_centre) > ORDER
    assert means[-1] == pytest.approx(mean.value, rel=2.5e-3)
    assert centres[-1] == pytest.approx(centre.value, rel=1.5e-3)
    assert extrapolated(means, sizes) == pytest.approx(mean.value, rel=3e-4)
    assert extrapolated(centres, sizes) == pytest.approx(centre.value, rel=3e-4)


def total(plate: Plate) -> float:
    return 1e-3 * sum(thickness for thickness, _, _ in plate.layers)


def extrapolated(values: list[float], sizes: list[float], order: float = 1.9) -> float:
    """Richardson's value from the two finest grids."""
    ratio = (sizes[-2] / sizes[-1]) ** order
    return (ratio * values[-1] - values[-2]) / (ratio - 1.0)


@pytest.mark.slow
@pytest.mark.parametrize("name", PLATES)
def test_source_on_a_plate_within_a_thousandth(name: str) -> None:
    """One fine grid alone: mean and centre within 0.1 %."""
    plate = PLATES[name]
    case = plate.case()
    field = solve_on(case, plan_grid(case, 40_000).grid(6))
    assert rise(field, "source") == pytest.approx(plate.mean, rel=1e-3)
    centre = field.at((0.001 * (plate.source[0] - 20), 0.001 * (plate.source[1] - 20), total(plate)))
    assert centre == pytest.approx(plate.centre, rel=1e-3)


def test_orthotropic_plate_is_an_isotropic_one_stretched() -> None:
    """k_e = sqrt(k_p k_z), t_e = t sqrt(k_p/k_z): the same answer, on the same cells to round-off."""
    stretch = math.sqrt(1500 / 8)
    values = []
    for thickness, layer in ((1.0, [1500, 8]), (stretch, [math.sqrt(12_000)] * 2)):
        zones = [zone_of("source", (20, 20, 10, 10))]
        heat = [{"in": "plate", "at": "top", "zones": zones}]
        case = case_of([part("plate", [40, 40], thickness, layer)], heat, [film("bottom", 5000)])
        grid = plan_grid(case, 4000).grid(2)
        values.append((rise(solve_on(case, grid), "source"), grid.z.cells))
    assert values[0][1] == values[1][1]
    assert values[0][0] == pytest.approx(values[1][0], rel=1e-9)


def test_matrix_of_two_sources() -> None:
    """E3: self and mutual rises of two rectangles, and their superposition at 60 and 40 W."""
    places = {"A": (10.0, 12.0, 8.0, 8.0), "B": (28.0, 25.0, 6.0, 10.0)}
    printed = {("A", "A"): 0.351488, ("B", "B"): 0.327243, ("A", "B"): 0.0726649, ("B", "A"): 0.0726649}
    rectangles = tuple(Rectangle(*(1e-3 * length for length in place)) for place in places.values())
    exact = influence_matrix(Channel(0.04, 0.04, (ChannelLayer(3e-3, 390, 390),), 5000), rectangles).value

    def solved(power: dict[str, float], multiplier: int) -> dict[str, float]:
        zones = [zone_of(name, place, power[name]) for name, place in places.items()]
        heat = [{"in": "plate", "at": "top", "zones": zones}]
        case = case_of([part("plate", [40, 40], 3, 390)], heat, [film("bottom", 5000)])
        field = solve_on(case, plan_grid(case, 8000).grid(multiplier))
        return {name: rise(field, name) for name in places}

    only = {name: {m: solved({"A": 0.0, "B": 0.0, name: 1.0}, m) for m in (3, 4)} for name in places}
    for (seen, heated), value in printed.items():
        row, column = list(places).index(seen), list(places).index(heated)
        assert exact[row, column] == pytest.approx(value, abs=1e-6)
        pair = [only[heated][m][seen] for m in (3, 4)]
        assert extrapolated(pair, [1 / 3, 1 / 4]) == pytest.approx(value, rel=1e-3)
    for multiplier in (3, 4):
        mutual = only["A"][multiplier]["B"], only["B"][multiplier]["A"]
        assert mutual[0] == pytest.approx(mutual[1], rel=1e-9)  # reciprocity
    both = solved({"A": 60.0, "B": 40.0}, 4)
    for name, printed_K in (("A", 23.9959), ("B", 17.4496)):
        assert both[name] == pytest.approx(60 * only["A"][4][name] + 40 * only["B"][4][name], rel=1e-9)
        assert both[name] == pytest.approx(printed_K, rel=5e-3)


def test_strip_in_a_slice() -> None:
    """E6: a strip of 10 mm on a bar 40 mm wide: 0.00677319 K m/W, at its centre 0.00703279, at the edge 0.00399643."""
    heat = [{"in": "bar", "at": "top", "zones": [{"zone": "strip", "corner_mm": 15, "size_mm": 10, "power_W": 1.0}]}]
    layers = [part("bar", 40, 3, 390)]
    case = case_of(layers, heat, [film("bottom", 5000)], dimensions=2)
    plan = plan_grid(case, 1000)
    errors, cells = [], []
    for multiplier in (2, 4, 8, 16):
        field = solve_on(case, plan.grid(multiplier))
        found = rise(field, "strip"), field.at((0.0, 0.5, 3e-3)), field.at((0.02, 0.5, 3e-3))
        exact = 0.00677319, 0.00703279, 0.00399643
        errors.append([value - true for value, true in zip(found, exact, strict=True)])
        cells.append(field.model.grid.cells)
    orders = table("E6, mean of the strip", cells, [1 / 2, 1 / 4, 1 / 8, 1 / 16], [error[0] for error in errors])
    assert min(orders[:2]) > ORDER  # the last error is near the digits of the reference
    for error, true in zip(errors[-1], exact, strict=True):
        assert abs(error) < 5e-4 * true


def test_slice_of_any_depth_and_a_long_plate_agree() -> None:
    """Watts of a slice are watts over its depth; a 3-D plate heated across its whole width is the same problem."""
    rises = []
    for more, size, zone in (
        ({"dimensions": 2}, 40, {"corner_mm": 15, "size_mm": 10, "power_W": 50.0}),
        ({"dimensions": 2, "depth_mm": 250.0}, 40, {"corner_mm": 15, "size_mm": 10, "power_W": 12.5}),
        ({}, [40, 20], {"corner_mm": [15, 0], "size_mm": [10, 20], "power_W": 1.0}),
    ):
        heat = [{"in": "bar", "at": "top", "zones": [{"zone": "strip", **zone}]}]
        case = case_of([part("bar", size, 3, 390)], heat, [film("bottom", 5000)], **more)
        flat = case_of([part("bar", 40, 3, 390)], [{"in": "bar", "at": "top", "zones": [
            {"zone": "strip", "corner_mm": 15, "size_mm": 10, "power_W": 50.0}]}], [film("bottom", 5000)],
            dimensions=2)  # fmt: skip
        grid = plan_grid(flat, 1000).grid(2)
        own = plan_grid(case, 1000).grid(2)
        rises.append(rise(solve_on(case, type(grid)(grid.x, own.y, grid.z)), "strip"))
    assert rises[1] == pytest.approx(rises[0], rel=1e-9)
    assert rises[2] == pytest.approx(rises[0], rel=1e-9)


def test_source_on_a_block_is_nearly_one_on_a_half_space() -> None:
    """Yovanovich & Marotta, Heat Transfer Handbook (2003), ch. 4: k sqrt(A) R of a square is 0.4732 (mean).

    The block is 20 times as wide and deep as the source, its base is cold; what is missing beyond is taken from the
    series for the same block, so that only the code is judged.
    """
    zone = zone_of("source", (10, 10, 1, 1))
    heat = [{"in": "block", "at": "top", "zones": [zone]}]
    case = case_of([part("block", [20, 20], 20, 100)], heat, [{"face": "bottom", "temperature_C": 0.0}])
    plan = plan_grid(case, 30_000)
    channel = Channel(0.02, 0.02, (ChannelLayer(0.02, 100, 100),), math.inf)
    cut = rectangle_mean(1e-3, 1e-3, 100) - mean_rise(channel, Rectangle(0.01, 0.01, 1e-3, 1e-3)).value
    means = [rise(solve_on(case, plan.grid(multiplier)), "source") for multiplier in (2, 3)]
    assert abs(cut) < 0.05 * means[-1]
    whole = extrapolated(means, [1 / 2, 1 / 3]) + cut
    assert whole * 100 * 1e-3 == pytest.approx(0.473201004409, rel=5e-3)

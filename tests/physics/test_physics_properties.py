"""What must hold for any stack, without a reference number: conservation, symmetry, scaling, bounds.

Reciprocity: Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 14.2. Rayleigh's monotonicity and
the bounds by isothermal planes and by parallel tubes: Elrod, ASME J. Heat Transfer 96 (1974) 65, from memory.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from stacks import Mapping, case_of, even_grid, film, joint, part, rise, solve_case, solve_on, uneven_grid

from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import RunawayError
from thermsim.model.grid.axes import Axis, Grid
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.field import Field

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.yaml"))
TIGHT = 1e-9


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_heat_balance_of_shipped_cases(path: Path) -> None:
    """Conservation of energy over every face: 1e-9 of the heat that enters."""
    field = solve_case(read_case(path), 3000)
    assert field.heat_balance_relative < TIGHT
    # and the temperatures lie between the coldest coolant and the hottest spot
    cells = field.temperature[field.model.region >= 0]
    assert cells.min() >= field.model.coldest_C - 1e-9 * (cells.max() - field.model.coldest_C)
    assert cells.max() <= field.hottest[0] + 1e-9 * abs(field.hottest[0])


# ---- a stack with everything in it, on random uneven grids --------------------------------------------------------

ZONES = {"A": ([1.0, 0.5], [3.0, 4.0]), "B": ([5.5, 1.0], [2.5, 3.0]), "C": ([1.0, 5.0], [7.0, 1.5])}


def die_stack(
    watts: dict[str, float],
    die_k: Any = 110,
    lid_k: Any = 390,
    solder: float = 4.0,
    paste: float = 8.0,
    strength: float = 14_000,
    scale: float = 1.0,
    fluid_C: float = 0.0,
    split: bool = False,
) -> Case:
    """A die off the axis under a lid under a plate, substrate below; `scale` stretches every length."""

    def mm(*lengths: float) -> list[float]:
        return [scale * length for length in lengths]

    zones = [
        {"zone": name, "corner_mm": mm(*corner), "size_mm": mm(*size), "power_W": watts.get(name, 0.0)}
        for name, (corner, size) in ZONES.items()
    ]
    lids = [("lid", 2.4)] if not split else [("lid", 0.8), ("lid, rest", 1.6)]
    layers: list[Mapping] = [
        part("substrate", mm(20, 18), scale * 1.2, [20, 0.5]),
        part("die", mm(9, 7), scale * 0.7, die_k, centre_mm=mm(1.5, -1.0)),
        joint("solder", solder),
        *(part(name, mm(16, 15), scale * thickness, lid_k) for name, thickness in lids),
        joint("paste", paste),
        part("plate", mm(20, 20), scale * 3, 390),
    ]
    cooling = [
        film("top", strength, fluid_C, wetted_mm=mm(17, 17)),
        film("bottom", 12 * strength / 14_000, fluid_C),
        film("exposed", 10 * strength / 14_000, fluid_C),
    ]
    return case_of(layers, [{"in": "die", "at": "bottom", "zones": zones}], cooling)


def rises(case: Case, grid: Grid, fluid_C: float = 0.0) -> dict[str, float]:
    field = solve_on(case, grid)
    assert field.heat_balance_relative < TIGHT
    return {zone.zone: zone.mean_C - fluid_C for zone in field.zones}


@pytest.fixture(scope="module")
def grid() -> Grid:
    return uneven_grid(die_stack({"A": 1.0}), np.random.default_rng(9241), most=3)


def test_reciprocity_and_superposition(grid: Grid) -> None:
    """F_ij = F_ji, and rises of all zones are the sum of what each zone causes."""
    influence = {heated: rises(die_stack({heated: 1.0}), grid) for heated in ZONES}
    for one in ZONES:
        for other in ZONES:
            assert influence[one][other] == pytest.approx(influence[other][one], rel=TIGHT)
    watts = {"A": 60.0, "B": 25.0, "C": 40.0}
    together = rises(die_stack(watts), grid)
    for seen in ZONES:
        summed = sum(power * influence[heated][seen] for heated, power in watts.items())
        assert together[seen] == pytest.approx(summed, rel=TIGHT)


def test_coolant_temperature_only_shifts(grid: Grid) -> None:
    watts = {"A": 60.0, "B": 25.0}
    cold, warm = rises(die_stack(watts), grid), rises(die_stack(watts, fluid_C=47.5), grid, 47.5)
    assert warm == pytest.approx(cold, rel=TIGHT)


def test_no_power_no_rise(grid: Grid) -> None:
    field = solve_on(die_stack({}, fluid_C=31.0), grid)
    assert np.abs(field.temperature[field.model.region >= 0] - 31.0).max() < 1e-9
    assert field.heat_balance_relative == 0.0


def test_scaling_law(grid: Grid) -> None:
    """Lengths times s, resistances per area times s, films over s: every resistance [K/W] over s."""
    s, watts = 3.0, {"A": 60.0, "B": 25.0}
    small = rises(die_stack(watts), grid)
    larger = Grid(*(Axis(s * axis.faces) for axis in grid.axes))
    large = rises(die_stack(watts, solder=4.0 * s, paste=8.0 * s, strength=14_000 / s, scale=s), larger)
    assert {zone: s * value for zone, value in large.items()} == pytest.approx(small, rel=TIGHT)


def test_cutting_a_layer_in_two_changes_nothing() -> None:
    """The same cells, one lid or two lids of the same copper on one another."""
    case = die_stack({"A": 60.0, "B": 25.0}, split=True)
    cells = uneven_grid(case, np.random.default_rng(771), most=3)
    assert rises(die_stack({"A": 60.0, "B": 25.0}), cells) == pytest.approx(rises(case, cells), rel=TIGHT)


def test_joint_of_no_resistance_is_no_joint(grid: Grid) -> None:
    watts = {"A": 60.0, "B": 25.0}
    case = die_stack(watts, solder=0.0)
    bare = case.model_copy(update={"layers": [layer for layer in case.layers if layer != case.joints[0]]})
    assert len(bare.layers) == len(case.layers) - 1
    assert rises(bare, grid) == pytest.approx(rises(case, grid), rel=TIGHT)


def test_thin_layer_becomes_a_joint() -> None:
    """t/k fixed, t -> 0: what the layer has over the joint is heat along it, which falls with k t, as t^2."""
    heat = [{"in": "die", "at": "bottom", "zones": [
        {"zone": "hot", "corner_mm": [2, 2], "size_mm": [3, 3], "power_W": 50.0}]}]  # fmt: skip
    die, lid = part("die", [8, 8], 0.6, 120), part("lid", [8, 8], 2.0, 390)
    cooling = [film("top", 15_000)]
    as_joint = case_of([die, joint("film", 10.0), lid], heat, cooling)
    flat = even_grid(as_joint, [0.5, 0.5, 0.1])
    wanted = rise(solve_on(as_joint, flat), "hot")
    off = []
    for thickness in (0.1, 0.01, 0.001):
        layer = part("film", [8, 8], thickness, thickness / 10.0 * 1e3)
        case = case_of([die, layer, lid], heat, cooling)
        z = flat.z.faces
        low = z[z <= 0.6e-3 + 1e-12]
        heights = np.concatenate([low, low[-1] + 1e-3 * thickness * np.array([0.5, 1.0]),
                                  z[len(low) :] + 1e-3 * thickness])  # fmt: skip
        off.append(rise(solve_on(case, Grid(flat.x, flat.y, Axis(heights))), "hot") - wanted)
    assert abs(off[2]) < 1e-6 * wanted
    assert off[0] / off[1] == pytest.approx(100, rel=0.05) and off[1] / off[2] == pytest.approx(100, rel=0.05)


# ---- symmetry -----------------------------------------------------------------------------------------------------


def crooked(flip: bool, turn: bool) -> tuple[Case, Grid]:
    """A stack without symmetry; mirrored in x, and with x and y exchanged."""

    def place(corner: list[float], size: list[float], whole: list[float]) -> Mapping:
        x = whole[0] - corner[0] - size[0] if flip else corner[0]
        found = [x, corner[1]], size
        return {"corner_mm": found[0][:: -1 if turn else 1], "size_mm": size[:: -1 if turn else 1]}

    def plan(pair: list[float]) -> list[float]:
        return pair[::-1] if turn else pair

    centre = [-1.5 if flip else 1.5, -1.0]
    zones = [
        {"zone": name, "power_W": watts, **place(*ZONES[name], [9.0, 7.0])}
        for name, watts in (("A", 60.0), ("B", 25.0), ("C", 5.0))
    ]
    towards = {(False, False): "+x", (True, False): "-x", (False, True): "+y", (True, True): "-y"}[flip, turn]
    insert = {"material": "void", **place([8.2, 0.5], [0.5, 1.0], [9.0, 7.0])}
    k = {"in_plane_W_mK": [60, 200] if turn else [200, 60], "through_W_mK": 100}
    film_um = {"low": 20, "high": 90, "towards": towards}
    layers = [
        {**part("die", plan([9, 7]), 0.7, 1.0, centre_mm=plan(centre), inserts=[insert]), "material": k},
        {"joint": "wedge", "film_um": film_um, "conductivity_W_mK": 4},
        part("lid", plan([16, 15]), 2.4, {"conductivity_W_mK": {"value": 390, "at_C": 20, "exponent": 0.5}}),
    ]
    left, right, front = ("right", "left", "front") if flip else ("left", "right", "front")
    if turn:
        left, right, front = ("back", "front", "left") if flip else ("front", "back", "left")
    cooling = [film("top", 9000, 20), film(left, 300, 15), film(front, 100, 30), {"face": right, "temperature_C": 21}]
    case = case_of(layers, [{"in": "die", "at": "bottom", "zones": zones}], cooling)
    return case, plan_grid(case, 2500).grid(2)


@pytest.mark.parametrize(("flip", "turn"), [(True, False), (False, True), (True, True)])
def test_mirror_and_exchange_of_x_and_y(flip: bool, turn: bool) -> None:
    case, cells = crooked(False, False)
    plain = solve_on(case, cells)
    moved_case, moved_cells = crooked(flip, turn)
    moved = solve_on(moved_case, moved_cells)
    back = moved.temperature.transpose(1, 0, 2) if turn else moved.temperature
    back = back[::-1] if flip else back
    assert np.nanmax(np.abs(back - plain.temperature)) < TIGHT * 100
    for one, other in zip(plain.zones, moved.zones, strict=True):
        assert other.mean_C == pytest.approx(one.mean_C, rel=TIGHT)
        assert other.highest_C == pytest.approx(one.highest_C, rel=TIGHT)
    assert sorted(f.heat_W for f in moved.flows) == pytest.approx(sorted(f.heat_W for f in plain.flows), rel=1e-7)


# ---- bounds -------------------------------------------------------------------------------------------------------


def mean_resistance(field: Field) -> float:
    """Power-weighted mean rise over all power [K/W]."""
    total = sum(zone.power_W for zone in field.zones)
    return sum(zone.power_W * zone.mean_C for zone in field.zones) / total**2


def test_monotonicity(grid: Grid) -> None:
    """Raising any conductivity, film or joint conductance never raises the mean resistance."""
    watts = {"A": 60.0, "B": 25.0, "C": 5.0}
    base = mean_resistance(solve_on(die_stack(watts), grid))
    better: list[dict[str, Any]] = [
        {"die_k": [130, 110]},
        {"die_k": [110, 130]},
        {"lid_k": 400},
        {"solder": 3.5},
        {"paste": 7.0},
        {"strength": 15_000},
    ]
    for change in better:
        assert mean_resistance(solve_on(die_stack(watts, **change), grid)) < base, change


def test_between_isothermal_planes_and_parallel_tubes() -> None:
    """E1 (a square of 10 mm on 40 mm copper): 0.129808 <= 0.262682 <= 2.076923 K/W; and on the way in order."""
    zone = {"zone": "source", "corner_mm": [15, 15], "size_mm": [10, 10], "power_W": 1.0}
    heat = [{"in": "plate", "at": "top", "zones": [zone]}]
    found = []
    for in_plane in (1e-4, 1.0, 30.0, 390.0, 3000.0, 1e6):
        case = case_of([part("plate", [40, 40], 3, [in_plane, 390])], heat, [film("bottom", 5000)])
        found.append(mean_resistance(solve_on(case, even_grid(case, [2, 2, 0.1]))))
    assert all(after < before for before, after in pairwise(found))
    assert found[0] == pytest.approx(2.076923, rel=1e-3)
    assert found[-1] == pytest.approx(0.129807692, rel=4e-2)
    assert found[3] == pytest.approx(0.262682, rel=3e-2)


@pytest.mark.parametrize("seed", range(3310, 3322))
def test_maximum_principle_on_random_stacks(seed: int) -> None:
    """Heat sources only: no cell colder than the coldest coolant, the hottest spot where heat is made."""
    rng = np.random.default_rng(seed)
    watts = {name: float(rng.uniform(0, 60)) for name in ZONES}
    k = {name: float(10 ** rng.uniform(-0.5, 3)) for name in ("die_k", "lid_k")}
    resist = {name: float(10 ** rng.uniform(-1, 2)) for name in ("solder", "paste")}
    case = die_stack(watts, **k, **resist, strength=float(10 ** rng.uniform(2, 5)), fluid_C=25.0)
    field = solve_on(case, uneven_grid(case, rng, most=3))
    cells = field.temperature[field.model.region >= 0]
    faces = np.concatenate([face.ravel() for face in field.heated_face])
    assert cells.min() > 25.0 - TIGHT
    assert cells.max() <= faces.max() + TIGHT * faces.max()
    assert field.hottest[0] >= max(zone.highest_C for zone in field.zones) - TIGHT
    assert field.heat_balance_relative < TIGHT


def test_nothing_is_told_beyond_the_limit() -> None:
    """Linear leakage whose slope outruns the film of a single zone is refused on every grid."""
    heat = [{"in": "die", "at": "bottom", "leakage": {"per_K": 0.02, "at_C": 20},
             "zones": [{"zone": "z", "power_W": 100.0}]}]  # fmt: skip
    case = case_of([part("die", [10, 10], 0.7, 100)], heat, [film("top", 15_000, 20)])
    for widest in (10.0, 2.0, 0.5):
        with pytest.raises(RunawayError):
            solve_on(case, even_grid(case, [widest, widest, 0.1]))

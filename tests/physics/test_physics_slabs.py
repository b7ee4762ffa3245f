"""One-dimensional stacks: what a control-volume code must meet to round-off on any grid, and k(T) to second order."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from stacks import Mapping, case_of, even_grid, film, joint, part, rise, solve_on, uneven_grid

from thermsim.case.vocabulary.schema import Case
from thermsim.proof.closed_form.nonlinear import linear_law_slab_inside, power_law_slab_top
from thermsim.proof.closed_form.slab import INSULATED, Element, End, HeatedPlane, Joint, Layer, SlabSolution, solve_slab
from thermsim.readout.field import Field

KELVIN = 273.15
AREA_M2 = 6e-3 * 4e-3
SIZE_MM = [6.0, 4.0]


def random_stack(rng: np.random.Generator) -> tuple[Case, SlabSolution, dict[str, int]]:
    """A stack of equal outlines: as a case, solved by hand, and the index of each part among the elements."""
    layers: list[Mapping] = []
    heat: list[Mapping] = []
    elements: list[Element] = []
    index = {}
    for number in range(rng.integers(1, 6)):
        if number and rng.random() < 0.6:
            resistance = float(rng.choice([0.0, 10 ** rng.uniform(-1, 2)]))
            layers.append(joint(f"j{number}", resistance))
            elements.append(Joint(1e-6 * resistance))
        name, k, thickness = f"p{number}", float(10 ** rng.uniform(-0.3, 3.2)), float(10 ** rng.uniform(-1.7, 0.7))
        layers.append(part(name, SIZE_MM, thickness, [10 * k, k]))
        at = str(rng.choice(["bottom", "top", "volume", "none"], p=[0.25, 0.2, 0.2, 0.35]))
        watts = float(rng.uniform(1, 50)) if at != "none" else 0.0
        if watts:
            heat.append({"in": name, "at": at, "zones": [{"zone": f"z{number}", "power_W": watts}]})
        flux = watts / AREA_M2
        if at == "bottom":
            elements.append(HeatedPlane(flux))
        index[name] = len(elements)
        elements.append(Layer(1e-3 * thickness, k, flux / (1e-3 * thickness) if at == "volume" else 0.0))
        if at == "top":
            elements.append(HeatedPlane(flux))
    kinds = [str(kind) for kind in rng.permutation(["film", str(rng.choice(["film", "fixed", "insulated"]))])]
    ends, cooling = [], []
    for face, kind in zip(("bottom", "top"), kinds, strict=True):
        fluid, strength = float(rng.uniform(-10, 60)), float(10 ** rng.uniform(1, 5))
        if kind == "film":
            cooling.append(film(face, strength, fluid))
            ends.append(End(strength, fluid))
        elif kind == "fixed":
            cooling.append({"face": face, "temperature_C": fluid})
            ends.append(End(math.inf, fluid))
        else:
            ends.append(INSULATED)
    return case_of(layers, heat, cooling), solve_slab(ends[0], elements, ends[1]), index


@pytest.mark.parametrize("seed", range(7000, 7040))
def test_random_stack_is_exact_on_any_grid(seed: int) -> None:
    """Resistances in series and generation in a plane wall: Incropera et al., 6th ed., sections 3.1 and 3.5."""
    rng = np.random.default_rng(seed)
    case, exact, index = random_stack(rng)
    field = solve_on(case, uneven_grid(case, rng))
    known = [cooling.fluid_C for cooling in field.model.coolings]
    scale = max(*exact.face_C, *known) - min(*exact.face_C, *known) + 1.0
    for name, element in index.items():
        level = field.model.level_of_part[name]
        lower, upper = field.z_nodes(level.start)[1], field.z_nodes(level.stop)[0]
        assert np.abs(lower - exact.face_C[element]).max() < 1e-9 * scale
        assert np.abs(upper - exact.face_C[element + 1]).max() < 1e-9 * scale
    for zone in field.zones:
        assert zone.area_m2 == pytest.approx(AREA_M2, rel=1e-12)
        if zone_is_face(field, zone.zone):
            face = index[zone.part] + (1 if heated_at(case, zone.part) == "top" else 0)
            assert zone.mean_C == pytest.approx(exact.face_C[face], abs=1e-9 * scale)


def zone_is_face(field: Field, zone: str) -> bool:
    return next(cells for cells in field.model.zones if cells.zone == zone).face is not None


def heated_at(case: Case, name: str) -> str:
    return next(heat.at for heat in case.heat if heat.in_ == name)


def test_chip_between_two_films() -> None:
    """Incropera & DeWitt, 6th ed., Example 3.2: chip on an epoxy joint on aluminium, air on both sides."""
    layers = [part("aluminium", [10, 10], 8, 239), joint("epoxy", 90), part("chip", [10, 10], 0.01, 1e9)]
    heat = [{"in": "chip", "at": "top", "zones": [{"zone": "chip", "power_W": 1.0}]}]
    case = case_of(layers, heat, [film("top", 100, 25), film("bottom", 100, 25)])
    field = solve_on(case, even_grid(case, [4, 4, 1]))
    up, down = field.flows
    assert rise(field, "chip") == pytest.approx(75.306788010, abs=1e-6)  # book, rounded: 75.3 C
    assert up.heat_W / 1e-4 == pytest.approx(5030.678801, rel=1e-8)
    assert down.heat_W / 1e-4 == pytest.approx(4969.321199, rel=1e-8)
    assert down.face_C == pytest.approx(74.693212, abs=1e-6)


def test_composite_wall_with_generation() -> None:
    """Incropera et al., 6th ed., Example 3.7: 105, 115 and 140 C."""
    layers = [part("A", [10, 10], 50, 75), part("B", [10, 10], 20, 150)]
    heat = [{"in": "A", "at": "volume", "zones": [{"zone": "A", "power_W": 1.5e6 * 50e-3 * 1e-4}]}]
    case = case_of(layers, heat, [film("top", 1000, 30)])
    field = solve_on(case, even_grid(case, [10, 10, 5]))
    grid = field.model.grid
    middle = (0.0, 0.0)
    assert field.at((*middle, 0.07)) == pytest.approx(105, abs=1e-8)
    assert field.at((*middle, 0.05)) == pytest.approx(115, abs=1e-8)
    assert field.z_nodes(0)[1] == pytest.approx(140, abs=1e-8)  # even cells: the insulated face too
    # A point is read to second order in a part that is heated throughout: half a cell of it is q h^2/(8k) = 0.0625 K.
    assert field.at((*middle, 0.0)) == pytest.approx(140, abs=0.063)
    assert field.hottest[0] == pytest.approx(140, abs=0.063)
    # The mean over the wall: 115 + q L^2/(3k) = 131.667 C, to second order in the cell.
    coarse, fine = (
        rise(solve_on(case, even_grid(case, [10, 10, width])), "A") - (115 + 1.5e6 * 0.05**2 / (3 * 75))
        for width in (5, 2.5)
    )
    assert abs(coarse) < 0.1 and coarse / fine == pytest.approx(4, rel=0.01)
    assert grid.z.cells == 14


@pytest.mark.parametrize(("in_plane", "exact", "tolerance"), [(1e5, 4.002591, 4e-3), (386, 4.043776, 4e-4)])
def test_transistors_on_a_plate(in_plane: float, exact: float, tolerance: float) -> None:
    """Cengel & Ghajar, contact of transistors: a quarter of the plate, four devices of 8 cm2.

    The book neglects spreading (4.0026 K/W, and 12.4 W at 70 C); with it the series gives 4.043776 K/W.
    """
    side = math.sqrt(800.0)
    zone = {"zone": "case", "corner_mm": [50 - side / 2, 50 - side / 2], "size_mm": [side, side], "power_W": 1.0}
    case = case_of(
        [part("plate", [100, 100], 10, [in_plane, 386])],
        [{"in": "plate", "at": "top", "zones": [zone]}],
        [film("bottom", 25, 20)],
    )
    field = solve_on(case, even_grid(case, [1.5, 1.5, 0.75]))
    resistance = rise(field, "case", 20.0)
    assert resistance == pytest.approx(exact, abs=tolerance)
    contact = 1.0 / (42_000 * 8e-4)
    assert 50.0 / (resistance + contact) == pytest.approx(12.4 if in_plane > 386 else 12.274, abs=0.01)


@pytest.mark.parametrize(
    ("exponent", "flux", "thickness_mm", "cold_K", "top_K"),
    [
        (1.3, 1e6, 0.775, 350, 356.475170),
        (1.3, 5e6, 0.775, 350, 383.989569),
        (1.3, 5e6, 0.400, 360, 377.671328),
        (1.4, 5e6, 0.775, 350, 384.723881),
    ],
)
def test_silicon_slab_power_law(exponent: float, flux: float, thickness_mm: float, cold_K: float, top_K: float) -> None:
    """Kirchhoff's transform: Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., section 1.6."""
    k = {"conductivity_W_mK": {"value": 148, "at_C": 300 - KELVIN, "exponent": exponent}}
    case = case_of(
        [part("die", [10, 10], thickness_mm, k)],
        [{"in": "die", "at": "bottom", "zones": [{"zone": "die", "power_W": flux * 1e-4}]}],
        [{"face": "top", "temperature_C": cold_K - KELVIN}],
    )
    exact = power_law_slab_top(flux, 1e-3 * thickness_mm, cold_K, 148, 300, exponent)
    assert exact == pytest.approx(top_K, abs=1e-6)
    errors = [
        rise(solve_on(case, even_grid(case, [10, 10, thickness_mm / cells])), "die") + KELVIN - exact
        for cells in (20, 40, 80)
    ]
    assert abs(errors[1]) < 1e-4
    for coarse, fine in itertools.pairwise(errors):
        assert math.log2(coarse / fine) > 1.9 or abs(coarse) < 1e-6


def test_slab_with_linear_law() -> None:
    """The same transform for k0 (1 + b (T - T0)): flux 2.1e6 W/m2 and 351.18980 K in the middle."""
    k = {"conductivity_W_mK": {"table": [[300 - KELVIN, 200], [400 - KELVIN, 220]]}}
    ends = [{"face": "bottom", "temperature_C": 400 - KELVIN}, {"face": "top", "temperature_C": 300 - KELVIN}]
    case = case_of([part("slab", [10, 10], 10, k)], [], ends)
    exact = linear_law_slab_inside(0.5, 400, 300, 300, 1e-3)
    assert exact == pytest.approx(351.1898021, abs=1e-7)
    errors = []
    for cells in (5, 15, 45):  # odd: the middle lies inside a cell
        field = solve_on(case, even_grid(case, [10, 10, 10 / cells]))
        errors.append(field.at((0.0, 0.0, 5e-3)) + KELVIN - exact)
        assert field.flows[1].heat_W / 1e-4 == pytest.approx(2.1e6, rel=2e-5)
    assert abs(errors[2]) < 1e-3
    assert all(math.log(coarse / fine, 3) > 1.9 for coarse, fine in itertools.pairwise(errors))

"""Coolers in K/W, by hand: a resistance R spread over an area A is a film of 1 / (R A), whichever way it is reached."""

from __future__ import annotations

import json

import numpy as np
import pytest
from stacks import Mapping, case_of, even_grid, film, joint, part, solve_on

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError
from thermsim.materials import catalogue
from thermsim.model.build import build_model
from thermsim.model.coefficients.groups import numbers, topology
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.nearby.gradients import gradients
from thermsim.nearby.superposition import superposition
from thermsim.plausibility.measure import measure
from thermsim.readout.answers import answers
from thermsim.readout.ladder import ladder
from thermsim.readout.observable import find

POWER_W = 50.0
# [W/K] that a litre a minute of water takes up for each kelvin: 995.6 kg/m3 and 4180 J/kgK at 30 C, as the CRC
# Handbook tabulates them (from memory).
LITRE_A_MINUTE_W_K = 995.6 * 4180.0 * 1e-3 / 60.0


def plate(cooling: list[Mapping], k: float = 1e5) -> Case:
    zones = [{"zone": "all", "power_W": POWER_W}]
    return case_of([part("plate", [20.0, 10.0], 2.0, k)], [{"in": "plate", "zones": zones}], cooling)


def cooler(face: str = "top", K_W: object = 0.2, fluid_C: float = 25.0, **more: object) -> Mapping:
    return {"face": face, "environment": "cooler", "cooler_K_W": K_W, "fluid_C": fluid_C, **more}


def with_flow(flow_l_min: object = 0.5) -> Mapping:
    return {"face": "top", "environment": "cooler", "cooler_K_W": 0.2, "flow_l_min": flow_l_min, "inlet_C": 25.0}


def test_all_heat_through_one_cooler() -> None:
    """T = T_fluid + R P at the wetted face, and P / A times thickness over k across the plate."""
    case = plate([cooler()])
    field = solve_on(case, even_grid(case, [4, 4, 2]))
    across = POWER_W / 200e-6 * 2e-3 / 1e5
    assert field.zones[0].mean_C == pytest.approx(25.0 + 0.2 * POWER_W + across, rel=1e-9)


def test_a_cooler_on_a_patch_is_the_film_of_its_area() -> None:
    """h = 1 / (R A) with A of the patch, 12 x 5 mm."""
    told = {"wetted_mm": [12.0, 5.0]}
    one, other = plate([cooler(**told)], 150.0), plate([film("top", 1.0 / (0.2 * 60e-6), 25.0, **told)], 150.0)
    first, second = (solve_on(case, even_grid(case, [20, 20, 4])) for case in (one, other))
    assert np.allclose(first.temperature, second.temperature, rtol=1e-10)


def test_half_of_the_rise_of_one_pass_comes_to_the_coolant() -> None:
    """Mean coolant - inlet = P / (2 rho c V): the heat balance of a pass, the mean of inlet and outlet."""
    field = solve_on(case := plate([with_flow()]), even_grid(case, [4, 4, 2]))
    rise = POWER_W / (2.0 * 0.5 * LITRE_A_MINUTE_W_K)
    assert field.flows[0].face_C == pytest.approx(25.0 + 0.2 * POWER_W + rise, rel=1e-9)
    assert rise == pytest.approx(0.7208, abs=1e-3)
    # What the film takes and what the coolant is warmed by stand apart in the ladder.
    found = ladder(field)
    assert found is not None
    drops = {rung.item: rung.drop_K for rung in found.rungs}
    assert drops["film to the coolant"] == pytest.approx(0.2 * POWER_W, rel=1e-9)
    assert drops["coolant on its way, mean over inlet"] == pytest.approx(rise, rel=1e-9)
    assert sum(drops.values()) == pytest.approx(found.start_C - 25.0, rel=1e-9)


def test_faces_of_one_entry_share_its_resistance() -> None:
    """All sides of the upper of two plates, 2 (12 + 8) x 3 mm, and the ledge of the lower: 200 - 96 mm2."""
    layers = [part("low", [20.0, 10.0], 2.0, 1e5), part("high", [12.0, 8.0], 3.0, 1e5)]
    heat = [{"in": "low", "zones": [{"zone": "all", "power_W": POWER_W}]}]
    case = case_of(layers, heat, [cooler("exposed")])
    field = solve_on(case, even_grid(case, [10, 10, 5]))
    ledge = 200.0 - 96.0
    assert field.flows[0].area_m2 == pytest.approx((2 * 20 * 3 + ledge) * 1e-6, rel=1e-9)
    assert field.flows[0].face_C == pytest.approx(25.0 + 0.2 * POWER_W, abs=1e-3)
    told = measure(case).faces[0]
    assert told.film_W_m2K == pytest.approx(1.0 / (0.2 * (120 + ledge) * 1e-6), rel=1e-9)
    assert told.resistance_K_W == pytest.approx(0.2, rel=1e-9)


def test_inspect_tells_a_film_as_a_resistance() -> None:
    told = measure(plate([film("top", 5000.0, 25.0)])).faces[0]
    assert told.resistance_K_W == pytest.approx(1.0 / (5000.0 * 200e-6), rel=1e-12)


def stacked(cooling: list[Mapping]) -> Case:
    layers = [
        part("die", [8.0, 6.0], {"value": 0.6, "plus_minus": 0.05}, 120.0),
        joint("solder", resistance_mm2K_W=9.0),
        part("lid", [14.0, 12.0], 1.2, 300.0),
    ]
    zones = [
        {"zone": "core", "corner_mm": [1.0, 1.0], "size_mm": [3.0, 3.0], "power_W": 12.0},
        {"zone": "rest", "corner_mm": [4.0, 1.0], "size_mm": [3.0, 4.0], "power_W": 8.0},
    ]
    return case_of(layers, [{"in": "die", "zones": zones}], cooling)


SEVERAL = [
    {**with_flow({"value": 0.4, "plus_minus": 0.1}), "wetted_mm": [10.0, 9.0]},
    {"face": "exposed", "environment": "sides", "cooler_K_W": 40.0, "fluid_C": 27.0},
]
ADDRESSES = (
    "cooler.cooler_K_W", "cooler.flow_l_min", "cooler.inlet_C", "cooler.wetted_mm.0", "sides.cooler_K_W",
    "sides.fluid_C", "die.thickness_mm", "lid.thickness_mm",
)  # fmt: skip


@pytest.mark.parametrize("path", ADDRESSES)
def test_sensitivities_are_differences_of_full_solves(path: str) -> None:
    """Of the film too, as its area changes with a thickness or a patch."""
    case, plan = stacked(SEVERAL), plan_grid(stacked(SEVERAL), 1500)
    found = gradients(case, plan, 1, paths=[path])
    one = find(found.answers, "zone core, mean")
    step = 1e-4 * next(each.value for each in inputs(case) if each.path == path)
    values = []
    value = next(each.value for each in inputs(case) if each.path == path)
    for sign in (-1.0, 1.0):
        changed = with_inputs(case, {path: value + sign * step})
        field = solve_on(changed, alike(plan, case, changed).grid(1))
        values.append(answers(changed, field)[one])
    slope = (values[1] - values[0]) / (2.0 * step)
    assert found[one][path] == pytest.approx(slope, rel=2e-4, abs=1e-6)


def test_superposition_is_a_full_solve() -> None:
    case = stacked(SEVERAL)
    grid = plan_grid(case, 1500).grid(1)
    found = superposition(case, solve_on(case, grid))
    changed = with_inputs(case, {"core.power_W": 3.0, "rest.power_W": 15.0})
    field = solve_on(changed, grid)
    assert found.temperatures([3.0, 15.0])[0, :2] == pytest.approx([zone.mean_C for zone in field.zones], rel=1e-7)


def test_films_of_a_small_model_follow_areas() -> None:
    """A thicker die has larger sides, and so a weaker film for the same K/W."""
    case = stacked(SEVERAL)
    plan = plan_grid(case, 1500)
    base = topology(case, build_model(case, plan.grid(1)))
    changed = with_inputs(case, {"die.thickness_mm": 0.65, "cooler.flow_l_min": 0.3})
    known = numbers(base, [changed])
    own = build_model(changed, alike(plan, case, changed).grid(1))
    assert known.film[0] == pytest.approx([one.film for one in own.coolings], rel=1e-12)


def test_an_option_exchanges_a_film_for_a_cooler_and_back() -> None:
    text = {
        "title": "exchanged", "layers": [part("plate", [20.0, 10.0], 2.0, 400.0)],
        "heat": [{"in": "plate", "zones": [{"zone": "all", "power_W": 20.0}]}],
        "cooling": [film("top", 9000.0, 30.0)],
        "options": [
            {"option": "cooler", "changes": {"top": {"cooler_K_W": 0.3}}},
            {"option": "flow", "changes": {"top": {"cooler_K_W": 0.3, "flow_l_min": 1.0, "inlet_C": 20.0}}},
            {"option": "class", "changes": {"top": {"film_W_m2K": "air cooler"}}},
        ],
    }  # fmt: skip
    case = parse_case(json.dumps(text))
    assert [with_option(case, name).cooling[0].kind for name in ("cooler", "flow", "class")] == [
        "cooler", "cooler with flow", "film",
    ]  # fmt: skip
    assert with_option(case, "cooler").cooling[0].known_C == [30.0]


def test_a_class_is_the_middle_of_its_range_with_half_of_it_as_tolerance() -> None:
    case = plate([{"face": "top", "film_W_m2K": "water block", "fluid_C": 25.0}])
    usual = catalogue.cooler("water block").film_W_m2K
    given = case.cooling[0].film_W_m2K
    assert given is not None
    assert (given.value - given.plus_minus, given.value + given.plus_minus) == (usual.low, usual.high)
    assert given.basis == "assumed"
    one = next(one for one in inputs(case) if one.path == "top.film_W_m2K")
    assert one.plus_minus == usual.half_width


@pytest.mark.parametrize("name", catalogue.cooler_names())
def test_every_class_names_its_source(name: str) -> None:
    kind = catalogue.cooler(name)
    assert 0.0 < kind.film_W_m2K.low < kind.film_W_m2K.high
    assert kind.source and kind.how_sure in catalogue.HOW_SURE


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ({"film_W_m2K": "water blok", "fluid_C": 25.0}, "did you mean 'water block'?"),
        ({"cooler_K_W": 0.2}, "`fluid_C` is missing"),
        ({"cooler_K_W": 0.2, "flow_l_min": 1.0}, "`inlet_C` is missing"),
        ({"cooler_K_W": 0.2, "fluid_C": 20.0, "coolant": "water"}, "give `flow_l_min` and `inlet_C`"),
        ({"cooler_K_W": 0.2, "flow_l_min": 1.0, "inlet_C": 20.0, "coolant": "watr"}, "did you mean 'water'?"),
        ({"cooler_K_W": 0.0, "fluid_C": 20.0}, "above 0"),
    ],
)
def test_bad_coolers_are_told(entry: Mapping, told: str) -> None:
    with pytest.raises(CaseError) as error:
        plate([{"face": "top", **entry}])
    assert told in str(error.value)

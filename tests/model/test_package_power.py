"""The power of a whole that zones share: what each makes, by hand, and every way to the same answer."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from stacks import Mapping, case_of, film, joint, part, solve_on

from thermsim.case.clock import Drive, driven
from thermsim.case.geometry.zones import powers_of
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError, ThermsimError
from thermsim.mesh.predict import predict
from thermsim.model.assemble import assemble
from thermsim.model.build import build_model
from thermsim.model.coefficients.entries import Layout, entries_at
from thermsim.model.coefficients.groups import numbers, topology
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.nearby.gradients import gradients
from thermsim.nearby.many import many
from thermsim.plausibility.measure import measure
from thermsim.readout.observable import find
from thermsim.report.drawing.text_stack import drawing
from thermsim.report.text.blocks import prediction_blocks
from thermsim.report.text.inspection import measurement_blocks

# A die of 10 x 8 mm: two cores of 9 and 6 mm2, a cache of 12 mm2, 53 mm2 that no zone covers.
CORES: list[Mapping] = [
    {"zone": "C0", "corner_mm": [1.0, 1.0], "size_mm": [3.0, 3.0]},
    {"zone": "C1", "corner_mm": [6.0, 1.0], "size_mm": [3.0, 2.0]},
]
CACHE: Mapping = {"zone": "cache", "corner_mm": [2.0, 5.0], "size_mm": [6.0, 2.0]}


def chip(zones: list[Mapping], power_W: Any = 100.0, **more: Any) -> Case:
    layers = [
        part("die", [10.0, 8.0], {"value": 0.6, "plus_minus": 0.03}, 120.0),
        joint("solder", resistance_mm2K_W=9.0),
        part("lid", [16.0, 14.0], 1.2, 300.0),
    ]
    options = more.pop("options", [])
    heat = {"in": "die", "power_W": power_W, "zones": zones, **more}
    return case_of(layers, [heat], [film("top", 9000.0, 30.0)], options=options)


def made(case: Case) -> tuple[list[float], float]:
    found = powers_of(case, case.heat[0])
    return list(found.zones), found.rest


def test_shares_of_zones_and_the_rest_by_area() -> None:
    """20 + 30 W of 100; the other 50 W over 12 mm2 of cache and 53 mm2 without a zone."""
    case = chip([CORES[0] | {"share": 0.2}, CORES[1] | {"share": 0.3}, CACHE])
    zones, rest = made(case)
    assert zones == pytest.approx([20.0, 30.0, 50.0 * 12.0 / 65.0])
    assert rest == pytest.approx(50.0 * 53.0 / 65.0)


def test_zones_alike_make_the_same_whatever_their_size() -> None:
    case = chip([*CORES, CACHE | {"power_W": 10.0}], alike=[{"zones": ["C0", "C1"], "share": 0.6}])
    assert made(case) == (pytest.approx([30.0, 30.0, 10.0]), pytest.approx(30.0))


def test_a_whole_part_needs_no_zone() -> None:
    case = chip([])
    assert made(case) == ([100.0], 0.0)
    assert sum(source.watts.sum() for source in build_model(case, plan_grid(case).grid(1)).sources) == pytest.approx(
        100
    )


@pytest.mark.parametrize("at", ["bottom", "volume"])
def test_the_grid_makes_them_where_they_are(at: str) -> None:
    """Watts of the cells of each zone; beside the zones the flux is even."""
    case = chip([CORES[0] | {"share": 0.2}, CORES[1] | {"share": 0.3}, CACHE], at=at)
    model = build_model(case, plan_grid(case).grid(1))
    watts = model.sources[0].watts
    watts = watts if watts.ndim == 2 else watts.sum(axis=2)
    zones, rest = made(case)
    free = np.ones(watts.shape, dtype=bool)
    for cells, power in zip(model.zones, zones, strict=True):
        assert watts[cells.x, cells.y].sum() == pytest.approx(power, rel=1e-12)
        free[cells.x, cells.y] = False
    assert watts[free].sum() == pytest.approx(rest, rel=1e-12)
    flux = (watts / model.grid.face_area(2))[free & (watts > 0.0)]
    assert flux == pytest.approx(rest / 53e-6, rel=1e-9)


def test_the_same_watts_typed_zone_by_zone() -> None:
    """Without a rest (the shares make up the whole) the case is the one with watts."""
    shared = chip([CORES[0] | {"share": 0.4}, CORES[1] | {"share": 0.35}, CACHE])
    typed = case_of(
        json.loads(json.dumps([layer.model_dump(exclude_none=True, exclude_defaults=True) for layer in shared.layers])),
        [
            {
                "in": "die",
                "zones": [CORES[0] | {"power_W": 40.0}, CORES[1] | {"power_W": 35.0}, CACHE | {"power_W": 4.6}],
            }
        ],
        [film("top", 9000.0, 30.0)],
    )
    grid = plan_grid(typed).grid(1)
    rest = made(shared)[1]
    assert rest == pytest.approx(25.0 * 53.0 / 65.0)
    one, other = solve_on(shared, grid), solve_on(typed, grid)
    assert one.heat_made_W == pytest.approx(100.0) and other.heat_made_W == pytest.approx(79.6)
    assert all(a.mean_C > b.mean_C for a, b in zip(one.zones, other.zones, strict=True))


def test_one_tolerance_moves_all_zones_together() -> None:
    case = chip([CORES[0] | {"share": 0.2}, *CORES[1:], CACHE], {"value": 100.0, "plus_minus": 10.0})
    names = [one.path for one in inputs(case) if one.plus_minus and one.unit == "W"]
    assert names == ["heat.die.power_W"]
    more = made(with_inputs(case, {"heat.die.power_W": 110.0}))
    assert np.array([*more[0], more[1]]) == pytest.approx(1.1 * np.array([*made(case)[0], made(case)[1]]))


VARIED = chip(
    [CORES[0] | {"share": {"value": 0.2, "plus_minus": 0.05}}, CORES[1], CACHE],
    {"value": 100.0, "plus_minus": 10.0},
    alike=[{"zones": ["C1"], "share": 0.3}],
)
PATHS = ("heat.die.power_W", "C0.share", "heat.die.alike.0.share", "C0.size_mm.0")


@pytest.mark.parametrize("path", PATHS)
def test_sensitivities_are_differences_of_full_solves(path: str) -> None:
    plan = plan_grid(VARIED, 1500)
    found = gradients(VARIED, plan, 1, paths=[path])
    mean = find(found.answers, "zone C0, mean")
    value = next(one.value for one in inputs(VARIED) if one.path == path)
    values = []
    for sign in (-1.0, 1.0):
        changed = with_inputs(VARIED, {path: value * (1.0 + 1e-4 * sign)})
        values.append(solve_on(changed, alike(plan, VARIED, changed).grid(1)).zones[0].mean_C)
    assert found[mean][path] == pytest.approx((values[1] - values[0]) / (2e-4 * value), rel=1e-4)


@pytest.mark.parametrize("at", ["bottom", "volume"])
def test_coefficients_of_a_small_model_are_those_of_a_full_one(at: str) -> None:
    """Heat of every cell for another whole and other shares, against a model built for them."""
    case = chip([CORES[0] | {"share": 0.2}, CORES[1], CACHE], at=at)
    plan = plan_grid(case, 900)
    changed = with_inputs(case, {"heat.die.power_W": 130.0, "C0.share": 0.35})
    base = topology(case, build_model(case, plan.grid(1)))
    model = build_model(changed, plan.grid(1))
    own = Layout(model.grid.shape).vector(assemble(model, model.first_guess()))
    chosen = np.arange(Layout(model.grid.shape).part(4).start, len(own))
    entries = entries_at(base, chosen)
    known, usual = numbers(base, [changed]), numbers(base, [case])
    cells = np.full((1, len(entries.faces.axis)), 50.0)
    assert entries.values(known, usual, cells, cells)[0] == pytest.approx(own[chosen], rel=1e-9, abs=1e-12)


@pytest.mark.slow
def test_many_cases_are_predictions() -> None:
    rng = np.random.default_rng(20_323)
    samples = [
        {"heat.die.power_W": float(power), "C0.share": float(share)}
        for power, share in zip(rng.uniform(90, 110, 40), rng.uniform(0.15, 0.25, 40), strict=True)
    ]
    found = many(VARIED, samples, asked=[("zone", "C0", "mean")], accuracy_K=0.2, workers=1)
    one = with_inputs(VARIED, samples[7])
    again = many(one, [{}], asked=[("zone", "C0", "mean")], accuracy_K=0.05, workers=1)
    assert found.values[7, 0] == pytest.approx(again.values[0, 0], abs=found.doubts[7, 0] + again.doubts[0, 0])


@pytest.mark.parametrize("named", [[], ["C0"], ["C0", "cache"]])
def test_a_clock_drives_its_zones_and_leaves_the_others(named: list[str]) -> None:
    case = chip([CORES[0] | {"share": 0.2}, CORES[1] | {"power_W": 12.0}, CACHE], {"value": 100.0, "plus_minus": 10.0})
    clock = {"frequency_GHz": 4.0, "voltage_V": 1.0, "zones": named}
    case = parse_case(json.dumps(case._origin.source.values | {"clock": clock})) if case._origin else case
    before, after = made(case), made(driven(case, Drive(1.5, 1.0)))
    names = [zone.zone for zone in case.heat[0].zones]
    factors = [1.5 if name in named or not named else 1.0 for name in names]
    assert after[0] == pytest.approx([factor * power for factor, power in zip(factors, before[0], strict=True)])
    assert after[1] == pytest.approx(before[1] * (1.0 if named else 1.5))
    whole = driven(case, Drive(1.5, 1.0)).heat[0].power_W
    assert whole is not None and whole.plus_minus == pytest.approx(0.1 * whole.value)


def test_an_option_gives_watts_for_a_share_and_back() -> None:
    options = [
        {"option": "watts", "changes": {"C0.power_W": 25}},
        {"option": "more", "changes": {"heat.die.power_W": 150}},
        {"option": "one by one", "changes": {"heat.die": {"power_W": "remove"}, "C0": {"power_W": 3}}},
    ]
    case = chip([CORES[0] | {"share": 0.2}, CORES[1], CACHE], options=options)
    assert made(with_option(case, "watts"))[0][0] == 25.0
    assert made(with_option(case, "more"))[0][0] == pytest.approx(30.0)
    assert made(with_option(case, "one by one")) == ([3.0, 0.0, 0.0], 0.0)


def test_inspect_and_the_drawing_tell_the_rest() -> None:
    case = chip([CORES[0] | {"share": 0.2}, CORES[1], CACHE])
    told = measure(case).heat[0]
    assert told.power_W == pytest.approx(100.0) and told.rest_W == pytest.approx(80.0 * 53.0 / 71.0)
    assert told.covered_share == pytest.approx(1.0)
    assert any("the rest" in row for block in measurement_blocks(measure(case)) for row in block.rows)
    assert "100 W" in drawing(case, 100)


def test_a_prediction_tells_what_is_made_beside_zones() -> None:
    """Of 100 W a fifth in C0, and the rest by area: 53 of 71 mm2 of it where no zone is."""
    case = chip([CORES[0] | {"share": 0.2}, CORES[1], CACHE])
    zones = next(block for block in prediction_blocks(predict(case, accuracy_K=5.0)) if block.title == "Zones")
    assert zones.notes == (f"{80.0 * 53.0 / 71.0:.4g} W more are made where no zone is.",)


@pytest.mark.parametrize(
    ("zones", "more", "told"),
    [
        ([CORES[0] | {"share": 0.7}, CORES[1] | {"share": 0.5}], {}, "shares of 1.2 are more than all of its 100 W"),
        ([CORES[0] | {"power_W": 120.0}], {}, "120 W of zones are more than all of its 100 W"),
        ([CORES[0] | {"share": {"value": 0.9, "plus_minus": 0.2}}], {}, "at the ends of their tolerances"),
        ([{"zone": "all", "share": 0.7}], {}, "leave one without `share`"),
        ([CORES[0] | {"share": 0.7, "power_W": 3.0}], {}, "leave one out"),
        ([CORES[0]], {"alike": [{"zones": ["C9"], "share": 0.2}]}, "has no zone 'C9'"),
        ([CORES[0] | {"share": 0.1}], {"alike": [{"zones": ["C0"], "share": 0.2}]}, "has its power already"),
        ([CORES[0] | {"share": 0.1}], {"power_W": None}, "is of the `power_W` of its heat"),
    ],
)
def test_wrong_shares_are_told(zones: list[Mapping], more: dict[str, Any], told: str) -> None:
    heat: dict[str, Any] = {"in": "die", "power_W": 100.0, "zones": zones, **more}
    heat = {key: value for key, value in heat.items() if value is not None}
    with pytest.raises(CaseError) as error:
        case_of([part("die", [10.0, 8.0], 0.6, 120.0)], [heat], [film("top", 9000.0, 30.0)])
    assert told in str(error.value)


def test_a_sample_that_makes_more_than_the_whole_is_refused() -> None:
    with pytest.raises(ThermsimError, match="more than all of its"):
        with_inputs(VARIED, {"C0.share": 0.8})


def test_a_sample_at_the_ends_of_its_tolerances_is_judged_by_its_own_values() -> None:
    """A file holds at the ends (0.85 * 108 + 12 of 108 W), and so does every sample; none is moved by them twice."""
    zones = [
        CORES[0] | {"share": {"value": 0.8, "plus_minus": 0.05}},
        CACHE | {"power_W": {"value": 10.0, "plus_minus": 2.0}},
    ]
    heat = {"in": "die", "power_W": {"value": 112.0, "plus_minus": 4.0}, "zones": zones}
    case = case_of([part("die", [10.0, 8.0], 0.6, 120.0)], [heat], [film("top", 9000.0, 30.0)])
    for ends in ({"C0.share": 0.85, "cache.power_W": 12.0}, {"C0.share": 0.85, "heat.die.power_W": 108.0}):
        moved = with_inputs(case, ends)
        made = powers_of(moved, moved.heat[0])
        whole = ends.get("heat.die.power_W", 112.0)
        own = ends.get("cache.power_W", 10.0)
        assert made.rest == pytest.approx(0.15 * whole - own)


def test_what_is_refused_is_placed_once() -> None:
    heat = {"in": "die", "power_W": 100.0, "zones": [CORES[0] | {"power_W": 120.0}]}
    with pytest.raises(CaseError) as error:
        case_of([part("die", [10.0, 8.0], 0.6, 120.0)], [heat], [film("top", 9000.0, 30.0)])
    assert str(error.value).count("heat in 'die'") == 1

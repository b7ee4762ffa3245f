"""Grids made for what is asked: the origin of errors against exact errors, and what the grids gain.

Exact zone temperatures: series of the rectangular flux channel, Yovanovich, Muzychka, Culham, J. Thermophys. Heat
Transfer 13 (1999) 495, for random stacks as in test_physics_mesh_doubt.py.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import CORNCRAKE, SLICE
from stacks import case_of, film, part, solve_on
from test_physics_mesh_doubt import Drawn, draw

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.convergence import doubts
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.refine import (
    GOAL_MULTIPLIERS,
    LAST_PLANNED,
    ErrorOrigin,
    _bend,
    _planes,
    error_origin,
    goal_plan,
    pilot_grid,
    with_cells,
)
from thermsim.model.assemble import between_cells
from thermsim.model.grid.axes import AxisPlan, GridPlan
from thermsim.model.grid.graded import GradedAxis, Grading, graded_axis
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.field import Field

PLANNED = tuple(multiplier for multiplier in GOAL_MULTIPLIERS if multiplier <= LAST_PLANNED)

# ---- axes -------------------------------------------------------------------------------------------------------


@st.composite
def graded_axes(draw: st.DrawFn) -> GradedAxis:
    lines = np.cumsum(np.array(draw(st.lists(st.floats(1e-4, 1e-2), min_size=2, max_size=6))))
    wanted, counts = [], []
    for length in np.diff(lines).tolist():
        knots = draw(st.integers(0, 4))
        place = np.concatenate([[0.0], (np.arange(knots) + 0.5) / max(knots, 1), [1.0]])
        width = np.array(draw(st.lists(st.floats(0.05, 2.0), min_size=knots + 2, max_size=knots + 2)))
        wanted.append(Grading(place, width))
        counts.append(draw(st.sampled_from([0.25, 0.5, 1.0, 2.0, 3.0, 7.0])))
        assert length > 0.0
    return graded_axis(lines, wanted, np.array(counts), np.zeros(len(counts), dtype=bool))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(graded_axes(), st.sampled_from(GOAL_MULTIPLIERS))
def test_faces_rise_and_stand_on_every_line(plan: GradedAxis, multiplier: int) -> None:
    axis = plan.axis(multiplier)
    assert axis.cells == plan.cells(multiplier) == int(plan.cells_between(multiplier).sum())
    assert np.all(axis.widths > 0.0)
    assert all(axis.faces[axis.face_at(line)] == line for line in plan.lines)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(graded_axes())
def test_one_mapping_sampled_more_finely(plan: GradedAxis) -> None:
    """Every face of a grid stands in one of three times as many cells, also after outlines have moved."""
    moved = replace(plan, lines=3.0 * plan.lines + 1e-3)
    coarse, fine = plan.axis(4), plan.axis(12)
    assert np.abs(fine.faces[::3] - coarse.faces).max() < 1e-12
    assert np.abs(moved.axis(4).faces - (3.0 * coarse.faces + 1e-3)).max() < 1e-12


def test_a_grading_integrates_its_widths() -> None:
    """Steps against the trapezoidal rule, and faces at equal steps."""
    grading = Grading(np.array([0.0, 0.3, 0.7, 1.0]), np.array([0.01, 0.1, 0.1, 0.4]))
    places = np.linspace(0.0, 1.0, 200_001)
    steps = 1.0 / np.interp(places, grading.place, grading.width)
    integral = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(places) * (steps[1:] + steps[:-1]))])
    assert grading.steps == pytest.approx(integral[-1], rel=1e-6)
    assert np.abs(grading.inner_faces(8) - np.interp(np.arange(1, 8) / 8 * integral[-1], integral, places)).max() < 1e-6


# ---- where errors come from -------------------------------------------------------------------------------------


@cache
def stacks() -> tuple[Drawn, ...]:
    rng = np.random.default_rng(20_261)
    return tuple(draw(rng) for _ in range(12))


@cache
def origin_of(number: int) -> tuple[Field, ErrorOrigin]:
    case = stacks()[number].case
    pilot = solve_on(case, pilot_grid(case, 4000))
    found = error_origin(pilot)
    assert found is not None
    return pilot, found


def errors(drawn: Drawn, field: Field) -> np.ndarray[Any, Any]:
    return np.array([zone.mean_C - drawn.exact[zone.zone] for zone in field.zones])


def test_estimated_error_is_the_exact_one() -> None:
    """The error of the worst zone, told from one coarse grid, within a factor of two, and on average within a tenth."""
    ratios = []
    for number, drawn in enumerate(stacks()):
        pilot, origin = origin_of(number)
        ratios.append(origin.error_K / float(np.abs(errors(drawn, pilot)).max()))
    print("estimated over exact error: " + " ".join(f"{ratio:.2f}" for ratio in sorted(ratios)))
    assert min(ratios) > 0.5 and max(ratios) < 2.0
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.15)


def test_estimate_follows_each_axis() -> None:
    """Halving the cells of one axis takes away three quarters of that axis's share, against solves."""
    case = parse_case(CORNCRAKE)
    grid = pilot_grid(case, 6000)
    field = solve_on(case, grid)
    origin = error_origin(field)
    assert origin is not None
    plan = plan_grid(case, 3000)
    finer = {"x": plan.x.axis(2), "y": plan.y.axis(2), "z": plan.z.axis(4)}
    before = np.array([zone.mean_C for zone in field.zones])
    for axis, (name, halved) in enumerate(finer.items()):
        change = before - np.array([zone.mean_C for zone in solve_on(case, replace(grid, **{name: halved})).zones])
        told = 0.75 * origin.shares[axis].sum(axis=1)
        worst = int(np.abs(change).argmax())
        print(f"{name}: change of the worst zone {change[worst]:.3f} K, estimated {told[worst]:.3f} K")
        assert told[worst] == pytest.approx(change[worst], rel=0.5)
        assert np.corrcoef(change, told)[0, 1] > 0.9


def test_heat_is_conserved_in_what_the_estimate_is_made_of() -> None:
    """In a cell that makes no heat, what comes in along three axes goes out again."""
    field, _ = origin_of(0)
    between = [between_cells(field.model, axis, field.guess) for axis in range(3)]
    bends = [_bend(axis, between[axis], _planes(field, axis), field.temperature) for axis in range(3)]
    into, through = sum(bends), sum(np.abs(bend) for bend in bends)
    assert float(np.abs(into).max()) < 1e-8 * float(np.max(through))


# ---- what is gained ---------------------------------------------------------------------------------------------


def climbed(drawn: Drawn, plan: GridPlan, multipliers: tuple[int, ...]) -> list[tuple[int, float]]:
    """(cells, exact error of the worst zone [K]) on grids of a family."""
    found = []
    for multiplier in multipliers:
        grid = plan.grid(multiplier)
        found.append((grid.cells, float(np.abs(errors(drawn, solve_on(drawn.case, grid))).max())))
    return found


def test_less_error_for_the_same_cells_and_an_order_closer_to_two() -> None:
    """Against families that are fine near outlines; errors are compared as error times cells^(2/3)."""
    gains, orders = [], []
    for number, drawn in enumerate(stacks()):
        _, origin = origin_of(number)
        even = plan_grid(drawn.case, 1000)
        both = [climbed(drawn, plan, (2, 4)) for plan in (even, with_cells(origin, even, 1000))]
        scaled = [found[-1][1] * found[-1][0] ** (2.0 / 3.0) for found in both]
        gains.append(scaled[0] / scaled[1])
        orders.append([float(np.log2(found[0][1] / found[1][1])) for found in both])
        print(f"{scaled[0] / scaled[1]:.2f} times less error; order {orders[-1][0]:.2f} -> {orders[-1][1]:.2f}")
    assert np.median(gains) > 1.25
    assert min(gains) > 0.9
    assert np.median([after for _, after in orders]) > np.median([before for before, _ in orders])


def test_limits_lie_closer_than_the_finest_grid_and_their_doubts_hold() -> None:
    """All zones of all stacks: errors of limits a tenth of those of the finest grid, doubts a half, in the median."""
    covered, closer, narrower = [], [], []
    for number, drawn in enumerate(stacks()):
        _, origin = origin_of(number)
        plan = with_cells(origin, plan_grid(drawn.case, 1000), 350)
        table = [[zone.mean_C for zone in solve_on(drawn.case, plan.grid(m)).zones] for m in PLANNED]
        names = list(drawn.exact)
        for name, doubt in zip(names, doubts(table, [1.0 / m for m in PLANNED], 1e-7), strict=True):
            error = abs(doubt.value - drawn.exact[name])
            of_finest = abs(doubt.finest - drawn.exact[name])
            covered.append(error <= doubt.half_width)
            closer.append(error / of_finest)
            narrower.append(doubt.half_width / of_finest)
    print(f"covered {np.mean(covered):.3f} of {len(covered)}; over the error of the finest grid: error of the limit "
          f"{np.median(closer):.3f}, doubt {np.median(narrower):.3f}")  # fmt: skip
    assert np.mean(covered) >= 0.95
    assert np.median(closer) < 0.1
    assert np.median(narrower) < 0.6


def test_doubt_of_a_package_is_half_for_the_same_cells() -> None:
    """Zone means of the demo, with all cells of a study counted: doubt times cells^(2/3)."""
    case = parse_case(CORNCRAKE)
    even = predict(case, accuracy_K=1e9, plan=plan_grid(case))
    aimed = predict(case, accuracy_K=0.22)
    spent = [sum(step.cells for step in made.steps) for made in (even, aimed)]
    widest = [widest_mean(made) for made in (even, aimed)]
    print(f"even: {spent[0]} cells, doubt {widest[0]:.3f} K; aimed: {spent[1]} cells, doubt {widest[1]:.3f} K")
    scaled = [doubt * cells ** (2.0 / 3.0) for doubt, cells in zip(widest, spent, strict=True)]
    assert scaled[1] < 0.55 * scaled[0]


def widest_mean(made: Prediction) -> float:
    return max(doubt.half_width for question, doubt in made.doubts.items() if question.takes == "mean")


# ---- cases of every kind ----------------------------------------------------------------------------------------


def heated(side_mm: float, **more: Any) -> Case:
    zone = {"zone": "spot", "corner_mm": [7.3, 11.1], "size_mm": [side_mm, side_mm], "power_W": 5.0}
    rest = {"zone": "rest", "corner_mm": [15, 2], "size_mm": [4, 8], "power_W": 8.0}
    layers = [part("die", [20, 20], 0.7, "silicon"), part("lid", [30, 30], 2, 390)]
    layers.insert(1, {"joint": "film", "resistance_mm2K_W": 9})
    return case_of(layers, [{"in": "die", "at": "bottom", "zones": [zone, rest], **more}], [film("top", 9000, 25)])


KINDS = {
    "hot spot": heated(0.4),
    "leakage": heated(3.0, leakage={"share": 0.2, "doubling_K": 25, "at_C": 60}),
    "slice": parse_case(SLICE),
    "thin film": case_of(
        [part("die", [10, 10], 0.5, 120), part("foil", [10, 10], 0.02, 4), part("lid", [20, 20], 2, 390)],
        [{"in": "die", "at": "bottom", "zones": [{"zone": "z", "corner_mm": [2, 2], "size_mm": [3, 3], "power_W": 9}]}],
        [film("top", 9000, 25)],
    ),
}


@pytest.mark.parametrize("name", [pytest.param("hot spot", marks=pytest.mark.slow), *list(KINDS)[1:]])
def test_every_kind_of_case_gets_a_family(name: str) -> None:
    made = predict(KINDS[name], accuracy_K=2.0, first_cells=2000)
    assert made.status == "accuracy held"
    assert made.plan.multipliers == GOAL_MULTIPLIERS
    assert [step.multiplier for step in made.steps] == list(GOAL_MULTIPLIERS[: len(made.steps)])
    other = predict(KINDS[name], accuracy_K=4.0, plan=plan_grid(KINDS[name], 4000))
    for zone in made.field.zones:
        one, two = (of["zone", zone.zone, "mean"] for of in (made.doubts, other.doubts))
        assert abs(one.value - two.value) <= one.half_width + two.half_width


def test_a_hot_spot_on_a_large_die_gains_most() -> None:
    """One fiftieth of the die's side: better than the even family with half its cells. Reference: finest of all."""
    case = KINDS["hot spot"]
    even = plan_grid(case, 6000)
    origin = error_origin(solve_on(case, pilot_grid(case, 4000)))
    assert origin is not None
    aimed = with_cells(origin, even, 900)
    means = [
        solve_on(case, grid).zones[0].mean_C for grid in (aimed.grid(8), aimed.grid(4), even.grid(2), even.grid(3))
    ]
    assert aimed.cells(4) < 0.6 * even.cells(3)
    assert abs(means[1] - means[0]) < 0.5 * abs(means[3] - means[0]) < 0.5 * abs(means[2] - means[0])


def test_where_nothing_is_to_gain_the_even_family_is_climbed() -> None:
    """No heat, and heat that flows straight up, whose temperatures are exact on any grid: rise q (t/k + 1/h)."""
    still = case_of([part("bar", [20, 20], 5, 50)], [], [film("top", 900, 20), film("bottom", 900, 40)])
    slab = case_of([part("bar", [20, 20], 5, 50)], [{"in": "bar", "at": "bottom", "zones": [
        {"zone": "z", "power_W": 40}]}], [film("top", 900)])  # fmt: skip
    for case in (still, slab):
        made = predict(case, accuracy_K=0.1, first_cells=2000)
        assert isinstance(made.plan.x, AxisPlan)
        assert made.worst[1].half_width < 1e-4
    exact = 40.0 / 4e-4 * (5e-3 / 50.0 + 1.0 / 900.0)
    assert made.answers["zone", "z", "mean"] == pytest.approx(exact, abs=1e-7)


def test_a_mirrored_case_gets_a_mirrored_family() -> None:
    def case(x: float) -> Case:
        zone = {"zone": "z", "corner_mm": [x, 6], "size_mm": [4, 8], "power_W": 9}
        return case_of([part("plate", [20, 20], 2, 100)], [{"in": "plate", "at": "top", "zones": [zone]}],
                       [film("bottom", 3000)])  # fmt: skip

    plans = []
    for place in (3.0, 13.0):
        origin = error_origin(solve_on(case(place), pilot_grid(case(place), 3000)))
        assert origin is not None
        plans.append(goal_plan(origin, plan_grid(case(place), 3000), 0.05, 400, 10**7))
    assert plans[0].x.cells(6) == plans[1].x.cells(6)
    assert np.abs(plans[0].x.axis(6).faces + plans[1].x.axis(6).faces[::-1]).max() < 2e-5


def test_more_accuracy_asked_is_a_larger_family_within_the_memory() -> None:
    _, origin = origin_of(1)
    even = plan_grid(stacks()[1].case, 4000)
    cells = [goal_plan(origin, even, wanted, 500, 3_000_000).cells(6) for wanted in (1.0, 0.1, 0.01, 1e-5)]
    assert cells == sorted(cells) and cells[-1] <= 3_000_000 * 1.1
    assert goal_plan(origin, even, 1e9, 500, 3_000_000).cells(1) <= 1000

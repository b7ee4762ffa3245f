"""From a case to trusted temperatures: the pipeline, on a family of grids until the mesh doubt is small enough."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from dataclasses import replace
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MemoryLimitError, NotConvergedError, RunawayError, ThermsimError
from thermsim.mesh.bounds import source_bounds
from thermsim.mesh.convergence import Doubt, limit_weights
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.prediction import MeshStep, Prediction
from thermsim.mesh.prediction_remarks import remarks
from thermsim.mesh.refine import error_origin, goal_plan, pilot_grid
from thermsim.mesh.settling import ENDLESS, OnGrid, judged
from thermsim.model.build import build_model
from thermsim.model.grid.axes import Grid, GridPlan
from thermsim.model.grid.plan import BYTES_PER_CELL, FIRST_GRID_CELLS, needed_GB, plan_grid
from thermsim.progress import Progress
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import Field
from thermsim.readout.ladder import Ladder, blended, ladder
from thermsim.readout.observable import HOTTEST, Answers, Asked, find, of_zone, temperatures
from thermsim.rounding import two_digits_up
from thermsim.solver.steady import ACCURACY_K, steady_state
from thermsim.units import GIGABYTE

Array = NDArray[np.float64]

FEWEST_GRIDS = 3
# Where conductivity or power depends on temperature, the iteration may stop at this share of the accuracy asked for,
# and at this many kelvins at most.
OUTER_SHARE, OUTER_K = 1e-4, 1e-5
MOST_RUNAWAY_CELLS = 200_000  # cells up to which a runaway on one grid may be due to the grid: finer ones are tried
LARGEST_REDUCTION = 4  # the first grid of a family made for what is asked has at least `first_cells` over this


def predict(
    case: Case,
    *,
    accuracy_K: float | None = None,
    accuracy_W: float | None = None,
    memory_GB: float | None = None,
    first_cells: int = FIRST_GRID_CELLS,
    plan: GridPlan | None = None,
    grids: int | None = None,
    asked: Collection[Asked] | None = None,
    progress: Progress | None = None,
    each: Callable[[int, Field], None] | None = None,
) -> Prediction:
    """Predict a case on three or more grids, until every temperature's mesh doubt is below the accuracy asked.

    The grids are made for what is asked: a coarse one tells where the error of the zone temperatures comes from, and
    a family is planned that spends its cells there. Without zones it is fine near outlines (see `plan_grid`).

    Parameters
    ----------
    accuracy_K : instead of the case's own [K]; accuracy_W : the same of flows [W], of which none is asked unless given
    memory_GB : no grid is begun that would need more [GB]; 4, or most of what is free, unless given
    first_cells : cells of the first grid of an even family; one made for what is asked begins with an eighth or more
    plan : a family of grids to climb instead of one made for this case, such as the stretched one of another case
    progress : called after each grid with a line of words
    each : called after each grid with its multiplier and its field, for what else is asked of the same grids
    grids : climb so many, whatever the doubts (as far as the memory goes); default: until the accuracy is held
    asked : the temperatures that the accuracy is asked of; all of them unless given

    Raises
    ------
    UnknownNameError : `asked` holds what the case does not have
    MemoryLimitError : not even three grids fit, or more was allowed than is free
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError, BoundsError : see `thermsim.errors`
    """
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    if not wanted >= 0.0:
        raise ThermsimError(f"an accuracy of {wanted} K cannot be asked for", "give kelvins above zero, such as 0.1")
    wanted_W = case.accuracy_W if accuracy_W is None else accuracy_W
    if wanted_W is not None and not wanted_W >= 0.0:
        raise ThermsimError(f"an accuracy of {wanted_W} W cannot be asked for", "give watts above zero, such as 0.1")
    known = observables(case)
    held_to = temperatures(known if asked is None else [find(known, one) for one in asked])
    outer_K = min(max(OUTER_SHARE * wanted, ACCURACY_K), OUTER_K)
    memory_GB = allowed_GB(memory_GB)
    even = plan or plan_grid(case, first_cells)
    check_memory(even, memory_GB)
    field: Field | None = None
    start = time.perf_counter()
    if plan is None:
        plan, field = plan_for(case, even, first_cells, wanted, memory_GB)
    steps: list[MeshStep] = []
    found: Answers[Doubt] = Answers()
    accuracy_held = False
    runaways = _Runaways()
    for multiplier in plan.multipliers[:grids]:
        if needed_GB(plan.cells(multiplier)) > memory_GB:
            break
        grid = plan.grid(multiplier)
        try:
            field, iterations = solve_on(case, grid, field, outer_K)
        except (RunawayError, NotConvergedError) as error:
            finer = tuple(one for one in plan.multipliers if one > multiplier)
            if steps or grids is not None or len(finer) < FEWEST_GRIDS or not runaways.may_settle(grid, error):
                raise
            plan = replace(plan, multipliers=finer)
            check_memory(plan, memory_GB)
            continue
        steps.append(
            MeshStep(
                multiplier,
                grid.cells,
                time.perf_counter() - start,
                iterations,
                field.heat_balance_relative,
                answers(case, field),
                ladder(field),
                OnGrid.of(case, field, multiplier, steps[0].seen if steps else None),
            )
        )
        found = judge(steps) if len(steps) >= FEWEST_GRIDS else Answers()
        worst = max((found[one].half_width for one in held_to if one in found), default=float("inf"))
        if progress is not None:
            progress(_line(steps[-1], worst))
        if each is not None:
            each(multiplier, field)
        accuracy_held = bool(found) and worst <= wanted and _flows_hold(found, wanted_W)
        if accuracy_held and grids is None:
            break
        start = time.perf_counter()
    assert field is not None
    status: Literal["accuracy held", "accuracy not held"] = "accuracy held" if accuracy_held else "accuracy not held"
    ladder_of_limit = _ladder_told(steps, found)
    bounds = source_bounds(field)
    prediction = Prediction(
        case, field, tuple(steps), found, ladder_of_limit, wanted, status, plan, bounds, accuracy_W=wanted_W
    )
    return replace(prediction, remarks=remarks(prediction))


def _flows_hold(found: Answers[Doubt], wanted_W: float | None) -> bool:
    """Whether every flow that has a bound is known to within so many watts; none is asked of where that is None."""
    flows = (one.half_width for asked, one in found.items() if asked.kind == "flow" and one is not ENDLESS)
    return wanted_W is None or max(flows, default=0.0) <= wanted_W


class _Runaways:
    """Grids on which leakage runs away; coarse ones tell hotspots too hot, and so prove nothing about the case."""

    def __init__(self) -> None:
        self.size = inf
        self.share: float | None = None

    def may_settle(self, grid: Grid, error: RunawayError | NotConvergedError) -> bool:
        """Whether finer grids of the family may have a steady state.

        The share of the power up to which there is one may grow on as with first order, the slowest that is seen.
        """
        larger, before = self.size, self.share
        self.size = float(grid.cells) ** (-1.0 / (3 - (1 in grid.shape)))
        self.share = error.share if isinstance(error, RunawayError) else None
        if grid.cells > MOST_RUNAWAY_CELLS:
            return False
        if self.share is None or before is None:
            return True
        return self.share + max(self.share - before, 0.0) * self.size / (larger - self.size) >= 1.0


def check_memory(plan: GridPlan, memory_GB: float) -> None:
    """Raises MemoryLimitError where even the fewest grids of a study need more than may be used [GB]."""
    least = needed_GB(plan.cells(plan.multipliers[FEWEST_GRIDS - 1]))
    if least > memory_GB:
        raise MemoryLimitError(
            f"a mesh study takes {FEWEST_GRIDS} grids at least, which need {two_digits_up(least)} GB, "
            f"and {memory_GB:.2g} GB may be used",
            f"allow more: `--memory {two_digits_up(least)}`",
        )


def plan_for(
    case: Case, even: GridPlan, first_cells: int, wanted_K: float, memory_GB: float
) -> tuple[GridPlan, Field | None]:
    """A family made for the zones of a case, large enough for the accuracy; the even one where they say nothing.

    With it comes the field it was planned by.
    """
    if not case.heat:
        return even, None
    pilot = _pilot(case, even, first_cells)
    origin = error_origin(pilot)
    if origin is None:
        return even, pilot
    most = int(memory_GB * GIGABYTE / BYTES_PER_CELL)
    return goal_plan(origin, even, wanted_K, max(1, first_cells // LARGEST_REDUCTION), most), pilot


def _pilot(case: Case, even: GridPlan, first_cells: int) -> Field:
    """A field to plan by, on the coarsest grid that has one."""
    try:
        return solve_on(case, pilot_grid(case, first_cells // 2), None)[0]
    except (RunawayError, NotConvergedError):
        runaways = _Runaways()
    for multiplier in even.multipliers:
        grid = even.grid(multiplier)
        try:
            return solve_on(case, grid, None)[0]
        except (RunawayError, NotConvergedError) as error:
            if multiplier == even.multipliers[-1] or not runaways.may_settle(grid, error):
                raise
    raise AssertionError("a family has grids")


def _line(step: MeshStep, worst_K: float) -> str:
    """How far a mesh study is; the worst doubt is inf before the third grid."""
    doubt = f", worst mesh doubt {worst_K:.3g} K" if worst_K < inf else ""
    return f"grid of {step.cells:,} cells done in {step.seconds:.1f} s{doubt}"


def judge(steps: list[MeshStep]) -> Answers[Doubt]:
    """Every answer with its mesh doubt, from three or more grids."""
    asked = list(steps[-1].answers)
    table = [[step.answers[one] for one in asked] for step in steps]
    found = judged(table, [step.seen for step in steps], [one.is_heat for one in asked])
    return Answers(zip(asked, found, strict=True))


def _ladder_told(steps: list[MeshStep], told: Answers[Doubt]) -> Ladder | None:
    """The ladder down from where the told temperature of its start stands."""
    last = steps[-1].ladder
    if last is None:
        return None
    start = told[HOTTEST if last.starts_at == "hottest spot" else of_zone(last, "mean")]
    found = [step.ladder for step in steps[-3:]]
    alike = [one for one in found if one is not None and one.is_like(last)]
    if start.order is None or start.value == start.finest or len(alike) < len(found):
        return last
    return blended(alike, limit_weights(_sizes(steps)).tolist())


def _sizes(steps: list[MeshStep]) -> list[float]:
    return [step.size for step in steps]


def solve_on(case: Case, grid: Grid, coarser: Field | None, outer_K: float = OUTER_K) -> tuple[Field, int]:
    """The field on one grid, begun from that of a coarser one, and the iterations that it took."""
    model = build_model(case, grid)
    guess = None if coarser is None else model.guess(*_carried_over(coarser, grid))
    steady = steady_state(model, guess, accuracy_K=outer_K)
    return Field.of(model, steady), steady.iterations


def _carried_over(coarser: Field, grid: Grid) -> tuple[Array, tuple[Array, ...]]:
    """Temperatures of a coarser grid and its heated faces on a finer one, linear between cell centres."""
    temperature = coarser.filled
    faces = coarser.heated_face
    for axis in range(3):
        temperature = _between(temperature, axis, coarser.model.grid, grid)
        if axis < 2:
            faces = tuple(_between(face, axis, coarser.model.grid, grid) for face in faces)
    return temperature, faces


def _between(values: Array, axis: int, coarse: Grid, fine: Grid) -> Array:
    have, want = coarse.axes[axis].centres, fine.axes[axis].centres
    if len(have) == 1:
        return np.repeat(values, len(want), axis=axis)
    low = np.clip(np.searchsorted(have, want) - 1, 0, len(have) - 2)
    share = np.clip((want - have[low]) / (have[low + 1] - have[low]), 0.0, 1.0)
    share = share.reshape([-1 if other == axis else 1 for other in range(values.ndim)])
    return np.take(values, low, axis=axis) * (1.0 - share) + np.take(values, low + 1, axis=axis) * share

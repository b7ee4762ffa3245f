"""How a stack warms up: all answers over time on a family of grids, until each is known at every time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MemoryLimitError, RunawayError, ThermsimError
from thermsim.loads.load import Load
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import FEWEST_GRIDS, plan_for
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.plan import BYTES_PER_CELL, FIRST_GRID_CELLS, plan_grid
from thermsim.model.storage import check_capacities
from thermsim.progress import Progress
from thermsim.rounding import two_digits_up
from thermsim.transient.grid import time_plan
from thermsim.units import GIGABYTE
from thermsim.warming.family import Family
from thermsim.warming.held_back import follow, is_surely_below, must_hold_back, never_held_back
from thermsim.warming.loaded import remarks_of_load
from thermsim.warming.outcome import TimeStep, Warmup
from thermsim.warming.planned import GivenLoad, Planned, planned
from thermsim.warming.remarks import remarks_of
from thermsim.warming.runaway import without_steady_state
from thermsim.warming.told_times import told_times

Array = NDArray[np.float64]

# Cells in plan, over those of a family for the steady state alone: fewer grids then hold curves, which have their
# errors at many times, to an accuracy.
IN_PLAN = 1.25
BYTES_PER_VECTOR = 16  # of a cell for each vector of the small model, with room to add one
VECTORS = 18
LATEST_S = 1e10  # three centuries: beyond it, steps in time drown in rounding


def warmup(
    case: Case,
    from_s: float | None = None,
    until_s: float | None = None,
    *,
    load: GivenLoad = None,
    points: bool | None = None,
    also_s: Iterable[float] = (),
    settled_K: float | None = None,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    first_cells: int = FIRST_GRID_CELLS,
    grids: int | None = None,
    certain: bool = False,
    progress: Progress | None = None,
) -> Warmup:
    """Follow a case from rest after its load comes on at once, or under a load that changes, on three or more grids.

    Conductivities, leakage and heat capacities that depend on temperature are held between the unheated and the loaded
    state, so that both ends are exact. Where that may cost more than a share of the accuracy in between, the whole
    model is followed too, on the first grid, and what it does otherwise is added to all curves. So it is, on three
    grids, where `limits.holds_back` lets the power fall; there no lack of a steady state is a runaway.

    Parameters
    ----------
    from_s, until_s : first and last time [s] after the load came on; those of `warmup` in the case, or 0.001 and 1000,
        or the end of a log, unless given
    load : over time: a log (path of a CSV file), steps as in the case, or a `Load`; that of the case unless given
    points : whether the lines of a log are joined by straight lines; that of the case, or False, unless given
    also_s : times [s] between them that are told besides those evenly spread
    settled_K : how near to its end an answer is called settled [K]; that of the case, or 1, unless given
    accuracy_K : of all temperatures at all times [K], instead of the case's own; a tenth of it goes to time
    memory_GB : no grid is begun that would need more [GB]
    first_cells : cells of the first grid of an even family
    grids : climb so many, whatever the doubts; default: until the accuracy is held
    certain : whether the bound of the time doubt is told too that never fails, see `thermsim.transient.certain`
    progress : called after each grid with a line of words

    Raises
    ------
    ThermsimError : times out of order, or nothing that is switched on
    CaseError : every fault of a load, with line and cell; what a part or the coolant of a loop stores is not known
    MemoryLimitError : not even three grids fit
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError : see `thermsim.errors`
    """
    plan = planned(case, from_s, until_s, settled_K, load, points)
    return warmed_up(
        case, plan, also_s=also_s, accuracy_K=accuracy_K, memory_GB=memory_GB, first_cells=first_cells, grids=grids,
        certain=certain, progress=progress,
    )  # fmt: skip


def warmed_up(
    case: Case,
    asked: Planned,
    *,
    beside: Sequence[Planned] = (),
    also_s: Iterable[float] = (),
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    first_cells: int = FIRST_GRID_CELLS,
    grids: int | None = None,
    certain: bool = False,
    progress: Progress | None = None,
) -> Warmup:
    """As `warmup`, with times and load worked out.

    beside : what other cases that are told at the same times are followed through
    """
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    also = np.array(list(also_s), dtype=np.float64)
    check_warmup(case, asked, also, wanted)
    from_s, until_s, load = asked.from_s, asked.until_s, asked.load
    driven = case if load is None else load.case_of(case)
    allowed = allowed_GB(memory_GB)
    even = plan_grid(driven, first_cells)
    times = told_times([load, *(one.load for one in beside)], from_s, until_s, also)
    holds_back, runs_away = case.limits.holds_back, False
    try:
        steady_plan, _ = plan_for(driven, even, int(IN_PLAN * first_cells), wanted, allowed)
    except RunawayError as failure:
        if load is not None:
            raise _not_followed(failure) from None
        if not holds_back:
            span = from_s, until_s
            raise without_steady_state(case, time_plan(case, even, from_s), span, wanted, failure, progress) from None
        steady_plan, runs_away = even, True
    plan = time_plan(driven, steady_plan, from_s)
    _check_memory(plan, steady_plan, allowed, load)
    if holds_back and (runs_away or must_hold_back(case, plan.grid(plan.multipliers[0]))):
        return _told(follow(case, plan, times, wanted, asked.settled_K, grids, runs_away, progress))
    family = Family(driven, times, wanted, certain, load, bool(beside))
    for multiplier in plan.multipliers[:grids]:
        if _needed_GB(plan, multiplier, load) > allowed:
            break
        family.climb(plan, multiplier, from_s)
        worst = family.worst_K()
        if progress is not None:
            progress(_line(family.steps[-1], worst))
        if worst <= wanted and grids is None:
            break
    found = family.outcome(asked.settled_K)
    if holds_back and not is_surely_below(found):
        return _told(follow(case, plan, times, wanted, asked.settled_K, grids, False, progress))
    if holds_back:
        return never_held_back(found)
    return replace(found, case=case, remarks=(*found.remarks, *remarks_of_load(case, load, until_s, found.field.model)))


def _told(found: Warmup) -> Warmup:
    """The same with what must be said beside its numbers."""
    return replace(found, remarks=remarks_of(found, 0.0))


def _not_followed(failure: RunawayError) -> RunawayError:
    """A typed load without a steady state, of which a load over time would be shares."""
    error = RunawayError(
        f"{failure.what}; shares of a load are followed only where all of it has a steady state",
        "lower the powers of the case, or give the load in watts, which hold what leaks",
    )
    error.share, error.share_doubt = failure.share, failure.share_doubt
    return error


def check_warmup(case: Case, asked: Planned, also_s: ArrayLike, wanted: float) -> None:
    """Raises ThermsimError where `warmup` would refuse before it solves."""
    also, from_s, until_s = np.asarray(also_s), asked.from_s, asked.until_s
    if not 0.0 < from_s < until_s <= LATEST_S:
        raise ThermsimError(
            f"from {from_s:g} s until {until_s:g} s is no span of time",
            f"give the first time above zero, and the last one above the first and at most {LATEST_S:g}, in seconds",
        )
    if not np.all((also >= from_s) & (also <= until_s)):
        raise ThermsimError(
            f"of the times asked for, some do not lie between {from_s:g} and {until_s:g} s",
            "ask for times in between, or for a longer span",
        )
    if not wanted > 0.0 or not asked.settled_K > 0.0:
        raise ThermsimError(
            f"an accuracy of {wanted} K, settled to within {asked.settled_K} K, cannot be asked for",
            "give kelvins above zero",
        )
    if asked.load is not None and case.limits.holds_back:
        raise ThermsimError(
            "a chip that holds back is followed under all power of the case, and this load changes over time",
            "leave `holds_back` out, or the load",
        )
    joined = asked.load is not None and asked.load.is_share and asked.load.between == "line"
    if joined and any(heat.leakage is not None for heat in case.heat):
        raise ThermsimError(
            "shares that straight lines join are not followed where power leaks: each share leaks in its own way",
            "let each share hold until the next one, or give the load in watts, which hold what leaks",
        )
    if not case.heat:
        raise ThermsimError("nothing is switched on: the case makes no heat", "give `heat`")
    check_capacities(case)


def _needed_GB(plan: GridPlan, multiplier: int, load: Load | None = None) -> float:
    vectors = VECTORS * (1 if load is None else max(len(load.zones), 1))
    return plan.cells(multiplier) * (BYTES_PER_CELL + vectors * BYTES_PER_VECTOR) / GIGABYTE


def _check_memory(plan: GridPlan, later: GridPlan, memory_GB: float, load: Load | None = None) -> None:
    """later : as coarse upwards as a study may be that begins late"""
    least, least_later = (_needed_GB(one, one.multipliers[FEWEST_GRIDS - 1], load) for one in (plan, later))
    if least > memory_GB:
        raise MemoryLimitError(
            f"a study in time takes {FEWEST_GRIDS} grids at least, which need {two_digits_up(least)} GB, "
            f"and {memory_GB:.2g} GB may be used",
            f"allow more: `--memory {two_digits_up(least)}`"
            + (", or ask from a later time on" if least_later <= memory_GB else ""),
        )


def _line(step: TimeStep, worst_K: float) -> str:
    doubt = f", worst doubt {worst_K:.3g} K" if worst_K < np.inf else ""
    return f"grid of {step.cells:,} cells done in {step.seconds:.1f} s, {step.solves} shifts{doubt}"

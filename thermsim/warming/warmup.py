"""How a stack warms up: all answers over time on a family of grids, until each is known at every time."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import HeatBalanceError, MemoryLimitError, RunawayError, ThermsimError
from thermsim.loads.load import Load
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import FEWEST_GRIDS, OUTER_K, plan_for, solve_on
from thermsim.mesh.prediction_remarks import grave_first, remarks_of_state, unseen_in_words
from thermsim.mesh.settling import OnGrid, judged
from thermsim.mesh.unseen_streaks import streaks_of
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.plan import BYTES_PER_CELL, FIRST_GRID_CELLS, plan_grid
from thermsim.model.storage import check_capacities, left_out, little_left_out, storing_joints
from thermsim.progress import Progress
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import LARGEST_IMBALANCE, Field
from thermsim.readout.observable import COOLANT, HOTTEST, Answers, Observable
from thermsim.rounding import two_digits_up
from thermsim.transient.curves import Reader
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import SmallModel, model_at
from thermsim.transient.loop import with_a_kelvin
from thermsim.transient.under_load import LoadedReader
from thermsim.units import GIGABYTE
from thermsim.warming.held_back import follow, is_surely_below, must_hold_back, never_held_back
from thermsim.warming.held_still import bends, held_doubts, model_of_load, reader_of
from thermsim.warming.loaded import end_of, remarks_of_load, with_peaks
from thermsim.warming.on_the_way import OnTheWay
from thermsim.warming.outcome import Curve, Rest, TimeStep, Warmup
from thermsim.warming.planned import GivenLoad, Planned, planned
from thermsim.warming.rest import why_no_bound
from thermsim.warming.runaway import without_steady_state
from thermsim.warming.settled import settled_between
from thermsim.warming.told_times import told_times, unseen_until_s

Array = NDArray[np.float64]

# Cells in plan, over those of a family for the steady state alone: fewer grids then hold curves, which have their
# errors at many times, to an accuracy.
IN_PLAN = 1.25
# Of the accuracy: what a model of many shifts may take, and what the few shifts of large grids may differ from it on
# the last small one. That difference is taken off again, so that grids are told apart by a tenth of it.
SHARE_OF_TIME, SHARE_OF_FEW = 0.03, 0.06
FEW_CELLS = 100_000  # cells from which on a grid gets few shifts; two grids at least get many
BYTES_PER_VECTOR = 16  # of a cell for each vector of the small model, with room to add one
VECTORS = 18
ROUNDING = 1e-9  # relative
UNDER_LOAD = "the load changes: a warm-up under all power of the case tells it, without a load over time"
LATEST_S = 1e10  # three centuries: beyond it, steps in time drown in rounding
MANY_CONSTANTS = 5.0  # after so many time constants less than a hundredth of an exponential is left


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
    family = _Family(driven, times, wanted, certain, load, bool(beside))
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
    return replace(found, remarks=_remarks(found, 0.0))


def _not_followed(failure: RunawayError) -> RunawayError:
    """A typed load without a steady state, of which a load over time would be shares."""
    error = RunawayError(
        f"{failure.what}; shares of a load are followed only where all of it has a steady state",
        "lower the powers of the case, or give the load in watts, which hold what leaks",
    )
    error.share, error.share_doubt = failure.share, failure.share_doubt
    return error


class _Family:
    """The grids climbed so far, and what each answer is over time on each."""

    def __init__(
        self,
        case: Case,
        times: Array,
        wanted: float,
        certain: bool = False,
        load: Load | None = None,
        times_are_set: bool = False,
    ) -> None:
        self.case, self.times, self.wanted, self.load = case, times, wanted, load
        self.certain: Answers[float] | None = Answers() if certain else None
        self.times_are_set = times_are_set
        self.asked = observables(case)
        self.steps: list[TimeStep] = []
        self.tables: list[Array] = []  # for each grid (answers, times and the end)
        self.seen: list[OnGrid] = []
        self.field: Field | None = None
        self.many: tuple[Reader, SmallModel] | None = None
        self.missed: dict[Observable, Array] = {}  # by few shifts
        self.shifts: tuple[float, ...] = ()
        self.time_doubts: Answers[float] = Answers()
        self.on_the_way = OnTheWay(case, times, wanted, load)
        self.unheated: Answers[float] = Answers()
        self.judged: list[Doubt] = []

    def climb(self, plan: GridPlan, multiplier: int, from_s: float) -> None:
        """Solve on one grid more."""
        start = time.perf_counter()
        self.field, iterations = solve_on(self.case, plan.grid(multiplier), self.field, OUTER_K)
        reader = reader_of(self.case, self.field, from_s, multiplier, load=self.load)
        small = self._model_of(reader, from_s, multiplier)
        imbalance = reader.imbalance(small, self.times)
        if not imbalance <= LARGEST_IMBALANCE:
            raise HeatBalanceError(
                f"heat made, stored and let out differ by {imbalance:.1e} of the heat",
                "this is a fault of the solver or of a coefficient range: keep the case file and report it",
            )
        self.small, self.reader, self.unheated = small, reader, answers(self.case, reader.resting)
        ends = end_of(self.load, self.field, reader.resting)
        self.tables.append(self._table(reader, small, ends))
        seen = OnGrid.of(self.case, ends or self.field, multiplier, self.seen[0] if self.seen else None)
        unseen = {
            one.film: np.append(one.unseen_K(*reader.beside(small, self.times, one.face)), seen.unseen[one.film])
            for one in streaks_of(self.case, self.field.model)
        }
        self.seen.append(replace(seen, unseen=unseen))
        shape = reader.system.shape
        self.steps.append(
            TimeStep(
                multiplier,
                shape[0] * shape[1] * shape[2],
                shape[2],
                time.perf_counter() - start,
                len(small.shifts),
                iterations + small.iterations,
                imbalance,
            )
        )
        rest = [0.0 if one.takes == "power" else self.unheated[one] for one in self.asked]
        self.on_the_way.unheated = np.array(rest)
        self.on_the_way.climb(self.field, from_s, multiplier, self.tables)
        if len(self.steps) >= FEWEST_GRIDS:
            self.judged = self._judge()

    def _model_of(self, reader: Reader, from_s: float, multiplier: int) -> SmallModel:
        """A model of many shifts on small grids; the last of these tells which few serve on all others alike."""
        assert self.field is not None
        is_small = len(self.steps) < 2 or reader.system.capacity.size < FEW_CELLS
        if not self.shifts and (is_small or reader.coolant is not None or self.load is not None):
            share = SHARE_OF_TIME * self.wanted
            known = self.many[1].shifts if self.many else ()
            many = model_of_load(reader, self.times, share, known)
            if not self.steps:
                if isinstance(reader, LoadedReader) and not self.times_are_set:
                    self.times = with_peaks(reader, many, self.times)
                    self.on_the_way = OnTheWay(self.case, self.times, self.wanted, self.load)
                held = held_doubts(reader, many, self.field, self.times, from_s, multiplier, self.load)
                self.on_the_way.held = held
                self._see_beyond(reader)
            self.many = reader, many
            self.time_doubts = reader.doubts(many, self.times)
            if self.certain is not None:
                self.certain = reader.certain(many, self.times)
            return many
        if not self.shifts:
            assert self.many is not None
            self._choose_few(*self.many)
            self.many = None
        return model_at(reader.system, self.shifts)

    def _choose_few(self, reader: Reader, many: SmallModel) -> None:
        self.shifts = reader.few_shifts(many, self.times, SHARE_OF_FEW * self.wanted)
        few = many.of(many.mix(self.shifts), self.shifts)
        with_many, with_few = reader.curves(many, self.times), reader.curves(few, self.times)
        for one in self.asked:
            self.missed[one] = np.nan_to_num(with_many[one] - with_few[one])
            missed = float(np.abs(self.missed[one]).max())
            self.time_doubts[one] += missed
            if self.certain and one in self.certain:
                self.certain[one] += missed

    def _see_beyond(self, reader: Reader) -> None:
        """What is held up to the typed load says nothing of a load beyond that: it is followed or refused."""
        if not isinstance(reader, LoadedReader) or self.field is None or not bends(self.field.model):
            return
        most, zone = reader.most_of_typed
        if most <= 1.0 + ROUNDING:
            return
        self.on_the_way.goes_beyond = True
        if not self.on_the_way.may_be_followed:
            whose = f"zone {zone!r}" if zone else "the package"
            raise ThermsimError(
                f"the load goes to {most:.3g} times what the case types for {whose}, and properties that depend on "
                "temperature are held between rest and that",
                f"type a `power_W` for {whose} that is at least {most:.3g} times as large",
            )

    def _table(self, reader: Reader, small: SmallModel, end: Field | None) -> Array:
        curves = reader.curves(small, self.times)
        ends = None if end is None else answers(self.case, end)
        return np.array([self._row(one, curves[one], ends) for one in self.asked])

    def _row(self, one: Observable, curve: Array, ends: Mapping[Observable, float] | None) -> Array:
        """At all times and at the end; at the last time again where a load has none."""
        told = curve + self.missed.get(one, 0.0)
        return np.append(told, told[-1] if ends is None else ends[one])

    def _judge(self) -> list[Doubt]:
        """Every answer at every time, and at the end."""
        table = np.array(self.tables)
        heats = np.repeat([one.is_heat for one in self.asked], table.shape[2])
        grids = [_of_columns(seen, lambda row: np.tile(row, len(self.asked))) for seen in self.seen]
        return judged(table.reshape(len(table), -1), grids, heats)

    def worst_K(self) -> float:
        """The widest doubt of mesh and time of a temperature; inf before the third grid."""
        if not self.judged:
            return float("inf")
        row = len(self.times) + 1
        mesh = np.array([one.half_width for one in self.judged]).reshape(-1, row)
        followed = self.on_the_way.held_K is not None  # what is held still no finer grid makes better
        between = np.pad(self._between() * followed, ((0, 0), (0, 1)))  # the end is exact
        return max(
            float((mesh[number] + between[number]).max()) + self.time_doubts[asked]
            for number, asked in enumerate(self.asked)
            if not asked.is_heat
        )

    def _between(self) -> Array:
        """(answers, times) how far off answers may be by what properties do between both ends."""
        limits = np.array([one.value for one in self.judged]).reshape(-1, len(self.times) + 1)
        return self.on_the_way.doubt(self.tables, limits)

    def _near_end_s(
        self, number: int, within_K: float, coolant: int | None = None, per_kelvin: float = 0.0
    ) -> tuple[float, float] | None:
        """Earliest and latest time [s] from which on an answer is near its end, as its doubts allow; None if never.

        Grids err alike at a time and at the end: what is left to rise is judged as an answer of its own.
        coolant : the answer that takes `per_kelvin` of what it is from its own end off this one
        """
        table = np.array([rows[number] for rows in self.tables])
        between = self._between()
        width = self.time_doubts[self.asked[number]] + between[number]
        if coolant is not None:
            table = table - per_kelvin * np.array([rows[coolant] for rows in self.tables])
            width = width + per_kelvin * (self.time_doubts[self.asked[coolant]] + between[coolant])
        grids = [_of_columns(seen, lambda row: row[:-1]) - _of_columns(seen, lambda row: row[-1]) for seen in self.seen]
        left = judged(table[:, :-1] - table[:, -1:], grids)
        risen = np.array([each.value for each in left]) + self.on_the_way.correction[number]
        off = np.nan_to_num(np.abs(risen), nan=np.inf)
        if self.load is not None:
            off[self.times <= unseen_until_s(self.load, float(self.times[-1]))] = np.inf
        mesh = np.array([each.half_width for each in left])
        return settled_between(self.times, off, mesh + width, within_K)

    def _rest(self, within_K: float, curves: Mapping[Observable, Curve]) -> Rest:
        """See `Rest`: of readings, or of all temperatures of the stack without any."""
        of_stack = [one for one in self.asked if not one.is_heat and one != COOLANT]
        if self.load is not None:
            return Rest(within_K, None, None, 0.0, of_stack[0], UNDER_LOAD)
        places = [one for one in of_stack if one.kind == "reading"] or of_stack
        seconds, last = _longest({one: curves[one].settled_s for one in places})
        assert self.field is not None
        why = why_no_bound(self.field)
        coolant = self.reader.coolant
        if coolant is None:
            return Rest(within_K, None if why else seconds, None, 0.0, last, why)
        found = self.reader.of_states(self.small, with_a_kelvin(self.small, coolant))
        resting = self.reader.of_a_kelvin_at_rest()
        slopes = {one: (float(np.nan_to_num(found[one][1] - found[one][0])), resting[one]) for one in places}
        most = max(max(both) for both in slopes.values())
        if why:
            return Rest(within_K, None, None, most, last, why)
        at = self.asked.index(COOLANT)
        # With leakage a kelvin of coolant does less just after switching on: judged by either, the rest serves both.
        noted = [
            {one: self._near_end_s(self.asked.index(one), within_K, at, slopes[one][which]) for one in places}
            for which in (0, 1)
        ]
        return Rest(within_K, seconds, _later(*(_longest(each)[0] for each in noted)), most, last)

    @property
    def has_end(self) -> bool:
        """Whether there is a steady state that all heads for."""
        return self.load is None or self.load.lasts

    def outcome(self, settled_K: float) -> Warmup:
        assert self.field is not None
        row = len(self.times) + 1
        rest, between = self.unheated, self._between()
        curves: Answers[Curve] = Answers()
        for number, one in enumerate(self.asked):
            told = self.judged[row * number : row * (number + 1)]
            value = np.array([each.value for each in told[:-1]]) + self.on_the_way.correction[number]
            mesh = np.array([each.half_width for each in told[:-1]])
            settled = None if one.is_heat or not self.has_end else self._near_end_s(number, settled_K)
            loaded = told[-1] if self.has_end else None
            unheated = 0.0 if one.takes == "power" else rest[one]
            curves[one] = Curve(value, mesh, self.time_doubts[one], between[number], unheated, loaded, settled)
        status: Literal["accuracy held", "accuracy not held"] = (
            "accuracy held" if self.worst_K() <= self.wanted else "accuracy not held"
        )
        films = tuple(joint.joint for joint, _ in storing_joints(self.case))
        found = Warmup(
            self.case, self.times, curves, settled_K, self.wanted, status, tuple(self.steps), self.small.shifts,
            self.small.rates(), films, self.field, self._rest(settled_K, curves), self.on_the_way.held_K, self.load,
            certain=self.certain,
        )  # fmt: skip
        return replace(found, remarks=_remarks(found, float(np.max(self.seen[-1].unseen_sum))))


def _longest(rests: Mapping[Observable, tuple[float, float] | None]) -> tuple[tuple[float, float] | None, Observable]:
    """Of all, which takes longest; None where one has no end."""
    endless = next((one for one, seconds in rests.items() if seconds is None), None)
    if endless is not None:
        return None, endless
    latest = {one: seconds[1] for one, seconds in rests.items() if seconds is not None}
    return _later(*rests.values()), max(latest, key=lambda one: latest[one])


def _later(*spans: tuple[float, float] | None) -> tuple[float, float] | None:
    """Spans of time of which the latest counts; None where one has no end."""
    known = [span for span in spans if span is not None]
    if len(known) < len(spans):
        return None
    return max(span[0] for span in known), max(span[1] for span in known)


def _of_columns(seen: OnGrid, of: Callable[[Array], Array]) -> OnGrid:
    """What film maps hide at each time and at the end, as other columns have it."""
    return replace(seen, unseen={film: of(np.asarray(row)) for film, row in seen.unseen.items()})


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


def _remarks(found: Warmup, unseen_K: float) -> tuple[str, ...]:
    loaded = found.curves[HOTTEST].loaded
    said = [] if loaded is None else remarks_of_state(found.case, found.field, loaded.value)
    worst, doubt = found.worst
    if found.status == "accuracy not held":
        said.append(
            f"accuracy not held: {worst} is known to {two_digits_up(doubt)} K at every time, "
            f"not to {found.accuracy_K:g} K"
        )
    temperatures = [curve for one, curve in found.curves.items() if not one.is_heat]
    enough_s = MANY_CONSTANTS * found.slowest_s
    heads_on = found.load is None or found.load.lasts
    if heads_on and found.times_s[-1] < enough_s and not any(curve.settled_s for curve in temperatures):
        said.append(
            f"no temperature is settled within the {found.times_s[-1]:g} s followed: follow it until about "
            f"{MANY_CONSTANTS:g} times the longest time constant, `--until {two_digits_up(enough_s)}`"
        )
    if found.held_back is not None and not found.held_back.is_enough:
        said.append(
            f"WARNING: {found.held_back.reading} passes its limit of {found.held_back.limit_C:g} C even with all power "
            "held back that may be: let more zones have a clock, or cool better"
        )
    held = max(float(np.max(curve.between_doubt)) for curve in temperatures)
    if found.held_K is not None:
        said.append(
            "conductivities, heat capacities and leakage follow their temperatures, by the whole model;"
            f" held still they would hold temperatures up to {two_digits_up(found.held_K)} K off on the way"
        )
    elif held > 0.0:
        said.append(
            "conductivities, heat capacities and leakage are held still between both ends: between them up to "
            f"{two_digits_up(held)} K off; both ends are exact"
        )
    said += [
        f"what the joint {name!r} stores is left out: nobody knows how thick it is" for name in left_out(found.case)
    ]
    said += [
        f"what the film of the joint {name!r} stores is left out, for its heat capacity is not known: at most "
        f"{two_digits_up(100.0 * share)} % of what a heated part stores"
        for name, share in little_left_out(found.case).items()
    ]
    return grave_first([*said, *unseen_in_words(found.case, unseen_K, found.accuracy_K)])

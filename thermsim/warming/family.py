"""The grids that a warm-up climbs: each answer over time on each of them, and what their family tells of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import HeatBalanceError, ThermsimError
from thermsim.loads.load import Load
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.predict import FEWEST_GRIDS, OUTER_K, solve_on
from thermsim.mesh.settling import OnGrid, judged
from thermsim.mesh.unseen_streaks import streaks_of
from thermsim.model.grid.axes import GridPlan
from thermsim.model.storage import storing_joints
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import LARGEST_IMBALANCE, Field
from thermsim.readout.observable import COOLANT, Answers, Observable
from thermsim.transient.curves import Reader
from thermsim.transient.krylov import SmallModel, model_at
from thermsim.transient.loop import with_a_kelvin
from thermsim.transient.under_load import LoadedReader
from thermsim.warming.held_still import bends, held_doubts, model_of_load, reader_of
from thermsim.warming.loaded import end_of, with_peaks
from thermsim.warming.on_the_way import OnTheWay
from thermsim.warming.outcome import Curve, Rest, TimeStep, Warmup
from thermsim.warming.remarks import remarks_of
from thermsim.warming.rest import why_no_bound
from thermsim.warming.settled import settled_between
from thermsim.warming.told_times import unseen_until_s

Array = NDArray[np.float64]

# Of the accuracy: what a model of many shifts may take, and what the few shifts of large grids may differ from it on
# the last small one. That difference is taken off again, so that grids are told apart by a tenth of it.
SHARE_OF_TIME, SHARE_OF_FEW = 0.03, 0.06
FEW_CELLS = 100_000  # cells from which on a grid gets few shifts; two grids at least get many
ROUNDING = 1e-9  # relative
UNDER_LOAD = "the load changes: a warm-up under all power of the case tells it, without a load over time"


class Family:
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
        """What is told, settled to within so many kelvin; after the third grid."""
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
        return replace(found, remarks=remarks_of(found, float(np.max(self.seen[-1].unseen_sum))))


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

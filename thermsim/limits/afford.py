"""Which clock a case can afford: where a reading meets its limit, for the base and every option.

Readings at another clock or power are found on one grid that is quick. How far that grid is off is found once, at the
power at which the limit is met, by a mesh study of its own: at other clocks the difference is taken in proportion to
the rise over the coolant, and by as much as it changes the mesh doubt is widened. Near the limit, where it matters,
that is nothing; at a step far from it the margin is far larger.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case, Clock
from thermsim.errors import CaseError, Fault, RunawayError
from thermsim.limits.clock import Drive, drive_at, driven, proportional, voltage_at, voltage_points
from thermsim.limits.states import EDGE_WIDTH, MEETS_K, Crossing, State, States, crossing
from thermsim.mesh.convergence import doubt as doubt_of
from thermsim.mesh.predict import FEWEST_GRIDS, predict
from thermsim.model.build import build_model
from thermsim.model.grid.plan import MULTIPLIERS, plan_grid
from thermsim.printable import Printable
from thermsim.progress import Progress
from thermsim.readout.materials_held import NotHeld, worst_of
from thermsim.readout.observable import of_reading

SEARCH_GRID = 1  # index into MULTIPLIERS of the even grid on which clocks and powers are tried: the second coarsest
# The next power tried is this factor beyond where a straight line would meet the limit. The reading then lies above the
# limit at once where it grows faster than the power, as leakage makes it.
OVERSHOOT = 1.02
LARGEST_STRIDE = 4.0  # largest ratio of one power tried to the one before; our own choice
# share of the typed power up to which the limit is sought; a reading that stays below does not depend on that power
MOST_SHARE = 1e5
# Share of the power or clock at the limit at which a second state is solved: from both follows what one kelvin is worth
# in watts or gigahertz there.
STEP_BACK = 0.99
# share of the smallest tolerance of an offset that the mesh doubt may have: sensors then decide, not the mesh
MESH_SHARE_OF_TOLERANCE = 0.1
# Shares of the power at the edge of runaway at which the mesh is studied, in this order, if the limit is not met before
# that edge.
BEFORE_RUNAWAY, FAR_FROM_RUNAWAY = 0.9, 0.5
# Where this many times the power of a clock has no steady state, the mesh cannot tell whether the clock itself has one.
NEAR_RUNAWAY = 1.02

Verdict = Literal["yes", "no", "within doubt", "runaway"]
Width = Literal["expected", "at least"]
Beyond = Literal["below the slowest", "above the fastest"]


@dataclass(frozen=True)
class Step:
    """One clock. reading : the highest; margin_least_K : what tolerances and mesh doubt leave, of all readings.

    is_typed : the clock at which the powers of the case hold; temperatures are None where there is no steady state
    """

    frequency_GHz: float
    voltage_V: float
    is_typed: bool
    power_W: float | None
    reading: str | None
    highest_reading_C: float | None
    mesh_doubt_K: float | None
    margin_K: float | None
    margin_least_K: float | None
    verdict: Verdict


@dataclass(frozen=True)
class PowerAtLimit:
    """Heat made in all parts where the first reading meets the limit, the clocked zones in proportion [W].

    mesh_doubt_W : half width; None where not known; least_W : the same with offset tolerance and mesh doubt taken off,
    None where even no clocked power keeps that; share : of the clocked power typed
    reading : the first to meet it; None where a runaway comes first
    """

    value_W: float
    mesh_doubt_W: float | None
    least_W: float | None
    share: float
    reading: str | None
    ends_by: Literal["limit", "runaway"]


@dataclass(frozen=True)
class Between:
    """The clock at which the limit is met along the straight lines of voltage between the steps."""

    frequency_GHz: float
    mesh_doubt_GHz: float | None
    voltage_V: float
    power_W: float
    reading: str | None
    ends_by: Literal["limit", "runaway"]


@dataclass(frozen=True)
class Afforded:
    """The answer for the base (option None) or one option.

    power : None where the limit is passed whatever the clocked zones make
    between : None where the limit is not met within the range of the steps; `beyond` says on which side it lies
    least_GHz : up to which clock it is surely kept, offset tolerance and mesh doubt taken off; None outside the range
    accuracy_held : whether every mesh doubt of a reading at the limit is below the accuracy asked
    not_held : what gets hotter than its material holds at the power or at a clock that is told
    """

    option: str | None
    limit_C: float
    power: PowerAtLimit | None
    steps: tuple[Step, ...]
    between: Between | None
    beyond: Beyond | None
    least_GHz: float | None
    accuracy_held: bool
    not_held: tuple[NotHeld, ...] = ()

    @property
    def affordable(self) -> Step | None:
        """The fastest clock whose readings stay below the limit, whatever offset tolerance and mesh doubt."""
        return max((step for step in self.steps if step.verdict == "yes"), key=lambda s: s.frequency_GHz, default=None)


@dataclass(frozen=True)
class Affordance(Printable):
    """All answers, the base first."""

    case: Case
    accuracy_K: float
    answers: tuple[Afforded, ...]


def afford(case: Case, *, accuracy_K: float | None = None, progress: Progress | None = None) -> Affordance:
    """The power and clock at which a reading meets its limit, for the base and every option.

    Parameters
    ----------
    accuracy_K : of the readings at the limit [K]; unless given the case's own, or a tenth of the smallest tolerance of
    an offset where that is wider
    progress : see `predict`

    Raises
    ------
    CaseError : no limit, no readings, or a clock that drives no heat, with the place
    ThermsimError : as `predict`
    """
    cases = [case, *(with_option(case, option.option) for option in case.options)]
    for one in cases:
        _check(one)
    wanted = _needed_K(case) if accuracy_K is None else accuracy_K
    return Affordance(case, wanted, tuple(_afford(one, wanted, progress) for one in cases))


def _needed_K(case: Case) -> float:
    """Mesh doubt that changes no verdict by much: far below what the sensors leave open anyway."""
    tolerance = min((one.offset_K.plus_minus for one in case.readings), default=0.0)
    return max(case.accuracy_K, MESH_SHARE_OF_TOLERANCE * tolerance)


def _check(case: Case) -> None:
    lacks = []
    if case.limits.reading_C is None:
        lacks.append((("limits",), "what a reading may reach is not given; add `limits: {reading_C: 95}`"))
    if not case.readings:
        lacks.append((("readings",), "nothing is read; add `readings: [{reading: name, zone: name}]`"))
    grid = plan_grid(case).grid(MULTIPLIERS[0])
    typed, idle = (
        sum(float(source.watts.sum()) for source in build_model(driven(case, proportional(share)), grid).sources)
        for share in (1.0, 0.0)
    )
    if typed <= idle:
        path = ("heat",) if case.clock is None else ("clock",)
        lacks.append((path, "no heat is made that could be changed; give zones a `power_W`"))
    if lacks:
        option = "" if case.option is None else f"option {case.option!r}: "
        raise CaseError([Fault(case.file, *case.mark(*path), f"{option}{what}") for path, what in lacks])


# ---- one case ---------------------------------------------------------------------------------------------------


def _afford(case: Case, accuracy_K: float, progress: Progress | None) -> Afforded:
    limit_C = case.limits.reading_C
    assert limit_C is not None  # as just checked
    plan = plan_grid(case)
    rough_judge = _Judge(case, States(case, plan.grid(MULTIPLIERS[0])))
    met = rough_judge.power_at(limit_C, "expected")
    judge, is_accuracy_held = _studied(States(case, plan.grid(MULTIPLIERS[SEARCH_GRID])), met, accuracy_K, progress)
    clock = case.clock
    steps = () if clock is None else tuple(judge.step(clock, limit_C, *pair) for pair in _pairs(clock))
    between, beyond = (None, None) if clock is None else judge.between(clock, limit_C)
    least_GHz = None if clock is None else judge.least_GHz(clock, limit_C, between)
    power = judge.power(limit_C)
    drives = [drive_at(clock, step.frequency_GHz, step.voltage_V) for step in steps] if clock is not None else []
    drives += [] if power is None else [proportional(power.share)]
    not_held = judge.not_held(drives)
    return Afforded(case.option, limit_C, power, steps, between, beyond, least_GHz, is_accuracy_held, not_held)


def _pairs(clock: Clock) -> list[tuple[float, float, bool]]:
    """Clock [GHz], voltage [V], and whether it is the one typed; by rising frequency."""
    steps = [(step.frequency_GHz, step.voltage_V, False) for step in clock.steps]
    typed = (clock.frequency_GHz, clock.voltage_V, True)
    return sorted([*(step for step in steps if step[:2] != typed[:2]), typed])


def _studied(states: States, met: Crossing | None, accuracy_K: float, progress: Progress | None) -> tuple[_Judge, bool]:
    """The states with the error of their grid, from a mesh study where the limit is met, or short of a runaway."""
    case = states.case
    share = 1.0 if met is None else met.at
    shares = [share] if met is not None and met.ends_by == "limit" else []
    reading = frozenset(of_reading(one.reading) for one in case.readings)
    for share_there in [*shares, BEFORE_RUNAWAY * share, FAR_FROM_RUNAWAY * share]:
        there = states.at(proportional(share_there))
        if there is None:
            continue
        try:
            found = predict(driven(case, there.drive), accuracy_K=accuracy_K, progress=progress, asked=reading)
        except RunawayError:
            continue  # steady on this grid, but no more on a finer one
        finest = {name: found.answers[of_reading(name)] for name in there.readings}
        doubts = {name: found.doubts[of_reading(name)].half_width for name in there.readings}
        return _Judge(case, states, there, finest, doubts), max(doubts.values()) <= accuracy_K
    raise RunawayError(
        f"leakage outruns the cooling at {100 * FAR_FROM_RUNAWAY * share:.3g} % of the clocked power already",
        "lower the power or the leakage, or cool better",
    )


class _Judge:
    """Readings of states, corrected by a mesh study of the state `there`, with their doubts; uncorrected without it."""

    def __init__(
        self,
        case: Case,
        states: States,
        there: State | None = None,
        finest: dict[str, float] | None = None,
        doubts: dict[str, float] | None = None,
    ) -> None:
        self.case, self.states, self.there = case, states, there
        self.finest, self.doubts = finest or {}, doubts or {}
        self.tried_GHz: set[float] = set()
        self.offset = {one.reading: one.offset_K for one in case.readings}

    def expected(self, state: State, name: str) -> tuple[float, float]:
        """Reading and its mesh doubt [C, K]."""
        value = state.readings[name]
        if self.there is None:
            return value, 0.0
        zero = self.there.coolant_C + self.offset[name].value
        rise = self.there.readings[name] - zero
        ratio = (value - zero) / rise if abs(rise) > 1e-9 else 1.0
        off = self.finest[name] - self.there.readings[name]
        return value + off * ratio, self.doubts[name] * max(ratio, 1.0) + abs(off * (ratio - 1.0))

    def highest(self, state: State, width: Width = "expected") -> tuple[float, str]:
        """The highest reading [C] with its name; `at least`: raised by its mesh doubt and tolerance."""
        found = []
        for name in state.readings:
            value, mesh = self.expected(state, name)
            found.append((value + (mesh + self.offset[name].plus_minus if width == "at least" else 0.0), name))
        return max(found)

    def excess(self, drive: Drive, limit_C: float, width: Width) -> float | None:
        state = self.states.at(drive)
        return None if state is None else self.highest(state, width)[0] - limit_C

    # ---- power

    def power_at(self, limit_C: float, width: Width) -> Crossing | None:
        """The share of the clocked power that meets the limit; None where none at all does too much already."""

        def excess(share: float) -> float | None:
            return self.excess(proportional(share), limit_C, width)

        tried = sorted({0.0, 1.0, *self.states.shares()}) if self.there is not None else [0.0, 1.0]
        high = next((share for share in tried[1:] if not _below(excess(share))), None)
        low = max(share for share in tried if high is None or share < high)
        while high is None:
            state = self._state(proportional(low))
            rise = self.highest(state, width)[0] - state.coolant_C
            more = OVERSHOOT * (limit_C - state.coolant_C) / rise if rise > 0.0 else LARGEST_STRIDE
            further = low * min(max(more, OVERSHOOT), LARGEST_STRIDE)
            if further > MOST_SHARE:
                what = "no reading depends on the clocked power; read a zone that is heated by it"
                raise CaseError([Fault(self.case.file, *self.case.mark("readings"), what)])
            low, high = (further, None) if _below(excess(further)) else (low, further)
        if low == 0.0 and not _below(excess(low)):
            return None
        return crossing(excess, low, high)

    def power(self, limit_C: float) -> PowerAtLimit | None:
        met = self.power_at(limit_C, "expected")
        if met is None:
            return None
        state = self._state(proportional(met.at))
        least = self.power_at(limit_C, "at least")
        least_W = None if least is None else self._state(proportional(least.at)).made_W
        if met.ends_by == "runaway":
            edge_W = self._edge_doubt(lambda judge: judge._power_edge(limit_C))
            if least is not None and least.ends_by == "runaway":
                least_W = None if edge_W is None else max(state.made_W - edge_W, 0.0)
            return PowerAtLimit(state.made_W, edge_W, least_W, met.at, None, "runaway")
        doubt_K, below = self._doubt_below(state, proportional(STEP_BACK * met.at))
        doubt_W = doubt_K * (state.made_W - below.made_W)
        return PowerAtLimit(state.made_W, doubt_W, least_W, met.at, self.highest(state)[1], "limit")

    def _doubt_below(self, state: State, colder: Drive) -> tuple[float, State]:
        """Mesh doubt of the highest reading of a state over its distance to that of a colder state, and that state."""
        below = self._state(colder)
        highest, name = self.highest(state)
        return (self.expected(state, name)[1] + MEETS_K) / (highest - self.expected(below, name)[0]), below

    def _power_edge(self, limit_C: float) -> tuple[float, float] | None:
        """Power [W] at the edge of runaway, and how exactly it was found; None where the limit is met before it."""
        met = self.power_at(limit_C, "expected")
        if met is None or met.ends_by == "limit":
            return None
        edge, before = (self._state(proportional(met.at * part)).made_W for part in (1.0, 1.0 - EDGE_WIDTH))
        return edge, edge - before

    def _edge_doubt(self, edge: Callable[[_Judge], tuple[float, float] | None]) -> float | None:
        """Mesh doubt of an edge of runaway, from that edge on three grids; None where one of them has none."""
        plan, found = plan_grid(self.case), []
        for number, multiplier in enumerate(MULTIPLIERS[:FEWEST_GRIDS]):
            judge = self if number == SEARCH_GRID else _Judge(self.case, States(self.case, plan.grid(multiplier)))
            here = edge(judge)
            if here is None:
                return None
            found.append(here)
        sizes = [1.0 / multiplier for multiplier in MULTIPLIERS[:FEWEST_GRIDS]]
        return doubt_of([value for value, _ in found], sizes).half_width + max(exact for _, exact in found)

    def _state(self, drive: Drive) -> State:
        state = self.states.at(drive)
        assert state is not None  # a crossing ends at a state that exists
        return state

    def not_held(self, drives: Iterable[Drive]) -> tuple[NotHeld, ...]:
        """Of the states at some drives, each material where it gets hottest."""
        states = (self.states.at(drive) for drive in drives)
        return worst_of(one for state in states if state is not None for one in state.not_held)

    # ---- clock

    def step(self, clock: Clock, limit_C: float, frequency_GHz: float, voltage_V: float, is_typed: bool) -> Step:
        state = self.states.at(drive_at(clock, frequency_GHz, voltage_V))
        if state is None:
            return Step(frequency_GHz, voltage_V, is_typed, None, None, None, None, None, None, "runaway")
        highest, name = self.highest(state)
        least = limit_C - self.highest(state, "at least")[0]
        verdict: Verdict = "no" if self._surely_above(state, limit_C) else "within doubt"
        if least > 0.0 and self.states.at(state.drive.times(NEAR_RUNAWAY)) is not None:
            verdict = "yes"
        mesh = self.expected(state, name)[1]
        margin = limit_C - highest
        return Step(frequency_GHz, voltage_V, is_typed, state.made_W, name, highest, mesh, margin, least, verdict)

    def _surely_above(self, state: State, limit_C: float) -> bool:
        for name in state.readings:
            value, mesh = self.expected(state, name)
            if value - mesh - self.offset[name].plus_minus > limit_C:
                return True
        return False

    def between(self, clock: Clock, limit_C: float) -> tuple[Between | None, Beyond | None]:
        points = voltage_points(clock)
        met, beyond = self._clock_at(clock, points, limit_C, "expected")
        if met is None:
            return None, beyond
        state = self._state(_drive_along(clock, points, met.at))
        if met.ends_by == "runaway":
            reading, doubt_GHz = None, self._edge_doubt(lambda judge: judge._clock_edge(clock, limit_C))
        else:
            reading = self.highest(state)[1]
            back = max(points[0][0], STEP_BACK * met.at)
            doubt_GHz = self._doubt_below(state, _drive_along(clock, points, back))[0] * (met.at - back)
        return Between(met.at, doubt_GHz, voltage_at(points, met.at), state.made_W, reading, met.ends_by), None

    def least_GHz(self, clock: Clock, limit_C: float, between: Between | None) -> float | None:
        met, _ = self._clock_at(clock, voltage_points(clock), limit_C, "at least")
        if met is None or met.ends_by == "limit":
            return None if met is None else met.at
        doubt_GHz = None if between is None else between.mesh_doubt_GHz
        return None if doubt_GHz is None else met.at - doubt_GHz

    def _clock_edge(self, clock: Clock, limit_C: float) -> tuple[float, float] | None:
        """Clock [GHz] at the edge of runaway, and how exactly it was found; None where the limit is met before it."""
        met, _ = self._clock_at(clock, voltage_points(clock), limit_C, "expected")
        return None if met is None or met.ends_by == "limit" else (met.at, EDGE_WIDTH * met.at)

    def _clock_at(
        self, clock: Clock, points: tuple[tuple[float, float], ...], limit_C: float, width: Width
    ) -> tuple[Crossing | None, Beyond | None]:
        def excess(frequency_GHz: float) -> float | None:
            self.tried_GHz.add(frequency_GHz)
            return self.excess(_drive_along(clock, points, frequency_GHz), limit_C, width)

        low: float | None = None
        for frequency in sorted({*(point[0] for point in points), *self.tried_GHz}):
            if not _below(excess(frequency)):
                return (None, "below the slowest") if low is None else (crossing(excess, low, frequency), None)
            low = frequency
        return None, "above the fastest"


def _below(excess_K: float | None) -> bool:
    return excess_K is not None and excess_K < 0.0


def _drive_along(clock: Clock, points: tuple[tuple[float, float], ...], frequency_GHz: float) -> Drive:
    return drive_at(clock, frequency_GHz, voltage_at(points, frequency_GHz))

"""Where the readings of a case meet a limit, over the clocked power and over the clock.

They are found on one grid that is quick, and corrected by what a mesh study has told of one state.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite

from thermsim.case.clock import Drive, drive_at, proportional, voltage_at, voltage_points
from thermsim.case.vocabulary.schema import Case, Clock
from thermsim.errors import CaseError, Fault
from thermsim.limits.affordance import Between, Beyond, PowerAtLimit, Step, Verdict, Width
from thermsim.limits.corrected_readings import Studied, Told, told
from thermsim.limits.states import EDGE_WIDTH, MEETS_K, Crossing, State, States, crossing
from thermsim.mesh.predict import FEWEST_GRIDS
from thermsim.mesh.settling import OnGrid, judged
from thermsim.model.grid.plan import MULTIPLIERS, plan_grid
from thermsim.readout.materials_held import NotHeld, worst_of

SEARCH_GRID = 1  # index into MULTIPLIERS of the even grid on which clocks and powers are tried: the second coarsest
# The next power tried is this factor beyond where a straight line would meet the limit. The reading then lies above the
# limit at once where it grows faster than the power, as leakage makes it.
OVERSHOOT = 1.02
LARGEST_STRIDE = 4.0  # largest ratio of one power tried to the one before; our own choice
# A reading that so large a share of the typed power warms by less than that does not depend on it; no limit is sought
# beyond the largest. Our own choice.
ENOUGH_TO_TELL, LEAST_RISE_K, MOST_SHARE = 1e5, 0.01, 1e12
# Share of the power or clock at the limit at which a second state is solved: from both follows what one kelvin is worth
# in watts or gigahertz there.
STEP_BACK = 0.99
# Where this many times the power of a clock has no steady state, the mesh cannot tell whether the clock itself has one.
NEAR_RUNAWAY = 1.02


Shares = tuple[float, float]


class LimitSearch:
    """Readings of states, corrected by mesh studies of one or two of them, with their doubts; uncorrected without.

    reach_W : power beyond which nothing is told with its doubts, since the tolerances of the inputs move the edge of
    runaway, which lies not far beyond it; None where that is not so
    """

    def __init__(
        self, case: Case, states: States, studies: Sequence[Studied] = (), reach_W: float | None = None
    ) -> None:
        self.case, self.states, self.studies, self.reach_W = case, states, studies, reach_W
        self.tried_GHz: set[float] = set()
        self.offset_K = {one.reading: one.offset_K.value for one in case.readings}

    def told(self, state: State, name: str) -> Told:
        """A reading with its doubts."""
        idle = self.states.at(proportional(0.0)) if self.studies else None
        return told(self.studies, state, name, self.offset_K[name], idle)

    def highest(self, state: State, width: Width = "expected") -> tuple[float, str]:
        """The highest reading [C] with its name; `at least`: where all doubts may put it, inf without an end."""
        beyond = width == "at least" and self.reach_W is not None and state.made_W > self.reach_W
        found = []
        for name in state.readings:
            one = self.told(state, name)
            above = inf if beyond else one.above_K if width == "at least" else 0.0
            found.append((one.value_C + above, name))
        return max(found)

    def excess(self, drive: Drive, limit_C: float, width: Width) -> float | None:
        """Of the highest reading over the limit [K]; None where nothing can be told, as without a steady state."""
        state = self.states.at(drive)
        if state is None:
            return None
        over = self.highest(state, width)[0] - limit_C
        return over if isfinite(over) else None

    # ---- power

    def power_at(self, limit_C: float, width: Width) -> Crossing | None:
        """The share of the clocked power that meets the limit; None where none at all does too much already."""

        def excess(share: float) -> float | None:
            return self.excess(proportional(share), limit_C, width)

        tried = sorted({0.0, 1.0, *self.states.shares()}) if self.studies else [0.0, 1.0]
        high = next((share for share in tried[1:] if not _below(excess(share))), None)
        low = max(share for share in tried if high is None or share < high)
        if high is None:
            low, high = self._beyond(low, limit_C, width, excess)
        if low == 0.0 and not _below(excess(low)):
            return None
        return crossing(excess, low, high)

    def _beyond(self, low: float, limit_C: float, width: Width, excess: Callable[[float], float | None]) -> Shares:
        """Shares of the clocked power between which the limit is met, from one that is below it: as far as it takes."""
        idle_C = self.highest(self._state(proportional(0.0)), width)[0]
        while True:
            rise = self.highest(self._state(proportional(low)), width)[0] - idle_C
            if (low > ENOUGH_TO_TELL and rise < LEAST_RISE_K) or low > MOST_SHARE:
                what = (
                    f"{low:,.0f} times the clocked power warms no reading by more than {max(rise, 0.0):.2g} K; "
                    "read a zone that is heated by it, or give its power in watts"
                )
                raise CaseError([Fault(self.case.file, *self.case.mark("readings"), what)])
            more = OVERSHOOT * (limit_C - idle_C) / rise if rise > 0.0 else LARGEST_STRIDE
            further = low * min(max(more, OVERSHOOT), LARGEST_STRIDE)
            if not _below(excess(further)):
                return low, further
            low = further

    def power(self, limit_C: float) -> PowerAtLimit | None:
        """The power at which the first reading meets its limit [C]; None where no power does."""
        met = self.power_at(limit_C, "expected")
        if met is None:
            return None
        state = self._state(proportional(met.at))
        least = self.power_at(limit_C, "at least")
        least_W = None if least is None else self._state(proportional(least.at)).made_W
        if met.ends_by == "runaway":
            edge_W = self._edge_doubt(lambda search: search._power_edge(limit_C))
            if least is not None and least.ends_by == "runaway":
                least_W = None if edge_W is None else max(min(least_W or 0.0, state.made_W - edge_W), 0.0)
            return PowerAtLimit(state.made_W, edge_W, least_W, met.at, None, "runaway")
        doubt_K, below = self._doubt_below(state, proportional(STEP_BACK * met.at))
        doubt_W = doubt_K * (state.made_W - below.made_W)
        return PowerAtLimit(state.made_W, doubt_W, least_W, met.at, self.highest(state)[1], "limit")

    def _doubt_below(self, state: State, colder: Drive) -> tuple[float, State]:
        """Mesh doubt of the highest reading of a state over its distance to that of a colder state, and that state."""
        below = self._state(colder)
        highest, name = self.highest(state)
        return (self.told(state, name).mesh_K + MEETS_K) / (highest - self.told(below, name).value_C), below

    def _power_edge(self, limit_C: float) -> _Edge | None:
        """In power [W]; None where the limit is met before it."""
        met = self.power_at(limit_C, "expected")
        if met is None or met.ends_by == "limit":
            return None
        edge, before = (self._state(proportional(met.at * part)) for part in (1.0, 1.0 - EDGE_WIDTH))
        return _Edge(edge.made_W, edge.made_W - before.made_W, edge)

    def _edge_doubt(self, edge: Callable[[LimitSearch], _Edge | None]) -> float | None:
        """Mesh doubt of an edge of runaway, from that edge on three grids; None where one of them has none."""
        plan, found = plan_grid(self.case), []
        for number, multiplier in enumerate(MULTIPLIERS[:FEWEST_GRIDS]):
            search = self if number == SEARCH_GRID else LimitSearch(self.case, States(self.case, plan, multiplier))
            here = edge(search)
            if here is None:
                return None
            found.append(here)
        doubt = judged([[one.at] for one in found], [one.seen for one in found])[0]
        return doubt.half_width + max(one.exact for one in found)

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
        """What is read at one step of the clock [GHz, V], and whether it is safe below the limit [C]."""
        state = self.states.at(drive_at(clock, frequency_GHz, voltage_V))
        if state is None:
            return Step(frequency_GHz, voltage_V, is_typed, verdict="runaway")
        highest, name = self.highest(state)
        least = limit_C - self.highest(state, "at least")[0]
        verdict: Verdict = "no" if self._surely_above(state, limit_C) else "within doubt"
        if least > 0.0 and self.states.at(state.drive.times(NEAR_RUNAWAY)) is not None:
            verdict = "yes"
        one = self.told(state, name)
        high = one.value_C + one.above_K
        return Step(
            frequency_GHz,
            voltage_V,
            is_typed,
            state.made_W,
            name,
            highest,
            one.mesh_K,
            one.value_C - one.below_K,
            high if isfinite(high) else None,
            limit_C - highest,
            least if isfinite(least) else None,
            verdict,
        )

    def _surely_above(self, state: State, limit_C: float) -> bool:
        every = (self.told(state, name) for name in state.readings)
        return any(one.value_C - one.below_K > limit_C for one in every)

    def between(self, clock: Clock, limit_C: float) -> tuple[Between | None, Beyond | None]:
        """The clock between two steps at which the limit [C] is met, or why there is none among them."""
        points = voltage_points(clock)
        met, beyond = self._clock_at(clock, points, limit_C, "expected")
        if met is None:
            return None, beyond
        state = self._state(_drive_along(clock, points, met.at))
        if met.ends_by == "runaway":
            reading, doubt_GHz = None, self._edge_doubt(lambda search: search._clock_edge(clock, limit_C))
        else:
            reading = self.highest(state)[1]
            back = max(points[0][0], STEP_BACK * met.at)
            doubt_GHz = self._doubt_below(state, _drive_along(clock, points, back))[0] * (met.at - back)
        return Between(met.at, doubt_GHz, voltage_at(points, met.at), state.made_W, reading, met.ends_by), None

    def least_GHz(self, clock: Clock, limit_C: float, between: Between | None) -> float | None:
        """The clock [GHz] that holds the limit [C] with all doubts against it; None where none is sure."""
        met, _ = self._clock_at(clock, voltage_points(clock), limit_C, "at least")
        if met is None or met.ends_by == "limit":
            return None if met is None else met.at
        doubt_GHz = None if between is None else between.mesh_doubt_GHz
        return None if doubt_GHz is None else met.at - doubt_GHz

    def _clock_edge(self, clock: Clock, limit_C: float) -> _Edge | None:
        """In clock [GHz]; None where the limit is met before it."""
        points = voltage_points(clock)
        met, _ = self._clock_at(clock, points, limit_C, "expected")
        if met is None or met.ends_by == "limit":
            return None
        return _Edge(met.at, EDGE_WIDTH * met.at, self._state(_drive_along(clock, points, met.at)))

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


@dataclass(frozen=True)
class _Edge:
    """The edge of runaway on one grid. at : in power [W] or clock [GHz]; exact : how exactly it was found"""

    at: float
    exact: float
    state: State

    @property
    def seen(self) -> OnGrid:
        """What its doubt hangs on besides: of what film maps hide, the share of the rise is that of the power."""
        seen, rise = self.state.seen, max(self.state.readings.values()) - self.state.coolant_C
        return replace(seen, error=0.0, unseen={film: self.at / rise * row for film, row in seen.unseen.items()})


def _below(excess_K: float | None) -> bool:
    return excess_K is not None and excess_K < 0.0


def _drive_along(clock: Clock, points: tuple[tuple[float, float], ...], frequency_GHz: float) -> Drive:
    return drive_at(clock, frequency_GHz, voltage_at(points, frequency_GHz))

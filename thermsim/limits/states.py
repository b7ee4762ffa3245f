"""States of one case at many clocks or powers on one grid, and where readings meet a limit along such a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from thermsim.case.clock import Drive, driven
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import NotConvergedError, RunawayError
from thermsim.mesh.settling import OnGrid
from thermsim.model.build import Guess, build_model
from thermsim.model.grid.axes import GridPlan
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.readout.materials_held import NotHeld, materials_not_held
from thermsim.readout.observable import of_reading
from thermsim.solver.steady import steady_state

STATE_ACCURACY_K = 3e-5  # [K] accuracy of the steady states: far below MEETS_K
MEETS_K = 1e-4  # [K] a crossing is found when the reading is this near to its limit
EDGE_WIDTH = 1e-4  # relative width of the bracket at which the search for the edge of runaway stops
MOST_TRIALS = 80


@dataclass(frozen=True)
class State:
    """One steady state. readings : expected [C], by name; made_W : with leakage; guess : to start a warmer one from

    seen : what doubts hang on besides; not_held : what gets hotter than its material holds
    """

    drive: Drive
    readings: dict[str, float]
    made_W: float
    coolant_C: float
    guess: Guess
    seen: OnGrid
    not_held: tuple[NotHeld, ...] = ()


class States:
    """Steady states of a case on a grid, each begun from the warmest one found that is surely colder."""

    def __init__(self, case: Case, plan: GridPlan, multiplier: int) -> None:
        self.case, self.multiplier = case, multiplier
        self.grid = plan.grid(multiplier)
        self._found: dict[Drive, State | None] = {}

    def at(self, drive: Drive) -> State | None:
        """The state at a drive; None where leakage leaves none (thermal runaway).

        Raises
        ------
        NotConvergedError, HeatBalanceError, NoWayOutError : see `thermsim.errors`
        """
        if drive not in self._found:
            self._found[drive] = self._solve(drive)
        return self._found[drive]

    def shares(self) -> list[float]:
        """Shares of the clocked power, leakage too, that were tried."""
        return [drive.dynamic for drive in self._found if drive.dynamic == drive.leakage]

    def _solve(self, drive: Drive) -> State | None:
        case = driven(self.case, drive)
        model = build_model(case, self.grid)
        colder = self._colder(drive)
        try:
            steady = steady_state(model, colder, accuracy_K=STATE_ACCURACY_K, climb=colder is None)
        except RunawayError:
            return None
        except NotConvergedError:
            if any(source.leakage is not None for source in model.sources):
                return None  # so close to runaway that the iteration creeps
            raise
        field = Field.of(model, steady)
        found = answers(case, field)
        readings = {reading.reading: found[of_reading(reading.reading)] for reading in case.readings}
        guess = model.guess(field.filled, field.heated_face)
        seen, not_held = OnGrid.of(case, field, self.multiplier, self._seen()), materials_not_held(case, field)
        return State(drive, readings, field.heat_made_W, field.coolant_C, guess, seen, not_held)

    def _seen(self) -> OnGrid | None:
        return next((state.seen for state in self._found.values() if state is not None), None)

    def _colder(self, drive: Drive) -> Guess | None:
        """From a colder guess the iteration rises to the stable state and never to the unstable one above it."""
        colder = [
            state
            for state in self._found.values()
            if state is not None and state.drive.dynamic <= drive.dynamic and state.drive.leakage <= drive.leakage
        ]
        return max(colder, key=lambda state: state.made_W).guess if colder else None


@dataclass(frozen=True)
class Crossing:
    """Where an excess passes zero along a line; or, by runaway, the last place with a steady state."""

    at: float
    ends_by: Literal["limit", "runaway"]


Excess = Callable[[float], float | None]  # over a limit [K], rising; None where no steady state exists


def crossing(excess: Excess, low: float, high: float) -> Crossing:
    """Find the crossing between a place below the limit and one that is not.

    Illinois' variant of the false position (Dowell and Jarratt, BIT 11 (1971) 168); halving next to a runaway.
    """
    at_low, at_high = excess(low), excess(high)
    assert at_low is not None and at_low < 0.0
    kept = 0  # +1: the upper end was kept in the last step, -1: the lower one
    for _ in range(MOST_TRIALS):
        if at_high is None:
            if high - low <= EDGE_WIDTH * high:
                return Crossing(low, "runaway")
            middle, kept = 0.5 * (low + high), 0
        else:
            middle = high - at_high * (high - low) / (at_high - at_low)
        value = excess(middle)
        if value is not None and abs(value) <= MEETS_K:
            return Crossing(middle, "limit")
        if value is not None and value < 0.0:
            low, at_low = middle, value
            if kept == 1 and at_high is not None:
                at_high *= 0.5
            kept = 1
        else:
            if value is not None and at_high is not None and kept == -1:
                at_low *= 0.5
            high, at_high, kept = middle, value, -1 if value is not None else 0
    raise NotConvergedError("the place where a reading meets its limit was not found", "report this case with its file")

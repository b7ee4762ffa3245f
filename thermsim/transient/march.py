"""The whole model in time: conductivities, heat capacities, leakage and boundaries at every moment's temperatures.

    C(T) T' = g(T) - A(T) T

step by step with the trapezoidal rule to t + gamma h and the second backward difference from there to t + h,
gamma = 2 - sqrt 2, so that both stages solve with one matrix A + C / (d h), d = gamma / 2. Coefficients are taken at
temperatures carried on from the stages before, leakage and boundaries by their tangents there: one solve a stage, and
second order stays. The local error is estimated by the third order that three slopes show, filtered by one more solve,
and steps are as long as keeps it below a tolerance in kelvin at every cell.

A chip that holds back has all of its power until its hottest reading meets the limit; a step ends there, and from then
on every stage finds the power at which that reading stays (`balance`), until all of it may come on again.
Source: Bank et al., IEEE Trans. Computer-Aided Design 4 (1985) 436 for the method, Hosea and Shampine, Applied
Numerical Mathematics 20 (1996) 21 for its error estimate, both from memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError, RunawayError
from thermsim.model.build import Guess, Model
from thermsim.model.powers import scaled_power
from thermsim.model.storage import StoringFilm
from thermsim.solver.runaway_limit import HOTTEST_C
from thermsim.transient.balance import Balance, Balanced, Holding, Inputs, MovingField

Array = NDArray[np.float64]

GAMMA = 2.0 - np.sqrt(2.0)
IMPLICIT = GAMMA / 2.0  # share of a step that both stages are implicit by
THIRD = (-3.0 * GAMMA**2 + 4.0 * GAMMA - 2.0) / (12.0 * (2.0 - GAMMA))  # of the local error, times h^3 T'''
SAFETY = 0.9  # of the step that would just keep the tolerance
LEAST_GROWTH, MOST_GROWTH, MOST_SHRINKING = 1.3, 4.0, 0.2  # of a step: small changes are not worth new coefficients
# Growth at which steps are half as long at any time, where growth alone holds them: h / t tends to 1 - 1 / growth.
HALF_GROWTH = 1.0 / (1.0 - 0.5 * (1.0 - 1.0 / MOST_GROWTH))
MOST_STEPS = 20_000
RUNAWAY_S = 1.0  # in which what grows as fast as now would pass HOTTEST_C: no load does that to a stack
SHORTEST = 1e-12  # of a step, as a share of all the time that is followed
# Of the tolerance: how far below its limit a reading is where power begins to be held back, how far it must be below
# for that to end, and what temperatures change by at most in the first step then, which is implicit all through.
BEGINS_BELOW, ENDS_BELOW, FIRST_CHANGE = 1e-3, 2e-2, 1e-2
MOST_TRIALS = 6  # of the step that ends where a reading meets its limit


@dataclass(frozen=True, eq=False)
class Moment:
    """A state at a time [s], and how fast it changes [K/s]."""

    time_s: float
    at: Balanced
    change: Array

    @property
    def state(self) -> Array:
        """Temperatures [C], see `Balanced`."""
        return self.at.state


@dataclass(frozen=True, eq=False)
class Step:
    """One step from a moment to the next. between : the inputs of its first stage"""

    start: Moment
    between: Inputs
    end: Moment

    def _share(self, time_s: float) -> float:
        return (time_s - self.start.time_s) / (self.end.time_s - self.start.time_s)

    def state_at(self, time_s: float) -> Array:
        """Temperatures [C] in between, by the cubic that has temperatures and slopes of both ends."""
        h, at = self.end.time_s - self.start.time_s, self._share(time_s)
        start, end = self.start, self.end
        rise = end.state - start.state
        bend = at * (1.0 - at)
        slopes = (1.0 - at) * (h * start.change - rise) - at * (h * end.change - rise)
        return np.asarray(start.state + at * rise + bend * slopes)

    def inputs_at(self, time_s: float) -> Inputs:
        """What is no temperature of a cell, by the parabola through start, first stage and end."""
        at = self._share(time_s)
        weights = (
            (at - GAMMA) * (at - 1.0) / GAMMA,
            at * (at - 1.0) / (GAMMA * (GAMMA - 1.0)),
            at * (at - GAMMA) / (1.0 - GAMMA),
        )
        known = self.start.at.inputs, self.between, self.end.at.inputs
        coolants = [one.coolant_C for one in known if one.coolant_C is not None]
        coolant_C = float(np.dot(weights, coolants)) if coolants else None
        last = known[-1].share  # from which a power that is not held back differs by nothing at all
        share = last + float(np.dot(weights, [one.share - last for one in known]))
        return Inputs(coolant_C, min(max(share, 0.0), 1.0))

    def held_back_s(self, until_s: float) -> float:
        """Seconds of full power that were held back from the start of the step until a time in it."""
        span, middle = until_s - self.start.time_s, 0.5 * (until_s + self.start.time_s)
        off = 0.5 * span / np.sqrt(3.0)  # two points of Gauss are exact for a parabola
        return 0.5 * span * sum(1.0 - self.inputs_at(middle + side * off).share for side in (-1.0, 1.0))


class March:
    """A model that is followed in time.

    model : with the load of this span of time; films : those that are cut into levels, with their levels' shares
    tolerance_K : of the local error of a step, at every cell; most_growth : of a step over the one before
    holding : how a chip holds back, None if it does not
    """

    def __init__(
        self,
        model: Model,
        films: Sequence[tuple[StoringFilm, Array]],
        guess: Guess,
        tolerance_K: float,
        most_growth: float = MOST_GROWTH,
        holding: Holding | None = None,
    ) -> None:
        self.model, self.films, self.guess = model, films, guess
        self.tolerance_K, self.most_growth = tolerance_K, most_growth
        self.balance = Balance(model, films, guess, holding)

    def field(self, step: Step, time_s: float) -> MovingField:
        """What stands at a time [s] within a step, ready to be read off."""
        return self.balance.to_read(step.state_at(time_s), step.end.at.near, step.inputs_at(time_s))

    def rest(self) -> Balanced:
        """The state at which the model without load stays as it is.

        Raises
        ------
        NotConvergedError
        """
        return Balance(scaled_power(self.model, 0.0), self.films, self.guess).settled()

    def begin(self, at: Balanced) -> Moment:
        """The moment at which the load of this march comes on a stack in some state."""
        return Moment(0.0, *self.balance.change(at))

    def steps(self, start: Moment, until_s: float, first_s: float) -> Iterator[Step]:
        """Step by step until a time [s], or until temperatures run away; the first step no longer than `first_s`.

        Raises
        ------
        NotConvergedError : steps become too short, or too many
        """
        whole, at, length = until_s - start.time_s, start, min(first_s, until_s - start.time_s)
        is_held, may_hold = False, self.balance.holding is not None
        for _ in range(MOST_STEPS):
            length = min(length, until_s - at.time_s)
            left = until_s - at.time_s - length
            if 0.0 < left < 0.1 * length:
                length = 0.5 * (until_s - at.time_s)
            try:
                step, error_K = self._step(at, length, is_held)
            except RunawayError:  # growth outruns a step so long
                step, error_K = None, np.inf
            factor = SAFETY * (self.tolerance_K / error_K) ** (1.0 / 3.0) if error_K > 0.0 else MOST_GROWTH
            if step is None or error_K > self.tolerance_K:
                length *= float(np.clip(factor, MOST_SHRINKING, SAFETY))
                if length < SHORTEST * whole:
                    if self._runs_away(at):
                        return
                    raise NotConvergedError(f"steps in time become shorter than {length:.1e} s")
                continue
            if may_hold and not is_held and self.balance.excess_K(step.end.at) > 0.0:
                for part in self._to_limit(step):
                    yield part
                    at, length = part.end, part.end.time_s - part.start.time_s
                is_held = True
                if at.time_s >= until_s:
                    return
                continue
            yield step
            at = step.end
            if at.time_s >= until_s or float(at.state.max()) > HOTTEST_C:
                return
            if is_held and at.at.inputs.share >= 1.0:
                is_held = self.balance.excess_K(at.at) > -ENDS_BELOW * self.tolerance_K
            if factor >= LEAST_GROWTH:
                length *= min(factor, self.most_growth)
        raise NotConvergedError(f"{MOST_STEPS} steps do not reach {until_s:g} s")

    def _to_limit(self, over: Step) -> Iterator[Step]:
        """A shorter step, to where the highest reading meets its limit, and the first one with power held back."""
        from scipy.optimize import brentq

        start, below_K = over.start, BEGINS_BELOW * self.tolerance_K
        at, near = start, over.end.at.near

        def excess_K(time_s: float) -> float:
            return self.balance.excess_K(Balanced(over.state_at(time_s), near, over.inputs_at(time_s))) + below_K

        if excess_K(start.time_s) < 0.0:
            until_s = float(brentq(excess_K, start.time_s, over.end.time_s, rtol=1e-9))
            for _ in range(MOST_TRIALS):
                step, _ = self._step(start, until_s - start.time_s, False)
                off_K = self.balance.excess_K(step.end.at) + below_K
                if abs(off_K) < 0.5 * below_K:
                    break
                until_s -= off_K * (until_s - start.time_s) / max(self._risen_K(start, step.end), 1e-300)
            yield step
            at = step.end
        length = FIRST_CHANGE * self.tolerance_K / max(float(np.abs(at.change).max()), 1e-300)
        length = min(length, over.end.time_s - start.time_s)
        pace = 1.0 / length
        end = self.balance.stage(at.state + length * at.change, pace, pace * at.state, at.at, holds=True)
        yield Step(at, end.inputs, Moment(at.time_s + length, end, pace * (end.state - at.state)))

    def _risen_K(self, start: Moment, end: Moment) -> float:
        """By how much the highest reading rose."""
        return self.balance.excess_K(end.at) - self.balance.excess_K(start.at)

    def _runs_away(self, at: Moment) -> bool:
        """Whether leakage that grows ever faster drives temperatures beyond all bounds in a moment."""
        is_driven = any(one.leakage is not None and not one.leakage.is_linear for one in self.model.sources)
        return is_driven and float(at.change.max()) * RUNAWAY_S > HOTTEST_C

    def _step(self, start: Moment, length: float, holds: bool) -> tuple[Step, float]:
        """One step, and its local error [K]. holds : whether power is held back where it must be"""
        inner = GAMMA * length
        pace = 1.0 / (IMPLICIT * length)
        known = pace * start.state + start.change
        changing_W = self.balance.storing_W(start.change, start.at.near)
        between = self.balance.stage(start.state + inner * start.change, pace, known, start.at, holds, changing_W)
        slope = 2.0 * (between.state - start.state) / inner - start.change
        carried = start.state + (between.state - start.state) / GAMMA
        behind = (between.state - (1.0 - GAMMA) ** 2 * start.state) / (GAMMA * (2.0 - GAMMA))
        end = self.balance.stage(carried, pace, pace * behind, between, holds, changing_W)
        change = pace * (end.state - behind)
        third = start.change / GAMMA - slope / (GAMMA * (1.0 - GAMMA)) + change / (1.0 - GAMMA)
        error = self.balance.filtered(end.near, pace, 2.0 * THIRD * length * third)
        after = Moment(start.time_s + length, end, change)
        return Step(start, between.inputs, after), float(np.nanmax(np.abs(error)))

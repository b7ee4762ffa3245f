"""The whole model in time: conductivities, heat capacities, leakage and boundaries at every moment's temperatures.

    C(T) T' = g(T) - A(T) T

step by step with the trapezoidal rule to t + gamma h and the second backward difference from there to t + h,
gamma = 2 - sqrt 2, so that both stages solve with one matrix A + C / (d h), d = gamma / 2. Coefficients are taken at
temperatures carried on from the stages before, leakage and boundaries by their tangents there: one solve a stage, and
second order stays. The local error is estimated by the third order that three slopes show, filtered by one more solve,
and steps are as long as keeps it below a tolerance in kelvin at every cell.
Source: Bank et al., IEEE Trans. Computer-Aided Design 4 (1985) 436 for the method, Hosea and Shampine, Applied
Numerical Mathematics 20 (1996) 21 for its error estimate, both from memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError, RunawayError
from thermsim.model.build import Guess, Model
from thermsim.model.storage import StoringFilm, cell_capacities
from thermsim.readout.field import Field
from thermsim.solver.guesses import guess_from
from thermsim.solver.linear import State, prepare, renew, solve
from thermsim.solver.runaway_limit import HOTTEST_C
from thermsim.transient.system import System, system_of

Array = NDArray[np.float64]

GAMMA = 2.0 - np.sqrt(2.0)
IMPLICIT = GAMMA / 2.0  # share of a step that both stages are implicit by
THIRD = (-3.0 * GAMMA**2 + 4.0 * GAMMA - 2.0) / (12.0 * (2.0 - GAMMA))  # of the local error, times h^3 T'''
SAFETY = 0.9  # of the step that would just keep the tolerance
LEAST_GROWTH, MOST_GROWTH, MOST_SHRINKING = 1.3, 4.0, 0.2  # of a step: small changes are not worth new coefficients
RESIDUAL = 1e-9  # relative residual of the solve of a stage
FILTER_RESIDUAL = 1e-2  # the same of the filter of an error estimate
MOST_STEPS = 20_000
RUNAWAY_S = 1.0  # in which what grows as fast as now would pass HOTTEST_C: no load does that to a stack
SHORTEST = 1e-12  # of a step, as a share of all the time that is followed
REST_STEPS, REST_K = 30, 1e-8  # of the search for temperatures at rest


@dataclass(frozen=True, eq=False)
class MovingField(Field):
    """A stack at one moment. moment : its equations, with the levels of films; cells : their temperatures [C]"""

    moment: System
    cells: Array

    def nodes(self, axis: int, face: int) -> tuple[Array, Array]:
        """As of any field; where a film is cut into levels, the faces under and over it."""
        under, over = super().nodes(axis, face)
        if (axis, face) not in self.moment.planes:
            return under, over
        low, high = self.moment.nodes(axis, face, self.cells, heated=True)
        return np.where(np.isnan(under), under, low), np.where(np.isnan(over), over, high)

    @cached_property
    def guess_here(self) -> Guess:
        """Temperatures in the form that coefficients are taken at."""
        guess = guess_from(self.model, self.temperature, self.guess)
        return replace(guess, heated_face=self.heated_face) if self.moment.planes else guess


@dataclass(frozen=True, eq=False)
class Moment:
    """Temperatures of all cells of a system [C] at a time [s], and how fast they change [K/s].

    near : equations with coefficients at temperatures close by
    """

    time_s: float
    cells: Array
    change: Array
    near: System


@dataclass(frozen=True, eq=False)
class Step:
    """One step from a moment to the next."""

    start: Moment
    end: Moment

    def cells_at(self, time_s: float) -> Array:
        """Temperatures [C] in between, by the cubic that has temperatures and slopes of both ends."""
        h = self.end.time_s - self.start.time_s
        at = (time_s - self.start.time_s) / h
        start, end = self.start, self.end
        rise = end.cells - start.cells
        bend = at * (1.0 - at)
        slopes = (1.0 - at) * (h * start.change - rise) - at * (h * end.change - rise)
        return np.asarray(start.cells + at * rise + bend * slopes)


class March:
    """A model that is followed in time.

    model : with the load of this span of time; films : those that are cut into levels, with their levels' shares
    tolerance_K : of the local error of a step, at every cell
    """

    def __init__(
        self, model: Model, films: Sequence[tuple[StoringFilm, Array]], guess: Guess, tolerance_K: float
    ) -> None:
        self.model, self.films, self.tolerance_K = model, films, tolerance_K
        self._near = guess
        self._state: State | None = None

    def system(self, guess: Guess) -> System:
        """The equations with coefficients at some temperatures."""
        return system_of(self.model, guess, cell_capacities(self.model, guess.temperature), self.films)

    def field(self, cells: Array, near: System) -> MovingField:
        """What stands at a moment, ready to be read off.

        cells : temperatures [C]; near : equations of a moment close by
        """
        model_C = np.where(self.model.region >= 0, near.of_model(cells), np.nan)
        guess = MovingField(self.model, near.guess, model_C, 0.0, near, cells).guess_here
        return MovingField(self.model, guess, model_C, 0.0, self.system(guess), cells)

    def rest(self, like: Model) -> Array:
        """Temperatures [C] of all cells at which a model (the same without load, say) stays as it is.

        Raises
        ------
        NotConvergedError
        """
        other = March(like, self.films, self._near, self.tolerance_K)
        guess = self._near
        even_C = like.even_C
        if even_C is not None and not any(source.watts.any() for source in like.sources):
            return np.full(self.system(guess).shape, even_C)
        system = other.system(guess)
        for _ in range(REST_STEPS):
            state = prepare(system.stencil, like.may_have_islands)
            cells = solve(state, system.stencil.heat, None, RESIDUAL, like.coldest_C).checked().temperature
            cells = np.nan_to_num(cells, nan=like.coldest_C)
            after = other.field(cells, system).moment
            moved = float(np.abs(after.guess.temperature - system.guess.temperature).max())
            system = after
            if like.is_linear or moved < REST_K:
                return cells
        raise NotConvergedError("temperatures without load do not settle")

    def begin(self, cells: Array) -> Moment:
        """The moment at which the load of this march comes on a stack with some temperatures [C]."""
        system = self.field(cells, self.system(self._near)).moment
        flow = system.stencil.heat - system.stencil.conducted(cells)
        change = np.divide(flow, system.capacity, out=np.zeros_like(flow), where=system.capacity > 0.0)
        return Moment(0.0, cells, change, system)

    def steps(self, start: Moment, until_s: float, first_s: float) -> Iterator[Step]:
        """Step by step until a time [s], or until temperatures run away; the first step no longer than `first_s`.

        Raises
        ------
        NotConvergedError : steps become too short, or too many
        """
        whole, at, length = until_s - start.time_s, start, min(first_s, until_s - start.time_s)
        for _ in range(MOST_STEPS):
            length = min(length, until_s - at.time_s)
            left = until_s - at.time_s - length
            if 0.0 < left < 0.1 * length:
                length = 0.5 * (until_s - at.time_s)
            try:
                after, error_K = self._step(at, length)
            except RunawayError:  # growth outruns a step so long
                after, error_K = None, np.inf
            factor = SAFETY * (self.tolerance_K / error_K) ** (1.0 / 3.0) if error_K > 0.0 else MOST_GROWTH
            if after is None or error_K > self.tolerance_K:
                length *= float(np.clip(factor, MOST_SHRINKING, SAFETY))
                if length < SHORTEST * whole:
                    if self._runs_away(at):
                        return
                    raise NotConvergedError(f"steps in time become shorter than {length:.1e} s")
                continue
            yield Step(at, after)
            at = after
            if at.time_s >= until_s or float(at.cells.max()) > HOTTEST_C:
                return
            if factor >= LEAST_GROWTH:
                length *= min(factor, MOST_GROWTH)
        raise NotConvergedError(f"{MOST_STEPS} steps do not reach {until_s:g} s")

    def _runs_away(self, at: Moment) -> bool:
        """Whether leakage that grows ever faster drives temperatures beyond all bounds in a moment."""
        is_driven = any(one.leakage is not None and not one.leakage.is_linear for one in self.model.sources)
        return is_driven and float(at.change.max()) * RUNAWAY_S > HOTTEST_C

    def _step(self, start: Moment, length: float) -> tuple[Moment, float]:
        """One step, and its local error [K]."""
        inner = GAMMA * length
        pace = 1.0 / (IMPLICIT * length)
        between, near = self._stage(
            start.cells + inner * start.change, pace, pace * start.cells + start.change, start.near
        )
        slope = 2.0 * (between - start.cells) / inner - start.change
        carried = start.cells + (between - start.cells) / GAMMA
        behind = (between - (1.0 - GAMMA) ** 2 * start.cells) / (GAMMA * (2.0 - GAMMA))
        cells, near = self._stage(carried, pace, pace * behind, near)
        change = pace * (cells - behind)
        third = start.change / GAMMA - slope / (GAMMA * (1.0 - GAMMA)) + change / (1.0 - GAMMA)
        assert self._state is not None
        raw = 2.0 * THIRD * length * third
        error = solve(self._state, near.capacity * pace * raw, None, FILTER_RESIDUAL).temperature
        return Moment(start.time_s + length, cells, change, near), float(np.nanmax(np.abs(error)))

    def _stage(self, carried: Array, pace: float, known: Array, near: System) -> tuple[Array, System]:
        """Solve (A + pace C) T = g + C known with coefficients at temperatures that are carried on [C]."""
        system = self.field(carried, near).moment
        stencil = replace(system.stencil, ground=system.stencil.ground + pace * system.capacity)
        may = self.model.may_have_islands
        self._state = prepare(stencil, may) if self._state is None else renew(self._state, stencil)
        heat = system.stencil.heat + system.capacity * known
        found = solve(self._state, heat, carried, RESIDUAL, self.model.coldest_C).checked()
        return np.nan_to_num(found.temperature, nan=self.model.coldest_C), system

"""One stage of the heat balance in time, (A + p C) T = g + C known, with what is no temperature of a cell.

Coefficients are those of temperatures carried on from before; one solve gives all cells. The coolant of a loop, w, is
unknown too. It is one more column, to be solved roughly only, for w moves little from where it was carried on. With G,
d, rho, UA and C_l as in `transient.loop`, and h the coolant that leaves the radiator,

    Q = g' T + d - G w,      w = h + rho Q,      C_l (p h - known) = Q - UA (h - still).

A pace p of zero is the steady state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError, RunawayError
from thermsim.model.build import Guess, Model
from thermsim.model.storage import StoringFilm, cell_capacities
from thermsim.readout.field import Field
from thermsim.solver.guesses import guess_from
from thermsim.solver.linear import State, prepare, renew, solve
from thermsim.transient.loop import Coolant
from thermsim.transient.system import System, system_of

Array = NDArray[np.float64]

RESIDUAL = 1e-9  # relative residual of the solve of a stage
ROUGH_RESIDUAL = 1e-5  # the same of what a kelvin of the coolant does
FILTER_RESIDUAL = 1e-2  # the same of the filter of an error estimate
REST_STEPS, REST_K = 60, 1e-8  # of the search for a steady state


class Inputs(NamedTuple):
    """What is no temperature of a cell. coolant_C : mean coolant of the loop [C], None without one"""

    coolant_C: float | None


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
class Balanced:
    """A state that was found.

    state : temperatures of all cells [C], and behind them that of the coolant that leaves the radiator of a loop
    near : equations with coefficients at temperatures close by, for inputs close by
    """

    state: Array
    near: System
    inputs: Inputs


class Balance:
    """The equations of a model, of which stage after stage is solved.

    model : with its load; films : those that are cut into levels, with their levels' shares
    guess : temperatures to begin with
    """

    def __init__(self, model: Model, films: Sequence[tuple[StoringFilm, Array]], guess: Guess) -> None:
        self.model, self.films, self.loop = model, films, model.loop
        self.guess = guess
        self._state: State | None = None
        self._by_coolant: Array | None = None

    # ---- what stands at a moment ------------------------------------------------------------------------------

    def cells_of(self, state: Array, like: System) -> Array:
        """(nx, ny, levels) temperatures of cells in a state."""
        return state[: like.capacity.size].reshape(like.shape)

    def model_at(self, inputs: Inputs) -> Model:
        """The model with what is no temperature of a cell."""
        return self.model if inputs.coolant_C is None else self.model.at_coolant(inputs.coolant_C)

    def system(self, guess: Guess, inputs: Inputs) -> System:
        """The equations with coefficients at some temperatures."""
        return system_of(self.model_at(inputs), guess, cell_capacities(self.model, guess.temperature), self.films)

    def field(self, state: Array, near: System, inputs: Inputs) -> MovingField:
        """What stands at a moment, ready to be read off. near : equations of a moment close by"""
        cells = self.cells_of(state, near)
        model, model_C = self.model_at(inputs), np.where(self.model.region >= 0, near.of_model(cells), np.nan)
        guess = MovingField(model, near.guess, model_C, 0.0, near, cells).guess_here
        return MovingField(model, guess, model_C, 0.0, self.system(guess, inputs), cells)

    # ---- steady states ----------------------------------------------------------------------------------------

    def start(self, even_C: float | None = None) -> Balanced:
        """All cells alike, as cold as the coldest coolant unless given, and a loop that gets no heat."""
        still_C = None if self.loop is None else self.loop.still_C
        system = self.system(self.guess, Inputs(still_C))
        cells = np.full(system.capacity.size, self.model.coldest_C if even_C is None else even_C)
        return Balanced(cells if still_C is None else np.append(cells, still_C), system, Inputs(still_C))

    def settled(self) -> Balanced:
        """The steady state.

        Raises
        ------
        NotConvergedError
        """
        at = self.start()
        even_C = self.model_at(at.inputs).even_C
        if even_C is not None and not any(source.watts.any() for source in self.model.sources):
            return self.start(even_C)
        nothing = np.zeros(at.state.size)
        for _ in range(REST_STEPS):
            after = self.stage(at.state, 0.0, nothing, at)
            moved = float(np.abs(after.state - at.state).max())
            if self.model.is_linear or moved < REST_K:
                return after
            at = after
        raise NotConvergedError("temperatures of a steady state do not settle")

    # ---- stages -----------------------------------------------------------------------------------------------

    def change(self, at: Balanced) -> tuple[Balanced, Array]:
        """A state with equations at its own temperatures, and how fast it changes [K/s]."""
        near, inputs, loop = at.near, at.inputs, self.loop
        cells = self.cells_of(at.state, near)
        hung = None
        if loop is not None:
            guess = self.field(at.state, near, inputs).guess_here
            hung = self._hung(self.system(guess, inputs), guess, inputs)
            leaves_C = float(at.state[-1])
            damped = hung.coolant.damped
            inputs = Inputs((leaves_C + loop.pass_K_W * hung.given_W(cells)) / damped)
        near = self.field(at.state, near, inputs).moment
        flow = near.stencil.heat - near.stencil.conducted(cells)
        change = np.divide(flow, near.capacity, out=np.zeros_like(flow), where=near.capacity > 0.0).ravel()
        if loop is not None and hung is not None:
            assert inputs.coolant_C is not None
            to_loop = hung.given_W(cells) - hung.coolant.per_K * inputs.coolant_C
            of_loop = (to_loop - loop.radiator_W_K * (float(at.state[-1]) - loop.still_C)) / hung.capacity_J_K
            change = np.append(change, of_loop)
        return Balanced(at.state, near, inputs), change

    def stage(self, carried: Array, pace: float, known: Array, before: Balanced) -> Balanced:
        """Solve with coefficients at a state that is carried on, and from inputs as they were before."""
        inputs = before.inputs
        system = self.field(carried, before.near, inputs).moment
        stencil = replace(system.stencil, ground=system.stencil.ground + pace * system.capacity)
        may = self.model.may_have_islands
        self._state = prepare(stencil, may) if self._state is None else renew(self._state, stencil)
        heat = system.stencil.heat + system.capacity * self.cells_of(known, system)
        cells = self._solve(heat, self.cells_of(carried, system), RESIDUAL)
        if self.loop is None:
            return Balanced(cells.ravel(), system, inputs)
        hung = self._hung(system, system.guess, inputs)
        gives = hung.coolant.gives.reshape(system.shape)
        by_coolant = self._by_coolant = self._solve(gives, self._by_coolant, ROUGH_RESIDUAL)
        more_C, leaves_C = hung.closed(cells, by_coolant, pace, float(known[-1]))
        cells = cells + more_C * by_coolant
        return Balanced(np.append(cells.ravel(), leaves_C), system, Inputs(hung.coolant_C + more_C))

    def filtered(self, near: System, pace: float, raw: Array) -> Array:
        """What a change of known temperatures does to the last stage: (A + p C)^-1 p C raw, roughly."""
        assert self._state is not None
        heat = near.capacity * pace * self.cells_of(raw, near)
        found = np.nan_to_num(solve(self._state, heat, None, FILTER_RESIDUAL).temperature).ravel()
        if self.loop is None:
            return found
        held = pace * _capacity(self.loop.capacity_J_K)
        return np.append(found, raw[-1] * held / (held + self.loop.radiator_W_K))

    def _solve(self, heat: Array, guess: Array | None, residual: float) -> Array:
        """Temperatures [C] of all cells; of rises, where nothing known is in the heat, over zero."""
        assert self._state is not None
        cold = 0.0 if residual > RESIDUAL else self.model.coldest_C
        return np.nan_to_num(solve(self._state, heat, guess, residual, cold).checked().temperature, nan=cold)

    def _hung(self, system: System, guess: Guess, inputs: Inputs) -> _Hung:
        assert self.loop is not None and inputs.coolant_C is not None
        warmer = self.system(guess, Inputs(inputs.coolant_C + 1.0))
        return _Hung(Coolant.of(self.loop, system, warmer), inputs.coolant_C)


@dataclass(frozen=True, eq=False)
class _Hung:
    """How a loop hangs on the cells. coolant_C : at which the equations of the cells are"""

    coolant: Coolant
    coolant_C: float

    @property
    def capacity_J_K(self) -> float:
        return _capacity(self.coolant.loop.capacity_J_K)

    def given_W(self, cells: Array) -> float:
        """Heat that the loop would get of cells at some temperatures with its coolant at 0 C."""
        return float(self.coolant.gives @ cells.ravel()) + self.coolant.at_once

    def closed(self, cells: Array, by_coolant: Array, pace: float, known: float) -> tuple[float, float]:
        """How much warmer the coolant is than it was carried on [K], and what leaves the radiator [C].

        cells : as if it were not; by_coolant : what a kelvin of it does to them; known : [K/s]
        """
        loop, per_K = self.coolant.loop, self.coolant.per_K
        takes = pace * self.capacity_J_K + loop.radiator_W_K
        alone_C = (self.capacity_J_K * known + loop.radiator_W_K * loop.still_C) / takes
        per_watt = 1.0 / takes + loop.pass_K_W
        before_W = self.given_W(cells) - per_K * self.coolant_C
        more_W_K = float(self.coolant.gives @ by_coolant.ravel()) - per_K
        if per_watt * more_W_K >= 1.0:
            raise RunawayError("leakage outruns the cooling", "lower the power or the leakage, or cool better")
        more_C = (alone_C + per_watt * before_W - self.coolant_C) / (1.0 - per_watt * more_W_K)
        return more_C, alone_C + (before_W + more_W_K * more_C) / takes


def _capacity(capacity_J_K: float | None) -> float:
    assert capacity_J_K is not None  # who follows a loop in time has seen to it
    return capacity_J_K

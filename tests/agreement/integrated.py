"""The whole heat balance of a case in time by scipy's BDF: every property at its own temperature, at every moment.

Coefficients are those of the project; how they are stepped is not, nor how the coolant of a loop is closed: its faces
are told to give heat at two temperatures of it, between which that heat is a straight line.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.sparse import csc_matrix, diags

from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import Guess, Model
from thermsim.readout.answers import answers
from thermsim.readout.observable import Answers
from thermsim.transient.balance import Balance, Inputs, MovingField
from thermsim.transient.grid import films_of

Array = NDArray[np.float64]

RELATIVE, KELVIN = 1e-6, 1e-5  # tolerances of the integration


class Integrated:
    """A case on a grid, to be followed from any state. state : cells [C], then the coolant that leaves the radiator"""

    def __init__(self, case: Case, model: Model, guess: Guess, from_s: float) -> None:
        self.case, self.model, self.loop = case, model, model.loop
        films = films_of(case, model, from_s, 1)
        self.balance = Balance(model, films, guess)
        self.near = self.balance.start().near
        capacity = self.near.capacity.ravel()
        self.holds = capacity > 0.0
        solid = self.near.stencil.solid.ravel()
        self.has_cells_that_hold_nothing = bool(np.any(solid & ~self.holds))

    def at(self, state: Array) -> MovingField:
        """What stands at a state."""
        coolant_C = None
        if self.loop is not None:
            one, other = (self._gives_W(state, coolant_C) for coolant_C in (0.0, 100.0))
            slope = (other - one) / 100.0
            coolant_C = (float(state[-1]) + self.loop.pass_K_W * one) / (1.0 - self.loop.pass_K_W * slope)
        field = self.balance.field(state, self.near, Inputs(coolant_C))
        self.near = field.moment
        return field

    def _gives_W(self, state: Array, coolant_C: float) -> float:
        """Heat that the faces of the loop give it at some coolant."""
        field = self.balance.field(state, self.near, Inputs(coolant_C))
        return sum(flow.heat_W for flow, of in zip(field.flows, self.case.cooling, strict=True) if of.on_loop)

    def change(self, _: float, state: Array) -> Array:
        """[K/s]"""
        field = self.at(state)
        near, cells = field.moment, self.balance.cells_of(state, field.moment)
        flow = (near.stencil.heat - near.stencil.conducted(cells)).ravel()
        found = np.divide(flow, near.capacity.ravel(), out=np.zeros_like(flow), where=self.holds)
        if self.loop is None:
            return found
        given = sum(flow.heat_W for flow, of in zip(field.flows, self.case.cooling, strict=True) if of.on_loop)
        assert self.loop.capacity_J_K is not None
        out = self.loop.radiator_W_K * (float(state[-1]) - self.loop.still_C)
        return np.append(found, (given - out) / self.loop.capacity_J_K)

    def jacobian(self, _: float, state: Array) -> csc_matrix:
        """Of conduction alone, for the solver's Newton steps; what else there is changes slowly."""
        stencil, shape = self.near.stencil, self.near.shape
        size = int(np.prod(shape))
        number = np.arange(size).reshape(shape)
        matrix = diags(stencil.ground.ravel()).tocsc()
        for axis, between in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
            low = np.moveaxis(np.moveaxis(number, axis, 0)[:-1], 0, axis).ravel()
            high = np.moveaxis(np.moveaxis(number, axis, 0)[1:], 0, axis).ravel()
            own = between.ravel()
            rows, columns = np.concatenate([low, high, low, high]), np.concatenate([low, high, high, low])
            matrix = matrix + csc_matrix((np.concatenate([own, own, -own, -own]), (rows, columns)), (size, size))
        inverse = np.divide(1.0, self.near.capacity.ravel(), out=np.zeros(size), where=self.holds)
        found = -diags(inverse) @ matrix
        if self.loop is not None:
            assert self.loop.capacity_J_K is not None
            found.resize((size + 1, size + 1))
            found = found.tolil()
            found[size, size] = -self.loop.radiator_W_K / self.loop.capacity_J_K
        return csc_matrix(found)

    def states(self, start: Array, times: Array) -> Array:
        """(n, cells) at times [s] after a state."""
        span = 0.0, float(times[-1])
        found = solve_ivp(
            self.change, span, start, "BDF", times, rtol=RELATIVE, atol=KELVIN, jac=self.jacobian, first_step=1e-7
        )
        assert found.success, found.message
        return np.asarray(found.y.T)

    def told(self, states: Array) -> list[Answers[float]]:
        """All answers at each of some states."""
        return [answers(self.case, self.at(state)) for state in states]

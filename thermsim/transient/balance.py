"""One stage of the heat balance in time, (A + p C) T = g + C known, with what is no temperature of a cell.

Coefficients are those of temperatures carried on from before; one solve gives all cells. The coolant of a loop, w, is
unknown too. It is one more column, to be solved roughly only, for w moves little from where it was carried on. With G,
d, rho, UA and C_l as in `transient.loop`, and h the coolant that leaves the radiator,

    Q = g' T + d - G w,      w = h + rho Q,      C_l (p h - known) = Q - UA (h - still).

So is the share of its power that a chip which holds back has left, where its hottest reading would pass the limit: then
that reading is at the limit, by one column more, of what the share does to all cells, coolant included.

A pace p of zero is the steady state.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError, RunawayError
from thermsim.model.build import Guess, Model
from thermsim.model.powers import with_share
from thermsim.model.storage import StoringFilm, cell_capacities
from thermsim.readout.field import Field
from thermsim.solver.guesses import guess_from
from thermsim.solver.linear import State, prepare, renew, solve
from thermsim.transient.loop import Coolant
from thermsim.transient.system import System, system_of, with_planes_at

Array = NDArray[np.float64]

RESIDUAL = 1e-9  # relative residual of the solve of a stage, by the heat that stands in all temperatures, at least
OF_CHANGE = 3e-5  # the same by the heat that changes temperatures: so much of a step's change may a solve leave off
ROUGH_RESIDUAL = 1e-5  # the same of what a kelvin of the coolant does
FILTER_RESIDUAL = 1e-2  # the same of the filter of an error estimate
REST_STEPS, REST_K = 60, 1e-8  # of the search for a steady state
SHARE_STEP = 1e-2  # of the power, by which it is moved to see what that does
MEETS_K = 1e-5  # a reading so near to its limit is at it
MOST_TRIALS = 12  # of a share of the power


class Inputs(NamedTuple):
    """What is no temperature of a cell.

    coolant_C : mean coolant of the loop [C], None without one; share : of the power that may be held back
    """

    coolant_C: float | None
    share: float = 1.0


@dataclass(frozen=True, eq=False)
class Holding:
    """A chip that holds back. without : the model without the power that may be held back

    highest_C : its highest reading
    """

    without: Model
    limit_C: float
    highest_C: Callable[[Field], float]


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
    guess : temperatures to begin with; holding : how a chip holds back, None if it does not
    """

    def __init__(
        self,
        model: Model,
        films: Sequence[tuple[StoringFilm, Array]],
        guess: Guess,
        holding: Holding | None = None,
    ) -> None:
        self.model, self.films, self.loop = model, films, model.loop
        self.guess, self.holding = guess, holding
        self.solves = self.iterations = 0
        self._state: State | None = None
        self._by_coolant: Array | None = None
        self._by_share: Array | None = None

    # ---- what stands at a moment ------------------------------------------------------------------------------

    def cells_of(self, state: Array, like: System) -> Array:
        """(nx, ny, levels) temperatures of cells in a state."""
        return state[: like.capacity.size].reshape(like.shape)

    def model_at(self, inputs: Inputs) -> Model:
        """The model with what is no temperature of a cell."""
        model = self.model
        if inputs.share != 1.0 and self.holding is not None:
            model = with_share(model, self.holding.without, inputs.share)
        return model if inputs.coolant_C is None else model.at_coolant(inputs.coolant_C)

    def system(self, guess: Guess, inputs: Inputs) -> System:
        """The equations with coefficients at some temperatures."""
        return system_of(self.model_at(inputs), guess, cell_capacities(self.model, guess.temperature), self.films)

    def field(self, state: Array, near: System, inputs: Inputs) -> MovingField:
        """What stands at a moment, with its equations. near : those of a moment close by"""
        here = self._near_by(state, near, inputs)
        guess = here.guess_here
        return replace(here, guess=guess, moment=self.system(guess, inputs))

    def to_read(self, state: Array, near: System, inputs: Inputs) -> MovingField:
        """The same, ready to be read off: of its equations, what happens in the planes of films is all there is."""
        here = self._near_by(state, near, inputs)
        guess = here.guess_here
        return replace(here, guess=guess, moment=with_planes_at(near, here.model, guess, self.films))

    def _near_by(self, state: Array, near: System, inputs: Inputs) -> MovingField:
        """Temperatures of a moment with coefficients of one close by."""
        cells = self.cells_of(state, near)
        model_C = np.where(self.model.region >= 0, near.of_model(cells), np.nan)
        return MovingField(self.model_at(inputs), near.guess, model_C, 0.0, near, cells)

    def excess_K(self, at: Balanced) -> float:
        """By what the highest reading is over the limit of a chip that holds back."""
        assert self.holding is not None
        here = self._near_by(at.state, at.near, at.inputs)
        return float(self.holding.highest_C(here) - self.holding.limit_C)

    # ---- steady states ----------------------------------------------------------------------------------------

    def start(self, even_C: float | None = None) -> Balanced:
        """All cells alike, as cold as the coldest coolant unless given, and a loop that gets no heat."""
        still_C = None if self.loop is None else self.loop.still_C
        system = self.system(self.guess, Inputs(still_C))
        cells = np.full(system.capacity.size, self.model.coldest_C if even_C is None else even_C)
        return Balanced(cells if still_C is None else np.append(cells, still_C), system, Inputs(still_C))

    def settled(self) -> Balanced:
        """The steady state, with the power held back where it must be.

        Raises
        ------
        NotConvergedError, RunawayError
        """
        at = self.start()
        even_C = self.model_at(at.inputs).even_C
        if even_C is not None and not any(source.watts.any() for source in self.model.sources):
            return self.start(even_C)
        nothing = np.zeros(at.state.size)
        for _ in range(REST_STEPS):
            after = self.stage(at.state, 0.0, nothing, at, holds=self.holding is not None)
            moved = float(np.abs(after.state - at.state).max())
            if (self.model.is_linear and self.holding is None) or moved < REST_K:
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
            inputs = inputs._replace(coolant_C=(leaves_C + loop.pass_K_W * hung.given_W(cells)) / damped)
        near = self.field(at.state, near, inputs).moment
        flow = near.stencil.heat - near.stencil.conducted(cells)
        change = np.divide(flow, near.capacity, out=np.zeros_like(flow), where=near.capacity > 0.0).ravel()
        if loop is not None and hung is not None:
            assert inputs.coolant_C is not None
            to_loop = hung.given_W(cells) - hung.coolant.per_K * inputs.coolant_C
            of_loop = (to_loop - loop.radiator_W_K * (float(at.state[-1]) - loop.still_C)) / hung.capacity_J_K
            change = np.append(change, of_loop)
        return Balanced(at.state, near, inputs), change

    def stage(
        self,
        carried: Array,
        pace: float,
        known: Array,
        before: Balanced,
        holds: bool = False,
        changing_W: float = 0.0,
    ) -> Balanced:
        """Solve with coefficients at a state that is carried on, and from inputs as they were before.

        holds : whether power is held back where the highest reading would pass its limit
        changing_W : the norm of what all cells store where a step begins; it tells how well its end must be solved
        """
        inputs = before.inputs
        system = self.field(carried, before.near, inputs).moment
        stencil = replace(system.stencil, ground=system.stencil.ground + pace * system.capacity)
        may = self.model.may_have_islands
        self._state = prepare(stencil, may) if self._state is None else renew(self._state, stencil)
        heat = system.stencil.heat + system.capacity * self.cells_of(known, system)
        enough = self._enough(heat, stencil.ground, changing_W)
        cells = self._solve(heat, self.cells_of(carried, system), enough, self.model.coldest_C)
        state, hung = cells.ravel(), None
        if self.loop is not None:
            hung = self._hung(system, system.guess, inputs)
            gives = hung.coolant.gives.reshape(system.shape)
            self._by_coolant = self._solve(gives, self._by_coolant, ROUGH_RESIDUAL)
            more_C, leaves_C = hung.closed(cells, self._by_coolant, pace, float(known[-1]))
            state = np.append((cells + more_C * self._by_coolant).ravel(), leaves_C)
            inputs = inputs._replace(coolant_C=hung.coolant_C + more_C)
        found = Balanced(state, system, inputs)
        if not holds or (inputs.share >= 1.0 and self.excess_K(found) <= 0.0):
            return found
        return self._held_back(found, before.inputs, hung, pace)

    def _held_back(self, free: Balanced, before: Inputs, hung: _Hung | None, pace: float) -> Balanced:
        """The same with so much power that the highest reading is at its limit, all of it, or none."""
        near, share, cells = free.near, free.inputs.share, self.cells_of(free.state, free.near)
        other = self.system(near.guess, before._replace(share=share - SHARE_STEP))
        gain = near.stencil.heat - near.stencil.conducted(cells) - other.stencil.heat + other.stencil.conducted(cells)
        self._by_share = self._solve(gain / SHARE_STEP, self._by_share, ROUGH_RESIDUAL)
        by_share, warmer_K = self._by_share.ravel(), 0.0
        if hung is not None:
            assert self._by_coolant is not None
            less = sum(other.outflow(number)[1] for number in self.model.on_loop)
            at_once = (hung.coolant.at_once - less) / SHARE_STEP
            warmer_K, leaves_K = hung.follows(self._by_share, at_once, self._by_coolant, pace)
            by_share = np.append((self._by_share + warmer_K * self._by_coolant).ravel(), leaves_K)

        def at(new: float) -> Balanced:
            more = new - share
            coolant_C = None if free.inputs.coolant_C is None else free.inputs.coolant_C + more * warmer_K
            moved = _towards(other, near, 1.0 + more / SHARE_STEP)
            return Balanced(free.state + more * by_share, moved, Inputs(coolant_C, new))

        return at(_at_limit(lambda new: self.excess_K(at(new)), share))

    def filtered(self, near: System, pace: float, raw: Array) -> Array:
        """What a change of known temperatures does to the last stage: (A + p C)^-1 p C raw, roughly."""
        heat = near.capacity * pace * self.cells_of(raw, near)
        found = self._solve(heat, None, FILTER_RESIDUAL).ravel()
        if self.loop is None:
            return found
        held = pace * _capacity(self.loop.capacity_J_K)
        return np.append(found, raw[-1] * held / (held + self.loop.radiator_W_K))

    def _solve(self, heat: Array, guess: Array | None, residual: float, cold_C: float = 0.0) -> Array:
        """Temperatures [C] of all cells, solved for over a cold one; of rises, where nothing known is in the heat."""
        assert self._state is not None
        found = solve(self._state, heat, guess, residual, cold_C).checked()
        self.solves, self.iterations = self.solves + 1, self.iterations + found.iterations
        return np.nan_to_num(found.temperature, nan=cold_C)

    def storing_W(self, change: Array, near: System) -> float:
        """The norm of what all cells store where temperatures change by (n,) [K/s]."""
        return _norm(near.capacity * self.cells_of(change, near))

    def _enough(self, heat: Array, ground: Array, changing_W: float) -> float:
        """Relative residual of a solve that leaves a small share of a change off."""
        whole_W = _norm(heat - self.model.coldest_C * ground)
        return max(RESIDUAL, OF_CHANGE * changing_W / whole_W) if whole_W > 0.0 else RESIDUAL

    def _hung(self, system: System, guess: Guess, inputs: Inputs) -> _Hung:
        assert self.loop is not None and inputs.coolant_C is not None
        warmer = self.system(guess, inputs._replace(coolant_C=inputs.coolant_C + 1.0))
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
        loop, takes = self.coolant.loop, self._takes(pace)
        alone_C = (self.capacity_J_K * known + loop.radiator_W_K * loop.still_C) / takes
        before_W = self.given_W(cells) - self.coolant.per_K * self.coolant_C
        more_C, more_W = self._moved(alone_C - self.coolant_C, before_W, by_coolant, pace)
        return more_C, alone_C + (before_W + more_W) / takes

    def follows(self, cells: Array, at_once_W: float, by_coolant: Array, pace: float) -> tuple[float, float]:
        """The same of a change: of cells, and of what the loop gets at once."""
        before_W = float(self.coolant.gives @ cells.ravel()) + at_once_W
        more_C, more_W = self._moved(0.0, before_W, by_coolant, pace)
        return more_C, (before_W + more_W) / self._takes(pace)

    def _takes(self, pace: float) -> float:
        """Heat that leaves the loop, or that it stores, for each kelvin of what leaves the radiator [W/K]."""
        return pace * self.capacity_J_K + self.coolant.loop.radiator_W_K

    def _moved(self, alone_C: float, before_W: float, by_coolant: Array, pace: float) -> tuple[float, float]:
        """How much warmer the mean coolant gets [K], and how much more heat comes of it [W]."""
        per_watt = 1.0 / self._takes(pace) + self.coolant.loop.pass_K_W
        more_W_K = float(self.coolant.gives @ by_coolant.ravel()) - self.coolant.per_K
        if per_watt * more_W_K >= 1.0:
            raise RunawayError("leakage outruns the cooling", "lower the power or the leakage, or cool better")
        more_C = (alone_C + per_watt * before_W) / (1.0 - per_watt * more_W_K)
        return more_C, more_W_K * more_C


def _towards(start: System, end: System, share: float) -> System:
    """The second system, but the heat made in its planes lies so far from the first one's to its own on a line."""

    def of(low: Array | float, high: Array | float) -> Array | float:
        return low + share * (high - low)

    planes = {
        place: tuple(
            replace(
                two,
                faces=replace(
                    two.faces,
                    heat_lower=of(one.faces.heat_lower, two.faces.heat_lower),
                    heat_upper=of(one.faces.heat_upper, two.faces.heat_upper),
                    slope_lower=of(one.faces.slope_lower, two.faces.slope_lower),
                    slope_upper=of(one.faces.slope_upper, two.faces.slope_upper),
                ),
            )
            for one, two in zip(start.planes[place], whole, strict=True)
        )
        for place, whole in end.planes.items()
    }
    return replace(end, planes=planes)


def _at_limit(excess_K: Callable[[float], float], begin: float) -> float:
    """The share of power, 0 to 1, at which an excess is zero; all of it, or none, where it is on one side only."""
    share, over = begin, excess_K(begin)
    slope = (over - excess_K(begin - SHARE_STEP)) / SHARE_STEP
    for _ in range(MOST_TRIALS):
        if abs(over) <= MEETS_K:
            break
        if not slope > 0.0:
            return 0.0 if over > 0.0 else 1.0
        after = float(np.clip(share - over / slope, 0.0, 1.0))
        if after == share:
            break
        at_after = excess_K(after)
        slope = (at_after - over) / (after - share)
        share, over = after, at_after
    return share


def _norm(values: Array) -> float:
    return float(np.sqrt(np.square(values).sum()))


def _capacity(capacity_J_K: float | None) -> float:
    assert capacity_J_K is not None  # who follows a loop in time has seen to it
    return capacity_J_K

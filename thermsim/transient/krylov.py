"""A small model in time by projection on solutions at real shifts: rational Krylov, Galerkin.

    V spans 1 and (A + s_j C)^-1 g;   V' C V = 1,   A_r = V' A V,   g_r = V' g;   z(t) is near V y(t),  y' + A_r y = g_r

Shift 0 makes the steady state exact, the constant vector the heat balance: 1' (C z' + A z - g) = 0 at all times. Each
further shift is taken where the residual of the model so far is largest,

    s = argmax |r(s)| / sqrt((s + s_low) g' y(s)),   r(s) = g - (A + s C) V y(s),   |r|^2 = r' C^-1 r,

between 1/t of the last and of the first time asked. A_r is symmetric, so z decays with real rates that are all
positive: a chain of resistances and capacities by construction.
Source: Druskin and Simoncini, Systems and Control Letters 60 (2011) 546 for adaptive shifts, from memory; the choice by
the residual in energy is our own.

A model with many shifts tells which few would do: what they span lies in what it spans, so that any choice of shifts
is tried without another solve. Those few then serve on finer grids.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError
from thermsim.solver.linear import State, prepare, renew, solve
from thermsim.transient.system import System

Array = NDArray[np.float64]

STEADY_RESIDUAL = 1e-9  # relative residual of the solve at shift 0, with which curves end
SHIFTED_RESIDUAL = 1e-7  # the same of all others: projection forgives more, but grids are told apart by what it leaves
MOST_SHIFTS = 60
CANDIDATES = 60  # shifts, evenly in their logarithm, among which the next one is sought
SHIFTS_PAST = 3.0  # how far beyond 1/t of the last and first time a shift may lie
SHIFTS_BEYOND = 25.0  # times 1/t of the first time: as far shifts are sought where those between bring nothing new
MOVES = np.geomspace(0.5, 2.0, 7)  # of a shift, to where it may move
DROPPED = 3  # last shifts whose effect tells how far a model may be off
TIMES_CHANGE = 2.0  # the doubt of time is so many times what they changed
CHUNK = 16_384  # cells that are summed up at once: results have the same bits on any number of threads
KEPT = 0.5  # share of a vector that is left once what others span is taken off, so that this was enough
LEAST_NEW = 1e-9  # share of a new vector that must be new for it to join the basis


@dataclass(frozen=True, eq=False)
class SmallModel:
    """y' + A_r y = g_r with C_r = 1. vectors : (m, cells); stiffness : (m, m); heat : (m,)

    shifts : in the order of the vectors after the constant one; iterations : of the linear solver, in all solves
    coolant : (m,) what the coolant of a loop rises by with each vector [K], None without one
    dropped : last vectors, whose effect tells how far the model may be off
    """

    vectors: Array
    stiffness: Array
    heat: Array
    shifts: tuple[float, ...]
    iterations: int
    coolant: Array | None = None
    dropped: int = DROPPED

    def states(self, times: Array, without: int = 0) -> Array:
        """(n, m) y at times [s] after the load came on, of the model without its last vectors."""
        size = max(len(self.heat) - without, 1)
        rates, modes = np.linalg.eigh(self.stiffness[:size, :size])
        rates = np.maximum(rates, 0.0)
        strength = modes.T @ self.heat[:size]
        with np.errstate(divide="ignore", invalid="ignore"):
            grown = np.where(rates > 0.0, -np.expm1(-np.outer(times, rates)) / rates, times[:, None])
        return np.pad((grown * strength) @ modes.T, ((0, 0), (0, len(self.heat) - size)))

    def mix(self, shifts: Sequence[float]) -> Array:
        """(m, n) orthonormal: what the constant vector and solutions at some shifts would be, of these vectors."""
        rates, modes = np.linalg.eigh(self.stiffness)
        strength = modes.T @ self.heat
        solutions = [strength / (np.maximum(rates, 0.0) + shift) for shift in shifts]
        return _spanned(modes @ np.column_stack([modes[0], *solutions]))

    def of(self, mix: Array, shifts: Sequence[float] = ()) -> SmallModel:
        """The smaller model whose vectors are so mixed."""
        stiffness = mix.T @ self.stiffness @ mix
        return SmallModel(mix.T @ self.vectors, stiffness, mix.T @ self.heat, tuple(shifts), self.iterations)

    def rates(self) -> Array:
        """(m,) rates of decay [1/s], rising."""
        return np.asarray(np.linalg.eigvalsh(self.stiffness))

    def changes(self, times: Array) -> Array:
        """(n, m) dy/dt [1/s]."""
        rates, modes = np.linalg.eigh(self.stiffness)
        return np.asarray((np.exp(-np.outer(times, np.maximum(rates, 0.0))) * (modes.T @ self.heat)) @ modes.T)


class Input(NamedTuple):
    """What solutions are of: a heat (nx, ny, levels) [W] in a system"""

    system: System
    heat: Array


class Projection:
    """Vectors and projections that grow shift by shift. Kept as rows, so that each product streams once.

    vectors : for so many room is made at once; more are taken in too
    """

    def __init__(self, system: System, vectors: int = 16) -> None:
        self.system = system
        self.capacity = system.capacity.ravel()
        self.given = system.stencil.heat.ravel()
        self.rows: Array = np.empty((0, self.capacity.size))
        self._room: Array = np.empty((vectors, self.capacity.size))
        self.images: list[Array] = []
        self.stiffness, self.heat = np.zeros((0, 0)), np.zeros(0)
        self.shifts: list[float] = []
        self.iterations = 0
        self._states: dict[int, State] = {}
        self._add(np.where(system.stencil.solid, 1.0, 0.0).ravel())

    def add_shift(
        self, shift: float, keep_images: bool = False, given: Array | None = None, of: System | None = None
    ) -> bool:
        """Solve at a shift [1/s]; whether that brought anything new.

        given : another heat than the system's own [W]; of : another system on the same cells than its own
        """
        system = of or self.system
        stencil = system.stencil
        moved = replace(stencil, ground=stencil.ground + shift * system.capacity)
        state = self._states.get(id(system))
        state = prepare(moved, system.model.may_have_islands) if state is None else renew(state, moved)
        self._states[id(system)] = state
        tolerance = STEADY_RESIDUAL if shift == 0.0 else SHIFTED_RESIDUAL
        heat = stencil.heat if given is None else given
        nearest = self._nearest(shift, self.heat if given is None else self._dots(heat.ravel()))
        solution = solve(state, heat, nearest, tolerance).checked()
        self.iterations += solution.iterations
        self.shifts.append(shift)
        new = np.nan_to_num(solution.temperature)
        whole = self._norm(new.ravel())
        return self._add((new if nearest is None else new - nearest).ravel(), keep_images, whole)

    def model(self) -> SmallModel:
        """The small model of what was projected so far."""
        return SmallModel(self.rows, self.stiffness, self.heat, tuple(self.shifts), self.iterations)

    def worst_shift(self, low: float, high: float) -> float:
        """Where between two shifts the residual is largest, see above. Only with images kept."""
        slowest = max(float(np.linalg.eigvalsh(self.stiffness)[0]), 1e-3 * low)
        candidates = np.geomspace(low, high, CANDIDATES)
        inverse = np.divide(1.0, self.capacity, out=np.zeros_like(self.capacity), where=self.capacity > 0.0)
        small = np.array([self._small(shift) for shift in candidates])
        squares, images = np.zeros(CANDIDATES), np.array(self.images)
        for start in range(0, self.capacity.size, CHUNK):
            part = slice(start, start + CHUNK)
            moved = candidates[:, None] * self.capacity[part] * (small @ self.rows[:, part])
            residual = self.given[part] - small @ images[:, part] - moved
            squares += np.square(residual) @ inverse[part]
        energy = np.maximum(small @ self.heat, 1e-300)
        return float(candidates[int(np.argmax(squares / ((candidates + slowest) * energy)))])

    def _small(self, shift: float, heat: Array | None = None) -> Array:
        given = self.heat if heat is None else heat
        return np.asarray(np.linalg.solve(self.stiffness + shift * np.eye(len(given)), given))

    def _nearest(self, shift: float, heat: Array) -> Array | None:
        """What the model so far says of a shift; nothing where it knows only the constant. heat : (m,)"""
        if len(self.heat) < 2:
            return None
        return (self._small(shift, heat) @ self.rows).reshape(self.system.shape)

    def _add(self, vector: Array, keep_images: bool = True, whole: float | None = None) -> bool:
        """Whether what is new in a vector is more than LEAST_NEW of `whole`; then it joins the basis."""
        whole = self._norm(vector) if whole is None else whole
        before, norm = np.inf, self._norm(vector)
        while norm < KEPT * before:  # where much was taken off, rounding leaves some of it: twice is enough
            vector = vector - self._dots(self.capacity * vector) @ self.rows
            before, norm = norm, self._norm(vector)
        if not norm > LEAST_NEW * whole:
            return False
        vector /= norm
        image = self.system.stencil.conducted(vector.reshape(self.system.shape)).ravel()
        size = len(self.heat)
        if size == len(self._room):
            self._room = np.concatenate([self._room, np.empty_like(self._room)])
        self._room[size] = vector
        self.rows = self._room[: size + 1]
        stiffness = np.zeros((size + 1, size + 1))
        stiffness[:size, :size] = self.stiffness
        stiffness[size] = stiffness[:, size] = self._dots(image)
        self.stiffness = stiffness
        self.heat = np.append(self.heat, self._dots(self.given, size)[0])
        if keep_images:
            self.images.append(image)
        return True

    def _dots(self, values: Array, first: int = 0) -> Array:
        """(m,) products of all rows from the first on with one vector, in chunks of one order."""
        rows = self.rows[first:]
        total = np.zeros(len(rows))
        for start in range(0, values.size, CHUNK):
            total += rows[:, start : start + CHUNK] @ values[start : start + CHUNK]
        return total

    def _norm(self, vector: Array) -> float:
        total = 0.0
        for start in range(0, vector.size, CHUNK):
            part = slice(start, start + CHUNK)
            total += float((vector[part] * self.capacity[part]) @ vector[part])
        return float(np.sqrt(max(total, 0.0)))


def _spanned(columns: Array) -> Array:
    """(m, n) orthonormal: what columns span, without those that bring nothing new to the ones before them.

    Such a column leaves its direction to chance, and what later ones have of that: it goes before they are taken.
    """
    while True:
        basis, size = np.linalg.qr(columns)
        new = np.abs(np.diag(size)) > LEAST_NEW * np.linalg.norm(size[:, : len(size)], axis=0)
        if new.all():
            return np.asarray(basis)
        columns = np.delete(columns, int(np.argmin(new)), axis=1)


def chosen_model(
    system: System, first_s: float, last_s: float, wanted_K: float, doubt_K: Callable[[SmallModel], float]
) -> SmallModel:
    """A small model whose shifts are chosen, as many as it takes until its doubt is below `wanted_K`.

    first_s, last_s : times [s] between which it is asked; doubt_K : the largest doubt of what is read off a model [K]

    Raises
    ------
    NotConvergedError : MOST_SHIFTS are not enough
    """
    low, high = 1.0 / last_s, 1.0 / first_s
    projection = Projection(system)
    projection.add_shift(0.0, keep_images=True)
    projection.add_shift(high, keep_images=True)
    reached, beyond = np.inf, SHIFTS_BEYOND * high
    while len(projection.shifts) < MOST_SHIFTS:
        worst = projection.worst_shift(low, high)
        if worst in projection.shifts or not projection.add_shift(worst, keep_images=True):
            # Residuals at all shifts between are what the solver leaves, and faster modes than these show at first.
            if high < beyond:
                high *= SHIFTS_PAST
                continue
            # All modes of these cells are there: another vector would be what the solver leaves, and on a finer grid,
            # where the shifts may serve too, the last of them would tell of nothing.
            return replace(projection.model(), dropped=0)
        if len(projection.shifts) > DROPPED + 1:
            reached = doubt_K(projection.model())
            if reached <= wanted_K:
                return projection.model()
    raise too_many(reached, wanted_K)


def too_many(reached_K: float, wanted_K: float) -> NotConvergedError:
    """Of shifts, for what they reach."""
    return NotConvergedError(
        f"{MOST_SHIFTS} shifts leave {reached_K:.2g} K of doubt in time, and {wanted_K:.2g} K are wanted",
        "ask for a shorter span of times, or for less accuracy",
    )


def fewer_shifts(model: SmallModel, rows: Array, times: Array, wanted_K: float) -> tuple[float, ...]:
    """As few shifts as hold weighted sums of a model within `wanted_K` of it at some times.

    One after another is added where it helps most, and all others are moved a little after each, to where they help
    more. All of the model's own if fewer do not serve.

    rows : (answers, m) weights of the model's vectors, temperatures
    """
    rates, modes = np.linalg.eigh(model.stiffness)
    rates = np.maximum(rates, 0.0)
    seen = SmallModel(np.eye(len(rates)), np.diag(rates), modes.T @ model.heat, (), 0)
    constant, answers = modes[0], rows @ modes
    exact = seen.states(times) @ answers.T

    def off_K(shifts: Sequence[float]) -> float:
        solutions = [seen.heat / (rates + shift) for shift in shifts]
        mix = _spanned(np.column_stack([constant, *solutions]))
        fewer = SmallModel(mix.T, mix.T @ (rates[:, None] * mix), mix.T @ seen.heat, (), 0)
        return float(np.abs(fewer.states(times) @ (answers @ mix).T - exact).max())

    low, high = 1.0 / (SHIFTS_PAST * times[-1]), SHIFTS_PAST / times[0]
    candidates = np.geomspace(low, high, CANDIDATES)
    chosen = [0.0]
    while len(chosen) + 1 < len(model.shifts):
        chosen.append(min(candidates.tolist(), key=lambda shift: off_K([*chosen, shift])))
        for turn in range(1, len(chosen)):
            others = chosen[:turn] + chosen[turn + 1 :]
            near = (chosen[turn] * MOVES).tolist()
            chosen.insert(turn, min(near, key=lambda shift: off_K([*others, shift])))
            del chosen[turn + 1]
        if off_K(chosen) <= wanted_K:
            return tuple(chosen)
    return model.shifts


def model_at(system: System, shifts: Sequence[float], inputs: Sequence[Input] = ()) -> SmallModel:
    """The small model with given shifts. inputs : that solutions are of; the system's own heat unless given"""
    own = inputs or [Input(system, system.stencil.heat)]
    projection = Projection(system, len(own) * len(shifts) + 1)
    new = [sum(projection.add_shift(shift, given=one.heat, of=one.system) for one in own) for shift in shifts]
    return replace(projection.model(), shifts=tuple(shifts), dropped=sum(new[-DROPPED:]) if inputs else DROPPED)

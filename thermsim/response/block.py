"""A small model in time with many inputs: the watt of each zone, projected on solutions at real shifts.

    C z' + A z = F u,    y = L' z + D u;    V spans 1 and (A + s_j C)^-1 F,  V' C V = 1

In its modes, A_r = U diag(rates) U', the response of output o to one watt in input i from time 0 on is

    Z_oi(t) = D_oi + sum_m  l_mo f_mi (1 - exp(-rate_m t)) / rate_m.

Where an output is the mean of the very place that is heated, l = f: every term is positive, and Z_ii is a Foster chain
by construction. See `transient.krylov` for shifts and source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.solver.linear import State, prepare, renew, solve
from thermsim.transient.krylov import CHUNK, LEAST_NEW, SHIFTED_RESIDUAL, STEADY_RESIDUAL
from thermsim.transient.system import System

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Modes:
    """rates : (m,) [1/s]; heat : (m, inputs) f; seen : (m, outputs) l; constant : (m,) the constant vector in them"""

    rates: Array
    heat: Array
    seen: Array
    constant: Array

    def step(self, times: Array) -> Array:
        """(n, outputs, inputs) Z less D [K/W]."""
        grown = -np.expm1(-np.outer(times, self.rates)) / self.rates
        return np.asarray(np.einsum("nm,mo,mi->noi", grown, self.seen, self.heat, optimize=True))

    def fewer(self, shifts: Sequence[float]) -> Modes:
        """What some of its shifts would give: they span part of what these modes do, so no solve is needed."""
        solutions = [self.heat / (self.rates + shift)[:, None] for shift in shifts]
        wanted = np.column_stack([self.constant, *solutions])
        basis, sizes, _ = np.linalg.svd(wanted / np.linalg.norm(wanted, axis=0), full_matrices=False)
        basis = basis[:, sizes > LEAST_NEW]
        rates, turn = np.linalg.eigh(basis.T @ (self.rates[:, None] * basis))
        mix = basis @ turn
        return Modes(rates, mix.T @ self.heat, mix.T @ self.seen, mix.T @ self.constant)


@dataclass(frozen=True, eq=False)
class BlockModel:
    """modes : of all shifts; shifts : in this order; solves, iterations : of the linear solver

    stored : (places, m, m) products of the modes in the capacity of each place: 1 in all
    steady : (inputs, cells) what a watt in each input ends at [K/W]
    """

    modes: Modes
    shifts: tuple[float, ...]
    solves: int
    iterations: int
    stored: Array
    steady: Array


def block_model(
    system: System, heats: Array, seen: Array, shifts: Sequence[float], places: NDArray[np.int64]
) -> BlockModel:
    """The small model of a system.

    heats : (inputs, cells) F'; seen : (outputs, cells) L'; places : (cells,) number of what each cell belongs to,
        -1 where it stores nothing; shifts : 0 among them

    Raises what `thermsim.solver.linear.solve` raises.
    """
    basis = _Basis(system, heats, len(shifts))
    for shift in shifts:
        basis.add(shift)
    rates, turn = np.linalg.eigh(basis.stiffness)
    rates = np.maximum(rates, np.finfo(float).tiny)
    modes = Modes(rates, turn.T @ basis.heat, turn.T @ _products(basis.rows, seen), turn[0])
    stored = np.array([turn.T @ one @ turn for one in basis.stored_in(places)])
    return BlockModel(modes, tuple(shifts), len(shifts) * len(heats), basis.iterations, stored, basis.steady)


class _Basis:
    """Vectors as rows, orthonormal in C, that grow by a block for each shift."""

    def __init__(self, system: System, heats: Array, shifts: int) -> None:
        self.system, self.heats = system, heats
        self.capacity = system.capacity.ravel()
        self._room: Array = np.empty((1 + shifts * len(heats), self.capacity.size))
        self.count, self.iterations = 0, 0
        self.stiffness, self.heat = np.zeros((0, 0)), np.zeros((0, len(heats)))
        self._state: State | None = None
        self.steady: Array = np.empty((0, self.capacity.size))
        constant = np.where(system.stencil.solid, 1.0, 0.0).reshape(1, -1)
        self._take(constant, self._sizes(constant))

    @property
    def rows(self) -> Array:
        return self._room[: self.count]

    def stored_in(self, places: NDArray[np.int64]) -> Array:
        """(places, m, m) products of the vectors in the capacity of each place."""
        found = np.zeros((int(places.max()) + 1, self.count, self.count))
        for start in range(0, places.size, CHUNK):
            part = slice(start, start + CHUNK)
            for place in np.unique(places[part]):
                if place >= 0:
                    here = start + np.flatnonzero(places[part] == place)
                    rows = self.rows[:, here]
                    found[place] += (rows * self.capacity[here]) @ rows.T
        return found

    def add(self, shift: float) -> None:
        """Solve for every input at a shift [1/s]."""
        stencil, shape = self.system.stencil, self.system.shape
        moved = replace(stencil, ground=stencil.ground + shift * self.system.capacity)
        may = self.system.model.may_have_islands
        self._state = prepare(moved, may) if self._state is None else renew(self._state, moved)
        tolerance = STEADY_RESIDUAL if shift == 0.0 else SHIFTED_RESIDUAL
        block, guesses = np.empty_like(self.heats), np.empty_like(self.heats)
        for number, heat in enumerate(self.heats):
            guess = None
            if self.count > 1:
                of_rows = np.linalg.solve(self.stiffness + shift * np.eye(self.count), self.heat[:, number])
                guess = of_rows @ self.rows
            given = heat.reshape(shape)
            at = None if guess is None else guess.reshape(shape)
            found = solve(self._state, given, at, tolerance).checked()
            self.iterations += found.iterations
            block[number] = np.nan_to_num(found.temperature).ravel()
            guesses[number] = 0.0 if guess is None else guess
        if shift == 0.0:
            self.steady = block.copy()
        self._take(block - guesses, self._sizes(block))

    def _take(self, block: Array, whole: Array) -> None:
        """What is new in a block joins the basis. whole : (vectors,) of which size a new share must be LEAST_NEW"""
        block = block / np.where(whole > 0.0, whole, 1.0)[:, None]
        for _ in range(2):  # twice is enough, Parlett and Kahan
            share = _products(block * self.capacity, self.rows)
            block -= share @ self.rows
            size, turn = np.linalg.eigh(self._gram(block))
            new = size > LEAST_NEW**2
            if not new.any():
                return
            block = (turn[:, new] / np.sqrt(size[new])).T @ block
        first, self.count = self.count, self.count + len(block)
        self._room[first : self.count] = block
        images = np.array([self.system.stencil.conducted(one.reshape(self.system.shape)).ravel() for one in block])
        stiffness = np.zeros((self.count, self.count))
        stiffness[:first, :first] = self.stiffness
        stiffness[first:] = _products(images, self.rows)
        stiffness[:first, first:] = stiffness[first:, :first].T
        stiffness[first:, first:] = 0.5 * (stiffness[first:, first:] + stiffness[first:, first:].T)
        self.stiffness = stiffness
        self.heat = np.concatenate([self.heat, _products(block, self.heats)])

    def _sizes(self, block: Array) -> Array:
        return np.asarray(np.sqrt(np.diag(self._gram(block))))

    def _gram(self, block: Array) -> Array:
        return _products(block * self.capacity, block)


def _products(some: Array, others: Array) -> Array:
    """some others', summed up in chunks of one order: the same bits on any number of threads."""
    total = np.zeros((len(some), len(others)))
    for start in range(0, some.shape[1], CHUNK):
        part = slice(start, start + CHUNK)
        total += some[:, part] @ others[:, part].T
    return total

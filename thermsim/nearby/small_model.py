"""Thousands of cases near one case, answered by a small model of it, which `small_model_training` makes.

Answers come with a doubt: how far they may be from the full solve of the same case on the same grid. It is measured,
not proven. What the second half of the basis adds has an energy E (a hierarchical estimate; Hesthaven, Rozza, Stamm,
Certified Reduced Basis Methods, Springer 2016, section 3.3, from memory); errors of answers go about as E^1.5, between
E of a temperature and E^2 of a power-weighted mean (measured on the demo). The doubt is E^1.5 times the usual ratio of
true difference to it, times the worst excess over the usual, both in full solves that the model has not seen, times a
factor of safety. The mesh doubt comes on top.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.inputs.values import with_inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.model.coefficients.groups import Numbers, Topology, numbers
from thermsim.model.grid.axes import GridPlan
from thermsim.nearby.small_model_answers import Readout
from thermsim.readout.observable import Asked, Observable, find
from thermsim.solver.reduced import SmallModel

Array = NDArray[np.float64]

CELLS = 100_000  # cells of the grid, if no grid is given
# Share of the basis that makes the coarser answer; its distance to the answer with all vectors tells the doubt.
COARSER_SHARE = 0.5
ERROR_EXPONENT = 1.5  # exponent with which errors grow over the energy of that distance
SOLVE_K = 1e-5  # [K] accuracy of the full solves, which every doubt contains
BEYOND_SPAN = 1.0  # how far an answer may lie outside the span of the solved cases, as a share of that span
BLOCK_CASES = 64  # cases that are answered in one block of arrays


@dataclass(frozen=True, eq=False)
class SmallModelAnswers:
    """Temperatures [C] and doubts [K] of n cases (n, questions).

    inside : (n,) whether inputs lay in their ranges, leakage leaves a steady state, and answers are not far from those
        of the solved cases
    """

    questions: tuple[Observable, ...]
    values: Array
    doubts: Array
    inside: NDArray[np.bool_]

    def sure(self, within_K: float, of: Collection[Asked] | None = None) -> NDArray[np.bool_]:
        """(n,) bool: cases that need no full solve, if `within_K` is close enough for the answers `of` (for all)."""
        asked = [self.questions.index(find(self.questions, one)) for one in (self.questions if of is None else of)]
        return np.asarray(self.inside & np.all(self.doubts[:, asked] <= within_K, axis=1))


@dataclass(frozen=True, eq=False)
class Reduced:
    """A small model of a case.

    varied : inputs, in the order of the columns of what is asked; low, high : (inputs,) the ranges it was made for
    vectors : (cells, r) basis, temperatures over `small.reference_C`
    start : (features, r) first guess of coefficients; ratio : (questions,) doubt per `scale` of the energy;
        least : energy below which cases are not told apart
    lowest, highest : (questions,) of the solved cases [C]
    """

    base: Topology
    plan: GridPlan
    multiplier: int
    varied: tuple[Input, ...]
    low: Array
    high: Array
    vectors: Array
    small: SmallModel
    readout: Readout
    start: Array
    ratio: Array
    least: float
    lowest: Array
    highest: Array

    @property
    def questions(self) -> tuple[Observable, ...]:
        """What the small model answers, in the order of its rows."""
        return self.readout.questions

    def answers(self, given: ArrayLike) -> SmallModelAnswers:
        """Answers for values of the varied inputs, (n, inputs) in their units.

        Raises
        ------
        ThermsimError : another number of inputs, or a value that an input cannot have
        """
        table = self._checked(given)
        inside = np.all((table >= self.low - 1e-12) & (table <= self.high + 1e-12), axis=1)
        blocks = [self.block(table[first : first + BLOCK_CASES]) for first in range(0, len(table), BLOCK_CASES)]
        values = np.concatenate([found for found, _ in blocks])
        energy = np.concatenate([energy for _, energy in blocks])
        doubts = scale(energy, self.least)[:, None] * self.ratio + SOLVE_K
        return SmallModelAnswers(self.questions, values, doubts, inside & np.isfinite(energy) & self._likely(values))

    def _likely(self, values: Array) -> NDArray[np.bool_]:
        """(n,) whether answers lie within or near the span of the solved cases; sensors may be off by anything."""
        span = np.maximum(self.highest - self.lowest, 1.0)
        off = np.maximum(values - self.highest, self.lowest - values)
        solid = np.array([question.kind != "reading" for question in self.questions])
        return np.asarray(np.all(off[:, solid] <= (BEYOND_SPAN * span)[solid], axis=1))

    def temperature(self, values: ArrayLike) -> Array:
        """(nx, ny, nz) temperatures [C] of one case at the cell centres of its grid, NaN in voids."""
        whole = (self.small.reference_C + self.rise(values)).reshape(self.base.model.grid.shape)
        return np.where(self.base.model.region >= 0, whole, np.nan)

    def rise(self, values: ArrayLike) -> Array:
        """(cells,) temperatures of one case over the base's coldest coolant [K], zero in voids."""
        table = self._checked(values)
        c = self.small.solve(numbers(self.base, self._cases(table)), self._features(table) @ self.start)[0]
        return np.asarray(self.vectors @ c)

    def _checked(self, given: ArrayLike) -> Array:
        table = np.atleast_2d(np.asarray(given, dtype=np.float64))
        if table.ndim != 2 or table.shape[1] != len(self.varied) or not np.all(np.isfinite(table)):
            raise ThermsimError(
                f"values of shape {table.shape}, and {len(self.varied)} inputs vary",
                f"give one number for each of {', '.join(one.path for one in self.varied)}",
            )
        return table

    def _cases(self, table: Array) -> list[Case]:
        known = {one.path: one for one in self.varied}
        physical = [number for number, one in enumerate(self.varied) if not one.is_offset]
        paths = [self.varied[number].path for number in physical]
        return [
            with_inputs(self.base.case, dict(zip(paths, row, strict=True)), known)
            for row in table[:, physical].tolist()
        ]

    def _features(self, table: Array) -> Array:
        return features(self.varied, self.low, self.high, table)

    def block(self, table: Array) -> tuple[Array, Array]:
        """Answers (n, questions) and the energy of what the second half of the basis adds (n,)."""
        given = numbers(self.base, self._cases(table))
        c, energy = self.coefficients(given, self._features(table))
        offsets = {one.reading: np.full(len(table), one.offset_K.value) for one in self.base.case.readings}
        for column, one in enumerate(self.varied):
            if one.is_offset:
                offsets[one.owner] = table[:, column]
        found = self.readout.answers(given, self.small.base, c, self.small.reference_C, offsets)
        return found, energy

    def coefficients(self, given: Numbers, basis: Array) -> tuple[Array, Array]:
        """Coefficients (n, r) of cases by their numbers and features, and the energy of their second half (n,).

        That energy is infinite where leakage outruns the cooling: there is no steady state then.
        """
        c = self.small.solve(given, basis @ self.start)
        coarse = self.small.solve(given, c, max(1, int(COARSER_SHARE * self.small.size)))
        added = c.copy()
        added[:, : coarse.shape[1]] -= coarse
        energy = np.sqrt(np.sum(added**2, axis=1))
        if any(source.leakage is not None for source in self.base.model.sources):
            energy[~self.small.is_stable(given, c)] = np.inf
        return c, energy


def features(varied: Sequence[Input], low: Array, high: Array, table: Array) -> Array:
    """(n, features): one, inputs from -1 to 1 over their ranges, and their squares; offsets of sensors left out."""
    physical = [number for number, one in enumerate(varied) if not one.is_offset]
    half = np.maximum(0.5 * (high - low), 1e-300)
    place = ((table - 0.5 * (high + low)) / half)[:, physical]
    return np.hstack([np.ones((len(table), 1)), place, place**2])


def scale(energy: Array, least: float) -> Array:
    """(n,) what the errors of a small model are proportional to: the energy, of at least `least`, to ERROR_EXPONENT."""
    return np.asarray(np.maximum(energy, least) ** ERROR_EXPONENT)

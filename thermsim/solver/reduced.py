"""A small model: temperatures of nearby cases as combinations of a few solved ones.

With orthonormal columns V made from solved cases, T = T_ref + V c, and the balance A T = f of a case shrinks to

    (V' A V) c = V' (f - T_ref g),        g the ground of each cell, A the balance's matrix,

Galerkin's choice: of all combinations the one closest in the energy of A. Entries of A and f are not assembled. Those
that change alike in all cases form a group, so that one of them tells all (A is affine in the groups, exactly). Those
that depend on temperature cell by cell, where k does, are a combination of a few courses seen in the solved cases,
fitted at twice as many chosen entries. The small balance is solved again until k(T) and temperatures agree.

Sources: Hesthaven, Rozza, Stamm, Certified Reduced Basis Methods for Parametrized Partial Differential Equations,
Springer 2016, chapters 3 and 5 (Galerkin projection, affine decomposition, empirical interpolation); Chaturantabut and
Sorensen, SIAM J. Sci. Comput. 32 (2010) 2737 (choice of the entries); Negri, Manzoni, Amsallem, J. Comput. Phys. 303
(2015) 431 (interpolation of matrices); Peherstorfer, Drmac, Gugercin, SIAM J. Sci. Comput. 42 (2020) A2837 (more
entries than courses). All from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError
from thermsim.model.assemble import Stencil
from thermsim.model.coefficients.entries import GROUND, HEAT, Entries, Layout, entries_at
from thermsim.model.coefficients.groups import Ints, Numbers, Topology
from thermsim.solver.linearised import halves

Array = NDArray[np.float64]

# Two entries form a group if their ratios to the largest probe differ by less than this, summed over all probes with
# random weights.
ALIKE = 1e-10
# groups that become terms of the operator, the largest first; the entries of all others are interpolated
MOST_GROUPS = 400
# [K] largest change of temperature at the interpolated entries, from step to step, at which the iteration has settled
SETTLED_K = 2e-5
MOST_STEPS = 40
BLOCK_ENTRIES = 4096  # entries that are projected at once, so that they stay in the cache
SEED = 5_227


@dataclass(frozen=True, eq=False)
class Term:
    """One operator of the sum: weights (entries,) [W/K] or [W] of entries by their place in the vector."""

    entries: Ints
    weights: Array


@dataclass(frozen=True, eq=False)
class Sum:
    """Coefficients of a balance as a sum of terms, each times a factor that follows from a few chosen entries.

    chosen : (chosen,) places in the vector; mix : (chosen, terms) from their values to the factors, a least-squares fit
    """

    terms: tuple[Term, ...]
    chosen: Ints
    mix: Array


@dataclass(frozen=True, eq=False)
class SmallModel:
    """A balance of r unknowns.

    matrices, vectors : (terms, r, r) [W], (terms, r): V' A V and V' (f - T_ref g) of each term
    chosen : places of the entries that the factors of all terms follow from; mix : (chosen, terms)
    below, above : (faces, r) rows of V at the cells beside the faces of the chosen entries
    """

    chosen: Ints
    entries: Entries
    mix: Array
    matrices: Array
    vectors: Array
    below: Array
    above: Array
    base: Numbers
    reference_C: float

    @property
    def size(self) -> int:
        """The number of its vectors."""
        return int(self.vectors.shape[1])

    def solve(self, numbers: Numbers, start: Array, size: int | None = None) -> Array:
        """(n, size) coefficients c of n cases; `size` of the basis vectors are used, all unless given.

        start : (n, r) a first guess

        Raises
        ------
        NotConvergedError : k(T) and temperatures do not settle
        """
        r = self.size if size is None else size
        below, above, c = self.below[:, :r], self.above[:, :r], start[:, :r]
        flat = self.matrices[:, :r, :r].reshape(len(self.vectors), -1)
        under, over = self._at(below, c), self._at(above, c)
        for _ in range(MOST_STEPS):
            factors = self.entries.values(numbers, self.base, under, over) @ self.mix
            small = (factors @ flat).reshape(-1, r, r)
            c = np.asarray(np.linalg.solve(small, (factors @ self.vectors[:, :r])[:, :, None])[:, :, 0])
            if not self.entries.faces.base.bends.any():
                return c
            before, under, over = (under, over), self._at(below, c), self._at(above, c)
            if max(np.abs(under - before[0]).max(), np.abs(over - before[1]).max()) < SETTLED_K:
                return c
        raise NotConvergedError("conductivity and temperature of a small model do not settle")

    def is_stable(self, numbers: Numbers, c: Array) -> NDArray[np.bool_]:
        """(n,) whether n cases with these coefficients (n, r) are cooled faster than leakage heats them.

        Beyond thermal runaway the balance has a solution still, which no stack can hold: its matrix, V' A V with the
        growth of heat taken from A, has an eigenvalue that is not above zero, as A itself then has.
        """
        under, over = self._at(self.below, c), self._at(self.above, c)
        factors = self.entries.values(numbers, self.base, under, over) @ self.mix
        small = (factors @ self.matrices.reshape(len(self.vectors), -1)).reshape(-1, self.size, self.size)
        return np.asarray(np.linalg.eigvalsh(small)[:, 0] > 0.0)

    def _at(self, rows: Array, c: Array) -> Array:
        return np.asarray(self.reference_C + c @ rows.T)


def small_model(base: Topology, whole: Sum, vectors: Array, numbers: Numbers, reference_C: float) -> SmallModel:
    """Project a sum of terms onto basis vectors (cells, r)."""
    matrices = np.zeros((len(whole.terms), vectors.shape[1], vectors.shape[1]))
    right = np.zeros((len(whole.terms), vectors.shape[1]))
    layout = Layout(base.model.grid.shape)
    alike: dict[int, list[int]] = {}  # terms of the same entries one after the other: those are looked up once
    for number, term in enumerate(whole.terms):
        alike.setdefault(id(term.entries), []).append(number)
    for numbers_of in alike.values():
        weights = np.array([whole.terms[number].weights for number in numbers_of])
        entries = whole.terms[numbers_of[0]].entries
        matrices[numbers_of], right[numbers_of] = _projected(layout, entries, weights, vectors, reference_C)
    return ready(base, whole.chosen, whole.mix, matrices, right, vectors, numbers, reference_C)


def ready(
    base: Topology,
    chosen: Ints,
    mix: Array,
    matrices: Array,
    right: Array,
    vectors: Array,
    numbers: Numbers,
    reference_C: float,
) -> SmallModel:
    """A small model from what has been projected."""
    entries = entries_at(base, chosen)
    below, above = vectors[entries.faces.lower.cell], vectors[entries.faces.upper.cell]
    return SmallModel(chosen, entries, mix, matrices, right, below, above, numbers, reference_C)


def _projected(
    layout: Layout, entries: Ints, weights: Array, vectors: Array, reference_C: float
) -> tuple[Array, Array]:
    """Operators (terms, r, r) and right sides (terms, r) of terms of the same entries; weights : (terms, entries)"""
    r = vectors.shape[1]
    matrices, right = np.zeros((len(weights), r, r)), np.zeros((len(weights), r))
    shape = layout.shape
    cells = np.arange(np.prod(shape)).reshape(shape)
    for kind in range(5):
        part = layout.part(kind)
        here = np.flatnonzero((entries >= part.start) & (entries < part.stop))
        if kind < GROUND:
            low, high = (half.ravel() for half in halves(cells, kind))
        for first in range(0, len(here), BLOCK_ENTRIES):
            block = here[first : first + BLOCK_ENTRIES]
            local, heavy = entries[block] - part.start, weights[:, block]
            rows = vectors[low[local]] - vectors[high[local]] if kind < GROUND else vectors[local]
            if kind == HEAT:
                right += heavy @ rows
                continue
            for matrix, weight in zip(matrices, heavy, strict=True):
                matrix += rows.T @ (weight[:, None] * rows)
            if kind == GROUND:
                right -= reference_C * (heavy @ rows)
    return matrices, right


# ---- terms of the sum -------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Groups:
    """Entries by how they change. alike : groups of entries, each a term; uneven : those that change each by itself."""

    alike: tuple[Term, ...]
    uneven: Ints


def groups(base: Topology, probes: Array) -> Groups:
    """Sort all entries by what they do in a few cases, changed in all numbers at once.

    probes : (probes, entries) whole vectors of coefficients, of three cases or more
    """
    scale = np.abs(probes).max(axis=0)
    uneven = uneven_entries(base)
    even = np.setdiff1d(np.flatnonzero(scale > 0.0), uneven, assume_unique=True)
    ratios = probes[:, even] / scale[even]
    key = np.random.default_rng(SEED).normal(size=len(ratios)) @ ratios
    order = np.argsort(key, kind="stable")
    cuts = np.flatnonzero(np.diff(key[order]) > ALIKE) + 1
    found = sorted(np.split(order, cuts), key=len, reverse=True) if len(even) else []
    terms = []
    for group in found[:MOST_GROUPS]:
        largest = int(np.argmax(np.abs(probes[:, even[group[0]]])))
        values = probes[largest, even[group]]
        terms.append(Term(even[group], values / values[0]))
    rest = [even[group] for group in found[MOST_GROUPS:]]
    return Groups(tuple(terms), np.sort(np.concatenate([uneven[scale[uneven] > 0.0], *rest])))


def sum_of_terms(parts: Groups, seen: Array, tolerance: float) -> Sum:
    """The groups, and courses for what is uneven.

    seen : (cases, uneven) coefficients of all solved cases at the uneven entries
    tolerance : of an interpolated entry, relative to its largest value, in the mean
    """
    scale = np.abs(seen).max(axis=0)
    courses, points = interpolation(seen / scale, tolerance)
    alike = len(parts.alike)
    mix = np.zeros((alike + len(points), alike + len(courses)))
    mix[np.arange(alike), np.arange(alike)] = 1.0
    if len(points):
        mix[alike:, alike:] = np.linalg.pinv(courses[:, points]) / scale[points][:, None]
    terms = parts.alike + tuple(Term(parts.uneven, course * scale) for course in courses)
    chosen = [int(term.entries[0]) for term in parts.alike] + parts.uneven[points].tolist()
    return Sum(terms, np.array(chosen, dtype=np.int64), mix)


def uneven_entries(base: Topology) -> Ints:
    """Entries of cells whose conductivity depends on temperature, and of their faces and neighbours."""
    model = base.model
    bends = np.append(base.bends, False)[model.region]
    beside = bends.copy()
    faces = []
    for axis in range(3):
        along, wide = np.moveaxis(bends, axis, 0), np.moveaxis(beside, axis, 0)
        faces.append(np.moveaxis(along[1:] | along[:-1], 0, axis).ravel())
        wide[1:] |= along[:-1]
        wide[:-1] |= along[1:]
    return np.asarray(np.flatnonzero(np.concatenate([*faces, beside.ravel(), beside.ravel()])), dtype=np.int64)


def interpolation(courses: Array, tolerance: float) -> tuple[Array, Ints]:
    """Orthonormal courses (m, entries) that combine to all rows of (cases, entries), and 2 m entries to fit them at.

    Courses by singular values, entries by the greedy choice of Chaturantabut and Sorensen: each next one where the
    next course differs most from what the ones before make of it. Then as many again, each where what the fit knows
    least shows most (Peherstorfer, Drmac, Gugercin): with m entries alone what the courses leave out is magnified.
    """
    if courses.shape[1] == 0:
        return np.zeros((0, 0)), np.zeros(0, dtype=np.int64)
    values, left = np.linalg.eigh(courses @ courses.T)
    order = np.argsort(values)[::-1]
    values, left = values[order], left[:, order]
    tail = np.sqrt(np.maximum(np.cumsum(values[::-1])[::-1], 0.0) / courses.size)
    count = max(1, int(np.sum((tail > tolerance) & (values > 1e-15 * values[0]))))
    basis = (left[:, :count].T @ courses) / np.sqrt(values[:count])[:, None]
    points = [int(np.argmax(np.abs(basis[0])))]
    for number in range(1, count):
        share = np.linalg.solve(basis[:number, points].T, basis[number, points])
        points.append(int(np.argmax(np.abs(basis[number] - share @ basis[:number]))))
    for _ in range(min(count, basis.shape[1] - count)):
        least_known = np.linalg.svd(basis[:, points], full_matrices=False)[0][:, -1]
        shows = np.abs(least_known @ basis)
        shows[points] = -1.0
        points.append(int(np.argmax(shows)))
    return basis, np.array(points, dtype=np.int64)


# ---- basis ------------------------------------------------------------------------------------------------------


def energy_basis(stencil: Stencil, rises: Array, size: int | None) -> tuple[Array, Array]:
    """Basis vectors (cells, r), orthonormal in the energy of a balance, that combine best to rises (cases, cells) [K].

    Also their energies, falling (proper orthogonal decomposition; Hesthaven, Rozza, Stamm 2016, section 3.2.1).

    size : most vectors; one for each rise unless given
    """
    energy = rises @ times(stencil, rises).T
    values, left = np.linalg.eigh(0.5 * (energy + energy.T))
    order = np.argsort(values)[::-1][:size]
    order = order[values[order] > 1e-14 * values[order[0]]]
    return np.asarray((rises.T @ left[:, order]) / np.sqrt(values[order])), values[order]


def times(stencil: Stencil, fields: Array) -> Array:
    """A times fields (cases, cells), for the matrix A of a balance."""
    shape = stencil.ground.shape
    return np.array([stencil.conducted(field.reshape(shape)).ravel() for field in fields])

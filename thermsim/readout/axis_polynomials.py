"""Temperatures along one axis of a plane as polynomials through the centres of cells, and what a jump of heat adds.

Near a cell the polynomial goes through five cells of the rectangle and of one body; where the body ends at a void,
cells are mirrored, as if no heat crossed its side. On an edge of the rectangle inside a body the temperature bends as
x ln|x|.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

POINTS = 5  # cells along each axis that a polynomial is fitted to
# What the first two cells beyond a jump of heat lie over the temperature of the half space, of (heat on one side minus
# other) width / (2 k): in a plane of cells a = 0.3 times as high as wide (0.1 to 0.5 on the grids that are planned)
# 1/pi int_0^pi [sqrt(1 + a^2 sin^2(u/2)) / (2 sin^2(u/2)) - 2/u^2] sin(u (j + 1/2)) du, less what follows beyond pi.
ON_LATTICE = 0.1002, 0.0388
INSIDE, LOW_EDGE, HIGH_EDGE = 0, -1, 1


@dataclass(frozen=True, eq=False)
class Axis:
    """One axis. start, stop : (nx, ny) of the run of cells of one body along it that each cell is in; faces : [m]

    closed : (nx, ny, 2) whether that run ends at a void or the side of the plane, at its low and its high end
    """

    start: Ints
    stop: Ints
    closed: Bools
    faces: Array

    @classmethod
    def of(cls, region: NDArray[np.integer], widths: Array, axis: int) -> Axis:
        """Along one axis of three: each cell's run of cells of the same region. region, widths : as on the grid"""
        along = np.moveaxis(region, axis, 0)
        count = len(along)
        turns = np.ones((count + 1, along.shape[1]), dtype=bool)
        turns[1:-1] = along[1:] != along[:-1]
        number = np.arange(count + 1)[:, None]
        start = np.maximum.accumulate(np.where(turns[:-1], number[:-1], 0), axis=0)
        stop = np.minimum.accumulate(np.where(turns[1:], number[1:], count)[::-1], axis=0)[::-1]
        void = np.ones((count + 2, along.shape[1]), dtype=bool)
        void[1:-1] = along < 0
        column = np.arange(along.shape[1])
        closed = np.stack([void[start, column], void[stop + 1, column]], axis=-1)
        start, stop, closed = (np.moveaxis(array, 0, axis) for array in (start, stop, closed))
        return cls(start, stop, closed, np.concatenate([[0.0], np.cumsum(widths)]))

    def near(self, cell: Ints, bounds: Ints, axis: int) -> AroundCells:
        """What lies along the axis about cells (2, m) in rectangles with bounds (m, 2); alike ones once."""
        at = cell[0], cell[1]
        table = np.column_stack([cell[axis], self.start[at], self.stop[at], self.closed[at], bounds])
        if len(table) == 1:
            return self._near(table[:, 0], table[:, 1:3], table[:, 3:5] > 0, table[:, 5:])
        keys, where = np.unique(table, axis=0, return_inverse=True)
        return self._near(keys[:, 0], keys[:, 1:3], keys[:, 3:5] > 0, keys[:, 5:]).rows(np.reshape(where, -1))

    def _near(self, middle: Ints, body: Ints, closed: Bools, bounds: Ints) -> AroundCells:
        first, end = np.maximum(body[:, 0], bounds[:, 0]), np.minimum(body[:, 1], bounds[:, 1])
        body_low, body_high = first == body[:, 0], end == body[:, 1]
        ends_low, ends_high = body_low & closed[:, 0], body_high & closed[:, 1]  # there cells are mirrored
        lowest = middle - POINTS // 2
        lowest = np.where(ends_high, lowest, np.minimum(lowest, end - POINTS))
        lowest = np.where(ends_low, lowest, np.maximum(lowest, first))
        index = lowest[:, None] + np.arange(POINTS)
        before, beyond = index < first[:, None], index >= end[:, None]
        index = np.where(before, 2 * first[:, None] - 1 - index, np.where(beyond, 2 * end[:, None] - 1 - index, index))
        is_there = (index >= first[:, None]) & (index < end[:, None]) & ~(before & ~ends_low[:, None])
        is_there &= ~(beyond & ~ends_high[:, None])
        index = np.where(is_there, index, middle[:, None])
        centres = 0.5 * (self.faces[1:] + self.faces[:-1])
        at = np.where(before, 2.0 * self.faces[first][:, None] - centres[index], centres[index])
        at = np.where(beyond, 2.0 * self.faces[end][:, None] - centres[index], at)
        width = np.diff(self.faces)[middle]
        # Inside, a summit may lie up to the centre of a neighbour, up to the side of the body, or in the middle.
        low = np.where(middle > first, centres[middle - 1] - centres[middle], np.where(body_low, -0.5 * width, 0.0))
        above = centres[np.minimum(middle + 1, len(centres) - 1)]
        high = np.where(middle < end - 1, above - centres[middle], np.where(body_high, 0.5 * width, 0.0))
        powers = _through((at - centres[middle][:, None]) / width[:, None], is_there)
        inside = AxisPolynomials(index, powers, np.stack([low, high], axis=1) / width[:, None], INSIDE)
        touches = [(middle == first) & ~body_low, (middle == end - 1) & ~body_high]
        edges = [self._edge(middle, body, bounds, side) for side in (LOW_EDGE, HIGH_EDGE)]
        return AroundCells(inside, (edges[0], edges[1]), np.stack(touches, axis=1))

    def _edge(self, middle: Ints, body: Ints, bounds: Ints, side: int) -> AxisPolynomials:
        """The temperature at one side of cells and inward: of two cells on each side of it.

        Of one where there are no two, and on the edge alone where the rectangle ends after one: heat jumps there too.
        """
        index = middle[:, None] + (np.array([-2, -1, 0, 1, 0]) if side == LOW_EDGE else np.array([-1, 0, 1, 2, 0]))
        is_there = (index >= body[:, :1]) & (index < body[:, 1:])
        index = np.where(is_there, index, middle[:, None])
        centres = 0.5 * (self.faces[1:] + self.faces[:-1])
        inward = (centres[index] - self.faces[middle + int(side == HIGH_EDGE)][:, None]) * -side
        inward /= np.diff(self.faces)[middle][:, None]
        powers = np.zeros((len(middle), POINTS, POINTS))
        four = is_there[:, :4].all(axis=1)
        powers[four, :4, :4] = _at_jump(inward[four, :4])
        powers[bounds[:, 1] - bounds[:, 0] < 2, 1:] = 0.0
        # No pair at the side of a body, where no edge is.
        low, high = inward[~four, 1], inward[~four, 2]
        apart = np.where(high == low, 1.0, high - low)
        powers[~four, 0, 1], powers[~four, 0, 2] = high / apart, -low / apart
        return AxisPolynomials(index, powers, np.full((len(middle), 2), 0.5 * side), side)


@dataclass(frozen=True, eq=False)
class AxisPolynomials:
    """Temperatures along one axis; places in widths of the middle cell from its centre.

    index : (m, 5) cells; powers : (m, 5, 5) what their temperatures make of the coefficients of the terms
    ends : (m, 2) places between which it is used
    side : inside a cell the terms are powers of the place; at an edge 1, s, s^2, s ln s of the distance inward, s
    """

    index: Ints
    powers: Array
    ends: Array
    side: int

    def rows(self, which: Any) -> AxisPolynomials:
        """The polynomials of some of the cells."""
        return AxisPolynomials(self.index[which], self.powers[which], self.ends[which], self.side)

    def terms(self, place: Array) -> Array:
        """(m, 5) at places (m,)."""
        return powers_of(place) if self.side == INSIDE else jump_terms(0.5 - self.side * place)


@dataclass(frozen=True, eq=False)
class AroundCells:
    """Along one axis about cells: inside them and on both edges. touches : (m, 2) which are edges of the rectangle"""

    inside: AxisPolynomials
    edges: tuple[AxisPolynomials, AxisPolynomials]
    touches: Bools

    def rows(self, which: Any) -> AroundCells:
        """The same around some of the cells."""
        low, high = (edge.rows(which) for edge in self.edges)
        return AroundCells(self.inside.rows(which), (low, high), self.touches[which])

    def may(self, side: int) -> Bools:
        """(cells,) whether a highest temperature may lie at this side of each: only where a region ends there."""
        return np.ones(len(self.touches), dtype=bool) if side == INSIDE else self.touches[:, int(side == HIGH_EDGE)]

    def part(self, side: int) -> AxisPolynomials:
        """The polynomials inside of the cells, or at their low or high edge."""
        return self.inside if side == INSIDE else self.edges[int(side == HIGH_EDGE)]


def _at_jump(away: Array) -> Array:
    """(m, 4, 4) coefficients of 1, x, x^2 and, which a jump of heat brings, x ln|x|, of single temperatures of cells.

    away : (m, 4) their distances from the jump, two on each side, in widths of a cell

    The balances of the cells beside a jump do not hold x ln|x| but x ln|x| - (pi/2) ON_LATTICE, on any grid: without it
    the slope at the edge, and with it the distance of the summit, would be wrong by a factor that no grid mends.
    """
    on_lattice = np.sign(away) * np.array([ON_LATTICE[1], ON_LATTICE[0], ON_LATTICE[0], ON_LATTICE[1]])
    of_jump = away * np.log(np.abs(away)) - 0.5 * np.pi * on_lattice
    terms = np.stack([np.ones_like(away), away, away**2, of_jump], axis=1)
    return np.asarray(np.linalg.inv(terms).transpose(0, 2, 1))


def jump_terms(inward: Array) -> Array:
    """(m, 5) of distances (m,) from an edge, not negative: 1, s, s^2, s ln s, and nothing."""
    logarithm = np.log(np.maximum(inward, 1e-300))
    return np.asarray(
        np.stack([np.ones_like(inward), inward, inward**2, inward * logarithm, np.zeros_like(inward)], -1)
    )


def _through(place: Array, is_there: Bools) -> Array:
    """(m, 5, 5) coefficients of the polynomials through single points; with fewer points, of lower degree."""
    matrix = place[..., None] ** np.arange(POINTS)
    missing = ~is_there
    unused = POINTS - np.cumsum(missing, axis=1)  # degrees from the highest down
    matrix[missing] = np.eye(POINTS)[unused[missing]]
    return np.asarray(np.where(is_there[:, None, :], np.linalg.inv(matrix), 0.0))


def powers_of(place: Array) -> Array:
    """(m, 5) of places (m,): 1, s, s^2, ..."""
    return np.vander(place, POINTS, increasing=True)

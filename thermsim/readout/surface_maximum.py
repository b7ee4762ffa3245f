"""Temperatures of a plane between and beyond the centres of its cells: at a place, and the highest of rectangles.

Along each axis the temperature near a cell is the polynomial through the centres of five cells of the rectangle and of
one body; where the body ends at a void, cells are mirrored, as if no heat crossed its side. On an edge of the rectangle
inside a body, where heat jumps and the temperature bends as x ln|x|, it is what two cells on each side say with such a
term, up to the centre of the cell inside: where heat comes from beyond the edge, the summit lies so near that the cells
never show it (at exp(-slope/jump), microns), and a reading on the edge alone would be off by as much on every grid.
Summits are sought in the warmest cells, so that the answer changes continuously while one becomes warmer than
another, and where edges are warmest: beside hotter rectangles its cells may be cooler than a hill farther in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.readout.axis_polynomials import (
    HIGH_EDGE,
    INSIDE,
    LOW_EDGE,
    POINTS,
    Array,
    Axis,
    AxisPolynomials,
    Ints,
    jump_terms,
    powers_of,
)

Box = tuple[slice, slice]

BESIDE = 2  # cells outside a rectangle that the polynomials at its edges need
WARMEST = 4  # warmest cells of a rectangle around which a highest temperature is sought
WARMEST_ON_EDGE = 2  # warmest places of each edge of a rectangle beside which it is sought too
TRIES = 9  # points along each axis of a cell, of which the best starts the search for the maximum
NEWTON_STEPS = 6
MOST_ROUNDS, SETTLED = 8, 1e-6  # of seeking beside an edge; [widths of the cell] that its place may still move by
# Distances from an edge, in widths of the cell, at which a maximum beside it is sought.
NEAREST = 2.0 ** -np.arange(1.0, 41.0)
_DERIVATIVE = np.diag(np.arange(1.0, POINTS), 1)  # makes the coefficients of a polynomial's derivative of its own
SAME_LINE = 1e-9  # share of the size of the plane within which two lines are one
SIDES = (INSIDE, LOW_EDGE, HIGH_EDGE)


@dataclass(frozen=True, eq=False)
class Summit:
    """Highest temperatures (n,) [C] of one rectangle, and where they are.

    cell : (2, n) indices along both axes; side : (2, n) along each axis inside the cell, or at an edge of the rectangle
    place : (2, n) from the centre of the cell, in its widths
    """

    box: Box
    value: Array
    cell: Ints
    side: Ints
    place: Array

    def of_row(self, row: int) -> Summit:
        """That of one row alone."""
        at = slice(row, row + 1)
        return Summit(self.box, self.value[at], self.cell[:, at], self.side[:, at], self.place[:, at])

    def counts_beside(self, boxes: Sequence[Box]) -> NDArray[np.bool_]:
        """(n,) whether it stands for itself beside the summits of other rectangles: what lies in one is that one's."""
        found = np.ones(self.value.shape, dtype=bool)
        i, j = self.cell + np.where(np.abs(self.place) > 0.5, np.sign(self.place), 0.0).astype(int)  # where it lies
        for x, y in boxes:
            if (x, y) != self.box:
                found &= (i < x.start) | (i >= x.stop) | (j < y.start) | (j >= y.stop)
        return found


@dataclass(frozen=True, eq=False)
class Plane:
    """A plane of cells. region : (nx, ny) which body each is of, negative for none; widths : of cells [m]"""

    region: NDArray[np.integer]
    widths: tuple[Array, Array]

    def summits(self, face: Array, boxes: Sequence[Box]) -> list[Summit]:
        """Of each rectangle, for temperatures (n, nx, ny) [C], NaN where there is no face."""
        rows, cells = zip(*(self._candidates(face, box) for box in boxes), strict=True)
        many = [len(own) for own in rows]
        bounds = np.repeat([[[s.start, s.stop] for s in box] for box in boxes], many, axis=0)
        which, flat = np.concatenate(rows), np.concatenate(cells, axis=1)
        value, side, place = self._climb(face, which, flat, bounds)
        found, first = [], 0
        for box, count in zip(boxes, many, strict=True):
            order = first + np.lexsort((-value[first : first + count], which[first : first + count]))
            _, highest = np.unique(which[order], return_index=True)
            at = order[highest]
            found.append(Summit(box, value[at], flat[:, at], side[:, at], place[:, at]))
            first += count
        return found

    def weights(self, summit: Summit, row: int = 0) -> dict[tuple[int, int], float]:
        """Of the temperatures of cells whose sum is the summit of one row, to first order in all they depend on."""
        return self._weights(summit.cell[:, [row]], summit.box, summit.side[:, row].tolist(), summit.place[:, [row]])

    def touching(self, place: tuple[float, float]) -> list[tuple[int, int]]:
        """The cells that a place [m] from the corner of the plane lies in or between, none of them void."""
        found = []
        for line, at in zip(self._lines, place, strict=True):
            same = SAME_LINE * float(line.faces[-1])
            found.append(np.flatnonzero((line.faces[:-1] <= at + same) & (line.faces[1:] >= at - same)).tolist())
        return [(i, j) for i in found[0] for j in found[1] if self.region[i, j] >= 0]

    def weights_at(
        self, place: tuple[float, float], cell: tuple[int, int], jumps: tuple[Ints, Ints]
    ) -> dict[tuple[int, int], float]:
        """Of the temperatures of cells, for that at a place [m] from the corner of the plane, as a cell has it.

        cell : one that touches the place; jumps : faces at which heat beside it ends
        """
        side, offset, box = [], [], []
        for line, at, index, ends in zip(self._lines, place, cell, jumps, strict=True):
            body = int(line.start[cell]), int(line.stop[cell])
            start = max([body[0], *ends[ends <= index].tolist()])
            stop = min([body[1], *ends[ends > index].tolist()])
            low, high = line.faces[index : index + 2].tolist()
            same = SAME_LINE * float(line.faces[-1])
            on_edge = INSIDE
            if abs(high - at) <= same and stop == index + 1 < body[1]:
                on_edge = HIGH_EDGE
            elif abs(low - at) <= same and start == index > body[0]:
                on_edge = LOW_EDGE
            side.append(on_edge)
            offset.append(0.5 * on_edge if on_edge else (at - 0.5 * (low + high)) / (high - low))
            box.append(slice(start, stop))
        return self._weights(np.array(cell)[:, None], (box[0], box[1]), side, np.array(offset)[:, None])

    def _candidates(self, face: Array, box: Box) -> tuple[Ints, Ints]:
        """Rows (m,) and cells (2, m) of a rectangle in which its summits are sought, in the order of the rows."""
        warmest = _warmest(face, box)
        cells, there = [*warmest.transpose(1, 0, 2)], [np.ones(len(face), dtype=bool)] * warmest.shape[1]
        most = face[np.arange(len(face)), warmest[0, 0], warmest[1, 0]]
        for axis in (0, 1):
            for inner, outer in ((box[axis].start, box[axis].start - 1), (box[axis].stop - 1, box[axis].stop)):
                if 0 <= outer < len(self.widths[axis]):
                    for cell, is_there in self._warmest_on_edge(face, axis, (inner, outer), box[1 - axis], most):
                        cells.append(cell)
                        there.append(is_there)
        places = np.ravel_multi_index(tuple(np.array(cells).transpose(1, 0, 2)), self.region.shape)
        keys = np.unique((places + np.arange(len(face)) * self.region.size)[np.array(there)])
        rows, place = np.divmod(keys, self.region.size)
        return rows, np.array(np.unravel_index(place, self.region.shape))

    def _warmest_on_edge(
        self, face: Array, axis: int, pair: tuple[int, int], across: slice, most: Array
    ) -> list[tuple[Ints, NDArray[np.bool_]]]:
        """Cells (2, n) beside the warmest places of an edge inside a body, and the rows (n,) in which they count.

        An edge is warmer than the warmest cell, `most` (n,), only where a cell on one side of it is.

        pair : indices along the axis of the cells inside the edge and beyond it; across : the extent of the edge
        """
        width, rows = self.widths[axis], np.arange(len(face))
        lines = [(index, across) if axis == 0 else (across, index) for index in pair]
        inside, beyond = (face[(slice(None), *line)] for line in lines)
        on_edge = (width[pair[1]] * inside + width[pair[0]] * beyond) / (width[pair[0]] + width[pair[1]])
        is_there = (self.region[lines[0]] == self.region[lines[1]]) & ~np.isnan(on_edge)
        on_edge = np.where(is_there, on_edge, -np.inf)
        is_warm = np.any(is_there & (np.maximum(inside, beyond) >= most[:, None]), axis=1)
        found = []
        for _ in range(min(WARMEST_ON_EDGE, on_edge.shape[1])):
            best = on_edge.argmax(axis=1)
            along, fixed = across.start + best, np.full_like(best, pair[0])
            cell = np.array([fixed, along] if axis == 0 else [along, fixed])
            found.append((cell, is_warm & np.isfinite(on_edge[rows, best])))
            on_edge[rows, best] = -np.inf
        return found

    def _weights(self, cell: Ints, box: Box, side: list[int], place: Array) -> dict[tuple[int, int], float]:
        bounds = np.array([[[s.start, s.stop] for s in box]])
        near = [self._lines[axis].near(cell, bounds[:, axis], axis).part(side[axis]) for axis in (0, 1)]
        along = [near[axis].terms(place[axis]) @ near[axis].powers[0] for axis in (0, 1)]
        found: dict[tuple[int, int], float] = {}

        def add(i: int, j: int, weight: float) -> None:
            if weight != 0.0:
                found[i, j] = found.get((i, j), 0.0) + weight

        i0, j0 = cell[:, 0].tolist()
        for i, weight_x in zip(near[0].index[0].tolist(), along[0][0].tolist(), strict=True):
            for j, weight_y in zip(near[1].index[0].tolist(), along[1][0].tolist(), strict=True):
                weight = weight_x * weight_y
                if self.region[i, j] == self.region[i0, j0]:
                    add(i, j, weight)
                else:
                    add(i, j0, weight)
                    add(i0, j, weight)
                    add(i0, j0, -weight)
        return found

    def _climb(self, face: Array, which: Ints, cell: Ints, bounds: Ints) -> tuple[Array, Ints, Array]:
        """Highest value (m,) in and beside each cell (2, m) of a row of temperatures, its sides and places (2, m)."""
        near = [self._lines[axis].near(cell, bounds[:, axis], axis) for axis in (0, 1)]
        value = np.full(cell.shape[1], -np.inf)
        side, place = np.zeros(cell.shape, dtype=np.int64), np.zeros(cell.shape)
        for sides in [(x, y) for x in SIDES for y in SIDES]:
            here = np.flatnonzero(near[0].may(sides[0]) & near[1].may(sides[1]))
            if not len(here):
                continue
            x, y = (near[axis].rows(here).part(sides[axis]) for axis in (0, 1))
            patch = self._patch(face, which[here], cell[:, here], x.index, y.index)
            found, *at = _highest_of(x.powers @ patch @ y.powers.transpose(0, 2, 1), x, y)
            better = found > value[here]
            chosen = here[better]
            value[chosen] = found[better]
            side[:, chosen] = np.array(sides)[:, None]
            place[:, chosen] = np.array(at)[:, better]
        return value, side, place

    def _patch(self, face: Array, which: Ints, cell: Ints, x: Ints, y: Ints) -> Array:
        """(m, 5, 5) temperatures; of a cell of another body, what the two lines through the middle say of it."""
        row, i, j = which[:, None, None], x[:, :, None], y[:, None, :]
        i0, j0 = cell[0][:, None, None], cell[1][:, None, None]
        patch = face[row, i, j]
        other = self.region[i, j] != self.region[i0, j0]
        if other.any():
            patch = np.where(other, face[row, i, j0] + face[row, i0, j] - face[row, i0, j0], patch)
        return np.asarray(patch)

    @cached_property
    def _lines(self) -> tuple[Axis, Axis]:
        return Axis.of(self.region, self.widths[0], 0), Axis.of(self.region, self.widths[1], 1)


def _warmest(face: Array, box: Box) -> Ints:
    """(2, WARMEST, n) the warmest cells of a rectangle; the first again where it has not so many."""
    block = face[:, box[0], box[1]].reshape(len(face), -1)
    block = np.where(np.isnan(block), -np.inf, block)
    rows = np.arange(len(face))
    found: list[Ints] = []
    for _ in range(min(WARMEST, block.shape[1])):
        best = block.argmax(axis=1)
        lost = np.isneginf(block[rows, best])
        found.append(np.asarray(np.where(lost, found[0] if found else best, best), dtype=np.int64))
        block[rows, best] = -np.inf
    found += [found[0]] * (WARMEST - len(found))
    i, j = np.divmod(np.array(found), box[1].stop - box[1].start)
    return np.array([i + box[0].start, j + box[1].start])


def _highest_of(coefficients: Array, x: AxisPolynomials, y: AxisPolynomials) -> tuple[Array, Array, Array]:
    """Highest value (m,) of temperatures with coefficients (m, 5, 5), and its places: on edges first, then inward."""
    if x.side == INSIDE and y.side == INSIDE:
        return _highest(coefficients, x.ends, y.ends)
    on_edge = [part.terms(part.ends[:, 0]) for part in (x, y)]
    along_x = coefficients if x.side == INSIDE else _only(on_edge[0][:, None, :] @ coefficients, 1)
    both = along_x if y.side == INSIDE else _only(along_x @ on_edge[1][:, :, None], 2)
    _, u, v = _highest(both, *(part.ends if part.side == INSIDE else 0.0 * part.ends for part in (x, y)))
    u, v = (at if part.side == INSIDE else part.ends[:, 0] for at, part in ((u, x), (v, y)))
    for _ in range(MOST_ROUNDS):  # the summit lies so near its edge that away from it and along it are sought in turn
        u, before = _highest_along(x, (coefficients @ y.terms(v)[:, :, None])[:, :, 0], u), (u, v)
        v = _highest_along(y, (x.terms(u)[:, None, :] @ coefficients)[:, 0, :], v)
        if max(np.abs(u - before[0]).max(), np.abs(v - before[1]).max()) < SETTLED:
            break
    value = (x.terms(u)[:, None, :] @ coefficients @ y.terms(v)[:, :, None])[:, 0, 0]
    return value, u, v


def _highest_along(axis: AxisPolynomials, coefficients: Array, at: Array) -> Array:
    """(m,) places along one axis where terms with coefficients (m, 5) are highest, near places `at` inside a cell."""
    if axis.side != INSIDE:
        return np.asarray(axis.side * (0.5 - _inward(coefficients)))
    slope, bend = (
        ((powers_of(at) @ part) * coefficients).sum(axis=1) for part in (_DERIVATIVE, _DERIVATIVE @ _DERIVATIVE)
    )
    newton = np.clip(at - slope / np.minimum(bend, -1e-300), axis.ends[:, 0], axis.ends[:, 1])
    value = [(powers_of(place) * coefficients).sum(axis=1) for place in (at, newton)]
    return np.where(value[1] > value[0], newton, at)


def _only(values: Array, axis: int) -> Array:
    """(m, 5, 5) coefficients of what is the same all along an axis, where `values` have length 1."""
    whole = np.zeros((len(values), POINTS, POINTS))
    whole[(slice(None),) * axis + (slice(0, 1),)] = values
    return whole


def _inward(coefficients: Array) -> Array:
    """(m,) distances from an edge, up to the centre of the cell, at which terms with coefficients (m, 5) are highest.

    Best of distances that are halved again and again, then Newton for the logarithm of the distance.
    """
    tries = np.concatenate([[0.0], NEAREST])
    s = tries[(coefficients @ jump_terms(tries).T).argmax(axis=1)]
    low, high = 0.5 * s, np.minimum(2.0 * s, NEAREST[0])
    inside = s > 0.0
    for _ in range(NEWTON_STEPS):
        _, linear, square, log = coefficients[inside, :4].T
        slope = linear + 2.0 * square * s[inside] + log * (1.0 + np.log(s[inside]))
        bend = np.minimum(2.0 * square * s[inside] + log, -1e-300)
        s[inside] *= np.exp(np.clip(-slope / bend, -1.0, 1.0))
        s = np.clip(s, low, high)
    return np.asarray(s)


def _highest(coefficients: Array, ends_x: Array, ends_y: Array) -> tuple[Array, Array, Array]:
    """Highest value (m,) of polynomials (m, 5, 5) between their ends, and its places: best of a raster, then Newton."""
    rows, tries = np.arange(len(coefficients)), np.linspace(0.0, 1.0, TRIES)
    u, v = (ends[:, :1] + tries * (ends[:, 1:] - ends[:, :1]) for ends in (ends_x, ends_y))
    first, second = (powers_of(places.ravel()).reshape(-1, TRIES, POINTS) for places in (u, v))
    best = (first @ coefficients @ second.transpose(0, 2, 1)).reshape(len(rows), -1).argmax(axis=1)
    u, v = u[rows, best // TRIES], v[rows, best % TRIES]
    # Value, both slopes, both bends and the twist, as polynomials.
    of_u, of_v = _DERIVATIVE @ coefficients, coefficients @ _DERIVATIVE.T
    all_six = np.stack([coefficients, of_u, of_v, _DERIVATIVE @ of_u, of_v @ _DERIVATIVE.T, of_u @ _DERIVATIVE.T])

    def at(u: Array, v: Array) -> Array:
        return np.asarray(((powers_of(u)[None, :, None, :] @ all_six)[:, :, 0] * powers_of(v)).sum(axis=2))

    here = at(u, v)
    for _ in range(NEWTON_STEPS):
        _, slope_u, slope_v, bend_u, bend_v, twist = here
        free_u, free_v = (
            (bend < 0.0) & ((slope < 0.0) & (place > ends[:, 0]) | (slope > 0.0) & (place < ends[:, 1]))
            for slope, bend, place, ends in ((slope_u, bend_u, u, ends_x), (slope_v, bend_v, v, ends_y))
        )
        determinant = bend_u * bend_v - twist**2
        both = free_u & free_v & (determinant > 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            step_u = np.where(both, (twist * slope_v - bend_v * slope_u) / determinant, -slope_u / bend_u)
            step_v = np.where(both, (twist * slope_u - bend_u * slope_v) / determinant, -slope_v / bend_v)
        new_u = np.clip(u + np.where(free_u, step_u, 0.0), ends_x[:, 0], ends_x[:, 1])
        new_v = np.clip(v + np.where(free_v, step_v, 0.0), ends_y[:, 0], ends_y[:, 1])
        there = at(new_u, new_v)
        better = (there[0] >= here[0]) & ((new_u != u) | (new_v != v))
        if not better.any():
            break
        here, u, v = np.where(better, there, here), np.where(better, new_u, u), np.where(better, new_v, v)
    return here[0], u, v

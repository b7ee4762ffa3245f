"""Rectilinear grids that stand on every outline of a stack and are finer where heat turns.

Along one axis the wanted cell width at a place is

    h(s) = finest + growth * d(s),       d(s) the distance to the nearest line where heat turns [m],

and the number of cells between two outlines is the integral of ds / h(s), rounded once. Rounding would leave cells of
different width on the two sides of a line, and with them an error of first order where heat jumps, since the slope
there bends as x ln|x|. So both sides of a line get the smaller of their two widths, and within each segment the growth
is chosen such that the integral is that whole number. Faces lie at equal steps of the integral, so a grid with
`multiplier` times as many cells in every segment is the same mapping sampled more finely: grids of one plan form a
family of fixed topology and known ratio, which is what a mesh-convergence study needs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Cells of a segment over those of the plan, grid by grid. Ratios fall from 2 to 4/3, never below the 1.3 that a mesh
# study needs.
MULTIPLIERS = (1, 2, 3, 4, 6, 8, 12, 16)
# Least width in the middle of a segment, over the widths at its ends, where its count of cells was rounded up far.
NARROWEST = 0.35
FOLLOWS = 0.3  # Beside a sliver, a segment keeps at least this share of its own width: it need not follow the sliver's.
# Growth per distance where one side of a line forces the other to begin much finer than it would.
STEEPEST_GROWTH = 1.2


@dataclass(frozen=True, eq=False)
class Axis:
    """Cells along one axis. faces : (n+1,) [m], rising."""

    faces: Array

    @cached_property
    def centres(self) -> Array:
        """(n,) [m]"""
        return 0.5 * (self.faces[1:] + self.faces[:-1])

    @cached_property
    def widths(self) -> Array:
        """(n,) [m]"""
        return np.diff(self.faces)

    @property
    def cells(self) -> int:
        """How many cells."""
        return len(self.faces) - 1

    def face_at(self, place_m: float) -> int:
        """Index of the face that stands at a place [m]; the plan puts one on every outline."""
        return int(np.argmin(np.abs(self.faces - place_m)))

    def span(self, low_m: float, high_m: float) -> slice:
        """The cells between two outlines [m]."""
        return slice(self.face_at(low_m), self.face_at(high_m))


@dataclass(frozen=True)
class Grid:
    """A rectilinear grid; arrays over its cells have shape (nx, ny, nz), z fastest."""

    x: Axis
    y: Axis
    z: Axis

    @property
    def shape(self) -> tuple[int, int, int]:
        """Cells along x, y and z."""
        return self.x.cells, self.y.cells, self.z.cells

    @property
    def axes(self) -> tuple[Axis, Axis, Axis]:
        """Along x, y and z."""
        return self.x, self.y, self.z

    @property
    def cells(self) -> int:
        """How many cells, voids counted too."""
        return self.x.cells * self.y.cells * self.z.cells

    def face_area(self, axis: int) -> Array:
        """Area [m2] of the faces across an axis, shaped to broadcast over a plane of cells; not to be written to."""
        return self._face_areas[axis]

    @cached_property
    def _face_areas(self) -> tuple[Array, ...]:
        x, y, z = (along.widths for along in self.axes)
        return y[:, None] * z[None, :], x[:, None] * z[None, :], x[:, None] * y[None, :]


class PlannedAxis:
    """Where faces stand along one axis, at any multiplier: outlines, and so many cells between two of them.

    lines : (n+1,) outlines [m]
    whole : (n,) bool, segments that are one cell at every multiplier
    """

    lines: Array
    whole: NDArray[np.bool_]

    def cells_between(self, multiplier: int) -> NDArray[np.int64]:
        """(n,) cells in each segment."""
        raise NotImplementedError

    def inner_faces(self, segment: int, count: int) -> Array:
        """(count-1,) faces [m] between the outlines of one segment, where it has so many cells."""
        raise NotImplementedError

    def cells(self, multiplier: int) -> int:
        """The number of cells along the axis on one grid of the family."""
        return int(self.cells_between(multiplier).sum())

    def axis(self, multiplier: int) -> Axis:
        """The faces of all cells [m] along the axis on one grid of the family."""
        if multiplier not in self._made:
            faces = [self.lines[:1]]
            for segment, count in enumerate(self.cells_between(multiplier).tolist()):
                faces.append(self.inner_faces(segment, count))
                faces.append(self.lines[segment + 1 : segment + 2])
            self._made[multiplier] = Axis(np.concatenate(faces))
        return self._made[multiplier]

    @cached_property
    def _made(self) -> dict[int, Axis]:
        """Axes that were asked for before: studies ask for the same ones thousands of times."""
        return {}


@dataclass(frozen=True, eq=False)
class AxisPlan(PlannedAxis):
    """Where faces stand along one axis, at any multiplier.

    lines : (n+1,) outlines [m]
    distance : (n+1,) from each outline to the nearest line where heat turns [m]
    counts : (n,) cells between outlines at multiplier 1
    finest : [m] cell width wanted where heat turns
    growth : [m/m] how much wider per distance
    whole : (n,) bool, segments that are one cell at every multiplier
    """

    lines: Array
    distance: Array
    counts: NDArray[np.int64]
    finest: float
    growth: float
    whole: NDArray[np.bool_]

    def cells_between(self, multiplier: int) -> NDArray[np.int64]:
        """(segments,) cells between each two lines."""
        return np.where(self.whole, 1, self.counts * multiplier)

    @cached_property
    def segments(self) -> tuple[Segment, ...]:
        """The stretches between outlines, alike on both sides of each line, with the growth that makes counts exact."""
        wanted = _wanted(self.lines, self.distance, self.finest, self.growth)
        squeezed = [segment.steps() / count for segment, count in zip(wanted, self.counts, strict=True)]
        low_ends = [share * segment.low_width for segment, share in zip(wanted, squeezed, strict=True)]
        high_ends = [share * segment.high_width for segment, share in zip(wanted, squeezed, strict=True)]
        for number in range(1, len(wanted)):
            narrower = min(high_ends[number - 1], low_ends[number])
            high_ends[number - 1] = max(narrower, FOLLOWS * high_ends[number - 1])
            low_ends[number] = max(narrower, FOLLOWS * low_ends[number])
        return tuple(
            _grown(replace(segment, low_width=low, high_width=high), int(count))
            for segment, low, high, count in zip(wanted, low_ends, high_ends, self.counts, strict=True)
        )

    def inner_faces(self, segment: int, count: int) -> Array:
        """(count - 1,) faces [m] inside a segment of so many cells."""
        return np.asarray(self.lines[segment] + self.segments[segment].inner_faces(count))


@dataclass(frozen=True)
class Segment:
    """A stretch between two outlines: lengths [m] and end widths [m] of its low and high leg, and their growth."""

    low: float
    high: float
    low_width: float
    high_width: float
    growth: float

    def steps(self) -> float:
        """Integral of ds / h over the stretch."""
        return _steps(self.low, self.low_width, self.growth) + _steps(self.high, self.high_width, self.growth)

    def inner_faces(self, count: int) -> Array:
        """(count-1,) faces [m] from the low end, at equal steps of the integral of ds / h."""
        low_steps, whole = _steps(self.low, self.low_width, self.growth), self.steps()
        step = np.arange(1, count) / count * whole
        from_low = _reach(step, self.low_width, self.growth)
        from_high = self.low + self.high - _reach(whole - step, self.high_width, self.growth)
        return np.where(step <= low_steps, from_low, from_high)


@dataclass(frozen=True)
class GridPlan:
    """One family of similar grids. multipliers : those of the grids that a study climbs, coarsest first"""

    x: PlannedAxis
    y: PlannedAxis
    z: PlannedAxis
    multipliers: tuple[int, ...] = MULTIPLIERS

    def cells(self, multiplier: int) -> int:
        """How many cells a grid of so many times the cells along each axis has."""
        return self.x.cells(multiplier) * self.y.cells(1 if self.is_slice else multiplier) * self.z.cells(multiplier)

    @property
    def is_slice(self) -> bool:
        """A slice has one cell across its depth, at every multiplier."""
        return bool(self.y.whole.all())

    def grid(self, multiplier: int) -> Grid:
        """The grid with so many times the cells along each axis; a slice stays one cell deep."""
        across = 1 if self.is_slice else multiplier
        return Grid(self.x.axis(multiplier), self.y.axis(across), self.z.axis(multiplier))


def merge_lines(places_m: Array, tolerance_m: float = 1e-9) -> Array:
    """Rising outlines [m] without those that differ by rounding only."""
    rising = np.sort(np.asarray(places_m, dtype=np.float64))
    keep = np.concatenate([[True], np.diff(rising) > tolerance_m])
    return np.asarray(rising[keep])


def plan_axis(lines_m: Array, hot_m: Array, finest: float, growth: float, sliver: float = 0.0) -> AxisPlan:
    """Plan one axis: outlines, the lines among them where heat turns, and the wanted cell width there [m].

    sliver : a segment shorter than this share of the width wanted there stays one cell: two outlines that all but
        coincide need no finer cells between them, and such cells would be hard on the solver
    """
    lines = merge_lines(lines_m)
    hot = np.asarray(hot_m, dtype=np.float64)
    distance = np.abs(lines[:, None] - hot[None, :]).min(axis=1) if hot.size else np.zeros(len(lines))
    if not hot.size:
        growth = 0.0
    wanted = np.array([segment.steps() for segment in _wanted(lines, distance, finest, growth)])
    # A little more than half rounds up, so that mirrored stacks get mirrored counts in spite of round-off.
    counts = np.maximum(1, np.floor(wanted + 0.5 + 1e-6)).astype(np.int64)
    return AxisPlan(lines, distance, counts, finest, growth, wanted < sliver)


def single_cell(low_m: float, high_m: float) -> AxisPlan:
    """The depth of a slice: one cell, never refined."""
    ends, one = np.array([low_m, high_m]), np.ones(1, dtype=np.int64)
    return AxisPlan(ends, np.zeros(2), one, high_m - low_m, 0.0, one > 0)


def _legs(length: float, near: float, far: float) -> tuple[float, float]:
    """Split a segment at the place farthest from heat: lengths [m] that belong to its low and its high end."""
    low = min(max(0.5 * (length + far - near), 0.0), length)
    return low, length - low


def _wanted(lines: Array, distance: Array, finest: float, growth: float) -> list[Segment]:
    """The segments as h(s) wants them, before counts are whole."""
    ends = (finest + growth * distance).tolist()
    return [
        Segment(*_legs(high - low, near, far), at_low, at_high, growth)
        for low, high, near, far, at_low, at_high in zip(
            lines[:-1], lines[1:], distance[:-1], distance[1:], ends[:-1], ends[1:], strict=True
        )
    ]


def _grown(segment: Segment, count: int) -> Segment:
    """The segment with the growth that makes its integral `count`; beyond the limits all its widths scale instead."""
    legs = ((segment.low, segment.low_width), (segment.high, segment.high_width))
    low = -(1.0 - NARROWEST) * min(width / leg for leg, width in legs if leg > 0.0)
    high = STEEPEST_GROWTH
    for _ in range(60):
        middle = 0.5 * (low + high)
        if replace(segment, growth=middle).steps() > count:
            low = middle
        else:
            high = middle
    return replace(segment, growth=high)


def _steps(leg: float, width: float, growth: float) -> float:
    """Integral of ds / (width + growth s) from 0 to leg."""
    bend = growth * leg / width
    return leg / width if bend == 0.0 else leg / width * float(np.log1p(bend)) / bend


def _reach(steps: Array, width: float, growth: float) -> Array:
    """How far [m] so many steps lead from the end of a leg: the inverse of `_steps`."""
    return width * steps if growth == 0.0 else np.asarray(width * np.expm1(growth * steps) / growth)

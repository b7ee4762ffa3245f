"""Rectilinear grids that stand on every outline of a stack and are finer where heat turns.

Along one axis the wanted cell width at a place is

    h(s) = finest + growth * d(s),       d(s) the distance to the nearest line where heat turns [m],

and the number of cells between two outlines is the integral of ds / h(s), rounded up once. Within a
segment faces lie at equal steps of that integral, so a grid with `multiplier` times as many cells in
every segment is the same mapping sampled more finely: grids of one plan form a family of fixed
topology and known ratio, which is what a mesh-convergence study needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
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
        return self.x.cells, self.y.cells, self.z.cells

    @property
    def axes(self) -> tuple[Axis, Axis, Axis]:
        return self.x, self.y, self.z

    @property
    def cells(self) -> int:
        return self.x.cells * self.y.cells * self.z.cells

    def face_area(self, axis: int) -> Array:
        """Area [m2] of the faces across an axis, shaped to broadcast over a plane of cells."""
        first, second = (self.axes[other].widths for other in range(3) if other != axis)
        return first[:, None] * second[None, :]


@dataclass(frozen=True)
class AxisPlan:
    """Where faces stand along one axis, at any multiplier.

    lines : (n+1,) outlines [m]
    distance : (n+1,) from each outline to the nearest line where heat turns [m]
    counts : (n,) cells between outlines at multiplier 1
    finest : [m] cell width wanted where heat turns
    growth : [m/m] how much wider per distance
    """

    lines: Array
    distance: Array
    counts: NDArray[np.int64]
    finest: float
    growth: float

    def cells(self, multiplier: int) -> int:
        return int(self.counts.sum()) * multiplier

    def axis(self, multiplier: int) -> Axis:
        faces = [self.lines[:1]]
        for segment, count in enumerate(self.counts):
            low, high = self.lines[segment], self.lines[segment + 1]
            inner = _equal_steps(
                high - low,
                self.distance[segment],
                self.distance[segment + 1],
                self.finest,
                self.growth,
                int(count) * multiplier,
            )
            faces.append(low + inner)
            faces.append(np.array([high]))
        return Axis(np.concatenate(faces))


@dataclass(frozen=True)
class GridPlan:
    """One family of similar grids."""

    x: AxisPlan
    y: AxisPlan
    z: AxisPlan

    def cells(self, multiplier: int) -> int:
        return self.x.cells(multiplier) * self.y.cells(1 if self.is_slice else multiplier) * self.z.cells(multiplier)

    @property
    def is_slice(self) -> bool:
        """A slice has one cell across its depth, at every multiplier."""
        return bool(self.y.finest == 0.0)

    def grid(self, multiplier: int) -> Grid:
        across = 1 if self.is_slice else multiplier
        return Grid(self.x.axis(multiplier), self.y.axis(across), self.z.axis(multiplier))


def merge_lines(places_m: Array, tolerance_m: float = 1e-9) -> Array:
    """Rising outlines [m] without those that differ by rounding only."""
    rising = np.sort(np.asarray(places_m, dtype=np.float64))
    keep = np.concatenate([[True], np.diff(rising) > tolerance_m])
    return np.asarray(rising[keep])


def plan_axis(lines_m: Array, hot_m: Array, finest: float, growth: float, least: int = 1) -> AxisPlan:
    """Plan one axis: outlines, the lines among them where heat turns, and the wanted cell width there [m]."""
    lines = merge_lines(lines_m)
    hot = np.asarray(hot_m, dtype=np.float64)
    distance = np.abs(lines[:, None] - hot[None, :]).min(axis=1) if hot.size else np.zeros(len(lines))
    if not hot.size:
        growth = 0.0
    wanted = [
        _steps(high - low, near, far, finest, growth)
        for low, high, near, far in zip(lines[:-1], lines[1:], distance[:-1], distance[1:], strict=True)
    ]
    counts = np.maximum(least, np.ceil(np.array(wanted) - 1e-9)).astype(np.int64)
    return AxisPlan(lines, distance, counts, finest, growth)


def single_cell(low_m: float, high_m: float) -> AxisPlan:
    """The depth of a slice: one cell, never refined."""
    return AxisPlan(np.array([low_m, high_m]), np.zeros(2), np.ones(1, dtype=np.int64), 0.0, 0.0)


def _legs(length: float, near: float, far: float) -> tuple[float, float]:
    """Split a segment at the place farthest from heat: lengths [m] that belong to its low and its high end."""
    low = min(max(0.5 * (length + far - near), 0.0), length)
    return low, length - low


def _leg_steps(leg: float, start: float, finest: float, growth: float) -> float:
    """Integral of ds / (finest + growth (start + s)) from 0 to leg."""
    base = finest + growth * start
    return leg / base if growth == 0.0 else float(np.log1p(growth * leg / base)) / growth


def _steps(length: float, near: float, far: float, finest: float, growth: float) -> float:
    low, high = _legs(length, near, far)
    return _leg_steps(low, near, finest, growth) + _leg_steps(high, far, finest, growth)


def _equal_steps(length: float, near: float, far: float, finest: float, growth: float, count: int) -> Array:
    """(count-1,) inner faces [m] from the low end, at equal steps of the integral of ds / h."""
    even = np.arange(1, count) / count
    if growth == 0.0:
        return length * even
    low, high = _legs(length, near, far)
    low_steps, high_steps = _leg_steps(low, near, finest, growth), _leg_steps(high, far, finest, growth)
    step = even * (low_steps + high_steps)
    from_low = (finest + growth * near) * np.expm1(growth * step) / growth
    rest = low_steps + high_steps - step
    from_high = length - (finest + growth * far) * np.expm1(growth * rest) / growth
    return np.where(step <= low_steps, from_low, from_high)

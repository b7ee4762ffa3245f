"""Cells of a grid: which lie within an outline of the case, and how they look along an axis."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

from thermsim.case.geometry.places import Box
from thermsim.model.grid.axes import Grid
from thermsim.units import MM

AXIS_FIRST = (0, 1, 2), (1, 0, 2), (2, 0, 1)


def plan_slices(grid: Grid, box: Box) -> tuple[slice, slice]:
    """The cells under a rectangle in stack coordinates [mm]."""
    x0, y0, x1, y1 = (MM * edge for edge in box)
    return grid.x.span(x0, x1), grid.y.span(y0, y1)


def level_slice(grid: Grid, low_mm: float, high_mm: float) -> slice:
    """The levels of cells between two heights [mm]."""
    return grid.z.span(MM * low_mm, MM * high_mm)


def as_planes(axis: int, cells: NDArray[Any]) -> NDArray[Any]:
    """A view of (nx, ny, nz) values with an axis in front; numpy's `moveaxis` takes thirty times as long to make it."""
    return cells.transpose(AXIS_FIRST[axis])

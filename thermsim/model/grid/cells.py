"""Which cells of a grid lie within an outline of the case."""

from __future__ import annotations

from thermsim.case.geometry.places import Box
from thermsim.model.grid.axes import Grid
from thermsim.units import MM


def plan_slices(grid: Grid, box: Box) -> tuple[slice, slice]:
    """The cells under a rectangle in stack coordinates [mm]."""
    x0, y0, x1, y1 = (MM * edge for edge in box)
    return grid.x.span(x0, x1), grid.y.span(y0, y1)


def level_slice(grid: Grid, low_mm: float, high_mm: float) -> slice:
    """The levels of cells between two heights [mm]."""
    return grid.z.span(MM * low_mm, MM * high_mm)

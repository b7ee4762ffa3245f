"""Case -> GridPlan: which outlines there are, where heat turns, and how a budget of cells is spent."""

from __future__ import annotations

import numpy as np

from thermsim.case.geometry.places import part_box, zone_box
from thermsim.case.vocabulary.schema import Case
from thermsim.model.grid.axes import MULTIPLIERS as MULTIPLIERS
from thermsim.model.grid.axes import GridPlan, merge_lines, plan_axis, single_cell
from thermsim.model.grid.outline_lines import outlines
from thermsim.model.physics.properties import material_of
from thermsim.units import GIGABYTE, MM

# Growth of the width per distance from where heat is made: neighbouring cells then differ by less than a third.
GROWTH = 0.4
# Where the number of cells allows widths below this share of the scale, growth falls with the width, so that the grid
# is refined throughout. Otherwise the edges of a slice would get cells of nanometres, and its inside none.
FINE_ENOUGH = 0.04
FLATNESS = 0.5  # Height over width of cells where heat is made, in an isotropic part.
# Share of the wanted width below which a segment in plan is a sliver; in height every thin layer is real, and the
# solver takes columns of cells as a whole.
SLIVER = 0.03
TYPICAL_C = 60.0  # [C] at which conductivities are compared
# Cells of the first grid of a study. Coarser grids are too far from the asymptotic range to judge by.
FIRST_GRID_CELLS = 8_000
FIRST_MULTIPLIER = MULTIPLIERS[0]
# What a study may use unless told otherwise [GB], and what a cell of model and solver together takes [byte].
MEMORY_GB = 4.0
BYTES_PER_CELL = 260


def needed_GB(cells: float) -> float:
    """Memory that a grid of so many cells takes with its solver [GB], about."""
    return cells * BYTES_PER_CELL / GIGABYTE


def plan_grid(case: Case, cells: int = FIRST_GRID_CELLS, growth: float = GROWTH) -> GridPlan:
    """The family of grids for a case; at `FIRST_MULTIPLIER` it has about `cells` cells.

    growth : of widths with the distance from where heat turns; 0 makes them alike throughout

    One number, found by bisection, sets the wanted width where heat turns: in plan it is that share of the
    shorter side of the smallest zone (or of the narrowest stretch, without heat); in height FLATNESS times as much,
    and less again where a heated part conducts worse upwards than sideways.
    """
    lines = [
        (np.array([line.place for line in axis]), np.array([line.place for line in axis if line.hot]))
        for axis in outlines(case)
    ]
    scale = _plan_scale(case)
    flatness = FLATNESS * _upward_ratio(case)

    def plan(width: float) -> GridPlan:
        finest = (width * scale, width * scale, width * scale * flatness)
        axes = [
            plan_axis(places, hot, size, growth * min(1.0, width / FINE_ENOUGH), sliver)
            for (places, hot), size, sliver in zip(lines, finest, (SLIVER, SLIVER, 0.0), strict=True)
        ]
        if case.dimensions == 2:
            axes[1] = single_cell(axes[1].lines[0], axes[1].lines[-1])
        return GridPlan(axes[0], axes[1], axes[2])

    coarse, fine = 3.0, 1e-5  # fine enough for a slice whose thinnest level is a ten thousandth of its width
    for _ in range(32):
        middle = float(np.sqrt(coarse * fine))
        if plan(middle).cells(FIRST_MULTIPLIER) > cells:
            fine = middle
        else:
            coarse = middle
    return plan(coarse)


def _plan_scale(case: Case) -> float:
    """The length [m] that wanted widths are measured in: the shorter side of the smallest zone.

    Without heat: the narrowest stretch between two outlines in plan.
    """
    parts = {part.part: part for part in case.parts}
    boxes = [zone_box(case, parts[heat.in_], zone) for heat in case.heat for zone in heat.zones]
    boxes = boxes or [part_box(case, parts[heat.in_]) for heat in case.heat]
    if not boxes:
        in_plan = outlines(case)[: 2 if case.dimensions == 3 else 1]
        return float(min(np.diff(merge_lines(np.array([line.place for line in axis]))).min() for axis in in_plan))
    return MM * min(min(box[2] - box[0], box[3] - box[1] if case.dimensions == 3 else np.inf) for box in boxes)


def _upward_ratio(case: Case) -> float:
    """sqrt(k up / k sideways), 1 at most, of the heated part in which it is smallest: heights shrink by it."""
    heated = {heat.in_ for heat in case.heat}
    ratios = [1.0]
    for part in case.parts:
        if part.part in heated:
            along_x, along_y, along_z = (float(law(TYPICAL_C)) for law in material_of(part.material).laws)
            ratios.append(float(np.sqrt(along_z / max(along_x, along_y))))
    return min(ratios)

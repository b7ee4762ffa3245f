"""How many cells a study of a case may take, and about how much memory."""

from __future__ import annotations

from dataclasses import dataclass

from thermsim.case.vocabulary.schema import Case
from thermsim.model.grid.plan import MEMORY_GB, MULTIPLIERS, needed_GB, plan_grid


@dataclass(frozen=True)
class GridForecast:
    """One grid of the family; within_limit: whether a study begins it unless it is allowed more memory."""

    multiplier: int
    cells: int
    memory_GB: float
    within_limit: bool


@dataclass(frozen=True)
class Forecast:
    """The grids that a study may climb, coarsest first; it stops as soon as the mesh doubt is small enough."""

    grids: tuple[GridForecast, ...]
    memory_limit_GB: float


def forecast(case: Case) -> Forecast:
    """Cells and memory of the even grids of a case, without building any of them.

    A prediction with heated zones climbs grids made for them (see `refine`), which are known only when a coarse one has
    been solved: they hold an accuracy with fewer cells, and stay within the same memory.
    """
    plan = plan_grid(case)
    grids = []
    for multiplier in MULTIPLIERS:
        cells = plan.cells(multiplier)
        memory = needed_GB(cells)
        grids.append(GridForecast(multiplier, cells, memory, memory <= MEMORY_GB))
    return Forecast(tuple(grids), MEMORY_GB)

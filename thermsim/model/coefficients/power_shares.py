"""How the watts of zones, and of what no zone covers, are shared out over columns of cells."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import part_box
from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import Model
from thermsim.model.grid.cells import plan_slices

Array = NDArray[np.float64]


def zone_shares(case: Case, model: Model, source: int) -> Array:
    """(zones + sources, nx, ny) share of each column in the watts of each zone, then of what no zone covers.

    Zero for those of other sources than this one.
    """
    area = model.grid.face_area(2)
    shares = np.zeros((len(model.zones) + len(model.sources), *area.shape))
    free = np.ones(area.shape, dtype=bool)
    for number, zone in enumerate(model.zones):
        if zone.source == source:
            here = model.solid_area(zone)
            shares[number, zone.x, zone.y] = here / here.sum()
            free[zone.x, zone.y] = False
    part = next(part for part in case.parts if part.part == model.sources[source].part)
    x, y = plan_slices(model.grid, part_box(case, part))
    rest = np.zeros_like(area)
    rest[x, y] = (area * (free & (model.region[:, :, model.level_of_part[part.part].start] >= 0)))[x, y]
    if rest.any():
        shares[len(model.zones) + source] = rest / rest.sum()
    return shares

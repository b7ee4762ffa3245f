"""Which material fills each cell: bodies of parts, inserts, rims and legs, and what stands around."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import insert_box, levels, part_box
from thermsim.case.geometry.rims_and_legs import beside_stand, stand_boxes, stand_name
from thermsim.case.vocabulary.schema import Case, Part
from thermsim.materials.catalogue import VOID, Material
from thermsim.model.grid.axes import Grid
from thermsim.model.grid.cells import level_slice, plan_slices
from thermsim.model.physics.properties import material_of


@dataclass(frozen=True)
class Region:
    """One material of one part: its body, an insert, its rim or legs, or what stands around it."""

    name: str
    part: str
    material: Material


def regions_of(case: Case, grid: Grid) -> tuple[NDArray[np.int16], list[Region]]:
    """(nx, ny, nz) number of the region of each cell, -1 in a void, and the regions."""
    region = np.full(grid.shape, -1, dtype=np.int16)
    regions: list[Region] = []

    def fill(x: slice, y: slice, z: slice, name: str, part: Part, material: Material | None) -> None:
        if material is not None:
            regions.append(Region(name, part.part, material))
        region[x, y, z] = -1 if material is None else len(regions) - 1

    everywhere = slice(None)
    for low, high, part in levels(case):
        z = level_slice(grid, low, high)
        if part.around is not None and part.around.material.name != VOID:
            fill(everywhere, everywhere, z, f"around {part.part}", part, material_of(part.around.material))
        fill(*plan_slices(grid, part_box(case, part)), z, part.part, part, material_of(part.material))
        for number, insert in enumerate(part.inserts, start=1):
            material = None if insert.material.name == VOID else material_of(insert.material)
            x, y = plan_slices(grid, insert_box(case, part, insert))
            fill(x, y, z, f"{part.part}, insert {number}", part, material)
    heights = {part.part: (low, high) for low, high, part in levels(case)}
    for part in case.parts:
        boxes, between = stand_boxes(case, part), beside_stand(case, part)
        if boxes:
            regions.append(Region(stand_name(part), part.part, material_of(part.material)))
        for box, beside in product(boxes, between):
            region[(*plan_slices(grid, box), level_slice(grid, *heights[beside.part]))] = len(regions) - 1
    return region, regions

"""Which entry of `cooling` acts on which faces of a grid."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import AXIS_OF_FACE, levels, part_box, patch_box
from thermsim.case.geometry.rims_and_legs import beside_stand, stand_boxes
from thermsim.case.vocabulary.schema import Case
from thermsim.model.grid.axes import Grid
from thermsim.model.grid.cells import as_planes, level_slice, plan_slices
from thermsim.units import MM


def _exposed_entries(case: Case, grid: Grid) -> dict[str, NDArray[np.int16]]:
    """For each direction, and each cell (nx, ny, nz), the entry that holds for its faces to voids; -1 for none.

    An entry of a part comes before one of all, and then one of a direction before one of all directions.
    """
    found = [(number, one) for number, one in enumerate(case.cooling) if one.face == "exposed"]
    found.sort(key=lambda pair: (pair[1].of is not None, pair[1].looking is not None))
    made: dict[tuple[int, ...], NDArray[np.int16]] = {}
    entries = {}
    for looks in ("-x", "+x", "-y", "+y", "-z", "+z"):
        acting = tuple(number for number, cooling in found if cooling.looking in (None, looks))
        if acting not in made:
            made[acting] = np.full(grid.shape, -1, dtype=np.int16)
            for number in acting:
                for cells in _cells_of(case, grid, case.cooling[number].of):
                    made[acting][cells] = number
        entries[looks] = made[acting]
    return entries


def _cells_of(case: Case, grid: Grid, name: str | None) -> list[tuple[slice, ...]]:
    """Boxes of the cells of a part, its rim or legs among them; all cells without a name."""
    if name is None:
        return [(slice(None),) * 3]
    height = {part.part: level_slice(grid, low, high) for low, high, part in levels(case)}
    part = next(part for part in case.parts if part.part == name)
    under = product(stand_boxes(case, part), beside_stand(case, part))
    boxes = [(part_box(case, part), part), *under]
    return [(*plan_slices(grid, box), height[level.part]) for box, level in boxes]


def cooling_faces(
    case: Case, grid: Grid, solid: NDArray[np.bool_]
) -> tuple[NDArray[np.int16], NDArray[np.int16], NDArray[np.int16]]:
    """For each axis, index of the entry that acts on every face across it (one face more than cells); -1 for none."""
    exposed = _exposed_entries(case, grid)
    faces = []
    for axis in range(3):
        shape = [n + (other == axis) for other, n in enumerate(grid.shape)]
        entry = np.full(shape, -1, dtype=np.int16)
        of = np.moveaxis(entry, axis, 0)
        solid_of = np.moveaxis(solid, axis, 0)
        down, up = (np.moveaxis(exposed[f"{sign}{'xyz'[axis]}"], axis, 0) for sign in "-+")
        looks_up, looks_down = solid_of[:-1] & ~solid_of[1:], solid_of[1:] & ~solid_of[:-1]
        of[1:-1][looks_up] = up[:-1][looks_up]
        of[1:-1][looks_down] = down[1:][looks_down]
        faces.append(entry)
    # An entry without a patch fills what the patches of its face leave free, so patches come last.
    order = sorted(range(len(case.cooling)), key=lambda number: patch_box(case, case.cooling[number]) is not None)
    for number in order:
        cooling = case.cooling[number]
        if cooling.face == "exposed":
            continue
        axis, end = AXIS_OF_FACE[cooling.face]
        plane = np.moveaxis(faces[axis], axis, 0)[end]
        touching = np.moveaxis(solid, axis, 0)[end]
        first = second = slice(None)
        box = patch_box(case, cooling)
        if box is not None:
            across = [grid.axes[other] for other in range(3) if other != axis]
            first, second = across[0].span(MM * box[0], MM * box[2]), across[1].span(MM * box[1], MM * box[3])
        plane[first, second][touching[first, second]] = number
    return faces[0], faces[1], faces[2]


def cooled_areas(
    grid: Grid, cooling_face: tuple[NDArray[np.int16], NDArray[np.int16], NDArray[np.int16]], count: int
) -> NDArray[np.float64]:
    """(count, 1 + levels) area [m2] that each of so many entries acts on, in plan, then upright at each level of cells.

    cooling_face : as `cooling_faces` gives it
    """
    found = np.zeros((count, 1 + grid.z.cells))
    for axis, of in enumerate(cooling_face):
        planes, area = as_planes(axis, of), grid.face_area(axis)
        for face in np.flatnonzero((planes >= 0).any(axis=(1, 2))).tolist():
            entry, here = planes[face], planes[face] >= 0
            # A plane across x or y has the levels along its second axis.
            column = np.zeros(entry.shape, dtype=np.int64) if axis == 2 else 1 + np.indices(entry.shape)[1]
            np.add.at(found, (entry[here], column[here]), area[here])
    return found

"""What figures show of a prediction, as plain arrays in mm: a face in plan, and a section.

Sheets are of the finest grid; temperatures that are written beside them are the told ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import Box, insert_box, levels, part_box, stack_box, zone_box
from thermsim.case.geometry.zones import zones_of
from thermsim.case.vocabulary.schema import Case, Part
from thermsim.mesh.convergence import Doubt
from thermsim.readout.faces import Place
from thermsim.readout.field import Field
from thermsim.readout.ladder import hottest_zone
from thermsim.readout.observable import HOTTEST, Answers, Observable, of_zone
from thermsim.report.data.result import cells_at, part_at
from thermsim.units import MM

if TYPE_CHECKING:
    from thermsim.mesh.prediction import Prediction

Array = NDArray[np.float64]

EVEN_K = 1e-6  # [K] spread of temperature that is shown as even: round-off and the error of the solver


@dataclass(frozen=True, eq=False)
class Sheet:
    """Temperatures (n, m) [C] at points x (n,), y (m,) [mm]; its rim lies on the outline it fills."""

    x: Array
    y: Array
    temperature: Array


@dataclass(frozen=True)
class ZoneMark:
    """A zone on a face: outline from the part's lower left [mm] and mean temperature [C]."""

    zone: str
    box: Box
    mean_C: float


@dataclass(frozen=True)
class FaceView:
    """A face of a part in plan, from its lower left.

    what : `bottom face of die`, or the height it is cut at
    spot : hottest place of the face (x, y) [mm]; spot_C : temperature there
    is_hottest : nothing in the stack is hotter
    voids : outlines in it that hold nothing
    """

    part: str
    what: str
    sheet: Sheet
    zones: tuple[ZoneMark, ...]
    voids: tuple[Box, ...]
    spot: tuple[float, float]
    spot_C: float
    is_hottest: bool

    def is_even(self, doubt: Doubt | None) -> bool:
        """Whether it differs from place to place by less than the mesh doubt, so that no place is the hottest."""
        within = doubt.half_width if doubt is not None and isfinite(doubt.half_width) else 0.0
        values = self.sheet.temperature
        return float(np.nanmax(values) - np.nanmin(values)) <= max(within, EVEN_K)


@dataclass(frozen=True)
class Band:
    """A part or a joint in a section: name, outline (x0, z0, x1, z1) [mm]; a joint has no height."""

    name: str
    box: Box
    is_joint: bool


@dataclass(frozen=True)
class SectionView:
    """The x-z plane at y_mm (stack coordinates): one sheet for each body that it cuts."""

    y_mm: float
    sheets: tuple[Sheet, ...]
    bands: tuple[Band, ...]
    spot: tuple[float, float]
    spot_C: float


def face_view(prediction: Prediction) -> FaceView:
    """The face of the hottest zone; without heat, the plane through the hottest spot."""
    case, field, told = prediction.case, prediction.field, prediction.answers
    hottest, place = field.hottest
    zone = hottest_zone(field)
    name = part_at(field, place) if zone is None else zone.part
    part = next(part for part in case.parts if part.part == name)
    level = field.model.level_of_part[name]
    height = place[2] if zone is None else zone.highest_at[2]
    plane, what = _plane(field, name, level, height)
    corner = part_box(case, part)
    grid = field.model.grid
    x0, y0, x1, y1 = (MM * edge for edge in corner)
    across, along = grid.x.span(x0, x1), grid.y.span(y0, y1)
    sheet = _sheet(grid.x.faces, grid.y.faces, plane, across, along, (corner[0], corner[1]))
    spot, spot_C, question = _spot(field, name, height, sheet, corner)
    is_hottest = spot_C >= hottest - 1e-9
    spot_C = told[HOTTEST] if is_hottest else spot_C if question is None else told[question]
    zones = tuple(_zone_marks(case, told, part, "" if zone is None else zone.at))
    voids = tuple(
        _from(corner, insert_box(case, part, insert)) for insert in part.inserts if insert.material.name == "void"
    )
    return FaceView(name, what, sheet, zones, voids, spot, spot_C, is_hottest)


def section_view(prediction: Prediction) -> SectionView:
    """The section through the hottest spot, in the coordinates of the stack."""
    case, field = prediction.case, prediction.field
    hottest, place = prediction.answers[HOTTEST], field.hottest[1]
    grid = field.model.grid
    # On the edge of a part two rows touch the spot: the one that it belongs to is the hotter.
    row = max(cells_at(grid.y.faces, place[1]), key=lambda row: float(np.nanmax(field.temperature[:, row])))
    sheets: list[Sheet] = []
    for level in field.model.level_of_part.values():
        sheets += _sheets_of_level(field, level, row)
    y_mm = place[1] / MM
    return SectionView(y_mm, tuple(sheets), tuple(_bands(case, field, row)), (place[0] / MM, place[2] / MM), hottest)


def _plane(field: Field, name: str, level: slice, height: float) -> tuple[Array, str]:
    """Temperatures (nx, ny) of a part at a height [m]: of its bottom or top face, or of the cells there."""
    faces = field.model.grid.z.faces
    tolerance = 1e-9 * float(faces[-1] - faces[0])
    if abs(height - faces[level.start]) < tolerance:
        return field.z_nodes(level.start)[1], f"bottom face of {name}"
    if abs(height - faces[level.stop]) < tolerance:
        return field.z_nodes(level.stop)[0], f"top face of {name}"
    layer = int(np.clip(np.searchsorted(faces, height) - 1, level.start, level.stop - 1))
    above = (field.model.grid.z.centres[layer] - faces[level.start]) / MM
    return field.temperature[:, :, layer], f"{name}, {above:.2g} mm above its underside"


def _sheet(
    x_faces: Array, y_faces: Array, values: Array, x: slice, y: slice, corner_mm: tuple[float, float] = (0.0, 0.0)
) -> Sheet:
    """Cells of a rectangle, with the rim that its outer half cells leave open filled up from the nearest cell."""
    return Sheet(
        _with_rim(x_faces, x) / MM - corner_mm[0],
        _with_rim(y_faces, y) / MM - corner_mm[1],
        np.pad(values[x, y], 1, mode="edge"),
    )


def _with_rim(faces: Array, cells: slice) -> Array:
    own = faces[cells.start : cells.stop + 1]
    return np.concatenate([own[:1], 0.5 * (own[1:] + own[:-1]), own[-1:]])


def _spot(
    field: Field, part: str, height: float, sheet: Sheet, corner: Box
) -> tuple[tuple[float, float], float, Observable | None]:
    """Where the face is hottest: as the field says where it can, else the hottest point of the sheet.

    With it its temperature on the finest grid, and the answer that it is.
    """
    candidates: list[tuple[float, Place, Observable]] = [
        (zone.highest_C, zone.highest_at, of_zone(zone, "highest")) for zone in field.zones if zone.part == part
    ]
    if part_at(field, field.hottest[1]) == part:
        candidates.append((*field.hottest, HOTTEST))
    tolerance = 1e-9 * float(field.model.grid.z.faces[-1])
    here = [one for one in candidates if abs(one[1][2] - height) <= tolerance]
    if here:
        value, at, question = max(here, key=lambda one: one[0])
        return (at[0] / MM - corner[0], at[1] / MM - corner[1]), value, question
    i, j = np.unravel_index(int(np.nanargmax(sheet.temperature)), sheet.temperature.shape)
    return (float(sheet.x[i]), float(sheet.y[j])), float(sheet.temperature[i, j]), None


def _zone_marks(case: Case, told: Answers[float], part: Part, at: str) -> list[ZoneMark]:
    return [
        ZoneMark(zone.zone, _from(part_box(case, part), zone_box(case, part, zone.given)), told[of_zone(zone, "mean")])
        for zone in zones_of(case)
        if (zone.part, zone.at) == (part.part, at) and case.heat[zone.heat].zones
    ]


def _from(corner: Box, box: Box) -> Box:
    return box[0] - corner[0], box[1] - corner[1], box[2] - corner[0], box[3] - corner[1]


def _sheets_of_level(field: Field, level: slice, row: int) -> list[Sheet]:
    """One sheet for each run of one material along x, from its lower to its upper face: a joint is a jump between."""
    grid = field.model.grid
    below, above = field.z_nodes(level.start)[1][:, row], field.z_nodes(level.stop)[0][:, row]
    cells = field.temperature[:, row, level]
    region = field.model.region[:, row, level.start]
    turns = np.flatnonzero(np.diff(region)) + 1
    sheets = []
    for start, stop in pairwise([0, *(int(turn) for turn in turns), len(region)]):
        if region[start] < 0:
            continue
        columns = np.column_stack([below[start:stop], cells[start:stop], above[start:stop]])
        z = _with_rim(grid.z.faces, level) / MM
        x = _with_rim(grid.x.faces, slice(start, stop)) / MM
        sheets.append(Sheet(x, z, np.pad(columns, [(1, 1), (0, 0)], mode="edge")))
    return sheets


def _bands(case: Case, field: Field, row: int) -> list[Band]:
    """Parts that the section cuts and the joints between them, from the bottom up."""
    y_mm = field.model.grid.y.centres[row] / MM
    top = {part.part: high for _, high, part in levels(case)}
    bottom = {part.part: low for low, _, part in levels(case)}
    bands: list[Band] = []
    for number, layer in enumerate(case.layers):
        if isinstance(layer, Part):
            box = part_box(case, layer)
            z0, z1 = bottom[layer.part], top[layer.part]
            if layer.around is not None and layer.around.material.name != "void":
                x0, _, x1, _ = stack_box(case)
                bands.append(Band(f"around {layer.part}", (x0, z0, x1, z1), False))
            if box[1] <= y_mm <= box[3]:
                bands.append(Band(layer.part, (box[0], z0, box[2], z1), False))
            continue
        below, above = case.layers[number - 1], case.layers[number + 1]
        assert isinstance(below, Part) and isinstance(above, Part)  # the reader refuses anything else
        first, second = part_box(case, below), part_box(case, above)
        if max(first[1], second[1]) <= y_mm <= min(first[3], second[3]):
            height = top[below.part]
            bands.append(Band(layer.joint, (max(first[0], second[0]), height, min(first[2], second[2]), height), True))
    return bands

"""Planes of faces of a model: the cells beside them, their heated rectangles, and points that lie on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.model.build import Model
from thermsim.model.grid.plan import TYPICAL_C
from thermsim.readout.surface_maximum import SAME_LINE, Box, Plane

Ints = NDArray[np.int64]
Place = tuple[float, float, float]


def plane_of(model: Model, face: int, side: str) -> Plane:
    """The cells under or over a z plane."""
    region = model.region[:, :, face - 1 if side == "lower" else face]
    return Plane(region, (model.grid.x.widths, model.grid.y.widths))


@dataclass(frozen=True)
class FaceSpot:
    """A point of the bottom or top face of a part: weights of the temperatures of a side of a z plane, by cell."""

    face: int
    side: str
    weights: dict[tuple[int, int], float]


def face_spot(model: Model, place: Place, part: str) -> FaceSpot | None:
    """Of a point of the stack [m]; None where it is inside the part, or beside it.

    On a line between cells it is the mean of what they say, on one between materials in the better conductor.
    """
    grid, level = model.grid, model.level_of_part[part]
    same = SAME_LINE * float(grid.z.faces[-1] - grid.z.faces[0])
    for face, side in ((level.start, "upper"), (level.stop, "lower")):
        if abs(float(grid.z.faces[face]) - place[2]) > same:
            continue
        plane = plane_of(model, face, side)
        at = place[0] - float(grid.x.faces[0]), place[1] - float(grid.y.faces[0])
        cells = plane.touching(at)
        conducts = [float(model.regions[plane.region[cell]].material.along_x(TYPICAL_C)) for cell in cells]
        best = [cell for cell, k in zip(cells, conducts, strict=True) if k >= max(conducts) * (1.0 - 1e-12)]
        jumps = _jumps(model, at, face, side)
        weights: dict[tuple[int, int], float] = {}
        for cell in best:
            for one, weight in plane.weights_at(at, cell, jumps).items():
                weights[one] = weights.get(one, 0.0) + weight / len(best)
        return FaceSpot(face, side, weights) if weights else None
    return None


def _jumps(model: Model, place: tuple[float, float], face: int, side: str) -> tuple[Ints, Ints]:
    """Faces of the grid where zones beside a point [m from its corner] end, along x at its y and along y at its x."""
    zones = zone_boxes(model, face, side)
    ends: list[list[int]] = [[], []]
    for axis, (along, at) in enumerate(zip(model.grid.axes[:2], place, strict=True)):
        lines = along.faces - along.faces[0]
        same = SAME_LINE * float(lines[-1])
        for zone in zones:
            if lines[zone[axis].start] - same <= at <= lines[zone[axis].stop] + same:
                ends[1 - axis] += [zone[1 - axis].start, zone[1 - axis].stop]
    return np.array(ends[0], dtype=np.int64), np.array(ends[1], dtype=np.int64)


def zone_boxes(model: Model, face: int, side: str) -> list[Box]:
    """Rectangles of the zones on one side of a plane."""
    return [(zone.x, zone.y) for zone in model.zones if (zone.face, zone.side) == (face, side)]


def heated_boxes(model: Model) -> dict[tuple[int, str], list[Box]]:
    """Rectangles by plane and side: of its zones, then, where heat is made outside them, of all that makes heat."""
    found: dict[tuple[int, str], list[Box]] = {}
    for zone in model.zones:
        if zone.face is not None:
            found.setdefault((zone.face, zone.side), []).append((zone.x, zone.y))
    for source in model.face_sources:
        heated = source.watts > 0.0
        boxes = found.setdefault((source.face, source.side), [])
        outside = heated.copy()
        for box in boxes:
            outside[box] = False
        if outside.any():
            (i0, j0), (i1, j1) = np.argwhere(heated).min(axis=0).tolist(), np.argwhere(heated).max(axis=0).tolist()
            boxes.append((slice(i0, i1 + 1), slice(j0, j1 + 1)))
    return {key: boxes for key, boxes in found.items() if boxes}


def away_from_summits(model: Model, warmed: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(nx, ny, nz) solid cells that may be hotter than any heated face: they touch none, or are warmed elsewhere."""
    found = np.ones(model.grid.shape, dtype=bool)
    for source in model.face_sources:
        found[:, :, max(source.face - 1, 0) : source.face + 1] &= (source.watts <= 0.0)[:, :, None]
    return (found | warmed) & (model.region >= 0)

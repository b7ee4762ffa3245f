"""Answers of a small model, read off as `thermsim.field` reads them off a whole one, for many cases at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.places import probe_point
from thermsim.case.schema import Case, Reading
from thermsim.field import heated_boxes
from thermsim.model.build import ZoneCells
from thermsim.model.groups import Faces, Ints, Numbers, Topology, faces_at
from thermsim.study.answers import HOTTEST, Question, place_of
from thermsim.summit import BESIDE, Box, Plane
from thermsim.units import MM

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Window:
    """A rectangle of a heated face, wider than its heat and zones where the grid goes on.

    regions : (nx, ny) of the cells under and over the face, -1 for none; widths : of its cells [m]
    below, above : (faces, r) basis vectors at the cells on both sides
    zones : name and slices of each zone within the rectangle; boxes : slices of what may hold the hottest spot
    """

    faces: Faces
    upper: bool
    regions: tuple[Ints, Ints]
    widths: tuple[Array, Array]
    below: Array
    above: Array
    zones: tuple[tuple[str, slice, slice], ...]
    boxes: tuple[Box, ...]

    def face(self, numbers: Numbers, base: Numbers, c: Array, reference_C: float) -> Array:
        """(n, nx, ny) temperatures of the heated face [C], NaN where there is none."""
        below, above = (reference_C + c @ rows[:, : c.shape[1]].T for rows in (self.below, self.above))
        node = self.faces.planes(numbers, base, below, above).nodes(below, above)[self.upper]
        region = self.regions[self.upper]
        return np.where(region >= 0, node.reshape(-1, *region.shape), np.nan)

    def highest(self, face: Array) -> list[Array]:
        """Highest temperatures (n,) [C] of each box."""
        plane = Plane(self.regions[self.upper], self.widths)
        return [summit.value for summit in plane.summits(face, self.boxes)]


@dataclass(frozen=True)
class Readout:
    """All that is read off. volumes : rows (r,) of the means of zones that are volumes; probes : rows and rests.

    A probe's temperature is that of its cell and a small rest, fitted to the solved cases over the varied inputs.
    """

    windows: tuple[Window, ...]
    volumes: tuple[tuple[str, Array], ...]
    probes: tuple[tuple[str, Array, Array], ...]
    questions: tuple[Question, ...]
    readings: tuple[Reading, ...]

    def answers(
        self, numbers: Numbers, base: Numbers, c: Array, reference_C: float, features: Array, offsets: dict[str, Array]
    ) -> Array:
        """(n, questions) temperatures [C] for coefficients (n, r)."""
        found: dict[Question, Array] = {}
        hottest: list[Array] = []
        for window in self.windows:
            face = window.face(numbers, base, c, reference_C)
            area = window.widths[0][:, None] * window.widths[1]
            highest = window.highest(face)
            hottest += highest
            for (name, x, y), value in zip(
                window.zones, highest, strict=False
            ):  # else the box is of all that is heated
                share = area[x, y] / area[x, y].sum()
                found["zone", name, "mean"] = np.tensordot(face[:, x, y], share, axes=2)
                found["zone", name, "highest"] = value
        if hottest:
            found[HOTTEST] = np.max(hottest, axis=0)
        for name, row in self.volumes:
            found["zone", name, "mean"] = reference_C + c @ row[: c.shape[1]]
        for name, row, rest in self.probes:
            found["probe", name] = reference_C + c @ row[: c.shape[1]] + features @ rest
        for reading in self.readings:
            if place_of(reading) in found:
                found["reading", reading.reading] = found[place_of(reading)] + offsets[reading.reading]
        return np.array([found[question] for question in self.questions]).T


def offered(base: Topology, probes: set[str]) -> tuple[Question, ...]:
    """What a small model answers, with these probes: no highest temperature where heat is made in a volume."""
    case, model = base.case, base.model
    found: list[Question] = [] if model.volume_sources or not model.face_sources else [HOTTEST]
    for zone in model.zones:
        found.append(("zone", zone.zone, "mean"))
        if zone.face is not None:
            found.append(("zone", zone.zone, "highest"))
    found += [("probe", probe.probe) for probe in case.probes if probe.probe in probes]
    known = set(found)
    return (*found, *(("reading", one.reading) for one in case.readings if place_of(one) in known))


def windows(base: Topology, vectors: Array) -> tuple[Window, ...]:
    """One window for each heated face."""
    found = []
    model = base.model
    for (level, side), boxes in heated_boxes(model).items():
        zones = [zone for zone in model.zones if (zone.face, zone.side) == (level, side)]
        x, y = (_wider(boxes, axis, model.grid.shape[axis]) for axis in (0, 1))
        columns = np.meshgrid(np.arange(x.start, x.stop), np.arange(y.start, y.stop), indexing="ij")
        i, j = (array.ravel() for array in columns)
        faces = faces_at(base, np.full(len(i), 2), np.column_stack([i, j, np.full(len(i), level)]))
        none = np.full((x.stop - x.start, y.stop - y.start), -1)
        regions = [
            model.region[x, y, cells].astype(np.int64) if 0 <= cells < model.grid.shape[2] else none
            for cells in (level - 1, level)
        ]
        found.append(
            Window(
                faces, side == "upper", (regions[0], regions[1]), (model.grid.x.widths[x], model.grid.y.widths[y]),
                vectors[faces.lower.cell], vectors[faces.upper.cell],
                tuple((zone.zone, _within(zone.x, x), _within(zone.y, y)) for zone in zones),
                tuple((_within(box[0], x), _within(box[1], y)) for box in boxes),
            )
        )  # fmt: skip
    return tuple(found)


def volume_means(base: Topology, vectors: Array) -> tuple[tuple[str, Array], ...]:
    """Name and row (r,) of the mean of each zone that is a volume."""
    return tuple((zone.zone, _volume_row(base, zone) @ vectors) for zone in base.model.zones if zone.face is None)


def _volume_row(base: Topology, zone: ZoneCells) -> Array:
    grid = base.model.grid
    row = np.zeros(grid.shape)
    volume = grid.face_area(2)[zone.x, zone.y, None] * grid.z.widths[zone.levels]
    row[zone.x, zone.y, zone.levels] = volume * (base.model.region[zone.x, zone.y, zone.levels] >= 0)
    return np.asarray((row / row.sum()).ravel())


def probe_cells(case: Case, base: Topology) -> list[int]:
    """For each probe, the flat index of a cell of its part that touches it."""
    grid = base.model.grid
    found = []
    for probe in case.probes:
        place = [MM * at for at in probe_point(case, probe)]
        levels = range(*base.model.level_of_part[probe.in_].indices(grid.shape[2]))
        index = [
            int(np.clip(np.searchsorted(axis.faces, at) - 1, 0, axis.cells - 1))
            for axis, at in zip(grid.axes, place, strict=True)
        ]
        index[2] = min(max(index[2], levels.start), levels.stop - 1)
        found.append(int(np.ravel_multi_index(index, grid.shape)))
    return found


def _wider(boxes: list[Box], axis: int, count: int) -> slice:
    """All boxes and, beyond them, the cells that their summits are read off with."""
    low, high = min(box[axis].start for box in boxes), max(box[axis].stop for box in boxes)
    return slice(max(low - BESIDE, 0), min(high + BESIDE, count))


def _within(inner: slice, outer: slice) -> slice:
    return slice(inner.start - outer.start, inner.stop - outer.start)

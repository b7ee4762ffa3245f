"""Answers of a small model, read off as `thermsim.readout.field` reads them off a whole one, for many cases at once."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import probe_point
from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import ZoneCells
from thermsim.model.coefficients.groups import Faces, Ints, Numbers, Topology, faces_at
from thermsim.readout.answers import HOTTEST, Observable, of_probe, of_reading, of_zone, place_of
from thermsim.readout.faces import face_spot, heated_boxes
from thermsim.readout.surface_maximum import BESIDE, Box, Plane
from thermsim.units import MM

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Window:
    """A rectangle of a heated face, wider than its heat and zones where the grid goes on.

    regions : (nx, ny) of the cells under and over the face, -1 for none; widths : of its cells [m]
    below, above : (faces, r) basis vectors at the cells on both sides
    zones : each zone, its slices within the rectangle, and the shares of its faces in its mean
    boxes : slices of what may hold the hottest spot
    """

    faces: Faces
    upper: bool
    regions: tuple[Ints, Ints]
    widths: tuple[Array, Array]
    below: Array
    above: Array
    zones: tuple[tuple[ZoneCells, slice, slice, Array], ...]
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


@dataclass(frozen=True, eq=False)
class Readout:
    """All that is read off. volumes : rows (r,) of the means of zones that are volumes; readings : what sensors sit on

    spots : of probes on faces, see `spots`; probes : rows and rests of those inside parts, whose temperature is that
        of their cell and a small rest, fitted to the solved cases over the varied inputs
    """

    windows: tuple[Window, ...]
    spots: tuple[tuple[str, Window, Array], ...]
    volumes: tuple[tuple[Observable, Array], ...]
    probes: tuple[tuple[str, Array, Array], ...]
    questions: tuple[Observable, ...]
    readings: dict[str, Observable]

    def answers(
        self, numbers: Numbers, base: Numbers, c: Array, reference_C: float, features: Array, offsets: dict[str, Array]
    ) -> Array:
        """(n, questions) temperatures [C] for coefficients (n, r)."""
        found: dict[Observable, Array] = {}
        hottest: list[Array] = []
        for window in self.windows:
            face = window.face(numbers, base, c, reference_C)
            highest = window.highest(face)
            hottest += highest
            # Without zones, the box is of all that is heated.
            for (zone, x, y, shares), value in zip(window.zones, highest, strict=False):
                found[of_zone(zone, "mean")] = np.tensordot(np.nan_to_num(face[:, x, y]), shares, axes=2)
                found[of_zone(zone, "highest")] = value
        if hottest:
            found[HOTTEST] = np.max(hottest, axis=0)
        for of_volume, row in self.volumes:
            found[of_volume] = reference_C + c @ row[: c.shape[1]]
        for name, window, weights in self.spots:
            found[of_probe(name)] = np.tensordot(window.face(numbers, base, c, reference_C), weights, axes=2)
        for name, row, rest in self.probes:
            found[of_probe(name)] = reference_C + c @ row[: c.shape[1]] + features @ rest
        for name, place in self.readings.items():
            found[of_reading(name)] = found[place] + offsets[name]
        return np.array([found[question] for question in self.questions]).T


def offered(base: Topology, probes: Collection[str]) -> tuple[Observable, ...]:
    """What a small model answers, with these probes: no highest temperature where heat is made in a volume."""
    case, model = base.case, base.model
    found: list[Observable] = [] if model.volume_sources or not model.face_sources else [HOTTEST]
    for zone in model.zones:
        found.append(of_zone(zone, "mean"))
        if zone.face is not None:
            found.append(of_zone(zone, "highest"))
    found += [of_probe(probe.probe) for probe in case.probes if probe.probe in probes]
    return (*found, *(of_reading(name) for name in places_read(case, found)))


def places_read(case: Case, known: Collection[Observable]) -> dict[str, Observable]:
    """What sensors sit on, by their names, where it is known."""
    places = {reading.reading: place_of(case, reading) for reading in case.readings}
    return {name: place for name, place in places.items() if place in known}


def windows(base: Topology, vectors: Array) -> tuple[Window, ...]:
    """One window for each heated face."""
    found = []
    for (level, side), boxes in heated_boxes(base.model).items():
        zones = [zone for zone in base.model.zones if (zone.face, zone.side) == (level, side)]
        x, y = (_wider(boxes, axis, base.model.grid.shape[axis]) for axis in (0, 1))
        within = tuple((_within(box[0], x), _within(box[1], y)) for box in boxes)
        named = tuple((zone, _within(zone.x, x), _within(zone.y, y), base.model.shares(zone)) for zone in zones)
        found.append(_window(base, vectors, level, side, (x, y), named, within))
    return tuple(found)


def spots(base: Topology, vectors: Array) -> tuple[tuple[str, Window, Array], ...]:
    """Of each probe on the bottom or top face of its part: name, window, and weights (nx, ny) of its temperatures."""
    found = []
    for probe in base.case.probes:
        x, y, z = probe_point(base.case, probe)
        spot = face_spot(base.model, (MM * x, MM * y, MM * z), probe.in_)
        if spot is None:
            continue
        (i0, j0), (i1, j1) = np.min(list(spot.weights), axis=0).tolist(), np.max(list(spot.weights), axis=0).tolist()
        window = _window(base, vectors, spot.face, spot.side, (slice(i0, i1 + 1), slice(j0, j1 + 1)))
        weights = np.zeros((i1 - i0 + 1, j1 - j0 + 1))
        for (i, j), weight in spot.weights.items():
            weights[i - i0, j - j0] = weight
        found.append((probe.probe, window, weights))
    return tuple(found)


def _window(
    base: Topology,
    vectors: Array,
    level: int,
    side: str,
    plan: Box,
    zones: tuple[tuple[ZoneCells, slice, slice, Array], ...] = (),
    boxes: tuple[Box, ...] = (),
) -> Window:
    model, (x, y) = base.model, plan
    i, j = (array.ravel() for array in np.mgrid[x, y])
    faces = faces_at(base, np.full(len(i), 2), np.column_stack([i, j, np.full(len(i), level)]))
    none = np.full((x.stop - x.start, y.stop - y.start), -1)
    regions = [
        model.region[x, y, cells].astype(np.int64) if 0 <= cells < model.grid.shape[2] else none
        for cells in (level - 1, level)
    ]
    return Window(
        faces, side == "upper", (regions[0], regions[1]), (model.grid.x.widths[x], model.grid.y.widths[y]),
        vectors[faces.lower.cell], vectors[faces.upper.cell], zones, boxes,
    )  # fmt: skip


def volume_means(base: Topology, vectors: Array) -> tuple[tuple[Observable, Array], ...]:
    """The mean of each zone that is a volume, and its row (r,)."""
    zones = [zone for zone in base.model.zones if zone.face is None]
    return tuple((of_zone(zone, "mean"), _volume_row(base, zone) @ vectors) for zone in zones)


def _volume_row(base: Topology, zone: ZoneCells) -> Array:
    row = np.zeros(base.model.grid.shape)
    row[zone.x, zone.y, zone.levels] = base.model.shares(zone)
    return row.ravel()


def probe_cells(case: Case, base: Topology) -> dict[str, int]:
    """For each probe inside a part, the flat index of a cell of its part that touches it."""
    grid = base.model.grid
    found = {}
    for probe in case.probes:
        place = [MM * at for at in probe_point(case, probe)]
        levels = range(*base.model.level_of_part[probe.in_].indices(grid.shape[2]))
        index = [
            int(np.clip(np.searchsorted(axis.faces, at) - 1, 0, axis.cells - 1))
            for axis, at in zip(grid.axes, place, strict=True)
        ]
        index[2] = min(max(index[2], levels.start), levels.stop - 1)
        if face_spot(base.model, (place[0], place[1], place[2]), probe.in_) is None:
            found[probe.probe] = int(np.ravel_multi_index(index, grid.shape))
    return found


def _wider(boxes: list[Box], axis: int, count: int) -> slice:
    """All boxes and, beyond them, the cells that their summits are read off with."""
    low, high = min(box[axis].start for box in boxes), max(box[axis].stop for box in boxes)
    return slice(max(low - BESIDE, 0), min(high + BESIDE, count))


def _within(inner: slice, outer: slice) -> slice:
    return slice(inner.start - outer.start, inner.stop - outer.start)

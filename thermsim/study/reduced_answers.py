"""Answers of a small model, read off as `thermsim.field` reads them off a whole one, for many cases at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.places import probe_point
from thermsim.case.schema import Case, Reading
from thermsim.field import AT_SIDE
from thermsim.model.build import ZoneCells
from thermsim.model.groups import Faces, Ints, Numbers, Topology, faces_at
from thermsim.study.answers import HOTTEST, Question, place_of
from thermsim.units import MM

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

OTHERS = 4  # cells beside the hottest that may turn out the hottest
TIE_K = 0.02


@dataclass(frozen=True)
class Window:
    """A rectangle of a heated face, one cell wider than its heat and zones where the grid goes on.

    start, shape : of the rectangle in the plane; regions : (nx, ny) of the cells under and over the face, -1 for none
    below, above : (faces, r) basis vectors at the cells on both sides
    zones : name and slices of each zone within the rectangle; hot : slices of all that is heated, None for nothing
    """

    faces: Faces
    upper: bool
    start: tuple[int, int]
    regions: tuple[Ints, Ints]
    widths: tuple[Array, Array]
    below: Array
    above: Array
    zones: tuple[tuple[str, slice, slice], ...]
    hot: tuple[slice, slice] | None

    def planes(self, numbers: Numbers, base: Numbers, c: Array, reference_C: float) -> tuple[Array, ...]:
        """Temperatures (n, nx, ny) [C] of cells under the face and over it, and of the nodes under and over a joint."""
        below, above = (reference_C + c @ rows[:, : c.shape[1]].T for rows in (self.below, self.above))
        under, over = self.faces.planes(numbers, base, below, above).nodes(below, above)
        whole = (-1, *self.regions[0].shape)
        cells = (
            np.where(here >= 0, t.reshape(whole), np.nan) for here, t in zip(self.regions, (below, above), strict=True)
        )
        return (*cells, under.reshape(whole), over.reshape(whole))

    def face(self, planes: tuple[Array, ...]) -> Array:
        """(n, nx, ny) temperatures of the heated face [C], NaN where there is none."""
        return np.where(self.regions[self.upper] >= 0, planes[2 + self.upper], np.nan)

    def hottest(self, planes: tuple[Array, ...]) -> tuple[Array, Array]:
        """The hottest spot (n,) [C] of face and cells beside it, and its rivals, see `highest`; as `Field.hottest`."""
        assert self.hot is not None
        value, rivals = self.highest(self.face(planes), *self.hot, self.regions[self.upper])
        everywhere = (slice(0, self.regions[0].shape[0]), slice(0, self.regions[0].shape[1]))
        beside = []
        for side in (0, 1):
            if (self.regions[side] >= 0).any():
                node = np.maximum(planes[2 + side] - planes[side], 0.0)
                beside.append(
                    (
                        np.nanmax(planes[side], axis=(1, 2)),
                        *self.highest(planes[side], *everywhere, self.regions[side], node),
                    )
                )
        warmest = np.argmax([one[0] for one in beside], axis=0)
        rows = np.arange(len(value))
        cell = np.array([one[1] for one in beside])[warmest, rows]
        moves = np.stack([one[2] for one in beside])[warmest, :, :, rows].transpose(1, 2, 0)
        ahead = cell > value
        return np.maximum(cell, value), np.where(ahead, moves, rivals)

    def highest(self, face: Array, x: slice, y: slice, region: Ints, more: Array | None = None) -> tuple[Array, Array]:
        """Highest temperatures (n,) [C] of a rectangle, between cell centres too; twin of `Field`'s for one case.

        Also (2, rivals, n): how far others would move them [K], and what these others missed by [K]. Which of two cells
        is the hottest, or whether a summit lies within it, may hang on less than a small model is wrong by.

        more : (n, nx, ny) what each cell gains upwards or downwards [K]
        """
        block = face[:, x, y].reshape(len(face), -1).copy()
        rows = np.arange(len(face))
        values, centres = [], []
        for _ in range(min(1 + OTHERS, block.shape[1])):
            cell = np.nanargmax(block, axis=1)
            i, j = np.unravel_index(cell, (x.stop - x.start, y.stop - y.start))
            values.append(self._summit(face, (i + x.start, j + y.start), region)[0])
            if more is not None:
                values[-1] = values[-1] + more[rows, i + x.start, j + y.start]
            centres.append(block[rows, cell])
            block[rows, cell] = -np.inf
            if len(values) == 1:
                at = (i + x.start, j + y.start)
        values += [values[0]] * (1 + OTHERS - len(values))
        colder = [centres[0] - centre for centre in centres[1:]]
        colder += [np.zeros(len(face))] * (OTHERS - len(colder))
        plain = self._summit(face, at, region)[0]
        for axes in ((0,), (1,), (0, 1)):
            turned, margin = self._summit(face, at, region, axes)
            values.append(values[0] + turned - plain)
            colder.append(margin)
        return values[0], np.array([np.array(values[1:]) - values[0], np.array(colder)])

    def _summit(
        self, face: Array, at: tuple[Ints, Ints], region: Ints, turned: tuple[int, ...] = ()
    ) -> tuple[Array, Array]:
        """(n,) highest temperature within one cell of each case [C].

        turned : axes along which it is decided the other way whether a summit lies within the cell; then also by
            how much [K] the decision was missed (inf where there is none to take)
        """
        centre = face[np.arange(len(face)), at[0], at[1]]
        value, margin = centre.copy(), np.zeros(len(face))
        for axis, widths in enumerate(self.widths):
            low, high = (self._side(face, centre, at, axis, step, widths, region) for step in (-1, 1))
            slope, bend = 0.5 * (high - low), 0.25 * (high + low) - 0.5 * centre
            within = (bend < 0.0) & (np.abs(slope) <= -2.0 * bend * (1.0 + AT_SIDE))
            if axis in turned:
                within = (bend < 0.0) & ~within
                margin = np.maximum(margin, np.where(bend < 0.0, np.abs(np.abs(slope) + 2.0 * bend), np.inf))
            summit = np.where(within, -(slope**2) / np.where(within, 4.0 * bend, 1.0), 0.0)
            value += np.maximum(np.maximum(low, high) - centre, np.maximum(summit, 0.0))
        return value, margin

    def _side(
        self, face: Array, centre: Array, at: tuple[Ints, Ints], axis: int, step: int, widths: Array, region: Ints
    ) -> Array:
        index = at[axis] + step
        last = region.shape[axis] - 1
        inside = (index >= 0) & (index <= last)
        beside = [at[0], at[1]]
        beside[axis] = np.clip(index, 0, last)
        alike = inside & (region[beside[0], beside[1]] == region[at[0], at[1]])
        own, other = widths[at[axis]], widths[beside[axis]]
        neighbour = face[np.arange(len(face)), beside[0], beside[1]]
        return np.where(alike, centre + own / (own + other) * (neighbour - centre), centre)


@dataclass(frozen=True)
class Answers:
    """values : (n, questions) [C]; rivals : of the highest temperatures, by column, see `Window.highest`"""

    values: Array
    rivals: dict[int, Array]

    def jumps(self, close_K: Array) -> Array:
        """(n, questions) how far [K] each answer moves if a cell within `close_K` of it is hotter after all."""
        found = np.zeros_like(self.values)
        for column, (moves, colder) in self.rivals.items():
            near = np.sort(np.where(colder <= close_K[:, column], np.abs(moves), 0.0), axis=0)
            found[:, column] = near[-2:].sum(axis=0)  # another cell may itself stand on the edge of a decision
        return found

    def misses(self, truth: Array) -> Array:
        """(n, questions) distance [K] to the truth, at best of what a rival within TIE_K would have given."""
        found = np.abs(self.values - truth)
        for column, (moves, colder) in self.rivals.items():
            other = np.abs(self.values[:, column] + moves - truth[:, column])
            found[:, column] = np.minimum(found[:, column], np.where(colder <= TIE_K, other, np.inf).min(axis=0))
        return found


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
    ) -> Answers:
        """For coefficients (n, r)."""
        found: dict[Question, Array] = {}
        rivals: dict[Question, Array] = {}
        hottest: list[tuple[Array, Array]] = []
        for window in self.windows:
            planes = window.planes(numbers, base, c, reference_C)
            face, region = window.face(planes), window.regions[window.upper]
            area = window.widths[0][:, None] * window.widths[1]
            for name, x, y in window.zones:
                share = area[x, y] / area[x, y].sum()
                found["zone", name, "mean"] = np.tensordot(face[:, x, y], share, axes=2)
                found["zone", name, "highest"], rivals["zone", name, "highest"] = window.highest(face, x, y, region)
            if window.hot is not None:
                hottest.append(window.hottest(planes))
        if hottest:
            found[HOTTEST] = np.max([value for value, _ in hottest], axis=0)
            rivals[HOTTEST] = np.concatenate([rival for _, rival in hottest], axis=1)
        for name, row in self.volumes:
            found["zone", name, "mean"] = reference_C + c @ row[: c.shape[1]]
        for name, row, rest in self.probes:
            found["probe", name] = reference_C + c @ row[: c.shape[1]] + features @ rest
        for reading in self.readings:
            place = place_of(reading)
            if place in found:
                found["reading", reading.reading] = found[place] + offsets[reading.reading]
                if place in rivals:
                    rivals["reading", reading.reading] = rivals[place]
        return Answers(
            np.array([found[question] for question in self.questions]).T,
            {self.questions.index(question): rival for question, rival in rivals.items() if question in self.questions},
        )


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
    for source in model.face_sources:
        zones = [zone for zone in model.zones if zone.part == source.part]
        hot = _box_of(source.watts > 0.0)
        boxes = [(zone.x, zone.y) for zone in zones] + ([hot] if hot is not None else [])
        x, y = (_wider(boxes, axis, model.grid.shape[axis]) for axis in (0, 1))
        columns = np.meshgrid(np.arange(x.start, x.stop), np.arange(y.start, y.stop), indexing="ij")
        i, j = (array.ravel() for array in columns)
        faces = faces_at(base, np.full(len(i), 2), np.column_stack([i, j, np.full(len(i), source.face)]))
        upper = source.side == "upper"
        none = np.full((x.stop - x.start, y.stop - y.start), -1)
        regions = [
            model.region[x, y, level].astype(np.int64) if 0 <= level < model.grid.shape[2] else none
            for level in (source.face - 1, source.face)
        ]
        found.append(
            Window(
                faces, upper, (x.start, y.start), (regions[0], regions[1]),
                (model.grid.x.widths[x], model.grid.y.widths[y]),
                vectors[faces.lower.cell], vectors[faces.upper.cell],
                tuple((zone.zone, _within(zone.x, x), _within(zone.y, y)) for zone in zones),
                None if hot is None else (_within(hot[0], x), _within(hot[1], y)),
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


def _box_of(here: Bools) -> tuple[slice, slice] | None:
    where = np.argwhere(here)
    if not len(where):
        return None
    (i0, j0), (i1, j1) = where.min(axis=0).tolist(), (where.max(axis=0) + 1).tolist()
    return slice(i0, i1), slice(j0, j1)


def _wider(boxes: list[tuple[slice, slice]], axis: int, count: int) -> slice:
    return slice(
        max(min(box[axis].start for box in boxes) - 1, 0), min(max(box[axis].stop for box in boxes) + 1, count)
    )


def _within(inner: slice, outer: slice) -> slice:
    return slice(inner.start - outer.start, inner.stop - outer.start)

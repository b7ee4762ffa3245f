"""Answers of a small model for many cases at once: the weights of `readout`, projected on its basis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import Model, ZoneCells
from thermsim.model.coefficients.groups import Faces, Ints, Numbers, Topology, faces_at
from thermsim.model.grid.axes import Axis
from thermsim.readout.answers import observables, under, weights_of
from thermsim.readout.faces import heated_boxes
from thermsim.readout.observable import HOTTEST, Observable, of_zone
from thermsim.readout.surface_maximum import BESIDE, Box, Plane
from thermsim.readout.weights import Weights

Array = NDArray[np.float64]

SAME = 1e-9  # absolute difference below which two weights are the same


@dataclass(frozen=True, eq=False)
class Nodes:
    """Some faces of the grid. below, above : (faces, r) basis vectors at the cells on both sides"""

    faces: Faces
    below: Array
    above: Array

    @classmethod
    def at(cls, base: Topology, vectors: Array, keys: Ints) -> Nodes:
        """keys : (faces, 4) axis, index of the plane, and both indices on it"""
        axis, face, i, j = keys.T
        place = np.column_stack([
            np.where(axis == 0, face, i),
            np.where(axis == 0, i, np.where(axis == 1, face, j)),
            np.where(axis == 2, face, j),
        ])  # fmt: skip
        faces = faces_at(base, axis, place)
        return cls(faces, vectors[faces.lower.cell], vectors[faces.upper.cell])

    def temperatures(self, numbers: Numbers, base: Numbers, c: Array, reference_C: float) -> tuple[Array, Array]:
        """(n, faces) under and over the faces [C]."""
        below, above = (reference_C + c @ rows[:, : c.shape[1]].T for rows in (self.below, self.above))
        return self.faces.planes(numbers, base, below, above).nodes(below, above)


@dataclass(frozen=True, eq=False)
class Sum:
    """Weights, projected. row : (r,) of cells, whose weights are `total` together; sides : under and over faces"""

    total: float
    row: Array
    sides: tuple[tuple[Ints, Array], tuple[Ints, Array]]

    def of(self, nodes: tuple[Array, Array], c: Array, reference_C: float) -> Array:
        """(n,) [C]. nodes : (n, faces) under and over them"""
        found = reference_C * self.total + c @ self.row[: c.shape[1]]
        for side, (at, weights) in zip(nodes, self.sides, strict=True):
            found = found + side[:, at] @ weights
        return np.asarray(found)


@dataclass(frozen=True, eq=False)
class Window:
    """A rectangle of a heated face, wider than its heat and zones where the grid goes on.

    at : (nx * ny,) which of the faces; side : 0 under, 1 over them
    zones : those that the first boxes are; boxes : slices of what may hold the hottest spot
    """

    plane: Plane
    at: Ints
    side: int
    zones: tuple[ZoneCells, ...]
    boxes: tuple[Box, ...]

    def highest(self, nodes: tuple[Array, Array]) -> list[Array]:
        """Highest temperatures (n,) [C] of each box; -inf where it lies in a zone, which stands for it."""
        face = nodes[self.side][:, self.at].reshape(-1, *self.plane.region.shape)
        face = np.where(self.plane.region >= 0, face, np.nan)
        zones, summits = self.boxes[: len(self.zones)], self.plane.summits(face, self.boxes)
        return [np.where(summit.counts_beside(zones), summit.value, -np.inf) for summit in summits]


@dataclass(frozen=True, eq=False)
class Readout:
    """All that is read off. sums : of all that is a weighted sum

    questions : the hottest spot is among them where no heat is made in a volume
    """

    base: Topology
    nodes: Nodes
    windows: tuple[Window, ...]
    sums: dict[Observable, Sum]
    questions: tuple[Observable, ...]

    def answers(
        self, numbers: Numbers, base: Numbers, c: Array, reference_C: float, offsets: dict[str, Array]
    ) -> Array:
        """(n, questions) temperatures [C] for coefficients (n, r)."""
        nodes = self.nodes.temperatures(numbers, base, c, reference_C)
        found = {one: own.of(nodes, c, reference_C) for one, own in self.sums.items()}
        hottest: list[Array] = []
        for window in self.windows:
            highest = window.highest(nodes)
            hottest += highest
            found |= {of_zone(zone, "highest"): value for zone, value in zip(window.zones, highest, strict=False)}
        if hottest:
            found[HOTTEST] = np.max(hottest, axis=0)
        shown = {one: offsets[one.name] if one.kind == "reading" else 0.0 for one in self.questions}
        return np.array([found[under(one, self.base.case)[0]] + shift for one, shift in shown.items()]).T


def readout_of(base: Topology, vectors: Array, ends: Sequence[Case]) -> Readout:
    """All that can be read off with weights that are the same in all cases.

    ends : cases at the ends of the ranges
    """
    case, model = base.case, base.model
    weights = {one: own for one in observables(case) if (own := weights_of(one, case, model)) is not None}
    weights = {one: own for one, own in weights.items() if one.kind != "reading" and not own.is_nowhere}
    for end in ends:
        other = _stretched(base, end)
        weights = {one: own for one, own in weights.items() if _same(own, weights_of(one, end, other))}
    planes = list(heated_boxes(model).items())
    drawn = [_rectangle(model, level, boxes) for (level, _), boxes in planes]
    keys, places = _keys(list(weights.values()), [own for own, _ in drawn])
    sums = {one: _sum(model, vectors, own, at) for (one, own), at in zip(weights.items(), places, strict=False)}
    windows = tuple(
        _window(model, level, side, boxes, plan, at)
        for ((level, side), boxes), (_, plan), (at, _) in zip(planes, drawn, places[len(weights) :], strict=True)
    )
    highest = [of_zone(zone, "highest") for window in windows for zone in window.zones]
    known = {*weights, *highest, *([HOTTEST] if windows and not model.volume_sources else [])}
    questions = tuple(one for one in observables(case) if under(one, case)[0] in known)
    return Readout(base, Nodes.at(base, vectors, keys), windows, sums, questions)


def _stretched(base: Topology, case: Case) -> Model:
    """The base's model with the thicknesses of another case."""
    own = base.model.grid
    stretch = np.array([part.thickness_mm.value for part in case.parts]) / base.thickness
    widths = own.z.widths * stretch[base.part_of_level]
    faces = own.z.faces[0] + np.concatenate([[0.0], np.cumsum(widths)])
    return replace(base.model, grid=replace(own, z=Axis(faces)))


def _same(one: Weights, other: Weights | None) -> bool:
    if other is None:
        return False
    mine, others = one.spots(), other.spots()
    return all(abs(mine.get(spot, 0.0) - others.get(spot, 0.0)) <= SAME for spot in {*mine, *others})


Places = tuple[Ints, Ints]


def _keys(weights: Sequence[Weights], rectangles: Sequence[Ints]) -> tuple[Ints, list[Places]]:
    """Faces that are used, once each (faces, 4); and for each of the weights, then rectangles, which of them.

    Of weights those under and those over faces, one after the other.
    """
    parts: list[Ints] = []
    for one in weights:
        for side in (0, 1):
            own = [_plane_keys(axis, face, at) for (axis, face, which), (at, _) in one.faces.items() if which == side]
            parts.append(np.concatenate([np.zeros((0, 4), dtype=np.int64), *own]))
    for rectangle in rectangles:
        parts += [rectangle, rectangle[:0]]
    every = np.concatenate([np.zeros((0, 4), dtype=np.int64), *parts])
    keys, inverse = np.unique(every, axis=0, return_inverse=True)
    split = np.split(np.reshape(inverse, -1), np.cumsum([len(part) for part in parts])[:-1]) if parts else []
    return keys, list(zip(split[::2], split[1::2], strict=True))


def _plane_keys(axis: int, face: int, at: Ints) -> Ints:
    return np.column_stack([np.full(at.shape[1], axis), np.full(at.shape[1], face), at.T])


def _sum(model: Model, vectors: Array, weights: Weights, places: Places) -> Sum:
    row = np.zeros(vectors.shape[1])
    if len(weights.of_cells):
        row = weights.of_cells @ vectors[np.ravel_multi_index(tuple(weights.cells), model.grid.shape)]
    of_side = [
        np.concatenate([np.zeros(0), *(own for (_, _, which), (_, own) in weights.faces.items() if which == side)])
        for side in (0, 1)
    ]
    total = np.nan if weights.is_nowhere else float(weights.of_cells.sum())
    return Sum(total, row, ((places[0], of_side[0]), (places[1], of_side[1])))


def _rectangle(model: Model, level: int, boxes: list[Box]) -> tuple[Ints, Box]:
    """The faces of a window (faces, 4), and its slices: all boxes, and the cells that summits are read off with."""
    spans = []
    for axis in (0, 1):
        low, high = min(box[axis].start for box in boxes), max(box[axis].stop for box in boxes)
        spans.append(slice(max(low - BESIDE, 0), min(high + BESIDE, model.grid.shape[axis])))
    i, j = (array.ravel() for array in np.mgrid[spans[0], spans[1]])
    return _plane_keys(2, level, np.array([i, j])), (spans[0], spans[1])


def _window(model: Model, level: int, side: str, boxes: list[Box], plan: Box, at: Ints) -> Window:
    zones = tuple(zone for zone in model.zones if (zone.face, zone.side) == (level, side))
    region = model.region[plan[0], plan[1], level - 1 if side == "lower" else level]
    plane = Plane(region, (model.grid.x.widths[plan[0]], model.grid.y.widths[plan[1]]))
    within = tuple((_within(box[0], plan[0]), _within(box[1], plan[1])) for box in boxes)
    return Window(plane, at, int(side == "upper"), zones, within)


def _within(inner: slice, outer: slice) -> slice:
    return slice(inner.start - outer.start, inner.stop - outer.start)

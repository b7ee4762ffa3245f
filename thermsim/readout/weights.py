"""What each question reads off a solved model, to first order: weights of temperatures, and its own dependence.

Source for highest temperatures: at a summit the value does not change with the place, to first order (envelope
theorem), so the weights are those of the polynomials at the summit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import probe_point
from thermsim.case.vocabulary.schema import Case, Probe
from thermsim.errors import ThermsimError
from thermsim.model.build import Model, ZoneCells
from thermsim.model.grid.axes import Grid
from thermsim.model.physics.heat import FaceSource, VolumeSource
from thermsim.readout.answers import HOTTEST, Observable, of_zone
from thermsim.readout.faces import face_spot, plane_of
from thermsim.readout.field import Field, peak
from thermsim.readout.surface_maximum import POINTS, Summit
from thermsim.solver.linearised import Goal, Linearised, Plane
from thermsim.units import MM

Array = NDArray[np.float64]
Cell = tuple[int, int, int]
# (i, j, k) of a cell, or (axis, face, side, i, j) on a plane of faces, side 0 under and 1 over it.
Spot = tuple[int, ...]
Weights = dict[Spot, float]


@dataclass(frozen=True)
class Local:
    """What is asked of a solved case, near it.

    goal : what it reads off, to first order
    value : the answer for a like model and case at unchanged temperatures; of a flow its own part only, see `Goal`
    of_place : whether `value` changes with nothing but where cells, faces and probes are
    """

    goal: Goal
    value: Callable[[Model, Case], float]
    of_place: bool = True


@dataclass(frozen=True)
class Reader:
    """A solved case and what may be asked of it."""

    case: Case
    at: Linearised

    @cached_property
    def field(self) -> Field:
        """The temperatures, with coefficients taken at themselves."""
        return Field(self.model, self.at.guess, np.where(self.at.stencil.solid, self.at.temperature, np.nan), 0.0)

    @property
    def model(self) -> Model:
        return self.at.model

    def asked(self, question: Observable) -> Local:
        """Of a question of `study/answers.py`, but for readings, which are what they sit on and an offset."""
        if question.kind == "flow":
            return self._flow(int(question.name))
        if question.kind == "probe":
            return self._probe(next(probe for probe in self.case.probes if probe.probe == question.name))
        if question == HOTTEST:
            return self._hottest()
        zone = next(zone for zone in self.model.zones if of_zone(zone, question.takes) == question)
        return {"mean": self._mean, "highest": self._highest, "power": self._power}[question.takes](zone)

    def held(self, spot: Spot) -> float:
        """The temperature there [C]."""
        if len(spot) == 3:
            return float(self.at.temperature[spot])
        axis, face, side, *place = spot
        plane = self.plane(axis, face)
        return float((plane.over if side else plane.under)[tuple(place)])

    def plane(self, axis: int, face: int) -> Plane:
        if (axis, face) not in self._planes:
            self._planes[axis, face] = self.at.plane(axis, face)
        return self._planes[axis, face]

    @cached_property
    def _planes(self) -> dict[tuple[int, int], Plane]:
        return {(plane.axis, plane.face): plane for plane in self.at.planes}

    def _face(self, face: int, side: str) -> Array:
        plane = self.plane(2, face)
        return plane.under if side == "lower" else plane.over

    def _zone_C(self, zone: ZoneCells) -> Array:
        """Temperatures of its faces or cells."""
        if zone.face is None:
            return self.at.temperature[zone.x, zone.y, zone.levels]
        return self._face(zone.face, zone.side)[zone.x, zone.y]

    def _flow(self, number: int) -> Local:
        """A given heat is no matter of temperatures; else all that it changes with is in the balance of the fluid."""
        if not self.model.coolings[number].is_prescribed:
            return Local(Goal(outflow=number), lambda model, case: 0.0)

        def value(model: Model, case: Case) -> float:
            cooling = model.coolings[number]
            return -cooling.influx_W_m2 * model.cooled_area(cooling)

        return Local(Goal(), value, of_place=False)

    def _mean(self, zone: ZoneCells) -> Local:
        held = np.nan_to_num(self._zone_C(zone))

        def value(model: Model, case: Case) -> float:
            return float((model.shares(zone) * held).sum())

        return Local(self._over(zone, self.model.shares(zone)), value)

    def _power(self, zone: ZoneCells) -> Local:
        """Heat made in a zone, which leakage ties to its temperature."""
        held = self._zone_C(zone)
        solid = np.ones(held.shape)
        if zone.face is None:
            solid *= self.model.region[zone.x, zone.y, zone.levels] >= 0

        def growth(source: FaceSource | VolumeSource) -> Array | float:
            return source.watts[zone.x, zone.y] * source.leakage.slope(held) if source.leakage is not None else 0.0

        def value(model: Model, case: Case) -> float:
            made = 0.0
            for source in _sources_of(zone, model):
                factor = source.leakage.factor(held) if source.leakage is not None else 1.0
                made += float((source.watts[zone.x, zone.y] * factor * solid).sum())
            return made

        slopes = sum((growth(source) for source in _sources_of(zone, self.model)), np.zeros(held.shape))
        return Local(self._over(zone, np.asarray(slopes * solid)), value, of_place=False)

    def _over(self, zone: ZoneCells, weights: Array) -> Goal:
        """Weights of the temperatures of a zone."""
        if zone.face is None:
            cells = np.arange(self.model.grid.cells).reshape(self.model.grid.shape)[zone.x, zone.y, zone.levels]
            return Goal(cells.reshape(-1), weights.reshape(-1))
        plane, none = np.zeros(self.model.grid.shape[:2]), np.zeros(self.model.grid.shape[:2])
        plane[zone.x, zone.y] = weights
        return Goal(nodes={(2, zone.face): (plane, none) if zone.side == "lower" else (none, plane)})

    def _highest(self, zone: ZoneCells) -> Local:
        if zone.face is None:
            return self._summit_of_cells(zone.x, zone.y, zone.levels)
        key = zone.face, zone.side
        return next(self._on_face(summit, *key) for summit in self.field.summits[key] if summit.box == (zone.x, zone.y))

    def _hottest(self) -> Local:
        """The same candidates as `Field.hottest` has."""
        hottest, place = self.field.hottest
        for key, summits in self.field.summits.items():
            for summit in summits:
                if self.field.place_of(summit, *key) == (hottest, place):
                    return self._on_face(summit, *key)
        return self._summit_of_cells(*(slice(None),) * 3)

    def _summit_of_cells(self, x: slice, y: slice, z: slice) -> Local:
        block = self.field.temperature[x, y, z]
        i, j, k = np.unravel_index(int(np.nanargmax(block)), block.shape)
        cell = (int(i) + (x.start or 0), int(j) + (y.start or 0), int(k) + (z.start or 0))
        weights: Weights = {cell: 1.0}
        for axis in range(3):
            low, high = _sides_of(cell, axis)
            three: list[Weights] = [{low: 1.0}, {cell: 1.0}, {high: 1.0}]
            _add(weights, three, self._bend(three, bends=axis < 2))
        return self._local(lambda model: weights)

    def _on_face(self, summit: Summit, face: int, side: str) -> Local:
        """The summit stays at its place between the centres of cells, wherever these move."""

        def of(model: Model) -> Weights:
            return _on_side(face, side, plane_of(model, face, side).weights(summit))

        own = of(self.model)

        def weights(model: Model) -> Weights:
            return own if _alike_about(summit, model.grid, self.model.grid) else of(model)

        return self._local(weights)

    def _bend(self, three: list[Weights], bends: bool) -> tuple[float, float, float]:
        """Weights of the temperatures at the low side, in the centre and at the high side of a cell in `peak`."""
        low, centre, high = (self._sum(weights) for weights in three)
        rise, offset = peak(low, centre, high, bends)
        if rise in (0.0, low - centre, high - centre) and offset in (-1.0, 0.0, 1.0):
            return float(offset < 0.0), -abs(offset), float(offset > 0.0)
        return 0.25 * offset**2 - 0.5 * offset, -0.5 * offset**2, 0.25 * offset**2 + 0.5 * offset

    def _local(self, weights: Callable[[Model], Weights]) -> Local:
        return Local(self._goal(weights(self.model)), lambda model, case: self._sum(weights(model)))

    def _sum(self, weights: Weights) -> float:
        return sum(weight * self.held(spot) for spot, weight in weights.items())

    def _goal(self, weights: Weights) -> Goal:
        shape = self.model.grid.shape
        cells = {spot: weight for spot, weight in weights.items() if len(spot) == 3}
        nodes: dict[tuple[int, int], tuple[Array, Array]] = {}
        for spot, weight in weights.items():
            if len(spot) == 3:
                continue
            axis, face, side, *place = spot
            plane = tuple(n for other, n in enumerate(shape) if other != axis)
            nodes.setdefault((axis, face), (np.zeros(plane), np.zeros(plane)))[side][tuple(place)] += weight
        flat = [int(np.ravel_multi_index(spot, shape)) for spot in cells]
        return Goal(np.array(flat, dtype=np.int64), np.array(list(cells.values()), dtype=np.float64), nodes)

    def _probe(self, probe: Probe) -> Local:
        """A point in a cell, or between some: `Field._in_cell` is linear in temperatures, so unit ones give weights."""
        if face_spot(self.model, _place(probe, self.case), probe.in_) is not None:
            return self._on_face_of_part(probe)
        cells = self.field.cells_at(_place(probe, self.case), probe.in_)
        held = {spot: self.held(spot) for cell in cells for spot in _around(self.model, cell)}

        def value(model: Model, case: Case, temperature: Array, held: Mapping[Spot, float]) -> float:
            given = _Held(model, self.at.guess, temperature, 0.0, held)
            return float(np.mean([given._in_cell(cell, _place(probe, case)) for cell in cells]))

        weights: Weights = {}
        for spot in held:
            unit = np.zeros(self.model.grid.shape)
            if len(spot) == 3:
                unit[spot] = 1.0
            weights[spot] = value(self.model, self.case, unit, {spot: 1.0})
        goal = self._goal({spot: weight for spot, weight in weights.items() if weight != 0.0})
        return Local(goal, lambda model, case: value(model, case, self.at.temperature, held))

    def _on_face_of_part(self, probe: Probe) -> Local:
        def weights(model: Model, case: Case) -> Weights:
            spot = face_spot(model, _place(probe, case), probe.in_)
            if spot is None:
                raise ThermsimError(f"the probe {probe.probe!r} leaves the face that it is on")
            return _on_side(spot.face, spot.side, spot.weights)

        return Local(self._goal(weights(self.model, self.case)), lambda model, case: self._sum(weights(model, case)))


@dataclass(frozen=True, eq=False)
class _Held(Field):
    """A field whose temperatures on faces are given one by one; what is not given is zero."""

    held: Mapping[Spot, float]

    def _cell_faces(self, cell: Cell, axis: int) -> tuple[float, float]:
        low, high = _sides_of(cell, axis)
        return self.held.get(low, 0.0), self.held.get(high, 0.0)


def _alike_about(summit: Summit, one: Grid, other: Grid) -> bool:
    """Whether the cells that a summit is read off have the same widths, so that its weights are the same."""
    for axis, cell in enumerate(summit.cell[:, 0].tolist()):
        about = slice(max(0, cell - POINTS), cell + POINTS + 1)
        if not np.allclose(one.axes[axis].widths[about], other.axes[axis].widths[about], rtol=1e-12, atol=0.0):
            return False
    return True


def _on_side(face: int, side: str, weights: Mapping[tuple[int, int], float]) -> Weights:
    return {(2, face, int(side == "upper"), i, j): weight for (i, j), weight in weights.items()}


def _sources_of(zone: ZoneCells, model: Model) -> list[FaceSource | VolumeSource]:
    if zone.face is None:
        return [source for source in model.volume_sources if source.part == zone.part]
    return [source for source in model.face_sources if (source.face, source.side) == (zone.face, zone.side)]


def _place(probe: Probe, case: Case) -> tuple[float, float, float]:
    """Where a probe stands in a case that may have moved it along with its part [m]."""
    own = next(other for other in case.probes if other.probe == probe.probe)
    x, y, z = probe_point(case, own)
    return MM * x, MM * y, MM * z


def _around(model: Model, cell: Cell) -> set[Spot]:
    """A cell, its faces, and those of its neighbours."""
    spots: set[Spot] = {cell}
    for axis in range(3):
        for step in (-1, 0, 1):
            i, j, k = (place + step * (other == axis) for other, place in enumerate(cell))
            if all(0 <= place < count for place, count in zip((i, j, k), model.grid.shape, strict=True)):
                for across in range(3):
                    spots.update(_sides_of((i, j, k), across))
    return spots


def _sides_of(cell: Cell, axis: int) -> tuple[Spot, Spot]:
    """The inner sides of a cell's lower and upper face across an axis."""
    rest = tuple(cell[other] for other in range(3) if other != axis)
    return (axis, cell[axis], 1, *rest), (axis, cell[axis] + 1, 0, *rest)


def _add(into: Weights, parts: list[Weights], factors: tuple[float, ...]) -> None:
    for part, factor in zip(parts, factors, strict=True):
        for spot, weight in part.items():
            into[spot] = into.get(spot, 0.0) + factor * weight

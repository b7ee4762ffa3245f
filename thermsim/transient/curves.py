"""All answers of a case over time on one grid, from a small model, and how far that model may hold them off."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import Guess, Model, ZoneCells
from thermsim.readout.answers import answers, cells_of, observables, under, weights_of
from thermsim.readout.faces import heated_boxes, plane_of, zone_boxes
from thermsim.readout.field import Field
from thermsim.readout.observable import HOTTEST, Answers, Observable
from thermsim.readout.weights import over_zone
from thermsim.transient.krylov import DROPPED, TIMES_CHANGE, SmallModel
from thermsim.transient.rise import Rise
from thermsim.transient.system import System

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Snapshot(Field):
    """A stack at one time. resting : without load; rise : (nx, ny, levels) over it [K]"""

    resting: Field
    system: System
    rise: Array

    def nodes(self, axis: int, face: int) -> tuple[Array, Array]:
        if (axis, face) not in self._nodes:
            rest, risen = self.resting.nodes(axis, face), self.system.nodes(axis, face, self.rise, heated=True)
            self._nodes[axis, face] = rest[0] + risen[0], rest[1] + risen[1]
        return self._nodes[axis, face]


@dataclass(frozen=True, eq=False)
class Reader:
    """What is read off small models of one system.

    model : as the case has it; resting : the field without load
    """

    case: Case
    model: Model
    rise: Rise
    system: System
    resting: Field

    @classmethod
    def of(cls, case: Case, model: Model, guess: Guess, rise: Rise, system: System) -> Reader:
        return cls(case, model, rise, system, Field(rise.resting, guess, rise.unheated, 0.0))

    def curves(self, small: SmallModel, times: Array) -> Answers[Array]:
        """(n,) of each answer at times [s] after the load came on; NaN where it has no bound or no place."""
        states = small.states(times)
        rows, direct = self._linear_of(small), self._direct
        linear = states @ rows.T + direct
        found: dict[Observable, Array] = {}
        for number, one in enumerate(self._linear):
            found[one] = self.rest[one] + linear[:, number]
        found |= self._highest(small, states)
        told: Answers[Array] = Answers()
        for one in observables(self.case):
            place, offset = under(one, self.case)
            told[one] = found[place] + offset
        return told

    def doubts(self, small: SmallModel, times: Array) -> Answers[float]:
        """How far the small model may hold each answer off at any of the times, [K] or [W]: see `krylov`."""
        change = small.states(times) - small.states(times, without=DROPPED)
        linear = TIMES_CHANGE * np.abs(change @ self._linear_of(small).T).max(axis=0)
        found = dict(zip(self._linear, linear.tolist(), strict=True))
        widest = 0.0
        for (face, side), boxes in self._boxes.items():
            nodes = self._nodes_of(small, face, side, heated=False)
            moved = TIMES_CHANGE * np.abs(np.tensordot(change, nodes, 1)).max(axis=0)
            for x, y in boxes:
                own = float(moved[x, y].max())
                widest = max(widest, own)
                for one in self._highest_in(face, side, x, y):
                    found[one] = own
        for one in self._highest_of_volumes:
            zone = cells_of(one, self.model)
            rows = small.vectors.reshape(-1, *self.system.shape)[:, zone.x, zone.y][
                ..., self.system.levels[zone.levels]
            ]
            found[one] = TIMES_CHANGE * float(np.abs(np.tensordot(change, rows, 1)).max())
            widest = max(widest, found[one])
        found[HOTTEST] = widest
        # What a model misses in one answer it may show in another: those of a kind share the largest.
        told: Answers[float] = Answers()
        for one in observables(self.case):
            told[one] = max(value for other, value in found.items() if _unit(other) == _unit(one))
        return told

    def largest_doubt_K(self, small: SmallModel, times: Array) -> float:
        """Of all temperatures."""
        return max(doubt for one, doubt in self.doubts(small, times).items() if not one.is_heat)

    def imbalance(self, small: SmallModel, times: Array) -> float:
        """Largest of heat stored and let out less heat made over time, relative to the heat that is made at rest."""
        stored = self.system.capacity.ravel() @ small.vectors.T
        out = self.system.stencil.ground.ravel() @ small.vectors.T
        given = float(self.system.stencil.heat.sum())
        off = small.changes(times) @ stored + small.states(times) @ out - given
        return float(np.abs(off).max()) / max(abs(given), 1e-300)

    def snapshot(self, small: SmallModel, state: Array) -> Snapshot:
        """The field of a state (m,) of a small model."""
        rise = (state @ small.vectors).reshape(self.system.shape)
        temperature = self.rise.unheated + self.system.of_model(rise)
        return Snapshot(self.model, self.rise.guess, temperature, 0.0, self.resting, self.system, rise)

    # ---- what is a weighted sum -------------------------------------------------------------------------------

    @cached_property
    def columns(self) -> dict[Observable, tuple[tuple[NDArray[np.int64], Array], float]]:
        """Of each answer that is one: weights of the system's cells, and what the heat adds to it at once."""
        found: dict[Observable, tuple[Array, float]] = {}
        for one in observables(self.case):
            place, _ = under(one, self.case)
            if place in found:
                continue
            weights = weights_of(place, self.case, self.model)
            if weights is not None:
                found[place] = self.system.column(weights)
            elif place.kind == "flow":
                found[place] = self.system.outflow(int(place.name))
            elif place.takes == "power":
                found[place] = self._power(cells_of(place, self.model))
        return {one: (_sparse(column), direct) for one, (column, direct) in found.items()}

    def _power(self, zone: ZoneCells) -> tuple[Array, float]:
        watts, slope = self.resting.made_in(zone, self.rise.model)[0], self._slope(zone)
        column, direct = self.system.column(over_zone(zone, slope))
        return column, direct + float(watts.sum())

    def _slope(self, zone: ZoneCells) -> Array:
        """Growth [W/K] of what is made in a zone: (nx, ny), or (nx, ny, levels) of a volume."""
        model = self.rise.model
        if zone.face is None:
            own = [one.linearised(self.rise.unheated)[1] for one in model.volume_sources if one.part == zone.part]
        else:
            on_face = zone.face, zone.side
            own = [one.linearised(0.0)[1] for one in model.face_sources if (one.face, one.side) == on_face]
        return np.asarray(sum(np.asarray(slope)[zone.x, zone.y] for slope in own))

    @property
    def _linear(self) -> list[Observable]:
        return list(self.columns)

    @property
    def _direct(self) -> Array:
        return np.array([direct for _, direct in self.columns.values()])

    def _linear_of(self, small: SmallModel) -> Array:
        """(answers, m)"""
        return np.array([small.vectors[:, at] @ own for (at, own), _ in self.columns.values()])

    @cached_property
    def rest(self) -> dict[Observable, float]:
        """Without load."""
        found = dict(answers(self.case, self.resting, self._linear))
        return {one: 0.0 if one.takes == "power" else value for one, value in found.items()}

    # ---- highest temperatures ---------------------------------------------------------------------------------

    @cached_property
    def _boxes(self) -> dict[tuple[int, str], list[tuple[slice, slice]]]:
        return heated_boxes(self.model)

    @cached_property
    def _highest_of_volumes(self) -> list[Observable]:
        wanted = [one for one in observables(self.case) if one.takes == "highest"]
        return [one for one in wanted if cells_of(one, self.model).face is None]

    def _highest_in(self, face: int, side: str, x: slice, y: slice) -> Iterable[Observable]:
        for one in observables(self.case):
            if one.takes == "highest":
                zone = cells_of(one, self.model)
                if (zone.face, zone.side, zone.x, zone.y) == (face, side, x, y):
                    yield one

    def _nodes_of(self, small: SmallModel, face: int, side: str, heated: bool) -> Array:
        """(m, nx, ny) rises of one side of a plane for each vector."""
        cells = small.vectors.reshape(-1, *self.system.shape)
        return self.system.nodes(2, face, cells, heated)[side == "upper"]

    def _highest(self, small: SmallModel, states: Array) -> dict[Observable, Array]:
        """Of zones, and of the whole stack."""
        found: dict[Observable, Array] = {}
        count = len(states)
        hottest = np.full(count, -np.inf)
        nothing = np.zeros(self.system.shape)
        for (face, side), boxes in self._boxes.items():
            at_once = self.system.nodes(2, face, nothing, heated=True)[side == "upper"]
            risen = np.tensordot(states, self._nodes_of(small, face, side, heated=False), 1)
            over_time = self.resting.face_C(face, side) + at_once + risen
            for summit in plane_of(self.model, face, side).summits(over_time, boxes):
                for one in self._highest_in(face, side, *summit.box):
                    found[one] = summit.value
                counts = summit.counts_beside(zone_boxes(self.model, face, side))
                hottest = np.maximum(hottest, np.where(counts, summit.value, -np.inf))
        near = self._elsewhere(small, states)
        for one in self._highest_of_volumes:
            found[one] = np.empty(count)
        close = np.arange(count) if self._highest_of_volumes else np.flatnonzero(near > hottest)
        for row in close.tolist():
            field = self.snapshot(small, states[row])
            for one in self._highest_of_volumes:
                zone = cells_of(one, self.model)
                cell = field.hottest_cell(zone.x, zone.y, zone.levels)
                found[one][row] = field.highest_in(cell)[0]
            around = [field.highest_in(cell)[0] for cell in field.hot_cells]
            hottest[row] = max([float(hottest[row]), *around])
        found[HOTTEST] = hottest
        return found

    def _elsewhere(self, small: SmallModel, states: Array) -> Array:
        """(n,) the hottest cell of all that touch no heated face [C], from slab to slab."""
        beside = self.model.region < 0
        for source in self.model.face_sources:
            beside[:, :, max(source.face - 1, 0) : source.face + 1] |= (source.watts > 0.0)[:, :, None]
        found = np.full(len(states), -np.inf)
        rows = small.vectors.reshape(-1, *self.system.shape)
        for slab in range(self.system.shape[0]):
            here = ~beside[slab]
            if here.any():
                risen = states @ self.system.of_model(rows[:, slab])[:, here]
                found = np.maximum(found, (self.rise.unheated[slab][here] + risen).max(axis=1))
        return found


def _unit(one: Observable) -> str:
    return one.kind if one.is_heat else "temperature"


def _sparse(column: Array) -> tuple[NDArray[np.int64], Array]:
    flat = column.ravel()
    at = np.flatnonzero(flat)
    return at, flat[at]

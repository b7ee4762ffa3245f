"""All answers of a case over time on one grid, from a small model, and how far that model may hold them off."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import Model, ZoneCells
from thermsim.readout.answers import answers, cells_of, observables, under, weights_of
from thermsim.readout.faces import away_from_summits, heated_boxes, plane_of, zone_boxes
from thermsim.readout.field import Field
from thermsim.readout.observable import HOTTEST, Answers, Observable
from thermsim.readout.weights import Spot, Weights, at_warmest_cell, over_zone, sides_of
from thermsim.transient.certain import certain_bounds
from thermsim.transient.krylov import CHUNK, TIMES_CHANGE, SmallModel, fewer_shifts
from thermsim.transient.loop import Coolant
from thermsim.transient.rise import Rise
from thermsim.transient.system import System

Array = NDArray[np.float64]

# Share of its largest change that an answer may be off by what the solves of a small model leave: of one whose shifts
# tell its doubt, and of one that further shifts bring nothing new to, which is known to the residual of these only.
SOLVED_TO, COMPLETE_TO = 1e-6, 1e-5
TINY = 1e-6  # [K] and [W] of change that is nothing


@dataclass(frozen=True, eq=False)
class Reader:
    """What is read off small models of one system.

    model : as the case has it; resting : the field without load
    warmed : (nx, ny, nz) cells that are warmed from outside, without load or with it
    """

    case: Case
    model: Model
    rise: Rise
    system: System
    resting: Field
    warmed: NDArray[np.bool_]
    coolant: Coolant | None = None

    @classmethod
    def of(cls, case: Case, loaded: Field, rise: Rise, system: System, warmer: System | None = None) -> Reader:
        """The reader of a rise above rest. loaded : the field at its end

        warmer : the system with the coolant of its loop at a kelvin, None without one
        """
        resting = Field(rise.resting, rise.resting_guess, rise.unheated, 0.0)
        warmed = loaded.warmed_from_outside | resting.warmed_from_outside
        loop = loaded.model.loop
        coolant = None if loop is None or warmer is None else Coolant.of(loop, system, warmer)
        return cls(case, loaded.model, rise, system, resting, warmed, coolant)

    def curves(self, small: SmallModel, times: Array) -> Answers[Array]:
        """(n,) of each answer at times [s] after the load came on; NaN where it has no bound or no place."""
        return self.of_states(small, self.states(small, times), self.given(times))

    def states(self, small: SmallModel, times: Array, without: int = 0) -> Array:
        """(n, m) of a small model at times [s], of the model without its last vectors."""
        return small.states(times, without)

    def changes(self, small: SmallModel, times: Array) -> Array:
        """(n, m) how fast these change [1/s]."""
        return small.changes(times)

    def given(self, times: Array) -> Array:
        """(n, inputs) what is on at times [s], as shares of the load of the system."""
        return np.ones((len(times), 1))

    def of_a_kelvin_at_rest(self) -> Answers[float]:
        """What a kelvin of the coolant of a loop does to each answer without load, and so without leakage [K/K]."""
        model, warmer = self.rise.at_a_kelvin()
        before = answers(self.case, self.resting)
        after = answers(self.case, Field(model, self.resting.guess, warmer, 0.0))
        found: Answers[float] = Answers()
        for one in before:
            found[one] = float(np.nan_to_num(after[one] - before[one]))
        return found

    def of_states(self, small: SmallModel, states: Array, given: Array | None = None) -> Answers[Array]:
        """(n,) of each answer at states (n, m) of a small model; NaN where it has no bound or no place.

        given : (n, inputs) what is on then; all of the load unless given
        """
        given = np.ones((len(states), 1)) if given is None else given
        linear = self.linear_at(small, states, given)
        found: dict[Observable, Array] = {}
        for number, one in enumerate(self._linear):
            found[one] = self.rest[one] + linear[:, number]
        found |= self._highest(small, states, given)
        told: Answers[Array] = Answers()
        for one in observables(self.case):
            place, offset = under(one, self.case)
            told[one] = found[place] + offset
        return told

    def doubts(self, small: SmallModel, times: Array) -> Answers[float]:
        """How far the small model may hold each answer off at any of the times, [K] or [W]: see `krylov`."""
        told = self._by_shifts(small, times)
        left, largest = SOLVED_TO if small.dropped else COMPLETE_TO, dict[str, float]()
        changes = np.abs(self.states(small, times) @ self.linear_of(small).T).max(axis=0)
        for one, most in zip(self._linear, changes.tolist(), strict=True):
            largest[_unit(one)] = max(largest.get(_unit(one), TINY), most)
        for one in told:
            told[one] += left * largest.get(_unit(one), max(largest.values(), default=TINY))
        return told

    def _by_shifts(self, small: SmallModel, times: Array) -> Answers[float]:
        """What the last shifts changed."""
        change = self.states(small, times) - self.states(small, times, without=small.dropped)
        linear = TIMES_CHANGE * np.abs(change @ self.linear_of(small).T).max(axis=0)
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

    def certain(self, small: SmallModel, times: Array) -> Answers[float]:
        """How far the small model holds off at most, at any of the times, all that is a weighted sum: see `certain`.

        Nothing is told where no bound is known.
        """
        bounds = certain_bounds(self.system, small, [self.columns[one][0] for one in self._linear], times)
        told: Answers[float] = Answers()
        if bounds is not None:
            widest = dict(zip(self._linear, bounds.max(axis=1).tolist(), strict=True))
            for one in observables(self.case):
                place, _ = under(one, self.case)
                if place in widest:
                    told[one] = widest[place]
        return told

    def few_shifts(self, small: SmallModel, times: Array, wanted_K: float) -> tuple[float, ...]:
        """As few shifts as hold all temperatures that are weighted sums within `wanted_K` of a model."""
        rows = self.linear_of(small)[[not one.is_heat for one in self._linear]]
        return fewer_shifts(small, rows, times, wanted_K)

    def largest_doubt_K(self, small: SmallModel, times: Array) -> float:
        """Of all temperatures, by what more shifts can do about."""
        return max(doubt for one, doubt in self._by_shifts(small, times).items() if not one.is_heat)

    def imbalance(self, small: SmallModel, times: Array) -> float:
        """Largest of heat stored and let out less heat made over time, relative to the heat that is made at rest."""
        made = self.made_W(times)
        stored = self.system.capacity.ravel() @ small.vectors.T
        out = self.let_out_W(small, self.states(small, times), self.given(times))
        off = self.changes(small, times) @ stored + out - made
        return float(np.abs(off).max()) / max(float(np.abs(made).max()), 1e-300)

    def made_W(self, times: Array) -> Array:
        """(n,) heat that is made at times [s] before anything warms up, with what the coolant brings at once."""
        whole = float(self.system.stencil.heat.sum())
        if self.coolant is not None:
            whole += float(self.coolant.gives.sum()) * self.coolant.rises_at_once
        return np.asarray(whole * self.given(times)[:, 0])

    def let_out_W(self, small: SmallModel, states: Array, given: Array) -> Array:
        """(n,) heat that leaves the cells, less what leakage grows by."""
        return np.asarray(states @ self._ground_of(small))

    def _ground_of(self, small: SmallModel) -> Array:
        out = self.system.stencil.ground.ravel() @ small.vectors.T
        if self.coolant is not None and small.coolant is not None:
            out = out - self.coolant.gives.sum() * small.coolant
        return np.asarray(out)

    def beside(self, small: SmallModel, times: Array, face: int) -> tuple[Array, Array]:
        """(n, nx, ny) temperatures [C] of the cells below and above a face across z at times [s]."""
        states, rows = self.states(small, times), small.vectors.reshape(-1, *self.system.shape)

        def at(level: int) -> Array:
            risen = np.tensordot(states, rows[..., int(self.system.levels[level])], 1)
            return np.asarray(self.rise.unheated[:, :, level] + risen)

        return at(face - 1), at(face)

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
            elif place.kind == "coolant":
                found[place] = np.zeros(self.system.shape), 0.0
            elif place.kind == "flow":
                found[place] = self.system.outflow(int(place.name))
            elif place.takes == "power":
                found[place] = self._power(cells_of(place, self.model))
        lifted = 0.0 if self.coolant is None else self.coolant.rises_at_once
        return {
            one: (_sparse(column), direct + lifted * self.by_coolant.get(one, 0.0))
            for one, (column, direct) in found.items()
        }

    @cached_property
    def by_coolant(self) -> dict[Observable, float]:
        """Of each answer that is a weighted sum: what a kelvin of the loop's coolant adds to it with cells held."""
        if self.coolant is None:
            return {}
        found: dict[Observable, float] = {}
        for one in observables(self.case):
            place, _ = under(one, self.case)
            weights = weights_of(place, self.case, self.model)
            if place.takes == "power":
                zone = cells_of(place, self.model)
                weights = over_zone(zone, self.growth_in(zone))
            if place.kind == "coolant":
                found[place] = 1.0
            elif weights is not None:
                found[place] = self.with_coolant(weights)
            elif place.kind == "flow" and int(place.name) in self.model.on_loop:
                found[place] = self.coolant.warmer.to_known(int(place.name))
        return found

    def with_coolant(self, weights: Weights) -> float:
        """What a kelvin of the loop's coolant adds to a weighted sum with cells held."""
        found = 0.0
        for (axis, face, side), (places, own) in weights.faces.items():
            found += float(self._of_coolant(axis, face)[side][tuple(places)] @ own)
        return found

    def spot_with_coolant(self, spot: Spot) -> float:
        """What a kelvin of the loop's coolant adds to one cell, or one side of a face, with cells held."""
        return self.with_coolant(Weights.of({spot: 1.0}))

    def _of_coolant(self, axis: int, face: int) -> tuple[Array, Array]:
        """Rises of both sides of a plane for a kelvin of the loop's coolant, with cells held."""
        assert self.coolant is not None
        warmer = self.coolant.warmer
        return warmer.nodes(axis, face, np.zeros(warmer.shape), heated=False)

    def _power(self, zone: ZoneCells) -> tuple[Array, float]:
        watts, slope = self.resting.made_in(zone, self.rise.model)[0], self.growth_in(zone)
        column, direct = self.system.column(over_zone(zone, slope))
        return column, direct + float(watts.sum())

    def growth_in(self, zone: ZoneCells) -> Array:
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

    def linear_at(self, small: SmallModel, states: Array, given: Array) -> Array:
        """(n, answers) rises of all answers that are weighted sums."""
        return np.asarray(states @ self.linear_of(small).T + given * self._direct)

    def linear_of(self, small: SmallModel) -> Array:
        """(answers, m) weights of a model's vectors, of all answers that are weighted sums."""
        found = np.array([small.vectors[:, at] @ own for (at, own), _ in self.columns.values()])
        if small.coolant is not None:
            found += np.outer([self.by_coolant.get(one, 0.0) for one in self._linear], small.coolant)
        return found

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
        found = self.system.nodes(2, face, cells, heated)[side == "upper"]
        if small.coolant is None:
            return found
        return found + small.coolant[:, None, None] * self._of_coolant(2, face)[side == "upper"]

    def nodes_at(self, small: SmallModel, states: Array, given: Array, face: int, side: str) -> Array:
        """(n, nx, ny) temperatures [C] of one side of a heated plane."""
        risen = np.tensordot(states, self._nodes_of(small, face, side, heated=False), 1)
        return np.asarray(self.resting.face_C(face, side) + self.at_once_at(given, face, side) + risen)

    def at_once_at(self, given: Array, face: int, side: str) -> Array:
        """(n, nx, ny), or (nx, ny) if always the same, what one side of a plane rises by beside cells at rest."""
        at_once = self.system.nodes(2, face, np.zeros(self.system.shape), heated=True)[side == "upper"]
        if self.coolant is not None:
            at_once = at_once + self.coolant.rises_at_once * self._of_coolant(2, face)[side == "upper"]
        return at_once if np.all(given == 1.0) else given[:, :, None] * at_once

    def _highest(self, small: SmallModel, states: Array, given: Array) -> dict[Observable, Array]:
        """Of zones, and of the whole stack."""
        found: dict[Observable, Array] = {}
        count = len(states)
        hottest = np.full(count, -np.inf)
        for (face, side), boxes in self._boxes.items():
            over_time = self.nodes_at(small, states, given, face, side)
            for summit in plane_of(self.model, face, side).summits(over_time, boxes):
                for one in self._highest_in(face, side, *summit.box):
                    found[one] = summit.value
                counts = summit.counts_beside(zone_boxes(self.model, face, side))
                hottest = np.maximum(hottest, np.where(counts, summit.value, -np.inf))
        for one in self._highest_of_volumes:
            zone = cells_of(one, self.model)
            inside = np.zeros(self.model.grid.shape, dtype=bool)
            inside[zone.x, zone.y, zone.levels] = True
            found[one] = self._highest_of_cells(small, states, given, inside & (self.model.region >= 0))
            hottest = np.maximum(hottest, found[one])
        elsewhere = away_from_summits(self.model, self.warmed)
        if elsewhere.any():
            hottest = np.maximum(hottest, self._highest_of_cells(small, states, given, elsewhere))
        found[HOTTEST] = hottest
        return found

    def _highest_of_cells(self, small: SmallModel, states: Array, given: Array, among: NDArray[np.bool_]) -> Array:
        """(n,) highest temperature [C] in and about the warmest of some cells, as `Field.highest_in` has it."""
        cells = self._warmest_cells(small, states, among)
        found = np.empty(len(states))
        for cell in np.unique(cells, axis=0).tolist():
            rows = np.flatnonzero((cells == cell).all(axis=1))
            at = int(cell[0]), int(cell[1]), int(cell[2])
            sides = [sides_of(at, axis) for axis in range(3)]
            spots: list[Spot] = [at, *(side for pair in sides for side in pair)]
            values = np.array([self.at_spot(small, states[rows], given[rows], spot) for spot in spots])
            for number, row in enumerate(rows.tolist()):
                of = dict(zip(spots, values[:, number].tolist(), strict=True))
                weights, _ = at_warmest_cell(at, [(of[low], of[at], of[high]) for low, high in sides])
                found[row] = sum(weight * of[spot] for spot, weight in weights.spots().items())
        return found

    def at_spot(self, small: SmallModel, states: Array, given: Array, spot: Spot) -> Array:
        """(n,) temperatures [C] of one cell, or one side of a face."""
        rows, direct = self._spot_of(small, spot)
        return np.asarray(
            self.resting.read(Weights.of({spot: 1.0})) + self.direct_at(given, spot, direct) + states @ rows
        )

    def direct_at(self, given: Array, spot: Spot, direct: float) -> Array:
        """(n,) what the heat adds at once to one cell, or one side of a face."""
        return np.asarray(given[:, 0] * direct)

    def _spot_of(self, small: SmallModel, spot: Spot) -> tuple[Array, float]:
        """Of one cell, or one side of a face: weights of a model's vectors, and what the heat adds at once."""
        one = Weights.of({spot: 1.0})
        column, direct = self.system.column(one)
        at, own = _sparse(column)
        rows = small.vectors[:, at] @ own
        if small.coolant is not None and self.coolant is not None:
            by_coolant = self.spot_with_coolant(spot)
            rows = rows + by_coolant * small.coolant
            direct += by_coolant * self.coolant.rises_at_once
        return np.asarray(rows), direct

    def _warmest_cells(self, small: SmallModel, states: Array, among: NDArray[np.bool_]) -> NDArray[np.int64]:
        """(n, 3) the warmest of some cells at each time, sought chunk by chunk."""
        wide = np.zeros(self.system.shape, dtype=bool)
        wide[:, :, self.system.levels] = among
        sought, start_C = np.flatnonzero(wide), self.rise.unheated[among]
        best = np.full(len(states), -np.inf)
        found = np.zeros(len(states), dtype=np.int64)
        for start in range(0, sought.size, CHUNK):
            part = slice(start, start + CHUNK)
            values = states @ small.vectors[:, sought[part]] + start_C[part]
            at = values.argmax(axis=1)
            highest = values[np.arange(len(states)), at]
            better = highest > best
            best[better], found[better] = highest[better], sought[part][at[better]]
        x, y, level = np.unravel_index(found, self.system.shape)
        return np.column_stack([x, y, np.searchsorted(self.system.levels, level)])


def _unit(one: Observable) -> str:
    return one.kind if one.is_heat else "temperature"


def _sparse(column: Array) -> tuple[NDArray[np.int64], Array]:
    flat = column.ravel()
    at = np.flatnonzero(flat)
    return at, flat[at]

"""How every zone, and every probe, answers a watt in every zone over time: the resistance matrix in time, Zth(t).

Source of the names: JEDEC JESD51-1 (Zth), JESD51-14 (structure function), JESD51-31 (resistance matrix), from memory.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.zones import zones_of
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import HeatBalanceError, MemoryLimitError, ThermsimError
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import FEWEST_GRIDS, OUTER_K, plan_for, solve_on
from thermsim.mesh.prediction_remarks import grave_first, remarks_of_state
from thermsim.mesh.settling import OnGrid, judged
from thermsim.mesh.unseen_streaks import streaks_of
from thermsim.model.build import ZoneCells
from thermsim.model.grid.plan import BYTES_PER_CELL, FIRST_GRID_CELLS, plan_grid
from thermsim.model.storage import check_capacities, left_out, storing_films
from thermsim.printable import Printable
from thermsim.progress import Progress
from thermsim.readout.answers import observables, weights_of
from thermsim.readout.field import LARGEST_IMBALANCE, Field
from thermsim.readout.ladder import Ladder, ladder
from thermsim.readout.observable import Observable, of_zone
from thermsim.response.block import Modes, block_model
from thermsim.response.network import ModalNetwork
from thermsim.response.structure import Structure, structure_of
from thermsim.rounding import two_digits_up
from thermsim.transient.curves import Reader
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import DROPPED, TIMES_CHANGE
from thermsim.units import GIGABYTE
from thermsim.warming.held_still import held_doubts, model_of_load, reader_of
from thermsim.warming.warmup import spread_times

Array = NDArray[np.float64]

SHARE_OF_TIME = 0.1  # of the accuracy, that the model in time may take of the rises that the load of the case makes
SHIFTS = 20  # that memory is reckoned with
MOST_INPUTS = 40  # zones: each costs a solve at every shift on every grid


@dataclass(frozen=True)
class ResponseStep:
    """One grid of the study. solves, iterations : of the linear solver; imbalance : relative, of heat at the end"""

    multiplier: int
    cells: int
    seconds: float
    solves: int
    iterations: int
    imbalance: float


@dataclass(frozen=True, eq=False)
class StepResponse(Printable):
    """Zth of every zone and probe for a watt in every zone, with doubts.

    Conductivities, films and the growth of leakage are those of the loaded steady state, held still: a watt is one
    that is made before anything warms up, and what it makes grow is in its response.

    inputs : mean temperatures of the zones that make heat, in the order of the case
    outputs : the same, then means of zones read otherwise, probes, and readings that are one of these
    times_s : (n,) [s] after the watt came on; zth : (n, outputs, inputs) [K/W], of the finest grid
    mesh_doubt : like `zth` [K/W]; time_doubt : (outputs, inputs) [K/W], at all times
    resistance : (outputs, inputs) what `zth` ends at [K/W]: the steady resistance matrix; resistance_doubt : its doubt
    accuracy_K : that was asked for; status : whether all doubts of the case at its own powers are below it
    held_K : how far properties that are held still may hold the case's own load off on the way [K]; 0 where all are
        constant
    network : of the finest grid: chains of time constants, ladders, replay of any load
    stored : by part and film that stores, (m, m) products of the modes of the network in its capacity
    stores_J_K : that capacity [J/K]
    ways : of each zone that makes heat, the ladder of a watt in it from its mean to the coolant [K/W]; None: there is
        none
    remarks : what must be said beside the numbers
    """

    case: Case
    inputs: tuple[Observable, ...]
    outputs: tuple[Observable, ...]
    times_s: Array
    zth: Array
    mesh_doubt: Array
    time_doubt: Array
    resistance: Array
    resistance_doubt: Array
    accuracy_K: float
    status: Literal["accuracy held", "accuracy not held"]
    held_K: float
    network: ModalNetwork
    stored: Mapping[str, Array]
    stores_J_K: Mapping[str, float]
    ways: tuple[Ladder | None, ...]
    steps: tuple[ResponseStep, ...]
    remarks: tuple[str, ...] = ()

    @property
    def half_width(self) -> Array:
        """(n, outputs, inputs) both doubts together [K/W]."""
        return np.asarray(self.mesh_doubt + self.time_doubt)

    @property
    def longest_s(self) -> float:
        """The longest time constant [s]."""
        return 1.0 / float(self.network.rates[0])

    @property
    def most_resistant(self) -> str:
        """The zone with the largest resistance to itself."""
        own = self.resistance[: len(self.inputs)]
        return self.network.inputs[int(np.argmax(np.diag(own)))]

    def structure(self, zone: str) -> Structure:
        """Time constants, ladder and bends of the way of the heat from a zone on.

        Raises
        ------
        UnknownNameError : no such zone
        """
        way = self.ways[self.network.input_at(zone)]
        return structure_of(self.network, zone, way, self.stored, self.stores_J_K)


def step_response(
    case: Case,
    from_s: float = 1e-3,
    until_s: float = 1e3,
    *,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    first_cells: int = FIRST_GRID_CELLS,
    grids: int | None = None,
    progress: Progress | None = None,
) -> StepResponse:
    """Step responses of all zones, on three or more grids, until all doubts of the case at its own powers are small.

    Parameters
    ----------
    from_s, until_s : first and last time [s] after the watt came on
    accuracy_K : of the case at its own power [K], instead of the case's own: a tenth of it goes to the model in time
    memory_GB : no grid is begun that would need more [GB]
    grids : climb so many, whatever the doubts; default: until the accuracy is held
    first_cells : cells of the first grid of an even family; progress : called after each grid with a line of words

    Raises
    ------
    ThermsimError : times out of order, no zone that makes heat or too many
    CaseError : what a part stores is not known
    MemoryLimitError : not so many grids fit
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError : see `thermsim.errors`
    """
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    check_response(case, from_s, until_s, wanted, grids)
    count, allowed = len(zones_of(case)), allowed_GB(memory_GB)
    steady_plan, _ = plan_for(case, plan_grid(case, first_cells), first_cells, wanted, allowed)
    plan = time_plan(case, steady_plan, from_s)
    needed = [plan.cells(one) * (BYTES_PER_CELL + 8 * count * (SHIFTS + 5)) / GIGABYTE for one in plan.multipliers]
    least = needed[(grids or FEWEST_GRIDS) - 1]
    if least > allowed:
        raise MemoryLimitError(
            f"step responses of {count} zones need {two_digits_up(least)} GB, and {allowed:.2g} GB may be used",
            f"allow more, {two_digits_up(least)} GB, or ask from a later time on",
        )
    family = _Family(case, spread_times(from_s, until_s), wanted)
    field: Field | None = None
    for multiplier, of_grid in zip(plan.multipliers[:grids], needed, strict=False):
        if of_grid > allowed:
            break
        start = time.perf_counter()
        field, _ = solve_on(case, plan.grid(multiplier), field, OUTER_K)
        family.climb(field, reader_of(case, field, from_s, multiplier), multiplier, start)
        worst = family.worst_K()
        if progress is not None:
            last = family.steps[-1]
            known = "" if worst == np.inf else f", the case at its own powers to {two_digits_up(worst)} K"
            progress(f"grid of {last.cells:,} cells done in {last.seconds:.1f} s, {last.solves} solves{known}")
        if worst <= wanted and grids is None:
            break
    return family.outcome()


def check_response(case: Case, from_s: float, until_s: float, wanted_K: float, grids: int | None = None) -> None:
    """Whether it may be asked for.

    Raises
    ------
    ThermsimError : times out of order, no zone that makes heat or too many, or what a part stores is not known
    """
    if not 0.0 < from_s < until_s < np.inf or not wanted_K > 0.0 or (grids or FEWEST_GRIDS) < FEWEST_GRIDS:
        raise ThermsimError(
            f"from {from_s:g} s until {until_s:g} s, to {wanted_K:g} K, on {grids or FEWEST_GRIDS} grids "
            "cannot be asked for",
            f"give rising times and an accuracy above zero, and {FEWEST_GRIDS} grids or more",
        )
    if any(cooling.on_loop for cooling in case.cooling):
        raise ThermsimError(
            "a step response holds coolants still, and the coolant of the loop warms up along with the stack",
            "give `fluid_C` of its faces as a number, such as `predict` tells of its coolant",
        )
    check_capacities(case)
    count = len(zones_of(case))
    if not 0 < count <= MOST_INPUTS:
        raise ThermsimError(f"{count} zones make heat", f"give between 1 and {MOST_INPUTS} zones with power")


class _Family:
    """The grids climbed so far."""

    def __init__(self, case: Case, times: Array, wanted_K: float) -> None:
        self.case, self.times, self.wanted_K = case, times, wanted_K
        self.shifts: tuple[float, ...] = ()
        self.steps: list[ResponseStep] = []
        self.tables: list[Array] = []
        self.seen: list[OnGrid] = []
        self.time_doubt: Array = np.zeros((0, 0))
        self.held_K = 0.0

    def climb(self, field: Field, reader: Reader, multiplier: int, start: float) -> None:
        columns = _Columns.of(self.case, reader)
        seen = OnGrid.of(self.case, field, multiplier, self.seen[0] if self.seen else None)
        small = model_of_load(reader, self.times, SHARE_OF_TIME * self.wanted_K, self.shifts)
        if not self.steps:
            held = held_doubts(reader, small, field, self.times, float(self.times[0]), multiplier)
            temperatures = [not one.is_heat for one in observables(self.case)]
            self.held_K = float(held[temperatures].max(initial=0.0))
        self.shifts = small.shifts
        names, places = _places(self.case, reader)
        model = block_model(reader.system, columns.heats, columns.seen, self.shifts, places)
        self.seen.append(replace(seen, error=0.0, unseen=_unseen(reader, model.steady)))
        imbalance = _imbalance(model.modes, columns)
        if not imbalance <= LARGEST_IMBALANCE:
            raise HeatBalanceError(
                f"heat made and let out differ by {imbalance:.1e} of the heat",
                "this is a fault of the solver or of a coefficient range: keep the case file and report it",
            )
        with_end = np.append(self.times, np.inf)
        risen = model.modes.step(with_end)[:, :-1]
        fewer = model.modes.fewer(self.shifts[: max(1, len(self.shifts) - DROPPED)])
        self.time_doubt = TIMES_CHANGE * np.abs(risen - fewer.step(with_end)[:, :-1]).max(axis=0)
        self.tables.append(risen + columns.at_once)
        shape = reader.system.shape
        count, seconds = shape[0] * shape[1] * shape[2], time.perf_counter() - start
        self.steps.append(ResponseStep(multiplier, count, seconds, model.solves, model.iterations, imbalance))
        self.field, self.reader, self.columns, self.modes = field, reader, columns, model.modes
        self.stored = dict(zip(names, model.stored, strict=True))
        capacities = np.bincount(places[places >= 0], reader.system.capacity.ravel()[places >= 0], len(names))
        self.stores_J_K = dict(zip(names, capacities.tolist(), strict=True))
        self.made_W = np.array(
            [float(reader.resting.made_in(zone, reader.rise.model)[0].sum()) for zone in columns.zones]
        )
        self.fields = [
            field_of_watt(reader, zone, cells) for zone, cells in zip(columns.zones, model.steady, strict=True)
        ]

    def _over_time(self, seen: OnGrid) -> dict[str, Array]:
        """What film maps hide at each time, for every answer and input: they are reached later than a watt warms its
        own zone."""
        inputs = np.arange(len(self.columns.inputs))
        own = self.tables[-1][:, inputs, inputs]
        share = np.broadcast_to((own / own[-1])[:, None, :], self.tables[-1].shape)
        return {film: share * row for film, row in seen.unseen.items()}

    def _judged(self, weights: Array | None = None) -> list[Doubt]:
        """Of every time, answer and input; or with weights for the inputs of their sums."""

        def told(table: Array) -> Array:
            return np.asarray(table if weights is None else table @ weights).ravel()

        grids = [
            replace(seen, unseen={film: told(own) for film, own in self._over_time(seen).items()}) for seen in self.seen
        ]
        return [each.at_finest for each in judged(np.array([told(table) for table in self.tables]), grids)]

    def worst_K(self) -> float:
        """The widest doubt of the case at its own powers, at any time [K]; infinite on too few grids."""
        if len(self.steps) < FEWEST_GRIDS:
            return np.inf
        mesh = max(each.half_width for each in self._judged(self.made_W))
        return mesh + float((self.time_doubt @ self.made_W).max())

    def outcome(self) -> StepResponse:
        shape, told = self.tables[-1].shape, self._judged()
        values = np.array([one.value for one in told]).reshape(shape)
        doubts = np.array([one.half_width for one in told]).reshape(shape)
        columns, modes, reader, worst = self.columns, self.modes, self.reader, self.worst_K()
        network = ModalNetwork(
            tuple(zone.label or zone.name for zone in columns.inputs),
            tuple(_name(one) for one in columns.outputs),
            float(self.times[0]),
            modes.rates,
            modes.heat,
            modes.seen[:, :-1],
            columns.at_once,
            np.array([reader.rest[one] for one in columns.outputs]),
            self.made_W,
        )
        return StepResponse(
            self.case, columns.inputs, columns.outputs, self.times, values[:-1], doubts[:-1], self.time_doubt,
            values[-1], doubts[-1], self.wanted_K,
            "accuracy held" if worst <= self.wanted_K else "accuracy not held", self.held_K,
            network, self.stored, self.stores_J_K, tuple(map(ladder, self.fields)), tuple(self.steps),
            self._remarks(worst),
        )  # fmt: skip

    def _remarks(self, worst_K: float) -> tuple[str, ...]:
        said = remarks_of_state(self.case, self.field, self.field.hottest[0])
        if worst_K > self.wanted_K:
            said.append(
                f"accuracy not held: the case at its own powers is known to {two_digits_up(worst_K)} K at every time, "
                f"not to {self.wanted_K:g} K"
            )
        if self.held_K > 0.0:
            said.append(
                "conductivities, heat capacities and leakage are those of the case at its own powers, held still: they "
                f"hold its own warm-up up to {two_digits_up(self.held_K)} K off on the way, and other loads at their "
                "ends too"
            )
        said += [
            f"what the joint {name!r} stores is left out: nobody knows how thick it is" for name in left_out(self.case)
        ]
        return grave_first(said)


def _places(case: Case, reader: Reader) -> tuple[tuple[str, ...], NDArray[np.int64]]:
    """Parts and films that store, and which of them each cell belongs to; -1 where nothing is stored."""
    owners = [region.part for region in reader.model.regions]
    owners += [film.joint for film in storing_films(case, reader.model)]
    names = tuple(dict.fromkeys(owners))
    numbers = np.array([names.index(owner) for owner in owners])
    box = reader.system.stencil.box.ravel().astype(np.int64)
    return names, np.where((box >= 0) & (reader.system.capacity.ravel() > 0.0), numbers[box], -1)


def _unseen(reader: Reader, steady: Array) -> dict[str, Array]:
    """By film map, (inputs,) [K/W] what it adds at most within cells in the end, see `mesh.unseen_streaks`."""
    streaks, system = streaks_of(reader.case, reader.model), reader.system
    risen = [system.of_model(cells.reshape(system.shape)) for cells in steady]
    return {one.film: np.array([one.unseen_of(field) for field in risen]) for one in streaks}


def field_of_watt(reader: Reader, zone: ZoneCells, cells: Array) -> Field:
    """What a watt in one zone ends at, as a field of rises. cells : of the system"""
    model = reader.rise.model
    shares = model.shares(zone)
    faces, volumes = [], []
    for face_source in model.face_sources:
        watts = np.zeros_like(face_source.watts)
        if (face_source.face, face_source.side) == (zone.face, zone.side) and face_source.part == zone.part:
            watts[zone.x, zone.y] = shares
        faces.append(replace(face_source, watts=watts))
    for volume_source in model.volume_sources:
        watts = np.zeros_like(volume_source.watts)
        if zone.face is None and volume_source.part == zone.part:
            watts[zone.x, zone.y] = shares
        volumes.append(replace(volume_source, watts=watts))
    watt = replace(model, face_sources=tuple(faces), volume_sources=tuple(volumes))
    rises = reader.system.of_model(cells.reshape(reader.system.shape))
    return Field(watt, reader.rise.guess, np.where(model.region >= 0, rises, np.nan), 0.0)


def _name(one: Observable) -> str:
    """A zone by its name alone, as its input is called."""
    return (one.label or one.name) if one.kind == "zone" else str(one)


@dataclass(frozen=True, eq=False)
class _Columns:
    """What a watt in each zone is to the cells, and what each answer takes from them.

    heats : (inputs, cells); seen : (outputs and heat let out, cells); at_once : (outputs, inputs) [K/W]
    """

    zones: tuple[ZoneCells, ...]
    inputs: tuple[Observable, ...]
    outputs: tuple[Observable, ...]
    heats: Array
    seen: Array
    at_once: Array

    @classmethod
    def of(cls, case: Case, reader: Reader) -> _Columns:
        system, zones = reader.system, reader.model.zones
        inputs = tuple(of_zone(zone, "mean") for zone in zones)
        others = [one for one in observables(case) if one.kind == "probe"]
        asked = {one: weights_of(one, case, reader.model) for one in (*inputs, *others)}
        weights = {one: own for one, own in asked.items() if own is not None}
        seen = np.array([system.column(own)[0].ravel() for own in weights.values()])
        at_once = np.zeros((len(weights), len(zones)))
        for column, zone in enumerate(zones):
            if zone.face is None:
                continue
            watt = np.zeros(reader.model.grid.face_area(2).shape)
            watt[zone.x, zone.y] = reader.model.shares(zone)
            upper = zone.side == "upper"
            sides = system.heated_nodes(zone.face, 0.0 if upper else watt, watt if upper else 0.0)
            for row, own in enumerate(weights.values()):
                for (axis, face, side), (at, share) in own.faces.items():
                    if (axis, face) == (2, zone.face):
                        at_once[row, column] += float(sides[side][tuple(at)] @ share)
        heats, out = seen[: len(zones)], system.stencil.ground.reshape(1, -1)
        return cls(zones, inputs, tuple(weights), heats, np.concatenate([seen, out]), at_once)


def _imbalance(modes: Modes, columns: _Columns) -> float:
    """Of a watt in each zone, relative: let out at the end, less what is made."""
    out = (modes.seen[:, -1] / modes.rates) @ modes.heat
    made = columns.heats.sum(axis=1)
    return float(np.abs(out - made).max() / np.abs(made).max())

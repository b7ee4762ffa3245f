"""How every zone, and every probe, answers a watt in every zone over time: the resistance matrix in time, Zth(t).

Source of the names: JEDEC JESD51-1 (Zth), JESD51-14 (structure function), JESD51-31 (resistance matrix), from memory.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import HeatBalanceError, MemoryLimitError, ThermsimError
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import FEWEST_GRIDS, OUTER_K, plan_for, solve_on
from thermsim.mesh.settling import OnGrid, judged
from thermsim.mesh.unseen_streaks import streaks_of
from thermsim.model.build import ZoneCells
from thermsim.model.grid.plan import BYTES_PER_CELL, FIRST_GRID_CELLS, plan_grid
from thermsim.model.storage import check_capacities
from thermsim.progress import Progress
from thermsim.readout.answers import observables, weights_of
from thermsim.readout.field import LARGEST_IMBALANCE, Field
from thermsim.readout.observable import Observable, of_zone
from thermsim.response.block import Modes, block_model
from thermsim.response.network import ModalNetwork
from thermsim.rounding import two_digits_up
from thermsim.solver.linear import prepare, solve_many
from thermsim.transient.curves import Reader
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import DROPPED, TIMES_CHANGE
from thermsim.units import GIGABYTE
from thermsim.warming.held_still import model_of_load, reader_of
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
class StepResponse:
    """Zth of every zone and probe for a watt in every zone, with doubts.

    Conductivities, films and the growth of leakage are those of the loaded steady state, held still: a watt is one
    that is made before anything warms up, and what it makes grow is in its response.

    inputs : mean temperatures of the zones that make heat, in the order of the case
    outputs : the same, then means of zones read otherwise, probes, and readings that are one of these
    times_s : (n,) [s] after the watt came on; zth : (n, outputs, inputs) [K/W], of the finest grid
    mesh_doubt : like `zth` [K/W]; time_doubt : (outputs, inputs) [K/W], at all times
    network : of the finest grid: chains of time constants, ladders, replay of any load
    """

    case: Case
    inputs: tuple[Observable, ...]
    outputs: tuple[Observable, ...]
    times_s: Array
    zth: Array
    mesh_doubt: Array
    time_doubt: Array
    network: ModalNetwork
    steps: tuple[ResponseStep, ...]

    @property
    def half_width(self) -> Array:
        """(n, outputs, inputs) both doubts together [K/W]."""
        return np.asarray(self.mesh_doubt + self.time_doubt)


def step_response(
    case: Case,
    from_s: float = 1e-3,
    until_s: float = 1e3,
    *,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    first_cells: int = FIRST_GRID_CELLS,
    grids: int = FEWEST_GRIDS,
    progress: Progress | None = None,
) -> StepResponse:
    """Step responses of all zones, on three or more grids.

    Parameters
    ----------
    from_s, until_s : first and last time [s] after the watt came on
    accuracy_K : of the case at its own power [K], instead of the case's own: a tenth of it goes to the model in time
    grids : how many are climbed; memory_GB : none is begun that would need more [GB]
    first_cells : cells of the first grid of an even family; progress : called after each grid with a line of words

    Raises
    ------
    ThermsimError : times out of order, no zone that makes heat or too many
    CaseError : what a part stores is not known
    MemoryLimitError : not so many grids fit
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError : see `thermsim.errors`
    """
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    if not 0.0 < from_s < until_s < np.inf or not wanted > 0.0 or grids < FEWEST_GRIDS:
        raise ThermsimError(
            f"from {from_s:g} s until {until_s:g} s, to {wanted:g} K, on {grids} grids cannot be asked for",
            f"give rising times and an accuracy above zero, and {FEWEST_GRIDS} grids or more",
        )
    if any(cooling.on_loop for cooling in case.cooling):
        raise ThermsimError(
            "a step response holds coolants still, and the coolant of the loop warms up along with the stack",
            "give `fluid_C` of its faces as a number, such as `predict` tells of its coolant",
        )
    check_capacities(case)
    count = sum(len(heat.zones) for heat in case.heat)
    if not 0 < count <= MOST_INPUTS:
        raise ThermsimError(f"{count} zones make heat", f"give between 1 and {MOST_INPUTS} zones with power")
    allowed = allowed_GB(memory_GB)
    steady_plan, _ = plan_for(case, plan_grid(case, first_cells), first_cells, wanted, allowed)
    plan = time_plan(case, steady_plan, from_s)
    multipliers = plan.multipliers[:grids]
    needed = plan.cells(multipliers[-1]) * (BYTES_PER_CELL + 8 * count * (SHIFTS + 5)) / GIGABYTE
    if needed > allowed:
        raise MemoryLimitError(
            f"step responses of {count} zones need {two_digits_up(needed)} GB, and {allowed:.2g} GB may be used",
            f"allow more, {two_digits_up(needed)} GB, or ask from a later time on",
        )
    family = _Family(case, spread_times(from_s, until_s), wanted)
    field: Field | None = None
    for multiplier in multipliers:
        start = time.perf_counter()
        field, _ = solve_on(case, plan.grid(multiplier), field, OUTER_K)
        family.climb(field, reader_of(case, field, from_s, multiplier), multiplier, start)
        if progress is not None:
            last = family.steps[-1]
            progress(f"grid of {last.cells:,} cells done in {last.seconds:.1f} s, {last.solves} solves")
    assert field is not None
    return family.outcome()


class _Family:
    """The grids climbed so far."""

    def __init__(self, case: Case, times: Array, wanted_K: float) -> None:
        self.case, self.times, self.wanted_K = case, times, wanted_K
        self.shifts: tuple[float, ...] = ()
        self.steps: list[ResponseStep] = []
        self.tables: list[Array] = []
        self.seen: list[OnGrid] = []
        self.time_doubt: Array = np.zeros((0, 0))

    def climb(self, field: Field, reader: Reader, multiplier: int, start: float) -> None:
        columns = _Columns.of(self.case, reader)
        seen = OnGrid.of(self.case, field, multiplier, self.seen[0] if self.seen else None)
        self.seen.append(replace(seen, error=0.0, unseen=_unseen(reader, columns.heats)))
        self.shifts = model_of_load(reader, self.times, SHARE_OF_TIME * self.wanted_K, self.shifts).shifts
        model = block_model(reader.system, columns.heats, columns.seen, self.shifts)
        imbalance = _imbalance(model.modes, columns)
        if not imbalance <= LARGEST_IMBALANCE:
            raise HeatBalanceError(
                f"heat made and let out differ by {imbalance:.1e} of the heat",
                "this is a fault of the solver or of a coefficient range: keep the case file and report it",
            )
        risen = model.modes.step(self.times)[:, :-1]
        fewer = model.modes.fewer(self.shifts[: max(1, len(self.shifts) - DROPPED)])
        self.time_doubt = TIMES_CHANGE * np.abs(risen - fewer.step(self.times)[:, :-1]).max(axis=0)
        self.tables.append(risen + columns.at_once)
        shape = reader.system.shape
        cells = shape[0] * shape[1] * shape[2]
        seconds = time.perf_counter() - start
        self.steps.append(ResponseStep(multiplier, cells, seconds, model.solves, model.iterations, imbalance))
        self.reader, self.columns, self.modes = reader, columns, model.modes

    def _over_time(self, seen: OnGrid) -> dict[str, Array]:
        """What film maps hide at each time, for every answer: they are reached later than a watt warms its own zone."""
        inputs = np.arange(len(self.columns.inputs))
        own = self.tables[-1][:, inputs, inputs]
        share = np.broadcast_to((own / own[-1])[:, None, :], self.tables[-1].shape)
        return {film: (share * row).ravel() for film, row in seen.unseen.items()}

    def outcome(self) -> StepResponse:
        table = np.array(self.tables).reshape(len(self.tables), -1)
        shape = self.tables[-1].shape
        grids = [replace(seen, unseen=self._over_time(seen)) for seen in self.seen]
        told = [each.at_finest for each in judged(table, grids)]
        columns, modes, reader = self.columns, self.modes, self.reader
        made = [reader.resting.made_in(zone, reader.rise.model)[0] for zone in columns.zones]
        network = ModalNetwork(
            tuple(zone.label or zone.name for zone in columns.inputs),
            tuple(_name(one) for one in columns.outputs),
            float(self.times[0]),
            modes.rates,
            modes.heat,
            modes.seen[:, :-1],
            columns.at_once,
            np.array([reader.rest[one] for one in columns.outputs]),
            np.array([float(watts.sum()) for watts in made]),
        )
        return StepResponse(
            self.case, columns.inputs, columns.outputs, self.times,
            np.array([each.value for each in told]).reshape(shape),
            np.array([each.half_width for each in told]).reshape(shape),
            self.time_doubt, network, tuple(self.steps),
        )  # fmt: skip


def _unseen(reader: Reader, heats: Array) -> dict[str, Array]:
    """By film map, (inputs,) [K/W] what it adds at most within cells in the end, see `mesh.unseen_streaks`."""
    streaks, system = streaks_of(reader.case, reader.model), reader.system
    if not streaks:
        return {}
    state = prepare(system.stencil, reader.model.may_have_islands)
    solutions = solve_many(state, [heat.reshape(system.shape) for heat in heats])
    risen = [system.of_model(solution.checked().temperature) for solution in solutions]
    return {one.film: np.array([one.unseen_of(field) for field in risen]) for one in streaks}


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

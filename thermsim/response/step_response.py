"""How every zone, and every probe, answers a watt in every zone over time: the resistance matrix in time, Zth(t).

Source of the names: JEDEC JESD51-1 (Zth), JESD51-14 (structure function), JESD51-31 (resistance matrix), from memory.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.geometry.zones import zones_of
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import HeatBalanceError, MemoryLimitError, ThermsimError
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import FEWEST_GRIDS, OUTER_K, plan_for, solve_on
from thermsim.mesh.prediction_remarks import grave_first, remarks_of_state
from thermsim.mesh.settling import OnGrid, judged
from thermsim.model.grid.plan import BYTES_PER_CELL, FIRST_GRID_CELLS, plan_grid
from thermsim.model.powers import beside_zones_W
from thermsim.model.storage import check_capacities, left_out
from thermsim.printable import Printable
from thermsim.progress import Progress
from thermsim.readout.field import LARGEST_IMBALANCE, Field
from thermsim.readout.observable import COOLANT, Observable
from thermsim.response.block import block_model
from thermsim.response.columns import Columns, imbalance_of, places_of, unseen_of
from thermsim.response.coolant_port import LOOP_PART, LoopNumbers, Port
from thermsim.response.held import HeldStill, held_still
from thermsim.response.network import CHANGED, ModalNetwork, on_loop
from thermsim.response.structure import Structure, structure_of
from thermsim.response.ways import Ways
from thermsim.rounding import two_digits_up
from thermsim.transient.curves import Reader
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import DROPPED, TIMES_CHANGE, SmallModel
from thermsim.units import GIGABYTE
from thermsim.warming.held_still import model_of_load, reader_of
from thermsim.warming.told_times import spread_times

Array = NDArray[np.float64]

SHARE_OF_TIME = 0.1  # of the accuracy, that the model in time may take of the rises that the load of the case makes
SHIFTS = 20  # that memory is reckoned with
END = np.array([np.inf])
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
    family : the grids climbed
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
    family: _Family
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
        at = self.network.input_at(zone)
        coolant_K = 0.0 if self.network.loop is None else float(self.network.responses(END)[0, -1, at])
        return structure_of(self.network, zone, self.family.ways.of(at, coolant_K), self.stored, self.stores_J_K)

    def with_loop(
        self,
        *,
        heat_capacity_J_K: float | None = None,
        radiator_W_K: float | None = None,
        flow_l_min: float | None = None,
        room_C: float | None = None,
        pump_W: float | None = None,
    ) -> StepResponse:
        """The same on a coolant loop with other numbers, with all doubts, without any solve.

        `held_K` holds what leakage and conductivities that were held may cost besides, to first order.

        Raises
        ------
        ThermsimError : the case has no loop, or one with such numbers cannot be
        """
        changed = self.network.with_loop(
            heat_capacity_J_K=heat_capacity_J_K, radiator_W_K=radiator_W_K, flow_l_min=flow_l_min, room_C=room_C,
            pump_W=pump_W,
        )  # fmt: skip
        assert changed.loop is not None
        return self.family.outcome(changed.loop.numbers)

    def replay(
        self,
        times_s: ArrayLike,
        powers_W: ArrayLike | Mapping[str, ArrayLike],
        between: Literal["constant", "line"] = "constant",
        coolant_C: ArrayLike | None = None,
    ) -> tuple[Array, Array]:
        """Temperatures under any load with their mesh and time doubt, both (n, outputs) [C, K]: see `network.replay`.

        Raises what that raises.
        """
        return self.family.replayed(self.network, lambda network: network.replay(times_s, powers_W, between, coolant_C))

    def moved_by_loop(self) -> dict[str, Array]:
        """By number of the loop that has a tolerance: (n, outputs) by how much it moves the case at its own powers [K].

        The larger of both ends, at each time and output; nothing is solved. Empty without a loop.
        """
        given = self.case.coolant_loop
        if self.network.loop is None or given is None:
            return {}
        found, before = {}, self._at_own_powers(self.network)
        for name in CHANGED:
            number = getattr(given, name)
            if number is not None and number.plus_minus:
                ends = [
                    self._at_own_powers(self.network.with_loop(**{name: number.value + sign * number.plus_minus}))
                    for sign in (-1.0, 1.0)
                ]
                found[name] = np.abs(np.array(ends) - before).max(axis=0)
        return found

    def _at_own_powers(self, network: ModalNetwork) -> Array:
        """(n, outputs) temperatures [C] over time."""
        return np.asarray(network.unheated_C + network.responses(self.times_s) @ network.made_W)


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
    numbers = LoopNumbers.of(case) if any(cooling.on_loop for cooling in case.cooling) else None
    family = _Family(case, spread_times(from_s, until_s), wanted)
    field: Field | None = None
    for multiplier, of_grid in zip(plan.multipliers[:grids], needed, strict=False):
        if of_grid > allowed:
            break
        start = time.perf_counter()
        field, _ = solve_on(case, plan.grid(multiplier), field, OUTER_K)
        family.climb(field, reader_of(case, field, from_s, multiplier), multiplier, start)
        worst = family.worst_K(numbers)
        if progress is not None:
            last = family.steps[-1]
            known = "" if worst == np.inf else f", the case at its own powers to {two_digits_up(worst)} K"
            progress(f"grid of {last.cells:,} cells done in {last.seconds:.1f} s, {last.solves} solves{known}")
        if worst <= wanted and grids is None:
            break
    return family.outcome(numbers)


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
    check_capacities(case)
    count = len(zones_of(case))
    if not 0 < count <= MOST_INPUTS:
        raise ThermsimError(f"{count} zones make heat", f"give between 1 and {MOST_INPUTS} zones with power")


@dataclass(frozen=True, eq=False)
class OnGrids:
    """Step responses on all grids. network : of the finest; tables : (grids, n, outputs, inputs), the end last"""

    network: ModalNetwork
    tables: Array
    seen: list[OnGrid]
    time_doubt: Array

    def judged(self, weights: Array | None = None) -> tuple[Array, Array]:
        """Values and mesh doubts of every time, answer and input; or with weights for the inputs of their sums."""

        def told(table: Array) -> Array:
            return np.asarray(table if weights is None else table @ weights)

        grids = [
            replace(one, unseen={film: told(own).ravel() for film, own in one.unseen.items()}) for one in self.seen
        ]
        tables = [told(table) for table in self.tables]
        found = [each.at_finest for each in judged(np.array([table.ravel() for table in tables]), grids)]
        shape = tables[-1].shape
        return (
            np.array([one.value for one in found]).reshape(shape),
            np.array([one.half_width for one in found]).reshape(shape),
        )

    @property
    def worst_K(self) -> float:
        """The widest doubt of the case at its own powers, at any time [K]."""
        made = self.network.made_W
        return float(self.judged(made)[1].max() + (self.time_doubt @ made).max())


class _Family:
    """The grids climbed so far; any numbers of a coolant loop can be told of them.

    stacks, ports : of each grid, with the coolant held, and what the coolant is to it
    """

    def __init__(self, case: Case, times: Array, wanted_K: float) -> None:
        self.case, self.times, self.wanted_K = case, times, wanted_K
        self.shifts: tuple[float, ...] = ()
        self.steps: list[ResponseStep] = []
        self.stacks: list[ModalNetwork] = []
        self.ports: list[Port | None] = []
        self.seen: list[OnGrid] = []
        self.held = HeldStill(0.0, np.zeros(0), 0.0)

    def climb(self, field: Field, reader: Reader, multiplier: int, start: float) -> None:
        """Take in one grid more."""
        columns, from_s = Columns.of(self.case, reader), float(self.times[0])
        seen = OnGrid.of(self.case, field, multiplier, self.seen[0] if self.seen else None)
        small = model_of_load(reader, self.times, SHARE_OF_TIME * self.wanted_K, self.shifts)
        if not self.steps:
            self.held = held_still(reader, small, field, self.times, multiplier)
        self.shifts = small.shifts
        names, places = places_of(self.case, reader)
        model = block_model(reader.system, columns.heats, columns.seen, self.shifts, places)
        self.seen.append(replace(seen, error=0.0, unseen=unseen_of(reader, model.steady)))
        imbalance = imbalance_of(model.modes, columns)
        if not imbalance <= LARGEST_IMBALANCE:
            raise HeatBalanceError(
                f"heat made and let out differ by {imbalance:.1e} of the heat",
                "this is a fault of the solver or of a coefficient range: keep the case file and report it",
            )
        fewer = model.modes.fewer(self.shifts[: max(1, len(self.shifts) - DROPPED)])
        self.stacks.append(columns.network(model.modes, reader, from_s))
        self.ports.append(columns.port(model.modes, reader))
        self.fewer = columns.network(fewer, reader, from_s), columns.port(fewer, reader)
        shape = reader.system.shape
        count, seconds = shape[0] * shape[1] * shape[2], time.perf_counter() - start
        self.steps.append(ResponseStep(multiplier, count, seconds, model.solves, model.iterations, imbalance))
        self.field, self.columns = field, columns
        self.beside_W = beside_zones_W(reader.rise.model)
        has_maps = any(heat.map is not None for heat in self.case.heat)
        self.uneven_K = self._uneven(reader, small) if has_maps and reader.coolant is None else None
        self.stored = dict(zip(names, model.stored, strict=True))
        capacities = np.bincount(places[places >= 0], reader.system.capacity.ravel()[places >= 0], len(names))
        self.stores_J_K = dict(zip(names, capacities.tolist(), strict=True))
        self.ways = Ways(reader, columns.zones, model.steady)

    def told(self, numbers: LoopNumbers | None) -> OnGrids:
        """All step responses on all grids, with a loop of these numbers."""
        pairs = [*zip(self.stacks, self.ports, strict=True), self.fewer]
        *networks, fewer = (
            stack if port is None or numbers is None else on_loop(stack, port, numbers) for stack, port in pairs
        )
        with_end = np.append(self.times, np.inf)
        tables = [network.responses(with_end) for network in networks]
        time_doubt = TIMES_CHANGE * np.abs(tables[-1] - fewer.responses(with_end)).max(axis=0)
        return OnGrids(
            networks[-1], np.array(tables), [self._over_time(seen, tables[-1]) for seen in self.seen], time_doubt
        )

    def replayed(self, like: ModalNetwork, answer: Callable[[ModalNetwork], Array]) -> tuple[Array, Array]:
        """What networks of all grids answer, of the finest, with mesh and time doubt. like : has the loop's numbers"""
        pairs = [*zip(self.stacks, self.ports, strict=True), self.fewer]
        *tables, fewer = (
            answer(stack if port is None or like.loop is None else on_loop(stack, port, like.loop.numbers))
            for stack, port in pairs
        )
        shape = tables[-1].shape
        rises = np.abs(tables[-1] - like.unheated_C)
        ends = np.abs(like.responses(END)[0] @ like.made_W)
        share = rises / np.where(ends > 0.0, ends, 1.0)  # what film maps hide is as large as what is risen, about
        inputs = len(self.columns.inputs)
        grids = [
            replace(
                seen, unseen={film: (share * (row[:inputs] @ like.made_W)).ravel() for film, row in seen.unseen.items()}
            )
            for seen in self.seen
        ]
        found = judged(np.array([table.ravel() for table in tables]), grids)
        mesh = np.array([each.at_finest.half_width for each in found]).reshape(shape)
        return tables[-1], mesh + TIMES_CHANGE * np.abs(tables[-1] - fewer).max(axis=0)

    def _over_time(self, seen: OnGrid, table: Array) -> OnGrid:
        """With what film maps hide at each time, for every answer and input: they are reached later than a watt warms
        its own zone."""
        inputs = np.arange(len(self.columns.inputs))
        own = table[:, inputs, inputs]
        share = np.broadcast_to((own / own[-1])[:, None, :], table.shape)
        unseen = {film: row[: len(inputs)] for film, row in seen.unseen.items()}
        if self.ports[-1] is not None:  # the last is that of a kelvin of the coolant
            unseen = {film: row + table[-1, -1] * seen.unseen[film][-1] for film, row in unseen.items()}
        unseen = {film: share * row for film, row in unseen.items()}
        return replace(seen, unseen=unseen)

    def worst_K(self, numbers: LoopNumbers | None) -> float:
        """The widest doubt of the case at its own powers, at any time [K]; infinite on too few grids."""
        if len(self.steps) < FEWEST_GRIDS:
            return np.inf
        return self.told(numbers).worst_K

    def outcome(self, numbers: LoopNumbers | None) -> StepResponse:
        """What is known of all grids, with a loop of these numbers."""
        told = self.told(numbers)
        (values, doubts), network, columns = told.judged(), told.network, self.columns
        worst, stored, stores = told.worst_K, self.stored, self.stores_J_K
        if numbers is not None and network.loop is not None:
            turn = network.loop.turn
            stored = {name: turn[1:].T @ own @ turn[1:] for name, own in stored.items()}
            stored[LOOP_PART], stores = np.outer(turn[0], turn[0]), {**stores, LOOP_PART: numbers.heat_capacity_J_K}
        outputs = columns.outputs if network.loop is None else (*columns.outputs, COOLANT)
        held_K = self.held.with_loop_K(network, self.case)
        return StepResponse(
            self.case, columns.inputs, outputs, self.times, values[:-1], doubts[:-1], told.time_doubt,
            values[-1], doubts[-1], self.wanted_K,
            "accuracy held" if worst <= self.wanted_K else "accuracy not held", held_K,
            network, stored, stores, self, tuple(self.steps), self._remarks(worst, held_K),
        )  # fmt: skip

    def _uneven(self, reader: Reader, small: SmallModel) -> float:
        """How far watts that are spread evenly over each zone are off the heat of maps [K], at most."""
        network, curves = self.stacks[-1], reader.curves(small, self.times)
        even = network.unheated_C + network.responses(self.times) @ network.made_W
        return max(float(np.abs(curves[one] - even[:, at]).max()) for at, one in enumerate(self.columns.outputs))

    def _remarks(self, worst_K: float, held_K: float) -> tuple[str, ...]:
        said = remarks_of_state(self.case, self.field, self.field.hottest[0])
        if worst_K > self.wanted_K:
            said.append(
                f"accuracy not held: the case at its own powers is known to {two_digits_up(worst_K)} K at every time, "
                f"not to {self.wanted_K:g} K"
            )
        if held_K > 0.0:
            said.append(
                "conductivities, heat capacities and leakage are those of the case at its own powers, held still: they "
                f"hold its own warm-up up to {two_digits_up(held_K)} K off on the way, and other loads at their "
                "ends too"
            )
        if self.beside_W:
            said.append(
                f"of the heat, {two_digits_up(abs(self.beside_W))} W are made where no zone is, and no watt stands for "
                "them"
            )
        elif any(heat.map is not None for heat in self.case.heat):
            said.append("heat of a map is taken as spread evenly over each zone")
            if self.uneven_K is not None:
                said[-1] += f": at the case's own powers that is up to {two_digits_up(self.uneven_K)} K off"
        said += [
            f"what the joint {name!r} stores is left out: nobody knows how thick it is" for name in left_out(self.case)
        ]
        return grave_first(said)

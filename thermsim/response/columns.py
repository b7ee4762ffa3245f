"""What a watt in each zone is to the cells of a system, and what zones and probes take from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.unseen_streaks import streaks_of
from thermsim.model.build import ZoneCells
from thermsim.model.storage import storing_films
from thermsim.readout.answers import observables, weights_of
from thermsim.readout.observable import Observable, of_zone
from thermsim.response.block import Modes
from thermsim.response.coolant_port import Port
from thermsim.response.network import ModalNetwork
from thermsim.transient.curves import Reader

Array = NDArray[np.float64]


def places_of(case: Case, reader: Reader) -> tuple[tuple[str, ...], NDArray[np.int64]]:
    """Parts and films that store, and which of them each cell belongs to; -1 where nothing is stored."""
    owners = [region.part for region in reader.model.regions]
    owners += [film.joint for film in storing_films(case, reader.model)]
    names = tuple(dict.fromkeys(owners))
    numbers = np.array([names.index(owner) for owner in owners])
    box = reader.system.stencil.box.ravel().astype(np.int64)
    return names, np.where((box >= 0) & (reader.system.capacity.ravel() > 0.0), numbers[box], -1)


def unseen_of(reader: Reader, steady: Array) -> dict[str, Array]:
    """By film map, (inputs,) [K/W] what it adds at most within cells in the end, see `mesh.unseen_streaks`."""
    streaks, system = streaks_of(reader.case, reader.model), reader.system
    risen = [system.of_model(cells.reshape(system.shape)) for cells in steady]
    return {one.film: np.array([one.unseen_of(field) for field in risen]) for one in streaks}


def name_of(one: Observable) -> str:
    """A zone by its name alone, as its input is called."""
    return (one.label or one.name) if one.kind == "zone" else str(one)


@dataclass(frozen=True, eq=False)
class Columns:
    """What a watt in each zone is to the cells, and what each answer takes from them.

    heats : (inputs, cells), of a kelvin of the coolant of a loop last; seen : (outputs and heat let out, cells)
    at_once : (outputs, inputs) [K/W]; by_coolant : (outputs,) what a kelvin of that coolant adds at once
    """

    zones: tuple[ZoneCells, ...]
    inputs: tuple[Observable, ...]
    outputs: tuple[Observable, ...]
    heats: Array
    seen: Array
    at_once: Array
    by_coolant: Array

    @classmethod
    def of(cls, case: Case, reader: Reader) -> Columns:
        """Of all zones, and of the probes of a case."""
        system, zones = reader.system, reader.model.zones
        inputs = tuple(of_zone(zone, "mean") for zone in zones)
        others = [one for one in observables(case) if one.kind == "probe"]
        asked = {one: weights_of(one, case, reader.model) for one in (*inputs, *others)}
        weights = {one: own for one, own in asked.items() if own is not None}
        seen = np.array([system.column(own)[0].ravel() for own in weights.values()])
        seen[:, system.stencil.box.ravel() < 0] = 0.0  # a void has no temperature, and takes no heat
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
        by_coolant = np.zeros(len(weights))
        if reader.coolant is not None:
            heats = np.concatenate([heats, reader.coolant.gives[None]])
            by_coolant = np.array([reader.with_coolant(own) for own in weights.values()])
        return cls(zones, inputs, tuple(weights), heats, np.concatenate([seen, out]), at_once, by_coolant)

    def network(self, modes: Modes, reader: Reader, from_s: float) -> ModalNetwork:
        """The response of the stack, the coolant of a loop held."""
        made = [reader.resting.made_in(zone, reader.rise.model)[0] for zone in self.zones]
        return ModalNetwork(
            tuple(zone.label or zone.name for zone in self.inputs),
            tuple(name_of(one) for one in self.outputs),
            from_s,
            modes.rates,
            modes.heat[:, : len(self.inputs)],
            modes.seen[:, :-1],
            self.at_once,
            np.array([reader.rest[one] for one in self.outputs]),
            np.array([float(watts.sum()) for watts in made]),
        )

    def port(self, modes: Modes, reader: Reader) -> Port | None:
        """What the coolant of a loop is to these modes; None without one."""
        coolant, rest_C = reader.coolant, reader.resting.model.coolant_C
        if coolant is None or rest_C is None:
            return None
        of_kelvin = reader.of_a_kelvin_at_rest()
        rest_K_K = np.array([of_kelvin[one] for one in self.outputs])
        on_loop = [("flow", str(number)) for number in reader.model.on_loop]
        slopes = np.array([float(reader.growth_in(zone).sum()) for zone in self.zones])
        heat_W = (rest_C - coolant.loop.still_C) / coolant.loop.per_watt_K
        return Port(
            modes.heat[:, -1], coolant.per_K, self.by_coolant[: len(self.inputs)], self.by_coolant, rest_C, heat_W,
            sum(of_kelvin[one] for one in on_loop), rest_K_K, slopes * rest_K_K[: len(self.inputs)],
        )  # fmt: skip


def imbalance_of(modes: Modes, columns: Columns) -> float:
    """Of a watt in each zone, relative: let out at the end, less what is made."""
    out = (modes.seen[:, -1] / modes.rates) @ modes.heat
    made = columns.heats.sum(axis=1)
    return float(np.abs(out - made).max() / np.abs(made).max())

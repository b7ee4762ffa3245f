"""What each kind of observable is, and all answers of a case.

A kind says here, once, which of it a case has and what one is: weights of temperatures where it is a weighted sum, else
a value and what it is to first order. Grids, adjoints, superposition and small models read it from here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from math import nan

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import probe_point
from thermsim.case.geometry.zones import zone_of, zones_of
from thermsim.case.vocabulary.schema import Case, Reading
from thermsim.errors import ThermsimError
from thermsim.model.build import Model, ZoneCells
from thermsim.model.grid.axes import Grid
from thermsim.readout.axis_polynomials import POINTS
from thermsim.readout.faces import Place, face_spot
from thermsim.readout.field import Field
from thermsim.readout.observable import (
    COOLANT,
    HOTTEST,
    Answers,
    Observable,
    Takes,
    of_flow,
    of_probe,
    of_reading,
    of_zone,
)
from thermsim.readout.surface_maximum import Summit
from thermsim.readout.weights import Weights, at_point, at_summit, cells_at, mean_over, over_zone
from thermsim.solver.linearised import Goal
from thermsim.units import MM

Array = NDArray[np.float64]
SAME_PLACE = 1e-9  # share of the width of a cell within which two places are one


@dataclass(frozen=True)
class Solved:
    """A solved case. field : with coefficients taken at its own temperatures, where it is used for derivatives"""

    case: Case
    field: Field

    @property
    def model(self) -> Model:
        """The equations that the field solves."""
        return self.field.model


@dataclass(frozen=True)
class Local:
    """An observable near a solved case.

    goal : its weights; of a flow the number of its entry, see `Goal`
    value : the answer for a like model and case at unchanged temperatures; of a flow its own part only
    of_place : whether `value` changes with nothing but where cells, faces and probes are
    """

    goal: Goal
    value: Callable[[Model, Case], float]
    of_place: bool = True


@dataclass(frozen=True)
class Kind:
    """What observables of one kind are.

    of : those of a case, in its order
    weights : of one of them on a model of a case, where it is a weighted sum of temperatures, else None; near : a
        solved case like it, whose cells and faces it is to be read off
    value, local : where it is none
    """

    of: Callable[[Case], Iterable[Observable]]
    weights: Callable[[Observable, Case, Model, Solved | None], Weights | None] = lambda one, case, model, near: None
    value: Callable[[Observable, Solved], float] = lambda one, at: nan
    local: Callable[[Observable, Solved], Local] | None = None


# ---- zones ------------------------------------------------------------------------------------------------------


def _zones(case: Case) -> list[Observable]:
    takes: tuple[Takes, ...] = ("mean", "highest")
    temperatures = [of_zone(zone, which) for zone in zones_of(case) for which in takes]
    return temperatures + [of_zone(zone, "power") for zone in zones_of(case)]


def cells_of(one: Observable, model: Model) -> ZoneCells:
    """Where the zone that is meant lies."""
    return next(zone for zone in model.zones if (zone.zone, zone.part, zone.at) == (one.name, one.part, one.at))


def _of_zone(one: Observable, case: Case, model: Model, near: Solved | None) -> Weights | None:
    return mean_over(model, cells_of(one, model)) if one.takes == "mean" else None


def _zone_value(one: Observable, at: Solved) -> float:
    zone = at.field.zones[at.model.zones.index(cells_of(one, at.model))]
    return zone.highest_C if one.takes == "highest" else zone.power_W


def _zone_local(one: Observable, at: Solved) -> Local:
    zone = cells_of(one, at.model)
    if one.takes == "highest":
        if zone.face is None:
            cell = at.field.hottest_cell(zone.x, zone.y, zone.levels)
            return _unmoved(at, at.field.warmest_in(cell)[0])
        return _on_face(at, at.field.summit_of(zone), zone.face, zone.side)

    def value(model: Model, case: Case) -> float:
        return float(at.field.made_in(zone, model)[0].sum())

    goal = over_zone(zone, at.field.made_in(zone)[1]).goal(at.model.grid.shape)
    return Local(goal, value, of_place=False)


# ---- the hottest spot -------------------------------------------------------------------------------------------


def _hottest_local(one: Observable, at: Solved) -> Local:
    """The same candidates as `Field.hottest` has."""
    for key, summit in at.field.hot_summits:
        if at.field.place_of(summit, key[0]) == at.field.hottest:
            return _on_face(at, summit, *key)
    return _unmoved(at, at.field.warmest_in(max(at.field.hot_cells, key=at.field.highest_in))[0])


def _unmoved(at: Solved, weights: Weights) -> Local:
    return Local(weights.goal(at.model.grid.shape), lambda model, case: at.field.read(weights))


def _on_face(at: Solved, summit: Summit, face: int, side: str) -> Local:
    own = at_summit(at.model, summit, face, side)

    def value(model: Model, case: Case) -> float:
        same = _alike_about(summit, model.grid, at.model.grid)
        return at.field.read(own if same else at_summit(model, _carried(summit, at.model.grid, model.grid), face, side))

    return Local(own.goal(at.model.grid.shape), value)


def _carried(summit: Summit, here: Grid, there: Grid) -> Summit:
    """The summit on another grid. One that lies at the end of where it was sought, which is an edge or the centre of a
    cell, is no maximum of its polynomial, and stays at that edge or centre wherever cells move.
    """
    place = summit.place.copy()
    for axis in range(2):
        cell = int(summit.cell[axis, 0])
        old, new = here.axes[axis], there.axes[axis]
        at = old.centres[cell] + place[axis, 0] * old.widths[cell]
        for ends, moved in ((old.faces, new.faces), (old.centres, new.centres)):
            nearest = int(np.argmin(np.abs(ends - at)))
            if abs(ends[nearest] - at) < SAME_PLACE * old.widths[cell]:
                place[axis, 0] = (moved[nearest] - new.centres[cell]) / new.widths[cell]
    return replace(summit, place=place)


def _alike_about(summit: Summit, one: Grid, other: Grid) -> bool:
    """Whether the cells that a summit is read off have the same widths, so that its weights are the same."""
    for axis, cell in enumerate(summit.cell[:, 0].tolist()):
        about = slice(max(0, cell - POINTS), cell + POINTS + 1)
        if not np.allclose(one.axes[axis].widths[about], other.axes[axis].widths[about], rtol=1e-12, atol=0.0):
            return False
    return True


# ---- probes, readings, flows ------------------------------------------------------------------------------------


def _of_probe(one: Observable, case: Case, model: Model, near: Solved | None) -> Weights:
    place, part = _where(one, case)
    if near is None:
        return at_point(model, place, part)
    before, _ = _where(one, near.case)
    if (face_spot(near.model, before, part) is None) != (face_spot(model, place, part) is None):
        raise ThermsimError(f"the probe {one.name!r} leaves the face that it is on")
    return at_point(model, place, part, cells_at(near.model, before, part))


def _where(one: Observable, case: Case) -> tuple[Place, str]:
    """Place [m] and part of a probe."""
    probe = next(probe for probe in case.probes if probe.probe == one.name)
    x, y, z = probe_point(case, probe)
    return (MM * x, MM * y, MM * z), probe.in_


def place_of(case: Case, reading: Reading) -> Observable:
    """What a sensor sits on."""
    if reading.probe is not None:
        return of_probe(reading.probe)
    return of_zone(zone_of(case, reading), reading.takes)


def under(one: Observable, case: Case) -> tuple[Observable, float]:
    """What is read off the field, and what comes to it [K]: of a reading, what its sensor sits on, and its offset."""
    if one.kind != "reading":
        return one, 0.0
    reading = next(reading for reading in case.readings if reading.reading == one.name)
    return place_of(case, reading), reading.offset_K.value


def _flow_value(one: Observable, at: Solved) -> float:
    """NaN where it has no bound."""
    number = int(one.name)
    is_endless = any(number in pair for pair in at.field.touching)
    return nan if is_endless else at.field.flows[number].heat_W


def _flow_local(one: Observable, at: Solved) -> Local:
    """A given heat is no matter of temperatures; else all that it changes with is in the balance of the fluid."""
    number = int(one.name)
    if not at.model.coolings[number].is_prescribed:
        return Local(Goal(outflow=number), lambda model, case: 0.0)

    def value(model: Model, case: Case) -> float:
        cooling = model.coolings[number]
        return -cooling.influx_W_m2 * model.cooled_area(cooling)

    return Local(Goal(), value, of_place=False)


# ---- all kinds --------------------------------------------------------------------------------------------------

KINDS: dict[str, Kind] = {
    "hottest": Kind(lambda case: [HOTTEST], value=lambda one, at: at.field.hottest[0], local=_hottest_local),
    "zone": Kind(_zones, _of_zone, _zone_value, _zone_local),
    "probe": Kind(lambda case: [of_probe(probe.probe) for probe in case.probes], _of_probe),
    "reading": Kind(lambda case: [of_reading(reading.reading) for reading in case.readings]),
    "flow": Kind(
        lambda case: map(of_flow, range(len(case.cooling))),
        value=_flow_value,
        local=_flow_local,
    ),
    # That it moves with itself is said where the loop is closed: nothing else of the stack is it read off.
    "coolant": Kind(
        lambda case: [COOLANT] if any(cooling.on_loop for cooling in case.cooling) else [],
        value=lambda one, at: nan if at.model.coolant_C is None else at.model.coolant_C,
        local=lambda one, at: Local(Goal(), lambda model, case: 0.0),
    ),
}


def observables(case: Case) -> tuple[Observable, ...]:
    """All that can be read off a case."""
    return tuple(one for kind in KINDS.values() for one in kind.of(case))


def weights_of(one: Observable, case: Case, model: Model, near: Solved | None = None) -> Weights | None:
    """Weights of what is a weighted sum of temperatures, but for a sensor's offset; None for all else."""
    place, _ = under(one, case)
    return KINDS[place.kind].weights(place, case, model, near)


def local(one: Observable, at: Solved) -> Local:
    """What an observable is near a solved case; of a reading, what its sensor sits on."""
    place, _ = under(one, at.case)
    weights = weights_of(place, at.case, at.model)
    if weights is None:
        made = KINDS[place.kind].local
        assert made is not None  # a kind has weights, or this
        return made(place, at)

    def value(model: Model, case: Case) -> float:
        moved = weights_of(place, case, model, at)
        assert moved is not None
        return at.field.read(moved)

    return Local(weights.goal(at.model.grid.shape), value)


def answers(
    case: Case,
    field: Field,
    of: Iterable[Observable] | None = None,
    sums: dict[Observable, Weights | None] | None = None,
) -> Answers[float]:
    """Temperatures [C], and heat [W] for flows and zone powers; NaN for probes in voids.

    of : what is asked; all that the case has unless given
    sums : weights of what is a weighted sum, found once and kept here for further fields on the same grid
    """
    sums = {} if sums is None else sums
    at, known = Solved(case, field), dict[Observable, float]()
    found: Answers[float] = Answers()
    for one in observables(case) if of is None else of:
        place, offset = under(one, case)
        if place not in known:
            if place not in sums:
                sums[place] = weights_of(place, case, field.model)
            weights = sums[place]
            known[place] = KINDS[place.kind].value(place, at) if weights is None else field.read(weights)
        found[one] = known[place] + offset
    return found

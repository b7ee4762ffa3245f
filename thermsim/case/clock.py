"""What another clock and voltage make of the powers of a case, and the voltage that a clock between two steps needs.

With P the power typed of a zone at `clock` (f0, V0), at another clock and voltage (f, V):

    no leakage, or linear       P (V/V0)^2 f/f0 (1 + per_K (T - at_C))
    exponential, share s        P [(1 - s) (V/V0)^2 f/f0 + s (V/V0) 2^((T - at_C)/doubling_K)]

V^2 f is the power of a capacitance charged and discharged each cycle (Weste and Harris, CMOS VLSI Design, 4th ed.,
section 5.2; from memory). Leakage current does not depend on the clock; that it is taken not to depend on the voltage
either, so that its power goes with V, is common practice, no source: a leakage that grows faster with voltage makes a
chip hotter. A linear law does not tell leakage from the rest: all of the power goes with V^2 f, and so does its growth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np

from thermsim.case.geometry.zones import powers_of
from thermsim.case.vocabulary.schema import Case, Clock, Fraction, Heat, Leakage, NonNegative, Quantity, Zone

Number = TypeVar("Number", bound=Quantity)


@dataclass(frozen=True)
class Drive:
    """Factors on the power of the clocked zones: on what switches, and on what leaks at a given temperature."""

    dynamic: float = 1.0
    leakage: float = 1.0

    def times(self, share: float) -> Drive:
        """Both parts of the power by one factor."""
        return Drive(share * self.dynamic, share * self.leakage)


def proportional(share: float) -> Drive:
    """All power of the clocked zones times `share`, leakage too."""
    return Drive(share, share)


def drive_at(clock: Clock, frequency_GHz: float, voltage_V: float) -> Drive:
    """The factors at another clock [GHz] and voltage [V]."""
    over = voltage_V / clock.voltage_V
    return Drive(over**2 * frequency_GHz / clock.frequency_GHz, over)


def voltage_points(clock: Clock) -> tuple[tuple[float, float], ...]:
    """Pairs (GHz, V), rising in frequency, between which the voltage runs in straight lines.

    The clock as typed is one of them unless the voltage would have to fall somewhere with it, or a step has its
    frequency: then the steps are another curve (of a lowered voltage, say), on which it does not lie.
    """
    steps = [(step.frequency_GHz, step.voltage_V) for step in clock.steps]
    whole = sorted([*steps, (clock.frequency_GHz, clock.voltage_V)])
    rises = all(low[0] < high[0] and low[1] <= high[1] for low, high in pairwise(whole))
    return tuple(whole if rises else steps)


def voltage_at(points: Sequence[tuple[float, float]], frequency_GHz: float) -> float:
    """The voltage [V] on the straight line between the neighbouring points; at the ends, that of the end."""
    return float(np.interp(frequency_GHz, [point[0] for point in points], [point[1] for point in points]))


def driven(case: Case, drive: Drive) -> Case:
    """The case with the clocked zones driven otherwise: a case like any other, in powers and leakage alone.

    Without `clock`, or with a clock that names no zones, all heat is driven, that of maps too. Where a clock names
    zones, maps are not. Heat whose leakage is exponential, and of which a part is clocked, becomes two entries, at
    every drive, so that states of two drives can start from one another.
    """
    named = frozenset(case.clock.zones) if case.clock is not None else frozenset()
    heat: list[Heat] = []
    tables = {}
    for number, entry in enumerate(case.heat):
        clocked, others = _parted(case, entry, named)
        if clocked is not None:
            factor, law = _law_at(clocked.leakage, drive)
            update: dict[str, Any] = {"leakage": law, "zones": [_scaled(zone, factor) for zone in clocked.zones]}
            if clocked.power_W is not None:
                update["power_W"] = _times(clocked.power_W, factor)
            if clocked.map is not None:
                file = f"{clocked.map.file} of heat {number}"
                tables[file] = factor * case.tables[clocked.map.file]
                update["map"] = clocked.map.model_copy(update={"file": file})
            clocked = clocked.model_copy(update=update)
        if clocked is not None and others is not None and not (entry.leakage and entry.leakage.law.tells_apart):
            heat.append(_together(entry, clocked, others))
        elif clocked is not None and others is not None:
            heat += [clocked, _with_holes(others, clocked)]
        else:
            heat += [part for part in (clocked, others) if part is not None]
    changed = case.model_copy(update={"heat": heat})
    if tables and case._origin is not None:
        changed._origin = replace(case._origin, tables={**case._origin.tables, **tables})
    return changed


def _parted(case: Case, heat: Heat, named: frozenset[str]) -> tuple[Heat | None, Heat | None]:
    """What of an entry is clocked, and what is not."""
    if not named:
        return heat, None
    if heat.power_W is not None and any(zone.zone in named for zone in heat.zones):
        if heat.power_W.value == 0.0:
            return None, heat
        heat = _shared_out(case, heat)
    clocked = [zone for zone in heat.zones if zone.zone in named]
    others = [zone for zone in heat.zones if zone.zone not in named]
    if not clocked:
        return None, heat
    if not others and heat.map is None and powers_of(case, heat).rest == 0.0:
        return heat, None
    if heat.power_W is None:
        return heat.model_copy(update={"zones": clocked, "map": None}), heat.model_copy(update={"zones": others})
    watts = dict(zip((zone.zone for zone in heat.zones), powers_of(case, heat).zones, strict=True))
    of_clocked = sum(watts[zone.zone] for zone in clocked)
    whole = heat.power_W.value
    return _part_of(heat, clocked, of_clocked / whole), _part_of(heat, others, 1.0 - of_clocked / whole)


def _shared_out(case: Case, heat: Heat) -> Heat:
    """The same with a share for every zone that has no watts of its own: what no zone covers keeps the rest."""
    assert heat.power_W is not None
    whole = heat.power_W.value
    zones = [
        zone
        if zone.power_W is not None or power == 0.0
        else zone.model_copy(update={"share": zone.share or Fraction(value=power / whole)})
        for zone, power in zip(heat.zones, powers_of(case, heat).zones, strict=True)
    ]
    return heat.model_copy(update={"zones": zones, "alike": []})


def _part_of(heat: Heat, zones: list[Zone], share: float) -> Heat:
    """Some zones of a heat, which together make so much of it, as a heat of their own."""
    assert heat.power_W is not None
    again = [_share_times(zone, 1.0 / share) for zone in zones] if share > 0.0 else zones
    return heat.model_copy(update={"zones": again, "power_W": _times(heat.power_W, share)})


def _with_holes(others: Heat, clocked: Heat) -> Heat:
    """What is not clocked, without power where the clocked zones are: what no zone covers is spread beside them."""
    if others.power_W is None:
        return others
    holes = [
        zone.model_copy(update={"zone": f"beside {zone.zone}", "share": None, "power_W": NonNegative(value=0.0)})
        for zone in clocked.zones
    ]
    return others.model_copy(update={"zones": [*others.zones, *holes]})


def _together(heat: Heat, clocked: Heat, others: Heat) -> Heat:
    """One heat of both again, its zones in their order."""
    found = {"zones": (*clocked.zones, *others.zones)}
    update: dict[str, Any] = {}
    if heat.power_W is not None:
        assert clocked.power_W is not None and others.power_W is not None
        parts = (clocked.power_W.value, others.power_W.value)
        whole = sum(parts)
        of_parts = zip((clocked, others), parts, strict=True)
        found["zones"] = tuple(_share_times(zone, part / whole) for one, part in of_parts for zone in one.zones)
        update = {"power_W": _times(heat.power_W, whole / heat.power_W.value), "alike": []}
    named = {zone.zone: zone for zone in found["zones"]}
    return heat.model_copy(update={**update, "zones": [named[zone.zone] for zone in heat.zones]})


def _law_at(law: Leakage | None, drive: Drive) -> tuple[float, Leakage | None]:
    """Factor on the power typed, and the law that it then follows."""
    if law is None:
        return drive.dynamic, None
    factor, driven_law = law.law.driven(drive.dynamic, drive.leakage)
    return factor, law.model_copy(update={key: getattr(driven_law, key) for key in driven_law.given_as()})


def _scaled(zone: Zone, factor: float) -> Zone:
    return zone if zone.power_W is None else zone.model_copy(update={"power_W": _times(zone.power_W, factor)})


def _share_times(zone: Zone, factor: float) -> Zone:
    return zone if zone.share is None else zone.model_copy(update={"share": _times(zone.share, factor)})


def _times(number: Number, factor: float) -> Number:
    return number.model_copy(update={"value": factor * number.value, "plus_minus": factor * number.plus_minus})

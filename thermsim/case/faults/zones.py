"""Zones that readings name: each must be one zone, and no more than one; and what zones make of a whole."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from thermsim.case.faults.examination import Look
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.geometry.zones import ROUND_OFF, is_meant, powers_of, uncovered_mm2
from thermsim.case.source.marked_values import KeyPath
from thermsim.case.vocabulary.schema import Reading


def check_powers(look: Look, *, with_tolerances: bool) -> None:
    """Zones do not make more than the whole that they share; what is left over has a place.

    with_tolerances : also at the ends of their tolerances, as a file must; a case drawn from them has used them up
    """
    parts = {part.part: part for part in look.case.parts}
    for place, heat in enumerate(look.case.heat):
        if heat.power_W is None or heat.in_ not in parts:
            continue
        path: KeyPath = ("heat", place, "power_W")
        shares = [zone.share for zone in heat.zones if zone.share is not None] + [group.share for group in heat.alike]
        own = [zone.power_W for zone in heat.zones if zone.power_W is not None]
        whole = heat.power_W
        for reach, sign in (("", 0.0), (", at the ends of their tolerances,", 1.0))[: 1 + with_tolerances]:
            power = whole.value - sign * whole.plus_minus
            shared = sum(share.value + sign * share.plus_minus for share in shares)
            watts = sum(each.value + sign * each.plus_minus for each in own)
            left = power * (1.0 - shared) - watts
            if left < -ROUND_OFF * power:
                made = " and ".join(
                    [f"shares of {shared:.4g}"] * bool(shares) + [f"{watts:.4g} W of zones"] * bool(own)
                )
                what = f"{made}{reach} are more than all of its {power:.4g} W: lower them, or raise `power_W`"
                more = "" if not sign else "; or leave one zone without `share`, which then takes what is left"
                look.add(path, f"{what}{more}")
                break
        else:
            powers = powers_of(look.case, heat)
            if powers.rest > 0.0 and uncovered_mm2(look.case, heat) == 0.0:
                what = f"zones make {sum(powers.zones):.4g} of {whole.value:.4g} W, and cover all of {heat.in_!r}"
                look.add(path, f"{what}: leave one without `share` or `power_W`, and it takes the rest")


def check_zones_of_readings(look: Look, given: Sequence[str]) -> None:
    """A reading names one zone, with `in` and `at` where its name is not enough.

    given : names that the case gives to zones; of those that stand twice it is told already that they may not
    """
    known = _zones_in(look.original.values)
    names = list(dict.fromkeys(name for name, _, _ in known))
    twice = [name for name, count in Counter(given).items() if count > 1]
    missed = {reading.zone for reading in look.case.readings if reading.zone is not None} - set(names)
    for place, reading in enumerate(look.case.readings):
        if reading.zone is None:
            continue
        path = ("readings", place, "zone")
        called = [one for one in known if one[0] == reading.zone]
        found = [one for one in called if is_meant(reading, *one)]
        if reading.zone in twice or (not called and len(missed) <= len(given) - len(set(given))):
            continue  # what is missed was probably called by the name that stands twice
        if not called:
            there = f"there is: {listed(names)}" if names else "the case has no zone at all"
            look.add(path, f"there is no zone {reading.zone!r}{did_you_mean(reading.zone, names, there)}")
        elif not found:
            _add_misplaced(look, place, reading, called)
        elif len(found) > 1:
            ways = " or ".join(_said(one, found) for one in found)
            look.add(path, f"{len(found)} zones are called {reading.zone!r}; say which: {ways}")


def _add_misplaced(look: Look, place: int, reading: Reading, called: Sequence[tuple[str, str, str]]) -> None:
    parts = list(dict.fromkeys(part for _, part, _ in called))
    if reading.in_ is not None and reading.in_ not in parts:
        near = did_you_mean(reading.in_, parts, f"there is one in {listed(parts)}")
        look.add(("readings", place, "in"), f"there is no zone {reading.zone!r} in {reading.in_!r}{near}")
        return
    sides = listed([side for _, part, side in called if reading.in_ in (None, part)])
    what = f"no heat that zone {reading.zone!r} belongs to is made at {reading.at!r}; there is: {sides}"
    look.add(("readings", place, "at"), what)


def _zones_in(values: Any) -> list[tuple[str, str, str]]:
    """Name, part and side of every zone, from plain values, faulty or not."""
    found = []
    heats = values.get("heat") if isinstance(values, dict) else None
    for heat in heats if isinstance(heats, list) else []:
        if not isinstance(heat, dict):
            continue
        part, side, zones = heat.get("in"), heat.get("at", "bottom"), heat.get("zones") or [{"zone": heat.get("in")}]
        names = [zone.get("zone") for zone in zones if isinstance(zone, dict)] if isinstance(zones, list) else []
        found += [(name, str(part), str(side)) for name in names if isinstance(name, str)]
    return list(dict.fromkeys(found))


def _said(zone: tuple[str, str, str], among: Sequence[tuple[str, str, str]]) -> str:
    """What a reading must say beside the name."""
    _, part, side = zone
    same_part = [one for one in among if one[1] == part]
    words = [f"`in: {part}`"] * (len(same_part) < len(among)) + [f"`at: {side}`"] * (len(same_part) > 1)
    return " with ".join(words)

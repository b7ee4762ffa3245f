"""Zones that readings name: each must be one zone, and no more than one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from thermsim.case.faults.examination import Look
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.geometry.zones import is_meant
from thermsim.case.vocabulary.schema import Reading


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

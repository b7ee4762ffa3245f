"""Names that a case gives, each once, and the names it refers to."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from thermsim.case.faults.examination import Look
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.faults.zones import check_zones_of_readings
from thermsim.case.source.marked_values import KeyPath


def names_in(values: Any) -> dict[str, list[tuple[str, KeyPath]]]:
    """Names that a case gives, by kind, each with the path of its value; from plain values, faulty or not.

    Kinds: layer (parts and joints), part, zone, probe, reading, option, environment.
    """
    found: dict[str, list[tuple[str, KeyPath]]] = {
        kind: [] for kind in ("layer", "part", "zone", "probe", "reading", "option", "environment")
    }

    def look_at(entry: Any, path: KeyPath, key: str, *kinds: str) -> None:
        if isinstance(entry, dict) and isinstance(entry.get(key), str):
            for kind in kinds:
                found[kind].append((entry[key], (*path, key)))

    for path, layer in _items(values, "layers"):
        look_at(layer, path, "part", "layer", "part")
        look_at(layer, path, "joint", "layer")
    for path, heat in _items(values, "heat"):
        for inner, zone in _items(heat, "zones"):
            look_at(zone, (*path, *inner), "zone", "zone")
    for key, kind in (("probes", "probe"), ("readings", "reading"), ("options", "option"), ("cooling", "environment")):
        for path, entry in _items(values, key):
            look_at(entry, path, kind, kind)
    return found


def _items(values: Any, key: str) -> list[tuple[KeyPath, Any]]:
    given = values.get(key) if isinstance(values, dict) else None
    return [((key, place), item) for place, item in enumerate(given)] if isinstance(given, list) else []


def check_names(look: Look) -> None:
    """No name twice within its kind; none that could not be told from another by eye."""
    source = look.original
    named = names_in(source.values)
    for kind, found in named.items():
        if kind == "part":
            continue
        first: dict[str, KeyPath] = {}
        for name, path in found:
            if name != name.strip() or "\n" in name:
                look.faults.append(
                    source.fault(path, f"the name {name!r} begins or ends with a blank, or holds a line break")
                )
            if name in first:
                line = source.mark(first[name])[0]
                what = "part or joint" if kind == "layer" else kind
                look.faults.append(
                    source.fault(path, f"the name {name!r} is taken by the {what} in line {line}; names are given once")
                )
            first.setdefault(name, path)


def check_references(look: Look) -> None:
    """`in`, `of`, `zone` and `probe` name something that exists."""
    named = {kind: [name for name, _ in found] for kind, found in names_in(look.original.values).items()}
    joints = set(named["layer"]) - set(named["part"])
    missing: dict[str, list[tuple[KeyPath, str]]] = defaultdict(list)

    def known(path: KeyPath, name: str, kind: str) -> None:
        if name in named[kind]:
            return
        if kind == "part" and name in joints:
            look.add(
                path, f"{name!r} is a joint, a film without volume; name one of its parts: {listed(named['part'])}"
            )
            return
        missing[kind].append((path, name))

    for place, heat in enumerate(look.case.heat):
        known(("heat", place, "in"), heat.in_, "part")
    for place, cooling in enumerate(look.case.cooling):
        if cooling.of is not None:
            known(("cooling", place, "of"), cooling.of, "part")
    for place, probe in enumerate(look.case.probes):
        known(("probes", place, "in"), probe.in_, "part")
    for place, reading in enumerate(look.case.readings):
        if reading.probe is not None:
            known(("readings", place, "probe"), reading.probe, "probe")
    for place, option in enumerate(look.case.options):
        for number, name in enumerate(option.builds_on):
            path: KeyPath = ("options", place, "with", *((number,) if isinstance(option.with_, list) else ()))
            known(path, name, "option")
            if option in look.case.built_from(name):
                round_about = "" if name == option.option else f" through {name!r}"
                look.add(path, f"{option.option!r} builds on itself{round_about}; leave it out here")
    check_zones_of_readings(look, named["zone"])
    for kind, found in missing.items():
        twice = len(named[kind]) - len(set(named[kind]))
        if len({name for _, name in found}) <= twice:
            continue  # what is missed was probably called by the name that stands twice, which is told already
        for path, name in found:
            there = f"there is: {listed(named[kind])}" if named[kind] else f"the case has no {kind} at all"
            look.add(path, f"there is no {kind} {name!r}{did_you_mean(name, named[kind], there)}")

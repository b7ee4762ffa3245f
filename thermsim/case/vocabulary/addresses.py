"""How the entries of a case are called: by name, by list and name, and by place where names are not enough.

die, layers.die                                 a part or joint
C0, zones.C0                                    a zone
heat.die, heat.die.bottom                       what is made in a part, at one of its sides
water, top, cooling.top, cooling.top.0          an environment, or a face; the first of some on that face
probes.middle, readings.C0                      a probe or a sensor
coolant_loop                                    the coolant loop
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from thermsim.case.source.marked_values import KeyPath
from thermsim.case.vocabulary.schema import Case, Entry, Part

LOOP_KEY = "coolant_loop"


@dataclass(frozen=True)
class Called:
    """An entry that can be named.

    kind : the list that it stands in; path : of the entry; name : its own
    addresses : from the shortest, the last of them by place; faces : what else it answers to, if nothing else does
    address : the shortest that means nothing but this entry
    """

    kind: str
    path: KeyPath
    entry: Entry
    name: str
    addresses: tuple[str, ...]
    faces: tuple[str, ...] = ()
    address: str = ""


def address_of(case: Case, path: KeyPath) -> str:
    """What a value is called, `die.thickness_mm`; a layer that an option adds stands in a path by its name."""
    if path[:1] == ("layers",) and len(path) > 1 and isinstance(path[1], str):
        return ".".join(map(str, path[1:]))
    around = [one for one in called(case) if path[: len(one.path)] == one.path]
    if not around:
        return ".".join(map(str, path))
    nearest = max(around, key=lambda one: len(one.path))
    return ".".join([nearest.address, *map(str, path[len(nearest.path) :])])


def called(case: Case) -> tuple[Called, ...]:
    """All entries that can be named, in the order of the file."""
    found = tuple(_named(case))
    # A part alone is never its heat, so that the two share no name.
    bare = Counter(word for one in found if one.kind != "heat" for word in {one.name, *one.faces})
    words = Counter(word for one in found for word in dict.fromkeys(one.addresses))
    return tuple(_with_address(one, bare, words) for one in found)


def _with_address(one: Called, bare: Counter[str], words: Counter[str]) -> Called:
    def is_alone(word: str) -> bool:
        return words[word] == 1 and (word != one.name or bare[word] == 1)

    address = next((word for word in one.addresses if is_alone(word)), one.addresses[-1])
    return Called(one.kind, one.path, one.entry, one.name, one.addresses, one.faces, address)


def _named(case: Case) -> Iterator[Called]:
    for place, layer in enumerate(case.layers):
        name = layer.part if isinstance(layer, Part) else layer.joint
        yield Called("layers", ("layers", place), layer, name, (name, f"layers.{name}"))
    for place, heat in enumerate(case.heat):
        path: KeyPath = ("heat", place)
        by_side = f"heat.{heat.in_}.{heat.at}"
        yield Called("heat", path, heat, heat.in_, (f"heat.{heat.in_}", by_side))
        for number, zone in enumerate(heat.zones):
            addresses = (zone.zone, f"zones.{zone.zone}", f"{by_side}.zones.{zone.zone}")
            yield Called("zones", (*path, "zones", number), zone, zone.zone, addresses)
    among = Counter[str]()
    for place, cooling in enumerate(case.cooling):
        name = cooling.environment or cooling.face
        addresses = (name, f"cooling.{name}", f"cooling.{name}.{among[name]}")
        among[name] += 1
        faces = () if cooling.environment is None else (cooling.face, f"cooling.{cooling.face}")
        yield Called("cooling", ("cooling", place), cooling, name, addresses, faces)
    if case.coolant_loop is not None:
        yield Called(LOOP_KEY, (LOOP_KEY,), case.coolant_loop, "coolant loop", (LOOP_KEY,))
    for place, probe in enumerate(case.probes):
        yield Called("probes", ("probes", place), probe, probe.probe, (probe.probe, f"probes.{probe.probe}"))
    for place, reading in enumerate(case.readings):
        name = reading.reading
        yield Called("readings", ("readings", place), reading, name, (name, f"readings.{name}"))

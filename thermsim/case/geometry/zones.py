"""What a zone is known by: its part, the side of it that makes the heat, and its name.

Heat that has a map and no zones makes the whole side a zone, which is called as its part. Names that a case gives are
given once, but one of them may be that of a part, and a part may have a map on either side: a name alone is not enough.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from thermsim.case.geometry.places import Box, insert_box, part_box, zone_box
from thermsim.case.vocabulary.schema import Case, Heat, Reading, Zone
from thermsim.materials.catalogue import VOID

Place = Literal["bottom", "top", "volume"]
ROUND_OFF = 1e-9  # share of a power or an area below which nothing is left of it


@dataclass(frozen=True)
class KnownZone:
    """A zone of a case.

    part, at, zone : what it is known by, its name last
    label : its name, with its side or its part where other zones are called so
    heat : which entry of `heat` makes its power; given : as the case has it, or the whole part
    """

    part: str
    at: Place
    zone: str
    label: str
    heat: int
    given: Zone


@dataclass(frozen=True)
class Powers:
    """Power of each zone of one heat, in the order of `zones_in` [W]; what no zone covers makes `rest` [W], by area."""

    zones: tuple[float, ...]
    rest: float

    @property
    def total(self) -> float:
        """All power of the part [W]."""
        return sum(self.zones) + self.rest


def zones_in(heat: Heat) -> list[Zone]:
    """The zones of one heat; the whole part where it has none."""
    return heat.zones or [Zone(zone=heat.in_)]


def powers_of(case: Case, heat: Heat) -> Powers:
    """What each zone makes, with the power of the whole shared out; a map is not counted.

    Where shares and watts make more than the whole, the rest is negative: the reader lets no such case through.
    """
    zones = zones_in(heat)
    own: list[float | None] = [None if zone.power_W is None else zone.power_W.value for zone in zones]
    if heat.power_W is None:
        return Powers(tuple(power or 0.0 for power in own), 0.0)
    for number, zone in enumerate(zones):
        if zone.share is not None:
            own[number] = zone.share.value * heat.power_W.value
        for group in heat.alike:
            if zone.zone in group.zones:
                own[number] = group.share.value * heat.power_W.value / len(group.zones)
    left = heat.power_W.value - sum(power for power in own if power is not None)
    if abs(left) <= ROUND_OFF * heat.power_W.value:
        left = 0.0
    areas, free = _areas(case, heat), uncovered_mm2(case, heat)
    sharing = free + sum(area for area, power in zip(areas, own, strict=True) if power is None)
    if sharing == 0.0:
        return Powers(tuple(power or 0.0 for power in own), left)
    found = (left * area / sharing if power is None else power for area, power in zip(areas, own, strict=True))
    return Powers(tuple(found), left * free / sharing)


def uncovered_mm2(case: Case, heat: Heat) -> float:
    """What no zone covers of a heated part, voids not counted [mm2]."""
    part = next(part for part in case.parts if part.part == heat.in_)
    voids = [insert_box(case, part, insert) for insert in part.inserts if insert.material.name == VOID]
    whole = _area(part_box(case, part))
    free = whole - sum(_areas(case, heat)) - sum(map(_area, voids))
    return free if free > ROUND_OFF * whole else 0.0


def _areas(case: Case, heat: Heat) -> list[float]:
    part = next(part for part in case.parts if part.part == heat.in_)
    return [_area(zone_box(case, part, zone)) for zone in zones_in(heat)]


def heated_boxes(case: Case, heat: Heat) -> dict[str, Box]:
    """Outlines of what makes heat, by zone [mm]; the whole part where a map does, or what no zone covers."""
    part = next(part for part in case.parts if part.part == heat.in_)
    powers = powers_of(case, heat)
    if heat.map is not None or powers.rest > 0.0:
        return {part.part: part_box(case, part)}
    made = zip(zones_in(heat), powers.zones, strict=True)
    return {zone.zone: zone_box(case, part, zone) for zone, power in made if power > 0.0}


def _area(box: Box) -> float:
    return max(box[2] - box[0], 0.0) * max(box[3] - box[1], 0.0)


def zones_of(case: Case) -> tuple[KnownZone, ...]:
    """Every zone of a case in its order, those that a map alone implies among them."""
    given = [(number, heat.in_, heat.at, zone) for number, heat in enumerate(case.heat) for zone in zones_in(heat)]
    in_words = labels([(zone.zone, part, side) for _, part, side, zone in given])
    return tuple(
        KnownZone(part, side, zone.zone, label, number, zone)
        for (number, part, side, zone), label in zip(given, in_words, strict=True)
    )


def zone_of(case: Case, reading: Reading) -> KnownZone:
    """The zone that a sensor sits in; the reader has seen to it that there is just one.

    Raises StopIteration where there is none.
    """
    return next(zone for zone in zones_of(case) if is_meant(reading, zone.zone, zone.part, zone.at))


def is_meant(reading: Reading, name: str, part: str, side: str) -> bool:
    """Whether a sensor sits in the zone of that name, part and side."""
    return reading.zone == name and reading.in_ in (None, part) and reading.at in (None, side)


def labels(zones: Sequence[tuple[str, str, str]]) -> list[str]:
    """The name of each (name, part, side); where others have it too with the part, the side, or both."""
    found = []
    for name, part, side in zones:
        alike = [one for one in zones if one[0] == name]
        parts = Counter(one[1] for one in alike)
        about = [f"in {part}"] * (len(parts) > 1) + [side] * (parts[part] > 1)
        found.append(f"{name} ({', '.join(about)})" if about else name)
    return found

"""What a zone is known by: its part, the side of it that makes the heat, and its name.

Heat that has a map and no zones makes the whole side a zone, which is called as its part. Names that a case gives are
given once, but one of them may be that of a part, and a part may have a map on either side: a name alone is not enough.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from thermsim.case.vocabulary.schema import Case, Reading, Zone

Place = Literal["bottom", "top", "volume"]


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


def zones_of(case: Case) -> tuple[KnownZone, ...]:
    """Every zone of a case in its order, those that a map alone implies among them."""
    given = [
        (number, heat.in_, heat.at, zone)
        for number, heat in enumerate(case.heat)
        for zone in heat.zones or [Zone(zone=heat.in_)]
    ]
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

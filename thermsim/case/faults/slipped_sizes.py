"""A part whose size has slipped: told once, at the size, not at everything that is drawn on the part."""

from __future__ import annotations

from thermsim.case.faults.examination import Look
from thermsim.case.geometry.places import Box, insert_box, part_box, zone_box
from thermsim.case.vocabulary.schema import Case, Part

# What undoes a slip of one length, and what it was; common practice, no source.
FACTORS = {
    10.0: "a decimal point one place off, or cm",
    25.4: "inches",
    100.0: "a decimal point two places off",
    1000.0: "metres",
}
FEWEST = 2  # things that stick out, and half of all that is drawn: with fewer, one of them has slipped itself
LEAST_FILLED = 0.3  # share of a corrected side that what is drawn on it fills; our own choice
ROUND_OFF = 1e-9


def check_slipped_sizes(look: Look) -> set[str]:
    """Names of the parts whose size is told to be wrong, as most of what is drawn on them sticks out of it."""
    found = set()
    for place, part in enumerate(look.case.layers):
        if not isinstance(part, Part):
            continue
        outline = part_box(look.case, part)
        ends = _ends(look.case, part, outline)
        sides = [outline[2] - outline[0], outline[3] - outline[1]][: look.case.dimensions - 1]
        out = sum(any(end > side * (1.0 + ROUND_OFF) for end, side in zip(at, sides, strict=False)) for at in ends)
        if out < FEWEST or 2 * out < len(ends):
            continue
        reach = [max(end) for end in zip(*ends, strict=True)][: len(sides)]
        factors = [_factor(side, end) for side, end in zip(sides, reach, strict=True)]
        known = [factor for factor in factors if factor is not None]
        if len(known) == len(factors) and max(known) > 1.0:
            meant = [f"{side * factor:.6g}" for side, factor in zip(sides, known, strict=True)]
            size = f"[{', '.join(meant)}]" if len(meant) > 1 else meant[0]
            what = f"what is drawn on {part.part!r} reaches to {' x '.join(f'{end:.6g}' for end in reach)} mm"
            look.add(("layers", place, "size_mm"), f"{what}; did you mean `{size}`? ({FACTORS[max(known)]})")
            found.add(part.part)
    return found


def _ends(case: Case, part: Part, outline: Box) -> list[tuple[float, float]]:
    """How far everything that is drawn on a part reaches from its lower left corner [mm]."""
    boxes = [zone_box(case, part, zone) for heat in case.heat if heat.in_ == part.part for zone in heat.zones]
    boxes += [insert_box(case, part, insert) for insert in part.inserts]
    return [(box[2] - outline[0], box[3] - outline[1]) for box in boxes]


def _factor(side: float, reach: float) -> float | None:
    """What a side must be times so that it holds what is drawn, snugly; 1 where it does, None where nothing is."""
    if reach <= side * (1.0 + ROUND_OFF):
        return 1.0
    fitting = [
        factor for factor in FACTORS if LEAST_FILLED * side * factor <= reach <= side * factor * (1.0 + ROUND_OFF)
    ]
    return fitting[0] if fitting else None

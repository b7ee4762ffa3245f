"""Where entries of `cooling` act, in words: two on one face that share a name are told apart by it."""

from __future__ import annotations

from collections import Counter

from thermsim.case.vocabulary.schema import Case, Cooling


def places_told(case: Case) -> list[str]:
    """For each entry of `cooling` what is put behind its name, empty where name and face are its own.

    `, 20 x 40 mm at 3, 3 mm` counts from the lower left of the face.
    """
    count = Counter((cooling.label, cooling.face) for cooling in case.cooling)
    return [f", {_place(one)}" if count[one.label, one.face] > 1 else "" for one in case.cooling]


def _place(cooling: Cooling) -> str:
    if cooling.corner_mm is not None and cooling.size_mm is not None:
        size = " x ".join(f"{side.told}" for side in cooling.size_mm)
        return f"{size} mm at {', '.join(f'{offset.told}' for offset in cooling.corner_mm)} mm"
    if cooling.wetted_mm is not None:
        return f"{' x '.join(f'{side.told}' for side in cooling.wetted_mm)} mm in the middle"
    of = [f"of {cooling.of}"] * (cooling.of is not None)
    looking = [f"looking {cooling.looking}"] * (cooling.looking is not None)
    return " ".join([*of, *looking]) or "all that is left"

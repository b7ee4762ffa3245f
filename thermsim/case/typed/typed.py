"""The one pass from what a person typed to plain numbers: text with units, and readings of an instrument.

A key says the kind of quantity and its unit; `780 um` at `thickness_mm` becomes 0.78, `[2.58, 2.60, 2.61]` a mean with
its doubt. What is not understood stays as it is, so that the vocabulary refuses it, and `why_not` says why.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from thermsim.case.source.marked_values import KeyPath, Mark, Source
from thermsim.case.typed.keys import in_words, key_of_number, keys_with_numbers, unit_at
from thermsim.case.typed.number_text import NotUnderstoodError, Wanted, as_number, exact_number, read_number
from thermsim.case.typed.readings import FEWEST, mean_of_readings
from thermsim.case.vocabulary.numbers import unit_of

MEASURED = "measured"
BESIDE_MEASURED = (MEASURED, "plus_minus", "shape", "basis")
LENGTHS = {"at_mm": 3}  # numbers that may stand in one list, if more than the two of a plan
# Keys whose two numbers may be something else than two readings, and what to write then.
TWO_MAY_BE = {
    "film_um": "{low: ..., high: ..., towards: +x} for a wedge",
    "conductivity_W_mK": "`in_plane_W_mK` with `through_W_mK` for two directions",
}


def typed(source: Source) -> Source:
    """The source with what was typed as text or as readings in plain numbers; `Source.typed` says what was typed."""
    reader = _Reader(source)
    values = reader.read(source.values, ())
    return replace(source, values=values, typed=source.typed | reader.typed) if reader.typed else source


def why_not(value: Any, path: KeyPath, holder: Any) -> NotUnderstoodError | None:
    """Why a value is no number of its key; None where it is one, or nobody meant it to be.

    holder : the mapping or list that it stands in
    """
    path = in_words(path)
    try:
        if isinstance(value, str):
            read_number(value, wanted_at(path, holder))
        elif _are_readings(value, path):
            _mean(value, path)
    except NotUnderstoodError as told:
        return told
    return None


def wanted_at(path: KeyPath, holder: Any = None) -> Wanted:
    """What stands at a path, with the addresses of options taken apart.

    holder : the mapping that a half width stands in
    """
    key = key_of_number(path)
    takes = keys_with_numbers().get(key)
    inside = isinstance(path[-1], int) or path[-1] in ("value", "plus_minus")
    is_half_width = path[-1] == "plus_minus"
    beside = holder.get("value") if is_half_width and isinstance(holder, dict) else None
    is_number = isinstance(beside, (int, float)) and not isinstance(beside, bool)
    return Wanted(
        key,
        unit_at(path),
        is_half_width,
        beside if is_number else None,
        LENGTHS.get(key, 2) if takes == "many" and not inside else 1,
        takes in ("one", "many") and path[-1] not in ("value", "plus_minus"),
    )


def is_number_at(path: KeyPath) -> bool:
    """Whether a number stands at a path; also below a misspelt key that ends with a unit."""
    key = key_of_number(path)
    return key in keys_with_numbers() or bool(unit_of(key))


class _Reader:
    """Goes through the values of a source. typed : what was typed, by the place where it stands"""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.typed: dict[Mark, str] = {}

    def read(self, value: Any, path: KeyPath, holder: Any = None) -> Any:
        place = in_words(path) if path else path
        if isinstance(value, dict) and not (path and _are_readings(value, place)):
            # Half widths come last: some are shares of the value beside them.
            found = {key: self.read(one, (*path, key)) for key, one in value.items() if key != "plus_minus"}
            if "plus_minus" in value:
                found["plus_minus"] = self.read(value["plus_minus"], (*path, "plus_minus"), found)
            return {key: found[key] for key in value}
        if isinstance(value, (int, float)) or value is None:
            return value
        try:
            if isinstance(value, str):
                if not is_number_at(place):
                    return value
                made = read_number(value, wanted_at(place, holder))
            elif _are_readings(value, place):
                made = _mean(value, place)
            else:
                return [self.read(one, (*path, number)) for number, one in enumerate(value)]
        except NotUnderstoodError:
            return value
        self.typed[self.source.mark(path)] = _shown(value)
        return made


def _are_readings(value: Any, path: KeyPath) -> bool:
    """Whether a list, or a mapping with `measured`, stands where one number belongs."""
    takes = keys_with_numbers().get(key_of_number(path))
    if isinstance(path[-1], str):
        is_one = takes == "one" and path[-1] not in ("value", "plus_minus")
    else:
        is_one = takes == "many"
    if isinstance(value, dict):
        return is_one and MEASURED in value
    return is_one and isinstance(value, list)


def _mean(value: Any, path: KeyPath) -> dict[str, Any]:
    """Readings as a mean with its doubt."""
    given = value if isinstance(value, dict) else {MEASURED: value}
    wanted = wanted_at((*path, "value"))
    listed = given[MEASURED]
    strange = [key for key in given if key not in BESIDE_MEASURED]
    if strange:
        raise NotUnderstoodError("beside `measured` may stand `plus_minus` of the instrument, `shape`, `basis`")
    if not isinstance(listed, list) or len(listed) < FEWEST:
        raise NotUnderstoodError("`measured` takes two readings or more; one alone is a number with its `plus_minus`")
    readings = [exact_number(one, wanted) for one in listed]
    if any(one is None for one in readings):
        raise NotUnderstoodError("readings are numbers, such as [2.58, 2.60, 2.61]")
    found = [one for one in readings if one is not None]
    if not isinstance(value, dict) and len(found) == 2 and wanted.key in TWO_MAY_BE:
        shown = ", ".join(f"{float(one):g}" for one in found)
        raise NotUnderstoodError(f"write {{measured: [{shown}]}} for two readings, or {TWO_MAY_BE[wanted.key]}")
    value_of = float(sum(found)) / len(found)
    half = exact_number(given.get("plus_minus", 0), wanted_at((*path, "plus_minus"), {"value": value_of}))
    if half is None or half < 0:
        raise NotUnderstoodError("`plus_minus` beside `measured` is what the instrument may be off: 0 or more")
    shape = given.get("shape", "even")
    if shape not in ("even", "normal", "triangle"):
        raise NotUnderstoodError("`shape` beside `measured` is that of the instrument: `even`, `normal` or `triangle`")
    mean = mean_of_readings(found, wanted.unit, float(as_number(half)), shape)
    return mean | {"basis": given.get("basis", "measured")}


def _shown(value: Any) -> str:
    """What was typed, as it may be typed again."""
    if isinstance(value, str):
        return " ".join(value.split())
    if isinstance(value, list):
        return f"[{', '.join(_shown(one) for one in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{key}: {_shown(one)}' for key, one in value.items())}}}"
    return f"{value:.12g}"

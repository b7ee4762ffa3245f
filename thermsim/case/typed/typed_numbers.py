"""What was typed for the numbers of a case, and what was understood, so that it can be read again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.case.typed.keys import in_words, unit_at
from thermsim.case.typed.typed import MEASURED
from thermsim.case.vocabulary.addresses import address_of
from thermsim.case.vocabulary.schema import Case
from thermsim.rounding import with_tolerance


@dataclass(frozen=True)
class Typed:
    """A number that was typed with a unit or as readings.

    place : its address, or that of the option it stands in; text : what was typed
    is_understood_as : the value in the unit of its key, `0.78 mm`; line : of the file
    """

    place: str
    text: str
    is_understood_as: str
    line: int


def typed_numbers(case: Case) -> tuple[Typed, ...]:
    """Everything that was typed in other words than its key's unit, in the order of the file."""
    if case._origin is None:
        return ()
    source = case._origin.source
    # What the option that was taken says stands in the case itself.
    found = [path for path in source.marks if case.option is None or path[:1] != ("options",)]
    paths = sorted((path for path in found if source.typed_at(path) is not None), key=source.mark)
    return tuple(
        Typed(
            _place(case, source, path),
            text,
            _understood(source.at(path), in_words(path), _readings_at(source, path)),
            source.mark(path)[0],
        )
        for path in paths
        if (text := source.typed_at(path)) is not None
    )


def _place(case: Case, source: Source, path: KeyPath) -> str:
    """`die.thickness_mm`; in an option, its name and the change."""
    if path[0] == "options" and len(path) > 2:
        name = source.at((*path[:2], "option"))
        return f"option {name!r}: {'.'.join(map(str, path[3 if path[2] == 'changes' else 2 :]))}"
    return address_of(case, path)


def _readings_at(source: Source, path: KeyPath) -> int:
    """How many readings were typed for a mean."""
    lists = (path, (*path, MEASURED))
    return sum(place[:-1] in lists and isinstance(place[-1], int) for place in source.marks if place)


def _understood(value: Any, path: KeyPath, readings: int) -> str:
    """A value in the unit of its key, in words; of a mean, of how many readings, and what it is spread by."""
    if isinstance(value, list):
        shown = " x ".join(f"{one:.6g}" for one in value)
    elif isinstance(value, dict):
        of = f", of {readings} readings" if readings else ""
        if "repeats" in value:
            # More freedom than that of the readings comes of what the instrument may be off.
            freedom = value["repeats"] - 1
            of += " by Student's t" + (f" with {freedom} degrees of freedom" if freedom != readings - 1 else "")
        return f"{with_tolerance(value['value'], value['plus_minus'])} {unit_at(path)}".rstrip() + of
    else:
        shown = f"{value:.6g}"
    unit = unit_at(path)
    return f"{shown} {unit}".rstrip()

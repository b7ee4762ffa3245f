"""Which keys of a case take numbers, how many, and what stands at a place of a file."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal, get_args, get_origin

from thermsim.case.source.marked_values import KeyPath
from thermsim.case.vocabulary.numbers import unit_of
from thermsim.case.vocabulary.schema import Case, Conductivity, Entry, Film, Quantity

# one: a number with or without a tolerance; many: such numbers in a list; plain: a number alone; pairs: of C and W/mK
Takes = Literal["one", "many", "plain", "pairs"]
OF_A_NUMBER = ("value", "plus_minus", "measured")  # keys inside a number, which the key around it gives its unit


@cache
def keys_with_numbers() -> dict[str, Takes]:
    """What every key of the vocabulary takes that takes numbers."""
    return dict(_keys(Case))


def _keys(model: type[Entry]) -> Iterator[tuple[str, Takes]]:
    for name, info in model.model_fields.items():
        takes = _takes(info.annotation)
        if takes is not None:
            yield info.alias or name, takes
        for inner in entries_in(info.annotation):
            yield from _keys(inner)


def _takes(annotation: Any) -> Takes | None:
    if isinstance(annotation, type) and issubclass(annotation, (Quantity, Film, Conductivity)):
        return "one"
    if annotation is float:
        return "plain"
    inner = get_args(annotation)
    takes = [found for one in inner if one is not type(None) and (found := _takes(one)) is not None]
    if not takes:
        return None
    if get_origin(annotation) is tuple:
        return "many" if "one" in takes else "pairs"
    return "pairs" if "pairs" in takes else takes[0]


def entries_in(annotation: Any) -> list[type[Entry]]:
    """The mappings that a key may hold."""
    if isinstance(annotation, type) and issubclass(annotation, Entry):
        return [annotation]
    return [model for inner in get_args(annotation) for model in entries_in(inner)]


def in_words(path: KeyPath) -> KeyPath:
    """A path with the addresses of an option taken apart: `die.size_mm.0` is three steps."""
    if path[:1] != ("options",) or len(path) < 4:
        return path
    apart = [step.split(".") if isinstance(step, str) else [step] for step in path[3:]]
    return (*path[:3], *(int(one) if isinstance(one, str) and one.isdigit() else one for step in apart for one in step))


def key_of_number(path: KeyPath) -> str:
    """The key that names the unit of what stands at a path; "" where there is none."""
    return next((step for step in reversed(path) if isinstance(step, str) and step not in OF_A_NUMBER), "")


def unit_at(path: KeyPath) -> str:
    """The unit of what stands at a path, in words; "" for a plain number."""
    key = key_of_number(path)
    if keys_with_numbers().get(key) == "pairs":
        return "W/mK" if path[-1] == 1 else "C"
    return unit_of(key)

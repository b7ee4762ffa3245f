"""What a number with a unit should have been written as: in another unit, or at another key of the same entry."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from fractions import Fraction
from typing import Any

from thermsim.case.typed.conversion import WrongKindError, converted, is_same_kind, unit_named
from thermsim.case.typed.keys import keys_with_numbers
from thermsim.case.typed.number_text import PLUS_MINUS, NotUnderstoodError, Wanted, as_text, exact_number
from thermsim.case.typed.unit_words import Unit, unit_of_words
from thermsim.case.vocabulary.numbers import unit_of


def unit_in_key(key: str) -> tuple[str, Unit] | None:
    """Unit that an unknown key ends with, in words and read: `film_W_cm2K` -> `W/cm2K`."""
    for place, letter in enumerate(key):
        words = key[place + 1 :].replace("_", "/", 1)
        if letter == "_" and (unit := unit_of_words(words)) is not None:
            return words, unit
    return None


def keys_of_kind(unit: Unit, keys: Iterable[str]) -> list[str]:
    """Those keys, of one number each, whose quantity has a unit of that kind."""
    one = [key for key in keys if keys_with_numbers().get(key) in ("one", "plain") and unit_of(key)]
    return [key for key in one if is_same_kind(unit, unit_named(unit_of(key)))]


def in_unit_of(key: str, number: Fraction, unit: Unit) -> Fraction:
    """A quantity as a key has it."""
    return converted(number, unit, unit_named(unit_of(key)), unit_of(key) != "C")


def at_another_key(told: NotUnderstoodError, keys: Collection[str]) -> str:
    """`; write `film_um: 60``: where a quantity of another kind belongs, among the keys of its entry."""
    if told.of_kind is None:
        return ""
    number, unit = told.of_kind
    fitting = keys_of_kind(unit, keys)
    if len(fitting) == 1:
        return f"; write `{fitting[0]}: {as_text(in_unit_of(fitting[0], number, unit))}`"
    return f"; its keys: {', '.join(f'`{key}`' for key in fitting)}" if fitting else ""


def with_its_unit(key: str, value: Any, meant: str) -> Fraction | None:
    """What a number at an unknown key with a unit is at the key that was meant; None if that is not sure."""
    found = unit_in_key(key)
    if found is None or not unit_of(meant):
        return None
    try:
        number = exact_number(value, Wanted(key, found[0]))
        return None if number is None else in_unit_of(meant, number, found[1])
    except (NotUnderstoodError, WrongKindError):
        return None


def tolerance_with_its_unit(key: str, value: Any, meant: str) -> str | None:
    """What `250 +- 40` at an unknown key with a unit is at the key that was meant; None if it needs no other unit."""
    found, sides = unit_in_key(key), PLUS_MINUS.split(value) if isinstance(value, str) else []
    if (
        found is None
        or len(sides) != 2
        or found[0] == unit_of(meant)
        or not is_same_kind(found[1], unit_named(unit_of(meant)))
    ):
        return None
    middle, half = (side.strip() for side in sides)
    return None if any(map(str.isalpha, middle)) else f"{middle} {found[0]} +- {half}"


def units_of_table(word: str, allowed: Iterable[str]) -> str | None:
    """What to do with a table in another unit than the allowed ones; None where only the spelling differs."""
    allowed = list(allowed)
    if word.lower() in [unit.lower() for unit in allowed]:
        return None
    unit = unit_of_words(word)
    for wanted in allowed:
        if unit is not None and is_same_kind(unit, unit_named(wanted)):
            times = as_text(converted(Fraction(1), unit, unit_named(wanted), True))
            return f"; the table must be in {wanted}: multiply its cells by {times}, then write `{wanted}`"
    return f"; the table must be in {' or '.join(allowed)}: convert its cells first"

"""What one unit is in another: exact, as fractions, by the units library `pint`.

It is imported where a unit stands that is not the key's own: it takes half a second, and few cases need it.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any

from thermsim.case.typed.unit_words import Unit, unit_of_words

if TYPE_CHECKING:
    from pint import UnitRegistry

# What a quantity is called, by a unit of it.
KINDS = {
    "m": "a length",
    "m2": "an area",
    "W": "a power",
    "K": "a temperature",
    "W/mK": "a conductivity",
    "W/m2K": "a film coefficient",
    "m2K/W": "a resistance per area",
    "K/W": "a thermal resistance",
    "W/K": "a thermal conductance",
    "W/m2": "a heat flux",
    "W/m3": "a heat per volume",
    "kg": "a mass",
    "kg/m3": "a density",
    "J/kgK": "a heat capacity",
    "J/K": "a heat capacity of the whole",
    "Hz": "a frequency",
    "V": "a voltage",
    "l/min": "a flow",
    "Pa": "a pressure",
    "N": "a force",
    "N m": "a torque or an energy",
    "1/K": "a share per kelvin",
    "s": "a time",
}


class WrongKindError(Exception):
    """A unit of another kind of quantity. is_of : the kind in words, "" where it has no name here"""

    def __init__(self, is_of: str) -> None:
        super().__init__(is_of)
        self.is_of = is_of


def unit_named(words: str) -> Unit:
    """The unit of a key."""
    found = unit_of_words(words)
    assert found is not None, words
    return found


def converted(number: Fraction, given: Unit, wanted: Unit, is_difference: bool) -> Fraction:
    """A number in the wanted unit, exactly.

    is_difference : whether degrees are those of a difference; else they are points of their scale

    Raises WrongKindError where the units are of different kinds.
    """
    if given == wanted:
        return number
    if given.percents != wanted.percents:
        number *= Fraction(1, 100) ** (given.percents - wanted.percents)
    units = units_library()
    of, into = given.text(is_difference), wanted.text(is_difference)
    if units.get_dimensionality(of) != units.get_dimensionality(into):
        raise WrongKindError(kind_of(given))
    return Fraction(units.convert(number, of, into)) if of != into else number


def is_same_kind(one: Unit, other: Unit) -> bool:
    """Whether both units are of one kind of quantity."""
    units = units_library()
    return bool(units.get_dimensionality(one.text(True)) == units.get_dimensionality(other.text(True)))


def kind_of(unit: Unit) -> str:
    """What a quantity with that unit is called; "" where it has no name here."""
    return next((kind for words, kind in KINDS.items() if is_same_kind(unit, unit_named(words))), "")


@cache
def units_library() -> UnitRegistry[Any]:
    """The definitions of all units, with fractions in place of round-off."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)

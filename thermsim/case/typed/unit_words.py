"""Units as people write them -> names of units with their powers: `W/cm2K`, `W m^-2 K^-1`, `1/2 in`, `m2 C/W`.

Everything behind a `/` is below the line, so that `W/mK` and `W/m2/K` are read as the trade means them. A letter has
one meaning here, that of heat and lengths: `C` and `F` are degrees, `h` is an hour, `in` an inch. What a unit is worth
is known to the units library alone, see `conversion.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

# Units that take a prefix, and prefixes; then what is written whole. Behind each, its name in the units library.
_WITH_PREFIX = {
    "m": "meter",
    "g": "gram",
    "W": "watt",
    "J": "joule",
    "K": "kelvin",
    "V": "volt",
    "Hz": "hertz",
    "N": "newton",
    "Pa": "pascal",
    "bar": "bar",
    "s": "second",
    "l": "liter",
    "L": "liter",
}
_PREFIXES = {"n": "nano", "u": "micro", "m": "milli", "c": "centi", "d": "deci", "k": "kilo", "M": "mega", "G": "giga"}
_WHOLE = {
    "in": "inch",
    '"': "inch",
    "inch": "inch",
    "inches": "inch",
    "ft": "foot",
    "mil": "thou",
    "mils": "thou",
    "thou": "thou",
    "micron": "micrometer",
    "microns": "micrometer",
    "watt": "watt",
    "watts": "watt",
    "kelvin": "kelvin",
    "sec": "second",
    "second": "second",
    "seconds": "second",
    "min": "minute",
    "minute": "minute",
    "minutes": "minute",
    "h": "hour",
    "hr": "hour",
    "hour": "hour",
    "hours": "hour",
    "gal": "gallon",
    "lb": "pound",
    "oz": "ounce",
    "psi": "psi",
    "cal": "calorie",
    "kcal": "kilocalorie",
    "Btu": "Btu_it",
    "BTU": "Btu_it",
    "C": "degC",
    "degC": "degC",
    "celsius": "degC",
    "Celsius": "degC",
    "F": "degF",
    "degF": "degF",
    "fahrenheit": "degF",
    "Fahrenheit": "degF",
}
NAMES = {prefix + unit: _PREFIXES[prefix] + name for prefix in _PREFIXES for unit, name in _WITH_PREFIX.items()}
NAMES |= _WITH_PREFIX | _WHOLE | {"lpm": "liter / minute", "gpm": "gallon / minute"}
DEGREES = ("degC", "degF", "kelvin")
_DIFFERENCE = {"degC": "kelvin", "degF": "delta_degF"}
LONGEST = 60  # letters of a unit: more is a sentence

_SIGNS = str.maketrans(
    {"\u00b5": "u", "\u03bc": "u", "\u2212": "-", "\u2033": '"'}
    | dict.fromkeys("*\u00b7\u22c5\u00d7()", " ")
    | dict(zip("\u2070\u00b9\u00b2\u00b3\u2074\u207b", "01234-", strict=True))
)
_TOKEN = re.compile(r'([A-Za-z]+|"|%)\s*\^?\s*(-?[0-9])?(?![0-9])|\s+')
_DEGREE = re.compile(r"(?:\u00b0|\bdeg(?:rees?|\.)?)\s*(?=[CFK]|[Cc]elsius|[Ff]ahrenheit)")
_PER = re.compile(r"\bper\b")


@dataclass(frozen=True)
class Unit:
    """What was written. powers : (name in the units library, power); percents : how often a `%` stands in it"""

    powers: tuple[tuple[str, int], ...]
    percents: int = 0

    @property
    def is_degrees(self) -> bool:
        """Whether it is one of the scales of temperature, by itself."""
        return self.percents == 0 and len(self.powers) == 1 and self.powers[0] in {(name, 1) for name in DEGREES}

    def text(self, is_difference: bool = False) -> str:
        """In the words of the units library; degrees alone are a point of their scale unless a difference is meant."""
        as_written = self.is_degrees and not is_difference
        names = [
            (name if as_written else _DIFFERENCE.get(name, name), power) for name, power in self.powers if power != 0
        ]
        return " * ".join(f"({name}) ** {power}" if power != 1 else f"({name})" for name, power in names)


def unit_of_words(words: str) -> Unit | None:
    """The unit that is written; None where it holds a word that is none."""
    if len(words) > LONGEST:
        return None
    plain = _PER.sub("/", _DEGREE.sub("", words)).translate(_SIGNS).strip()
    above, *below = plain.split("/")
    if above.strip() == "1" and below:
        above = ""
    powers: dict[str, int] = {}
    percents = 0
    for sign, side in ((1, above), *((-1, part) for part in below)):
        if sign < 0 and not side.strip():
            return None
        for symbol, power in _symbols(side, sign < 0):
            if symbol == "%":
                percents += sign * power
            elif symbol in NAMES:
                powers[NAMES[symbol]] = powers.get(NAMES[symbol], 0) + sign * power
            else:
                return None
    return Unit(tuple(powers.items()), percents) if powers or percents else None


def _symbols(side: str, is_below: bool) -> Iterator[tuple[str, int]]:
    """The symbols on one side of the line, each with its power; what is none comes as it stands."""
    place = 0
    while place < len(side):
        found = _TOKEN.match(side, place)
        if found is None:
            yield side[place:], 1
            return
        place = found.end()
        if found[1]:
            *first, last = _apart(found[1], is_below)
            yield from ((symbol, 1) for symbol in first)
            yield last, int(found[2] or 1)


def _apart(letters: str, is_below: bool) -> tuple[str, ...]:
    """`mK` below the line is metre and kelvin, as in `W/mK`; above it, millikelvin."""
    if letters in NAMES and not (is_below and letters[-1] in "KCF" and letters[:-1] in NAMES):
        return (letters,)
    ways = [(letters[:cut], letters[cut:]) for cut in range(1, len(letters))]
    known = [way for way in ways if way[0] in NAMES and way[1] in NAMES]
    if is_below and (degrees := [way for way in known if way[1] in "KCF"]):
        known = degrees
    return known[0] if len(known) == 1 else (letters,)

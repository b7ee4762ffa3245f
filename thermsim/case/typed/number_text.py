"""One number as a person types it: `780 um`, `3/8 in`, `0.66 +- 0.02 mm`, `11 x 22 mm`, `86 F`, `10 %`.

What may mean two things (`14,000`, `0.7-0.8`) is told, never guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from thermsim.case.source.yaml_source import LARGEST_NUMBER
from thermsim.case.typed.conversion import WrongKindError, converted, unit_named
from thermsim.case.typed.unit_words import Unit, unit_of_words

DIGITS = 12  # of a number in a remedy: more than anybody types, fewer than round-off reaches
LONGEST = 120  # letters of a number with unit and tolerance: more is a sentence
MOST_DIGITS = 30  # of one number
SHARES = ("share", "wetted_fraction", "emissivity")  # numbers that may be told in percent

PERCENT, KELVIN = Unit((), 1), Unit((("kelvin", 1),))

_NUMBER = r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?(?![0-9.])"
_FRACTION = r"[-+]?(?:[0-9]+ )?[0-9]+ ?/ ?[0-9]+(?=\s*(?:[^\W\d_]|\"|$))"
_ONE = re.compile(rf"(?P<number>{_FRACTION}|{_NUMBER})\s*(?P<unit>(?:1/)?[^0-9\s.,+-][^,]*)?")
PLUS_MINUS = re.compile(r"\u00b1|\+/-|\+-")
_TIMES = re.compile(r"\s*[x\u00d7]\s*(?=[0-9.])")
_BEGINS = re.compile(r"\s*[-+\u2212]?\s*\.?[0-9]")
# What may mean two things, or is no number at all.
_COMMA = re.compile(r"([-+]?)([0-9]{1,3}(?:,[0-9]{3})+|[0-9]+,[0-9]+)(?:\.([0-9]+))?(?![0-9,.])\s*(.*)")
_UNLIKE_POWER = r"(?!(?<=[0-9.])[eE][-+]?[0-9])"
_RANGE = re.compile(
    rf"({_NUMBER})\s*{_UNLIKE_POWER}([^\s0-9.,-][^0-9,-]*?)?\s*(?:-|\u2013|\u2014|\bto\b)\s*({_NUMBER})\s*(.*)"
)
_DOTS = re.compile(r"\s*(?:\.\.+|\u2026)\s*")
_ABOUT = re.compile(r"(?:~|\u2248|ca\.?|circa|about|approx\.?(?:imately)?|around)\s*(?=[0-9.])", re.IGNORECASE)
_BEYOND = re.compile(r"[<>\u2264\u2265]=?\s*[0-9.]")
_GROUPED = re.compile(r"([0-9]{1,3}(?:[_' \u00a0\u2009\u202f][0-9]{3})+(?:\.[0-9]+)?)(?![0-9])\s*(.*)")
_HEXADECIMAL = re.compile(r"0x[0-9a-fA-F]+")


class NotUnderstoodError(Exception):
    """Text that is no number of its key. reason : what to write instead, or why not

    of_kind : the value and unit where they are those of another kind of quantity
    """

    def __init__(self, reason: str, of_kind: tuple[Fraction, Unit] | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.of_kind = of_kind


@dataclass(frozen=True)
class Wanted:
    """What stands at a key.

    key : the key that names the unit; unit : in words, "" for a plain number
    is_half_width : whether it is a half width, so that degrees are a difference and percents a share of `value`
    value : that the half width belongs to, None where it is not known
    lengths : how many numbers may stand together, 1 for one number
    has_tolerance : whether a tolerance may stand beside the number
    """

    key: str
    unit: str
    is_half_width: bool = False
    value: float | None = None
    lengths: int = 1
    has_tolerance: bool = True

    @property
    def in_unit(self) -> str:
        """How a message says what the number is to be typed in."""
        return f" in {self.unit}" if self.unit else " alone"


def read_number(text: str, wanted: Wanted) -> Any:
    """A number, a mapping with its tolerance, or a list of lengths, in the unit of the key.

    Raises NotUnderstoodError.
    """
    plain = text.strip().replace("\u2212", "-")
    _refuse_what_is_no_number(plain, wanted)
    if len(parts := _TIMES.split(plain)) > 1:
        return _lengths(parts, wanted)
    if len(sides := PLUS_MINUS.split(plain)) == 2:
        return _with_tolerance(sides[0].strip(), sides[1].strip(), wanted)
    number, unit = _apart(plain, wanted)
    if unit is None:
        raise NotUnderstoodError("leave the quotes out" if _is_plain(plain) else f"write {as_text(number)}")
    return as_number(_in_key_unit(number, unit, wanted))


def exact_number(given: Any, wanted: Wanted) -> Fraction | None:
    """A plain number, or text with its unit, in the unit of the key; None for anything else.

    Raises NotUnderstoodError.
    """
    if isinstance(given, (int, float)) and not isinstance(given, bool):
        return Fraction(repr(given))
    if not isinstance(given, str):
        return None
    number, unit = _apart(given.strip(), wanted)
    return number if unit is None else _in_key_unit(number, unit, wanted)


def value_in(given: float | str, key: str, unit: str) -> float:
    """A number, or text with or without a unit, in the unit of a key.

    Raises NotUnderstoodError.
    """
    if not isinstance(given, str):
        return float(given)
    wanted = Wanted(key, unit, has_tolerance=False)
    text = given.strip().replace("\u2212", "-")
    if re.fullmatch(r"[-+]?(inf|nan|infinity)", text, re.IGNORECASE):
        return float(text)
    _refuse_what_is_no_number(text, wanted)
    if PLUS_MINUS.search(text) or _TIMES.search(text):
        raise NotUnderstoodError(f"it is one number: write it{wanted.in_unit}")
    number = exact_number(text, wanted)
    assert number is not None  # as it is text
    return float(number)


def as_number(number: Fraction) -> float | int:
    """A number as the reader of the file makes it: the one that is nearest to what was typed."""
    return int(number) if number.denominator == 1 else float(number)


def as_text(number: Fraction) -> str:
    """A number as it is shown in a remedy, without the noise of its binary form."""
    return f"{float(number):.{DIGITS}g}"


def _is_plain(text: str) -> bool:
    return re.fullmatch(_NUMBER, text) is not None


def _refuse_what_is_no_number(text: str, wanted: Wanted) -> None:
    if len(text) > LONGEST:
        raise NotUnderstoodError(f"write the number{wanted.in_unit}")
    if _ABOUT.match(text) or _BEYOND.match(text):
        half = "" if wanted.is_half_width or not wanted.has_tolerance else ", and how far it may be off as `plus_minus`"
        raise NotUnderstoodError(f"write a number{wanted.in_unit}{half}")
    if not _BEGINS.match(text):
        raise NotUnderstoodError("")
    if _HEXADECIMAL.fullmatch(text):
        raise NotUnderstoodError(f"write it in decimals: {int(text, 16)}" if len(text) < MOST_DIGITS else "")
    if comma := _COMMA.match(text):
        raise NotUnderstoodError(_told_of_comma(comma))
    if grouped := _GROUPED.match(text):
        digits, unit = re.sub("[^0-9.]", "", grouped[1]), grouped[2]
        raise NotUnderstoodError(f"write the digits without marks between them: {digits}{unit and ' ' + unit}")
    one = _ONE.fullmatch(text)
    if PLUS_MINUS.search(text) or _TIMES.search(text):
        return
    if one is not None and (one["unit"] is None or unit_of_words(one["unit"]) is not None):
        return
    if found := _RANGE.fullmatch(_DOTS.sub(" - ", text)):
        raise NotUnderstoodError(_told_of_range(found, wanted))


def _told_of_comma(found: re.Match[str]) -> str:
    """A comma between groups of three digits, or before decimals: where it may be either, both are told."""
    sign, digits, after, unit = found.groups()
    behind = f" {unit}" if unit else ""
    whole = f"{sign}{digits.replace(',', '')}{'.' + after if after else ''}{behind}"
    point = f"{sign}{digits.replace(',', '.')}{behind}"
    groups = digits.split(",")
    is_grouped = len(groups[0]) <= 3 and groups[0] != "0" and all(len(group) == 3 for group in groups[1:])
    if after or len(groups) > 2:
        return f"write the digits without marks between them: {whole}"
    if is_grouped:
        return f"that may be {point} or {whole}: write which, with a point for decimals and no mark between thousands"
    return f"write decimals with a point: {point}"


def _told_of_range(found: re.Match[str], wanted: Wanted) -> str:
    """Two numbers with a line between them."""
    units = [unit for unit in (found[2], found[4]) if unit]
    behind = f" {units[-1].strip()}" if units else ""
    low, high = Fraction(found[1]), Fraction(found[3].lstrip("+"))
    if wanted.is_half_width or not low < high:
        return f"write one number{wanted.in_unit}"
    middle, half = (low + high) / 2, (high - low) / 2
    if not wanted.has_tolerance:
        return f"write one number, such as {as_text(middle)}{behind}"
    return (
        f"if it lies anywhere between, write {{value: {as_text(middle)}{behind}, plus_minus: {as_text(half)}{behind}}}"
    )


def _lengths(parts: list[str], wanted: Wanted) -> list[float | int]:
    """`11 x 22 mm`: lengths with one unit behind them all, or one behind each."""
    if wanted.lengths == 1:
        raise NotUnderstoodError(f"it is one number: write it{wanted.in_unit}")
    if len(parts) > wanted.lengths:
        raise NotUnderstoodError(f"it is at most {wanted.lengths} numbers")
    found = [_apart(part.strip(), wanted) for part in parts]
    units = [unit for _, unit in found]
    if units[-1] is not None and not any(units[:-1]):
        units = [units[-1]] * len(units)
    if any(units) and not all(units):
        raise NotUnderstoodError("give every number its unit, or one unit behind the last")
    pairs = zip(found, units, strict=True)
    return [as_number(number if unit is None else _in_key_unit(number, unit, wanted)) for (number, _), unit in pairs]


def _with_tolerance(middle: str, half: str, wanted: Wanted) -> dict[str, Any]:
    """`0.66 +- 0.02 mm`, `0.66 mm +- 20 um`, `60 um +- 10 %`."""
    if wanted.is_half_width or not wanted.has_tolerance:
        raise NotUnderstoodError(f"it takes no tolerance of its own: write one number{wanted.in_unit}")
    number, unit = _apart(middle, wanted)
    half_number, half_unit = _apart(half, wanted)
    is_share = half_unit is not None and unit_of_words(half_unit) == PERCENT
    if unit is None and half_unit is not None and not is_share:
        if wanted.unit == "C" and unit_of_words(half_unit) == KELVIN:
            raise NotUnderstoodError("say whether the temperature itself is in C or K: give it its unit too")
        unit = half_unit
    elif half_unit is None and unit is not None:
        half_unit = unit
    value = as_number(number if unit is None else _in_key_unit(number, unit, wanted))
    of_half = Wanted(wanted.key, wanted.unit, is_half_width=True, value=value)
    plus_minus = half_number if half_unit is None else _in_key_unit(half_number, half_unit, of_half)
    return {"value": value, "plus_minus": as_number(plus_minus)}


def _apart(text: str, wanted: Wanted) -> tuple[Fraction, str | None]:
    """The number and the words behind it."""
    found = _ONE.fullmatch(text)
    if found is None:
        raise NotUnderstoodError(f"write the number{wanted.in_unit}")
    digits, unit = found["number"], found["unit"]
    return _exact(digits, wanted), unit and unit.strip()


def _exact(digits: str, wanted: Wanted) -> Fraction:
    if len(digits) > MOST_DIGITS:
        raise NotUnderstoodError(f"write the number{wanted.in_unit}, with fewer digits")
    if "/" in digits:
        whole, _, part = digits.replace(" /", "/").replace("/ ", "/").rpartition(" ")
        if int(part.split("/")[1]) == 0:
            raise NotUnderstoodError("nothing can be divided by 0")
        sign = -1 if (whole or part).startswith("-") else 1
        return sign * (abs(Fraction(whole or 0)) + abs(Fraction(part)))
    _refuse_beyond(float(digits), is_zero=not re.search("[1-9]", re.split("[eE]", digits)[0]))
    return Fraction(digits)


def _refuse_beyond(value: float, is_zero: bool) -> None:
    if not abs(value) <= LARGEST_NUMBER:
        raise NotUnderstoodError(f"that is beyond {LARGEST_NUMBER:g}, more than any value of a case")
    if abs(value) < 1 / LARGEST_NUMBER and not is_zero:
        raise NotUnderstoodError(f"that is nearer to 0 than {1 / LARGEST_NUMBER:g}; write 0 or a larger number")


def _in_key_unit(number: Fraction, words: str, wanted: Wanted) -> Fraction:
    """The number in the unit of its key."""
    if words == wanted.unit:
        return number
    unit = unit_of_words(words)
    if unit is None:
        close = f"write the number{wanted.in_unit}, without a unit" if wanted.unit else "write the number alone"
        raise NotUnderstoodError(f"{words[:20]!r} is no unit that is known here: {close}")
    if unit == PERCENT:
        return _of_hundred(number, wanted)
    if not wanted.unit:
        raise NotUnderstoodError("it has no unit: write the number alone", of_kind=(number, unit))
    try:
        found = converted(number, unit, unit_named(wanted.unit), _is_difference(wanted))
    except WrongKindError as wrong:
        of = unit_kind(wanted)
        is_of = f"that is {wrong.is_of}, and" if wrong.is_of else f"{words} is of another kind:"
        said, slip = f"{is_of} `{wanted.key}` takes {of}", _slip_of_unit(number, unit, words, wanted)
        if slip:
            raise NotUnderstoodError(f"{said}; {slip}") from None
        raise NotUnderstoodError(said, of_kind=(number, unit)) from None
    _refuse_beyond(float(found), found == 0)
    return found


def _slip_of_unit(number: Fraction, unit: Unit, words: str, wanted: Wanted) -> str:
    """What was meant where the kelvin of a unit was forgotten, or the unit stands upside down; else nothing."""
    from thermsim.case.typed.conversion import is_same_kind, unit_named

    into = unit_named(wanted.unit)
    with_kelvin = unit_of_words(f"{words}K") if "/" in words else None
    if with_kelvin is not None and is_same_kind(with_kelvin, into):
        return f"did you mean {as_text(number)} {words}K?"
    turned = Unit(tuple((name, -power) for name, power in unit.powers), -unit.percents)
    if number == 0 or wanted.is_half_width or not is_same_kind(turned, into):
        return ""
    reciprocal = as_text(converted(1 / number, turned, into, True))
    return (
        f"its reciprocal is {reciprocal} {wanted.unit}: write {reciprocal}, or {as_text(number)} with the unit turned "
        "round if the number was meant so"
    )


def unit_kind(wanted: Wanted) -> str:
    """`a length in mm`"""
    from thermsim.case.typed.conversion import kind_of

    kind = kind_of(unit_named(wanted.unit))
    return f"{kind or 'a number'} in {wanted.unit}"


def _is_difference(wanted: Wanted) -> bool:
    """Only what its key tells in C is a point of a scale; all other degrees are differences."""
    return wanted.is_half_width or wanted.unit != "C"


def _of_hundred(number: Fraction, wanted: Wanted) -> Fraction:
    """Percent: of the value beside it for a half width, of one for a share."""
    share = number / 100
    if not wanted.is_half_width:
        if wanted.key in SHARES:
            return share
        raise NotUnderstoodError(f"nobody knows what the hundred is: write the number{wanted.in_unit}")
    if wanted.unit == "C" or wanted.key in SHARES:
        what = f"nobody knows what the hundred is: write the half width{wanted.in_unit}"
        if wanted.unit == "C" or wanted.value is None:
            raise NotUnderstoodError(what)
        of_value, of_one = (as_text(share * whole) for whole in (abs(Fraction(repr(wanted.value))), Fraction(1)))
        raise NotUnderstoodError(
            f"{what}, `+- {of_value}` for so much of {as_text(Fraction(repr(wanted.value)))}, or `+- {of_one}` for so "
            "much of the whole"
        )
    if wanted.value is None:
        raise NotUnderstoodError(f"the value that it is a share of does not stand beside it: write it{wanted.in_unit}")
    return abs(Fraction(repr(wanted.value))) * share

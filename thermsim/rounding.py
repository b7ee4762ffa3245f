"""How numbers are rounded wherever they are told.

A doubt of an answer: up, to one digit, or to two where it begins with 1. A tolerance of an input: as it was typed, or
to two digits where it was worked out from readings (JCGM 100:2008, 7.2.6), and its value to the same decimals.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor, isclose, isfinite, log10

MOST_DECIMALS = 3  # decimals of a number in a table; the JSON result keeps every digit


def decimals_for(half_width: float, most: int = MOST_DECIMALS) -> int:
    """Decimals that show one digit of the doubt, two where it begins with 1; between 0 and `most`."""
    if half_width <= 0.0:
        return most
    exponent = floor(log10(half_width))
    leading = half_width / 10.0**exponent
    return min(max(-exponent + (leading < 2.0), 0), most)


def decimals_apart(low: float, high: float, marks: Iterable[float | None]) -> int:
    """Decimals of a number and its interval: by the half width, more where an end would fall on a mark beside it.

    marks : what ends are held against, 0 always among them; None says nothing
    """
    decimals = decimals_for(0.5 * (high - low))
    held = {0.0, *(mark for mark in marks if mark is not None)}
    while decimals < MOST_DECIMALS and any(
        round(end, decimals) == round(mark, decimals) for end in (low, high) for mark in held if end != mark
    ):
        decimals += 1
    return decimals


def rounded_up(half_width: float, decimals: int) -> float:
    """The doubt rounded up to so many decimals (less a part in 1e9, so that 0.06 stays 0.06)."""
    step = 10.0**-decimals
    return ceil(half_width / step * (1.0 - 1e-9)) * step


def doubt_in_words(half_width: float | None) -> str:
    """`0.3` for 0.21, `0.13` for 0.123; `unknown` where nothing is known."""
    if half_width is None or not isfinite(half_width):
        return "unknown"
    decimals = decimals_for(half_width)
    return f"{rounded_up(half_width, decimals):.{decimals}f}"


def decimals_of_two_digits(value: float) -> int:
    """Decimals that show two digits of a number above zero."""
    return max(1 - floor(log10(value)), 0)


def two_digits_up(value: float) -> str:
    """`5.3` for 5.21, `13` for 12.2, `0` for nothing: enough of what is needed."""
    if value == 0.0:
        return "0"
    decimals = decimals_of_two_digits(value)
    return f"{rounded_up(value, decimals):.{decimals}f}"


def with_tolerance(value: float, half_width: float) -> str:
    """`2.597 +- 0.038` for the mean of readings, `0.6604 +- 0.02` as typed; the value alone without a tolerance."""
    return value_told(value, half_width) + (f" +- {tolerance(half_width)}" if half_width else "")


def tolerance(half_width: float) -> str:
    """A half width of an input: as typed with up to three digits, else rounded up to two."""
    is_typed = isclose(float(f"{half_width:.3g}"), half_width, rel_tol=1e-9)
    if is_typed:
        return f"{half_width:g}"
    decimals = 1 - floor(log10(half_width))
    return f"{rounded_up(half_width, decimals):.{max(decimals, 0)}f}"


def value_told(value: float, half_width: float = 0.0) -> str:
    """The value of an input: as typed, unless it has digits that its tolerance makes idle."""
    if half_width <= 0.0:
        return f"{value:g}"
    decimals = decimals_of_two_digits(half_width)
    is_typed = isclose(round(value, decimals + 1), value, rel_tol=1e-9)
    return f"{value:g}" if is_typed else f"{value:.{decimals}f}"


def celsius(value: float) -> str:
    """`28.2`, `28.23`: a temperature that is given, to a hundredth at most."""
    return f"{round(value, 2) + 0.0:g}"


def four_digits_down(value: float) -> str:
    """`5.878` for 5.8789: what may be had, never more than there is."""
    decimals = max(3 - floor(log10(value)), 0) if value > 0.0 else 0
    step = 10.0**-decimals
    return f"{floor(value / step * (1.0 + 1e-9)) * step:.{decimals}f}"


def times_in(coverage: float) -> str:
    """`9 times in 10`, `19 times in 20`, `99 times in 100`."""
    for whole in (10, 20, 100):
        if abs(coverage * whole - round(coverage * whole)) < 1e-9:
            return f"{round(coverage * whole)} times in {whole}"
    return f"{100.0 * coverage:.4g} times in 100"

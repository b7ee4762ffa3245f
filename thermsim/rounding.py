"""How a doubt is rounded wherever it is told: up, to one digit, or to two where it begins with 1."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor, isfinite, log10

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


def two_digits_up(value: float) -> str:
    """`5.3` for 5.21, `13` for 12.2: enough of what is needed."""
    decimals = max(1 - floor(log10(value)), 0)
    return f"{rounded_up(value, decimals):.{decimals}f}"


def times_in(coverage: float) -> str:
    """`9 times in 10`, `19 times in 20`, `99 times in 100`."""
    for whole in (10, 20, 100):
        if abs(coverage * whole - round(coverage * whole)) < 1e-9:
            return f"{round(coverage * whole)} times in {whole}"
    return f"{100.0 * coverage:.4g} times in 100"

"""Numbers and questions as words: the digits that a doubt leaves, and no doubt that looks smaller than it is."""

from __future__ import annotations

from math import ceil, floor, isfinite, log10

from thermsim.study.answers import Question

MOST_DECIMALS = 3  # of a number in a table; the JSON result keeps every digit
UNKNOWN = "-"


def most_decimals(rise_K: float) -> int:
    """Decimals that show four digits of a temperature rise; two at least, four at most."""
    return min(max(3 - floor(log10(rise_K)), 2), 4) if rise_K > 0.0 else 2


def significant(value: float | None, digits: int) -> str:
    """So many significant digits, never as a power of ten where the number is large."""
    if value is None or not isfinite(value):
        return UNKNOWN
    text = f"{value:.{digits}g}"
    return f"{value:.0f}" if "e+" in text else text


def with_doubt(value: float | None, half_width: float | None, most_decimals: int = MOST_DECIMALS) -> str:
    """`72.43 +- 0.06`: the value to the last digit that the doubt leaves, the doubt rounded up."""
    if value is None or not isfinite(value):
        return UNKNOWN
    if half_width is None or not isfinite(half_width):
        return f"{value:.1f} +- unknown"
    decimals = decimals_for(half_width, most_decimals)
    return f"{value:.{decimals}f} +- {rounded_up(half_width, decimals):.{max(decimals, 0)}f}"


def plain(value: float | None, half_width: float | None, most_decimals: int = MOST_DECIMALS) -> str:
    """The value alone, with the digits that its doubt leaves."""
    if value is None or not isfinite(value):
        return UNKNOWN
    known = half_width is not None and isfinite(half_width)
    return f"{value:.{decimals_for(half_width, most_decimals) if known and half_width is not None else 1}f}"


def decimals_for(half_width: float, most: int = MOST_DECIMALS) -> int:
    """Decimals that show one digit of the doubt, two where it begins with 1; between 0 and `most`."""
    if half_width <= 0.0:
        return most
    exponent = floor(log10(half_width))
    leading = half_width / 10.0**exponent
    return min(max(-exponent + (leading < 2.0), 0), most)


def rounded_up(half_width: float, decimals: int) -> float:
    """The doubt rounded up to so many decimals (less a part in 1e9, so that 0.06 stays 0.06)."""
    step = 10.0**-decimals
    return ceil(half_width / step * (1.0 - 1e-9)) * step


def asked(question: Question) -> str:
    """`zone C5, mean`, `reading C0`, `the hottest spot`: what a doubt belongs to."""
    if question == ("hottest",):
        return "the hottest spot"
    kind, name, *which = question
    return f"{kind} {name}" + "".join(f", {word}" for word in which)


def order_in_words(order: float | None) -> str:
    return "no observed order" if order is None or not isfinite(order) else f"observed order {order:.2f}"

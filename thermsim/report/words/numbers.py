"""Numbers and questions as words: the digits that a doubt leaves, and no doubt that looks smaller than it is."""

from __future__ import annotations

from math import floor, isfinite, log10

from thermsim.rounding import MOST_DECIMALS, decimals_for, rounded_up

UNKNOWN = "-"


def most_decimals(rise_K: float) -> int:
    """Decimals that show four digits of a temperature rise; two at least, four at most."""
    return min(max(3 - floor(log10(rise_K)), 2), 4) if rise_K > 0.0 else 2


def fixed(value: float, form: str) -> str:
    """A number in a form such as `.2f`, without the sign of a zero."""
    text = format(value, form)
    return text.removeprefix("-") if float(text) == 0.0 else text


def significant(value: float | None, digits: int) -> str:
    """So many significant digits, never as a power of ten where the number is large."""
    if value is None or not isfinite(value):
        return UNKNOWN
    text = fixed(value, f".{digits}g")
    return fixed(value, ".0f") if "e+" in text else text


def with_doubt(value: float | None, half_width: float | None, most_decimals: int = MOST_DECIMALS) -> str:
    """`72.43 +- 0.06`: the value to the last digit that the doubt leaves, the doubt rounded up."""
    if value is None or not isfinite(value):
        return UNKNOWN
    if half_width is None or not isfinite(half_width):
        return f"{fixed(value, '.1f')} +- unknown"
    decimals = decimals_for(half_width, most_decimals)
    return f"{fixed(value, f'.{decimals}f')} +- {rounded_up(half_width, decimals):.{max(decimals, 0)}f}"


def plain(value: float | None, half_width: float | None, most_decimals: int = MOST_DECIMALS) -> str:
    """The value alone, with the digits that its doubt leaves."""
    if value is None or not isfinite(value):
        return UNKNOWN
    known = half_width is not None and isfinite(half_width)
    decimals = decimals_for(half_width, most_decimals) if known and half_width is not None else 1
    return fixed(value, f".{decimals}f")


def order_in_words(order: float | None) -> str:
    """The observed order of convergence, or that there is none."""
    return "no observed order" if order is None or not isfinite(order) else f"observed order {order:.2f}"

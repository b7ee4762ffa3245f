"""The doubt of the inputs in words: intervals, what one tolerance moves, and what is taken as exact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from math import isfinite
from typing import Any

from thermsim.case.inputs.without_tolerance import exact_inputs, exact_lines
from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.input_doubt import Band
from thermsim.report.words.numbers import UNKNOWN, fixed
from thermsim.rounding import MOST_DECIMALS, decimals_for, rounded_up, times_in, with_tolerance

MOST_EXACT = 6  # inputs without a tolerance that are named; the others are counted
AS_IF_EXACT = "as if everything were exact: no input has a tolerance"
NO_END = "no end"
NO_BASIS = "no basis given"  # of a tolerance, where the case does not say how it is known
ALIKE_SHARE = 0.15  # of the mean of both sides, by which they may differ and are still told as one


def ends_of(band: Band) -> dict[str, float | None]:
    """The ends of a band for documents and words: None where there is no end."""
    return {key: end if isfinite(end) else None for key, end in asdict(band).items()}


def swing(value: float | None, band: dict[str, float | None] | None) -> str:
    """`+-2.1`, or `-1.9 +2.6` where the sides differ: what the inputs leave of an answer.

    Two digits, rounded up, so that it never contradicts the ends of `between`.
    """
    if value is None or band is None:
        return UNKNOWN
    low, high = (None if band[end] is None else abs((band[end] or 0.0) - value) for end in ("low", "high"))
    known = [side for side in (low, high) if side is not None]
    if not known:
        return NO_END
    decimals = _two_digits(max(known))
    down, up = (NO_END if side is None else f"{rounded_up(side, decimals):.{decimals}f}" for side in (low, high))
    if low is not None and high is not None and abs(high - low) <= ALIKE_SHARE * 0.5 * (high + low):
        return f"+-{max(down, up, key=float)}"
    return f"-{down} +{up}"


def _two_digits(width: float) -> int:
    """Decimals that show two digits of a width, three at most."""
    decimals = decimals_for(width)
    return min(decimals + (1 if width * 10.0**decimals < 9.5 else 0), MOST_DECIMALS)


def between(value: float, band: dict[str, float | None], coverage: float) -> tuple[str, int]:
    """`9 times in 10 between 71.9 and 75.8`, and the decimals in which value and ends are told."""
    low, high = band["both_low"], band["both_high"]
    widths = [abs(end - value) for end in (low, high) if end is not None]
    decimals = decimals_for(sum(widths) / len(widths)) if widths else 1
    if low is None or high is None:
        known = "" if low is None else f", {times_in(coverage)} above {fixed(low, f'.{decimals}f')}"
        return f"no highest value can be told{known}", decimals
    ends = " and ".join(fixed(end, f".{decimals}f") for end in (low, high))
    return f"{times_in(coverage)} between {ends}", decimals


def band_cells(value: float, band: Band) -> tuple[str, str]:
    """`+-2.1` and `71.9 to 75.8`: what the inputs leave of an answer, and where it lies by inputs and mesh."""
    told = ends_of(band)
    ends = [told["both_low"], told["both_high"]]
    widths = [abs(end - value) for end in ends if end is not None]
    decimals = decimals_for(sum(widths) / len(widths)) if widths else 1
    words = " to ".join(NO_END if end is None else fixed(end, f".{decimals}f") for end in ends)
    return swing(value, told), words


def exact_of(cases: Sequence[tuple[str, Case]]) -> list[str]:
    """What is taken as exact in cases with their names: of all but the first what it does not have itself."""
    return [
        f"{name}: {line}" if at else line for at, (name, lines) in enumerate(exact_by_case(cases)) for line in lines
    ]


def exact_by_case(cases: Sequence[tuple[str, Case]]) -> list[tuple[str, list[str]]]:
    """What is taken as exact, by the case it is of: of the first all, of others what differs from those before."""
    found: list[tuple[str, list[str]]] = []
    seen: set[tuple[str, float]] = set()
    for name, case in cases:
        own = [one for one in exact_inputs(case) if (one.path, one.value) not in seen]
        seen |= {(one.path, one.value) for one in own}
        found += [(name, exact_lines(own))]
    return found


def exact_words(lines: list[str]) -> str:
    """`Taken as exact, for no tolerance is given: a; b; and 12 more.`; nothing where every input has one."""
    if not lines:
        return ""
    more = len(lines) - MOST_EXACT
    listed = "; ".join(lines[:MOST_EXACT]) + (f"; and {more} more" if more > 0 else "")
    return f"Taken as exact, for no tolerance is given: {listed}."


def tolerance_of(one: dict[str, Any]) -> str:
    """`7.8 +- 2 mm2K/W`; of a material of the catalogue the factor on its conductivity, `k +- 10 %`"""
    if one["input"].startswith("material "):
        return f"k +- {100.0 * one['plus_minus'] / one['value']:.3g} %"
    return f"{with_tolerance(one['value'], one['plus_minus'])} {one['unit']}".rstrip()


def moved_words(one: dict[str, Any]) -> str:
    """`7.8 +- 2 mm2K/W, assumed`"""
    return f"{tolerance_of(one)}, {one['basis'] or NO_BASIS}"

"""Units that stand beside a number although its key names one: what to write instead, never another quantity."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from thermsim.case.source.marked_values import KeyPath
from thermsim.case.vocabulary.numbers import key_of, unit_of
from thermsim.units import ZERO_CELSIUS_K

# What one of each unit is in the SI unit of its line; all are exact by definition (BIPM SI brochure; inch: 25.4 mm).
# Units of one line turn into one another.
SAME_KIND: tuple[dict[str, float], ...] = (
    {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "um": 1e-6, "nm": 1e-9, "in": 25.4e-3, "inch": 25.4e-3, "mil": 25.4e-6},
    {"W": 1.0, "kW": 1e3, "mW": 1e-3, "uW": 1e-6},
    {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9},
    {"V": 1.0, "mV": 1e-3},
    {"g": 1e-3, "mg": 1e-6, "kg": 1.0},
    {"W/m2K": 1.0, "kW/m2K": 1e3, "W/cm2K": 1e4, "W/mm2K": 1e6, "mW/mm2K": 1e3},
    {"W/mK": 1.0, "W/cmK": 1e2, "W/mmK": 1e3, "mW/mmK": 1.0, "kW/mK": 1e3},
    {"m2K/W": 1.0, "cm2K/W": 1e-4, "mm2K/W": 1e-6},
    {"W/m2": 1.0, "kW/m2": 1e3, "W/cm2": 1e4, "mW/cm2": 10.0, "W/mm2": 1e6, "mW/mm2": 1e3},
    {"kg/m3": 1.0, "g/cm3": 1e3},
    {"J/kgK": 1.0, "kJ/kgK": 1e3, "J/gK": 1e3},
    {"1/K": 1.0, "/K": 1.0, "%/K": 1e-2},
)
# Kelvins in one of each, for differences; and the Celsius temperature where the scale is zero.
DEGREES = {"K": (1.0, -ZERO_CELSIUS_K), "C": (1.0, 0.0), "F": (5.0 / 9.0, -160.0 / 9.0)}
SHARES = ("share", "wetted_fraction", "emissivity")
DIGITS = 12  # of a converted number: more than anybody types, fewer than round-off reaches
_SIGNS = str.maketrans(
    {"\u00b5": "u", "\u03bc": "u", "\u00b2": "2", "\u00b3": "3"} | dict.fromkeys(" \u00b0^*\u00b7()")
)


def spelt(unit: str) -> str:
    """A unit as the table spells it: `W/(m^2 K)` -> `W/m2K`, a micro sign -> `u`."""
    plain = unit.translate(_SIGNS)
    return re.sub("C$", "K", plain) if "/" in plain else plain


def factor(unit: str, wanted: str) -> float | None:
    """How many of the wanted unit one of a unit is; None where that is not surely known."""
    return next((kind[unit] / kind[wanted] for kind in SAME_KIND if unit in kind and wanted in kind), None)


def without_unit(path: KeyPath, number: str, unit: str, holder: Any) -> str:
    """`; that is 3.5 mm: write 3.5`: the remedy for a number with a unit beside it.

    path : of the number; holder : the mapping or list that it stands in
    """
    is_half_width = path[-1] == "plus_minus"
    key = key_of(path[:-1] if is_half_width else path)
    wanted, given = unit_of(key), spelt(unit)
    in_key = f" {wanted}" if wanted else ""
    if given == wanted:
        return f"; leave the unit out, the key names it: {number}"
    try:
        value = _converted(float(number), given, wanted, key, holder if is_half_width else None)
    except ValueError:
        value = None
    if value is not None:
        text = f"{value:.{DIGITS}g}"
        return f"; that is {text}{in_key}: write {text}"
    return f"; write the number{f' in{in_key}' if wanted else ' alone'}, without a unit"


def _converted(number: float, given: str, wanted: str, key: str, half_width_of: Any) -> float | None:
    """The number in the wanted unit; None where that is not surely known.

    half_width_of : the mapping of the value whose half width the number is, None for a value
    """
    if given == "%":
        if half_width_of is None:
            return number / 100.0 if key in SHARES else None
        value = half_width_of.get("value") if isinstance(half_width_of, dict) else None
        if wanted in ("", "C") or isinstance(value, bool) or not isinstance(value, (int, float)):
            return None  # of a share or a temperature nobody knows what the hundred is
        return abs(value) * number / 100.0
    if given in DEGREES and wanted in ("C", "K"):
        kelvins, zero_C = DEGREES[given]
        return number * kelvins + (zero_C if wanted == "C" and half_width_of is None else 0.0)
    times = factor(given, wanted)
    return None if times is None else number * times


def units_of_table(word: str, allowed: Iterable[str]) -> str | None:
    """What to do with a table in another unit than the allowed ones; None where only the spelling differs."""
    allowed = list(allowed)
    if word.lower() in [unit.lower() for unit in allowed]:
        return None
    for wanted in allowed:
        times = factor(spelt(word), wanted)
        if times is not None:
            return f"; the table must be in {wanted}: multiply its cells by {times:.{DIGITS}g}, then write `{wanted}`"
    return f"; the table must be in {' or '.join(allowed)}: convert its cells first"

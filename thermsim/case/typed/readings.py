"""Readings of one instrument as a mean with its doubt, by JCGM 100:2008 (the GUM).

The mean of n readings has the standard uncertainty s / sqrt(n) with n - 1 degrees of freedom (4.2.3); what the
instrument itself may be off is added as the root of the sum of squares (5.1.2), with the effective degrees of freedom
of Welch and Satterthwaite (G.4.1, equation G.2b), cut off to a whole number; the half width is that which holds the
truth in 19 of 20 cases by Student's t (G.3).
"""

from __future__ import annotations

from fractions import Fraction
from math import floor, fsum, sqrt
from typing import Any

from thermsim.case.typed.coverage import half_widths_per_uncertainty
from thermsim.case.typed.number_text import NotUnderstoodError, as_number

FEWEST = 2
# Readings of one thing do not differ by more than this share of their mean, temperatures by more kelvins: with more, a
# comma was probably meant as a point; our own choice.
MOST_SPREAD = 0.5
MOST_SPREAD_K = 20.0
MANY = 1000  # degrees of freedom from which on Student's t is the normal distribution to three digits


def mean_of_readings(
    readings: list[Fraction], unit: str, half_width: float = 0.0, shape: str = "even"
) -> dict[str, Any]:
    """`value`, `plus_minus`, and `repeats` or `shape` of the mean of some readings.

    Parameters
    ----------
    readings : at least two, in the unit of the key
    unit : of them, in words
    half_width, shape : what the instrument may be off, in the same unit, and how that is spread

    Raises
    ------
    NotUnderstoodError : one reading, equal ones of an instrument that nothing is known of, or no readings of one thing
    """
    count = len(readings)
    if count < FEWEST:
        raise NotUnderstoodError("one reading has no scatter: write it as a number, with its `plus_minus`")
    mean = sum(readings, Fraction()) / count
    spread = float(max(readings) - min(readings))
    if spread > (MOST_SPREAD_K if unit in ("C", "K") else MOST_SPREAD * abs(float(mean))):
        low, high = (f"{float(end):g}" for end in (min(readings), max(readings)))
        what = f"{low} and {high} are no readings of one thing"
        raise NotUnderstoodError(f"{what}; decimals are written with a point, not a comma")
    if spread == 0.0 and half_width == 0.0:
        raise NotUnderstoodError(_told_of_equal(readings))
    by_scatter = sqrt(fsum(float(one - mean) ** 2 for one in readings) / (count - 1) / count)
    found: dict[str, Any] = {"value": as_number(mean)}
    if by_scatter == 0.0:
        return found | {"plus_minus": half_width, "shape": shape}
    by_instrument = half_width / half_widths_per_uncertainty(shape)
    uncertainty = sqrt(by_scatter**2 + by_instrument**2)
    freedom = (count - 1) * min(uncertainty / by_scatter, float(MANY)) ** 4
    if freedom >= MANY:
        return found | {"plus_minus": half_widths_per_uncertainty("normal") * uncertainty, "shape": "normal"}
    whole = max(count - 1, floor(freedom * (1.0 + 1e-12)))
    return found | {"plus_minus": half_widths_per_uncertainty("t", whole) * uncertainty, "repeats": whole + 1}


def _told_of_equal(readings: list[Fraction]) -> str:
    shown = ", ".join(f"{float(one):g}" for one in readings)
    what = f"all {len(readings)} readings are equal, so that their scatter says nothing"
    return f"{what}: write {{measured: [{shown}], plus_minus: ...}} with what the instrument may be off"

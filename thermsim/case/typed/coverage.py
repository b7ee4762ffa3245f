"""How far the half width of a tolerance reaches: what 19 of 20 means, by Student's t."""

from __future__ import annotations

from math import inf, sqrt

HALF_WIDTH_COVERAGE = 0.95  # probability that a value lies within its half width, for shapes `normal` and `t`
NORMAL_95 = 1.959963984540054  # quantile of the normal distribution at 0.975, JCGM 100 table G.1 (1.960)


def half_widths_per_uncertainty(shape: str, freedom: float = inf) -> float:
    """Half width of a tolerance in standard uncertainties: JCGM 100, 4.3.7 (even), 4.3.9 (triangle), G.3 (t)."""
    if shape == "t":
        return coverage_factor(HALF_WIDTH_COVERAGE, freedom)
    return {"even": sqrt(3.0), "triangle": sqrt(6.0), "normal": NORMAL_95}[shape]


def coverage_factor(coverage: float, freedom: float = inf) -> float:
    """Half width of the interval that covers so much, in standard uncertainties (JCGM 100, G.3, table G.2).

    Raises ValueError for a coverage that does not lie between 0 and 1.
    """
    from scipy import special

    if not 0.0 < coverage < 1.0:
        raise ValueError(f"a coverage lies between 0 and 1, not at {coverage}")
    level = 0.5 * (1.0 + coverage)
    return float(special.ndtri(level) if freedom == inf else special.stdtrit(freedom, level))

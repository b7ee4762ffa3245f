"""One-way analysis of variance: how much of a scatter lies between groups, and how much within them.

The groups are drawn from many (a random effect): x_ij = mean + a_i + e_ij, with a_i of variance `between` and e_ij of
variance `within`. Counts may differ. Source of the formulas: Searle, Casella, McCulloch, Variance Components (1992),
chapter 3 (from memory), and JCGM 100:2008, H.5.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, inf, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Range:
    """From low to high, with the coverage asked for."""

    low: float
    high: float


@dataclass(frozen=True)
class Analysis:
    """Mean squares of groups, and what they say of the two variances.

    groups, values : how many; usual_count : of values in a group, as it enters the mean square between groups
    mean : of all values
    between_square, within_square : mean squares; nan where there are no degrees of freedom
    """

    groups: int
    values: int
    usual_count: float
    mean: float
    between_square: float
    within_square: float

    @property
    def between_degrees(self) -> int:
        """Degrees of freedom between groups."""
        return self.groups - 1

    @property
    def within_degrees(self) -> int:
        """Degrees of freedom within groups."""
        return self.values - self.groups

    @property
    def ratio(self) -> float:
        """F: the mean square between groups over that within; infinite where nothing scatters within."""
        if not self.within_square:
            return inf if self.between_square else nan
        return self.between_square / self.within_square

    @property
    def chance(self) -> float:
        """Probability of such a ratio, or a larger one, where groups do not differ."""
        return float(special.fdtrc(self.between_degrees, self.within_degrees, self.ratio))

    @property
    def between_variance(self) -> float:
        """Variance between groups; an estimate below zero says that nothing is seen, and is told as zero."""
        return max(0.0, between_variance(self.between_square, self.within_square, self.usual_count))

    @property
    def between_sd(self) -> float:
        """Standard deviation between groups."""
        return sqrt(self.between_variance)

    @property
    def within_sd(self) -> float:
        """Standard deviation within a group, pooled over all."""
        return sqrt(self.within_square)

    @property
    def mean_sd(self) -> float:
        """Standard uncertainty of the mean of all, groups being what it is drawn from (equal counts)."""
        return sqrt(self.between_square / self.values)

    def within_variance_range(self, coverage: float = 0.95) -> Range:
        """Exact interval of the variance within groups, by chi squared."""
        squares = self.within_degrees * self.within_square
        ends = _chi_squared(_tails(coverage)[::-1], self.within_degrees)
        return Range(*(float(squares / end) for end in ends))

    def variance_ratio_range(self, coverage: float = 0.95) -> Range:
        """Exact interval, by F, of the variance between groups over that within; equal counts."""
        ends = special.fdtri(self.between_degrees, self.within_degrees, _tails(coverage)[::-1])
        return Range(*(max(0.0, float((self.ratio / end - 1.0) / self.usual_count)) for end in ends))

    def share_between_range(self, coverage: float = 0.95) -> Range:
        """Exact interval of the share of all variance that lies between groups (intraclass correlation)."""
        found = self.variance_ratio_range(coverage)
        return Range(found.low / (1.0 + found.low), found.high / (1.0 + found.high))

    def between_variance_range(self, coverage: float = 0.95) -> Range:
        """Interval of the variance between groups: Williams, Biometrika 49 (1962) 278; Tukey (1951); holds at least
        1 - 2 (1 - coverage)."""
        tails = _tails(coverage)[::-1]
        squares = self.between_degrees * self.between_square / self.usual_count
        ratios = special.fdtri(self.between_degrees, self.within_degrees, tails)
        sums = _chi_squared(tails, self.between_degrees)
        ends = squares * (1.0 - ratios / self.ratio) / sums
        return Range(*(max(0.0, float(end)) for end in ends))


def analysis_of_variance(groups: Sequence[ArrayLike]) -> Analysis:
    """Analyse values in groups; of a group, at least one value, and counts may differ.

    Values are taken from their mean first, and that of each group from what is left, so that leading digits that all
    values share cost none of the others.

    Raises ValueError where there is no group, or an empty one.
    """
    tables = [np.asarray(group, float).ravel() for group in groups]
    if not tables or not all(table.size for table in tables):
        raise ValueError("an analysis of variance needs groups with at least one value each")
    start = float(tables[0][0])
    shift = start + _mean([value - start for table in tables for value in table])
    rest = [table - shift for table in tables]
    means = np.array([_mean(table) for table in rest])
    counts = np.array([table.size for table in rest], float)
    values, whole = int(counts.sum()), fsum(counts * means) / counts.sum()
    between = fsum(counts * (means - whole) ** 2)
    within = fsum(((value - mean) ** 2 for table, mean in zip(rest, means, strict=True) for value in table))
    return Analysis(
        len(tables), values, _usual_count(counts), shift + whole,
        between / (len(tables) - 1) if len(tables) > 1 else nan,
        within / (values - len(tables)) if values > len(tables) else nan,
    )  # fmt: skip


def analysis_of_summaries(means: ArrayLike, sds: ArrayLike, count: int) -> Analysis:
    """Analyse groups of equal counts of which mean and standard deviation are known."""
    middles, spreads = np.asarray(means, float), np.asarray(sds, float)
    return Analysis(
        middles.size, middles.size * count, float(count), float(middles.mean()),
        count * float(np.var(middles, ddof=1)), float(np.mean(spreads**2)),
    )  # fmt: skip


def between_variance(between_square: float, within_square: float, count: float) -> float:
    """Estimate of the variance between groups from two mean squares; may lie below zero."""
    return (between_square - within_square) / count


def effective_degrees(parts: ArrayLike, degrees: ArrayLike) -> float:
    """Degrees of freedom of a sum of estimated variances: Satterthwaite, Biometrics Bull. 2 (1946) 110; Welch.

    parts : the variances that are added (or subtracted, below zero); degrees : of each, infinite where it is known
    """
    variances, known = np.asarray(parts, float), np.asarray(degrees, float)
    below = float(np.sum(variances**2 / known))
    return float(variances.sum()) ** 2 / below if below > 0.0 else inf


def _usual_count(counts: Array) -> float:
    if len(counts) == 1:
        return float(counts[0])
    return float((counts.sum() - (counts**2).sum() / counts.sum()) / (len(counts) - 1))


def _mean(values: Sequence[float] | Array) -> float:
    return fsum(values) / len(values)


def _tails(coverage: float) -> Array:
    return np.array([0.5 * (1.0 - coverage), 0.5 * (1.0 + coverage)])


def _chi_squared(probability: Array, degrees: float) -> Array:
    """Quantiles; `scipy.stats` has them too, and takes half a second to load."""
    return np.asarray(2.0 * special.gammaincinv(0.5 * degrees, probability))

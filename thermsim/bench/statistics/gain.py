"""The gain of one option over another, from the mounts of both, with the interval that holds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from thermsim.bench.statistics.mounts import Scatter
from thermsim.bench.statistics.two_samples import Difference
from thermsim.bench.statistics.variance import effective_degrees

COVERAGE = 0.90


@dataclass(frozen=True)
class MeasuredGain:
    """A difference of mean mounts [K], base less option, and where it lies.

    mounts, against : of the option and of what it is held against
    difference : with its standard uncertainty and degrees of freedom
    scatter_K, doubt_K : parts of that uncertainty: the mounts' scatter, and corrections with rounding
    """

    mounts: int
    against: int
    difference: Difference
    scatter_K: float
    doubt_K: float
    coverage: float

    @property
    def value_K(self) -> float:
        """The gain [K]."""
        return self.difference.value

    @property
    def half_width_K(self) -> float:
        """Half width of its interval [K]."""
        return self.difference.half_width(self.coverage)

    @property
    def low_K(self) -> float:
        """Low end of the interval [K]."""
        return self.value_K - self.half_width_K

    @property
    def high_K(self) -> float:
        """High end of the interval [K]."""
        return self.value_K + self.half_width_K

    def probability_above(self, worth_K: float) -> float:
        """Probability that the gain exceeds so much."""
        return float(special.stdtr(self.difference.degrees, (self.value_K - worth_K) / self.difference.sd))


def gain(
    base: ArrayLike, option: ArrayLike, scatter: Scatter, doubt_K: float = 0.0, coverage: float = COVERAGE
) -> MeasuredGain:
    """Base less option, from the mean readings of the mounts of each [C].

    scatter : pooled over all options, of whatever number of mounts
    doubt_K : standard uncertainty of the difference for other reasons, taken as known: corrections, rounding

    The degrees of freedom are those of Welch and Satterthwaite (JCGM 100:2008, G.4).
    """
    first, second = np.ravel(np.asarray(base, float)), np.ravel(np.asarray(option, float))
    by_mounts = scatter.sd_K**2 * (1.0 / first.size + 1.0 / second.size)
    degrees = effective_degrees((by_mounts, doubt_K**2), (scatter.degrees, inf))
    found = Difference(float(first.mean() - second.mean()), sqrt(by_mounts + doubt_K**2), degrees)
    return MeasuredGain(second.size, first.size, found, sqrt(by_mounts), doubt_K, coverage)


def steps(
    chain: Sequence[ArrayLike], scatter: Scatter, doubts_K: Sequence[float] | None = None, coverage: float = COVERAGE
) -> tuple[MeasuredGain, ...]:
    """Gains of every step of a chain, each against the state before it: as soldered, film, film again.

    chain : mean readings of the mounts of each state [C]; doubts_K : of each step, one fewer
    """
    doubts = [0.0] * (len(chain) - 1) if doubts_K is None else doubts_K
    pairs = zip(chain[:-1], chain[1:], doubts, strict=True)
    return tuple(gain(before, after, scatter, doubt, coverage) for before, after, doubt in pairs)

"""Two samples with scatters of their own: pooled, and by Welch, which asks for no common scatter.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3; Welch, Biometrika 34 (1947) 28.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

from scipy import special

from thermsim.bench.statistics.variance import effective_degrees


@dataclass(frozen=True)
class Sample:
    """What is known of a sample: count, mean, standard deviation."""

    count: int
    mean: float
    sd: float

    @property
    def squared_error(self) -> float:
        """Variance of the mean."""
        return self.sd**2 / self.count


@dataclass(frozen=True)
class Difference:
    """First mean less second, its standard uncertainty, and the degrees of freedom of that."""

    value: float
    sd: float
    degrees: float

    @property
    def ratio(self) -> float:
        """Student's t: the difference over its standard uncertainty."""
        return self.value / self.sd

    def half_width(self, coverage: float = 0.90) -> float:
        """Half width of the interval that holds the difference with this coverage."""
        return float(special.stdtrit(self.degrees, 0.5 * (1.0 + coverage))) * self.sd


def pooled_sd(first: Sample, second: Sample) -> float:
    """One standard deviation of both samples, each about its own mean."""
    degrees = first.count + second.count - 2
    return sqrt(((first.count - 1) * first.sd**2 + (second.count - 1) * second.sd**2) / degrees)


def pooled(first: Sample, second: Sample) -> Difference:
    """The difference of two means, both samples scattering alike."""
    sd = pooled_sd(first, second) * hypot(first.count**-0.5, second.count**-0.5)
    return Difference(first.mean - second.mean, sd, first.count + second.count - 2)


def welch(first: Sample, second: Sample) -> Difference:
    """The difference of two means, each sample with its own scatter; at least two values in each."""
    parts = (first.squared_error, second.squared_error)
    degrees = effective_degrees(parts, (first.count - 1, second.count - 1))
    return Difference(first.mean - second.mean, sqrt(sum(parts)), degrees)

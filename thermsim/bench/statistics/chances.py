"""How often mounts that are still to be made would show a gain: the chance of a verdict, and the mounts it takes.

A gain is shown where the low end of its interval lies above what would be worth it. Of benches to come, the mounts
themselves are random, and so is the scatter that is estimated from them; how far mounts really scatter is known no
better than the scatter's degrees of freedom tell. The chance is the mean over both, by quantiles of their chi-squared
distributions, of a normal distribution: no drawing, so that the same question has the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import special

from thermsim.bench.statistics.gain import COVERAGE
from thermsim.bench.statistics.mounts import USUAL, Prior, Scatter, pooled_variance

Array = NDArray[np.float64]

NODES = 48  # quantiles of each chi-squared distribution
MOST_MOUNTS = 100  # of each option, up to which the number that settles a question is looked for


@dataclass(frozen=True)
class Made:
    """Mounts that have been made of an option and of what it is held against, and the gain they showed [K]."""

    option: int = 0
    against: int = 0
    gain_K: float = 0.0


NONE_MADE = Made()


@dataclass(frozen=True)
class Question:
    """What mounts are to show.

    true_gain_K : if it is so large [K]; worth_K : what it is held against
    doubt_K : standard uncertainty of the gain that more mounts do not lessen (corrections) [K]
    made : mounts that count already, with `scatter`, what is known of their scatter by now; None before any
    """

    true_gain_K: float
    worth_K: float = 0.0
    doubt_K: float = 0.0
    made: Made = NONE_MADE
    scatter: Scatter | None = None
    prior: Prior = USUAL
    coverage: float = COVERAGE

    def chance(self, more: int) -> float:
        """Probability that the gain is told as worth it after so many more mounts of each.

        Raises ValueError for less than one mount of each.
        """
        option, against = self.made.option + more, self.made.against + more
        if more < 0 or min(option, against) < 1:
            raise ValueError(f"{more} more mounts leave an option without any")
        centre, by_sd, left_K = self._mean_to_come(more)
        fresh = sum(more if made else more - 1 for made in (self.made.option, self.made.against))
        true_sd = self._true_sd  # (scatters, 1)
        squares = self._own_squares + true_sd**2 * _quantiles(fresh)  # (scatters, benches)
        variance, degrees = pooled_variance(squares, self._own_degrees + fresh, self.prior)
        by_mounts = variance * (1.0 / option + 1.0 / against)
        whole = by_mounts + self.doubt_K**2
        half = special.stdtrit(degrees * (whole / by_mounts) ** 2, 0.5 * (1.0 + self.coverage)) * np.sqrt(whole)
        sd = np.hypot(by_sd * true_sd, left_K)
        margin = centre - half - self.worth_K
        return float(np.mean(special.ndtr(margin / sd) if np.all(sd > 0.0) else margin > 0.0))

    def mounts_for(self, wanted: float, most: int = MOST_MOUNTS) -> int | None:
        """Fewest mounts of each, all to be counted as more, that show it with such a chance; None beyond `most`."""
        if min(self.made.option, self.made.against) > 0 and self.chance(0) >= wanted:
            return 0
        low, high = 0, 1  # the chance grows with the mounts: doubled, then halved
        while self.chance(high) < wanted:
            if high >= most:
                return None
            low, high = high, min(2 * high, most)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self.chance(middle) >= wanted else (middle, high)
        return high

    def table(self, mounts: tuple[int, ...] = (1, 2, 3, 4, 5, 6, 8, 12)) -> dict[int, float]:
        """The chance after so many more mounts of each."""
        return {more: self.chance(more) for more in mounts}

    # ---- pieces --------------------------------------------------------------------------------------------------

    def _mean_to_come(self, more: int) -> tuple[float, float, float]:
        """Expected gain after so many more mounts [K], its scatter in standard deviations of one mount, and what else
        it is off by [K].

        Mounts that were made keep their mean; where the gain is another than they showed, each option is taken to
        differ from its mean in proportion to the variance of that.
        """
        option, against = self.made.option, self.made.against
        if min(option, against) == 0:
            return self.true_gain_K, hypot((option + more) ** -0.5, (against + more) ** -0.5), self.doubt_K
        shares = more / (option + more), more / (against + more)
        missed = (self.true_gain_K - self.made.gain_K) / (1.0 / option + 1.0 / against)
        centre = self.made.gain_K + missed * (shares[0] / option + shares[1] / against)
        return centre, hypot(*shares) / sqrt(max(more, 1)), 0.0

    @property
    def _true_sd(self) -> Array:
        """(scatters, 1) how far mounts may really scatter [K], by what is known of it."""
        known = (
            (self.prior.sd_K, self.prior.mounts) if self.scatter is None else (self.scatter.sd_K, self.scatter.degrees)
        )
        sd, degrees = known
        return np.asarray(sd * np.sqrt(degrees / _quantiles(degrees)))[:, None]

    @property
    def _own_squares(self) -> float:
        return 0.0 if self.scatter is None else self.scatter.own_squares_K2

    @property
    def _own_degrees(self) -> int:
        return 0 if self.scatter is None else self.scatter.own_degrees


def _quantiles(degrees: float) -> Array:
    """(NODES,) of chi squared, each of the same probability."""
    if degrees <= 0.0:
        return np.zeros(NODES)
    return np.asarray(special.chdtri(degrees, 1.0 - (np.arange(NODES) + 0.5) / NODES))

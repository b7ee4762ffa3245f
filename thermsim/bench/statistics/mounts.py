"""Mounts as what is drawn: the scatter of a mount's mean reading, pooled over options, with what benches usually show.

Runs of one mount share how the cooler sits, so that a mount counts once however many runs it has. A scatter that is
estimated from four mounts is itself uncertain to a third; what is usual helps, as if so many more mounts had been made:

    s^2 = (n0 s0^2 + SS) / (n0 + n),   n0 + n degrees of freedom,

with SS the squares of the mounts about the mean of their option and n their degrees of freedom. That is a scaled
inverse chi-squared prior (Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6, from memory), and a t interval
is then exact. Where the mounts themselves contradict it, it counts for less: from twice the usual variance on, as
n0 x 2 s0^2 / s_own^2 mounts (our own rule, measured on simulated benches, see the theory page).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.bench.statistics.variance import analysis_of_variance

Array = NDArray[np.float64]

USUAL_SD_K = 0.8  # [K] of the mean reading of one mount, all that moves it included; common practice, no source
USUAL_MOUNTS = 6.0  # mounts that it is worth
# Variance of the mounts of this bench over the usual one beyond which what is usual counts for less, and is said to.
TOO_MUCH = 2.0


@dataclass(frozen=True)
class Prior:
    """What is known of the scatter of mounts before any is made.

    sd_K : standard deviation of the mean reading of one mount [K]; mounts : how many it is worth
    """

    sd_K: float = USUAL_SD_K
    mounts: float = USUAL_MOUNTS

    @property
    def words(self) -> str:
        """What it is worth, for a reader."""
        return f"{self.sd_K:g} K, worth {self.mounts:g} mounts"


USUAL = Prior()


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of the mean reading of one mount, with the degrees of freedom it is known to.

    sd_K, degrees : prior and own mounts together; prior_mounts : how many mounts the prior counted as in it
    own_squares_K2, own_degrees : squares of the mounts about the mean of their option, and their degrees of freedom
    prior : what was taken as usual
    """

    sd_K: float
    degrees: float
    own_squares_K2: float
    own_degrees: int
    prior_mounts: float
    prior: Prior

    @property
    def own_sd_K(self) -> float | None:
        """From the mounts alone [K]; None where no option has two."""
        return sqrt(self.own_squares_K2 / self.own_degrees) if self.own_degrees else None

    @property
    def is_unusual(self) -> bool:
        """Whether these mounts scatter so much more than usual that the prior counts for less."""
        return self.prior_mounts < self.prior.mounts

    @property
    def words(self) -> str:
        """How far mounts scatter, and from what that is known."""
        told = f"mounts scatter by {self.sd_K:.2f} K (standard deviation of one mount)"
        if self.own_sd_K is None:
            return f"{told}: no option has two mounts, so that this is what benches usually show ({self.prior.words})"
        told += f": {self.own_sd_K:.2f} K by themselves, with what benches usually show ({self.prior.words})"
        if not self.is_unusual:
            return told
        return f"{told}; mounts scatter more than usual here: what is usual counts for {self.prior_mounts:.1g} mounts"


def weight(own_squares: ArrayLike, own_degrees: int, prior: Prior = USUAL, beside_K: float = 0.0) -> Array:
    """Mounts that the prior counts as, beside so many squares [K2] of a bench's own mounts.

    beside_K : as in `pooled_variance`
    """
    squares = np.asarray(own_squares, float)
    bearable = TOO_MUCH * own_degrees * (prior.sd_K**2 + beside_K**2)
    shrunk: Array = np.where(
        squares > bearable, bearable / np.maximum(squares, max(bearable, np.finfo(float).tiny)), 1.0
    )
    return prior.mounts * shrunk


def pooled_variance(
    own_squares: ArrayLike, own_degrees: int, prior: Prior = USUAL, beside_K: float = 0.0
) -> tuple[Array, Array]:
    """Variance [K2] of one mount's mean and its degrees of freedom, for one sum of squares or many.

    beside_K : standard deviation of a mount's mean for what the prior leaves out (whole steps, how closely coolant and
        power are noted); own squares hold it by themselves

    Raises ValueError where nothing is known: no prior, and no option with two mounts.
    """
    counted = weight(own_squares, own_degrees, prior, beside_K)
    degrees = counted + own_degrees
    if np.any(degrees <= 0.0):
        raise ValueError("no option has two mounts, and no prior says how far mounts scatter")
    usual = prior.sd_K**2 + beside_K**2
    return np.asarray((counted * usual + np.asarray(own_squares, float)) / degrees), degrees


def scatter(mounts: Sequence[ArrayLike], prior: Prior = USUAL, beside_K: float = 0.0) -> Scatter:
    """The scatter of one mount, from the mean readings of the mounts of every option [K].

    mounts : one list an option, whatever it is; options of one mount say nothing of it
    beside_K : as in `pooled_variance`
    """
    several = [values for values in mounts if np.size(values) > 1]
    degrees = sum(np.size(values) - 1 for values in several)
    squares = analysis_of_variance(several).within_square * degrees if several else 0.0
    variance, known = pooled_variance(squares, degrees, prior, beside_K)
    return Scatter(
        sqrt(float(variance)), float(known), squares, degrees, float(weight(squares, degrees, prior, beside_K)), prior
    )  # fmt: skip

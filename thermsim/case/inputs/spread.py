"""How the value of one input is spread over its tolerance, and well-spread points of many inputs at once.

A half width stands beside a value, with a shape:
"even": rectangular, u = half / sqrt(3) (JCGM 100:2008, 4.3.7; JCGM 101:2008, 6.4.2)
"triangle": u = half / sqrt(6) (JCGM 100, 4.3.9; JCGM 101, 6.4.5)
"normal": the half width is for 95 %, u = half / 1.96 (JCGM 100, 4.3.4; JCGM 101, 6.4.7)
"t": the mean of n readings, half = t95(n - 1) s / sqrt(n) and u = s / sqrt(n) (JCGM 100, 4.2.3 and G.3); its
distribution is the t with n - 1 degrees of freedom, shifted and scaled by s / sqrt(n) (JCGM 101, 6.4.9)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.typed.coverage import half_widths_per_uncertainty
from thermsim.case.vocabulary.numbers import Shape
from thermsim.errors import ThermsimError

Array = NDArray[np.float64]

REPLICATES = 8
FEWEST_SAMPLES = 256  # of a study: fewer say too little about the ends of an interval
BITS = 30  # binary digits of a Sobol coordinate


@dataclass(frozen=True)
class Spread:
    """One uncertain input.

    value, half_width : in any one unit; low, high : what the input may physically be, in that unit
    freedom : degrees of freedom; finite for shape "t" only

    Raises ThermsimError where these contradict one another.
    """

    value: float
    half_width: float
    shape: Shape = "even"
    freedom: float = inf
    low: float = -inf
    high: float = inf

    def __post_init__(self) -> None:
        if not (isfinite(self.value) and isfinite(self.half_width) and self.half_width >= 0.0):
            raise ThermsimError(f"a tolerance of {self.half_width} about {self.value} is none", "give finite numbers")
        if not self.low <= self.value <= self.high:
            raise ThermsimError(f"{self.value:g} is not within {self.low:g} and {self.high:g}", "correct the value")
        if (self.shape == "t") != (1.0 <= self.freedom < inf):
            raise ThermsimError(
                f"shape {self.shape!r} with {self.freedom:g} degrees of freedom",
                'shape "t" has one or more, every other shape has infinitely many',
            )

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty [unit of the value] as the law of propagation takes it (JCGM 100, 4.2 and 4.3)."""
        return self.half_width / self._half_widths_per_uncertainty

    @property
    def has_deviation(self) -> bool:
        """Whether the distribution has a standard deviation at all: a t with one or two degrees of freedom has none."""
        return self.half_width == 0.0 or self.freedom > 2.0

    @property
    def deviation(self) -> float:
        """Standard deviation [unit of the value] of what is drawn; for "t" wider than `uncertainty` by
        sqrt(freedom / (freedom - 2)) (JCGM 101, 6.4.9.4), inf where there is none. Bounds are not looked at."""
        if not self.has_deviation:
            return inf
        return self.uncertainty * (sqrt(self.freedom / (self.freedom - 2.0)) if self.freedom < inf else 1.0)

    def quantile(self, levels: ArrayLike) -> Array:
        """Values, of the same shape, below which the input lies with probabilities `levels` in (0, 1).

        What lies outside the bounds is put on them.
        """
        at = np.asarray(levels, float)
        if self.half_width == 0.0:
            return np.full(at.shape, self.value)
        return np.clip(self.value + self.half_width * self._unit_quantile(at), self.low, self.high)

    @property
    def _half_widths_per_uncertainty(self) -> float:
        return half_widths_per_uncertainty(self.shape, self.freedom)

    def _unit_quantile(self, at: Array) -> Array:
        """Quantiles in half widths from the value."""
        from scipy import special

        if self.shape == "even":
            return 2.0 * at - 1.0
        if self.shape == "triangle":
            lower = np.sqrt(2.0 * np.minimum(at, 0.5)) - 1.0
            return np.where(at < 0.5, lower, 1.0 - np.sqrt(2.0 * np.minimum(1.0 - at, 0.5)))
        standard = special.ndtri(at) if self.shape == "normal" else special.stdtrit(self.freedom, at)
        return np.asarray(standard / self._half_widths_per_uncertainty)


def spread(
    value: float,
    plus_minus: float,
    shape: Shape | None = None,
    repeats: int | None = None,
    low: float = -inf,
    high: float = inf,
) -> Spread:
    """From what a case says beside a number: no shape means "even", or "t" where `repeats` readings were taken.

    Raises ThermsimError for fewer than two readings, for "t" without readings, and for readings of another shape.
    """
    if repeats is None:
        if shape == "t":
            raise ThermsimError('the shape "t" needs `repeats`', "say of how many readings the value is the mean")
        return Spread(value, plus_minus, shape or "even", inf, low, high)
    if repeats < 2 or shape in ("even", "triangle"):
        raise ThermsimError(
            f"`repeats: {repeats}` with shape {shape!r}",
            "the mean of two or more readings is spread by Student's t: leave out `shape`",
        )
    return Spread(value, plus_minus, "t", repeats - 1.0, low, high)


def points(count: int, inputs: int, seed: int, replicates: int = REPLICATES) -> Array:
    """(count, inputs) Sobol points inside (0, 1): independent scramblings, one block of count / replicates each.

    Each block alone is an unbiased sample of the same law, so the scatter between blocks tells the sampling error.
    Source: Owen, J. Complexity 14 (1998) 466, from memory.
    Raises ThermsimError unless there are two blocks or more, each of a power of two points.
    """
    from scipy.stats import qmc

    each, rest = divmod(count, replicates) if replicates > 0 else (0, 1)
    if rest or replicates < 2 or each < 1 or each & (each - 1):
        raise ThermsimError(
            f"{count} samples cannot be made from {replicates} blocks of a power of two",
            f"take {filled(count, max(replicates, 2))} samples in {max(replicates, 2)} blocks",
        )
    if inputs == 0:
        return np.empty((count, 0))
    streams = np.random.SeedSequence(seed).spawn(replicates)
    blocks = [qmc.Sobol(inputs, bits=BITS, seed=np.random.default_rng(one)).random(each) for one in streams]
    # Coordinates are multiples of 2^-30, zero among them: the middle of their step has a finite quantile.
    return np.concatenate(blocks) + 0.5**BITS / 2.0


def rounded_words(asked: int, taken: int) -> tuple[str, ...]:
    """Why other samples are taken than were asked for; nothing where they are the same."""
    if taken == asked:
        return ()
    if asked < FEWEST_SAMPLES:
        why = "that many at least, for the ends of an interval"
    else:
        why = f"they come in {REPLICATES} equal blocks of a power of two"
    return (f"{taken} samples are taken where {asked} are asked for: {why}",)


def enough(count: int) -> int:
    """The least number of samples, not below `count`, that a study takes."""
    return filled(max(count, FEWEST_SAMPLES))


def filled(count: int, replicates: int = REPLICATES) -> int:
    """The least number of samples, not below `count`, that `points` takes."""
    each = max(1, -(-count // replicates))
    return int(replicates * 2 ** (each - 1).bit_length())


def table(spreads: Sequence[Spread], count: int, seed: int, replicates: int = REPLICATES) -> Array:
    """(count, inputs) values of independent inputs, each in its own unit; block by block as in `points`."""
    levels = points(count, len(spreads), seed, replicates)
    for column, one in enumerate(spreads):
        levels[:, column] = one.quantile(levels[:, column])
    return levels

"""From the spread of inputs to that of a result, in two ways, and whether both say the same.

By sensitivities: the law of propagation of uncertainty, JCGM 100:2008, 5.1.2, with Welch and Satterthwaite's degrees of
freedom (G.4.1) and the coverage factor of Student's t (G.3). By samples: propagation of distributions, JCGM 101:2008,
clause 7. Whether they agree: JCGM 101, clause 8. EA-4/02 M:2022 asks for the same as the first, clauses 4 and 5.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, inf, log10, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.inputs.spread import REPLICATES
from thermsim.case.typed.coverage import coverage_factor
from thermsim.errors import ThermsimError
from thermsim.rounding import doubt_in_words

Array = NDArray[np.float64]

# Share of the half width of an interval by which its ends may differ without changing a decision.
NEGLIGIBLE_SHARE = 0.1
TIMES_SAMPLING_ERROR = 2.0  # sampling errors by which two ends may differ and still agree
# A quantile is found when its probability is this near; steps of the search, enough if all are halvings.
PROBABILITY_CLOSE, MOST_STEPS = 1e-11, 80
STARTS = 17  # lower ends that are tried for a shortest interval: once over all, and once around the best


# ---- by sensitivities -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Estimate:
    """One output by first order: value, standard uncertainty, effective degrees of freedom, coverage interval."""

    value: float
    uncertainty: float
    freedom: float
    coverage: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class FirstOrder:
    """Outputs that depend on independent inputs along straight lines.

    parts : (outputs, inputs) sensitivity times standard uncertainty, with its sign [unit of the output]
    freedoms : (inputs,) degrees of freedom, inf where the standard uncertainty is surely known
    """

    parts: Array
    freedoms: Array

    @property
    def uncertainty(self) -> Array:
        """(outputs,) combined standard uncertainties (JCGM 100, formula 10)."""
        return np.asarray(np.sqrt(np.sum(self.parts**2, axis=1)))

    @property
    def shares(self) -> Array:
        """(outputs, inputs) shares of each input in the variance of each output; zeros where nothing is uncertain."""
        total = self.uncertainty[:, None] ** 2
        return np.asarray(np.divide(self.parts**2, total, out=np.zeros_like(self.parts), where=total > 0.0))

    @property
    def freedom(self) -> Array:
        """(outputs,) effective degrees of freedom, 1 / sum(share^2 / freedom) (JCGM 100, formula G.2b)."""
        inverse = np.sum(self.shares**2 / self.freedoms, axis=1)
        return np.asarray(np.divide(1.0, inverse, out=np.full(len(inverse), inf), where=inverse > 0.0))

    def estimate(self, value: float, coverage: float, output: int = 0) -> Estimate:
        """Coverage interval of one output about its value; freedoms are rounded down (JCGM 100, G.4.1, note 1)."""
        uncertainty, freedom = float(self.uncertainty[output]), float(self.freedom[output])
        whole = inf if freedom == inf else max(1.0, float(floor(freedom * (1.0 + 1e-9))))  # 4.0 is not 3.999...
        half = coverage_factor(coverage, whole) * uncertainty
        return Estimate(value, uncertainty, freedom, coverage, value - half, value + half)


def first_order(sensitivities: ArrayLike, uncertainties: ArrayLike, freedoms: ArrayLike | None = None) -> FirstOrder:
    """Combine independent inputs.

    sensitivities : (outputs, inputs), or (inputs,) for one output [unit of the output per unit of the input]
    uncertainties : (inputs,) standard uncertainties; freedoms : (inputs,), default infinite
    Raises ValueError for a negative or unknown uncertainty, freedoms that are not above zero, and lengths that differ.
    """
    slopes, spreads = np.atleast_2d(np.asarray(sensitivities, float)), np.asarray(uncertainties, float)
    freedom = np.full(spreads.shape, inf) if freedoms is None else np.asarray(freedoms, float)
    if slopes.shape[1:] != spreads.shape or freedom.shape != spreads.shape:
        raise ValueError(f"sensitivities {slopes.shape}, uncertainties {spreads.shape}, freedoms {freedom.shape}")
    if not (np.isfinite(slopes).all() and np.isfinite(spreads).all() and (spreads >= 0.0).all()):
        raise ValueError("sensitivities must be finite, uncertainties finite and not negative")
    if not (freedom > 0.0).all():
        raise ValueError("degrees of freedom must be above zero")
    return FirstOrder(slopes * spreads, freedom)


# ---- by samples -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Sampled:
    """The distribution of one output: samples (n,), rising, each with an independent normal part added to it.

    blur : standard uncertainty of that part [unit of the output]. It is folded in exactly, not drawn.
    """

    samples: Array
    blur: float = 0.0

    @property
    def mean(self) -> float:
        """The mean of all samples, in their unit."""
        return float(np.mean(self.samples))

    @property
    def deviation(self) -> float:
        """The standard deviation of the samples, widened by what the way of the samples may leave, in their unit."""
        return float(np.hypot(np.std(self.samples, ddof=1), self.blur))

    def exceeds(self, threshold: float) -> float:
        """Probability of a value above the threshold."""
        from scipy import special

        if self.blur == 0.0:
            return float(np.mean(self.samples > threshold))
        return float(np.mean(special.ndtr((self.samples - threshold) / self.blur)))

    def quantile(self, levels: ArrayLike) -> Array:
        """Values below which the output lies with probabilities `levels`.

        Without blur by the straight lines through the points (r - 1/2)/n (JCGM 101, annex D); with it by Newton's steps
        on the mean of normal distribution functions, halving an interval where a step leaves it.
        """
        from scipy import special

        at = np.atleast_1d(np.asarray(levels, float))
        if self.blur == 0.0:
            return np.asarray(np.interp(at, self._levels, self.samples))
        shift = self.blur * special.ndtri(at)
        low, high = self.samples[0] + shift, self.samples[-1] + shift
        guess = np.clip(np.interp(at, self._levels, self.samples), low, high)
        for _ in range(MOST_STEPS):
            standard = (guess[:, None] - self.samples) / self.blur
            missing = at - np.mean(special.ndtr(standard), axis=1)
            if np.max(np.abs(missing)) < PROBABILITY_CLOSE:
                break
            low, high = np.where(missing > 0.0, guess, low), np.where(missing > 0.0, high, guess)
            density = np.mean(np.exp(-0.5 * standard**2), axis=1) / (sqrt(2.0 * pi) * self.blur)
            with np.errstate(over="ignore"):  # then the halving takes over
                newton = guess + np.divide(missing, density, out=np.full(at.shape, inf), where=density > 0.0)
            guess = np.where((newton > low) & (newton < high), newton, 0.5 * (low + high))
        return np.asarray(guess)

    def symmetric(self, coverage: float) -> tuple[float, float]:
        """The interval that leaves as much below it as above it (JCGM 101, 7.7.2)."""
        low, high = self.quantile([0.5 * (1.0 - coverage), 0.5 * (1.0 + coverage)])
        return float(low), float(high)

    def shortest(self, coverage: float) -> tuple[float, float]:
        """The shortest interval of the coverage (JCGM 101, 7.7.3)."""
        if self.blur == 0.0:
            # Width over the level of the lower end is made of straight pieces: it is least where a piece begins.
            starts = np.concatenate([self._levels, self._levels - coverage])
            inside = (starts >= self._levels[0]) & (starts + coverage <= self._levels[-1] + 1e-12)
            return self._shortest_of(starts[inside], coverage)[1]
        starts = np.linspace(1e-6, 1.0 - coverage - 1e-6, STARTS)
        best = self._shortest_of(starts, coverage)[0]
        around = starts[max(best - 1, 0)], starts[min(best + 1, len(starts) - 1)]
        return self._shortest_of(np.linspace(*around, STARTS), coverage)[1]

    def _shortest_of(self, starts: Array, coverage: float) -> tuple[int, tuple[float, float]]:
        low, high = self.quantile(starts), self.quantile(starts + coverage)
        best = int(np.argmin(high - low))
        return best, (float(low[best]), float(high[best]))

    @property
    def _levels(self) -> Array:
        count = len(self.samples)
        return (np.arange(count) + 0.5) / count


@dataclass(frozen=True)
class Told:
    """A statistic of samples and its standard sampling error."""

    value: float
    error: float


@dataclass(frozen=True)
class Summary:
    """One output by samples.

    mean, deviation : None where an input has no standard deviation (two or three repeated readings)
    low, high : of the symmetric interval; shortest_low, shortest_high : of the shortest one, None if not asked for
    exceeds : probabilities of being above the thresholds that were asked for
    """

    coverage: float
    mean: Told | None
    deviation: Told | None
    low: Told
    high: Told
    shortest_low: Told | None
    shortest_high: Told | None
    exceeds: tuple[Told, ...]


def summarise(
    samples: ArrayLike,
    coverage: float,
    thresholds: Sequence[float] = (),
    blur: float = 0.0,
    replicates: int = REPLICATES,
    has_deviation: bool = True,
    shortest: bool = True,
    of_the_rest: bool = False,
) -> Summary:
    """Statistics of the samples (n,) of one output, in the blocks of `thermsim.case.inputs.spread.points`.

    The sampling error of a statistic is its scatter between the blocks over the root of their number: from
    eight blocks, two of it hold about 9 times in 10 (t of 7 degrees of freedom). A probability of
    0 or 1 is not known better than three in n (rule of three, common practice).

    blur : standard uncertainty of an independent normal part; has_deviation : whether every input's spread has one
    shortest : whether to find the shortest interval, which takes some twenty times as long as all the rest
    of_the_rest : leave out samples without an answer (not finite), which makes every statistic conditional: say so
    Raises ThermsimError for samples that are not finite, that do not fill the blocks, or that are so few that less than
    one of each block lies beyond an end of the interval (the interval is told in the text).
    """
    given = np.asarray(samples, float)
    _refuse(given, coverage, replicates, of_the_rest)
    kept = [np.sort(block[np.isfinite(block)]) for block in np.split(given, replicates)]
    blocks, whole = [Sampled(block, blur) for block in kept], Sampled(np.sort(np.concatenate(kept)), blur)

    def told(statistic: Callable[[Sampled], Sequence[float]]) -> list[Told]:
        scatter = np.std([statistic(block) for block in blocks], axis=0, ddof=1) / sqrt(replicates)
        return [Told(float(value), float(error)) for value, error in zip(statistic(whole), scatter, strict=True)]

    _refuse_few(whole, coverage, replicates, min(map(len, kept)), len(given))
    mean, deviation = told(lambda one: (one.mean, one.deviation)) if has_deviation else (None, None)
    low, high = told(lambda one: one.symmetric(coverage))
    shortest_low, shortest_high = told(lambda one: one.shortest(coverage)) if shortest else (None, None)
    above = told(lambda one: [one.exceeds(threshold) for threshold in thresholds]) if thresholds else []
    least = 3.0 / len(whole.samples) / TIMES_SAMPLING_ERROR
    exceeds = tuple(Told(one.value, max(one.error, least)) for one in above)
    return Summary(coverage, mean, deviation, low, high, shortest_low, shortest_high, exceeds)


def _refuse(given: Array, coverage: float, replicates: int, of_the_rest: bool) -> None:
    if not 0.0 < coverage < 1.0:
        raise ValueError(f"a coverage lies between 0 and 1, not at {coverage}")
    if given.ndim != 1 or replicates < 2 or len(given) == 0 or len(given) % replicates:
        raise ThermsimError(
            f"samples of shape {given.shape} do not fill {replicates} blocks", "hand over all samples of a table"
        )
    lost = int(np.sum(~np.isfinite(given)))
    if lost and not of_the_rest:
        raise ThermsimError(
            f"{lost} of {len(given)} samples have no answer: leaving them out would tell a wrong interval",
            "narrow the tolerances that lead there, or judge what happens in those samples by itself",
        )


def _refuse_few(whole: Sampled, coverage: float, replicates: int, fewest: int, drawn: int) -> None:
    """fewest : samples with an answer in the poorest block; drawn : all samples, with an answer or not"""
    beyond = 0.5 * (1.0 - coverage) * fewest
    if beyond < 1.0 - 1e-9:
        low, high = whole.symmetric(coverage)
        answered = max(fewest, 1) * replicates / drawn
        needed = 2 ** int(np.ceil(np.log2(2.0 / (1.0 - coverage) / answered) - 1e-9)) * replicates
        raise ThermsimError(
            f"{len(whole.samples)} samples are too few for {100 * coverage:g} %; "
            f"they would have told {low:.4g} to {high:.4g}",
            f"take {needed} samples or more",
        )


# ---- both -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Agreement:
    """agree; apart_low, apart_high : by how much the ends differ; allowed_low, allowed_high : how much they may"""

    agree: bool
    apart_low: float
    apart_high: float
    allowed_low: float
    allowed_high: float
    words: str


def compare_ways(first: Estimate, sampled: Summary, digits: int = 2, unit: str = "K") -> Agreement:
    """Whether first order and samples lead to the same interval (JCGM 101, 8.1), each end by itself.

    Allowed is half a unit of the last of so many digits of the first order's uncertainty, and two sampling errors
    of the end (the standard takes enough samples for them to vanish).
    Raises ValueError where the two intervals are of different coverage.
    """
    if abs(first.coverage - sampled.coverage) > 1e-12:
        raise ValueError(f"intervals of coverage {first.coverage} and {sampled.coverage} cannot be compared")
    delta = numerical_tolerance(first.uncertainty, digits)
    apart = [abs(first.low - sampled.low.value), abs(first.high - sampled.high.value)]
    round_off = 1e-12 * max(abs(first.low), abs(first.high))
    least = NEGLIGIBLE_SHARE * 0.5 * (sampled.high.value - sampled.low.value)
    allowed = [max(delta, least) + TIMES_SAMPLING_ERROR * end.error + round_off for end in (sampled.low, sampled.high)]
    agree = all(one <= most for one, most in zip(apart, allowed, strict=True))
    if agree:
        words = "Sensitivities and samples give the same interval."
    else:
        worst = int(apart[1] - allowed[1] > apart[0] - allowed[0])
        ends = ((first.low, sampled.low.value), (first.high, sampled.high.value))[worst]
        words = (
            f"Sensitivities and samples disagree: the {('low', 'high')[worst]} end is {ends[0]:.3g} {unit} by the "
            f"first and {ends[1]:.3g} {unit} by the second, {doubt_in_words(apart[worst])} {unit} apart. "
            "Trust the samples: they follow the curve and the true shape of each tolerance."
        )
    return Agreement(agree, apart[0], apart[1], allowed[0], allowed[1], words)


def numerical_tolerance(uncertainty: float, digits: int = 2) -> float:
    """Half a unit of the last of so many digits of an uncertainty (JCGM 101, 7.9.2): 0.05 for 2.0 and two digits."""
    if uncertainty <= 0.0:
        return 0.0
    return float(0.5 * 10.0 ** (floor(log10(uncertainty)) - digits + 1))

"""Is an option worth it, and how likely: the verdict on a gain and its interval, in words and numbers.

Gains are base less option [K]. The rules of the verdict are our own, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, hypot, isfinite, sqrt
from typing import Literal

from thermsim.case.typed.coverage import NORMAL_95
from thermsim.comparison.ranking import HALF_PERCENT, InputShare, NextMeasurement, measure_next, percent
from thermsim.rounding import decimals_apart, times_in

Kind = Literal["worth it", "undecided", "not worth it", "not to be had"]

SURE = 0.95  # probability from which on a gain is called worth it
# Coverage of the interval of a verdict, at least: half of the rest, below its low end, is then 1 - SURE.
LEAST_COVERAGE = 0.90
NO_DIFFERENCE_K = 1e-3
MOST_MOUNTS = 10  # mounts of each kind up to which it is said how many would decide


# ---- probabilities ----------------------------------------------------------------------------------------------


def scatter_of_comparison(one_mount_K: float | None, mounts: int = 1) -> float:
    """How far the means of so many mounts of each kind differ [K], 19 times in 20, by the scatter of mounts alone.

    one_mount_K : standard deviation of the mean reading of one mount about that of many mounts of the same chip
    """
    if mounts < 1:
        raise ValueError(f"{mounts} mounts are none")
    return 0.0 if one_mount_K is None else NORMAL_95 * sqrt(2.0 / mounts) * one_mount_K


def independent_K(mesh_doubt_K: float = 0.0, one_mount_K: float | None = None, mounts: int = 1) -> float:
    """Standard uncertainty [K] of what comes to a gain beside its inputs, taken as normal.

    mesh_doubt_K : half width of the doubt of the *difference*, meant for 95 %
    one_mount_K : standard deviation of one mount: give it for the gain that the bench will show, leave it out for the
        gain that there is
    """
    return hypot(mesh_doubt_K, scatter_of_comparison(one_mount_K, mounts)) / NORMAL_95


# ---- samples without an answer -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Lost:
    """Samples of the tolerances in which the base, the option, or either of them has no steady state, of all."""

    samples: int
    base: int
    option: int
    either: int

    @property
    def words(self) -> str:
        """In how many there is none, and that the gain is that of the others; nothing where all have one."""
        if not self.either:
            return ""
        return (
            f"In {self._in_100(self.either)} of 100 samples of the tolerances there is no steady state "
            f"(base {self._in_100(self.base)}, option {self._in_100(self.option)}): the gain is that of the others."
        )

    @property
    def unsure(self) -> str:
        """Why one more often than the other having none leaves no sure verdict; nothing where it is seldom enough."""
        for alone, where in ((self.either - self.base, "with the option"), (self.either - self.option, "in the base")):
            if alone > (1.0 - SURE + 1e-9) * self.samples:
                return f"Too often there is none {where} alone for a sure verdict."
        return ""

    def _in_100(self, count: int) -> str:
        share = 100.0 * count / self.samples
        return f"{share:.0f}" if share >= 1.0 or not count else f"{share:.1g}"


# ---- the verdict ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Verdict:
    """kind and words for the reader, and the numbers they stand on.

    worth_K : what the gain was held against, 0 where the case does not say (`worth_given`)
    scatter_K : of one mount of each kind, half width for 95 %; None where not given
    mounts : of each kind, that show the gain on a bench; None where one shows it, or too many are needed
    """

    kind: Kind
    words: str
    gain_K: float
    low_K: float
    high_K: float
    coverage: float
    probability: float | None
    worth_K: float
    worth_given: bool
    scatter_K: float | None
    mounts: int | None = None
    next_measurement: NextMeasurement | None = None


def verdict(
    gain_K: float,
    low_K: float,
    high_K: float,
    coverage: float = LEAST_COVERAGE,
    *,
    worth_K: float | None = None,
    one_mount_K: float | None = None,
    probability: float | None = None,
    shares: Sequence[InputShare] = (),
    uncertainty_K: float | None = None,
    error_K: float = 0.0,
    refused: str | None = None,
    lost: Lost | None = None,
    grave: Sequence[str] = (),
    all_exact: bool = False,
    limit: str = "",
    limit_kept: bool = True,
) -> Verdict:
    """The verdict on one option.

    Not to be had: it is dangerous. Not worth it: the whole interval lies below what is worth it, or within the scatter
    of one mount of each kind. Worth it: the whole interval lies above both, P(gain > worth) is 0.95 or more, it is said
    what is worth it, something has a tolerance, the limit is kept, and no grave warning stands. Undecided: all else,
    with the mounts, the measurement or the words of the case that would settle it. Where the option alone, or the base
    alone, has no steady state in more than one of twenty samples, neither of the first two is told: the interval is of
    the others.

    coverage : of the symmetric interval; below 0.9 a `probability` of exceeding `worth_K` (or 0) is needed
    one_mount_K : standard deviation of one mount; error_K : sampling error of the ends
    shares, uncertainty_K : of the gain, for the next measurement; refused : the danger, in words
    lost : samples without a steady state, which the interval leaves out; grave : warnings on base and option
    all_exact : neither has a tolerance, so that the interval is that of the mesh
    limit : what must be said of the limit of a reading; limit_kept : whether the option surely keeps it
    Raises ValueError for numbers that contradict one another.
    """
    _check(gain_K, low_K, high_K, coverage, probability)
    worth = 0.0 if worth_K is None else worth_K
    scatter = None if one_mount_K is None else scatter_of_comparison(one_mount_K)

    gap, unsure = (lost.words, lost.unsure) if lost is not None else ("", "")

    def found(kind: Kind, words: str, mounts: int | None = None, after: NextMeasurement | None = None) -> Verdict:
        words += f" {limit}" if limit else ""
        if unsure and kind in ("worth it", "not worth it"):
            words = f"Undecided{words.removeprefix(kind.capitalize())} {unsure}"
            kind = "undecided"
        numbers = (gain_K, low_K, high_K, coverage, probability, worth, worth_K is not None, scatter)
        return Verdict(kind, words, *numbers, mounts=mounts, next_measurement=after)

    if refused is not None:
        return found("not to be had", f"Not to be had, whatever it gains: {refused}.")
    told = _Words(gain_K, low_K, high_K, coverage, worth, worth_K is not None, scatter, all_exact)
    close = error_K > 0.0 and min(abs(low_K - worth), abs(high_K - worth)) <= 2.0 * error_K
    end = (f" {gap}" if gap else "") + (" A close call: more samples may turn it." if close else "") + told.unsaid
    if max(abs(low_K), abs(high_K)) < NO_DIFFERENCE_K:
        return found("not worth it", f"Not worth it: it makes no difference.{end}")
    if high_K < worth or high_K <= 0.0:
        reason = "It gains nothing." if high_K <= 0.0 else f"Even the high end stays below {told.aim}."
        return found("not worth it", f"Not worth it: {told.interval}. {reason}{end}")
    if scatter is not None and high_K <= scatter:
        return found("not worth it", f"Not worth it: {told.interval}. {told.within_scatter}{end}")
    if low_K > worth and (probability is None or probability >= SURE - HALF_PERCENT):
        if scatter is None or low_K > scatter:
            if against := told.against(grave, limit_kept):
                return found("undecided", f"Undecided: {told.interval}. {against}{end}")
            bench = told.no_scatter if scatter is None else told.above_scatter
            return found("worth it", f"Worth it: {told.interval}. All of it is above {told.aim}. {bench}{end}")
        mounts = _mounts(scatter, low_K)
        return found("undecided", f"Undecided: {told.interval}. {told.bench(mounts)}{end}", mounts)
    known = uncertainty_K is not None and low_K <= worth
    after = measure_next(shares, gain_K, low_K, high_K, worth, uncertainty_K or 0.0) if known else None
    odds = "" if probability is None else f" Chance that it is above: {percent(probability)}."
    step = "" if after is None else f" {after.words}"
    return found("undecided", f"Undecided: {told.interval}. {told.straddles}{odds}{step}{end}", None, after)


def _check(gain_K: float, low_K: float, high_K: float, coverage: float, probability: float | None) -> None:
    if not (isfinite(gain_K) and isfinite(low_K) and isfinite(high_K) and low_K <= high_K):
        raise ValueError(f"no interval: gain {gain_K}, from {low_K} to {high_K}")
    if not 0.0 < coverage < 1.0 or (probability is not None and not 0.0 <= probability <= 1.0):
        raise ValueError(f"coverage {coverage} and probability {probability} lie between 0 and 1")
    if coverage < LEAST_COVERAGE - 1e-9 and probability is None:
        raise ValueError(f"an interval of {coverage:g} says too little without a probability")


def _mounts(scatter_K: float, low_K: float) -> int | None:
    """Mounts of each kind whose means differ by less than the low end for want of anything but scatter."""
    mounts = max(2, floor((scatter_K / low_K) ** 2 * (1.0 + 1e-12)) + 1)
    return mounts if mounts <= MOST_MOUNTS else None


@dataclass(frozen=True)
class _Words:
    """Pieces of a verdict's sentences, with just enough decimals to tell the numbers apart."""

    gain_K: float
    low_K: float
    high_K: float
    coverage: float
    worth_K: float
    worth_given: bool
    scatter_K: float | None
    all_exact: bool

    @property
    def interval(self) -> str:
        one, low, high = (self._K(number) for number in (self.gain_K, self.low_K, self.high_K))
        if self.all_exact:
            return f"the gain is {one} K as if everything were exact, by the mesh between {low} and {high} K"
        return f"the gain is {one} K, {times_in(self.coverage)} between {low} and {high} K"

    @property
    def aim(self) -> str:
        return f"the {self.worth_K:g} K that would be worth it" if self.worth_given else "0 K"

    @property
    def unsaid(self) -> str:
        if self.worth_given:
            return ""
        return " What would be worth it is not given: held against 0 K. Add `worth_K: 3` to the case, or yours."

    def against(self, grave: Sequence[str], limit_kept: bool) -> str:
        """Why a gain that is large enough is not called worth it all the same; nothing where nothing does."""
        reasons = [f"a warning stands: {one.rstrip('.')}" for one in grave[:1]]
        if not limit_kept:
            reasons.append("the limit is not surely kept")
        if self.all_exact:
            reasons.append("nothing has a tolerance: give a `plus_minus` to what you are not sure of")
        if not self.worth_given:
            reasons.append("it is not said what would be worth the step")
        return f"It is above {self.aim}, but {'; and '.join(reasons)}." if reasons else ""

    @property
    def scatter(self) -> str:
        return f"{self.scatter_K or 0.0:.{max(self._decimals, 1)}f} K"

    @property
    def within_scatter(self) -> str:
        return (
            f"Two mounts of the same chip differ by up to {self.scatter}: even the high end lies within. "
            "Leave the chip closed."
        )

    @property
    def above_scatter(self) -> str:
        return f"One mount of each will show it (two mounts of the same chip differ by up to {self.scatter})."

    no_scatter = "How far two mounts differ is not given (`one_mount_K`): one mount of each may not show it."

    @property
    def straddles(self) -> str:
        lies = f"{self.aim[0].upper()}{self.aim[1:]} lies within."
        if self.low_K > self.worth_K:
            lies = f"It is above {self.aim} more often than not, but not surely enough."
        if self.scatter_K is not None and self.gain_K <= self.scatter_K:
            lies += f" Two mounts of the same chip differ by up to {self.scatter}, as much as is expected of it."
        return lies

    def bench(self, mounts: int | None) -> str:
        shown = f"{mounts} mounts of each would" if mounts else f"not even {MOST_MOUNTS} of each would"
        return (
            f"It is above {self.aim}, but one mount of each cannot show it: two mounts of the same chip differ by "
            f"up to {self.scatter}. {shown[0].upper()}{shown[1:]}."
        )

    def _K(self, number: float) -> str:
        return f"{round(number, self._decimals) + 0.0:.{self._decimals}f}"  # no minus before a zero

    @property
    def _decimals(self) -> int:
        return decimals_apart(self.low_K, self.high_K, (self.worth_K, self.scatter_K))

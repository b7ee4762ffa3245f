"""What measured runs say of a change: is it worth it, is it as predicted, how many mounts would settle it.

The verdict is that of a comparison (`thermsim.comparison.decision`), held against the interval that the mounts leave:
worth it where all of it lies above what would be worth it, not worth it where all of it lies below, undecided else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import hypot
from typing import Literal

from thermsim.bench.statistics.chances import MOST_MOUNTS, Made, Question
from thermsim.bench.statistics.gain import MeasuredGain
from thermsim.bench.statistics.mounts import Scatter
from thermsim.comparison.decision import Kind
from thermsim.comparison.outcome import Contribution
from thermsim.rounding import decimals_apart, times_in, with_tolerance

Agreement = Literal["they agree", "too unsure to say", "less than predicted", "more than predicted"]

LIKELY, SURE = 0.80, 0.95  # chances of a verdict for which mounts are told
MOST_EXPLANATIONS = 3
MOST_TOLERANCES = 5.0  # half widths of an input beyond which it explains nothing


@dataclass(frozen=True)
class Settling:
    """Mounts of each of two options, beside those made, that would settle a question, if the gain is as asked."""

    question: Question

    @cached_property
    def likely(self) -> int | None:
        """Mounts for a chance of 80 %; None beyond MOST_MOUNTS."""
        return self.question.mounts_for(LIKELY)

    @cached_property
    def sure(self) -> int | None:
        """Mounts for a chance of 95 %; None beyond MOST_MOUNTS."""
        return self.question.mounts_for(SURE)

    @cached_property
    def chances(self) -> dict[int, float]:
        """Chance of a verdict after so many more mounts of each."""
        return self.question.table()

    @property
    def words(self) -> str:
        """As a sentence."""
        if self.likely == 0:
            return "No more mounts are needed for that."
        if self.likely is None:
            return f"Not even {MOST_MOUNTS} more mounts of each would settle it."
        sure = f"{self.sure} for 95" if self.sure is not None else f"more than {MOST_MOUNTS} for 95"
        if self.sure == self.likely:
            return f"If it is so large, {_more(self.likely)} of each would settle it in 95 of 100 benches."
        return f"If it is so large, {_more(self.likely)} of each would settle it in 80 of 100 benches, {sure}."


@dataclass(frozen=True)
class Predicted:
    """What a comparison predicts of the same gain [K], with the coverage that measured gains are told with."""

    value_K: float
    low_K: float
    high_K: float


@dataclass(frozen=True)
class Explanation:
    """One input that would explain what is missing between a measured and a predicted gain.

    path, unit : of the input; value : as predicted with; needed : what it would have to be; tolerances : how many of
    its half widths lie between
    """

    path: str
    unit: str
    value: float
    half_width: float
    needed: float
    tolerances: float

    @property
    def words(self) -> str:
        """`solder.film_um at 80 instead of 30 +- 15 um (3.3 times its tolerance)`."""
        far = f"{self.tolerances:.1f} times its tolerance"
        unit = f" {self.unit}" if self.unit else ""
        return (
            f"{self.path} at {self.needed:.3g} instead of {with_tolerance(self.value, self.half_width)}{unit} ({far})"
        )


def settling(gain: MeasuredGain, worth_K: float, scatter: Scatter, true_gain_K: float | None = None) -> Settling:
    """Mounts that would settle whether a gain is worth it, one way or the other.

    true_gain_K : if it is so large [K]; as the runs show it unless given
    """
    supposed = gain.value_K if true_gain_K is None else true_gain_K
    sign = 1.0 if supposed >= worth_K else -1.0  # not worth it is the same question turned round
    question = Question(
        sign * supposed, sign * worth_K, gain.doubt_K, Made(gain.mounts, gain.against, sign * gain.value_K),
        scatter, scatter.prior, gain.coverage,
    )  # fmt: skip
    return Settling(question)


def kind_of(gain: MeasuredGain, worth_K: float | None) -> Kind:
    """The verdict on a gain, held against 0 K where it is not said what would be worth it."""
    worth = worth_K or 0.0
    if gain.high_K < worth or gain.high_K <= 0.0:
        return "not worth it"
    return "worth it" if worth_K is not None and gain.low_K > worth else "undecided"


def words_of(gain: MeasuredGain, worth_K: float | None, scatter: Scatter, settled: Settling) -> str:
    """The verdict as sentences, with what one mount of each is, and what would settle it."""
    worth, told = worth_K or 0.0, _told(gain, worth_K)
    aim = f"the {worth:g} K that would be worth it" if worth_K is not None else "0 K"
    kind = kind_of(gain, worth_K)
    if kind == "not worth it":
        reason = "It gains nothing." if gain.high_K <= 0.0 else f"Even the high end stays below {aim}."
    elif gain.low_K > worth:
        reason = f"All of it is above {aim}."
        if worth_K is None:
            reason += " What would be worth it is not given. Add `worth_K: 3` to the case, or yours."
    else:
        reason = f"{aim[0].upper()}{aim[1:]} lies within. {settled.words}"
    if gain.mounts == gain.against == 1:
        reason += (
            f" One mount is one mount: how far two of them differ is {_source(scatter)}, and most of the doubt of "
            f"{gain.half_width_K:.1f} K is that."
        )
    if scatter.is_unusual:
        reason += " Mounts scatter more than usual here: look at how the cooler is put on."
    return f"{kind.capitalize()}: {told}. {reason}"


def words_of_a_part(gain: MeasuredGain, missing: str) -> str:
    """Of a gain that is a part of what a change buys, and gets no verdict. missing : the other part, a sentence"""
    return f"Undecided: {_told(gain, None)}. {missing}"


def agreement(gain: MeasuredGain, predicted: Predicted) -> Agreement:
    """Whether a measured gain is what was predicted, within both doubts.

    Too unsure to say where a gain of nothing would agree as well.
    """
    miss = gain.value_K - predicted.value_K
    side = predicted.value_K - predicted.low_K if miss < 0.0 else predicted.high_K - predicted.value_K
    doubt = hypot(gain.half_width_K, side)
    if abs(miss) > doubt:
        return "less than predicted" if miss < 0.0 else "more than predicted"
    return "too unsure to say" if abs(predicted.value_K) <= doubt and abs(gain.value_K) <= doubt else "they agree"


def agreement_words(what: str, gain: MeasuredGain, predicted: Predicted, explained: Sequence[Explanation] = ()) -> str:
    """`Measured 5.9 K (4.8 to 7.0), predicted 5.8 K (4.2 to 7.7): they agree.`

    what : the change, as a name; explained : what would explain a miss
    """
    found = agreement(gain, predicted)
    both = (
        f"Measured {_span(gain.value_K, gain.low_K, gain.high_K)}, predicted "
        f"{_span(predicted.value_K, predicted.low_K, predicted.high_K)}"
    )
    if found == "they agree":
        return f"{both}: they agree."
    if found == "too unsure to say":
        return f"{both}: they agree, but so would a gain of nothing."
    miss = abs(gain.value_K - predicted.value_K)
    reasons = "; or ".join(one.words for one in explained)
    told = f" It would be explained by {reasons}." if reasons else ""
    more = "less" if found == "less than predicted" else "more"
    return f"{both}: {what} does not do what the case says, it gains {miss:.1f} K {more}.{told}"


def explanations(contributions: Sequence[Contribution], missing_K: float) -> tuple[Explanation, ...]:
    """Single inputs of a predicted gain that would explain what is missing, those nearest to their tolerance first.

    missing_K : measured less predicted gain
    """
    found = []
    for one in contributions:
        if not one.sensitivity or not one.half_width:
            continue
        step = missing_K / one.sensitivity
        far = abs(step) / one.half_width
        if far <= MOST_TOLERANCES and (not one.is_ratio or one.value + step > 0.0):
            found.append(Explanation(one.path, one.unit, one.value, one.half_width, one.value + step, far))
    return tuple(sorted(found, key=lambda one: one.tolerances)[:MOST_EXPLANATIONS])


# ---- words -------------------------------------------------------------------------------------------------------


def _told(gain: MeasuredGain, worth_K: float | None) -> str:
    one, low, high = _numbers(gain.value_K, gain.low_K, gain.high_K, worth_K)
    shows = "shows" if gain.mounts == 1 else "show"
    return (
        f"{_mounts(gain.mounts)} against {gain.against} {shows} a gain of {one} K, {times_in(gain.coverage)} between "
        f"{low} and {high} K"
    )


def _span(value: float, low: float, high: float) -> str:
    one, first, last = _numbers(value, low, high)
    return f"{one} K ({first} to {last})"


def _numbers(value: float, low: float, high: float, worth_K: float | None = None) -> tuple[str, str, str]:
    decimals = max(1, decimals_apart(low, high, (worth_K,)))
    one, first, last = (f"{round(number, decimals) + 0.0:.{decimals}f}" for number in (value, low, high))
    return one, first, last


def _more(count: int) -> str:
    return "1 more mount" if count == 1 else f"{count} more mounts"


def _mounts(count: int) -> str:
    return "1 mount" if count == 1 else f"{count} mounts"


def _source(scatter: Scatter) -> str:
    if scatter.own_sd_K is None:
        return f"what benches usually show ({scatter.prior.words})"
    return f"told by other mounts of this bench (one mount scatters by {scatter.sd_K:.2f} K)"

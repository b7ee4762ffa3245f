"""What every change bought: gains of all pairs of options from runs that were put to like circumstances.

The gain of a pair is a difference of mean mounts, over the readings that all runs of both options have, so that what a
sensor is off by takes itself out. Runs of a mount are averaged first and count as one. See `statistics.mounts` for the
scatter that all options share, and `verdict` for what is said of a gain.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import hypot, sqrt
from statistics import median

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.corrected import Corrected
from thermsim.bench.statistics.gain import COVERAGE, MeasuredGain, gain
from thermsim.bench.statistics.mounts import USUAL, Prior, Scatter, scatter
from thermsim.bench.statistics.whole_steps import rounding_sd, stuck_error
from thermsim.bench.verdicts.verdict import (
    Agreement,
    Predicted,
    Settling,
    agreement,
    agreement_words,
    kind_of,
    settling,
    words_of,
    words_of_a_part,
)
from thermsim.comparison.decision import Kind

Array = NDArray[np.float64]
Pair = tuple[str | None, str | None]  # option, and what it is held against; None for the base

BASE = "the base"


@dataclass(frozen=True)
class Change:
    """What one change bought.

    option, against : the pair, None for the base; is_step : whether the option is the next one that was run
    readings : over which the gain is told; left_out : readings that some run of the pair does not have
    kind, words : the verdict; settling : mounts that would settle it
    predicted, agreement, agreement_words : what a comparison says of the same; None where none was given
    """

    option: str | None
    against: str | None
    is_step: bool
    readings: tuple[str, ...]
    left_out: tuple[str, ...]
    gain: MeasuredGain
    kind: Kind
    words: str
    settling: Settling
    predicted: Predicted | None = None
    agreement: Agreement | None = None
    agreement_words: str | None = None


@dataclass(frozen=True)
class Bought:
    """What the runs of a bench say of its options.

    scatter : of one mount, pooled over all options
    changes : every pair that can be told, later option against earlier one, in the order of their first runs
    not_told : pairs that cannot be told, and why
    """

    scatter: Scatter
    changes: tuple[Change, ...]
    not_told: Mapping[Pair, str]
    worth_K: float | None

    def of(self, option: str | None, against: str | None = None) -> Change:
        """The change of one pair. Raises KeyError for one that is not told."""
        for change in self.changes:
            if (change.option, change.against) == (option, against):
                return change
        raise KeyError((option, against))

    @property
    def steps(self) -> tuple[Change, ...]:
        """The chain: every option against the one that was run before it."""
        return tuple(change for change in self.changes if change.is_step)


def bought(
    runs: Sequence[Corrected],
    *,
    worth_K: float | None = None,
    prior: Prior = USUAL,
    steps_K: Mapping[str, float] | None = None,
    predict: Callable[[Pair, tuple[str, ...]], Predicted | None] | None = None,
    missing: Callable[[Pair], str | None] | None = None,
    coverage: float = COVERAGE,
) -> Bought:
    """What every change bought.

    Parameters
    ----------
    runs : comparable ones, put to like circumstances; the order of their options is that of the chain
    worth_K : what a gain must be
    prior : what is known of the scatter of mounts
    steps_K : steps that readings are shown in, by reading; none unless given
    predict : what a comparison says of the mean of some readings for a pair, None where it says nothing
    missing : what of a pair's gain its runs cannot show, as a sentence: it gets no verdict; None where they show all

    Raises
    ------
    ValueError : nothing says how far mounts scatter: the prior is worth no mounts, and no option has two
    """
    options = list(dict.fromkeys(run.option for run in runs))
    table = {option: [run for run in runs if run.option == option] for option in options}
    steps = dict(steps_K or {})
    # Each option over the readings that all its runs have: what one reading more or less does to a scatter is little.
    own = {option: _mounts(group, _common(group)) for option, group in table.items() if _common(group)}
    rounding = max((_rounding(_common(table[option]), steps) for option in own), default=0.0)
    # What all runs are noted to scatters mounts as rounding does; a run that is known worse adds its own doubt.
    noted_to = median(run.own_doubt_K for run in runs) if runs else 0.0
    known = scatter(list(own.values()), prior, hypot(rounding, noted_to))
    changes: list[Change] = []
    not_told: dict[Pair, str] = {}
    for against, option in combinations(options, 2):
        both = [*table[against], *table[option]]
        readings = _common(both)
        if not readings:
            not_told[option, against] = "no reading is noted in every run of both"
            continue
        first, second = _mounts(table[against], readings), _mounts(table[option], readings)
        doubt = hypot(_corrections(table[against], table[option], noted_to), _stuck(readings, steps, known.sd_K))
        found = gain(first, second, known, doubt, coverage)
        settled = settling(found, worth_K or 0.0, known)
        part = None if missing is None else missing((option, against))
        predicted = None if predict is None or part else predict((option, against), readings)
        left_out = dict.fromkeys(name for run in both for name in run.readings if name not in readings)
        changes.append(
            Change(
                option, against, options.index(option) == options.index(against) + 1, readings, tuple(left_out), found,
                "undecided" if part else kind_of(found, worth_K),
                words_of_a_part(found, part) if part else words_of(found, worth_K, known, settled), settled, predicted,
                None if predicted is None else agreement(found, predicted),
                None if predicted is None else agreement_words(option or BASE, found, predicted),
            )
        )  # fmt: skip
    return Bought(known, tuple(changes), not_told, worth_K)


def _common(runs: Sequence[Corrected]) -> tuple[str, ...]:
    """Readings that all of some runs have, in the order of the first."""
    return tuple(name for name in runs[0].readings if all(name in run.readings for run in runs))


def _mounts(runs: Sequence[Corrected], readings: Sequence[str]) -> Array:
    """(mounts,) mean over some readings of every mount [C], its runs averaged first."""
    means: dict[str, list[float]] = {}
    for run in runs:
        means.setdefault(run.mount, []).append(float(np.mean([run.readings[name] for name in readings])))
    return np.array([np.mean(values) for values in means.values()])


def _corrections(first: Sequence[Corrected], second: Sequence[Corrected], noted_to: float) -> float:
    """Standard uncertainty [K] that corrections leave of the difference of two options.

    What runs share (a slope) acts by how much more one option was corrected than the other.
    noted_to : own doubt of the usual run, which the scatter of mounts holds
    """
    shared = dict.fromkeys(cause for run in (*first, *second) for cause in run.shared_doubt_K)
    parts = [
        _mean_of_mounts(first, [run.shared_doubt_K.get(cause, 0.0) for run in first])
        - _mean_of_mounts(second, [run.shared_doubt_K.get(cause, 0.0) for run in second])
        for cause in shared
    ]
    for group in (first, second):
        weights = _weights(group)
        beyond = [max(0.0, run.own_doubt_K**2 - noted_to**2) for run in group]
        parts.append(sqrt(sum(weight**2 * square for weight, square in zip(weights, beyond, strict=True))))
    return hypot(*parts)


def _weights(runs: Sequence[Corrected]) -> list[float]:
    """What every run counts in the mean of mounts."""
    names = [run.mount for run in runs]
    return [1.0 / (len(set(names)) * names.count(name)) for name in names]


def _mean_of_mounts(runs: Sequence[Corrected], values: Sequence[float]) -> float:
    return sum(weight * value for weight, value in zip(_weights(runs), values, strict=True))


def _rounding(readings: Sequence[str], steps: Mapping[str, float]) -> float:
    """Standard deviation [K] that rounding adds to the mean of some readings of one run."""
    return hypot(*(rounding_sd(steps.get(name, 0.0)) for name in readings)) / len(readings)


def _stuck(readings: Sequence[str], steps: Mapping[str, float], sd_K: float) -> float:
    """Standard uncertainty [K] of a difference of options for readings that scatter too little to be averaged.

    The largest error of a mean is the crest of a wave over where in its step the true one lies: its standard deviation
    is a root of two less, and two options have one each.
    """
    return hypot(*(stuck_error(steps.get(name, 0.0), sd_K) for name in readings)) / len(readings)

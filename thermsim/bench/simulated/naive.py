"""What is usually done with two tables of runs, to show what it costs: the ways that `judge` is held against.

None of these is used for a result. Each gives a gain and the half width of an interval that is meant to hold it nine
times in ten.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from thermsim.bench.runs import Run
from thermsim.bench.statistics.gain import COVERAGE
from thermsim.bench.statistics.two_samples import Difference, Sample, welch


@dataclass(frozen=True)
class NaiveGain:
    """A gain [K] with the half width of its interval; infinite where too few runs say nothing of it."""

    value_K: float
    half_width_K: float


def raw(base: Sequence[Run], option: Sequence[Run]) -> NaiveGain:
    """The means of all runs subtracted as they are, each run a sample."""
    return _of_samples([_mean(run) for run in base], [_mean(run) for run in option])


def coolant_one_to_one(base: Sequence[Run], option: Sequence[Run]) -> NaiveGain:
    """A kelvin of coolant taken for a kelvin of reading; runs without a coolant are left out."""
    over = [[_mean(run) - run.coolant_C for run in runs if run.coolant_C is not None] for runs in (base, option)]
    return _of_samples(*over)


def every_core_a_sample(base: Sequence[Run], option: Sequence[Run]) -> NaiveGain:
    """Over the coolant, and every core of every run taken for a measurement of its own."""
    over = [
        [value - run.coolant_C for run in runs if run.coolant_C is not None for value in run.readings.values()]
        for runs in (base, option)
    ]
    return _of_samples(*over)


def core_by_core(base: Sequence[Run], option: Sequence[Run]) -> NaiveGain:
    """Over the coolant, the difference of each core taken for a measurement of its own, paired."""
    means = [
        {name: np.mean([run.readings[name] - (run.coolant_C or 0.0) for run in runs]) for name in runs[0].readings}
        for runs in (base, option)
    ]
    found = np.array([means[0][name] - means[1][name] for name in means[0]])
    difference = Difference(float(found.mean()), float(found.std(ddof=1)) / found.size**0.5, found.size - 1)
    return NaiveGain(difference.value, difference.half_width(COVERAGE))


def hottest(base: Sequence[Run], option: Sequence[Run]) -> NaiveGain:
    """The hottest reading of the first run of each, plus or minus one kelvin."""
    return NaiveGain(max(base[0].readings.values()) - max(option[0].readings.values()), 1.0)


WAYS: Mapping[str, Callable[[Sequence[Run], Sequence[Run]], NaiveGain]] = {
    "as they are": raw,
    "less the coolant": coolant_one_to_one,
    "every core a sample": every_core_a_sample,
    "core by core": core_by_core,
    "hottest reading, +- 1 K": hottest,
}


def _mean(run: Run) -> float:
    return float(np.mean(list(run.readings.values())))


def _of_samples(base: Sequence[float], option: Sequence[float]) -> NaiveGain:
    """Of two samples by Welch; one value each says nothing of scatter."""
    first, second = np.array(base), np.array(option)
    value = float(first.mean() - second.mean())
    if min(first.size, second.size) < 2:
        return NaiveGain(value, float("inf"))
    samples = (Sample(one.size, float(one.mean()), float(one.std(ddof=1))) for one in (first, second))
    return NaiveGain(value, welch(*samples).half_width(COVERAGE))

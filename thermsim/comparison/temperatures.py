"""Temperatures of base and options, each by itself: with its mesh doubt and what the tolerances leave of it."""

from __future__ import annotations

from math import inf

import numpy as np
from numpy.typing import NDArray

from thermsim.comparison.family import Family
from thermsim.comparison.outcome import Temperature
from thermsim.comparison.tolerances import Samples
from thermsim.doubt.bands import band_of, normal
from thermsim.readout.observable import WARMEST, Observable

Array = NDArray[np.float64]


def temperature(
    whole: Family, taken: Samples, number: int, question: Observable, deviation: Array, coverage: float, seed: int
) -> Temperature:
    """One temperature of the base (number 0) or an option.

    deviation : (samples,) of it from what is told [K], NaN where there is no steady state: no end can be told of what
        happens there, so that an end that falls among such samples is inf
    seed : of the points at which the mesh doubt is drawn
    """
    value = float(whole.told_C[number, whole.questions.index(question)])
    half_width = _mesh_K(whole, number, question)
    if not any(one.acts_on[number] for one in taken.varied):
        return Temperature(value, half_width)
    count = len(deviation)
    beside = normal((np.random.default_rng(seed).permutation(count) + 0.5) / count)
    ended = np.where(np.isnan(deviation), inf, deviation)
    return Temperature(value, half_width, band_of(value, half_width, ended, beside, coverage))


def _mesh_K(whole: Family, number: int, question: Observable) -> float:
    """Mesh doubt; of the warmest reading what all readings leave of the highest, for another may be it."""
    doubts = whole.predictions[number].doubts
    if question != WARMEST:
        return doubts[question].half_width
    own = [doubts[whole.questions[place]] for place in whole.readings if whole.questions[place] in doubts]
    told = max(one.value for one in own)
    lowest, highest = max(one.value - one.half_width for one in own), max(one.value + one.half_width for one in own)
    return max(told - lowest, highest - told)

"""Where an answer lies, from its deviations in samples of the tolerances and from its mesh doubt."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.spread import Spread
from thermsim.mesh.input_doubt import Band

Array = NDArray[np.float64]

_unit_normal = Spread(0.0, 1.0, "normal")
_normal_95 = 1.0 / _unit_normal.uncertainty


def normal(levels: Array) -> Array:
    """Standard normal values of levels in (0, 1)."""
    return _unit_normal.quantile(levels) * _normal_95


def band_of(value: float, half_width: float, deviation: Array, beside: Array, coverage: float) -> Band:
    """The band of one answer [C or W].

    value, half_width : as a prediction tells it, and its mesh doubt
    deviation : (samples,) from the nominal state; inf where there is no steady state
    beside : (samples,) standard normal values for the mesh, independent of the deviations
    """
    ends = [0.5 * (1.0 - coverage), 0.5 * (1.0 + coverage)]
    low, high = _ends(deviation, ends)
    both_low, both_high = -inf, inf
    if isfinite(half_width):
        both_low, both_high = _ends(deviation + beside * half_width / _normal_95, ends)
    both = min(low, both_low), max(high, both_high)
    return Band(*(value + end for end in (low, high, *both)))


def _ends(samples: Array, levels: Sequence[float]) -> tuple[float, float]:
    """Ends of an interval of deviations, which holds the nominal state; inf among them is an end like another."""
    low, high = np.quantile(samples, levels, method="inverted_cdf").tolist()
    return min(low, 0.0), max(high, 0.0)

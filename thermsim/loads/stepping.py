"""Bodies that each warm up by themselves, y' + rate y = f(t), under a load that is known at samples: exactly.

Between two samples f is constant or a straight line, and with h from one to the next

    y <- e y + phi_1 f_0 + phi_2 (f_1 - f_0),   e = exp(-rate h),  phi_1 = (1 - e)/rate,  phi_2 = (1 - phi_1/h)/rate .
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Between = Literal["constant", "line"]

SAME_WIDTH = 1e-9  # relative difference below which two steps share their coefficients
SLOW = 1e-4  # rate times step below which phi_2 is taken from its series


def stepped(times: Array, driven: Array, rates: Array, between: Between, start: Array | None = None) -> Array:
    """(n, m) y at times (n,) [s], rising.

    driven : (n, m) f at these times; constant until the next one, or joined by lines
    rates : (m,) [1/s], zero or above; start : (m,) y at the first time, 0 unless given
    """
    states = np.zeros((len(times), len(rates)))
    if start is not None:
        states[0] = start
    for width, steps in _alike(np.diff(times)):
        decay, first, second = coefficients(rates, width)
        gained = first * driven[steps.start : steps.stop]
        if between == "line":
            gained += second * np.diff(driven[steps.start : steps.stop + 1], axis=0)
        state = states[steps.start]
        for step, own in zip(range(steps.start, steps.stop), gained, strict=True):
            state = decay * state + own
            states[step + 1] = state
    return states


def coefficients(rates: Array, width: float) -> tuple[Array, Array, Array]:
    """e, phi_1 and phi_2 of a step [s]."""
    x = rates * width
    safe = np.where(x > 0.0, x, 1.0)
    first = np.where(x > 0.0, -np.expm1(-safe) / safe, 1.0)
    second = np.where(x > SLOW, (1.0 - first) / safe, 0.5 - x / 6.0)
    return np.exp(-x), first * width, second * width


def _alike(widths: Array) -> list[tuple[float, range]]:
    """Runs of steps whose widths are the same but for rounding."""
    found: list[tuple[float, range]] = []
    start = 0
    for step in range(1, len(widths) + 1):
        if step == len(widths) or abs(widths[step] - widths[start]) > SAME_WIDTH * widths[start]:
            found.append((float(widths[start]), range(start, step)))
            start = step
    return found

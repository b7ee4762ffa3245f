"""What it costs that a sensor shows whole steps: rounded to the nearest, or cut off to the one below.

A value cut off lies half a step too low on average, whatever is measured. What else rounding does depends on how far
the values scatter before it. With s the standard deviation over the step, rounding adds a twelfth of a squared step to
the variance (Sheppard 1898), and the mean is off by

    sum over n of (-1)^(n+1) exp(-2 pi^2 n^2 s^2) sin(2 pi n x) / (pi n),

x being where in its step the true mean lies: the Fourier series of what rounding leaves, each term damped by the
scatter. From s = 0.5 on both are as good as exact; a reading that scatters by less than a quarter of a step shows the
same number again and again, and more runs do not help.
"""

from __future__ import annotations

from math import pi, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]
Cuts = Literal["nearest", "down"]

SERIES_FROM = 0.05  # scatter over step below which values keep to one step, but for the very edges


def shown(values: Array, step: float | Array, cuts: Cuts = "nearest") -> Array:
    """What a sensor shows of values, in whole steps; half a step is rounded up."""
    return np.floor(values / step + (0.5 if cuts == "nearest" else 0.0)) * step


def lies_low(step: float, cuts: Cuts) -> float:
    """How far what is shown lies below what was measured, on average: to be added."""
    return 0.5 * step if cuts == "down" else 0.0


def rounding_sd(step: float) -> float:
    """Standard deviation that rounding adds to one value: that of an even spread over one step."""
    return step / sqrt(12.0)


def stuck_error(step: float, sd: float) -> float:
    """How far the mean of many rounded values may be off for want of scatter, at most [as step and sd].

    sd : of the values before rounding
    """
    if step <= 0.0 or sd >= step:
        return 0.0
    if sd < SERIES_FROM * step:
        return 0.5 * step
    n, where = np.arange(1, 40), np.linspace(0.0, 0.5, 101)
    terms = np.where(n % 2, 1.0, -1.0) / (pi * n) * np.exp(-2.0 * (pi * n * sd / step) ** 2)
    return float(np.max(np.sin(2.0 * pi * np.outer(where, n)) @ terms)) * step


def rounded_moments(mean: float, sd: float) -> tuple[float, float]:
    """Mean and variance of a normal value that is rounded to the nearest whole number, summed."""
    numbers = np.arange(np.floor(mean - 9.0 * sd) - 1.0, np.ceil(mean + 9.0 * sd) + 2.0)
    weight = np.diff(special.ndtr((np.append(numbers - 0.5, numbers[-1] + 0.5) - mean) / sd))
    middle = float(weight @ numbers)
    return middle, float(weight @ (numbers - middle) ** 2)

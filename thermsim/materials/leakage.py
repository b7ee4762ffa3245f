"""How power grows with the temperature of the place where it is made: each law is a class, known by its keys in a case.

A further law is a further class in `LAWS`, with its keys in `Leakage` of the vocabulary, which bounds them.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from math import log
from typing import Self

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST_DOUBLINGS = 900.0  # exponent at which the factor 2^x is capped; 2^1024 would overflow double precision


@dataclass(frozen=True)
class LeakageLaw(ABC):
    """Power relative to its value at `at_C`."""

    at_C: float

    @classmethod
    def given_as(cls) -> tuple[str, ...]:
        """What a case gives of such a law, beside `at_C`."""
        return tuple(field.name for field in fields(cls) if field.name != "at_C")

    @property
    @abstractmethod
    def is_linear(self) -> bool:
        """Whether power is a straight line over temperature."""

    @abstractmethod
    def factor(self, temperature_C: Array | float) -> Array | float:
        """Power at a temperature [C] over power at `at_C`."""

    @abstractmethod
    def slope(self, temperature_C: Array | float) -> Array | float:
        """Derivative of `factor` [1/K]."""

    @property
    def negative_below_C(self) -> float | None:
        """Below which temperature [C] power would be negative; None where it never is."""
        return None

    @property
    def tells_apart(self) -> bool:
        """Whether it tells what leaks from what switches, so that another clock makes another law of it."""
        return False

    def driven(self, switching: float, leaking: float) -> tuple[float, Self]:
        """Another clock or voltage: a factor on the power typed, and the law that it then follows.

        switching, leaking : factors on what switches and on what leaks at a given temperature
        """
        return switching, self


@dataclass(frozen=True)
class LinearLeakage(LeakageLaw):
    """1 + per_K (T - at_C). It does not tell what leaks from what switches."""

    per_K: float

    @property
    def is_linear(self) -> bool:
        return True

    def factor(self, temperature_C: Array | float) -> Array | float:
        return 1.0 + self.per_K * (temperature_C - self.at_C)

    def slope(self, temperature_C: Array | float) -> Array | float:
        return self.per_K

    @property
    def negative_below_C(self) -> float | None:
        return self.at_C - 1.0 / self.per_K if self.per_K > 0.0 else None


@dataclass(frozen=True)
class DoublingLeakage(LeakageLaw):
    """1 - share + share 2^((T - at_C)/doubling_K): a share of the power leaks, and doubles every so many kelvin."""

    share: float
    doubling_K: float

    @property
    def is_linear(self) -> bool:
        return self.share == 0.0

    def factor(self, temperature_C: Array | float) -> Array | float:
        return 1.0 - self.share + self.share * self._grown(temperature_C)

    def slope(self, temperature_C: Array | float) -> Array | float:
        return self.share * log(2.0) / self.doubling_K * self._grown(temperature_C)

    def _grown(self, temperature_C: Array | float) -> Array:
        doublings = (np.asarray(temperature_C, dtype=np.float64) - self.at_C) / self.doubling_K
        return np.asarray(np.exp2(np.minimum(doublings, MOST_DOUBLINGS)))

    @property
    def tells_apart(self) -> bool:
        return True

    def driven(self, switching: float, leaking: float) -> tuple[float, Self]:
        switches, leaks = (1.0 - self.share) * switching, self.share * leaking
        factor = switches + leaks
        return factor, self if factor == 0.0 else replace(self, share=leaks / factor)


LAWS: tuple[type[LeakageLaw], ...] = (LinearLeakage, DoublingLeakage)


def one_of_them() -> str:
    """What a case gives of leakage, in words."""
    ways = (" with ".join(f"`{key}`" for key in kind.given_as()) for kind in LAWS)
    return f"leakage is either {', or '.join(ways)}; each with `at_C`"


def law_of(given: Mapping[str, float | None]) -> LeakageLaw | None:
    """The law whose keys a case gives, all of them and no others; None where it gives no law whole."""
    there = {key for key, value in given.items() if value is not None} - {"at_C"}
    kind = next((kind for kind in LAWS if set(kind.given_as()) == there), None)
    return None if kind is None else kind(**{key: value for key, value in given.items() if value is not None})

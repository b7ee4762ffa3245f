"""How a conductivity depends on temperature: each law is a class that knows its values, slopes, means and words."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from thermsim.units import ZERO_CELSIUS_K, to_kelvin

FloatArray = npt.NDArray[np.float64]

# Absolute temperatures [K] to which a power law is clipped, so that it stays finite and above zero at any temperature.
COLDEST_K, HOTTEST_K = 1.0, 1e5


class Law(ABC):
    """Conductivity over temperature; it can be called anywhere.

    valid_C : [C], where the law may be trusted
    outside : what is done there, in words
    kinks_C : temperatures [C] at which the slope jumps, and bends [W/mK2] by how much, as many
    """

    valid_C: tuple[float, float] = (-inf, inf)
    outside = ""
    kinks_C: tuple[float, ...] = ()
    bends: tuple[float, ...] = ()

    @property
    @abstractmethod
    def is_constant(self) -> bool:
        """Whether it is the same at every temperature."""

    @abstractmethod
    def __call__(self, temperature_C: npt.ArrayLike) -> FloatArray:
        """Conductivity [W/mK] at temperatures [C] of any shape; the result has the same shape."""

    @abstractmethod
    def slope(self, temperature_C: FloatArray) -> FloatArray:
        """dk/dT [W/mK2] at temperatures [C]; at a kink that of the side above it."""

    @abstractmethod
    def scaled(self, factor: float) -> Self:
        """The same course, every conductivity times `factor` (> 0)."""

    @abstractmethod
    def factor_over(self, before: Law) -> float | None:
        """How many times another law it is; None where it takes another course."""

    @property
    @abstractmethod
    def given(self) -> dict[str, Any]:
        """The law in the words of a case."""

    def mean(self, temperature_C: FloatArray, reach_K: FloatArray) -> FloatArray:
        """Conductivity [W/mK] of a body across which the temperature goes from T - reach to T + reach [K].

        The integral mean over that range carries the right heat (Kirchhoff's transform; Carslaw and Jaeger, Conduction
        of Heat in Solids, 2nd ed. (1959), section 1.6). It is k(T) but for what kinks inside add; where k bends
        smoothly the difference is of second order, as the scheme itself is, and left out.
        """
        found = self(temperature_C)
        for at_C, bend in zip(self.kinks_C, self.bends, strict=True):
            within = np.maximum(reach_K - np.abs(temperature_C - at_C), 0.0)
            found += np.divide(bend * within**2, 4.0 * reach_K, out=np.zeros_like(found), where=within > 0.0)
        return found

    def slope_of_mean(self, temperature_C: FloatArray, reach_K: FloatArray) -> FloatArray:
        """Derivative of `mean` by the temperature [W/mK2]."""
        found = self.slope(temperature_C)
        for at_C, bend in zip(self.kinks_C, self.bends, strict=True):
            off = temperature_C - at_C
            within = np.maximum(reach_K - np.abs(off), 0.0)
            side = np.where(off >= 0.0, -0.5 * bend, 0.5 * bend)
            found += np.divide(side * within, reach_K, out=np.zeros_like(found), where=within > 0.0)
        return found

    def slope_of_mean_by_reach(self, temperature_C: FloatArray, reach_K: FloatArray) -> FloatArray:
        """Derivative of `mean` by the reach [W/mK2]: zero but where a kink lies within."""
        found = np.zeros_like(temperature_C)
        for at_C, bend in zip(self.kinks_C, self.bends, strict=True):
            off = np.abs(temperature_C - at_C)
            inside = reach_K > off
            share = np.divide(off, reach_K, out=np.ones_like(found), where=inside)
            found += 0.25 * bend * (1.0 - share**2)
        return found


@dataclass(frozen=True)
class ConstantLaw(Law):
    """The same conductivity [W/mK] at every temperature."""

    conductivity: float

    @property
    def is_constant(self) -> bool:
        return True

    def __call__(self, temperature_C: npt.ArrayLike) -> FloatArray:
        return np.full(np.shape(temperature_C), self.conductivity)

    def slope(self, temperature_C: FloatArray) -> FloatArray:
        return np.zeros_like(temperature_C)

    def scaled(self, factor: float) -> Self:
        return replace(self, conductivity=factor * self.conductivity)

    def factor_over(self, before: Law) -> float | None:
        return self.conductivity / before.conductivity if isinstance(before, ConstantLaw) else None

    @property
    def given(self) -> dict[str, Any]:
        return {"value": self.conductivity}


@dataclass(frozen=True)
class PowerLaw(Law):
    """k = conductivity (T0/T)^exponent in kelvin, T0 that of `at_C` [C]."""

    conductivity: float
    at_C: float
    exponent: float
    valid_C: tuple[float, float] = (-inf, inf)

    outside = "outside, the law is stretched"

    @property
    def is_constant(self) -> bool:
        return self.exponent == 0.0

    def __call__(self, temperature_C: npt.ArrayLike) -> FloatArray:
        absolute = to_kelvin(np.asarray(temperature_C, dtype=np.float64))  # type: ignore[arg-type]
        ratio = to_kelvin(self.at_C) / np.clip(absolute, COLDEST_K, HOTTEST_K)
        return np.asarray(self.conductivity * ratio**self.exponent)

    def slope(self, temperature_C: FloatArray) -> FloatArray:
        absolute = temperature_C + ZERO_CELSIUS_K
        inside = (absolute > COLDEST_K) & (absolute < HOTTEST_K)
        return self(temperature_C) * np.divide(-self.exponent, absolute, out=np.zeros_like(absolute), where=inside)

    def scaled(self, factor: float) -> Self:
        return replace(self, conductivity=factor * self.conductivity)

    def factor_over(self, before: Law) -> float | None:
        if not isinstance(before, PowerLaw) or (self.at_C, self.exponent) != (before.at_C, before.exponent):
            return None
        return self.conductivity / before.conductivity

    @property
    def given(self) -> dict[str, Any]:
        return {"value": self.conductivity, "at_C": self.at_C, "exponent": self.exponent}


@dataclass(frozen=True)
class TableLaw(Law):
    """Straight lines between points (temperature [C], conductivity [W/mK]), constant outside."""

    points: tuple[tuple[float, float], ...]

    outside = "extend the table: outside, the nearest value is held"

    @classmethod
    def of(cls, points: Sequence[Sequence[float]]) -> Self:
        """From pairs [C, W/mK] that rise in temperature."""
        return cls(tuple((float(at), float(k)) for at, k in points))

    @property
    def temperature_C(self) -> tuple[float, ...]:
        """The temperatures [C] of the points, rising."""
        return tuple(at for at, _ in self.points)

    @property
    def conductivity(self) -> tuple[float, ...]:
        """The conductivities [W/mK] of the points."""
        return tuple(k for _, k in self.points)

    @property
    def valid_C(self) -> tuple[float, float]:  # type: ignore[override]  # the base has it as a plain value
        return self.points[0][0], self.points[-1][0]

    @property
    def is_constant(self) -> bool:
        return len(set(self.conductivity)) == 1

    @property
    def kinks_C(self) -> tuple[float, ...]:  # type: ignore[override]  # the base has it as a plain value
        return self.temperature_C

    @property
    def bends(self) -> tuple[float, ...]:  # type: ignore[override]  # the base has it as a plain value
        return tuple(np.diff(self._slopes).tolist())

    @property
    def _slopes(self) -> FloatArray:
        """Below the first point, between the points, above the last."""
        return np.array([0.0, *(np.diff(self.conductivity) / np.diff(self.temperature_C)), 0.0])

    def __call__(self, temperature_C: npt.ArrayLike) -> FloatArray:
        return np.asarray(np.interp(np.asarray(temperature_C, dtype=np.float64), self.temperature_C, self.conductivity))

    def slope(self, temperature_C: FloatArray) -> FloatArray:
        return np.asarray(self._slopes[np.searchsorted(self.temperature_C, temperature_C, side="right")])

    def scaled(self, factor: float) -> Self:
        return replace(self, points=tuple((at, factor * k) for at, k in self.points))

    def factor_over(self, before: Law) -> float | None:
        if not isinstance(before, TableLaw) or self.temperature_C != before.temperature_C:
            return None
        factor = self.conductivity[0] / before.conductivity[0]
        pairs = zip(self.conductivity, before.conductivity, strict=True)
        return None if any(abs(k - factor * k0) > 1e-12 * k for k, k0 in pairs) else factor

    @property
    def given(self) -> dict[str, Any]:
        return {"table": [list(point) for point in self.points]}

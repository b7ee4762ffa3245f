"""How a conductivity depends on temperature, as data: constant, power law or table."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import Literal

import numpy as np
import numpy.typing as npt

from thermsim.units import to_kelvin

FloatArray = npt.NDArray[np.float64]

# Absolute temperatures [K] at which a power law is held: it stays finite and above zero for any temperature.
COLDEST_K, HOTTEST_K = 1.0, 1e5


@dataclass(frozen=True)
class Law:
    """Conductivity over temperature.

    kind "constant": one value, no temperature. "power": k = value (T0/T)^exponent with T in kelvin, one value
    at one temperature. "table": straight lines between the points, constant outside.

    Attributes
    ----------
    conductivity : (n,) [W/mK], above zero
    temperature_C : (n,) [C], rising; empty if constant
    exponent : of the power law, else 0
    valid_C : [C], where the law may be trusted; it can be called anywhere
    """

    kind: Literal["constant", "power", "table"]
    conductivity: tuple[float, ...]
    temperature_C: tuple[float, ...] = ()
    exponent: float = 0.0
    valid_C: tuple[float, float] = (-inf, inf)

    @classmethod
    def constant(cls, conductivity: float) -> Law:
        """The same conductivity [W/mK] at every temperature."""
        return cls("constant", (conductivity,))

    @classmethod
    def power(
        cls, conductivity: float, at_C: float, exponent: float, valid_C: tuple[float, float] = (-inf, inf)
    ) -> Law:
        """k = conductivity (T0/T)^exponent, T0 the absolute temperature of `at_C` [C]."""
        return cls("power", (conductivity,), (at_C,), exponent, valid_C)

    @classmethod
    def table(cls, points: list[tuple[float, float]]) -> Law:
        """Straight lines through (temperature [C], conductivity [W/mK]), constant outside."""
        temperatures, conductivities = zip(*points, strict=True)
        return cls("table", conductivities, temperatures, valid_C=(temperatures[0], temperatures[-1]))

    @property
    def is_constant(self) -> bool:
        return len(set(self.conductivity)) == 1 and self.exponent == 0.0

    def __call__(self, temperature_C: npt.ArrayLike) -> FloatArray:
        """Conductivity [W/mK] at temperatures [C] of any shape; the result has the same shape."""
        temperature = np.asarray(temperature_C, dtype=np.float64)
        if self.is_constant:
            return np.full_like(temperature, self.conductivity[0])
        if self.kind == "table":
            return np.asarray(np.interp(temperature, self.temperature_C, self.conductivity))
        ratio = to_kelvin(self.temperature_C[0]) / np.clip(to_kelvin(temperature), COLDEST_K, HOTTEST_K)  # type: ignore[arg-type]
        return np.asarray(self.conductivity[0] * ratio**self.exponent)

    def scaled(self, factor: float) -> Law:
        """The same course, every conductivity times `factor` (> 0)."""
        return replace(self, conductivity=tuple(factor * k for k in self.conductivity))

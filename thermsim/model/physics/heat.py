"""Heat made in a part, spread over the cells of a grid, and how it grows with temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LeakageLaw:
    """Power relative to its value at `at_C`: 1 + per_K (T - at_C), or 1 - share + share 2^((T - at_C)/doubling_K)."""

    at_C: float
    per_K: float = 0.0
    share: float = 0.0
    doubling_K: float = 1.0

    @property
    def is_linear(self) -> bool:
        return self.share == 0.0

    def factor(self, temperature_C: Array | float) -> Array | float:
        """Power at a temperature [C] over power at `at_C`."""
        if self.is_linear:
            return 1.0 + self.per_K * (temperature_C - self.at_C)
        return np.asarray(1.0 - self.share + self.share * np.exp2((temperature_C - self.at_C) / self.doubling_K))

    def slope(self, temperature_C: Array | float) -> Array | float:
        """Derivative of `factor` [1/K]."""
        if self.is_linear:
            return self.per_K
        growth = np.log(2.0) / self.doubling_K
        return np.asarray(self.share * growth * np.exp2((temperature_C - self.at_C) / self.doubling_K))


def _linearised(watts: Array, law: LeakageLaw | None, at: Array | float) -> tuple[Array, Array | float]:
    """Heat [W] at 0 C and its growth [W/K] on the tangent of the leakage law at `at` [C]."""
    if law is None:
        return watts, 0.0
    slope = watts * law.slope(at)
    return watts * law.factor(at) - slope * at, slope


@dataclass(frozen=True, eq=False)
class FaceSource:
    """Heat made in the bottom or top face of a part.

    face : index of the z face; side : on which side of a joint at that face the part lies
    watts : (nx, ny) [W] at the leakage law's temperature
    """

    part: str
    face: int
    side: Literal["lower", "upper"]
    watts: Array
    leakage: LeakageLaw | None

    def made(self, face_C: Array) -> Array:
        """Heat made [W] at face temperatures [C]."""
        return self.watts if self.leakage is None else self.watts * self.leakage.factor(face_C)

    def linearised(self, face_C: Array | float) -> tuple[Array, Array | float]:
        return _linearised(self.watts, self.leakage, face_C)


@dataclass(frozen=True, eq=False)
class VolumeSource:
    """Heat made throughout a part. watts : (nx, ny, levels) [W]; levels : the cells in z it fills."""

    part: str
    levels: slice
    watts: Array
    leakage: LeakageLaw | None

    def made(self, temperature_C: Array) -> Array:
        """Heat made [W] at cell temperatures (nx, ny, nz) [C]; cells in a void make none."""
        if self.leakage is None:
            return self.watts
        return self.watts * np.nan_to_num(self.leakage.factor(temperature_C[:, :, self.levels]))

    def linearised(self, temperature_C: Array) -> tuple[Array, Array | float]:
        return _linearised(self.watts, self.leakage, np.nan_to_num(temperature_C[:, :, self.levels]))


def overlap(faces: Array, edges: Array) -> Array:
    """Share of each table column that falls into each cell. faces : (n+1,), edges : (m+1,) [m]; returns (n, m)."""
    low = np.maximum(faces[:-1, None], edges[None, :-1])
    high = np.minimum(faces[1:, None], edges[None, 1:])
    return np.asarray(np.maximum(high - low, 0.0) / np.diff(edges)[None, :])

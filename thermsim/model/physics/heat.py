"""Heat made in a part, spread over the cells of a grid, and how it grows with temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.materials.leakage import LeakageLaw

Array = NDArray[np.float64]


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

    def made(self, face_C: Array | float) -> Array:
        """Heat made [W] at face temperatures [C]."""
        return self.watts if self.leakage is None else self.watts * self.leakage.factor(face_C)

    def linearised(self, face_C: Array | float) -> tuple[Array, Array | float]:
        """The heat [W] at a temperature of the face, and how fast it grows there [W/K]."""
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
        """The heat [W] of its cells at their temperatures, and how fast it grows there [W/K]."""
        return _linearised(self.watts, self.leakage, np.nan_to_num(temperature_C[:, :, self.levels]))


def overlap(faces: Array, edges: Array) -> Array:
    """Share of each table column that falls into each cell. faces : (n+1,), edges : (m+1,) [m]; returns (n, m)."""
    low = np.maximum(faces[:-1, None], edges[None, :-1])
    high = np.minimum(faces[1:, None], edges[None, 1:])
    return np.asarray(np.maximum(high - low, 0.0) / np.diff(edges)[None, :])

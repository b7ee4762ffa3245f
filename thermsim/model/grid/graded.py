"""An axis whose cells follow widths that are wanted place by place, as `AxisPlan` follows distances to hot lines.

Between two outlines the wanted width h(s) is linear from knot to knot; faces lie at equal steps of the integral of
ds / h, so all multipliers sample one mapping, and it is kept in fractions of the stretch between its outlines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.model.grid.axes import FOLLOWS, PlannedAxis

Array = NDArray[np.float64]

# Largest factor by which widths inside a segment are scaled so that a rounded count of cells fits; widths at the
# outlines stay.
LARGEST_SCALING = 4.0


@dataclass(frozen=True, eq=False)
class Grading:
    """Cell widths of one stretch, linear between knots: place : (m,) from 0 to 1; width : (m,), of the stretch."""

    place: Array
    width: Array

    @cached_property
    def _steps_to(self) -> Array:
        """(m,) integral of ds / h from 0 to each knot."""
        growth = self.width[1:] / self.width[:-1] - 1.0
        flat = np.abs(growth) < 1e-8
        slowed = np.where(flat, 1.0 - 0.5 * growth, np.log1p(growth) / np.where(flat, 1.0, growth))
        return np.concatenate([[0.0], np.cumsum(np.diff(self.place) / self.width[:-1] * slowed)])

    @property
    def steps(self) -> float:
        """Integral of ds / h over the stretch: the cells it wants."""
        return float(self._steps_to[-1])

    def inner_faces(self, count: int) -> Array:
        """(count-1,) places of faces, from 0 to 1, at equal steps of the integral."""
        wanted = np.arange(1, count) / count * self.steps
        knot = np.clip(np.searchsorted(self._steps_to, wanted, side="right") - 1, 0, len(self.width) - 2)
        bend = np.diff(self.width)[knot] / np.diff(self.place)[knot]
        ahead = wanted - self._steps_to[knot]
        flat = np.abs(bend * ahead) < 1e-8
        reach = np.where(flat, ahead * (1.0 + 0.5 * bend * ahead), np.expm1(bend * ahead) / np.where(flat, 1.0, bend))
        return np.asarray(self.place[knot] + self.width[knot] * reach)


@dataclass(frozen=True, eq=False)
class GradedAxis(PlannedAxis):
    """An axis with a grading in each segment.

    lines : (n+1,) outlines [m]
    counts : (n,) cells between outlines at multiplier 1; a half or a quarter where there is next to no error, and
        so many times the multiplier, rounded up
    whole : (n,) bool, segments that are one cell at every multiplier
    """

    lines: Array
    counts: Array
    gradings: tuple[Grading, ...]
    whole: NDArray[np.bool_]

    def cells_between(self, multiplier: int) -> NDArray[np.int64]:
        return np.where(self.whole, 1, np.ceil(self.counts * multiplier)).astype(np.int64)

    def inner_faces(self, segment: int, count: int) -> Array:
        low, high = self.lines[segment : segment + 2]
        return np.asarray(low + (high - low) * self.gradings[segment].inner_faces(count))


def graded_axis(lines: Array, wanted: Sequence[Grading], counts: Array, whole: NDArray[np.bool_]) -> GradedAxis:
    """Widths that fit the counts given and stay alike on both sides of each line, as `plan_axis` makes them."""
    length = np.diff(lines)
    squeeze = np.array([grading.steps for grading in wanted]) / counts
    low = np.array([grading.width[0] for grading in wanted]) * squeeze * length
    high = np.array([grading.width[-1] for grading in wanted]) * squeeze * length
    for number in range(1, len(length)):
        narrower = min(high[number - 1], low[number])
        high[number - 1] = max(narrower, FOLLOWS * high[number - 1])
        low[number] = max(narrower, FOLLOWS * low[number])
    fitted = zip(wanted, squeeze, low / length, high / length, counts, strict=True)
    gradings = tuple(_fitted(grading, *rest) for grading, *rest in fitted)
    return GradedAxis(lines, counts, gradings, whole)


def _fitted(grading: Grading, squeeze: float, low: float, high: float, count: float) -> Grading:
    """The grading with given widths at its ends, scaled between them so that its integral is `count`."""
    place = grading.place if len(grading.place) > 2 else np.array([0.0, 0.5, 1.0])
    inner = squeeze * np.interp(place, grading.place, grading.width)[1:-1]

    def scaled(factor: float) -> Grading:
        return Grading(place, np.concatenate([[low], factor * inner, [high]]))

    narrow, wide = 1.0 / LARGEST_SCALING, LARGEST_SCALING
    for _ in range(25):
        middle = float(np.sqrt(narrow * wide))
        if scaled(middle).steps > count:
            narrow = middle
        else:
            wide = middle
    return scaled(wide)

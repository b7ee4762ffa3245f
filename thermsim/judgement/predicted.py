"""What the case itself says of a gain that was measured: to first order, on one coarse grid, at the bench's coolant.

A comparison (`thermsim.comparison.compare`) tells the same gain with samples and on a family of grids, and takes a
hundred times as long. What is told beside measured gains are the mean of just those readings and an interval from one
adjoint solve for each of them, which is enough to see whether both agree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.responses import COARSE, Bed, Response
from thermsim.bench.verdicts.verdict import Predicted
from thermsim.case.options import with_option
from thermsim.comparison.outcome import Contribution
from thermsim.model.grid.topology import alike
from thermsim.nearby.gradients import gradients
from thermsim.nearby.uncertain_inputs import SHARED, UncertainInput, variables

Array = NDArray[np.float64]
Pair = tuple[str | None, str | None]

NORMAL_90 = 1.6448536269514722  # half widths of nine times in ten, in standard deviations of a normal distribution
# Half width, as a share of the gain, allowed for one coarse grid: the shipped cases lie within a third of it.
COARSE_GRID = 0.05
BASE = "base"


@dataclass(frozen=True, eq=False)
class Predictions:
    """Gains of every pair of options, over whatever readings.

    levels : readings [C] of each option where the runs were put to; readings : their names
    varied : uncertain inputs; slopes : by option (inputs, readings) [K per unit of the input], 0 where it has none
    """

    levels: Mapping[str | None, Mapping[str, float]]
    readings: tuple[str, ...]
    varied: tuple[UncertainInput, ...]
    slopes: Mapping[str | None, Array]

    def __call__(self, pair: Pair, readings: Sequence[str]) -> Predicted | None:
        """The gain of a pair over the mean of some readings; None where an option does not have them all."""
        option, against = pair
        if not set(readings) <= set(self.levels[option]) & set(self.levels[against]):
            return None
        gain = float(np.mean([self.levels[against][name] - self.levels[option][name] for name in readings]))
        parts = self._slopes(pair, readings) * np.array([one.spread.uncertainty for one in self.varied])
        half = hypot(NORMAL_90 * float(np.sqrt(np.sum(parts**2))), COARSE_GRID * gain)
        return Predicted(gain, gain - half, gain + half)

    def contributions(self, pair: Pair, readings: Sequence[str]) -> tuple[Contribution, ...]:
        """What each input has in that, largest first; inputs of sensors take themselves out and are not among them."""
        slopes = self._slopes(pair, readings)
        parts = (slopes * np.array([one.spread.uncertainty for one in self.varied])) ** 2
        whole = float(parts.sum()) or 1.0
        found = [
            Contribution(
                one.input.path, "both" if one.of == SHARED else "option" if one.of == pair[0] else "base",
                one.input.value, one.input.unit or "1", one.input.plus_minus, one.input.basis, float(slope),
                float(part) / whole, is_ratio=one.input.is_ratio,
            )
            for one, slope, part in zip(self.varied, slopes, parts, strict=True)
            if slope
        ]  # fmt: skip
        return tuple(sorted(found, key=lambda one: -one.share))

    def _slopes(self, pair: Pair, readings: Sequence[str]) -> Array:
        """(inputs,) of the gain [K per unit]."""
        columns = [self.readings.index(name) for name in readings]
        option, against = (self.slopes[one][:, columns].mean(axis=1) for one in pair)
        return np.asarray(against - option)


def predictions(
    bed: Bed, responses: Mapping[str | None, Response], coolant_C: float, load: float, options: Sequence[str | None]
) -> Predictions:
    """What the case says of some options (None for the base) at a coolant [C] and a load. Raises as `gradients`."""
    cases = {one: bed.case if one is None else with_option(bed.case, one) for one in options}
    varied = tuple(
        one
        for one in variables(list(cases.values()), [one or BASE for one in cases])
        if one.input.acts_on not in ("sensor", "nothing")
    )
    readings = responses[None].readings
    levels, slopes = {}, {}
    for number, (option, case) in enumerate(cases.items()):
        own = responses[option].readings
        levels[option] = dict(zip(own, responses[option].at(coolant_C, load)[: len(own)].tolist(), strict=True))
        paths = {path: row for row, one in enumerate(varied) if (path := one.paths[number]) is not None}
        found = gradients(
            case, alike(bed.plan, bed.case, case), COARSE, [("reading", name) for name in own], list(paths)
        )
        slopes[option] = np.zeros((len(varied), len(readings)))
        for name in own:
            for path, slope in found["reading", name].items():
                slopes[option][paths[path], readings.index(name)] = slope
    return Predictions(levels, readings, varied, slopes)

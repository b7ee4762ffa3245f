"""Powers of zones that vary alone: what a watt in each does to what is asked, on the grids of a prediction."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.settling import OnGrid
from thermsim.model.grid.plan import needed_GB
from thermsim.nearby.superposition import Superposition, on_grid, settled
from thermsim.readout.observable import Observable

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PowerMaps:
    """zones : whose powers vary; questions : what is asked"""

    base: Prediction
    zones: Sequence[Observable]
    questions: Sequence[Observable]

    def on(self, multiplier: int) -> Array | None:
        """(questions, zones) resistances [K/W] on one grid; None where superposition does not answer a question."""
        found, _ = on_grid(self.base.case, self.base.plan, multiplier)
        return found.resistance[self._asked(found)] if self._answered_by(found) else None

    def settled(self, enough: Callable[[Array], bool], memory_GB: float | None) -> tuple[Array, Array] | None:
        """Resistances at their limit and their mesh doubts [K/W], in a linear case, on as many grids as it takes.

        enough : whether mesh doubts (questions, zones) are small enough

        None where they are not on the finest grid that fits, where the case is not linear, or as in `on`.
        """
        if not self.base.field.model.is_linear:
            return None
        plan, most, on_grids = self.base.plan, allowed_GB(memory_GB), list[tuple[Superposition, OnGrid]]()
        for count, multiplier in enumerate(plan.multipliers, start=1):
            if needed_GB(plan.cells(multiplier)) > most:
                return None
            on_grids.append(on_grid(self.base.case, plan, multiplier))
            if not self._answered_by(on_grids[0][0]):
                return None
            if count < len(self.base.steps):
                continue
            found = settled(on_grids)
            asked = self._asked(found.finest)
            half = found.half_width[asked]
            if enough(half):
                return found.resistance[asked], half
        return None

    def _answered_by(self, found: Superposition) -> bool:
        return set(self.questions) <= set(found.questions)

    def _asked(self, found: Superposition) -> tuple[NDArray[np.intp], ...]:
        """Places of what is asked in its resistances."""
        rows = [found.questions.index(question) for question in self.questions]
        return np.ix_(rows, [found.zones.index(zone) for zone in self.zones])

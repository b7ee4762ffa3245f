"""Powers of zones that vary alone: what a watt in each does to what is asked, on the grids of a prediction."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.field import Field
from thermsim.model.build import build_model
from thermsim.model.plan import BYTES_PER_CELL
from thermsim.solver.steady import steady_state
from thermsim.study.answers import Question
from thermsim.study.convergence import doubts
from thermsim.study.memory import allowed_GB
from thermsim.study.predict import Prediction
from thermsim.study.superposition import superposition
from thermsim.units import GIGABYTE

Array = NDArray[np.float64]

NOISE = 1e-9  # of resistances [K/W]


@dataclass(frozen=True)
class PowerMaps:
    """zones : whose powers vary; questions : what is asked"""

    base: Prediction
    zones: Sequence[str]
    questions: Sequence[Question]

    def on(self, multiplier: int) -> Array | None:
        """(questions, zones) resistances [K/W] on one grid; None where superposition does not answer a question."""
        model = build_model(self.base.case, self.base.plan.grid(multiplier))
        found = superposition(self.base.case, Field.of(model, steady_state(model)))
        if not set(self.questions) <= set(found.questions):
            return None
        rows = [found.questions.index(question) for question in self.questions]
        return np.asarray(found.resistance[np.ix_(rows, [found.zones.index(zone) for zone in self.zones])])

    def settled(self, enough: Callable[[Array], bool], memory_GB: float | None) -> tuple[Array, Array] | None:
        """Resistances at their limit and their mesh doubts [K/W], in a linear case, on as many grids as it takes.

        enough : whether mesh doubts (questions, zones) are small enough

        None where they are not on the finest grid that fits, where the case is not linear, or as in `on`.
        """
        if not self.base.field.model.is_linear:
            return None
        plan, on_grids = self.base.plan, list[Array]()
        for place, multiplier in enumerate(plan.multipliers, start=1):
            if plan.cells(multiplier) * BYTES_PER_CELL / GIGABYTE > allowed_GB(memory_GB):
                return None
            found = self.on(multiplier)
            if found is None:
                return None
            on_grids.append(found)
            if place < len(self.base.steps):
                continue
            sizes = [1.0 / one for one in plan.multipliers[:place]]
            judged = doubts(np.reshape(on_grids, (place, -1)), sizes, NOISE)
            half = np.reshape([one.half_width for one in judged], found.shape)
            if enough(half):
                return np.reshape([one.value for one in judged], found.shape), half
        return None

"""The control: the same slab, read with first order, must not pass the gate that the true reading passes.

The heated face of a silicon slab is read at the centres of its cells instead of at the face. That misses q dz/(2k),
half a cell of the flux, and so comes nearer with order 1 only. A gate that lets this pass would prove nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from thermsim.case.load import read_case
from thermsim.model.build import build_model
from thermsim.model.plan import plan_grid
from thermsim.proof.closed import silicon
from thermsim.solver.steady import steady_state

FILE = Path("published") / "silicon-slab.yaml"
MULTIPLIERS = (2, 3, 4, 6)
GATE = 1.9  # what the true reading of this slab is asked for in the table


@dataclass(frozen=True)
class Control:
    """Errors [K] of the false reading over cell widths relative to the plan; passes if the order reaches the gate."""

    sizes: tuple[float, ...]
    errors: tuple[float, ...]
    order: float
    gate: float

    @property
    def passes(self) -> bool:
        return self.order >= self.gate


def control(folder: Path) -> Control:
    """Run the control on the slab of `silicon-slab.yaml`, 1 W/mm2."""
    case = read_case(folder / FILE)
    plan = plan_grid(case)
    exact = silicon(1e6, 0.775e-3, 350.0, 1.3)
    errors = []
    for multiplier in MULTIPLIERS:
        model = build_model(case, plan.grid(multiplier))
        errors.append(float(steady_state(model).solution.temperature[:, :, 0].mean()) - exact)
    sizes = tuple(1.0 / multiplier for multiplier in MULTIPLIERS)
    order = float(np.polyfit(np.log(sizes), np.log(np.abs(errors)), 1)[0])
    return Control(sizes, tuple(errors), order, GATE)

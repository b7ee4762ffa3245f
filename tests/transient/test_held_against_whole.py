"""What is told of properties held still, against the whole model in time: conductivity and capacity at every moment."""

from __future__ import annotations

import numpy as np
import pytest

from thermsim.case.load import parse_case
from thermsim.mesh.predict import solve_on
from thermsim.model.assemble import assemble
from thermsim.model.grid.plan import plan_grid
from thermsim.model.storage import cell_capacities
from thermsim.readout.answers import answers
from thermsim.solver.guesses import guess_from
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import model_at
from thermsim.transient.whole import whole_curves
from thermsim.warming.held_still import held_doubts, reader_of

STACK = """
title: a strip of die under a lid
dimensions: 2
depth_mm: 10
layers:
  - {part: die, material: silicon, size_mm: 10, thickness_mm: 0.66}
  - {joint: paste, resistance_mm2K_W: 8}
  - {part: lid, material: copper, size_mm: 10, thickness_mm: 2.4}
heat:
  - in: die
    at: bottom
    leakage: {share: 0.2, at_C: 80, doubling_K: 25}
    zones: [{zone: core, corner_mm: 2, size_mm: 4, power_W: 60}]
cooling:
  - {face: top, film_W_m2K: 14000, fluid_C: 25}
"""


@pytest.mark.slow
def test_held_still_covers_what_the_whole_model_does_in_between() -> None:
    """Reference: the same cells with all properties at their own temperatures, by scipy's implicit Runge-Kutta."""
    from scipy.integrate import solve_ivp

    case = parse_case(STACK, "strip.yaml")
    grid = time_plan(case, plan_grid(case, 60), 1e-3).grid(1)
    field, _ = solve_on(case, grid, None, 1e-9)
    model = field.model
    times = np.geomspace(1e-3, 30.0, 25)

    def change(time: float, cells: np.ndarray) -> np.ndarray:
        at = cells.reshape(grid.shape)
        guess = guess_from(model, at, field.guess)
        guess = guess_from(model, at, guess)  # heated faces at the properties of these cells
        stencil = assemble(model, guess)
        heat = stencil.heat - stencil.conducted(at)
        return np.asarray(heat / cell_capacities(model, at)).ravel()

    whole = solve_ivp(
        change, (0.0, times[-1]), np.full(grid.cells, 25.0), "Radau", times, rtol=1e-5, atol=1e-4, max_step=3.0
    )
    reader = reader_of(case, field, 1e-3, 1)
    small = model_at(reader.system, (0.0, 1e3, 100.0, 10.0, 1.0, 300.0, 30.0, 3.0, 0.3, 0.1))
    held = held_doubts(reader, small, field, times, 1e-3, 1)
    told, asked = reader.curves(small, times), list(answers(case, field))
    number = next(index for index, one in enumerate(asked) if one.takes == "mean")
    followed = whole_curves(case, model, [], field.guess, times, 0.1)
    worst, missed = 0.0, []
    for row in range(len(times)):
        at = whole.y[:, row].reshape(grid.shape)
        guess = guess_from(model, at, guess_from(model, at, field.guess))
        zone = model.zones[0]
        face = guess.heated_face[0]
        mean = float((face[zone.x, zone.y] * model.shares(zone)).sum())
        off = abs(mean - told[asked[number]][row])
        worst = max(worst, off)
        print(f"{times[row]:.4g} s | {mean:.4f} C | off {off:.4f} K | told {held[number][row]:.4f} K")
        if off > held[number][row] + 0.01:
            missed.append((times[row], off))
        stepped = followed.values[number][row] + followed.left[number][row]
        assert abs(mean - stepped) <= followed.time_doubt[number][row] + 2e-3, times[row]  # scipy's own error
    assert not missed
    assert worst > 0.1  # there is something to tell

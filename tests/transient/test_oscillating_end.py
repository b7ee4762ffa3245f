"""A bar one end of which is held at a temperature that swings, against its exact solution.

Exact values: the bar's Fourier series summed to all digits, from the equation of conduction (our own computation;
Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., section 3.6, for the method, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from stacks import case_of, even_grid, part, solve_on

from thermsim.case.vocabulary.schema import Case
from thermsim.model.assemble import assemble
from thermsim.transient.krylov import Projection
from thermsim.warming.held_still import reader_of

STEEL = {"conductivity_W_mK": 50, "density_kg_m3": 7800, "heat_capacity_J_kgK": 460}
LENGTH_MM, PERIOD_S, SWING_K, CELLS = 80.0, 60.0, 100.0, 240
# Place [m] and time [s] -> temperature [C], of a bar from 0 C whose far end swings about 0 C from then on.
EXACT = {(0.06, 15.0): 21.0001688, (0.06, 24.0): 35.5082516, (0.04, 24.0): 7.86437622, (0.06, 40.0): 9.4560382}


def modal_sine(rates: np.ndarray, time_s: float) -> np.ndarray:
    """Of y' + rate y = sin(w t) from rest, in closed form."""
    w = 2.0 * np.pi / PERIOD_S
    swing = rates * np.sin(w * time_s) - w * np.cos(w * time_s) + w * np.exp(-rates * time_s)
    return np.asarray(swing / (rates**2 + w**2))


def bar(end_C: float) -> Case:
    heat = {"in": "bar", "at": "bottom", "zones": [{"zone": "all", "power_W": 1.0}]}
    ends = [{"face": "left", "temperature_C": 0.0}, {"face": "right", "temperature_C": end_C}]
    return case_of([part("bar", [LENGTH_MM, 1.0], 1.0, STEEL)], [heat], ends)


def test_a_bar_whose_end_swings_in_temperature() -> None:
    """A small model takes the temperature of a boundary as it takes heat: by what a kelvin of it brings each cell."""
    cold, warm = (solve_on(bar(end_C), even_grid(bar(end_C), (LENGTH_MM / CELLS, 1.0, 1.0))) for end_C in (0.0, 1.0))
    system = reader_of(bar(0.0), cold, 1.0, 1).system
    brings = assemble(warm.model, cold.guess).heat - assemble(cold.model, cold.guess).heat
    projection = Projection(system)
    for shift in (0.0, 1.0, 0.5, 0.25, 0.1, 0.05, 0.02, 0.01):
        projection.add_shift(shift, given=brings)
    small = projection.model()
    x = cold.model.grid.x.centres - cold.model.grid.x.faces[0]
    rates, modes = np.linalg.eigh(small.stiffness)
    strength = modes.T @ (small.vectors @ brings.ravel())
    for (place_m, time_s), exact in EXACT.items():
        cells = (modes @ (strength * modal_sine(rates, time_s))) @ small.vectors
        found = SWING_K * np.interp(place_m, x, cells)
        assert found == pytest.approx(exact, abs=0.01), (place_m, time_s)

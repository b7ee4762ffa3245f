"""A poor conductor under a heated face that takes in heat from outside as well."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from stacks import case_of, film, part, solve_on

from thermsim.model.grid.plan import plan_grid


@pytest.mark.parametrize(
    "front",
    [
        {"face": "front", "flux_W_mm2": 0.05},
        {"face": "front", "film_W_m2K": 3000.0, "fluid_C": 150.0},
        {"face": "front", "temperature_C": 150.0},
    ],
)
def test_the_hottest_spot_lies_where_heat_comes_in_beside_a_heated_face(front: Mapping) -> None:
    """50 kW/m2 into 0.4 W/mK rise by 125 K a millimetre (Fourier's law): no heated face of 5 W is as hot."""
    layers = [part("board", [12.0, 10.0], 1.0, 0.4), part("die", [12.0, 10.0], 0.7, 120.0)]
    heat = [{"in": "die", "at": "bottom", "zones": [{"zone": "all", "power_W": 5.0}]}]
    case = case_of(layers, heat, [film("top", 5000.0, 25.0), front])
    field = solve_on(case, plan_grid(case, 60).grid(1))
    assert field.model.level_of_part["board"] == slice(0, 1)  # all of its cells touch the heated face
    hottest, place = field.hottest
    assert place[1] == field.model.grid.y.faces[0]
    assert hottest > max(float(np.nanmax(field.temperature)), field.zones[0].highest_C)

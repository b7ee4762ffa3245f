"""A body that radiates to one temperature and is cooled by a fluid of another, against one node by scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from thermsim.case.load import parse_case
from thermsim.warming.outcome import Warmup
from thermsim.warming.warmup import warmup

# 1 cm2 of a good conductor, 1 mm thick: one node of 0.1631 J/K.
BODY = """
title: a body between air and walls
dimensions: 2
depth_mm: 10
accuracy_K: 0.2
layers:
  - part: chip
    material: {conductivity_W_mK: 4000, density_kg_m3: 2330, heat_capacity_J_kgK: 700}
    size_mm: 10
    thickness_mm: 1
heat:
  - {in: chip, at: bottom, zones: [{zone: core, power_W: 0.1}]}
cooling:
  - {face: top, environment: walls, emissivity: 0.9, room_C: 20}
  - {face: bottom, environment: air, film_W_m2K: 10, fluid_C: 45}
"""
CAPACITY_J_K, AREA_M2 = 1e-7 * 2330.0 * 700.0, 1e-4


def heat_out_W(body_C: float) -> float:
    walls = 0.9 * 5.670374419e-8 * ((body_C + 273.15) ** 4 - 293.15**4)
    return float(AREA_M2 * (walls + 10.0 * (body_C - 45.0)))


@pytest.fixture(scope="module")
def found() -> Warmup:
    return warmup(parse_case(BODY, "body.yaml"), 0.1, 1000.0, first_cells=20, grids=3)


def test_it_begins_where_all_heats_of_the_unheated_body_add_up_to_nothing(found: Warmup) -> None:
    curve = found.curves["zone", "core", "mean"]
    assert curve.unheated == pytest.approx(float(brentq(heat_out_W, 20.0, 45.0)), abs=1e-3)
    assert curve.loaded.value == pytest.approx(float(brentq(lambda at: heat_out_W(at) - 0.1, 20.0, 200.0)), abs=5e-3)


def test_it_warms_up_as_one_node_does_within_what_is_told(found: Warmup) -> None:
    curve = found.curves["zone", "core", "mean"]
    start = float(brentq(heat_out_W, 20.0, 45.0))
    exact = solve_ivp(
        lambda _, at: (0.1 - heat_out_W(at[0])) / CAPACITY_J_K, (0.0, 1000.0), [start], "DOP853", found.times_s,
        rtol=1e-10, atol=1e-9,
    ).y[0]  # fmt: skip
    assert np.all(np.abs(curve.value - exact) <= curve.half_width + 2e-3)  # half of the body lies under its middle

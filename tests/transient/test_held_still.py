"""Leakage that bends, held as its secant, against closed solutions of one lumped body."""

from __future__ import annotations

import numpy as np
import pytest

from thermsim.case.load import parse_case
from thermsim.errors import RunawayError
from thermsim.warming.warmup import warmup

# A copper-like body of 50 J/K that conducts so well that it has one temperature; 1 cm2 under a film of 0.25 K/W.
BODY = """
title: one body
layers:
  - part: body
    material: {conductivity_W_mK: 1.0e7, density_kg_m3: 50000, heat_capacity_J_kgK: 1000}
    size_mm: [10, 10]
    thickness_mm: 10
heat:
  - {in: body, at: volume, zones: [{zone: fixed, power_W: 150}]}
  - in: body
    at: bottom
    leakage: {share: 1.0, at_C: 60, doubling_K: 20}
    zones: [{zone: leaking, power_W: 20}]
cooling:
  - {face: top, film_W_m2K: 40000, fluid_C: 30}
"""
# When the body passes a temperature: the integral of C dT over heat made less heat let out, by quadrature (our own).
PASSES = {40.0: 3.633185041, 60.0: 16.23096409, 70.0: 32.21090014, 75.0: 60.00640213, 76.0: 86.47276579}
STEADY_C = 76.29495192  # Lambert's W


def test_a_body_that_leaks_passes_temperatures_when_it_should_within_what_is_told() -> None:
    found = warmup(parse_case(BODY, "body.yaml"), 0.1, 300.0, also_s=PASSES.values(), first_cells=60, grids=3)
    curve = found.curves["zone", "fixed", "mean"]
    assert curve.loaded.value == pytest.approx(STEADY_C, abs=2e-3)
    assert curve.unheated == pytest.approx(30.0, abs=1e-12)
    for celsius, time in PASSES.items():
        at = int(np.flatnonzero(np.isclose(found.times_s, time, rtol=1e-12))[0])
        assert abs(curve.value[at] - celsius) <= curve.half_width[at], time
    assert float(np.max(curve.held_doubt)) < 4.0  # of a rise of 46 K
    assert any("held still" in remark for remark in found.remarks)


def test_a_stack_without_steady_state_is_refused() -> None:
    text = BODY.replace("film_W_m2K: 40000", "film_W_m2K: 20000")
    with pytest.raises(RunawayError):
        warmup(parse_case(text, "body.yaml"), first_cells=60, grids=3)

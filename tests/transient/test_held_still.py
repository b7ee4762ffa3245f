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


# The same with 0.30 K/W, 190 W and 30 W at 70 C that doubles every 16 K: no steady state, and it passes 90 C then.
RUNAWAY = (
    BODY.replace("film_W_m2K: 40000", "film_W_m2K: 33333.333333333333")
    .replace("power_W: 150", "power_W: 190")
    .replace("power_W: 20", "power_W: 30")
    .replace("at_C: 60, doubling_K: 20", "at_C: 70, doubling_K: 16")
)
# When it passes temperatures, by the same quadrature.
RUNS_AWAY = {
    60.0: 10.22250031, 80.0: 21.83847816, 90.0: 29.59250522, 100.0: 37.58026049, 110.0: 44.07380487, 150.0: 53.26494136,
}  # fmt: skip


def test_a_body_that_leaks_passes_temperatures_when_it_should_within_what_is_told() -> None:
    found = warmup(parse_case(BODY, "body.yaml"), 0.1, 300.0, also_s=PASSES.values(), first_cells=60, grids=3)
    curve = found.curves["zone", "fixed", "mean"]
    assert curve.loaded.value == pytest.approx(STEADY_C, abs=2e-3)
    assert curve.unheated == pytest.approx(30.0, abs=1e-12)
    for celsius, time in PASSES.items():
        at = int(np.flatnonzero(np.isclose(found.times_s, time, rtol=1e-12))[0])
        assert abs(curve.value[at] - celsius) <= curve.half_width[at], time
        slope = (curve.value[at + 1] - curve.value[at - 1]) / (found.times_s[at + 1] - found.times_s[at - 1])
        assert abs(curve.value[at] - celsius) <= max(0.02 * slope, 0.012), time  # 0.02 s early or late
    assert float(np.max(curve.between_doubt)) < 0.1
    assert found.held_K is not None and 0.5 < found.held_K < 4.0  # of a rise of 46 K
    assert any("by the whole model" in remark for remark in found.remarks)


@pytest.mark.parametrize(
    "limit_C", [90.0, *(pytest.param(one, marks=pytest.mark.slow) for one in RUNS_AWAY if one != 90.0)]
)
def test_without_a_steady_state_it_is_told_when_a_limit_is_passed(limit_C: float) -> None:
    with pytest.raises(RunawayError, match=f"passes {limit_C:g} C after") as caught:
        warmup(parse_case(f"{RUNAWAY}limits: {{reading_C: {limit_C}}}\n", "body.yaml"), 1.0, 300.0, first_cells=60)
    error = caught.value
    assert error.passes_s is not None and error.passes_doubt_s is not None
    assert abs(error.passes_s - RUNS_AWAY[limit_C]) < min(0.02, error.passes_doubt_s)


def test_a_limit_that_is_not_passed_in_the_time_asked_for_is_told_so() -> None:
    with pytest.raises(RunawayError, match="stays below 100 C until 2 s"):
        warmup(parse_case(RUNAWAY, "body.yaml"), 1.0, 2.0, first_cells=60)


def test_a_body_that_a_few_solutions_tell_all_of_is_known_in_time() -> None:
    """One time constant: further shifts bring nothing new, and there is nothing left to drop or to doubt."""
    text = BODY[: BODY.index("  - in: body\n    at: bottom")] + BODY[BODY.index("cooling:") :]
    found = warmup(parse_case(text, "body.yaml"), 0.1, 300.0, first_cells=60)
    curve = found.curves["zone", "fixed", "mean"]
    assert found.status == "accuracy held" and curve.time_doubt < 2e-3
    exact = 30.0 + 37.5 * -np.expm1(-found.times_s / 12.5)  # 50 J/K behind 0.25 K/W
    assert np.max(np.abs(curve.value - exact)) < 2e-3


def test_what_runs_away_elsewhere_is_told_though_no_reading_passes_its_limit() -> None:
    """Leakage that doubles every 10 K at one end of a strip of poor conductor, the only reading at the other end."""
    text = """
title: runaway with a reading elsewhere
dimensions: 2
depth_mm: 10
layers:
  - part: chip
    material: {conductivity_W_mK: 20, density_kg_m3: 2330, heat_capacity_J_kgK: 700}
    size_mm: 40
    thickness_mm: 0.5
heat:
  - in: chip
    at: bottom
    leakage: {share: 0.5, doubling_K: 10, at_C: 60}
    zones:
      - {zone: hot, corner_mm: 0, size_mm: 5, power_W: 6}
      - {zone: cold, corner_mm: 35, size_mm: 5, power_W: 0.01}
cooling:
  - {face: top, film_W_m2K: 1000, fluid_C: 25}
readings:
  - {reading: sensor, zone: cold, takes: mean}
limits: {reading_C: 60}
"""
    with pytest.raises(RunawayError, match=r"the hottest spot runs away after .* with all readings below 60 C"):
        warmup(parse_case(text, "elsewhere.yaml"), 1e-2, 1000.0, accuracy_K=5.0, first_cells=60)

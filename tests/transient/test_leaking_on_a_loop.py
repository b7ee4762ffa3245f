"""A leaking body on a coolant loop, with the whole model in time: against the same two nodes by scipy's integrators."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from test_held_still import BODY

from thermsim.case.load import parse_case
from thermsim.errors import RunawayError
from thermsim.mesh.predict import solve_on
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.answers import observables
from thermsim.readout.observable import COOLANT
from thermsim.transient.whole import whole_curves
from thermsim.warming.warmup import warmup

# The body of 50 J/K and 0.25 K/W on a mixed loop, whose pass lifts the mean coolant by half of Q / (rho c V) too.
CAPACITY, RADIATOR, ROOM_C, FLOW_L_MIN = 400.0, 30.0, 24.0, 1.5
ON_LOOP = BODY.replace("fluid_C: 30", "fluid_C: loop") + (
    f"coolant_loop: {{heat_capacity_J_K: {CAPACITY}, radiator_W_K: {RADIATOR}, flow_l_min: {FLOW_L_MIN}, "
    f"room_C: {ROOM_C}, pump_W: 60, coolant: water}}\n"
)
WATER = 995.6 * 4180.0  # J/m3K, as the catalogue has it
RUNS_AWAY = ON_LOOP.replace("power_W: 150", "power_W: 190").replace("power_W: 20", "power_W: 60")


def two_nodes(fixed_W: float, leaking_W: float, until_s: float, **more: Any) -> Any:
    """Body and coolant that leaves the radiator [C], from rest, to 1e-10."""
    of_pass = 0.5 / (WATER * FLOW_L_MIN / 60_000.0)

    def to_loop_W(state: np.ndarray) -> float:
        return float((state[0] - state[1]) / (0.25 + of_pass))

    def change(_: float, state: np.ndarray) -> list[float]:
        made = fixed_W + leaking_W * 2.0 ** ((state[0] - 60.0) / 20.0)
        out = to_loop_W(state)
        return [(made - out) / 50.0, (out + 60.0 - RADIATOR * (state[1] - ROOM_C)) / CAPACITY]

    rest = ROOM_C + 60.0 / RADIATOR
    return solve_ivp(change, (0.0, until_s), [rest, rest], "DOP853", rtol=1e-11, atol=1e-10, **more)


@pytest.mark.slow
def test_a_leaking_body_and_its_loop_warm_up_as_two_nodes_do() -> None:
    times = np.array([2.0, 10.0, 30.0, 60.0, 100.0, 180.0])
    found = warmup(parse_case(ON_LOOP, "body.yaml"), 0.1, 400.0, also_s=times, first_cells=60, grids=3)
    known = two_nodes(150.0, 20.0, 400.0, t_eval=[*times, 400.0]).y
    at = [int(np.flatnonzero(np.isclose(found.times_s, time, rtol=1e-12))[0]) for time in times]
    body, coolant = found.curves["zone", "fixed", "mean"], found.curves[COOLANT]
    assert found.held_K is not None and found.held_K > 0.5  # held still it would be wrong by as much
    assert np.all(np.abs(body.value[at] - known[0, :-1]) <= body.half_width[at])
    assert float(np.max(np.abs(body.value[at] - known[0, :-1]))) < 0.03
    to_loop = (known[0] - known[1]) / (0.25 + 0.5 / (WATER * FLOW_L_MIN / 60_000.0))
    mean = known[1] + 0.5 * to_loop / (WATER * FLOW_L_MIN / 60_000.0)
    assert np.all(np.abs(coolant.value[at] - mean[:-1]) <= coolant.half_width[at])
    assert float(np.max(coolant.half_width)) < 0.1


@pytest.mark.slow
def test_when_a_leaking_body_on_a_loop_passes_a_limit_without_a_steady_state() -> None:
    def hot(_: float, state: np.ndarray) -> float:
        return float(state[0] - 95.0)

    hot.terminal = True  # type: ignore[attr-defined]
    passes_s = float(two_nodes(190.0, 60.0, 1000.0, events=hot).t_events[0][0])
    text = RUNS_AWAY + "readings: [{reading: sensor, zone: fixed}]\nlimits: {reading_C: 95}\n"
    with pytest.raises(RunawayError, match="from rest it passes 95 C after") as caught:
        warmup(parse_case(text, "body.yaml"), 0.1, 300.0, first_cells=60)
    error = caught.value
    assert error.passes_s is not None and error.passes_doubt_s is not None
    assert abs(error.passes_s - passes_s) < min(0.02, error.passes_doubt_s), passes_s


def test_steps_of_the_whole_model_follow_both_nodes_within_what_is_told() -> None:
    case = parse_case(ON_LOOP, "body.yaml")
    field, _ = solve_on(case, plan_grid(case, 60).grid(1), None, 1e-9)
    times = np.array([1.0, 3.0, 10.0, 30.0, 100.0])
    whole = whole_curves(case, field.model, [], field.guess, times, 0.1)
    told, known = whole.values + whole.left, two_nodes(150.0, 20.0, 100.0, t_eval=times).y
    number = next(at for at, one in enumerate(observables(case)) if (one.name, one.takes) == ("fixed", "mean"))
    off = np.abs(told[number] - known[0])
    assert np.all(off <= whole.time_doubt[number] + 2e-3), off  # the body is no better than all but one temperature
    assert float(whole.time_doubt[number].max()) < 0.05 and whole.imbalance < 1e-4

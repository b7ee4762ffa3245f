"""The whole model in time where it is linear: the small model and the steps must tell the same, films cut or not."""

from __future__ import annotations

import numpy as np
import pytest
from on_a_loop import BLOCK, LOADED_K, RATES
from scipy.linalg import expm
from scipy.optimize import brentq
from test_open_cases import INDIUM, PLAIN, STEP

from thermsim.case.load import parse_case
from thermsim.mesh.predict import solve_on
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.answers import observables
from thermsim.transient.grid import films_of, time_plan
from thermsim.transient.whole import carried, passes_s, some_of, whole_curves
from thermsim.warming.held_still import model_of_load, reader_of

FIRST_S, LAST_S = 1e-3, 30.0


LOOP = "coolant_loop: {heat_capacity_J_K: 40, radiator_W_K: 20, flow_l_min: 0.5, room_C: 20, pump_W: 4}\n"
ON_LOOP = STEP.replace("fluid_C: 0.0", "fluid_C: loop") + LOOP


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(f"{PLAIN}{ON_LOOP}", id="joint, on a loop"),
        pytest.param(f"{INDIUM}{STEP}", id="film cut into cells"),
    ],
)
def test_steps_and_small_model_agree(text: str) -> None:
    case = parse_case(f"title: a step\nlayers:{text}", "stack.yaml")
    field, _ = solve_on(case, time_plan(case, plan_grid(case, 60), FIRST_S).grid(1), None, 1e-9)
    films = films_of(case, field.model, FIRST_S, 1)
    times = np.geomspace(FIRST_S, LAST_S, 31)
    whole = whole_curves(case, field.model, films, field.guess, times, 0.1)
    reader = reader_of(case, field, FIRST_S, 1)
    small = model_of_load(reader, times, 1e-4)
    curves = reader.curves(small, times)
    assert whole.imbalance < 1e-7
    for number, one in enumerate(observables(case)):
        off = np.abs(whole.values[number] + whole.left[number] - curves[one])
        assert np.all(off <= whole.time_doubt[number] + 2e-3), one
        assert np.max(whole.time_doubt[number]) < 0.1, one


@pytest.mark.parametrize("limit_C", [45.0, 49.0, 50.0])
def test_a_limit_is_passed_when_it_is_told_however_near_the_end_it_lies(limit_C: float) -> None:
    """Two nodes that end at 51.25 C: their matrix exponential by scipy is the referee."""
    exact = brentq(lambda time: 25.0 + LOADED_K[0] - (expm(time * RATES) @ LOADED_K)[0] - limit_C, 1.0, 500.0)
    case = parse_case(BLOCK, "block.yaml")
    model = build_model(case, plan_grid(case, 12).grid(1))
    found = passes_s(case, model, [], model.first_guess(), (0.1, 1000.0), limit_C, 1.0)
    assert abs(found.after_s - exact) < found.doubt_s < 0.02 * exact


def test_values_carried_to_other_times_are_within_what_is_told() -> None:
    times = np.geomspace(1e-3, 1e3, 500)
    known = times[some_of(times)]
    assert len(known) % 2 and known[0] == times[0] and known[-1] == times[-1]
    curve = [lambda at, tau=tau: 1.0 - np.exp(-at / tau) for tau in (0.01, 0.3, 20.0)]
    told, doubt = carried(known, np.array([one(known) for one in curve]), times)
    off = np.abs(told - np.array([one(times) for one in curve]))
    assert off.max() < 3e-3
    assert np.mean(off <= doubt + 1e-6) > 0.95

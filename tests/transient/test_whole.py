"""The whole model in time where it is linear: the small model and the steps must tell the same, films cut or not."""

from __future__ import annotations

import numpy as np
import pytest
from test_open_cases import INDIUM, PLAIN, STEP

from thermsim.case.load import parse_case
from thermsim.mesh.predict import solve_on
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.answers import observables
from thermsim.transient.grid import films_of, time_plan
from thermsim.transient.whole import carried, some_of, whole_curves
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


def test_values_carried_to_other_times_are_within_what_is_told() -> None:
    times = np.geomspace(1e-3, 1e3, 500)
    known = times[some_of(times)]
    assert len(known) % 2 and known[0] == times[0] and known[-1] == times[-1]
    curve = [lambda at, tau=tau: 1.0 - np.exp(-at / tau) for tau in (0.01, 0.3, 20.0)]
    told, doubt = carried(known, np.array([one(known) for one in curve]), times)
    off = np.abs(told - np.array([one(times) for one in curve]))
    assert off.max() < 3e-3
    assert np.mean(off <= doubt + 1e-6) > 0.95

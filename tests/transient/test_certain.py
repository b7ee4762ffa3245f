"""The bound of the time doubt that never fails, against all modes of the same cells by dense eigenvalues."""

from __future__ import annotations

import numpy as np
import pytest
from all_modes import curves_of_all_modes
from test_open_cases import INDIUM, LAMINATE, PLAIN, STEP

from thermsim.case.load import parse_case
from thermsim.mesh.predict import solve_on
from thermsim.model.grid.plan import plan_grid
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import model_at
from thermsim.warming.held_still import reader_of

TIMES = np.geomspace(1e-3, 1e2, 31)


@pytest.mark.parametrize("layers", [pytest.param(INDIUM, id="film"), pytest.param(LAMINATE + PLAIN, id="laminate")])
def test_the_certain_bound_never_fails_and_is_of_use(layers: str) -> None:
    step = STEP.replace("size_mm: [10.0, 10.0]", "size_mm: [5.0, 5.0]").replace(
        "zones: [{zone: all, power_W: 100.0}]",
        "zones: [{zone: core, corner_mm: [1, 2], size_mm: [4, 3], power_W: 60.0}]",
    )
    case = parse_case(f"title: a step\nlayers:{layers}{step}", "stack.yaml")
    field, _ = solve_on(case, time_plan(case, plan_grid(case, 60), TIMES[0]).grid(1), None, 1e-11)
    reader = reader_of(case, field, float(TIMES[0]), 1)
    exact = curves_of_all_modes(reader, TIMES)
    for count in (2, 4, 7):
        small = model_at(reader.system, (0.0, *np.geomspace(1e3, 0.1, count).tolist()))
        curves, bounds = reader.curves(small, TIMES), reader.certain(small, TIMES)
        assert {one.takes for one in bounds} == {"mean", "power", ""} and len(bounds) > 2
        for one, bound in bounds.items():
            off = float(np.abs(curves[one] - exact[one]).max())
            assert off <= bound + 1e-9, (count, one)
            assert bound <= max(1e3 * off, 1e-3), (count, one)

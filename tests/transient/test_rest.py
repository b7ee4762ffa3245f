"""How long a stack must rest is told only where warming up bounds cooling down."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from stacks import solve_on

from thermsim.case.load import parse_case
from thermsim.model.grid.plan import plan_grid
from thermsim.report.text.warmup_table import warmup_blocks
from thermsim.warming.rest import why_no_bound
from thermsim.warming.warmup import warmup

LUMP = """
title: lump
dimensions: 2
depth_mm: 10
accuracy_K: 0.5
layers:
  - part: chip
    material: {conductivity_W_mK: 400, density_kg_m3: 2330, heat_capacity_J_kgK: 700}
    size_mm: 10
    thickness_mm: 1
heat:
  - {in: chip, at: bottom, zones: [{zone: core, power_W: 0.5}]}
cooling:
  - {face: top, environment: sky, emissivity: 0.9, room_C: 23}
readings:
  - {reading: core sensor, zone: core, takes: mean}
"""
LINEAR = "environment: sky, film_W_m2K: 200, fluid_C: 23"


def test_no_rest_of_a_lump_that_radiates() -> None:
    """One node by scipy's integration: it warms up to within 1 K long before it cools down so far."""
    found = warmup(parse_case(LUMP, "lump.yaml"), 0.1, 3000.0, first_cells=20, grids=3)
    settled = found.curves["reading", "core sensor"].settled_s
    per_K4, room = 5.670374e-8 * 0.9 * 1e-4, 296.15
    loaded = (0.5 / per_K4 + room**4) ** 0.25
    capacity = 1e-7 * 2330 * 700
    times = np.linspace(0.0, 4000.0, 4001)
    left = solve_ivp(lambda _, T: -per_K4 * (T**4 - room**4) / capacity, (0, 4000), [loaded], t_eval=times, rtol=1e-8)
    assert settled is not None and settled[1] < 0.5 * times[left.y[0] - room > 1.0][-1]
    assert found.rest.seconds is None and found.rest.noted_s is None
    assert found.rest.why is not None and found.rest.why.startswith("'sky' cools the less the colder the stack gets")
    assert "How long to rest is not known: 'sky' cools the less" in " ".join(
        note for block in warmup_blocks(found) for note in block.notes
    )


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("", "", None),
        ("conductivity_W_mK: 400", "conductivity_W_mK: {table: [[0, 410], [100, 390]]}", None),
        ("conductivity_W_mK: 400", "conductivity_W_mK: {table: [[0, 390], [100, 410]]}", "conducts worse when cold"),
        ("{conductivity_W_mK: 400, density_kg_m3: 2330, heat_capacity_J_kgK: 700}", "silicon", None),
    ],
)
def test_what_depends_on_temperature_may_make_a_stack_cool_down_slowly(old: str, new: str, why: str | None) -> None:
    text = LUMP.replace("environment: sky, emissivity: 0.9, room_C: 23", LINEAR).replace(old, new)
    case = parse_case(text, "lump.yaml")
    found = why_no_bound(solve_on(case, plan_grid(case, 20).grid(1)))
    assert found is None if why is None else found is not None and why in found

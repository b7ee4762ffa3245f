"""The small model in time against dense linear algebra on the same cells, and against the steady state."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from all_modes import curves_of_all_modes
from stacks import case_of, film, part

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError, ThermsimError
from thermsim.mesh.predict import solve_on
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.transient.curves import Reader
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import DROPPED, SmallModel, chosen_model, model_at
from thermsim.warming.held_still import model_of_load, reader_of
from thermsim.warming.warmup import warmup

TIMES = np.geomspace(1e-3, 1e3, 61)
# Two coolants, a surround, a wedge that stores, leakage, radiation, and a face source that touches a storing film.
STACK = """
title: everything at once
layers:
  - {part: board, material: laminate, size_mm: [20, 16], thickness_mm: 1.2}
  - {joint: balls, film_um: 80, conductivity_W_mK: 0.6, density_kg_m3: 1800, heat_capacity_J_kgK: 1100}
  - part: die
    material: silicon
    size_mm: [10, 8]
    thickness_mm: 0.5
    around: {material: underfill}
  - joint: solder
    film_um: {low: 150, high: 250, towards: +x}
    conductivity_W_mK: 60
    boundary_mm2K_W: 3
    wetted_fraction: 0.9
    density_kg_m3: 7310
    heat_capacity_J_kgK: 233
  - {part: lid, material: copper, size_mm: [18, 14], thickness_mm: 2}
heat:
  - in: die
    at: bottom
    leakage: {share: 0.2, at_C: 60, doubling_K: 25}
    zones:
      - {zone: big, corner_mm: [1, 1], size_mm: [4, 6], power_W: 40}
      - {zone: small, corner_mm: [6, 1], size_mm: [3, 3], power_W: 15}
  - {in: lid, at: volume, zones: [{zone: warm lid, corner_mm: [0, 0], size_mm: [18, 14], power_W: 5}]}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
  - {face: bottom, film_W_m2K: 20, fluid_C: 35}
  - {face: exposed, emissivity: 0.8, room_C: 22}
probes:
  - {probe: on the lid, in: lid, at_mm: [9, 7, 2]}
readings:
  - {reading: sensor, zone: small, takes: highest, offset_K: 1.5}
"""


@cache
def solved() -> tuple[Case, Field, Reader, SmallModel]:
    case = parse_case(STACK, "everything.yaml")
    field, _ = solve_on(case, plan_grid(case, 700).grid(1), None, 1e-9)
    reader = reader_of(case, field, 1e-3, 1)
    small = chosen_model(reader.system, 1e-3, 1e3, 0.01, lambda one: reader.largest_doubt_K(one, TIMES))
    return case, field, reader, small


def test_curves_end_at_the_steady_state_and_begin_at_the_unheated_one() -> None:
    """Also with films as cells, secants of leakage and radiation, and three temperatures around."""
    case, field, reader, small = solved()
    curves, end = reader.curves(small, np.array([1e-12, 1e9])), answers(case, field)
    rest = answers(case, reader.resting)
    assert reader.system.shape[2] > field.model.grid.shape[2] + 1
    for one, value in end.items():
        assert curves[one][-1] == pytest.approx(value, abs=2e-6), one
        if one.kind == "probe":  # heated faces are warmer than their cells at once
            assert curves[one][0] == pytest.approx(rest[one], abs=0.05), one


def test_heat_made_is_stored_or_let_out_at_all_times() -> None:
    _, _, reader, small = solved()
    assert reader.imbalance(small, TIMES) < 1e-10


def test_all_rates_are_positive_and_the_model_is_small() -> None:
    _, _, _, small = solved()
    assert small.rates()[0] > 0.0
    assert len(small.shifts) <= 20


def test_time_doubt_covers_the_difference_to_all_modes_of_the_same_cells() -> None:
    """Reference: see `all_modes`."""
    _, _, reader, small = solved()
    told = reader.doubts(small, TIMES)
    found = reader.curves(small, TIMES)
    for one, reference in curves_of_all_modes(reader, TIMES).items():
        assert np.max(np.abs(found[one] - reference)) <= told[one] + 1e-6, one
    assert max(value for one, value in told.items() if not one.is_heat) < 0.02


def test_what_a_model_tells_of_time_falls_with_its_shifts() -> None:
    _, _, reader, small = solved()
    size = len(small.heat) - DROPPED
    fewer = SmallModel(small.vectors[:size], small.stiffness[:size, :size], small.heat[:size], small.shifts, 0)
    assert reader.largest_doubt_K(small, TIMES) < reader.largest_doubt_K(fewer, TIMES)


def test_few_shifts_are_mixed_from_many_as_if_they_were_solved_where_the_steady_state_is_even() -> None:
    """All heat made on the cooled face: the steady state is one temperature, so that shift 0 brings nothing new."""
    copper = {"conductivity_W_mK": 390.0, "density_kg_m3": 8960.0, "heat_capacity_J_kgK": 385.0}
    zone = {"zone": "face", "corner_mm": [0, 0], "size_mm": [6, 6], "power_W": 50.0}
    case = case_of(
        [part("plate", [6, 6], 3, copper)], [{"in": "plate", "at": "top", "zones": [zone]}], [film("top", 9000)]
    )
    field, _ = solve_on(case, time_plan(case, plan_grid(case, 60), 1e-3).grid(2), None, 1e-9)
    reader = reader_of(case, field, 1e-3, 2)
    shifts = (0.0, 1000.0, 100.0, 10.0, 300.0, 30.0)
    many, chosen = model_at(reader.system, shifts), shifts[:4]
    mixed, solved_for = many.of(many.mix(chosen), chosen), model_at(reader.system, chosen)
    assert mixed.rates() == pytest.approx(solved_for.rates(), rel=1e-4)
    states = [reader.curves(one, TIMES)["zone", "face", "mean"] for one in (mixed, solved_for)]
    assert states[0] == pytest.approx(states[1], abs=1e-4)
    assert many.mix([*shifts, 3.0, 3000.0]).shape == (len(many.heat),) * 2  # nothing but what they are mixed of


def test_shifts_of_a_grid_that_has_no_more_modes_tell_their_doubt_on_a_finer_one() -> None:
    """Four cells upwards: what is left is noise of the solver, and must not stand for the last shifts."""
    copper = {"conductivity_W_mK": 390.0, "density_kg_m3": 8960.0, "heat_capacity_J_kgK": 385.0}
    zone = {"zone": "face", "corner_mm": [0, 0], "size_mm": [6, 6], "power_W": 50.0}
    case = case_of(
        [part("plate", [6, 6], 3, copper)], [{"in": "plate", "at": "bottom", "zones": [zone]}], [film("top", 9000)]
    )
    plan = time_plan(case, plan_grid(case, 60), 1e-3)
    known: tuple[float, ...] = ()
    for multiplier in (1, 3):
        field, _ = solve_on(case, plan.grid(multiplier), None, 1e-9)
        reader = reader_of(case, field, 1e-3, multiplier)
        small = model_of_load(reader, TIMES, 1e-9 if not known else np.inf, known)
        known = small.shifts
        told, found = reader.doubts(small, TIMES), reader.curves(small, TIMES)
        for one, reference in curves_of_all_modes(reader, TIMES).items():
            assert np.max(np.abs(found[one] - reference)) <= told[one] + 1e-5, (one, multiplier)
    assert len(set(known)) == len(known)


def test_what_a_stack_stores_must_be_known_and_all_that_lacks_is_told_at_its_place() -> None:
    text = STACK.replace("material: laminate", "material: {conductivity_W_mK: 0.3}")
    text = text.replace("around: {material: underfill}", "around: {material: {conductivity_W_mK: 0.5}}")
    text = text.replace("    density_kg_m3: 7310\n    heat_capacity_J_kgK: 233\n", "")
    text = text.replace("fluid_C: 25}", "fluid_C: loop}") + "coolant_loop: {radiator_W_K: 20, room_C: 23}\n"
    with pytest.raises(CaseError) as told:
        warmup(parse_case(text, "lacking.yaml"))
    lines = text.splitlines()
    found = {fault.message.partition(" is not known")[0]: lines[fault.line - 1] for fault in told.value.faults}
    assert list(found) == [
        "what part 'board' stores", "what the surround of part 'die' stores", "what the film of joint 'solder' stores",
        "how fast the coolant of the loop warms up",
    ]  # fmt: skip
    for line, word in zip(found.values(), ("board", "around", "solder", "coolant_loop"), strict=True):
        assert word in line
    assert all("give `" in fault.message and "heat_capacity_J_" in fault.message for fault in told.value.faults)


@pytest.mark.parametrize(("first", "last"), [(1.0, 0.1), (0.0, 1.0), (-1.0, 1.0), (1.0, float("inf"))])
def test_a_span_of_time_must_be_one(first: float, last: float) -> None:
    with pytest.raises(ThermsimError, match="no span of time"):
        warmup(solved()[0], first, last)

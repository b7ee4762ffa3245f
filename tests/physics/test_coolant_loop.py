"""The coolant loop at a steady state, against hand calculations and the closed form of leakage in series."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.special import lambertw
from stacks import solve_on

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError, RunawayError
from thermsim.model.grid.plan import plan_grid
from thermsim.plausibility.likely_slips import slips_of
from thermsim.readout.answers import answers
from thermsim.readout.field import Field

SLAB = """
title: a slab on a loop
layers:
  - {{part: die, material: {{conductivity_W_mK: 120}}, size_mm: [10, 10], thickness_mm: 1.2}}
heat:
  - {{in: die, at: bottom, {leakage}zones: [{{zone: all, power_W: {power}}}]}}
cooling:
  - {{face: top, film_W_m2K: 20000, fluid_C: loop}}
{more}coolant_loop: {{radiator_W_K: 10, room_C: 22, flow_l_min: 2, pump_W: 5}}
"""
PASS = 0.5 / (995.6 * 4180.0 * 2.0 / 60e3)  # 1 / (2 rho c V) [K/W] of water, Incropera et al., table A.6 at 300 K
STACK = 1.2e-3 / 120.0 / 1e-4 + 1.0 / 20000.0 / 1e-4  # [K/W]
LOOP = 0.1 + PASS


def slab(power: float, leakage: str = "", more: str = "") -> Case:
    return parse_case(SLAB.format(power=power, leakage=leakage, more=more), "slab.yaml")


def solved(case: Case) -> tuple[Field, Any]:
    field = solve_on(case, plan_grid(case, 200).grid(1))
    return field, answers(case, field)


def test_all_heat_lifts_the_coolant() -> None:
    """Two resistances and a loop in series; the mean coolant is half a pass above what leaves the radiator."""
    field, found = solved(slab(80.0))
    coolant = 22.0 + 5.0 / 10.0 + 80.0 * LOOP
    assert found["coolant",] == pytest.approx(coolant, abs=1e-9)
    assert found["zone", "all", "mean"] == pytest.approx(coolant + 80.0 * STACK, abs=1e-7)
    loop = field.model.loop
    assert loop is not None
    assert loop.left_radiator_C(80.0) == pytest.approx(22.0 + 85.0 / 10.0)


def test_a_second_way_out_takes_heat_from_the_loop() -> None:
    """A film over the heat to a room of 40 C beside the way to the loop: a hand calculation of two ways in parallel."""
    _, found = solved(slab(80.0, more="  - {face: bottom, film_W_m2K: 5000, fluid_C: 40}\n"))
    to_loop, beside = 1.0 / (STACK + LOOP), 5000.0 * 1e-4
    hot = (80.0 + 22.5 * to_loop + 40.0 * beside) / (to_loop + beside)
    heat = (hot - 22.5) * to_loop
    assert found["zone", "all", "mean"] == pytest.approx(hot, abs=1e-7)
    assert found["coolant",] == pytest.approx(22.5 + LOOP * heat, abs=1e-7)
    assert found["flow", "0"] == pytest.approx(heat, abs=1e-7)


def test_several_faces_lift_one_coolant() -> None:
    """Both ways lead to the same coolant: films of both faces in parallel, and all heat in the loop."""
    _, found = solved(slab(80.0, more="  - {face: bottom, film_W_m2K: 5000, fluid_C: loop}\n"))
    coolant = 22.5 + 80.0 * LOOP
    assert found["coolant",] == pytest.approx(coolant, abs=1e-7)
    assert found["zone", "all", "mean"] == pytest.approx(coolant + 80.0 / (1.0 / STACK + 0.5), abs=1e-7)


def test_leakage_closes_over_the_loop() -> None:
    """Doubling leakage behind all resistances in series, with the loop's among them: T = A + R Pd - s W0(-R P0/s e^..).

    Source: Corless et al., On the Lambert W function, Adv. Comput. Math. 5 (1996) 329 (W; from memory).
    """
    power, share, doubling, typed_C = 60.0, 0.2, 20.0, 60.0
    _, found = solved(slab(power, f"leakage: {{at_C: {typed_C}, share: {share}, doubling_K: {doubling}}}, "))
    scale, resistance = doubling / np.log(2.0), STACK + LOOP
    steady, leaks = (1.0 - share) * power, share * power
    idle = 22.5 + resistance * steady
    grown = resistance * leaks / scale * np.exp((idle - typed_C) / scale)
    wanted = idle - scale * float(lambertw(-grown).real)
    assert found["zone", "all", "mean"] == pytest.approx(wanted, abs=2e-6)
    assert found["coolant",] == pytest.approx(22.5 + LOOP * (wanted - 22.5) / resistance, abs=2e-6)


def test_a_loop_that_runs_away_with_the_leakage_is_told() -> None:
    """No steady state above A = 1/e; the stack alone, at a coolant held still, would have one."""
    leakage = "leakage: {at_C: 60, share: 0.4, doubling_K: 15}, "
    scale, resistance = 15.0 / np.log(2.0), STACK + LOOP

    def grown(power: float, through: float) -> float:
        rise = through * 0.6 * power
        return through * 0.4 * power / scale * float(np.exp((22.5 + rise - 60.0) / scale))

    power = 60.0
    assert grown(power, resistance) > np.exp(-1.0) > grown(power, STACK)
    low, high = 0.1, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if grown(middle * power, resistance) < np.exp(-1.0) else (low, middle)
    with pytest.raises(RunawayError) as told:
        solved(slab(power, leakage))
    assert told.value.share == pytest.approx(low, rel=2e-3)


def test_a_face_of_a_loop_that_is_not_there_is_refused() -> None:
    with pytest.raises(CaseError) as told:
        parse_case(SLAB.format(power=1.0, leakage="", more="").split("coolant_loop")[0], "slab.yaml")
    (fault,) = told.value.faults
    assert "`loop` is the coolant of a loop that the case lacks" in fault.message


def test_a_loop_without_radiator_is_refused() -> None:
    with pytest.raises(CaseError) as told:
        parse_case(SLAB.format(power=1.0, leakage="", more="").replace("radiator_W_K: 10, ", ""), "slab.yaml")
    (fault,) = told.value.faults  # and none that heat cannot leave, which follows from it
    assert "radiator_W_K" in fault.message


def test_a_word_that_is_not_loop_is_told_what_may_stand_there() -> None:
    with pytest.raises(CaseError, match="a number, or `loop` for the coolant of `coolant_loop`, found 'lop'"):
        parse_case(SLAB.format(power=1.0, leakage="", more="").replace("C: loop", "C: lop"), "slab.yaml")


def test_a_loop_that_no_face_is_on_is_told() -> None:
    case = parse_case(SLAB.format(power=1.0, leakage="", more="").replace("C: loop", "C: 20"), "slab.yaml")
    assert [slip.place for slip in slips_of(case) if slip.place == "coolant_loop"] == ["coolant_loop"]

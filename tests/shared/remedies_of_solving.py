"""What is said where a case of sound numbers has no answer, or a calculation of another kind fails: one row a message.

Where only a stack at the edge of what can be solved would fail, a bound of the package is drawn in for the quick try.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar
from unittest.mock import patch

import numpy as np
from remedies import OfCall, Row, edited
from remedies_of_commands import TINY

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.quantities import Positive
from thermsim.case.vocabulary.schema import Case
from thermsim.case.vocabulary.stack import Film, Joint, MaterialGiven
from thermsim.model.assemble import assemble
from thermsim.model.build import Model, build_model
from thermsim.model.coefficients.groups import topology
from thermsim.model.grid.plan import plan_grid
from thermsim.model.physics.properties import joint_of, material_of
from thermsim.model.storage import check_capacities
from thermsim.nearby.gradients import gradients
from thermsim.readout.field import Field
from thermsim.solver.linear import Solution
from thermsim.solver.steady import iterate, steady_state

Found = TypeVar("Found")
HEAT = "  - in: chip\n"
CHIP = "material: silicon"
BOTTOM = "cooling:\n"
COLUMN = """\
title: A column of copper
dimensions: 2
depth_mm: 10
layers:
  - part: chip
    material: {conductivity_W_mK: 390, density_kg_m3: 8960, heat_capacity_J_kgK: 385}
    size_mm: 10
    thickness_mm: {value: 1, plus_minus: 0.1}
heat:
  - in: chip
    zones: [{zone: core, power_W: 10}]
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
readings: [{reading: sensor, zone: core}]
limits: {reading_C: 90}
accuracy_K: 1
"""
COLD = """\
title: A bar between a warm and a cold side
layers: [{part: bar, material: copper, size_mm: [10, 10], thickness_mm: 1}]
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
  - {face: bottom, film_W_m2K: 9000, fluid_C: 35}
"""
EXACT = COLUMN.replace("{value: 1, plus_minus: 0.1}", "1")
RUNS_AWAY = (HEAT, f"{HEAT}    leakage: {{share: 0.5, doubling_K: 5, at_C: 30}}\n")
LEAKS = (HEAT, f"{HEAT}    leakage: {{share: 0.3, doubling_K: 30, at_C: 30}}\n")
STEEP = (HEAT, f"{HEAT}    leakage: {{per_K: 1, at_C: 25}}\n")
TABLE = "{name: silicon, conductivity_W_mK: {table: [[0, 150], [150, 60]]}}"
SMOOTH = (CHIP, f"material: {TABLE}")
JUMPS = (CHIP, f"material: {TABLE}".replace("[150, 60]", "[35, 150], [35.01, 2]"))
KINKED = (CHIP, f"material: {TABLE}".replace("[150, 60]", "[45, 140], [150, 60]"))
HOLDS = (BOTTOM, f"{BOTTOM}  - {{face: bottom, low_C: 20, high_C: 40, towards: +x}}\n")
CUT = (CHIP, f"{CHIP}, inserts: [{{material: void, corner_mm: 2, size_mm: 1}}]")
ON_LOOP = ("fluid_C: 25}", "fluid_C: loop}\ncoolant_loop: {radiator_W_K: 10, room_C: 23}")
BESIDE = (BOTTOM, f"{BOTTOM}  - {{face: bottom, film_W_m2K: 9000, fluid_C: 35}}\n")
UNKNOWN_MASS = (CHIP, "material: {conductivity_W_mK: 130}")
KNOWN_MASS = (CHIP, "material: {conductivity_W_mK: 130, density_kg_m3: 2300, heat_capacity_J_kgK: 700}")
WATTS = ("power_W: 20", "power_W: 2e6")


def tiny(*edits: tuple[str, str], base: str = TINY) -> Case:
    return parse_case(edited(base, edits), "case.yaml", Path())


def model(*edits: tuple[str, str], base: str = TINY) -> Model:
    case = tiny(*edits, base=base)
    return build_model(case, plan_grid(case, 200).grid(1))


def solved(*edits: tuple[str, str], base: str = TINY) -> Field:
    made = model(*edits, base=base)
    return Field.of(made, steady_state(made))


def slopes(*edits: tuple[str, str]) -> object:
    case = tiny(*edits)
    return gradients(case, plan_grid(case, 200), 1)


def bounded(act: Callable[[], Found], bounds: dict[str, object]) -> Found:
    """A call while names of the package, such as `solver.linear.MOST_ITERATIONS`, stand for something else."""
    with ExitStack() as stack:
        for name, value in bounds.items():
            stack.enter_context(patch(f"thermsim.{name}", value))
        return act()


def dry(**more: object) -> Joint:
    """A joint of a class that has a resistance only, with part of a film; a case with it is not read."""
    given = {
        "material": "dry lapped contact",
        "resistance_mm2K_W": None,
        "conductivity_W_mK": Positive(value=3),
        **more,
    }
    return tiny().joints[0].model_copy(update=given)


def stopped(status: str, residual: float = 1e-3, error_K: float = 0.0) -> Solution:
    return Solution(np.zeros((1, 1, 1)), status, residual, error_K, 1, ())  # type: ignore[arg-type]


def lonely(part: str) -> object:
    """A chip cut in two by a void, half of which nothing cools, unless its plate reaches it."""
    return solved(CUT, ("size_mm: 20, thickness_mm: 3", f"size_mm: {part}, thickness_mm: 3"))


SOLVER: list[Row] = [
    OfCall(
        lambda _: solved(RUNS_AWAY, base=COLUMN),
        r"a steady state exists up to about ([0-9.]+) W typed .*lower the power or the leakage, or cool better",
        lambda _, watts: solved(("power_W: 10", f"power_W: {watts}"), RUNS_AWAY, base=COLUMN),
    ),
    OfCall(
        lambda _: iterate(model(LEAKS, base=COLUMN), model(LEAKS, base=COLUMN).first_guess(), most_steps=3),
        "still move by .* K after 3 steps\n.*lower the power, or smooth its table",
        lambda _: iterate(model(base=COLUMN), model(base=COLUMN).first_guess(), most_steps=3),
    ),
    OfCall(
        lambda _: solved(("film_W_m2K: 9000", "film_W_m2K: 20")),
        "temperatures pass 3000 C.*\n.*a slip in powers, joints or coolant films",
        lambda _: solved(),
    ),
    OfCall(
        lambda _: stopped("runaway").checked(),
        "leakage outruns the cooling\n  remedy: lower the power or the leakage, or cool better",
        lambda _: stopped("converged").checked(),
    ),
    OfCall(
        lambda _: bounded(lambda: solved(STEEP, base=COLUMN), {"solver.steady.HOTTEST_C": 10.0}),
        "lower the power or the leakage, or cool better",
        lambda _: solved(base=COLUMN),
    ),
    OfCall(
        lambda _: stopped("limit").checked(),
        "stopped at a relative residual .*\n.*all but cut off from coolants",
        lambda _: stopped("converged").checked(),
    ),
    OfCall(
        lambda _: stopped("rounding", 1e-10, 0.1).checked(),
        "round-off leaves 1.0e-01 K",
        lambda _: stopped("rounding", 1e-10, 1e-4).checked(),
    ),
    OfCall(lambda _: lonely("4"), "let it touch a cooled part", lambda _: lonely("20")),
    OfCall(
        lambda _: bounded(lambda: solved(JUMPS, RUNS_AWAY), {"solver.runaway_limit.MOST_STEPS": 2}),
        "the power that holds .* was not found.*\n.*smooth conductivities",
        lambda _: solved(SMOOTH, LEAKS),
    ),
    OfCall(
        lambda _: bounded(lambda: slopes(SMOOTH), {"solver.adjoint.RELATIVE_RESIDUAL": 0.0}),
        "an adjoint stopped .*\n.*lower the power, or smooth its table",
        lambda _: slopes(SMOOTH),
    ),
    OfCall(
        lambda _: bounded(lambda: slopes(KINKED), {"solver.adjoint.RISES_SETTLED": -1.0}),
        "did not settle\n.*smooth its table",
        lambda _: slopes(SMOOTH),
    ),
    OfCall(
        lambda _: bounded(lambda: solved(ON_LOOP, BESIDE, base=COLUMN), {"solver.coolant.MOST_STEPS": 1}),
        "the coolant of the loop still moves .*\n.*lower the power or the leakage, or cool the loop better",
        lambda _: bounded(lambda: solved(ON_LOOP, base=COLUMN), {"solver.coolant.MOST_STEPS": 1}),
    ),
    OfCall(
        lambda _: assemble(model(STEEP, WATTS), model(STEEP, WATTS).first_guess()),
        "one face of the grid alone outruns conduction\n  remedy: lower the power or the leakage",
        lambda _: assemble(model(STEEP), model(STEEP).first_guess()),
    ),
]
MODEL: list[Row] = [
    OfCall(
        lambda _: material_of(MaterialGiven(name="void")),
        "leaving out `around`; an insert may be void",
        lambda _: tiny(CUT),
    ),
    OfCall(
        lambda _: joint_of(dry(), 2),
        "gives `(\\w+)`\n  remedy: give `\\w+`, or `resistance_mm2K_W` alone",
        lambda _, key: joint_of(dry(**{key: Film(value=20)}), 2),
    ),
    OfCall(
        lambda _: check_capacities(tiny(UNKNOWN_MASS)),
        "give `density_kg_m3` and `heat_capacity_J_kgK`, or take a material of the catalogue",
        lambda _: check_capacities(tiny(KNOWN_MASS)),
    ),
    OfCall(
        lambda _: topology(tiny(LEAKS), model(LEAKS)),
        "linear in temperature only\n  remedy: solve each case in full",
        lambda _: solved(LEAKS),
    ),
    OfCall(
        lambda _: topology(tiny(ON_LOOP), model(ON_LOOP)),
        "not that of a loop\n  remedy: solve each case in full",
        lambda _: solved(ON_LOOP),
    ),
    OfCall(
        lambda _: topology(tiny(HOLDS), model(HOLDS)),
        "films, fluxes and faces of one temperature only, .*\n  remedy: solve each case in full",
        lambda _: solved(HOLDS),
    ),
]

ROWS: list[Row] = [*SOLVER, *MODEL]

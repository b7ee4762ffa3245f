"""A little chip under a lid, with a thermocouple on it beside three cores: runs of it by full solves, for tests."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np

from thermsim.bench.fates import Fates, fates
from thermsim.bench.responses import Bed
from thermsim.bench.runs import BenchSettings, Run, Runs
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.readout.answers import answers
from thermsim.readout.observable import of_reading

CASE = """\
title: Three cores and a lid
layers:
  - {part: die, material: silicon, size_mm: [12, 10], thickness_mm: 0.7}
  - {joint: film, resistance_mm2K_W: 20}
  - {part: lid, material: copper, size_mm: [28, 28], thickness_mm: 2}
heat:
  - in: die
    at: bottom
    leakage: {per_K: 0.004, at_C: 70}
    zones:
      - {zone: A, corner_mm: [0, 0], size_mm: [6, 5], power_W: 20}
      - {zone: B, corner_mm: [6, 0], size_mm: [6, 5], power_W: 22}
      - {zone: C, corner_mm: [0, 5], size_mm: [12, 5], power_W: 38}
cooling:
  - {face: top, environment: water, film_W_m2K: 6000, fluid_C: 30}
probes: [{probe: edge, in: lid, at_mm: [1, 1, 2]}]
readings:
  - {reading: A, zone: A, step_K: 1}
  - {reading: B, zone: B, step_K: 1}
  - {reading: C, zone: C, step_K: 1}
  - {reading: lid, probe: edge, step_K: 1}
limits: {reading_C: 95}
worth_K: 2
one_mount_K: 0.8
options:
  - {option: thin, changes: {film.resistance_mm2K_W: 6}}
  - {option: cold water, changes: {water.fluid_C: 20}}
  - option: lid off
    changes: {film: remove, layers.lid: remove, readings.lid: remove, edge: remove, water.film_W_m2K: 30000}
"""
THIN, COLD, OFF = "thin", "cold water", "lid off"
LOOP = "coolant_loop: {heat_capacity_J_K: 3000, radiator_W_K: 12, room_C: 23, pump_W: 5}\n"
COLD_OPTION = "  - {option: cold water, changes: {water.fluid_C: 20}}\n"
ON_LOOP = CASE.replace("fluid_C: 30", "fluid_C: loop").replace(COLD_OPTION, "") + LOOP


@cache
def chip(text: str = CASE) -> tuple[Case, Bed]:
    case = parse_case(text, "case.yaml")
    return case, Bed.of(case)


@cache
def solved(option: str | None, coolant_C: float, load: float, text: str) -> tuple[Mapping[str, float], float, float]:
    """Readings [C], package power [W], and heat to the coolant [W] by a full solve."""
    case, bed = chip(text)
    own = case if option is None else with_option(case, option)
    field = bed._field(own, coolant_C, load, None)[0]
    read = answers(own, field, [of_reading(one.reading) for one in own.readings])
    return {one.name: value for one, value in read.items()}, field.heat_made_W, field.flows[0].heat_W


def run(
    number: int, option: str | None = None, off_K: float = 0.0, coolant_C: float = 30.0, load: float = 1.0,
    like: str | None = "", text: str = CASE, **given: Any,
) -> Run:  # fmt: skip
    """like : the option whose film really is in place, that of the run unless told; given : noted otherwise"""
    readings, package_W, _ = solved(option if like == "" else like, coolant_C, load, text)
    shown = {name: float(np.round(value + off_K * (0.3 if name == "lid" else 1.0))) for name, value in readings.items()}
    noted = {
        "on_load_s": 1800.0, "coolant_C": coolant_C, "room_C": 22.0, "package_W": package_W, "readings": shown
    } | given  # fmt: skip
    return Run(f"r{number}", option, str(number), number + 1, **noted)


def judged(*runs: Run, text: str = CASE) -> Fates:
    case, bed = chip(text)
    return fates(case, Runs("runs.csv", runs, BenchSettings(one_mount_K=0.8)), bed)

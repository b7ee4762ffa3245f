"""Sensors unlike one another: a thermocouple on the lid beside cores hardly follows a film, and is not at fault for it.

Readings are full solves of the same chip; the offsets of mounts are written beside each run.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
import pytest

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
"""
THIN = "thin"


@cache
def chip() -> tuple[Case, Bed]:
    case = parse_case(CASE, "case.yaml")
    return case, Bed.of(case)


@cache
def solved(option: str | None, coolant_C: float, load: float = 1.0) -> tuple[Mapping[str, float], float]:
    case, bed = chip()
    own = case if option is None else with_option(case, option)
    field = bed._field(own, coolant_C, load, None)[0]
    read = answers(own, field, [of_reading(one.reading) for one in own.readings])
    return {one.name: value for one, value in read.items()}, field.heat_made_W


def run(
    number: int, option: str | None = None, off_K: float = 0.0, coolant_C: float = 30.0, like: str | None = ""
) -> Run:
    """like : the option whose film really is in place; that of the run unless told"""
    readings, package_W = solved(option if like == "" else like, coolant_C)
    shown = {name: float(np.round(value + off_K * (0.3 if name == "lid" else 1.0))) for name, value in readings.items()}
    return Run(f"r{number}", option, str(number), number + 1, 1800.0, coolant_C, 22.0, package_W, readings=shown)


def judged(*runs: Run) -> Fates:
    case, bed = chip()
    return fates(case, Runs("runs.csv", runs, BenchSettings(one_mount_K=0.8)), bed)


@pytest.mark.parametrize(("base", "film"), [(1, 1), (3, 1), (3, 2), (3, 3), (2, 5)])
@pytest.mark.parametrize("like", [THIN, None], ids=["as in the case", "a film that does nothing"])
def test_a_lid_that_a_film_does_not_cool_is_no_sensor_at_fault(base: int, film: int, like: str | None) -> None:
    """Cores fall by 11 K, the lid by 0.1 K: whole kelvin show the same in all runs. Nor do films that fall short."""
    off_K = (0.3, -0.4, 0.1, -0.2, 0.4)
    runs = [run(number, None, off_K[number]) for number in range(base)]
    runs += [run(10 + number, THIN, off_K[number], like=like) for number in range(film)]
    found = judged(*runs)
    assert found.sensors == ()
    assert all("lid" in one.readings for one in found.kept)


def test_a_lid_that_is_stuck_while_its_coolant_moves_is_found() -> None:
    runs = [run(number, coolant_C=24.0 + 3.0 * number) for number in range(5)]
    stuck = [one if number < 1 else Run(**{**vars(one), "readings": {**one.readings, "lid": 41.0}})
             for number, one in enumerate(runs)]  # fmt: skip
    found = judged(*stuck)
    assert [fault.reading for fault in found.sensors if fault.left_out] == ["lid"]


def test_a_core_that_jumped_in_one_run_is_found_beside_a_lid() -> None:
    runs = [*(run(number) for number in range(3)), *(run(10 + number, THIN) for number in range(3))]
    odd = Run(**{**vars(runs[4]), "readings": {**runs[4].readings, "B": runs[4].readings["B"] + 6.0}})
    found = judged(*runs[:4], odd, *runs[5:])
    assert [(fault.runs, fault.reading, fault.left_out) for fault in found.sensors] == [((odd.name,), "B", True)]

"""Benches that are made up: what is drawn, what is noted of it, the table read back, and every planted fault."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from thermsim.bench.read_runs import read_runs
from thermsim.bench.runs import Run
from thermsim.bench.simulated import naive
from thermsim.bench.simulated.planted import FAULTS, FaultName
from thermsim.bench.simulated.simulate import Habits, SimulatedBench, runs_of, simulate_bench
from thermsim.bench.simulated.truth import Truth, hidden_truth, places
from thermsim.case.load import parse_case, read_case
from thermsim.case.vocabulary.schema import Case

FILM, SEED = "film", 20_271
TEXT = """
title: four cores
layers:
  - {part: die, material: {conductivity_W_mK: 120}, size_mm: [10, 6], thickness_mm: {value: 0.7, plus_minus: 0.1}}
  - {joint: solder, resistance_mm2K_W: {value: 9, plus_minus: 3}}
  - {part: plate, material: {conductivity_W_mK: 390}, size_mm: [20, 20], thickness_mm: 3}
heat:
  - in: die
    at: bottom
    leakage: {per_K: 0.004, at_C: 60}
    zones:
      - {zone: C0, corner_mm: [1, 1], size_mm: [3, 2], power_W: 20}
      - {zone: C1, corner_mm: [6, 1], size_mm: [3, 2], power_W: 24}
      - {zone: C2, corner_mm: [1, 3.5], size_mm: [3, 2], power_W: 22}
      - {zone: C3, corner_mm: [6, 3.5], size_mm: [3, 2], power_W: 21}
cooling:
  - {face: top, environment: water, film_W_m2K: 12000, fluid_C: 30}
readings:
  - {reading: C0, zone: C0, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
  - {reading: C1, zone: C1, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
  - {reading: C2, zone: C2, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
  - {reading: C3, zone: C3, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
options:
  - {option: film, changes: {solder: {resistance_mm2K_W: {value: 3, plus_minus: 1}}}}
bench: {runs: runs.csv, cuts: down}
accuracy_K: 0.2
"""
EXACT = Habits(one_mount_K=0.0, run_K=0.0, core_K=0.0, coolant_K=0.0, load=0.0)


@cache
def case() -> Case:
    return parse_case(TEXT, "case.yaml", Path())


@cache
def truth(seed: int | None = SEED) -> Truth:
    return hidden_truth(case(), seed=seed)


def bench(fault: FaultName | None = None, seed: int = SEED, **more: object) -> SimulatedBench:
    return runs_of(truth(), seed=seed, fault=fault, **more)  # type: ignore[arg-type]


def changed(before: SimulatedBench, after: SimulatedBench) -> list[tuple[Run, Run]]:
    """Runs that are noted otherwise in two benches."""
    return [(old, new) for old, new in zip(before.runs.runs, after.runs.runs, strict=True) if old != new]


def test_what_is_so_lies_within_the_tolerances_and_shared_numbers_are_shared() -> None:
    base, film = truth().drawn[None], truth().drawn[FILM]
    assert 0.6 <= base["die.thickness_mm"] <= 0.8 and base["die.thickness_mm"] == film["die.thickness_mm"]
    assert 6.0 <= base["solder.resistance_mm2K_W"] <= 12.0 and 2.0 <= film["solder.resistance_mm2K_W"] <= 4.0
    assert base["readings.C1.offset_K"] == film["readings.C1.offset_K"]
    assert truth().gain_K(FILM) != truth(None).gain_K(FILM)
    given = {FILM: {"solder.resistance_mm2K_W": 9.0}}
    for so in (hidden_truth(case(), given=given), hidden_truth(case(), really={FILM: case()})):
        assert so.gain_K(FILM) == pytest.approx(0.0, abs=1e-6)


def test_the_gain_is_about_flux_times_resistance() -> None:
    """All heat goes through the joint below the cores: 87 W over 24 to 60 mm2, 6 mm2K/W less, by hand."""
    assert 6.0 * 87.0 / 60.0 < truth(None).gain_K(FILM) < 6.0 * 87.0 / 24.0


def test_without_scatter_the_readings_are_the_truth_cut_down() -> None:
    found = bench(habits=EXACT, mounts=1)
    for run in found.runs.runs:
        full = truth().shows(run.option, truth().coolant_C, 1.0)
        np.testing.assert_allclose(list(run.readings.values()), np.floor(full))
        assert run.coolant_C == pytest.approx(30.0, abs=0.6)
        assert run.package_W == pytest.approx(truth().makes_W(run.option, 30.0, 1.0), rel=0.02)


def test_mounts_move_all_sensors_and_runs_of_a_mount_sit_alike() -> None:
    """The scatter of means of mounts, of a thousand of them, is the one that was asked for."""
    habits = Habits(one_mount_K=1.0, run_K=0.0, core_K=0.0, coolant_K=0.0, load=0.0)
    found = bench(habits=habits, mounts=500, runs=2).runs.runs
    means = np.array([np.mean(list(run.readings.values())) for run in found]).reshape(2, 500, 2)
    assert means[..., 0].std(axis=1) == pytest.approx([1.0, 1.0], abs=0.1)
    assert abs(means[..., 0] - means[..., 1]).max() < 1e-9
    across = np.array([run.readings["C1"] - run.readings["C0"] for run in found])
    assert 0.3 < across[:1000].std() < 1.0  # tilt, and whole steps


def test_the_same_seed_is_the_same_bench_and_another_is_another() -> None:
    assert bench().csv == bench().csv != bench(seed=SEED + 1).csv
    assert simulate_bench(case(), seed=SEED).csv == bench().csv
    assert f"seed {SEED}" in bench().csv and "Nobody has measured this" in str(bench())
    assert [run.mount for run in bench(runs=2, mounts=2).runs.runs] == list("11223344")


def test_the_table_is_read_back(tmp_path: Path) -> None:
    (tmp_path / "case.yaml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "runs.csv").write_text(bench("fast fans").csv, encoding="utf-8")
    found = read_runs(read_case(tmp_path / "case.yaml"))
    for read, made in zip(found.runs, bench("fast fans").runs.runs, strict=True):
        assert read.readings == made.readings and (read.option, read.mount) == (made.option, made.mount)
        noted = (read.coolant_C, read.package_W, read.on_load_s, read.score, read.fans_rpm)
        assert noted == pytest.approx((made.coolant_C, made.package_W, made.on_load_s, made.score, made.fans_rpm))


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_spoils_what_it_says_and_nothing_else(fault: FaultName) -> None:
    """Against the same bench without it."""
    honest, spoilt = bench(), bench(fault)
    pairs = changed(honest, spoilt)
    assert spoilt.spoilt and {new.name for _, new in pairs} <= set(spoilt.spoilt)
    old, new = pairs[0]
    if fault in ("fast fans", "warm start"):
        assert new.coolant_C is None and old.coolant_C is not None
    if fault == "fast fans":
        assert new.fans_rpm == 2100.0 and np.mean(list(new.readings.values())) < np.mean(list(old.readings.values()))
    if fault == "more power":
        assert 1.12 < (new.package_W or 0.0) / (old.package_W or 1.0) < 1.18  # what leaks grows besides
    if fault == "held back":
        assert new.score == pytest.approx(0.95 * (old.score or 0.0), rel=0.001) and new.readings == old.readings
    if fault == "not settled":
        assert new.on_load_s == 60.0 and max(new.readings.values()) < max(old.readings.values())
    if fault == "jumped sensor":
        assert sorted(abs(new.readings[name] - old.readings[name]) for name in old.readings)[:3] == [0.0, 0.0, 0.0]
    if fault in ("swapped sensors", "columns exchanged"):
        assert sorted(new.readings.values()) == sorted(old.readings.values())


def test_sensors_that_are_swapped_were_right_before() -> None:
    """From the first run on, nobody could tell, and no difference would feel it."""
    assert all(bench("swapped sensors", seed=SEED + number).spoilt[0] != "r01" for number in range(8))


def test_sensors_lie_where_their_zones_do() -> None:
    assert places(case(), ["C0", "C1", "C2", "C3"]).tolist() == [[-1, -1], [1, -1], [-1, 1], [1, 1]]


# ---- naive ways -------------------------------------------------------------------------------------------------


def noted(coolant_C: float, *readings: float) -> Run:
    return Run("r", None, "1", 2, coolant_C=coolant_C, readings={f"C{n}": one for n, one in enumerate(readings)})


def test_naive_ways_by_hand() -> None:
    base, option = (
        [noted(30.0, 60.0, 64.0), noted(32.0, 63.0, 67.0)],
        [noted(28.0, 55.0, 58.0), noted(31.0, 58.0, 62.0)],
    )
    assert naive.raw(base, option).value_K == pytest.approx(63.5 - 58.25)
    assert naive.coolant_one_to_one(base, option).value_K == pytest.approx(32.5 - 28.75)
    assert naive.every_core_a_sample(base, option).value_K == pytest.approx(3.75)
    cores = naive.core_by_core(base, option)  # differences 3.5 and 4: sd 0.354, over a root of two; t of one is 6.3138
    assert cores.value_K == pytest.approx(3.75) and cores.half_width_K == pytest.approx(6.3138 * 0.25, rel=1e-4)
    assert naive.hottest(base, option) == naive.NaiveGain(6.0, 1.0)
    assert naive.raw(base[:1], option[:1]).half_width_K == float("inf")

"""Samples of all tolerances: small models against full solves of the same samples, and what each way is used for."""

from __future__ import annotations

import runpy
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from stacks import case_of, film, joint, part

from thermsim.case.load import parse_case, read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.choice import chosen
from thermsim.comparison.compare import compare
from thermsim.comparison.family import Family, family
from thermsim.comparison.tolerances import Samples, Way, sampled
from thermsim.nearby.case_tasks import HIGHEST_SHARE
from thermsim.nearby.sample_solver import SAMPLE_ACCURACY_K, SampleWork
from thermsim.nearby.uncertain_inputs import sample_of
from thermsim.readout.observable import find
from thermsim.run.run_tasks import run
from thermsim.run.tasks import Task

CASES = Path(__file__).parents[2] / "cases"
BENCHMARKS = CASES.parent / "benchmarks"
SEED = 20_271
COUNT = 32  # samples that are solved in full

# Both ways answer on the same grid, whatever it is.
pytestmark = pytest.mark.usefixtures("coarse_grids")


def samples_of(whole: Family, count: int, way: Way | None, workers: int = 1) -> Samples:
    return sampled(whole, count, SEED, lambda make, tasks: run(make, tasks, workers=workers), way)


def family_of(case: Case, accuracy_K: float | None = None) -> Family:
    return family(*chosen(case, None, None), accuracy_K=accuracy_K)


def agree(small: Samples, full: Samples) -> None:
    """Every gain of every sample within the doubt that the small models tell, and the full solves' own accuracy.

    A place that an option does not have is nothing to a full solve, and nobody asks a small model about it.
    """
    gains = [taken.deviation[:, :1] - taken.deviation for taken in (small, full)]
    known = np.isfinite(gains[1])
    assert np.all(np.isfinite(gains[0])[known])
    apart = np.where(known, np.abs(gains[0] - gains[1]), 0.0).max(axis=0)
    assert np.all(apart <= small.model_K + 4.0 * SAMPLE_ACCURACY_K)
    assert not full.model_K.any() and np.all(small.shortcut_K >= small.model_K)


def stack(**more: object) -> Case:
    """A die with two zones and a sensor on each, under a joint and a lid; leakage, and silicon with its k(T)."""
    layers = [
        part("die", [12.0, 9.0], 0.6, "silicon"),
        joint("paste", 9.0) | {"resistance_mm2K_W": {"value": 9.0, "plus_minus": 3.0, "shape": "normal"}},
        part("lid", [20.0, 18.0], 2.0, 380.0),
    ]
    zones = [
        {"zone": "left", "corner_mm": [1, 1], "size_mm": [4, 6], "power_W": {"value": 35.0, "plus_minus": 3.0}},
        {"zone": "right", "corner_mm": [7, 1], "size_mm": [4, 6], "power_W": 20.0},
    ]
    heat = [{"in": "die", "zones": zones, "leakage": {"per_K": 0.003, "at_C": 60.0}} | more]
    readings = [
        {"reading": zone["zone"], "zone": zone["zone"], "offset_K": {"value": 0, "plus_minus": 1}} for zone in zones
    ]
    options = [
        {"option": "thin film", "changes": {"paste.resistance_mm2K_W": {"value": 3.0, "plus_minus": 1.0}}},
        {"option": "better lid", "changes": {"lid.thickness_mm": 4.0}},
    ]
    return case_of(layers, heat, [film("top", 9000.0, 25.0)], readings=readings, options=options, accuracy_K=0.3)


@cache
def stack_family() -> Family:
    return family_of(stack())


@cache
def by_small_models() -> Samples:
    return samples_of(stack_family(), COUNT, "small models")


def test_both_ways_agree_within_the_doubt_told() -> None:
    whole, small = stack_family(), by_small_models()
    full = samples_of(whole, COUNT, "full solves")
    agree(small, full)
    assert all(one.small > 0.9 * COUNT and one.small + one.full == COUNT for one in small.ways)
    assert small.model_K[:, whole.readings].max() < 0.03
    assert [one.full for one in full.ways] == [COUNT] * 3
    assert np.array_equal(small.slopes, full.slopes)


@pytest.mark.slow
def test_both_ways_agree_on_the_demo() -> None:
    whole = family_of(read_case(CASES / "crooked-film.yaml"))
    small, full = (samples_of(whole, 256, way) for way in ("small models", "full solves"))
    agree(small, full)
    assert sum(one.small for one in small.ways) > 0.95 * 4 * 256
    assert small.model_K[:, whole.readings].max() < 0.02  # a tenth of what the tolerances move, and in the intervals


@pytest.mark.slow
def test_wide_tolerances_are_answered_by_small_models() -> None:
    """Twenty inputs, known as well as most people know them: small models grow until they serve, and their doubts hold.

    The full solves are of the same samples on the same grid.
    """
    wide = runpy.run_path(str(BENCHMARKS / "wide_tolerances.py"))["wide"]
    case = parse_case(wide((CASES / "crooked-film.yaml").read_text(encoding="utf-8")), str(CASES / "wide.yaml"))
    whole = family(*chosen(case, None, ["gallium film, 30 um"]))
    taken = samples_of(whole, 1024, None, workers=2)
    assert all(one.small > 0.9 * 1024 and "full solves" in one.words for one in taken.ways)
    assert taken.model_K[:, whole.judged].max() <= 2.0 * HIGHEST_SHARE * case.accuracy_K
    plan, questions = whole.predictions[0].plan, whole.questions[:-1]
    multiplier = next(one for one in plan.multipliers if plan.cells(one) == taken.cells)
    work = SampleWork(whole.cases, plan, multiplier, questions)()
    nominal = work(Task("nominal", ({}, {})))
    gains = taken.deviation[:, :1] - taken.deviation
    for row in range(0, 1024, 32):
        full = work(Task(f"sample {row}", sample_of(taken.varied, taken.values[row].tolist()))) - nominal
        apart = np.abs((full[:1] - full) - gains[row])
        assert np.nanmax(apart - taken.model_K) <= 4.0 * SAMPLE_ACCURACY_K


def test_one_process_and_two_give_the_same_bits() -> None:
    one, two = by_small_models(), samples_of(stack_family(), COUNT, "small models", workers=2)
    assert np.array_equal(one.deviation, two.deviation)
    assert np.array_equal(one.slopes, two.slopes) and np.array_equal(one.shortcut_K, two.shortcut_K)


def test_what_a_small_model_cannot_follow_is_solved_in_full_and_told() -> None:
    case = stack(leakage={"share": 0.2, "doubling_K": 30.0, "at_C": 60.0})
    whole = family_of(case, 1.0)
    taken = samples_of(whole, 16, "small models")
    assert all(one.full == 16 and "linear in temperature only" in one.words for one in taken.ways)
    agree(taken, samples_of(whole, 16, "full solves"))


def test_samples_far_out_and_offsets() -> None:
    """Few samples of a normal tolerance are beyond the small model; offsets of sensors add to what it answers."""
    whole = stack_family()
    taken = samples_of(whole, 512, "small models")
    held = {one.name: taken.values[:, place] for place, one in enumerate(taken.varied)}
    assert taken.ways[0].full < 40
    asked = [find(whole.questions, one) for one in ("reading left", "zone left, mean")]
    shown, there = map(whole.questions.index, asked)
    difference = taken.deviation[:, 0, shown] - taken.deviation[:, 0, there]
    assert difference == pytest.approx(held["readings.left.offset_K"], abs=1e-9)


@pytest.mark.slow
def test_the_way_is_told() -> None:
    found = compare(stack(), samples=512, options=["better lid"])
    assert found.way.startswith("small models made from full solves on")
    few = compare(stack(), samples=64, options=["better lid"])
    assert "too few samples" in few.way

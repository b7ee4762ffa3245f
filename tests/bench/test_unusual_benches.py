"""Benches far from what their case says: another room, another load, a freezing coolant, parts that are gone."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
from lidded_chip import CASE, COLD, OFF, ON_LOOP, THIN, chip, judged, run, solved

from thermsim.bench.fates import fates
from thermsim.bench.runs import BenchSettings, Cuts, Run, Runs
from thermsim.bench.statistics.mounts import scatter
from thermsim.case.inputs.values import with_inputs
from thermsim.readout.answers import answers
from thermsim.readout.observable import of_reading


def of_loop(number: int, option: str | None, room_C: float, load: float) -> Run:
    """A run whose loop has settled, by repeated full solves: room + (heat + pump) / radiator; it notes no coolant."""
    coolant_C = room_C + 7.0
    for _ in range(6):
        coolant_C = float(np.round(room_C + (solved(option, coolant_C, load, ON_LOOP)[2] + 5.0) / 12.0, 3))
    return replace(run(number, option, 0.0, coolant_C, load, text=ON_LOOP), coolant_C=None, room_C=room_C)


@pytest.mark.parametrize(("room_C", "load"), [(23.0, 1.0), (5.0, 1.4)])
def test_runs_of_a_loop_lie_about_their_own_middle(room_C: float, load: float) -> None:
    """None notes its coolant, and the room is not that of the case: they are alike all the same."""
    runs = [of_loop(1, None, room_C, load), of_loop(2, None, room_C, load), of_loop(3, THIN, room_C, load)]
    found = judged(*runs, text=ON_LOOP)
    assert all(one.corrected is not None for one in found.fates)
    assert found.load == pytest.approx(load, rel=0.015)


def test_a_load_far_above_that_of_the_case_is_known_for_what_it_is() -> None:
    """Leakage grows with it, so that the package power grows by more."""
    found = judged(*(run(number, None, load=1.5, coolant_C=5.0) for number in (1, 2)))
    assert found.load == pytest.approx(1.5, rel=0.015)
    assert all(one.corrected is not None for one in found.fates)


def test_a_coolant_of_nothing_is_noted_all_the_same() -> None:
    """0 C is a coolant; taken for none, its run counted as loaded 4 % less."""
    others = run(2, coolant_C=14.0), run(3, coolant_C=14.0)
    cold = run(1, coolant_C=0.001), run(4, load=1.05, coolant_C=0.001)
    warm, zero = judged(*cold, *others), judged(*(replace(one, coolant_C=0.0) for one in cold), *others)
    assert zero.load == pytest.approx(warm.load, abs=1e-3)


@pytest.mark.parametrize(("cuts", "is_kept"), [("nearest", True), ("down", False)])
def test_what_is_shown_a_step_below_the_limit(cuts: Cuts, is_kept: bool) -> None:
    """94 of whole kelvin cut down may be 94.9, at the limit of 95; rounded to the nearest it is below 94.5."""
    case, bed = chip()
    warm = run(1)
    up_K = 94.0 - max(warm.readings.values())
    warm = replace(warm, readings={name: value + up_K for name, value in warm.readings.items()})
    found = fates(case, Runs("runs.csv", (warm, run(2), run(3)), BenchSettings(cuts=cuts)), bed)
    assert (found.fates[0].corrected is not None) is is_kept


def test_what_reads_nothing_that_is_still_there_is_refused() -> None:
    """The lid is off, and only its thermocouple was noted."""
    odd = replace(run(3, OFF), readings={"lid": 40.0})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = judged(run(1), run(2), odd)
    assert found.fates[-1].verdict == "not comparable"
    assert "gone with what its option took away" in " ".join(found.fates[-1].why)


def test_an_option_that_cools_the_coolant_is_told_to_be_judged_without_that() -> None:
    """All runs are put to one coolant, which takes away just what this option is about."""
    runs = [run(1), run(2), run(3, COLD, coolant_C=20.0), run(4, COLD, coolant_C=20.0)]
    assert "cold water" in " ".join(judged(*runs).remarks)
    assert "one coolant" not in " ".join(judged(run(1), run(2, THIN)).remarks)


def test_mounts_that_do_not_scatter_at_all_divide_nothing() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert scatter([[70.0, 70.0], [65.0, 65.0]]).own_sd_K == 0.0


def test_what_leaves_by_other_fluids_is_in_the_doubt_of_a_coolant() -> None:
    """Board and cooler stand in one room: when it warms by 8 K both do, of which the coolant's column tells one."""
    text = CASE.replace("film_W_m2K: 6000", "film_W_m2K: 1500")
    text = text.replace("probes:", "  - {face: bottom, environment: board, film_W_m2K: 1000, fluid_C: 30}\nprobes:")
    text = text.replace("reading_C: 95", "reading_C: 190")
    case, bed = chip(text)
    response = bed.response(None, 30.0, 8.0, 1.0)
    both_C = with_inputs(case, {"water.fluid_C": 38.0, "board.fluid_C": 38.0})
    field = bed._field(both_C, 38.0, 1.0, None)[0]
    read = answers(both_C, field, [of_reading(one.reading) for one in both_C.readings])
    warmed_K = float(np.mean(list(read.values()))) - float(response.at(30.0, 1.0)[:4].mean())
    missed_K = warmed_K - 8.0 * float(response.by_coolant(30.0, 1.0)[:4].mean())
    found = judged(run(1, text=text), run(2, text=text), run(3, coolant_C=38.0, text=text), text=text)
    doubt_K = found.kept[2].shared_doubt_K["other fluids"]
    assert 0.3 < missed_K == pytest.approx(3.0**0.5 * abs(doubt_K), rel=0.3)

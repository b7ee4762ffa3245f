"""Logs of power: what is read of them, and every fault with its line and cell, all at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from thermsim.case.load import parse_case
from thermsim.errors import CaseError, ThermsimError
from thermsim.loads.load import Load
from thermsim.loads.log import read_load
from thermsim.warming.planned import planned

TEXT = """
title: a die with two zones
layers:
  - {part: die, material: silicon, size_mm: [10, 8], thickness_mm: 0.66}
heat:
  - in: die
    zones:
      - {zone: core, corner_mm: [1, 1], size_mm: [4, 6], power_W: 40}
      - {zone: io, corner_mm: [6, 1], size_mm: [3, 6], power_W: 10}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
"""
CASE = parse_case(TEXT, "die.yaml")


def log_of(folder: Path, text: str, points: bool = False) -> Load:
    path = folder / "power.csv"
    path.write_text(text, encoding="utf-8")
    return read_load(path, CASE, points)


def refused(folder: Path, text: str) -> list[tuple[int, int, str]]:
    with pytest.raises(CaseError) as told:
        log_of(folder, text)
    return [(fault.line, fault.column, fault.message) for fault in told.value.faults]


def test_averages_hold_until_the_next_line_and_the_last_as_long_as_is_usual(tmp_path: Path) -> None:
    load = log_of(tmp_path, "# from a meter\ntime [ms];package [W]\n0;40,5\n500;10\n1000;0\n")
    assert load.times_s.tolist() == [0.0, 0.5, 1.0] and load.ends_s == 1.5
    assert load.before([0.2, 0.5, 0.6, 1.2]).ravel().tolist() == [40.5, 40.5, 10.0, 0.0]
    assert load.after([0.5]).ravel().tolist() == [10.0]
    assert not load.zones and not load.is_share and not load.lasts


def test_points_are_joined_by_lines_and_end_with_the_last(tmp_path: Path) -> None:
    load = log_of(tmp_path, "time_s,package_W\n0,40\n2,20\n4,20\n", points=True)
    assert load.ends_s == 4.0
    assert load.before([1.0, 3.0]).ravel().tolist() == [30.0, 20.0]


def test_a_column_a_zone_in_any_order(tmp_path: Path) -> None:
    load = log_of(tmp_path, "io,time_s,core\n1,0,2\n3,1,4\n")
    assert load.zones == ("core", "io")
    assert load.values.tolist() == [[2.0, 1.0], [4.0, 3.0]]


def test_clock_times_begin_with_the_first_line(tmp_path: Path) -> None:
    load = log_of(tmp_path, "time,package\n16:00:07,40\n16:00:08,30\n")
    assert load.times_s.tolist() == [0.0, 1.0] and load.clock_s == 57607.0


def test_every_fault_of_a_log_is_told_at_once(tmp_path: Path) -> None:
    text = "time_s,core,io\n0,1,2\n1,,2\n2,-1,x\n1.5,1,1\n3,1,1\n60,1,1\n"
    told = refused(tmp_path, text)
    assert [(line, cell) for line, cell, _ in told] == [(3, 2), (4, 2), (4, 3), (5, 1), (7, 1)]
    for (_, _, message), words in zip(
        told, ("an empty cell", "power is 0 or above", "no number", "times rise", "no line for 57 s"), strict=True
    ):
        assert words in message


def test_a_line_that_does_not_fit_its_headings_is_told_once(tmp_path: Path) -> None:
    told = refused(tmp_path, "time_s,package_W,\n0,70,1\n1,70,1\n2,50,1\n")
    assert [(line, cell) for line, cell, _ in told] == [(2, 3), (3, 3), (4, 3)]


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("time_s,core,oi\n0,1,2\n1,2,3\n", (1, 3), "did you mean `io`?"),
        ("time_s,watts\n0,1\n1,2\n", (1, 1), "no column of watts"),
        ("core,io\n0,1\n1,2\n", (1, 1), "no column is headed `time [s]`"),
        ("time_s,package_W,io\n0,1,1\n1,2,2\n", (1, 3), "tell the same twice"),
        ("time_s,package_W\n17,40\n18,40\n", (2, 1), "take 17 s off all times"),
        ("time_s,package_W\n0,48000\n1,52000\n", (3, 2), "give watts, not milliwatts"),
        ("time_s,package_W\n0,0.03\n1,0.05\n", (3, 2), "give watts, not kilowatts"),
        ("time_s,package_W\n0,40\n", (1, 1), "2 lines or more"),
    ],
)
def test_a_fault_has_its_place_and_what_to_do(tmp_path: Path, text: str, place: tuple[int, int], words: str) -> None:
    ((line, cell, message),) = refused(tmp_path, text)
    assert (line, cell) == place
    assert words in message


def test_what_is_on_after_the_log_is_not_known(tmp_path: Path) -> None:
    load = log_of(tmp_path, "time_s,package_W\n0,40\n1,40\n")
    with pytest.raises(ThermsimError, match="ends at 2 s"):
        planned(CASE, until_s=3.0, load=load)
    assert planned(CASE, load=load).until_s == 2.0


def test_options_of_the_call_win_over_the_case() -> None:
    own = "warmup: {from_s: 500 ms, until_s: 7, load: [{at_s: 0, share: 0.5}]}"
    case = parse_case(f"{TEXT}{own}\n", "die.yaml")
    found = planned(case, until_s=9.0)
    assert (found.from_s, found.until_s, found.settled_K) == (0.5, 9.0, 1.0)
    assert found.load is not None and np.array_equal(found.load.values, [[0.5]])
    other = planned(case, load=[{"at_s": 0, "share": 0.25}])
    assert other.load is not None and np.array_equal(other.load.values, [[0.25]])
    assert planned(case, load=[{"at_s": 0, "share": 1.0}]).load is None

"""A time log as a run: what is taken of it, and whether it had settled; against exponentials, whose end is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_read_runs import CASE, read, told

from thermsim.bench.logs import settled_of
from thermsim.bench.runs import Run
from thermsim.report.text.shown import blocks_of

RUNS = "run,option,mount,rest_min,coolant_C\nr01,base,1,15,\n"
SEED = 20_933


def rise(time_s: np.ndarray, slow_K: float, tau_s: float) -> np.ndarray:
    """45 C and 30 K within seconds, as a die, then a slow rise, as a loop."""
    return 45.0 + 30.0 * (1.0 - np.exp(-time_s / 5.0)) + slow_K * (1.0 - np.exp(-time_s / tau_s))


def log_of(time_s: np.ndarray, values: np.ndarray, power: np.ndarray | None = None) -> str:
    lines = [
        f"{time:g},{value:.3f},33.2,{100 if power is None else power[place]:g}"
        for place, (time, value) in enumerate(zip(time_s, values, strict=True))
    ]
    return "\n".join(["time [s],C0,coolant_C,package_W", *lines])


def run_of(folder: Path, log: str, shows: str = "highest") -> Run:
    return read(folder, RUNS, f"{{runs: runs.csv, shows: {shows}, log: {{r01: l.csv}}}}", CASE, l=log).runs[0]


@pytest.mark.parametrize(("shows", "expected"), [("highest", 83.0), ("last", 80.0), ("mean", 80.0)])
def test_what_is_taken(tmp_path: Path, shows: str, expected: float) -> None:
    """A spike of 3 K in the middle is the highest, and neither the last nor the settled mean."""
    time = np.arange(0.0, 600.0)
    values = rise(time, 5.0, 30.0)
    values[250] += 3.0
    run = run_of(tmp_path, log_of(time, values), shows)
    assert run.readings["C0"] == pytest.approx(expected, abs=0.02)
    assert (run.on_load_s, run.coolant_C, run.package_W) == (900.0, pytest.approx(33.2), 100.0)
    assert run.settled is not None and run.settled.after_s is not None and run.settled.ends_s == 599.0


def test_the_moment_of_settling() -> None:
    """5 exp(-t/60) falls below half a kelvin at 60 ln 10 = 138 s."""
    time = np.arange(0.0, 600.0)
    found = settled_of(time, {"C0": rise(time, 5.0, 60.0)})
    assert found.after_s == pytest.approx(60.0 * np.log(10.0), abs=6.0)
    noise = np.random.default_rng(SEED).normal(0.0, 0.5, len(time))
    found = settled_of(time, {"C0": np.floor(rise(time, 5.0, 60.0) + noise)})
    assert found.after_s is not None and found.after_s < 150.0


@pytest.mark.parametrize(("slow_K", "tau_s"), [(10.0, 300.0), (10.0, 1000.0), (5.0, 600.0), (3.0, 300.0)])
def test_what_has_not_settled_is_known(tmp_path: Path, slow_K: float, tau_s: float) -> None:
    """A slow part that still has more than half a kelvin to come, which a look at the end alone does not show."""
    time = np.arange(0.0, 400.0)
    assert slow_K * np.exp(-time[-1] / tau_s) > 0.5
    found = settled_of(time, {"C1": np.full(400, 60.0), "C0": rise(time, slow_K, tau_s)})
    assert found.after_s is None and found.reading == "C0"
    # Over the last quarter the mean slope of an exponential lies between those of its ends [K/min].
    at = [60.0 * slow_K / tau_s * np.exp(-share * 399.0 / tau_s) for share in (1.0, 0.75)]
    assert at[0] < found.drift_K_min < at[1]
    text = "run,option,mount\nr01,base,1\n"
    runs = read(tmp_path, text, "{runs: runs.csv, log: {r01: l.csv}}", l=log_of(time, rise(time, slow_K, tau_s)))
    assert any("had not settled after 399 s: C0 moved by +" in one for one in runs.remarks)
    assert blocks_of(runs)[0].rows[0][-1] == "not"


def test_only_the_load_counts(tmp_path: Path) -> None:
    """A minute of idling before it and a cooling-down after it are left out, and told."""
    time = np.arange(0.0, 900.0)
    power = np.where((time >= 60) & (time < 700), 100.0, 5.0)
    values = np.where(time < 60, 40.0, np.where(time < 700, rise(time - 60.0, 5.0, 30.0), 35.0))
    run = run_of(tmp_path, log_of(time, values, power), "mean")
    assert run.readings["C0"] == pytest.approx(80.0, abs=0.05) and run.package_W == 100.0
    assert run.settled is not None and run.settled.ends_s == 639.0
    log = log_of(time, values, power)
    (run,) = read(tmp_path, "run,option,mount\nr01,base,1\n", "{runs: runs.csv, log: {r01: l.csv}}", l=log).runs
    assert run.on_load_s == 639.0


def test_a_sensor_that_falls_silent_is_followed_as_far_as_it_goes() -> None:
    time = np.arange(0.0, 400.0)
    silent = np.where(time < 200.0, rise(time, 0.0, 1.0), np.nan)
    found = settled_of(time, {"C0": silent, "C1": rise(time, 5.0, 30.0)})
    assert found.after_s is not None and np.isfinite(found.drift_K_min)


def test_what_a_line_notes_itself_stands(tmp_path: Path) -> None:
    time = np.arange(0.0, 100.0)
    noted = "run,option,mount,coolant_C\nr01,base,1,31.5\n"
    runs = read(tmp_path, noted, "{runs: runs.csv, log: {r01: l.csv}}", l=log_of(time, rise(time, 0.0, 1.0)))
    assert runs.runs[0].coolant_C == 31.5
    twice = told(tmp_path, "run,option,mount,C0\nr01,base,1,70\n", "{runs: runs.csv, log: {r01: l.csv}}",
                 l=log_of(time, rise(time, 0.0, 1.0)))  # fmt: skip
    assert "leave these cells empty" in twice["2:4"]


def test_what_is_wrong_with_a_log(tmp_path: Path) -> None:
    bench = "{runs: runs.csv, log: {r01: l.csv}}"
    found = told(tmp_path, RUNS, bench, l="time [s],C0\n0,50\n2,51\n1,52\n,53\n4,hot\n5,900\n")
    for place, words in {
        "1:1": "a log of 6 lines is none",
        "4:1": "the time runs backwards",
        "5:1": "the time is missing",
        "6:2": "found 'hot'",
        "7:2": "not from -60 to 150",
    }.items():
        assert words in found[place], (place, found)
    unsaid = told(tmp_path, RUNS, bench, l="time,C0\n" + "".join(f"{n},50\n" for n in range(20)))
    assert len(unsaid) == 1 and "say in which unit" in unsaid["1:1"]
    many = told(tmp_path, RUNS, bench, l="time [s],C0\n" + "".join(f"{n},50\n" for n in range(20)) + "20,50,5\n")
    assert list(many) == ["22:3"]
    words = told(tmp_path, RUNS, bench, l="time [s],Tdie\n" + "".join(f"{n},50\n" for n in range(20)))
    assert "no column is one of the readings `C0`, `C1`" in words["1:1"]
    same = told(tmp_path, RUNS, bench, l="time [s],C0\n" + "5,50\n" * 20)
    assert "all lines have the same time" in same["1:1"]

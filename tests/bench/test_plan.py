"""The order of runs to make next, and their table."""

from __future__ import annotations

import csv

import pytest
from benches import demo

from thermsim.bench.next_runs.empty_table import empty_table
from thermsim.bench.next_runs.plan import plan
from thermsim.bench.runs import Run, Runs
from thermsim.errors import ThermsimError

FILM = "gallium film"


def made(*options: str | None) -> Runs:
    return Runs(
        "runs.csv",
        tuple(Run(f"r{n:02d}", one, str(n), n + 1, readings={"C0": 70.0}) for n, one in enumerate(options, start=1)),
    )


def order(*options: str | None, mounts: int = 2) -> list[str | None]:
    return [run.option for run in plan(made(*options), [None, FILM], ["C0"], mounts=mounts).runs]


def test_options_that_can_be_undone_are_taken_in_turns() -> None:
    """Every other turn backwards, so that what drifts evenly takes itself out."""
    assert order(None, FILM, None) == [None, FILM, FILM, None]
    places = order(None, FILM, None, FILM, mounts=4)
    assert sum(number for number, one in enumerate(places) if one is None) == sum(range(8)) / 2


def test_what_cannot_be_undone_is_done_once() -> None:
    assert order(None, None) == order(None) == [None, None, FILM, FILM]
    first = plan(None, [None, FILM], ["C0"], mounts=1)
    assert "cannot be undone" in first.words[0] and first.runs[0].mount == "1"


def test_what_is_in_place_comes_first() -> None:
    """A plan neither asks for one change of mount more than needed, nor for what may be gone, without saying so."""
    assert order(None, None, FILM, FILM) == [FILM, FILM, None, None]
    assert order(None, FILM, None, FILM, mounts=1) == [FILM, None]
    to_come = Runs("runs.csv", (*made(None, FILM).runs, Run("r03", None, "3", 4), Run("r04", FILM, "4", 5)))
    assert [run.option for run in plan(to_come, [None, FILM], ["C0"], mounts=2).runs] == [FILM, FILM, None, None]
    words = plan(made(None, FILM), [None, FILM], ["C0"], mounts=2).words[0]
    assert "leave out" in words and "take turns" in words


def test_an_empty_table_asks_for_nothing_that_cannot_be_undone() -> None:
    """Solder that was cut out does not come back: all mounts of one option come before those of the next."""
    lines = [line for line in empty_table(demo(), "runs.csv").splitlines() if not line.startswith("#")]
    options = [row["option"] for row in csv.DictReader(lines, delimiter=";")]
    assert len(options) == 8 and options == sorted(options, key=options.index)


def test_runs_and_mounts_are_numbered_on() -> None:
    found = plan(made(None, FILM), [None, FILM], ["C0"], mounts=2, runs=2).runs
    assert [run.name for run in found] == [f"r{number:02d}" for number in range(3, 11)]
    assert [run.mount for run in found] == ["3", "3", "4", "4", "5", "5", "6", "6"]
    named = Runs("runs.csv", (Run("r02", None, "first", 2),))
    assert [run.name for run in plan(named, [FILM], ["C0"], mounts=2).runs] == ["r03", "r04"]
    assert [run.mount for run in plan(named, [FILM], ["C0"], mounts=1).runs] == ["2"]


def test_the_table_is_to_be_filled_in() -> None:
    lines = plan(None, [None, FILM], ["C0", "C1"], mounts=1, on_load_s=840.0).csv.splitlines()
    remarks = [line for line in lines if line.startswith("# ")]
    assert len(remarks) == 3 and "14 minutes on load" in remarks[1]
    rows = list(csv.DictReader(lines[3:]))
    assert [row["option"] for row in rows] == ["as in the file", FILM]
    assert (rows[0]["on_load_min"], rows[0]["coolant_C"], rows[0]["C1"]) == ("14", "", "")


def test_no_plan_without_options_or_mounts() -> None:
    for options, mounts in (([], 1), ([None], 0)):
        with pytest.raises(ThermsimError, match="no plan"):
            plan(None, options, ["C0"], mounts=mounts)

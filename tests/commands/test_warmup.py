"""The command `warmup`: tables, JSON, files, and what it refuses."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest
from click.testing import CliRunner

from thermsim.case.load import read_case
from thermsim.commands.main import commands
from thermsim.errors import ThermsimError, WriteError
from thermsim.loads.load import Load
from thermsim.mesh.prediction_remarks import is_grave, slips_in_words
from thermsim.report.data.warmup_result import WARMUP_KEYS, document
from thermsim.report.text.warmup_table import shown_times, warmup_blocks
from thermsim.warming.settled import settled_between
from thermsim.warming.warmup import warmup

CASE = """
title: a die under a lid
layers:
  - {part: die, material: silicon, size_mm: [10, 8], thickness_mm: 0.66}
  - {joint: paste, resistance_mm2K_W: 8}
  - {part: lid, material: copper, size_mm: [20, 20], thickness_mm: 2.4}
heat:
  - {in: die, at: bottom, zones: [{zone: core, corner_mm: [1, 1], size_mm: [4, 6], power_W: 40}]}
cooling:
  - {face: top, environment: water, film_W_m2K: 9000, fluid_C: 25}
"""
QUICK = ["--accuracy", "5", "--from", "0.01", "--until", "100"]


def case_in(folder: Path) -> Path:
    path = folder / "die.yaml"
    path.write_text(CASE, encoding="utf-8")
    return path


def test_files_hold_the_same_curves_as_the_document(tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = CliRunner().invoke(
        commands, ["warmup", str(case_in(tmp_path)), *QUICK, "--certain", "--json", "--out", str(out)]
    )
    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    assert json.loads((out / "warmup.json").read_text(encoding="utf-8"))["times_s"] == document["times_s"]
    assert {key for key in WARMUP_KEYS if "[]" not in key and "." not in key} == set(document)
    assert {key.partition(".")[2] for key in WARMUP_KEYS if key.startswith("rest.")} == set(document["rest"])
    for items in ("curves", "grids"):
        wanted = {key.partition("[].")[2] for key in WARMUP_KEYS if key.startswith(f"{items}[].")}
        assert wanted == set(document[items][0])
    mean = next(curve for curve in document["curves"] if curve["name"] == "zone core, mean")
    highest = next(curve for curve in document["curves"] if curve["name"] == "zone core, highest")
    assert 0.0 < mean["certain_doubt"] < 5.0 and highest["certain_doubt"] is None
    with (out / "warmup.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["time_s"]) for row in rows] == document["times_s"]
    assert [float(row["zone core, mean [C]"]) for row in rows] == mean["value"]
    assert mean["value"] == sorted(mean["value"])  # under a constant load the heated zone only warms up
    assert (out / "warmup-log.png").stat().st_size > 10_000
    again = CliRunner().invoke(commands, ["warmup", str(case_in(tmp_path)), *QUICK, "--out", str(out)])
    assert again.exit_code == 0, again.output
    assert "Temperatures over time" in again.output and "settled" in again.output


@pytest.mark.parametrize(("from_s", "until_s"), [("10", "1"), ("10", "1e12")])
def test_a_span_that_cannot_be_followed_is_refused_and_nothing_written(
    tmp_path: Path, from_s: str, until_s: str
) -> None:
    out = tmp_path / "out"
    words = ["warmup", str(case_in(tmp_path)), "--from", from_s, "--until", until_s, "--out", str(out)]
    done = CliRunner().invoke(commands, words)
    assert isinstance(done.exception, ThermsimError)
    assert "no span of time" in str(done.exception)
    assert not out.exists()


def test_another_warm_up_is_not_replaced_unasked(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "warmup.json").write_text('{"title": "another", "option": null}', encoding="utf-8")
    done = CliRunner().invoke(commands, ["warmup", str(case_in(tmp_path)), *QUICK, "--out", str(out)])
    assert isinstance(done.exception, WriteError)


def test_curves_are_drawn_on_axes_that_are_given(tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    from thermsim import warmup  # what is public shows itself by its tables
    from thermsim.case.load import read_case
    from thermsim.errors import UnknownNameError
    from thermsim.readout.observable import find
    from thermsim.report.figures.warmup_figure import warmup_curves

    found = warmup(read_case(case_in(tmp_path)), 0.01, 100.0, accuracy_K=5.0)
    ax = Figure().add_subplot()
    warmup_curves(found, ax, log=False, asked=["zone core, mean"])
    assert len(ax.lines) == 1
    settled = found.curves[find(found.curves, "zone core, mean")].settled_s
    end = ax.get_xlim()[1]
    assert end == 100.0 if settled is None else min(1.5 * settled[1], 100.0) <= end <= 5.0 * settled[1]
    with pytest.raises(UnknownNameError):
        warmup_curves(found, asked=["zone nowhere"])
    assert "zone core, highest" in str(found)
    assert "<table>" in found._repr_html_()


def test_a_likely_slip_is_told_beside_a_warm_up_as_beside_a_prediction(tmp_path: Path) -> None:
    """A lid of 24 mm, a decimal point away from 2.4: in the text before the numbers, and in the document."""
    slipped = tmp_path / "slipped.yaml"
    slipped.write_text(CASE.replace("thickness_mm: 2.4}", "thickness_mm: 24.0}"), encoding="utf-8")
    found = warmup(read_case(slipped), 0.01, 100.0, accuracy_K=5.0)
    told = [remark for remark in found.remarks if remark.startswith("WARNING: lid.thickness_mm")]
    assert told and told[0] in slips_in_words(read_case(slipped))
    assert document(found)["remarks"] == list(found.remarks)
    assert [block.notes for block in warmup_blocks(found) if block.title == "Read first"] == [
        tuple(remark for remark in found.remarks if is_grave(remark))
    ]


def test_settled_is_no_sharper_than_the_doubts() -> None:
    """A rise left of 10 K exp(-t / 1 s) is w from 1 K at ln(10 K / (1 K +- w)): closed form of a single body."""
    times = np.geomspace(1e-2, 1e2, 400)
    left = 10.0 * np.exp(-times)
    for width in (0.0, 0.5):
        found = settled_between(times, left, np.full(400, width), 1.0)
        assert found == pytest.approx((np.log(10.0 / (1.0 + width)), np.log(10.0 / (1.0 - width))), rel=1e-3)
    assert settled_between(times, left, np.full(400, 4.0), 1.0) is None  # the doubts are wider than what is asked
    unknown_first = np.where(times < 5.0, np.inf, 0.0)
    span = settled_between(times, left, unknown_first, 1.0)
    assert span is not None and span[0] == times[0] and span[1] == times[times >= 5.0][0]


def test_a_log_is_followed_and_kept_with_the_case(tmp_path: Path) -> None:
    """The folder of a result holds all that it was made from: its case is followed again, to the same numbers."""
    path = tmp_path / "die.yaml"
    path.write_text(f"{CASE}warmup: {{from_s: 0.05, log: power.csv}}\n", encoding="utf-8")
    (tmp_path / "power.csv").write_text("time_s;package_W\n0;40\n1;10,5\n2;40\n", encoding="utf-8")
    out = tmp_path / "out"
    words = ["warmup", str(path), "--accuracy", "5", "--json"]
    done = CliRunner().invoke(commands, [*words, "--out", str(out)])
    assert done.exit_code == 0, done.output
    first = json.loads(done.stdout)
    assert first["load"]["values"] == [[40.0], [10.5], [40.0]] and first["times_s"][-1] == 3.0
    assert {key.partition(".")[2] for key in WARMUP_KEYS if key.startswith("load.")} == set(first["load"])
    assert [curve["settled_s"] for curve in first["curves"]] == [None] * len(first["curves"])
    again = CliRunner().invoke(commands, ["warmup", str(out / "case" / "case.yaml"), "--accuracy", "5", "--json"])
    assert json.loads(again.stdout)["curves"] == first["curves"]
    with (out / "warmup.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {float(row["load [W]"]) for row in rows} == {40.0, 10.5}


def test_a_load_that_changes_at_the_last_time_shows_it_once() -> None:
    times_s, watts = np.arange(4.0), np.array([[40.0], [30.0], [20.0], [10.0]])
    load = Load(times_s, watts, (), is_share=False, ends_s=4.0)
    found = Mock(times_s=np.array([0.5, 1.0, 1.5, 2.0]))
    assert shown_times(found, load) == [1, 3]


def test_an_interrupted_warm_up_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("thermsim.report.files.warmup_export.warmup_curves", interrupted)  # the last to be written
    before = case_in(tmp_path)
    out = tmp_path / "out"
    done = CliRunner().invoke(commands, ["warmup", str(before), *QUICK, "--out", str(out)])
    assert done.exit_code != 0
    assert sorted(one.name for one in tmp_path.iterdir()) == ["die.yaml"]

"""The command `warmup`: tables, JSON, files, and what it refuses."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from thermsim.commands.main import commands
from thermsim.errors import ThermsimError, WriteError
from thermsim.report.data.warmup_result import WARMUP_KEYS

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
    done = CliRunner().invoke(commands, ["warmup", str(case_in(tmp_path)), *QUICK, "--json", "--out", str(out)])
    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    assert json.loads((out / "warmup.json").read_text(encoding="utf-8"))["times_s"] == document["times_s"]
    assert {key for key in WARMUP_KEYS if "[]" not in key} == set(document)
    for items in ("curves", "grids"):
        wanted = {key.partition("[].")[2] for key in WARMUP_KEYS if key.startswith(f"{items}[].")}
        assert wanted == set(document[items][0])
    mean = next(curve for curve in document["curves"] if curve["name"] == "zone core, mean")
    with (out / "warmup.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["time_s"]) for row in rows] == document["times_s"]
    assert [float(row["zone core, mean [C]"]) for row in rows] == mean["value"]
    assert mean["value"] == sorted(mean["value"])  # under a constant load the heated zone only warms up
    assert (out / "warmup-log.png").stat().st_size > 10_000
    again = CliRunner().invoke(commands, ["warmup", str(case_in(tmp_path)), *QUICK, "--out", str(out)])
    assert again.exit_code == 0, again.output
    assert "Temperatures over time" in again.output and "settled" in again.output


def test_a_span_the_wrong_way_round_is_refused_and_nothing_written(tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = ["warmup", str(case_in(tmp_path)), "--from", "10", "--until", "1", "--out", str(out)]
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

    from thermsim.case.load import read_case
    from thermsim.errors import UnknownNameError
    from thermsim.report.figures.warmup_figure import warmup_curves
    from thermsim.warming.warmup import warmup

    found = warmup(read_case(case_in(tmp_path)), 0.01, 100.0, accuracy_K=5.0)
    ax = Figure().add_subplot()
    warmup_curves(found, ax, log=False, asked=["zone core, mean"])
    assert len(ax.lines) == 1
    with pytest.raises(UnknownNameError):
        warmup_curves(found, asked=["zone nowhere"])
    assert "zone core, highest" in str(found)
    assert "<table>" in found._repr_html_()

"""The command `step-response`: tables, JSON, files, and what it refuses."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from tests.commands.test_warmup import CASE, case_in
from thermsim.commands.main import commands
from thermsim.errors import ThermsimError, UnknownNameError, WriteError
from thermsim.report.data.response_result import RESPONSE_KEYS
from thermsim.report.files.response_export import read_network
from thermsim.response import step_response as module

QUICK = ["--accuracy", "5", "--from", "0.01", "--until", "100"]


def asked(folder: Path, *more: str) -> Any:
    return CliRunner().invoke(commands, ["step-response", str(case_in(folder)), *QUICK, *more])


def test_files_and_document_hold_the_same_and_are_replayed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out, once, made = tmp_path / "out", module.step_response, []

    def kept(*given: Any, **more: Any) -> Any:
        made.append(made[0] if made else once(*given, **more))
        return made[-1]

    monkeypatch.setattr(module, "step_response", kept)
    done = asked(tmp_path, "--json", "--out", str(out))
    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    assert json.loads((out / "response.json").read_text(encoding="utf-8")) == document
    assert {key for key in RESPONSE_KEYS if "[]" not in key} == set(document)
    items = {key.partition("[].")[2] for key in RESPONSE_KEYS if key.startswith("structures[].")}
    assert items == set(document["structures"][0])
    with (out / "zth.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    own = [float(row["core by core [K/W]"]) for row in rows]
    assert own == [*(at[0][0] for at in document["zth_K_W"]), document["resistance_K_W"][0][0]]
    assert own == sorted(own) and rows[-1]["time_s"] == "inf"
    assert {path.name for path in out.iterdir()} >= {"zth.png", "structure.png", "versions.json", "case"}
    network = read_network(out)
    np.testing.assert_allclose(network.zth(document["times_s"], "core", "core"), own[:-1], atol=0.05)
    shown = asked(tmp_path, "--zone", "core", "--out", str(out))
    assert shown.exit_code == 0, shown.output
    titles = ("Zth of each zone", "Zth by a watt in core", "Time constants of core", "Ladder of core", "From core to")
    assert all(title in shown.output for title in (*titles, "Steady resistance matrix"))


def test_a_wrong_zone_and_a_wrong_span_are_refused_before_anything_is_solved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "solve_on", None)
    out = tmp_path / "out"
    wrong = asked(tmp_path, "--zone", "cote", "--out", str(out))
    assert isinstance(wrong.exception, UnknownNameError) and "core" in str(wrong.exception)
    late = asked(tmp_path, "--from", "200", "--out", str(out))
    assert isinstance(late.exception, ThermsimError) and "rising times" in str(late.exception)
    bare = tmp_path / "bare.yaml"
    bare.write_text(CASE.replace("material: copper", "material: {conductivity_W_mK: 390}"), encoding="utf-8")
    lacks = CliRunner().invoke(commands, ["step-response", str(bare), "--out", str(out)])
    assert isinstance(lacks.exception, ThermsimError) and "heat_capacity_J_kgK" in str(lacks.exception)
    out.mkdir()
    (out / "response.json").write_text('{"title": "another", "option": null}', encoding="utf-8")
    assert isinstance(asked(tmp_path, "--out", str(out)).exception, WriteError)


def test_an_interrupt_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While grids are solved, and while files are written."""

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    out = tmp_path / "out"
    with monkeypatch.context() as while_solving:
        while_solving.setattr(module, "solve_on", stopped)
        assert asked(tmp_path, "--out", str(out)).exit_code != 0
    assert not out.exists()
    with monkeypatch.context() as while_writing:
        while_writing.setattr("thermsim.report.figures.response_figure.response_curves", stopped)
        assert asked(tmp_path, "--out", str(out)).exit_code != 0
    assert not out.exists()

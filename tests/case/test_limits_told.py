"""Requests beyond what a machine can do: told with their limit before anything is computed, never a traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
import study_tasks

import thermsim
from thermsim.commands import main as commands
from thermsim.errors import MemoryLimitError, ThermsimError, WorkersError
from thermsim.run.run_tasks import run

CASE = """title: t
layers:
  - {part: die, material: silicon, size_mm: [10, 10], thickness_mm: {value: 0.7, plus_minus: 0.1}}
heat:
  - {in: die, zones: [{zone: a, power_W: 3}]}
cooling:
  - {face: top, film_W_m2K: 1000, fluid_C: 30}
options:
  - {option: thin, changes: {die.thickness_mm: 0.3}}
"""

COMMANDS = {
    "samples": (["compare", "case.yaml", "--samples", "100000000000"], "131072"),
    "samples kept": (["compare", "case.yaml", "--samples", "10000000", "--out", "out"], "131072"),
    "sweep to infinity": (["sweep", "case.yaml", "--vary", "die.thickness_mm", "1", "1e308", "3"], "1e+15"),
    "sweep of powers": (["sweep", "case.yaml", "--vary", "a.power_W", "-1e300", "1", "3"], "1e+15"),
    "points": (["sweep", "case.yaml", "--vary", "die.thickness_mm", "1", "2", "100000000000"], "10000"),
    "map": (
        [
            "sweep",
            "case.yaml",
            *["--vary", "die.thickness_mm", "1", "2", "2000", "--vary", "top.fluid_C", "1", "2", "2000"],
        ],
        "10000",
    ),
    "workers": (["compare", "case.yaml", "--workers", "1000000", "--samples", "1024"], "workers are more than"),
}


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "workers"])
def test_a_command_that_asks_too_much(name: str, tmp_path: Path) -> None:
    words, limit = COMMANDS[name]
    (tmp_path / "case.yaml").write_text(CASE, encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-m", "thermsim", *words],
        cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == ThermsimError.exit_code, done.stderr
    assert limit in done.stderr and "remedy:" in done.stderr and "Traceback" not in done.stderr
    assert done.stdout == "" and not list((tmp_path / "out").glob("*"))


def test_more_workers_than_help() -> None:
    with pytest.raises(WorkersError, match="1000000 workers are more than") as told:
        run(study_tasks.make, study_tasks.tasks(10), workers=1_000_000)
    assert told.value.remedy


@pytest.mark.parametrize("value", [1e16, -1e300, float("inf"), float("nan")])
def test_a_number_that_no_case_may_have(value: float) -> None:
    case = thermsim.parse_case(CASE)
    with pytest.raises(ThermsimError, match="cannot be"):
        thermsim.with_inputs(case, {"top.fluid_C": value})


def test_memory_that_runs_out_is_told(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def used_up(standalone_mode: bool) -> None:
        raise MemoryError

    monkeypatch.setattr(commands, "commands", used_up)
    with pytest.raises(SystemExit) as left:
        commands.main()
    assert left.value.code == MemoryLimitError.exit_code
    assert "remedy:" in capsys.readouterr().err

"""A comparison that is killed or interrupted again and again, and gone on with, ends as an undisturbed one does."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from counts import counts

ROOT = Path(__file__).parents[2]
SEED = 20_268
STARTS_S = 0.3  # until Python itself has started, which nobody can make quiet
CASE = """
title: killed
layers:
  - {part: chip, material: {conductivity_W_mK: {value: 120, plus_minus: 12}}, size_mm: [20, 20], thickness_mm: 0.7}
  - {joint: between, resistance_mm2K_W: {value: 12, plus_minus: 2}}
  - {part: lid, material: {conductivity_W_mK: 390}, size_mm: [30, 26], thickness_mm: 2}
heat:
  - {in: chip, leakage: {per_K: 0.003, at_C: 60}, zones: [{zone: all, power_W: 50}]}
cooling:
  - {face: top, film_W_m2K: 8000, fluid_C: 20}
options:
  - {option: new, changes: {between: {resistance_mm2K_W: {value: 4, plus_minus: 1.5}}}}
accuracy_K: 0.3
"""


def started(folder: Path, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "thermsim", "compare", "case.yaml", "--samples", "1024", "--workers", "2"]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [*command, "--out", folder.name, *more], cwd=folder.parent, env=environment, start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


# A parent that is killed just as it starts a worker leaves the worker without what it is to run. Python itself then
# prints a traceback of its own start-up, before a line of thermsim is loaded that could keep it quiet.
STARTED_BY_A_DEAD_PARENT = re.compile(
    r"Traceback \(most recent call last\):\n"
    r'(?:  File "(?:<string>|[^"\n]*/multiprocessing/spawn\.py)", line .*\n(?: {4}.*\n)*)+'
    r"(?:EOFError: Ran out of input|_pickle\.UnpicklingError: pickle data was truncated)\n"
)


def ended(process: subprocess.Popen[str], parent_killed: bool = False) -> str:
    """What it and all of its workers have said until the last of them has ended."""
    said = process.communicate(timeout=120)[1]
    if parent_killed:
        said = STARTED_BY_A_DEAD_PARENT.sub("", said)
    for noise in ("Traceback", "Exception ignored", "Error:"):
        assert noise not in said, said
    return said


def result(folder: Path) -> Any:
    """The result without the time that it took."""
    found = json.loads((folder / "result.json").read_text(encoding="utf-8"))

    def timeless(node: Any) -> Any:
        if isinstance(node, dict):
            return {key: timeless(value) for key, value in node.items() if key not in ("seconds", "date")}
        return [timeless(item) for item in node] if isinstance(node, list) else node

    return timeless(found)


def hidden(folder: Path) -> list[Path]:
    return list(folder.glob(".*"))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """An undisturbed run, and the time that it takes [s] where everything is compiled."""
    folder = tmp_path_factory.mktemp("resumed")
    (folder / "case.yaml").write_text(CASE, encoding="utf-8")
    for name in ("first", "whole"):
        begun = time.perf_counter()
        process = started(folder / name)
        ended(process)
        assert process.returncode == 0
    return folder / "whole", time.perf_counter() - begun


def on_with_it(folder: Path) -> list[str]:
    return ["--resume"] * (folder / "study.sqlite").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="a pipe is handed on by its number")
@pytest.mark.parametrize("sent", [b"", b"\x80\x04\x95\x99"], ids=["nothing", "half"])
def test_only_a_worker_without_a_parent_is_forgiven_its_traceback(sent: bytes) -> None:
    to_child, from_parent = os.pipe()
    os.write(from_parent, sent)
    os.close(from_parent)
    start = f"from multiprocessing.spawn import _main; _main({to_child}, 0)"
    said = subprocess.run(
        [sys.executable, "-c", start], pass_fds=[to_child], stderr=subprocess.PIPE, text=True, check=False
    ).stderr
    os.close(to_child)
    assert said.startswith("Traceback") and not STARTED_BY_A_DEAD_PARENT.sub("", said)
    elsewhere = said.replace("multiprocessing/spawn.py", "thermsim/run/pool.py")
    assert STARTED_BY_A_DEAD_PARENT.sub("", elsewhere) == elsewhere


@pytest.mark.parametrize("kills", counts(8, 30))
@pytest.mark.skipif(sys.platform == "win32", reason="kills a process group")
def test_killed_at_random_moments_and_resumed(whole: tuple[Path, float], kills: int) -> None:
    """Every other time the workers are left to themselves: they end too, and say nothing."""
    folder, seconds = whole[0].parent / f"killed {kills}", whole[1]
    rng = np.random.default_rng(SEED)
    for number in range(kills):
        process = started(folder, *on_with_it(folder))
        time.sleep(float(rng.uniform(0.1, 0.6)) * seconds)
        if number % 2:
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
        ended(process, parent_killed=True)
    process = started(folder, *on_with_it(folder))
    ended(process)
    assert process.returncode == 0 and not hidden(folder)
    assert result(folder) == result(whole[0])


@pytest.mark.parametrize("interrupts", counts(8, 30))
@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT for a group of processes")
def test_interrupted_at_random_moments_and_resumed(whole: tuple[Path, float], interrupts: int) -> None:
    """The key reaches every process of a terminal; it is heard at once, whatever is being done."""
    folder, seconds = whole[0].parent / f"interrupted {interrupts}", whole[1]
    rng = np.random.default_rng(SEED + 1)
    stopped = 0
    for _ in range(interrupts):
        process = started(folder, *on_with_it(folder))
        time.sleep(max(STARTS_S, float(rng.uniform(0.0, 0.9)) * seconds))
        os.killpg(process.pid, signal.SIGINT)
        said = ended(process)
        assert not hidden(folder)
        if process.returncode == 0:  # it had come to its end
            assert result(folder) == result(whole[0])
            shutil.rmtree(folder)
            continue
        assert process.returncode == 130, said
        assert "interrupted: " in said or "stopped; nothing half-written" in said
        stopped += 1
    assert stopped > interrupts // 2
    process = started(folder, *on_with_it(folder))
    ended(process)
    assert process.returncode == 0
    assert result(folder) == result(whole[0])

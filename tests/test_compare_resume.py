"""A comparison that is killed again and again, and gone on with, ends in the result of an undisturbed one."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

ROOT = Path(__file__).parent.parent
SEED = 20_268
KILLS = 20
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


def started(folder: Path, *more: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "thermsim", "compare", "case.yaml", "--samples", "1024", "--workers", "2"]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    return subprocess.Popen(
        [*command, "--out", folder.name, *more], cwd=folder.parent, env=environment, start_new_session=True, **quiet
    )


def result(folder: Path) -> Any:
    """The result without the time that it took."""
    found = json.loads((folder / "result.json").read_text(encoding="utf-8"))

    def timeless(node: Any) -> Any:
        if isinstance(node, dict):
            return {key: timeless(value) for key, value in node.items() if key not in ("seconds", "date")}
        return [timeless(item) for item in node] if isinstance(node, list) else node

    return timeless(found)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kills a process group")
def test_killed_at_random_moments_and_resumed(tmp_path: Path) -> None:
    (tmp_path / "case.yaml").write_text(CASE, encoding="utf-8")
    begun = time.perf_counter()
    assert started(tmp_path / "whole").wait() == 0
    whole_s = time.perf_counter() - begun
    rng = np.random.default_rng(SEED)
    for _ in range(KILLS):
        process = started(tmp_path / "killed", *["--resume"] * (tmp_path / "killed" / "study.sqlite").exists())
        time.sleep(float(rng.uniform(0.1, 0.5)) * whole_s)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
    assert started(tmp_path / "killed", "--resume").wait() == 0
    assert result(tmp_path / "killed") == result(tmp_path / "whole")

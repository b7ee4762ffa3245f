"""The numbers of the tutorial's chapter on a second run, against what is replayed, and by hand."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from thermsim.case.load import read_case
from thermsim.response.step_response import step_response

ROOT = Path(__file__).parents[2]
ROW = re.compile(r"^\| (\d+) min \| ([0-9.]+) K \| ([0-9.]+) K \|$", flags=re.MULTILINE)


@pytest.mark.slow
def test_the_tutorial_tells_what_a_second_run_reads() -> None:
    """By hand: what is left of the coolant's rise dies away with C / UA = 4000 / 20 s, and a little for the stack."""
    told = ROW.findall((ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8"))
    assert [int(minutes) for minutes, _, _ in told] == [1, 2, 5, 10]
    response = step_response(read_case(ROOT / "cases" / "second-run.yaml"), 1.0, 1e4, accuracy_K=1.0)
    made = response.network.made_W
    assert response.longest_s == pytest.approx(208.0, abs=1.0) and 200.0 < response.longest_s < 215.0
    for minutes, row, coolant in told:
        rest_s = 60.0 * float(minutes)
        times = [0.0, 60.0, 600.0, 600.0 + rest_s, 660.0 + rest_s]
        celsius, _ = response.replay(times, [made, made, 0.0 * made, made, made])
        higher = celsius[4] - celsius[1]
        assert f"{higher[0]:.1f}" == row and f"{higher[-1]:.1f}" == coolant
        left = (celsius[2, -1] - celsius[0, -1]) * np.exp(-(rest_s + 60.0) / response.longest_s)
        assert higher[-1] == pytest.approx(left, rel=0.05)  # one exponential of two that are slow

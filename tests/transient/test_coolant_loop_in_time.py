"""The coolant loop in time: two lumped nodes, and a layered slab on a mixed loop, against exact solutions."""

from __future__ import annotations

import re

import numpy as np
import pytest
from on_a_loop import BLOCK, BLOCK_AND_COOLANT, END, LOADED_K, RATES, RISE, SLAB, TIME_CONSTANTS, TWO_NODES
from scipy.linalg import expm
from stacks import solve_on

from thermsim.case.load import parse_case
from thermsim.errors import ThermsimError
from thermsim.model.grid.plan import plan_grid
from thermsim.report.text.warmup_table import warmup_blocks
from thermsim.warming.held_still import model_of, reader_of
from thermsim.warming.outcome import Warmup
from thermsim.warming.warmup import warmup


def test_two_nodes_to_all_printed_digits() -> None:
    case = parse_case(TWO_NODES, "nodes.yaml")
    field = solve_on(case, plan_grid(case, 60).grid(1))
    reader = reader_of(case, field, 1.0, 1)
    small = model_of(reader, (0.0, 1.0, 0.1, 0.01))
    times = np.array(list(BLOCK_AND_COOLANT))
    curves = reader.curves(small, times)
    for number, (block, coolant) in enumerate(BLOCK_AND_COOLANT.values()):
        assert curves["zone", "all", "mean"][number] == pytest.approx(block, abs=6e-7)
        assert curves["coolant",][number] == pytest.approx(coolant, abs=6e-7)
    assert 1.0 / small.rates()[:2] == pytest.approx(TIME_CONSTANTS, rel=1e-8)
    assert reader.imbalance(small, times) < 1e-10


@pytest.fixture(scope="module")
def slab() -> Warmup:
    return warmup(parse_case(SLAB, "slab.yaml"), 0.1, 3600.0, also_s=list(RISE)[1:-1], first_cells=60, accuracy_K=0.05)


def test_a_slab_on_a_mixed_loop(slab: Warmup) -> None:
    curve = slab.curves["zone", "all", "mean"]
    for time, rise in RISE.items():
        at = int(np.flatnonzero(np.isclose(slab.times_s, time, rtol=1e-12))[0])
        assert float(curve.value[at]) == pytest.approx(rise, rel=2e-4)
        assert float(curve.value[at]) == pytest.approx(rise, abs=float(curve.half_width[at]) + 1e-6)
    assert curve.loaded.value == pytest.approx(END, rel=1e-6)


def test_the_capacity_of_a_loop_must_be_known() -> None:
    case = parse_case(TWO_NODES.replace("heat_capacity_J_K: 2000, ", ""), "nodes.yaml")
    with pytest.raises(ThermsimError, match="how fast the coolant of the loop warms up is not known"):
        warmup(case, 1.0, 10.0)


def test_a_warm_up_that_ends_too_early_says_until_when_to_follow_it() -> None:
    """Of what is left of an exponential after five time constants: less than a hundredth (e^-5)."""
    case = parse_case(TWO_NODES.replace("1.0e9", "400"), "nodes.yaml")  # as good as one temperature, and usual
    early = warmup(case, 0.1, 1.0, first_cells=60)
    (told,) = [remark for remark in early.remarks if "is settled within" in remark]
    advised = re.search(r"`--until ([0-9.]+)`", told)
    assert advised is not None and 5.0 * TIME_CONSTANTS[0] <= float(advised[1]) <= 5.5 * TIME_CONSTANTS[0]
    rest = " ".join(note for block in warmup_blocks(early) if block.title.startswith("Rest") for note in block.notes)
    assert "is not told: it is longer than the 1 s followed, or the doubts are wider than that" in rest
    later = warmup(case, 0.1, float(advised[1]), first_cells=60)
    assert all(curve.settled_s is not None for one, curve in later.curves.items() if not one.is_heat)
    assert not any("is settled within" in remark for remark in later.remarks)


@pytest.fixture(scope="module")
def nodes() -> Warmup:
    case = parse_case(BLOCK, "nodes.yaml")
    return warmup(case, 1.0, 600.0, first_cells=60, settled_K=0.5, accuracy_K=0.01)


def two_nodes_after(rest_s: float, run_s: float) -> np.ndarray:
    """Block and coolant over the room [K] in a second run: loaded, at rest for so long, then loaded again.

    The same two nodes as a 2 by 2 matrix, by scipy's matrix exponential.
    """
    left = expm(rest_s * RATES) @ LOADED_K
    return np.asarray(LOADED_K + expm(run_s * RATES) @ (left - LOADED_K))


def test_after_the_shortest_fair_rest_a_second_run_repeats_the_first(nodes: Warmup) -> None:
    """At any time of the runs; a rest a tenth shorter is too short."""
    assert nodes.rest.seconds is not None and nodes.rest.noted_s is not None
    assert nodes.rest.per_kelvin == pytest.approx(1.0, abs=1e-6)

    def most_apart(rest_s: float, noted: bool) -> float:
        runs = np.array([0.0, 1.0, 5.0, 20.0, 60.0, 300.0])
        apart = np.array([two_nodes_after(rest_s, run) - two_nodes_after(1e9, run) for run in runs])
        return float(np.abs(apart[:, 0] - (apart[:, 1] if noted else 0.0)).max())

    for span, noted in ((nodes.rest.seconds, False), (nodes.rest.noted_s, True)):
        assert most_apart(span[1], noted) <= 0.505
        assert most_apart(0.9 * span[0], noted) > 0.5
    assert nodes.rest.noted_s[1] < 0.5 * nodes.rest.seconds[0]


LEAKING = {"a rise": 0.012, "at": 50.0}  # of 250 W by a kelvin, at a temperature [C]


def leaking_nodes(time_s: float, start: np.ndarray, power_W: float) -> np.ndarray:
    """Block and coolant over the room [K] with heat that grows linearly, by scipy's matrix exponential."""
    growth = LEAKING["a rise"] * power_W
    matrix = np.array([[(growth - 12.5) / 150.0, 12.5 / 150.0], [12.5 / 2000.0, -52.5 / 2000.0]])
    at_zero = np.array([(power_W + growth * (25.0 - LEAKING["at"])) / 150.0, 0.0])
    end = -np.linalg.solve(matrix, at_zero)
    return np.asarray(end + expm(time_s * matrix) @ (start - end))


def test_with_leakage_a_rest_with_the_coolant_noted_serves_early_readings_too() -> None:
    """Loaded a kelvin of coolant makes more than one of the block, just after switching on it does not."""
    leakage = f"leakage: {{per_K: {LEAKING['a rise']}, at_C: {LEAKING['at']}}}, zones"
    case = parse_case(BLOCK.replace("zones", leakage), "nodes.yaml")
    rest = warmup(case, 1.0, 900.0, first_cells=60, settled_K=0.5, accuracy_K=0.01).rest
    assert rest.noted_s is not None and rest.why is None
    assert rest.per_kelvin == pytest.approx(12.5 / (12.5 - 250.0 * LEAKING["a rise"]), rel=1e-4)
    loaded = leaking_nodes(1e6, np.zeros(2), 250.0)

    def most_apart(rest_s: float) -> float:
        left = leaking_nodes(rest_s, loaded, 0.0)
        runs = (0.01, 1.0, 5.0, 20.0, 60.0, 300.0)
        apart = np.array([leaking_nodes(run, left, 250.0) - leaking_nodes(run, np.zeros(2), 250.0) for run in runs])
        return float(np.abs(apart[:, 0] - rest.per_kelvin * apart[:, 1]).max())

    assert most_apart(rest.noted_s[1]) <= 0.505

"""A chip that holds back: power over time against closed forms of one body, and against scipy's integrators."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from test_coolant_loop_in_time import SLAB
from test_held_still import RUNAWAY, RUNS_AWAY

from thermsim.case.load import parse_case
from thermsim.errors import CaseError
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.observable import COOLANT
from thermsim.report.data.warmup_result import csv_lines, document
from thermsim.report.figures.warmup_figure import warmup_curves
from thermsim.report.text.warmup_table import warmup_blocks
from thermsim.transient.balance import Holding
from thermsim.transient.whole import whole_curves
from thermsim.warming.held_back import holding_of
from thermsim.warming.outcome import Warmup
from thermsim.warming.warmup import warmup

READING = "readings: [{reading: sensor, zone: fixed}]\n"
HOLDS_BACK = "limits: {reading_C: 90, holds_back: true}\n"
LEFT = (90.0 - 30.0) / 0.30 / (190.0 + 30.0 * 2.0 ** ((90.0 - 70.0) / 16.0))  # heat let out at 90 C over heat asked for
PASSES_90_S = RUNS_AWAY[90.0]


def test_a_body_that_would_run_away_stays_at_its_limit_with_what_it_lets_out() -> None:
    """All power until 90 C, then the share that makes what the film lets out at 90 C."""
    case = parse_case(f"{RUNAWAY}{READING}{HOLDS_BACK}", "body.yaml")
    model = build_model(case, plan_grid(case, 60).grid(1))
    times = np.array([20.0, 35.0, 100.0])
    holding = holding_of(case, model)
    assert sum(float(source.watts.sum()) for source in holding.without.sources) == 0.0
    whole = whole_curves(case, model, [], model.first_guess(), times, 0.1, holding=holding)
    told, doubt = whole.values + whole.left, whole.time_doubt
    share, held_s, begins_s = told[-3], told[-2], told[-1]
    assert begins_s[0] == pytest.approx(PASSES_90_S, abs=float(doubt[-1, 0]) + 1e-3) and doubt[-1, 0] < 0.05
    assert share == pytest.approx([1.0, LEFT, LEFT], abs=1e-4)
    assert held_s == pytest.approx((1.0 - LEFT) * np.maximum(times - PASSES_90_S, 0.0), abs=float(doubt[-2].max()))
    assert whole.imbalance < 1e-4


SLAB_LIMIT_C = 90.0  # of 139.7 C
HOLDING_SLAB = (
    SLAB + f"readings: [{{reading: face, zone: all}}]\nlimits: {{reading_C: {SLAB_LIMIT_C}, holds_back: true}}\n"
)


@pytest.fixture(scope="module")
def slab() -> Warmup:
    case = parse_case(HOLDING_SLAB, "slab.yaml")
    return warmup(case, 0.1, 600.0, also_s=[2.0, 10.0, 60.0, 300.0], first_cells=60, accuracy_K=0.2)


def lines_of(count: int) -> dict[float, tuple[float, float]]:
    """Coolant [C] and heat [W] at times of the slab on its loop, cut into cells along z, by scipy's BDF.

    The heated face takes 1000 W until it is at its limit, and is held there from then on.
    """
    area, joint, film = 1e-3, 6.8e-6, 14000.0
    parts = ((0.66e-3, 125.0, 2330.0 * 712.0), (2.45e-3, 395.0, 8933.0 * 385.0))
    width = np.concatenate([np.full(count, part[0] / count) for part in parts])
    k, c = (np.repeat([part[of] for part in parts], count) for of in (1, 2))
    between = 0.5 * width[:-1] / k[:-1] + 0.5 * width[1:] / k[1:]
    between[count - 1] += joint
    conducts, stores = area / between, area * width * c
    first, last = area * 2.0 * k[0] / width[0], area / (0.5 * width[-1] / k[-1] + 1.0 / film)

    def change(state: np.ndarray, heat_W: float) -> np.ndarray:
        flow, out = conducts * -np.diff(state[:-1]), last * (state[-2] - state[-1])
        into = np.concatenate([[heat_W], flow]) - np.concatenate([flow, [out]])
        return np.append(into / stores, (out - 20.0 * state[-1]) / 4000.0)

    def hot(_: float, state: np.ndarray) -> float:
        return float(state[0] + 1000.0 / first - SLAB_LIMIT_C)

    hot.terminal = True  # type: ignore[attr-defined]
    settings = {"method": "BDF", "rtol": 1e-8, "atol": 1e-7}
    free = solve_ivp(
        lambda _, state: change(state, 1000.0), (0.0, 600.0), np.zeros(2 * count + 1), events=hot, **settings
    )
    begins = float(free.t[-1])

    def held_W(state: np.ndarray) -> float:
        return float(first * (SLAB_LIMIT_C - state[0]))

    times = [10.0, 60.0, 300.0, 600.0]
    held = solve_ivp(
        lambda _, state: change(state, held_W(state)), (begins, 600.0), free.y[:, -1], t_eval=times, **settings
    )
    return {0.0: (begins, np.nan)} | {
        time: (float(state[-1]), held_W(state)) for time, state in zip(times, held.y.T, strict=True)
    }


@pytest.mark.slow
def test_a_slab_on_a_loop_that_is_held_at_its_limit(slab: Warmup) -> None:
    held, exact = slab.held_back, lines_of(60)
    assert held is not None and held.from_s is not None and held.power_W == 1000.0 and not held.runs_away
    assert abs(held.from_s.value - exact[0.0][0]) <= held.from_s.half_width + 2e-3
    assert held.from_s.half_width < 0.05 * held.from_s.value
    coolant, face = slab.curves[COOLANT], slab.curves["reading", "face"]
    for time in (10.0, 60.0, 300.0):
        at = int(np.flatnonzero(np.isclose(slab.times_s, time, rtol=1e-12))[0])
        assert abs(float(coolant.value[at]) - exact[time][0]) <= float(coolant.half_width[at]) + 1e-3
        assert abs(float(held.left_W[at]) - exact[time][1]) <= float(held.left_doubt_W[at]) + 0.2
        assert float(held.left_doubt_W[at]) < 20.0
    assert np.all(face.value - face.half_width <= SLAB_LIMIT_C)
    assert face.unheated == pytest.approx(0.0, abs=1e-9)
    steady_W = SLAB_LIMIT_C / 139.7111031 * 1000.0  # the rise of the slab is all but in proportion to its heat
    assert held.end_W.value == pytest.approx(steady_W, abs=held.end_W.half_width + 1e-3)


@pytest.mark.slow
def test_what_is_told_of_a_chip_that_holds_back(slab: Warmup) -> None:
    (block,) = [block for block in warmup_blocks(slab) if block.title == "Power held back"]
    assert [row[0] for row in block.rows] == ["power left [W]", "held back [%]"]
    assert "meets its limit of 90 C after" in block.notes[0] and "J are lost" in block.notes[1]
    told = document(slab)["held_back"]
    assert told["end_W"] == pytest.approx(644.2, abs=1.0) and len(told["left_W"]) == len(slab.times_s)
    assert told["lost_J"] < 1000.0 * 600.0 * (1.0 - 0.6442)
    lines = list(csv_lines(slab))
    assert lines[0][-2:] == ["power left [W]", "power left +- [W]"] and float(lines[1][-2]) == pytest.approx(1000.0)
    figure = warmup_curves(slab)
    assert [ax.get_ylabel() for ax in figure.axes] == ["temperature [C]", "power left [W]"]


def test_a_chip_below_its_limit_holds_nothing_back() -> None:
    text = SLAB.replace("power_W: 1000", "power_W: 100") + "readings: [{reading: face, zone: all}]\n"
    found = warmup(parse_case(f"{text}{HOLDS_BACK}", "slab.yaml"), 1.0, 10.0, first_cells=60, accuracy_K=1.0)
    assert found.held_back is not None and found.held_back.is_never
    (block,) = [block for block in warmup_blocks(found) if block.title == "Power held back"]
    assert block.notes == ("None: no reading meets its limit of 90 C; the reading face comes nearest.",)
    assert document(found)["held_back"]["end_W"] == 100.0


def test_only_zones_with_a_clock_are_held_back() -> None:
    """What the others make stays as it is, in one face with them, under one law of leakage."""
    text = """
title: two zones
layers: [{part: die, material: silicon, size_mm: [10, 8], thickness_mm: 0.66}]
heat:
  - in: die
    at: bottom
    leakage: {share: 0.2, at_C: 80, doubling_K: 25}
    zones:
      - {zone: core, corner_mm: [1, 1], size_mm: [4, 6], power_W: 60}
      - {zone: other, corner_mm: [6, 1], size_mm: [3, 6], power_W: 20}
cooling: [{face: top, film_W_m2K: 9000, fluid_C: 25}]
clock: {frequency_GHz: 5, voltage_V: 1.2, zones: [core]}
readings: [{reading: sensor, zone: core}]
limits: {reading_C: 70, holds_back: true}
"""
    case = parse_case(text, "zones.yaml")
    model = build_model(case, plan_grid(case, 60).grid(1))
    holding: Holding = holding_of(case, model)
    (source,) = holding.without.sources
    assert float(source.watts.sum()) == pytest.approx(20.0, rel=1e-12)
    (before,) = model.sources
    zone = next(one for one in model.zones if one.zone == "other")
    assert np.allclose(source.watts[zone.x, zone.y], before.watts[zone.x, zone.y], rtol=1e-12)


def test_holding_back_needs_a_limit_and_readings() -> None:
    with pytest.raises(CaseError, match=r"meets a limit: give `limits\.reading_C` and `readings`"):
        parse_case(SLAB + "limits: {holds_back: true}\n", "slab.yaml")


@pytest.mark.usefixtures("coarse_grids")
def test_a_prediction_at_all_power_says_that_the_chip_would_hold_back() -> None:
    case = parse_case(HOLDING_SLAB, "slab.yaml")
    told = [remark for remark in predict(case, accuracy_K=1.0).remarks if "holds back" in remark]
    assert len(told) == 1 and "`face` would pass the limit of 90 C" in told[0]
    cooler = parse_case(HOLDING_SLAB.replace("power_W: 1000", "power_W: 500"), "slab.yaml")
    assert not any("holds back" in remark for remark in predict(cooler, accuracy_K=1.0).remarks)

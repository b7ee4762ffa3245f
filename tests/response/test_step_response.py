"""Step responses Zth against exact solutions, against the resistance matrix of the steady state, and replayed."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tests.transient.test_open_cases import EXACT, STEP, TIMES
from thermsim.case.load import parse_case
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.mesh.predict import FEWEST_GRIDS, plan_for, predict, solve_on
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.superposition import superposition
from thermsim.report.figures.response_figure import response_curves, structure_curve
from thermsim.report.files.response_export import read_network, write_response
from thermsim.report.text.response_table import response_blocks
from thermsim.response.network import ModalNetwork
from thermsim.response.networks import Cauer, to_foster
from thermsim.response.step_response import StepResponse, step_response
from thermsim.transient.grid import time_plan

TWO_ZONES = """
title: two zones
layers:
  - {part: die, material: {conductivity_W_mK: 130, density_kg_m3: 2330, heat_capacity_J_kgK: 712}, size_mm: [8, 6], thickness_mm: 0.6}
  - {joint: paste, film_um: 90, conductivity_W_mK: 5, density_kg_m3: 2500, heat_capacity_J_kgK: 900}
  - {part: lid, material: {conductivity_W_mK: 390, density_kg_m3: 8900, heat_capacity_J_kgK: 385}, size_mm: [14, 12], thickness_mm: 2}
heat:
  - in: die
    at: top
    zones:
      - {zone: left, corner_mm: [0.5, 1], size_mm: [3, 4], power_W: 20}
      - {zone: right, corner_mm: [5, 1], size_mm: [2, 2], power_W: 8}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
  - {face: bottom, film_W_m2K: 50, fluid_C: 35}
probes:
  - {probe: on the lid, in: lid, at_mm: [7, 6, 2]}
"""  # noqa: E501


@cache
def two_zones() -> StepResponse:
    return step_response(parse_case(TWO_ZONES, "two.yaml"), 1e-3, 1e3, first_cells=300, grids=3)


@cache
def layered() -> StepResponse:
    """The film that stores of tests/transient/test_open_cases.py: heat crosses 1 cm2, so 1 K/W is 100 mm2K/W."""
    case = parse_case(f"title: film that stores\nlayers:{EXACT['film that stores'][0]}{STEP}", "open.yaml")
    return step_response(case, 1e-4, 30.0, first_cells=60, grids=4)


def test_zth_is_exact_within_what_is_told_and_within_a_percent() -> None:
    """Reference: Laplace transforms inverted with mpmath, see tests/transient/test_open_cases.py."""
    found, exact = layered(), EXACT["film that stores"][1]
    for time, rise in zip(TIMES, exact, strict=True):
        at = int(np.argmin(np.abs(found.times_s - time)))
        near = found.network.zth(time, "all", "all")
        if found.times_s[at] == pytest.approx(time, rel=1e-9):
            assert abs(found.zth[at, 0, 0] - rise / 100.0) <= found.half_width[at, 0, 0]
        assert abs(float(near) - rise / 100.0) <= (0.01 if time >= 1e-3 else 0.02) * rise / 100.0


def test_at_the_end_it_is_the_resistance_matrix_and_at_all_times_it_is_symmetric() -> None:
    """Reciprocity: with one area a zone, z_ij = z_ji. The end: solved directly, apart from any model in time."""
    found = two_zones()
    square = found.zth[:, :2]
    np.testing.assert_allclose(square, np.swapaxes(square, 1, 2), rtol=1e-9, atol=1e-12)
    network = found.network
    end = np.array([[network.zth(1e9, output, zone) for zone in network.inputs] for output in network.outputs])
    case = found.case
    plan = time_plan(case, plan_for(case, plan_grid(case, 300), 300, case.accuracy_K, 4.0)[0], 1e-3)
    field, _ = solve_on(case, plan.grid(plan.multipliers[FEWEST_GRIDS - 1]), None, 1e-9)
    direct = superposition(case, field)
    np.testing.assert_allclose(end, direct.resistance, rtol=2e-7)
    assert np.all(found.zth >= -found.time_doubt)


def test_chains_and_ladders_answer_as_the_response_does() -> None:
    network = two_zones().network
    times = np.geomspace(1e-3, 1e3, 40)
    for zone in network.inputs:
        whole = network.zth(times, zone, zone)
        chain, ladder = network.foster(zone), network.cauer(zone)
        assert np.all(chain.resistance_K_W > 0.0) and np.all(np.diff(chain.time_constant_s) > 0.0)
        assert np.all(ladder.resistance_K_W > 0.0) and np.all(ladder.capacity_J_K > 0.0)
        np.testing.assert_allclose(chain.response(times), whole, rtol=1e-3, atol=1e-6)
        np.testing.assert_allclose(to_foster(ladder).response(times), whole, rtol=1e-3, atol=1e-6)
        assert len(chain.resistance_K_W) < 25


def test_the_ladder_holds_the_heat_of_the_whole_stack_and_its_resistance() -> None:
    """Of a stack that conducts in one line: all capacity, all resistance, by hand (mm2K/W over 100 mm2)."""
    ladder = layered().network.cauer("all")
    capacity = 1e-4 * (2330 * 712 * 0.66e-3 + 7310 * 233 * 0.24e-3 + 8933 * 385 * 2.45e-3)
    assert float(ladder.resistance_K_W.sum()) == pytest.approx(0.893396745, rel=1e-6)
    assert float(ladder.capacity_J_K.sum()) == pytest.approx(capacity, rel=0.02)


def test_replay_is_exact_for_steps_and_for_lines() -> None:
    """Reference: superposition of steps by Duhamel's integral; a ramp is the integral of the step response."""
    network = two_zones().network
    times = np.array([0.0, 0.1, 0.2, 0.3, 1.3, 5.0])
    powers = {"left": [10.0, 10.0, 0.0, 30.0, 30.0, 30.0], "right": [0.0, 5.0, 5.0, 5.0, 5.0, 5.0]}
    found = network.replay(times, powers)
    steps = {"left": ((0.0, 10.0), (0.2, -10.0), (0.3, 30.0)), "right": ((0.1, 5.0),)}
    for row, output in enumerate(network.outputs):
        exact = np.full(len(times), network.unheated_C[row])
        for zone, jumps in steps.items():
            for start, watts in jumps:
                late = times >= start
                exact[late] += watts * network.zth(times[late] - start, output, zone)
        np.testing.assert_allclose(found[:, row], exact, atol=1e-9)
    ramp = network.replay(np.array([0.0, 2.0]), {"left": [0.0, 20.0]}, between="line")
    fine = np.linspace(0.0, 2.0, 20001)
    responses = network.zth(fine, "left", "left")
    exact_ramp = 10.0 * np.trapezoid(responses, fine)
    assert ramp[1, 0] - network.unheated_C[0] == pytest.approx(exact_ramp, rel=1e-6)


def test_a_network_is_stored_and_comes_back() -> None:
    network = two_zones().network
    back = ModalNetwork.of(network.document())
    times = np.geomspace(1e-3, 10.0, 7)
    last = network.outputs[-1]
    np.testing.assert_array_equal(back.zth(times, last, "left"), network.zth(times, last, "left"))
    for wrong in ({}, {**network.document(), "rates_per_s": [-1.0]}, {**network.document(), "heat": [1.0]}):
        with pytest.raises(ThermsimError, match="no stored step response"):
            ModalNetwork.of(wrong)


def test_the_case_as_a_step_rises_to_its_own_steady_state() -> None:
    found = two_zones()
    network = found.network
    np.testing.assert_allclose(network.made_W, [20.0, 8.0], rtol=1e-12)
    times = np.array([0.0, 1e6])
    end = network.replay(times, np.tile(network.made_W, (2, 1)))[-1]
    told = predict(found.case, first_cells=300)
    doubts = found.half_width[-1] @ network.made_W
    for value, doubt, output in zip(end.tolist(), doubts.tolist(), found.outputs, strict=True):
        assert abs(value - told.answers[output]) <= doubt + told.doubts[output].half_width
        assert doubt < 5.0  # of some 40 K


def test_wrong_names_and_times_are_told() -> None:
    network = two_zones().network
    with pytest.raises(UnknownNameError, match="left"):
        network.zth(1.0, "left", "lefft")
    with pytest.raises(ThermsimError, match="must rise"):
        network.replay([0.0, 0.0], {"left": [1.0, 1.0]})
    with pytest.raises(ThermsimError, match="do not fit"):
        network.replay([0.0, 1.0], [[1.0], [1.0]])
    with pytest.raises(ThermsimError, match="cannot be asked"):
        step_response(two_zones().case, 1.0, 0.1)


def test_two_bodies_with_a_loop_as_printed() -> None:
    """Block 150 J/K, 0.08 K/W to a coolant of 2000 J/K, 40 W/K to a room at 25 C, 250 W (our own, to all digits)."""
    chain = to_foster(Cauer(np.array([0.08, 1.0 / 40.0]), np.array([150.0, 2000.0])))
    np.testing.assert_allclose(chain.time_constant_s, [10.9486317, 54.8013683], atol=5e-8)
    times = np.array([1.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0])
    block = [26.599250, 31.829453, 36.398776, 44.416368, 47.836339, 50.130222, 51.208068]
    np.testing.assert_allclose(25.0 + 250.0 * chain.response(times), block, atol=5.1e-7)
    assert 25.0 + 250.0 * float(chain.resistance_K_W.sum()) == pytest.approx(51.25, abs=1e-12)


def test_it_is_written_whole_and_read_back(tmp_path: Path) -> None:
    found = two_zones()
    written = write_response(found, tmp_path / "out")
    assert {path.name for path in written} >= {"response.json", "zth.csv", "zth.png", "structure.png"}
    back = read_network(tmp_path / "out")
    times = np.geomspace(1e-3, 10.0, 7)
    np.testing.assert_array_equal(back.zth(times, "left", "right"), found.network.zth(times, "left", "right"))
    write_response(found, tmp_path / "out")
    with pytest.raises(ThermsimError, match="holds another step response"):
        write_response(layered(), tmp_path / "out")
    with pytest.raises(ThermsimError, match="holds no step response"):
        read_network(tmp_path)


def test_each_part_of_a_stack_in_one_line_stands_at_its_own_resistance_and_shows_as_its_bend() -> None:
    """By hand: die 0.66 mm / 125, half of the contacts, solder 0.24 mm / 70, lid 2.45 mm / 395, film 1 / 14000, over
    100 mm2; and the heat capacity of each."""
    way = layered().structure("all")
    stretches = {one.item: one for one in way.stretches}
    wide = {
        "die": 10 * 0.66 / 125,
        "film": 2 * 0.015 + 10 * 0.24 / 70,
        "lid": 10 * 2.45 / 395,
        "film to the coolant": 1e4 / 14000,
    }
    for item, resistance in wide.items():
        assert stretches[item].to_K_W - stretches[item].from_K_W == pytest.approx(resistance, rel=1e-6)
    assert way.stretches[-1].to_K_W == pytest.approx(float(way.cumulative_K_W[-1]), rel=1e-6)
    stores = {"die": 2330 * 712 * 0.66e-7, "film": 7310 * 233 * 0.24e-7, "lid": 8933 * 385 * 2.45e-7}
    for item, capacity in stores.items():
        assert stretches[item].stores_J_K == pytest.approx(capacity, rel=1e-9)
        assert stretches[item].is_bend and not stretches["film to the coolant"].is_bend
    slow = dict(zip(way.places, way.stored[-1], strict=True))
    assert sum(slow.values()) == pytest.approx(1.0) and max(slow, key=lambda name: slow[name]) == "lid"


def test_where_heat_spreads_no_bend_is_called_after_a_part() -> None:
    """A small zone heats a small part of die and lid: on their stretches its ladder stores less than they do."""
    way = two_zones().structure("right")
    named = {one.item: one for one in way.stretches if one.stores_J_K is not None}
    assert set(named) == {"die", "paste", "lid"}
    assert named["die"].ladder_J_K < 0.5 * (named["die"].stores_J_K or 0.0) and not named["die"].is_bend


def test_the_structure_function_is_drawn_from_the_zone_to_the_coolant() -> None:
    found = two_zones()
    figure = structure_curve(found, "left")
    heights = figure.axes[0].patches[0].get_data()  # type: ignore[attr-defined]
    assert np.all(np.diff(heights.values) > 0.0) and np.all(np.diff(heights.edges) > 0.0)
    assert "K/W" in figure.axes[0].get_xlabel()
    assert len(response_curves(found).axes[0].lines) == 2
    assert len(response_curves(found, by="left").axes[0].lines) == 3


def test_the_accuracy_is_of_the_case_at_its_own_powers() -> None:
    """Grids are climbed until it holds; where only some may be, it is told."""
    found = two_zones()
    assert found.status == "accuracy not held" and any("accuracy not held" in remark for remark in found.remarks)
    held = step_response(found.case, 1e-2, 1e2, first_cells=300, accuracy_K=10.0)
    assert held.status == "accuracy held" and not held.remarks and len(held.steps) == 3
    assert "Steady resistance matrix" in [block.title for block in response_blocks(held)]
    rises, better = (of.resistance @ of.network.made_W for of in (held, found))
    assert np.all(np.abs(rises - better) <= 10.0 + found.half_width[-1] @ found.network.made_W)


def test_heat_that_is_made_where_no_zone_is_is_told() -> None:
    """40 W in the die, 28 W of them in zones: no response stands for the other 12 W, so a replay must not be taken for
    the case."""
    text = TWO_ZONES.replace("    at: top\n", "    at: top\n    power_W: 40\n")
    found = step_response(parse_case(text, "rest.yaml"), 1.0, 10.0, first_cells=60, grids=3)
    assert any("12 W are made where no zone is" in remark for remark in found.remarks)
    assert not any("no zone is" in remark for remark in two_zones().remarks)

"""Step responses of stacks on a coolant loop: exact solutions, and warm-ups with other numbers of the loop."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
from on_a_loop import BLOCK_AND_COOLANT, RISE, SLAB, TIME_CONSTANTS, TWO_NODES
from scipy.linalg import expm

from tests.response.test_step_response import TWO_ZONES
from thermsim.case.load import parse_case
from thermsim.errors import ThermsimError
from thermsim.mesh.predict import predict
from thermsim.report.text.response_table import response_blocks
from thermsim.response.network import ModalNetwork
from thermsim.response.step_response import StepResponse, step_response
from thermsim.warming.warmup import warmup

LOOP = "coolant_loop: {heat_capacity_J_K: 900, radiator_W_K: 8, flow_l_min: 1.5, room_C: 22, pump_W: 6}\n"
ON_LOOP = TWO_ZONES.replace("film_W_m2K: 9000, fluid_C: 25", "film_W_m2K: 9000, fluid_C: loop") + LOOP
LEAKS = ON_LOOP.replace("    at: top\n", "    at: top\n    leakage: {doubling_K: 25, share: 0.2, at_C: 60}\n")
OTHER = {"heat_capacity_J_K": 2000.0, "radiator_W_K": 5.0, "flow_l_min": 0.8, "room_C": 27.0, "pump_W": 15.0}


@cache
def nodes() -> StepResponse:
    return step_response(parse_case(TWO_NODES, "nodes.yaml"), 1.0, 300.0, first_cells=60, grids=3)


@cache
def on_loop() -> StepResponse:
    return step_response(parse_case(ON_LOOP, "loop.yaml"), 1e-2, 3e3, first_cells=200, grids=3)


def changed(text: str, **numbers: float) -> str:
    for name, value in numbers.items():
        text = re.sub(rf"({name}: )[0-9.]+", rf"\g<1>{value}", text)
    return text


def test_two_nodes_to_all_printed_digits_and_with_other_numbers_of_the_loop() -> None:
    """Our own printed values; with other numbers, the exponential of the matrix of both heat balances."""
    network = nodes().network
    assert 1.0 / network.rates[:2] == pytest.approx(TIME_CONSTANTS, rel=2e-7)
    times = np.array([0.0, *BLOCK_AND_COOLANT])
    found = network.replay(times, {"all": np.full(len(times), 250.0)})
    assert network.outputs == ("all", "the coolant")
    np.testing.assert_allclose(found[1:], list(BLOCK_AND_COOLANT.values()), atol=2e-6)
    other = network.with_loop(heat_capacity_J_K=900.0, radiator_W_K=25.0, room_C=18.0, pump_W=10.0)
    matrix = np.array([[-1 / 0.08 / 150, 1 / 0.08 / 150], [1 / 0.08 / 900, -(1 / 0.08 + 25.0) / 900]])
    ends = np.linalg.solve(matrix, -np.array([250.0 / 150, 0.0]))
    exact = np.array([18.4 + ends - expm(matrix * time) @ ends for time in times])
    np.testing.assert_allclose(other.replay(times, {"all": np.full(len(times), 250.0)}), exact, atol=2e-5)


def test_a_slab_on_a_mixed_loop() -> None:
    """Reference: Laplace transforms inverted with mpmath, see tests/transient/test_coolant_loop_in_time.py."""
    found = step_response(parse_case(SLAB, "slab.yaml"), 0.01, 3600.0, first_cells=60, grids=4)
    width = found.half_width[:, 0, 0]
    for time, rise in RISE.items():
        value = 1000.0 * float(found.network.zth(time, "all", "all"))
        assert value == pytest.approx(rise, rel=1e-3)
        assert abs(value - rise) <= 1000.0 * float(np.interp(time, found.times_s, width)) + 1e-6  # as printed


def test_other_numbers_of_the_loop_answer_as_a_warm_up_with_these_numbers_does() -> None:
    """All at once and one of them; the stack stays what it is, so nothing is solved again."""
    for numbers in (OTHER, {"radiator_W_K": 4.0}):
        of = on_loop().with_loop(**numbers)
        network = of.network
        run = warmup(parse_case(changed(ON_LOOP, **numbers), "loop.yaml"), 1e-2, 3e3, first_cells=200, grids=3)
        rises = of.zth @ network.made_W
        doubts = of.half_width @ network.made_W
        for row, one in enumerate(of.outputs):
            curve = run.curves[one]
            assert network.unheated_C[row] == pytest.approx(curve.unheated, abs=1e-6)
            off = np.abs(network.unheated_C[row] + rises[:, row] - curve.value)
            assert np.all(off <= doubts[:, row] + curve.half_width + 1e-6), str(one)
            assert float(off.max()) < 0.3  # of some 40 K, on grids this coarse
        assert of.held_K == 0.0


def test_what_leakage_does_with_another_loop_is_within_what_is_told() -> None:
    """A straight line stands for leakage: exact at the case's own ends, and told where the loop moves them."""
    of = step_response(parse_case(LEAKS, "leaks.yaml"), 1.0, 3e3, first_cells=200, grids=3)
    for numbers in ({"radiator_W_K": 8.0}, {"radiator_W_K": 6.0}, {"room_C": 30.0}):
        told, own = of.with_loop(**numbers), numbers == {"radiator_W_K": 8.0}
        network = told.network
        steady = predict(parse_case(changed(LEAKS, **numbers), "leaks.yaml"), first_cells=200, grids=3)
        end, doubt = told.resistance @ network.made_W, told.resistance_doubt @ network.made_W
        held_K = told.held_K - of.held_K  # its own ends are exact
        assert own == (held_K == 0.0) and held_K < 5.0
        for row, one in enumerate(of.outputs):
            off = abs(network.unheated_C[row] + end[row] - steady.answers[one])
            assert off <= doubt[row] + steady.doubts[one].half_width + held_K + 1e-3, (numbers, str(one))


def test_a_second_run_after_two_minutes_reads_high_and_one_after_a_long_rest_does_not() -> None:
    network = on_loop().network
    times = np.arange(0.0, 6000.0, 10.0)

    def loaded(rest_s: float) -> np.ndarray:
        runs = (times < 1200.0) | ((times >= 1200.0 + rest_s) & (times < 2400.0 + rest_s))
        return network.replay(times, {"left": np.where(runs, 60.0, 0.0)})

    at = int(np.searchsorted(times, 60.0))  # a minute into each run
    for rest_s, least, most in ((120.0, 1.0, 10.0), (2400.0, 0.0, 0.01)):
        rows = loaded(rest_s)
        high = rows[at + int((1200.0 + rest_s) / 10.0)] - rows[at]
        assert least <= high[network.outputs.index("left")] <= most
        assert least * 0.9 <= high[network.outputs.index("the coolant")] <= most


def test_a_coolant_that_was_noted_takes_the_place_of_the_loop() -> None:
    """The coolant that the loop makes of a load, noted: all answers are those of the loop; the doubt is told beside."""
    found = on_loop()
    times = np.linspace(0.0, 900.0, 1801)
    load = {"left": np.where(times < 300.0, 60.0, 10.0)}
    own = found.network.replay(times, load)
    noted, doubts = found.replay(times, load, coolant_C=own[:, -1])
    np.testing.assert_allclose(noted, own, atol=0.1)  # the coolant is held for half a second
    assert doubts.shape == noted.shape and np.all(doubts[:, -1] < 1e-9) and 0.0 < doubts.max() < 10.0
    warmer, _ = found.replay(times, load, coolant_C=own[:, -1] + 5.0)
    assert float((warmer - noted)[-1, 0]) == pytest.approx(5.0, abs=0.2)  # what little leaves by the board
    with pytest.raises(ThermsimError, match="coolant of shape"):
        found.replay(times, load, coolant_C=[25.0])


def test_tolerances_of_the_loop_move_what_warm_ups_with_their_ends_do() -> None:
    """Of one body on a loop, by hand: 10 % less radiator are 250 W / 36 W/K - 250 W / 40 W/K at the end;
    the room moves it one to one, at rest too, and the heat capacity not at all."""
    text = changed(TWO_NODES).replace("radiator_W_K: 40", "radiator_W_K: {value: 40, plus_minus: 4}")
    text = text.replace("room_C: 25", "room_C: {value: 25, plus_minus: 1.5}")
    text = text.replace("heat_capacity_J_K: 2000", "heat_capacity_J_K: {value: 2000, plus_minus: 300}")
    found = step_response(parse_case(text, "nodes.yaml"), 1.0, 1e4, first_cells=60, grids=3)
    moved = found.moved_by_loop()
    assert list(moved) == ["heat_capacity_J_K", "radiator_W_K", "room_C"]
    np.testing.assert_allclose(moved["radiator_W_K"][-1], 250 / 36 - 250 / 40, rtol=1e-5)
    np.testing.assert_allclose(moved["room_C"], 1.5, rtol=1e-9)
    assert float(moved["heat_capacity_J_K"][-1].max()) < 1e-4 < 0.1 < float(moved["heat_capacity_J_K"].max())
    assert any("tolerances of the loop" in block.title for block in response_blocks(found))


def test_it_is_stored_with_its_loop_and_comes_back() -> None:
    network = on_loop().network
    back = ModalNetwork.of(network.document())
    times = np.geomspace(1e-2, 1e3, 7)
    np.testing.assert_allclose(back.responses(times), network.responses(times), rtol=1e-12, atol=1e-15)
    other = [of.with_loop(radiator_W_K=3.0, room_C=30.0) for of in (back, network)]
    np.testing.assert_allclose(other[0].unheated_C, other[1].unheated_C, rtol=1e-12)
    with pytest.raises(ThermsimError, match="no stored step response"):
        ModalNetwork.of({**network.document(), "port": {}})
    with pytest.raises(ThermsimError, match="radiator_W_K -1 cannot be"):
        network.with_loop(radiator_W_K=-1.0)
    with pytest.raises(ThermsimError, match="without a coolant loop"):
        network.loop.stack.with_loop(room_C=20.0)  # type: ignore[union-attr]


def test_the_way_goes_on_to_the_room_and_its_time_constant_is_that_of_the_loop() -> None:
    """All of the resistance: what the zone is above the room. The longest constant: the loop's own, by what stores."""
    of = nodes()
    way = of.structure("all")
    assert way.stretches[-1].item == "coolant loop" and way.stretches[-1].stores_J_K == 2000.0
    assert way.stretches[-1].to_K_W == pytest.approx(0.08 + 1 / 40, rel=1e-6)
    slow = dict(zip(way.places, way.stored[-1].tolist(), strict=True))
    assert slow["coolant loop"] > 0.8 and sum(slow.values()) == pytest.approx(1.0)
    ladder = way.cauer  # the two nodes themselves
    np.testing.assert_allclose(ladder.capacity_J_K[:2], [150.0, 2000.0], rtol=1e-6)
    np.testing.assert_allclose(ladder.resistance_K_W[:2], [0.08, 1 / 40], rtol=1e-6)

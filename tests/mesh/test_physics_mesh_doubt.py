"""Does the mesh doubt of a prediction hold the true error? Random stacks against the summed series.

Series of the rectangular flux channel: Yovanovich, Muzychka, Culham, J. Thermophys. Heat Transfer 13 (1999) 495.
What is asked: at least 95 % of zone temperatures within their doubt, and a median doubt below ten true errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from counts import counts
from numpy.typing import NDArray
from samples import CORNCRAKE
from stacks import Mapping, case_of, film, part

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.predict import predict
from thermsim.proof.closed_form.flux_channel import Channel, ChannelLayer, Rectangle, influence_matrix
from thermsim.proof.run.random_stacks import Stack, exact_of
from thermsim.proof.run.random_stacks import draw as random_stack

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Drawn:
    """A random stack with the exact mean rises of its zones [K]."""

    case: Case
    exact: dict[str, float]


def draw(rng: np.random.Generator) -> Drawn:
    """One to three layers with joints between them, one to five rectangles heated on the top face, film below."""
    a, b = rng.uniform(10, 45, 2)
    count = int(rng.integers(1, 4))
    layers: list[Mapping] = []
    channel: list[ChannelLayer] = []
    for number in range(count):
        k, thickness = float(10 ** rng.uniform(0.7, 2.7)), float(10 ** rng.uniform(-0.3, 0.6))
        in_plane = k * float(rng.choice([1.0, 1.0, 10 ** rng.uniform(-0.5, 1.0)]))
        resistance = float(10 ** rng.uniform(0, 1.7)) if number < count - 1 else 0.0
        layers.append(part(f"layer {number}", [a, b], thickness, [in_plane, k]))
        if resistance:
            layers.append({"joint": f"joint {number}", "resistance_mm2K_W": resistance})
        channel.append(ChannelLayer(1e-3 * thickness, in_plane, k, 1e-6 * resistance))
    strength = float(10 ** rng.uniform(3, 4.5))
    zones, rectangles = _zones(rng, a, b)
    heat = [{"in": "layer 0", "at": "top", "zones": zones}]
    case = case_of(layers[::-1], heat, [film("bottom", strength)], accuracy_K=0.1)
    matrix = influence_matrix(Channel(1e-3 * a, 1e-3 * b, tuple(channel), strength), rectangles)
    watts = np.array([zone["power_W"] for zone in zones])
    exact = matrix.value @ watts
    return Drawn(case, {zone["zone"]: float(value) for zone, value in zip(zones, exact, strict=True)})


def _zones(rng: np.random.Generator, a: float, b: float) -> tuple[list[Mapping], tuple[Rectangle, ...]]:
    """Rectangles in different columns of the plate, so that they never overlap."""
    count = int(rng.integers(1, 6))
    edges = np.linspace(0.05 * a, 0.95 * a, count + 1)
    zones, rectangles = [], []
    for number in range(count):
        room = edges[number + 1] - edges[number]
        size_x, size_y = float(rng.uniform(0.3, 1.0) * room), float(rng.uniform(0.15, 0.8) * b)
        x = float(edges[number] + rng.uniform(0, room - size_x))
        y = float(rng.uniform(0, b - size_y))
        watts = float(rng.uniform(2, 40))
        zone = {"zone": f"z{number}", "corner_mm": [x, y], "size_mm": [size_x, size_y], "power_W": watts}
        zones.append(zone)
        rectangles.append(Rectangle(1e-3 * (x + size_x / 2), 1e-3 * (y + size_y / 2), 1e-3 * size_x, 1e-3 * size_y))
    return zones, tuple(rectangles)


def judge(seed: int, stacks: int, first_cells: int, grids: int) -> tuple[float, float]:
    """(share covered, median of doubt over true error) of all zone means; prints the distribution."""
    rng = np.random.default_rng(seed)
    covered, width, relative, limits, worst = [], [], [], [], 0.0
    for _ in range(stacks):
        drawn = draw(rng)
        prediction = predict(drawn.case, accuracy_K=1.0, first_cells=first_cells, grids=grids)
        for zone, exact in drawn.exact.items():
            doubt = prediction.doubts["zone", zone, "mean"]
            error = abs(doubt.value - exact)
            limits.append(doubt.value != doubt.finest)
            covered.append(error <= doubt.half_width)
            width.append(doubt.half_width / max(error, 1e-12))
            relative.append(error / exact)
            worst = max(worst, error / doubt.half_width)
    tenths = np.quantile(width, [0.02, 0.1, 0.25, 0.5, 0.75, 0.9])
    print(f"\n{len(covered)} zone means of {stacks} stacks, {grids} grids from {first_cells} cells")
    print(f"{100 * np.mean(limits):.0f} % told at their limit")
    print(f"covered {100 * np.mean(covered):.1f} %, true error up to {worst:.2f} doubts")
    print("doubt over true error, quantiles 2 10 25 50 75 90 %: " + " ".join(f"{value:.2f}" for value in tenths))
    print(f"true error over the rise: median {np.median(relative):.1e}, worst {max(relative):.1e}")
    return float(np.mean(covered)), float(np.median(width))


def test_doubt_holds_the_true_error() -> None:
    covered, width = judge(seed=20_251, stacks=20, first_cells=2000, grids=4)
    assert covered >= 0.95
    assert width <= 10.0


@pytest.mark.parametrize("stacks", counts(50, 200))
@pytest.mark.parametrize("grids", [3, 4, 5])
def test_doubt_holds_the_true_error_of_many_stacks(grids: int, stacks: int) -> None:
    covered, width = judge(seed=20_252, stacks=stacks, first_cells=4000, grids=grids)
    assert covered >= 0.95
    assert width <= 10.0


def judged(stack: Stack, accuracy_K: float) -> tuple[Array, Array]:
    """True errors and doubts [K] of all answers of a stack."""
    prediction = predict(stack.case, accuracy_K=accuracy_K, memory_GB=0.7)
    told = [(prediction.doubts[question], exact) for question, exact in stack.exact.items()]
    return np.array([abs(one.value - exact) for one, exact in told]), np.array([one.half_width for one, _ in told])


@pytest.mark.parametrize(
    ("number", "accuracy_K"), [(45, 0.5), (177, 0.5), (153, 0.1), (162, 0.1), (83, 0.1), (147, 0.02)]
)
def test_all_answers_of_a_stack_are_held_together(number: int, accuracy_K: float) -> None:
    """Stacks of which a probe, a mean or a highest temperature lay up to four of its doubts away."""
    error, doubt = judged(random_stack(np.random.default_rng([20_263_001, number])), accuracy_K)
    assert np.all(error <= doubt)


@pytest.mark.parametrize("stacks", counts(20, 200))
@pytest.mark.parametrize("accuracy_K", [0.5, 0.1, pytest.param(0.02, marks=pytest.mark.long)])
def test_all_answers_of_many_stacks_are_held_together(accuracy_K: float, stacks: int) -> None:
    """Of stacks of every kind that no rule was chosen on, all answers together are held in 95 %."""
    together, width = [], []
    for number in range(stacks):
        error, doubt = judged(random_stack(np.random.default_rng([20_263_002, number])), accuracy_K)
        together.append(bool(np.all(error <= doubt)))
        width += (doubt / np.maximum(error, 1e-9)).tolist()
    print(f"\n{accuracy_K} K: all held in {100 * np.mean(together):.1f} %, doubt over error {np.median(width):.1f}")
    assert np.mean(together) >= 0.95
    assert np.median(width) < 10.0


def test_points_and_peaks_are_held_too() -> None:
    """Probe in the middle of a source and the hottest spot: E1 of a square on a plate, 0.296575 K/W by the series."""
    zone = {"zone": "s", "corner_mm": [15, 15], "size_mm": [10, 10], "power_W": 100.0}
    case = case_of(
        [part("plate", [40, 40], 3, 390)],
        [{"in": "plate", "at": "top", "zones": [zone]}],
        [film("bottom", 5000)],
        probes=[{"probe": "middle", "in": "plate", "at_mm": [20, 20, 3]}],
    )
    for first in (1500, 4000, 9000):
        prediction = predict(case, accuracy_K=1e9, first_cells=first)
        for question in (("probe", "middle"), ("hottest",), ("zone", "s", "highest")):
            doubt = prediction.doubts[question]
            assert abs(doubt.value - 29.6575) <= doubt.half_width, (first, question)
            assert doubt.half_width < 20 * abs(doubt.value - 29.6575)
            assert doubt.order is not None and 1.0 < doubt.order < 2.5
        assert abs(prediction.doubts["flow", "0"].value - 100.0) < 1e-6


@pytest.mark.parametrize(
    ("k", "thickness_mm", "film_W_m2K", "gap_mm", "watts"),
    [(48.8, 0.78, 1400.0, 1.04, 8.2), (23.4, 0.92, 5000.0, 0.52, 5.2)],
)
def test_a_summit_microns_inside_the_edge_towards_a_hotter_zone(
    k: float, thickness_mm: float, film_W_m2K: float, gap_mm: float, watts: float
) -> None:
    """The slope of x ln x has no bound: the highest spot of the cooler zone lies 0.2 to 14 um from its edge.

    Against the summed series; read on the edge alone it was off by up to seven doubts, on every grid alike.
    """
    zones = [
        {"zone": "hot", "corner_mm": [4, 4], "size_mm": [4, 4], "power_W": 20.0},
        {"zone": "warm", "corner_mm": [8 + gap_mm, 4], "size_mm": [4, 4], "power_W": watts},
    ]
    layers, heat = [part("plate", [20, 20], thickness_mm, k)], [{"in": "plate", "at": "top", "zones": zones}]
    case = case_of(layers, heat, [film("bottom", film_W_m2K)])
    channel = Channel(0.02, 0.02, (ChannelLayer(1e-3 * thickness_mm, k, k),), film_W_m2K)
    exact = exact_of(channel, zones)["zone", "warm", "highest"]
    found = predict(case, accuracy_K=0.1).doubts["zone", "warm", "highest"]
    assert abs(found.value - exact) <= found.half_width


def test_accuracy_that_is_asked_for_is_kept() -> None:
    """A finer accuracy takes more grids, and the status says whether it was held."""
    drawn = draw(np.random.default_rng(20_253))
    loose, tight = (predict(drawn.case, accuracy_K=wanted, first_cells=3000) for wanted in (3.0, 0.3))
    assert loose.status == tight.status == "accuracy held"
    assert len(tight.steps) >= len(loose.steps) >= 3
    for prediction, wanted in ((loose, 3.0), (tight, 0.3)):
        assert prediction.worst[1].half_width <= wanted
        for zone, exact in drawn.exact.items():
            assert abs(prediction.answers["zone", zone, "mean"] - exact) < wanted
    hopeless = predict(drawn.case, accuracy_K=1e-7, first_cells=300, memory_GB=0.02)
    assert hopeless.status == "accuracy not held"
    assert math.isfinite(hopeless.worst[1].half_width)


def test_doubts_of_a_whole_package_are_finite_and_small() -> None:
    """k(T), leakage, voids and joints: the algebraic error of every grid is known, and doubts fall with the grids."""
    case = parse_case(CORNCRAKE)
    worst = []
    for first in (6000, 16_000):
        prediction = predict(case, accuracy_K=1e9, first_cells=first)
        assert len(prediction.steps) == 3
        assert all(step.error_K < 1e-5 and step.balance_relative < 1e-9 for step in prediction.steps)
        worst.append(prediction.worst[1].half_width)
    assert worst[1] < worst[0] < 3.0

"""Highest temperatures and probes on edges of zones and on sides of a die, against a double cosine series.

Of layers of one size, heated at the bottom of the first, under a film at the top of the last: in each cosine mode of
wave number g the resistance seen by the heat follows from the top down,

    Z  ->  (Z + tanh(g t) / (k g)) / (1 + k g Z tanh(g t)),

from 1/h, with a joint's resistance added in between (separation of variables, e.g. Carslaw and Jaeger, Conduction of
Heat in Solids, 2nd ed., section 5.6; the recursion is that of any layered medium).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from stacks import case_of, film, joint, part

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MemoryLimitError
from thermsim.mesh.predict import predict
from thermsim.model.grid.plan import plan_grid

Rectangle = tuple[float, float, float, float, float]  # corner, size [mm], power [W]
MODES = 2500


def series_C(
    size_mm: tuple[float, float], die: tuple[float, float], lid: tuple[float, float], joint_mm2K_W: float,
    film_W_m2K: float, zones: Sequence[Rectangle], place_mm: tuple[float, float],
) -> float:  # fmt: skip
    """Over a fluid at 0 C; die, lid : thickness [mm] and conductivity [W/mK]; modes stop where they no longer tell."""
    a, b = (1e-3 * side for side in size_mm)
    waves = [np.pi * np.arange(MODES) / side for side in (a, b)]
    g = np.hypot(waves[0][:, None], waves[1][None, :])
    g[0, 0] = 1.0
    z = np.full(g.shape, 1.0 / film_W_m2K)
    for (thickness, k), below in ((lid, joint_mm2K_W), (die, 0.0)):
        fall = np.tanh(g * 1e-3 * thickness)
        uniform = z[0, 0] + 1e-3 * thickness / k
        z = (z + fall / (k * g)) / (1.0 + k * g * z * fall)
        z[0, 0] = uniform
        z += 1e-6 * below
    total = 0.0
    for x, y, width, depth, watts in zones:
        shapes = []
        for wave, side, low, length, at in zip(
            waves, (a, b), (x, y), (width, depth), (1e-3 * place_mm[0], 1e-3 * place_mm[1]), strict=True
        ):
            ends = 1e-3 * low, 1e-3 * (low + length)
            shape = np.full(MODES, 1.0 / side)
            shape[1:] = (
                2.0 * (np.sin(wave[1:] * ends[1]) - np.sin(wave[1:] * ends[0])) / (wave[1:] * 1e-3 * length * side)
            )
            shapes.append(shape * np.cos(wave * at))
        total += watts * float(shapes[0] @ z @ shapes[1])
    return total


def stack(size_mm: tuple[float, float], die: Any, zones: Sequence[Rectangle], film_W_m2K: float, **more: Any) -> Case:
    layers = [part("die", size_mm, *die), joint("joint", 6.0), part("lid", size_mm, 2.0, 390.0)]
    heat = [
        {"zone": f"z{n}", "corner_mm": [x, y], "size_mm": [w, d], "power_W": watts}
        for n, (x, y, w, d, watts) in enumerate(zones)
    ]
    return case_of(layers, [{"in": "die", "at": "bottom", "zones": heat}], [film("top", film_W_m2K)], **more)


@pytest.mark.parametrize(
    ("zones", "y_mm"),
    [
        ([(3, 0, 4, 3, 37.0), (7, 1.85, 0.39, 0.39, 3.23)], np.linspace(1.95, 2.1, 13)),
        ([(3, 0, 4, 3, 17.0), (7, 0.8, 0.35, 0.35, 0.96)], np.linspace(0.85, 1.1, 13)),
    ],
)
def test_the_highest_of_a_zone_may_lie_beside_a_hotter_one(zones: list[Rectangle], y_mm: np.ndarray) -> None:
    """Its own hill is cooler by up to 1.4 K, and its cells along the edge are cooler still."""
    die = (0.8, 120.0) if zones[0][-1] > 20 else (0.3, 120.0)
    made = predict(stack((12, 8), die, zones, 12_000.0), accuracy_K=0.1)
    truth = max(series_C((12, 8), die, (2.0, 390.0), 6.0, 12_000.0, zones, (7.0, y)) for y in y_mm.tolist())
    told = made.doubts["zone", "z0", "highest"]
    assert abs(told.value - truth) <= told.half_width + 2e-3


def test_probes_on_sides_and_corners_of_a_die_that_is_heated_up_to_them() -> None:
    zones = [(0, 0, 4, 10, 40.0), (16, 6, 4, 4, 10.0)]
    places = {"left": (0, 5), "corner": (0, 0), "front": (2, 0), "right": (20, 8), "far": (20, 10), "joins": (0, 10)}
    probes = [{"probe": name, "in": "die", "at_mm": [x, y, 0.0]} for name, (x, y) in places.items()]
    made = predict(stack((20, 10), (0.7, 120.0), zones, 10_000.0, probes=probes), accuracy_K=0.1)
    for name, place in places.items():
        told = made.doubts["probe", name]
        truth = series_C((20, 10), (0.7, 120.0), (2.0, 390.0), 6.0, 10_000.0, zones, place)
        assert abs(told.value - truth) <= told.half_width + 2e-3, name


def beside_inserts(mirrored: bool) -> Case:
    """A die off the middle, with an insert, in underfill; probes on lines between materials."""

    def across(x: float, width: float = 0.0) -> float:
        return 12.0 - x - width if mirrored else x

    insert = {"material": {"conductivity_W_mK": 5.0}, "corner_mm": [across(5, 1), 4], "size_mm": [1, 1]}
    die = part(
        "die", [12, 8], 0.6, 120.0, inserts=[insert], centre_mm=[-1.5 if mirrored else 1.5, 0.7],
        around={"material": {"conductivity_W_mK": 0.6}},
    )  # fmt: skip
    zones = [
        {"zone": "a", "corner_mm": [across(0, 3), 0], "size_mm": [3, 8], "power_W": 10},
        {"zone": "b", "corner_mm": [across(7, 0.5), 1], "size_mm": [0.5, 0.5], "power_W": 3},
    ]
    probes = [
        {"probe": name, "in": "die", "at_mm": [across(x), y, 0.0]}
        for name, x, y in (("corner", 0, 0), ("side", 12, 2), ("insert", 5, 4.5), ("its corner", 6, 5), ("zones", 7, 1))
    ]
    layers = [part("board", [30, 26], 1.2, [15, 0.5]), die, joint("tim", 6.0), part("lid", [24, 20], 2.0, 390.0)]
    cooling = [film("top", 12_000.0, 30.0), film("bottom", 20.0, 30.0)]
    return case_of(layers, [{"in": "die", "at": "bottom", "zones": zones}], cooling, probes=probes)


def test_a_mirrored_stack_reads_the_same_on_lines_between_materials() -> None:
    one, other = (predict(beside_inserts(mirrored), grids=3) for mirrored in (False, True))
    for question, value in one.answers.items():
        assert other.answers[question] == pytest.approx(value, abs=2e-6), question


def near_runaway(power_W: float) -> Case:
    die = part("die", [12, 8], 0.6, "silicon", centre_mm=[1.5, 0.7])
    zone = {"zone": "h", "corner_mm": [6, 4], "size_mm": [0.5, 0.5], "power_W": power_W}
    heat = [{"in": "die", "at": "bottom", "leakage": {"per_K": 0.004, "at_C": 80}, "zones": [zone]}]
    layers = [part("board", [30, 26], 1.2, [15, 0.5]), die, joint("tim", 6.0), part("lid", [24, 20], 2.0, 390.0)]
    return case_of(layers, heat, [film("top", 12_000.0, 30.0), film("bottom", 20.0, 30.0)])


@pytest.mark.slow
def test_a_grid_too_coarse_for_a_hotspot_does_not_cry_runaway() -> None:
    """Where the first grids have no steady state and finer ones have; held against a family that begins fine."""
    case = near_runaway(11.0)
    told = predict(case, accuracy_K=3.0).doubts["zone", "h", "mean"]
    fine = predict(case, accuracy_K=3.0, plan=plan_grid(case, 60_000)).doubts["zone", "h", "mean"]
    assert abs(told.value - fine.value) <= told.half_width + fine.half_width


def test_too_little_memory_for_grids_that_settle_is_no_runaway() -> None:
    """The first grid of the even family has no steady state, and the three after it do not fit."""
    case = near_runaway(11.0)
    with pytest.raises(MemoryLimitError, match="3 grids at least"):
        predict(case, plan=plan_grid(case), memory_GB=0.1)

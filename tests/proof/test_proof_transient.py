"""Transient closed forms against textbook tables, against each other and against mpmath."""

from __future__ import annotations

import math
from pathlib import Path

import mpmath
import numpy as np
import pytest
from on_a_loop import LOADED_K, RATES
from scipy.linalg import expm

from thermsim.errors import ThermsimError
from thermsim.proof.closed_form.transient import (
    TwoNodeLoop,
    bar_with_a_swinging_end,
    half_space_flux,
    loop_temperature,
    lumped_cooling,
    slab_cooling,
    slab_heating,
    slab_roots,
)
from thermsim.proof.run.published import lines_of
from thermsim.proof.table.in_time import IN_TIME
from thermsim.proof.table.references import LEFT_OUT
from thermsim.response.networks import Cauer, Foster, to_cauer, to_foster

SILICON = {"conductivity": 148.0, "density": 2330.0, "heat_capacity": 712.0}  # Incropera, table A.1, 300 K


def test_half_space_under_constant_flux() -> None:
    # Carslaw and Jaeger, section 2.9, worked out in many digits for 1 W/mm2
    times = np.array([1e-4, 1e-3, 1e-2])
    np.testing.assert_allclose(
        half_space_flux(times, 0.0, 1e6, **SILICON), [0.72012227, 2.2772266, 7.2012227], rtol=3e-8
    )
    inside = half_space_flux(times, 2e-4, 1e6, **SILICON)
    np.testing.assert_allclose(inside, [0.053230338, 1.1764699, 5.9304408], rtol=3e-8)


@pytest.mark.parametrize(
    ("biot", "first", "weight"),
    # Incropera and DeWitt, 6th ed., table 5.1 (from memory): zeta_1 and C_1
    [
        (0.01, 0.0998, 1.0017),
        (0.1, 0.3111, 1.0161),
        (1.0, 0.8603, 1.1191),
        (10.0, 1.4289, 1.2620),
        (100.0, 1.5552, 1.2731),
    ],
)
def test_first_eigenvalue_as_printed(biot: float, first: float, weight: float) -> None:
    root = float(slab_roots(biot, 1)[0])
    assert root == pytest.approx(first, abs=6e-5)
    assert 4 * math.sin(root) / (2 * root + math.sin(2 * root)) == pytest.approx(weight, abs=1.1e-4)


def test_eigenvalues_by_mpmath() -> None:
    for biot in (0.05, 1.0, 50.0):
        for index, root in enumerate(slab_roots(biot, 6)):
            exact = mpmath.findroot(lambda z, b=biot: z * mpmath.sin(z) - b * mpmath.cos(z), root)
            assert root == pytest.approx(float(exact), rel=1e-14)
            assert index * math.pi < root < (index + 0.5) * math.pi


def test_slab_with_films() -> None:
    # Bi = 1, centre and surface, 60 terms of the same series summed apart
    for fourier, exact in (
        (0.05, (0.99975096, 0.79037676)),
        (0.2, (0.95064178, 0.64339078)),
        (0.5, (0.77252638, 0.50452193)),
        (1.0, (0.53385940, 0.34817685)),
    ):
        np.testing.assert_allclose(slab_cooling(fourier, [0.0, 1.0], 1.0), exact, atol=6e-9)


def test_pipeline_wall() -> None:
    # Incropera and DeWitt, 6th ed., example 5.4: 42.9 C insulated face, 45.2 C wetted, by one term and rounded tables
    fourier = 63.9 / (7832.0 * 434.0) * 480.0 / 0.04**2
    found = 60.0 - 80.0 * slab_cooling(fourier, [0.0, 1.0], 500.0 * 0.04 / 63.9)
    np.testing.assert_allclose(found, [42.9, 45.2], atol=0.2)
    np.testing.assert_allclose(found, [43.0162, 45.3625], atol=6e-5)  # the whole series


def test_early_slab_cools_like_a_half_space() -> None:
    # Carslaw and Jaeger, section 2.7: surface of a half space with a film, exp(g^2) erfc(g), g = h sqrt(alpha t)/k
    biot, fourier = 2.0, 0.01
    early = float(mpmath.exp(biot**2 * fourier) * mpmath.erfc(biot * mpmath.sqrt(fourier)))
    assert float(slab_cooling(fourier, 1.0, biot)) == pytest.approx(early, rel=1e-9)


@pytest.mark.parametrize(
    ("biot", "faces"),
    [
        (0.1, [(0.25231325, 0.00026717), (0.50514796, 0.06001498), (1.3111480, 0.77611428), (4.4204945, 3.7362328)]),
        (1.0, [(0.25231325, 0.00024904), (0.50501376, 0.04935822), (1.1814259, 0.46614060), (1.9576119, 0.97235516)]),
        (10.0, [(0.25231325, 0.00014704), (0.50448974, 0.01707453), (0.98418715, 0.08361824), (1.0999671, 0.09999535)]),
    ],
)
def test_slab_heated_by_a_flux(biot: float, faces: list[tuple[float, float]]) -> None:
    # eigen-series summed apart; early on the heated face is that of a half space, 2 sqrt(Fo/pi)
    for fourier, exact in zip((0.05, 0.2, 1.0, 5.0), faces, strict=True):
        np.testing.assert_allclose(slab_heating(fourier, [0.0, 1.0], biot), exact, atol=6e-8)
    assert float(slab_heating(0.01, 0.0, biot)) == pytest.approx(2.0 * math.sqrt(0.01 / math.pi), rel=1e-9)
    np.testing.assert_allclose(slab_heating(500.0, [0.0, 1.0], biot), [1.0 + 1.0 / biot, 1.0 / biot], rtol=1e-9)


def test_series_refuses_a_time_too_early() -> None:
    with pytest.raises(ThermsimError, match="too early"):
        slab_cooling(1e-12, 0.0, 1.0)


def test_lumped_body_is_the_slab_of_small_biot_number() -> None:
    # Incropera, section 5.2: tau = rho c V/(h A), that is Fo = 1/Bi
    biot = 1e-4
    lumped = float(lumped_cooling(0.7, 1.0))
    assert lumped == pytest.approx(math.exp(-0.7), rel=1e-15)
    assert float(slab_cooling(0.7 / biot, 0.5, biot)) == pytest.approx(lumped, rel=biot)


def test_thermocouple_bead_settling() -> None:
    # Lienhard and Lienhard, A Heat Transfer Textbook, example 2.9: three time constants are 174 s
    volume = math.pi / 4 * 3.6e-3**2 * 10e-3
    tau = 2000.0 * 700.0 * volume / (18.44 * 1.33e-4)
    assert 3 * tau == pytest.approx(174.31, abs=0.2)


LOOP = TwoNodeLoop(150.0, 0.08, 2000.0, 40.0)


def test_coolant_loop() -> None:
    # energy balance of one well-mixed body, tau 50 s
    found = loop_temperature([0.0, 60.0, 1e5], 250.0, 2000.0, 40.0, 25.0, 25.0)
    np.testing.assert_allclose(found, [25.0, 29.3675362, 31.25], atol=5e-8)


def test_block_and_coolant_loop() -> None:
    # eigenvalues of the 2 x 2 balance, worked out apart; scipy's matrix exponential as a second referee
    fast, slow = LOOP.time_constants()
    assert fast == pytest.approx(10.9486317, abs=1e-7) and slow == pytest.approx(54.8013683, abs=1e-7)
    times = [1.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0]
    block, coolant = LOOP.temperatures(times, 250.0, 25.0)
    np.testing.assert_allclose(
        block, [26.599250, 31.829453, 36.398776, 44.416368, 47.836339, 50.130222, 51.208068], atol=5.1e-7
    )
    np.testing.assert_allclose(
        coolant, [25.005022, 25.108993, 25.368329, 26.832938, 28.643251, 30.375670, 31.217250], atol=5.1e-7
    )
    for time, at_block, at_coolant in zip(times, block, coolant, strict=True):
        exact = 25.0 + LOADED_K - expm(RATES * time) @ LOADED_K
        np.testing.assert_allclose([at_block, at_coolant], exact, rtol=1e-12)


# ---- networks ---------------------------------------------------------------------------------------------------


def test_two_step_ladder_and_back() -> None:
    # roots of the quadratic of a two-node network, worked out apart
    cauer = Cauer(np.array([0.05, 0.2]), np.array([2.0, 100.0]))
    foster = to_foster(cauer)
    np.testing.assert_allclose(foster.time_constant_s, [0.09802975, 20.40197025], rtol=1e-7)
    np.testing.assert_allclose(foster.resistance_K_W, [0.04804449, 0.20195551], rtol=1e-7)
    assert float(foster.response(1e6)) == pytest.approx(0.25, rel=1e-12)
    back = to_cauer(foster)
    np.testing.assert_allclose(back.resistance_K_W, cauer.resistance_K_W, rtol=1e-10)
    np.testing.assert_allclose(back.capacity_J_K, cauer.capacity_J_K, rtol=1e-10)


def test_long_ladder_there_and_back() -> None:
    generator = np.random.default_rng(5150)
    cauer = Cauer(10.0 ** generator.uniform(-2, 0, 8), 10.0 ** generator.uniform(-2, 2, 8))
    back = to_cauer(to_foster(cauer))
    np.testing.assert_allclose(back.resistance_K_W, cauer.resistance_K_W, rtol=1e-6)
    np.testing.assert_allclose(back.capacity_J_K, cauer.capacity_J_K, rtol=1e-6)


def test_ladder_response_by_matrix_exponential() -> None:
    # JESD51-14: Zth = (T(t) - T(0))/P of the heated node
    cauer = Cauer(np.array([0.1, 0.3, 0.2]), np.array([0.5, 4.0, 90.0]))
    link, c = 1.0 / cauer.resistance_K_W, cauer.capacity_J_K
    balance = np.diag(link + np.array([0.0, *link[:-1]])) - np.diag(link[:-1], 1) - np.diag(link[:-1], -1)
    for time in (0.01, 1.0, 30.0):
        steady = np.linalg.solve(balance, [1.0, 0.0, 0.0])
        exact = steady - expm(-balance / c[:, None] * time) @ steady
        assert float(to_foster(cauer).response(time)) == pytest.approx(exact[0], rel=1e-10)


def test_one_step_network_is_both() -> None:
    foster = Foster(np.array([0.4]), np.array([8.0]))
    ladder = to_cauer(foster)
    assert ladder.resistance_K_W == pytest.approx([0.4]) and ladder.capacity_J_K == pytest.approx([20.0])


def test_a_bar_whose_end_swings() -> None:
    """Values worked out apart, by Laplace inversion with mpmath, to the digits shown (our own)."""
    diffusivity = 50.0 / (7800.0 * 460.0)
    for place, time, celsius in ((0.75, 15.0, 21.0001688), (0.75, 24.0, 35.5082516), (0.5, 24.0, 7.86437622),
                                 (0.75, 40.0, 9.4560382)):  # fmt: skip
        found = 100.0 * bar_with_a_swinging_end(place, time, 0.08, diffusivity, 60.0)
        assert found == pytest.approx(celsius, abs=6e-8)


def test_the_proof_in_time_has_rows_of_many_kinds_each_with_its_source() -> None:
    assert all(row.at_s is not None for case in IN_TIME for row in case.rows)
    assert sum(len(case.rows) for case in IN_TIME) >= 60 and all(len(case.source) > 20 for case in IN_TIME)
    assert {case.expects for case in IN_TIME} == {"an answer", "runaway"}
    assert any(case.coolant_C is not None for case in IN_TIME)
    assert not any("warm-up" in words or "periodic" in words for words in LEFT_OUT)


def test_a_wall_is_warmed_from_an_even_temperature_by_a_replay() -> None:
    """The whole way of such a row: the step response of the case file, replayed with its fluid, and its doubt."""
    case = next(case for case in IN_TIME if case.title == "Wall from an even temperature")
    lines = lines_of(case, Path(__file__).parents[2] / "cases")
    assert len(lines) == len(case.rows) and all(line.verdict != "OUTSIDE" for line in lines)
    assert all(line.doubt_holds is not False and line.doubt is not None and line.doubt < 0.2 for line in lines)

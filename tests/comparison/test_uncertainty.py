"""Uncertainty carried from inputs to results in two ways, against examples of the guides and exact distributions."""

from __future__ import annotations

import ast
from itertools import product
from math import erf, factorial, inf, log, pi, prod, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from thermsim.case.inputs.spread import Spread, filled, points, spread, table
from thermsim.case.typed.coverage import coverage_factor
from thermsim.comparison.uncertainty import (
    Sampled,
    compare_ways,
    first_order,
    numerical_tolerance,
    summarise,
)
from thermsim.errors import ThermsimError

SEED = 20_831


def below(y: float, half_widths: list[float]) -> float:
    """P(sum of independent rectangular values <= y), exactly: Feller, Probability Theory II, I.9 (from memory)."""
    count, whole = len(half_widths), sum(half_widths)
    terms = (
        (-1.0) ** sum(corner) * max(y + whole - 2.0 * sum(np.multiply(corner, half_widths)), 0.0) ** count
        for corner in product((0, 1), repeat=count)
    )
    return float(sum(terms) / (factorial(count) * prod(2.0 * half for half in half_widths)))


def exact_end(half_widths: list[float], level: float = 0.975) -> float:
    low, high = 0.0, sum(half_widths)
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if below(middle, half_widths) < level else (low, middle)
    return low


def normal(x: float) -> float:
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


# ---- shapes -----------------------------------------------------------------------------------------------------


def test_standard_uncertainties_of_shapes() -> None:
    # JCGM 100, 4.3.7, 4.3.9, 4.3.4: a / sqrt 3, a / sqrt 6, half width of 95 % over 1.96.
    assert spread(5.0, 1.0).uncertainty == pytest.approx(0.57735, abs=1e-5)
    assert spread(5.0, 1.0, "triangle").uncertainty == pytest.approx(0.40825, abs=1e-5)
    assert spread(5.0, 1.96, "normal").uncertainty == pytest.approx(1.0, abs=2e-5)
    assert spread(5.0, 0.0).uncertainty == 0.0


@pytest.mark.parametrize(("repeats", "factor"), [(2, 12.71), (3, 4.30), (5, 2.78), (11, 2.23), (21, 2.09)])
def test_repeated_readings_follow_student(repeats: int, factor: float) -> None:
    # JCGM 100, table G.2: t95 for 1, 2, 4, 10 and 20 degrees of freedom. s = 1: half = t95 / sqrt n, u = 1 / sqrt n.
    one = spread(7.0, factor / sqrt(repeats), None, repeats)
    assert (one.shape, one.freedom) == ("t", repeats - 1.0)
    assert one.uncertainty == pytest.approx(1.0 / sqrt(repeats), rel=2e-3)
    # Half width and 95 % are the same thing.
    assert one.quantile([0.025, 0.975]) == pytest.approx([7.0 - one.half_width, 7.0 + one.half_width])


def test_what_is_drawn_has_the_deviation_of_its_shape() -> None:
    levels = (np.arange(200_000) + 0.5) / 200_000
    for shape in ("even", "triangle", "normal"):
        one = Spread(3.0, 0.7, shape)  # type: ignore[arg-type]
        assert np.std(one.quantile(levels)) == pytest.approx(one.deviation, rel=1e-3)
        assert one.deviation == one.uncertainty
    # JCGM 101, 6.4.9.4: variance (n - 1)/(n - 3) s^2/n; n = 12 here.
    one = spread(3.0, 0.7, None, 12)
    assert one.deviation == pytest.approx(one.uncertainty * sqrt(11 / 9))
    assert np.std(one.quantile(levels)) == pytest.approx(one.deviation, rel=1e-3)
    # The same clause: no variance for n of 3 or less.
    assert spread(3.0, 0.7, None, 3).deviation == inf
    assert not spread(3.0, 0.7, None, 3).has_deviation
    assert spread(3.0, 0.7, None, 4).has_deviation


@pytest.mark.parametrize("shape", ["even", "triangle", "normal", "t"])
def test_bounds_gather_what_lies_beyond(shape: str) -> None:
    one = Spread(1.0, 2.0, shape, 4.0 if shape == "t" else inf, low=0.0, high=1.5)  # type: ignore[arg-type]
    drawn = one.quantile((np.arange(100_000) + 0.5) / 100_000)
    assert drawn.min() == 0.0 and drawn.max() == 1.5
    whole = {
        "even": stats.uniform(-1.0, 4.0), "triangle": stats.triang(0.5, -1.0, 4.0),
        "normal": stats.norm(1.0, 2.0 / stats.norm.ppf(0.975)), "t": stats.t(4.0, 1.0, 2.0 / stats.t.ppf(0.975, 4.0)),
    }[shape]  # fmt: skip
    assert np.mean(drawn == 0.0) == pytest.approx(whole.cdf(0.0), abs=3e-5)
    assert np.mean(drawn == 1.5) == pytest.approx(whole.sf(1.5), abs=3e-5)


@pytest.mark.parametrize(
    "make",
    [
        lambda: spread(1.0, -0.1),
        lambda: spread(1.0, float("nan")),
        lambda: spread(1.0, 0.1, "t"),
        lambda: spread(1.0, 0.1, None, 1),
        lambda: spread(1.0, 0.1, "triangle", 4),
        lambda: spread(-1.0, 0.1, low=0.0),
        lambda: Spread(1.0, 0.1, "even", 3.0),
        lambda: points(1000, 2, SEED),
        lambda: points(0, 2, SEED),
        lambda: points(64, 2, SEED, 1),
    ],
)
def test_contradictions_are_refused(make: object) -> None:
    with pytest.raises(ThermsimError):
        make()  # type: ignore[operator]


def test_points_are_inside_reproducible_and_block_by_block_even() -> None:
    found = points(1024, 5, SEED)
    assert found.shape == (1024, 5) and found.min() > 0.0 and found.max() < 1.0
    assert np.array_equal(found, points(1024, 5, SEED))
    # Sobol 1967: one point in every interval of length 1/n, in each coordinate, of each block; scrambling keeps that.
    for block in np.split(found, 8):
        for column in block.T:
            assert np.array_equal(np.sort(np.floor(column * 128)), np.arange(128))
    first, second = np.split(found, 8)[:2]
    assert not np.allclose(first, second)
    assert (filled(1000), filled(1024), filled(1025), filled(1)) == (1024, 1024, 2048, 8)
    assert points(64, 0, SEED).shape == (64, 0)


# ---- by sensitivities -------------------------------------------------------------------------------------------


def test_end_gauge() -> None:
    # JCGM 100, H.1 (from memory), nm: standard 25 (18), comparison 9.7 (25.6), expansion 2.9 (50), temperature
    # 16.6 (2); published u_c = 32 nm, effective freedom 16, t99(16) = 2.92, U99 = 93 nm.
    whole = first_order([1.0, 1.0, 1.0, 1.0], [25.0, 9.7, 2.9, 16.6], [18.0, 25.6, 50.0, 2.0])
    found = whole.estimate(838.0, 0.99)
    assert round(found.uncertainty) == 32
    assert int(found.freedom) == 16 and found.freedom == pytest.approx(16.7, abs=0.1)
    assert coverage_factor(0.99, 16) == pytest.approx(2.92, abs=0.005)
    assert found.high - 838.0 == pytest.approx(93.0, abs=0.7)


def test_effective_degrees_of_freedom_of_a_product() -> None:
    # JCGM 100, G.4.1, example: relative u 0.25, 0.57, 0.82 % from 10, 5 and 15 readings; u 1.03 %, freedom 19.0,
    # t95 2.09.
    whole = first_order([1.0, 1.0, 1.0], [0.25, 0.57, 0.82], [9.0, 4.0, 14.0])
    assert whole.uncertainty[0] == pytest.approx(1.03, abs=0.005)
    assert whole.freedom[0] == pytest.approx(19.0, abs=0.05)
    assert whole.estimate(0.0, 0.95).high == pytest.approx(2.09 * 1.03, abs=0.02)


def test_mass_of_ten_kilograms() -> None:
    # EA-4/02 M:2022, supplement S2 (from memory), mg: certificate U = 45 for k = 2; drift +-15; three comparisons
    # with a pooled s of 25; eccentricity and buoyancy +-10 each. Published u = 29.3 mg, U = 58 to 59 mg.
    inputs = [Spread(0.0, 1.959964 * 22.5, "normal"), Spread(0.0, 15.0), Spread(0.0, 1.959964 * 25 / sqrt(3), "normal")]
    inputs += [Spread(0.0, 10.0), Spread(0.0, 10.0)]
    whole = first_order(np.ones(5), [one.uncertainty for one in inputs])
    assert whole.uncertainty[0] == pytest.approx(29.26, abs=0.01)
    assert whole.estimate(0.0, 0.9545).high == pytest.approx(58.5, abs=0.1)
    drawn = summarise(table(inputs, 2**15, SEED).sum(axis=1), 0.9545)
    assert drawn.deviation is not None and drawn.deviation.value == pytest.approx(29.26, abs=0.1)


def test_shared_inputs_cancel_in_a_gain() -> None:
    # Var(a - b) = Var a + Var b - 2 Cov (JCGM 100, 5.2.2). Base and option share the first input, by hand.
    slopes, spreads = np.array([[3.0, 1.0, 0.0], [3.0, 0.0, 2.0]]), np.array([1.0, 0.5, 0.25])
    whole, gain = first_order(slopes, spreads), first_order(slopes[0] - slopes[1], spreads)
    assert whole.uncertainty**2 == pytest.approx([9.25, 9.25])
    assert gain.uncertainty[0] == pytest.approx(sqrt(9.25 + 9.25 - 2.0 * 9.0))
    assert gain.shares[0] == pytest.approx([0.0, 0.5, 0.5])
    assert whole.shares.sum(axis=1) == pytest.approx([1.0, 1.0])


def test_nothing_uncertain_and_whole_freedoms() -> None:
    none = first_order([1.0, 2.0], [0.0, 0.0]).estimate(4.0, 0.9)
    assert (none.low, none.high, none.uncertainty, none.freedom) == (4.0, 4.0, 0.0, inf)
    # One input with 7 degrees of freedom has 7, not 6.999...; t95(7) = 2.36 (JCGM 100, table G.2).
    for slope in (0.1, 0.3, 1.7, 3.3):
        assert first_order([slope], [1.0 / slope], [7.0]).estimate(0.0, 0.95).high == pytest.approx(2.365, abs=1e-3)
    for readings in range(1, 400):
        freedom = float(readings)
        known = first_order([1.0], [1.0], [freedom]).estimate(0.0, 0.95).high
        assert known == pytest.approx(coverage_factor(0.95, freedom), rel=1e-12)
    with pytest.raises(ValueError, match="not negative"):
        first_order([1.0], [-1.0])
    with pytest.raises(ValueError, match="freedom"):
        first_order([1.0], [1.0], [0.0])


# ---- by samples -------------------------------------------------------------------------------------------------

FOUR_EVEN = [sqrt(3.0)] * 4
ONE_WIDE = [*[sqrt(3.0)] * 3, 10.0 * sqrt(3.0)]


def test_the_exact_ends_are_those_of_the_guide() -> None:
    # JCGM 101, 9.2.3: +-2 sqrt 3 [2 - (3/5)^(1/4)] = +-3.88; 9.2.4: +-17.0 (from memory).
    assert exact_end(FOUR_EVEN) == pytest.approx(2.0 * sqrt(3.0) * (2.0 - 0.6**0.25), abs=1e-9)
    assert exact_end(FOUR_EVEN) == pytest.approx(3.88, abs=0.005)
    assert exact_end(ONE_WIDE) == pytest.approx(17.0, abs=0.05)


@pytest.mark.parametrize(
    ("inputs", "uncertainty", "straight", "sampled"),
    [
        ([Spread(0.0, 1.959963985, "normal")] * 4, 2.0, 3.92, 3.92),  # JCGM 101, 9.2.2
        ([Spread(0.0, half) for half in FOUR_EVEN], 2.0, 3.92, 3.88),  # 9.2.3
        ([Spread(0.0, half) for half in ONE_WIDE], 10.15, 19.9, 17.0),  # 9.2.4
    ],
)
def test_sums_of_four(inputs: list[Spread], uncertainty: float, straight: float, sampled: float) -> None:
    first = first_order(np.ones(4), [one.uncertainty for one in inputs]).estimate(0.0, 0.95)
    assert first.uncertainty == pytest.approx(uncertainty, abs=0.005)
    assert first.high == pytest.approx(straight, abs=0.01)
    drawn = summarise(table(inputs, 2**15, SEED).sum(axis=1), 0.95)
    assert drawn.mean is not None and drawn.deviation is not None
    assert drawn.mean.value == pytest.approx(0.0, abs=1e-3)
    assert drawn.deviation.value == pytest.approx(uncertainty, rel=2e-3)
    for end in (-drawn.low.value, drawn.high.value):
        assert end == pytest.approx(sampled, abs=0.05)


def test_the_sampling_error_is_honest() -> None:
    """Against the exact end: two standard errors hold about 19 of 20 (a normal law), and they are not idle."""
    inputs = [Spread(0.0, half) for half in ONE_WIDE]
    truth, held, sizes = exact_end(ONE_WIDE, 0.95), 0, []
    for seed in range(500, 560):
        high = summarise(table(inputs, 1024, seed).sum(axis=1), 0.90).high
        held += abs(high.value - truth) <= 2.0 * high.error
        sizes.append(abs(high.value - truth) / high.error)
    assert held >= 50
    assert float(np.median(sizes)) > 0.3


def test_shortest_interval_of_a_skew_result() -> None:
    # Exponential: shortest 95 % from 0 to -ln 0.05, symmetric -ln 0.975 to -ln 0.025 (by hand).
    drawn = -np.log(points(2**14, 1, SEED)[:, 0])
    found = summarise(drawn, 0.95)
    assert (found.low.value, found.high.value) == pytest.approx((-log(0.975), -log(0.025)), abs=0.02)
    assert (found.shortest_low.value, found.shortest_high.value) == pytest.approx((0.0, -log(0.05)), abs=0.03)


def test_quantiles_of_few_samples() -> None:
    # JCGM 101, annex D: straight lines through the points ((r - 1/2)/n, r-th value), by hand.
    ten = Sampled(np.arange(1.0, 11.0))
    assert ten.quantile([0.05, 0.1, 0.5, 0.95]) == pytest.approx([1.0, 1.5, 5.5, 10.0])
    assert ten.symmetric(0.8) == pytest.approx((1.5, 9.5))


def test_a_normal_part_is_folded_in_exactly() -> None:
    even = (np.arange(4096) + 0.5) / 4096 * 2.0 - 1.0
    blurred = Sampled(even, 0.8)
    # P(even on [-1, 1] + 0.8 N > t) = 1/2 integral of Phi((x - t)/0.8), by the antiderivative z Phi(z) + phi(z).
    for at in (-0.5, 0.3, 2.0):
        ends = [(x - at) / 0.8 for x in (-1.0, 1.0)]
        parts = [z * normal(z) + np.exp(-0.5 * z * z) / sqrt(2.0 * pi) for z in ends]
        assert blurred.exceeds(at) == pytest.approx(0.4 * (parts[1] - parts[0]), abs=1e-7)
        assert blurred.quantile(1.0 - blurred.exceeds(at))[0] == pytest.approx(at, abs=1e-9)
    assert blurred.deviation == pytest.approx(sqrt(1.0 / 3.0 + 0.64), rel=1e-3)
    # One value and nothing but the normal part: +-1.645 and +-1.96 (JCGM 100, table G.1).
    alone = Sampled(np.full(64, 2.0), 1.0)
    assert alone.symmetric(0.90) == pytest.approx((2.0 - 1.645, 2.0 + 1.645), abs=1e-3)
    assert alone.shortest(0.95) == pytest.approx((2.0 - 1.96, 2.0 + 1.96), abs=0.01)


def test_a_probability_of_none_is_not_certain() -> None:
    # Rule of three: none of n, 95 %: below 3/n (common practice).
    found = summarise(np.linspace(1.0, 2.0, 512), 0.90, [5.0, 0.0, 1.5])
    assert [one.value for one in found.exceeds] == [0.0, 1.0, 0.5]
    assert 2.0 * found.exceeds[0].error == pytest.approx(3.0 / 512)


def test_weak_samples_are_refused_and_told() -> None:
    with pytest.raises(ThermsimError, match="would have told"):
        summarise(np.linspace(0.0, 1.0, 64), 0.95)
    with pytest.raises(ThermsimError, match="3 of 512 samples have no answer"):
        summarise([*np.linspace(0.0, 1.0, 509), np.nan, np.nan, np.inf], 0.90)
    with pytest.raises(ThermsimError, match="blocks"):
        summarise(np.linspace(0.0, 1.0, 515), 0.90)


def test_few_readings_have_an_interval_but_no_mean() -> None:
    one = spread(0.0, 4.3026527, None, 3)  # s/sqrt n = 1, t95(2) = 4.30 (JCGM 100, table G.2)
    found = summarise(table([one], 4096, SEED)[:, 0], 0.90, has_deviation=one.has_deviation)
    assert found.mean is None and found.deviation is None
    assert found.high.value == pytest.approx(2.92, abs=0.03)  # t90(2), the same table


# ---- both -------------------------------------------------------------------------------------------------------


def test_numerical_tolerance() -> None:
    # JCGM 101, 7.9.2, examples 1 and 3 (from memory): 0.00035 to two digits 5e-6; 2 to one digit 0.5.
    assert numerical_tolerance(0.00035, 2) == pytest.approx(0.000005)
    assert numerical_tolerance(2.0, 1) == pytest.approx(0.5)
    assert numerical_tolerance(2.0, 2) == pytest.approx(0.05)
    assert numerical_tolerance(0.0) == 0.0


@pytest.mark.parametrize(("halves", "agree"), [(FOUR_EVEN, True), (ONE_WIDE, False)])
def test_ways_agree_where_the_guide_says_so(halves: list[float], agree: bool) -> None:
    # JCGM 101, 9.2.3 (3.92 against 3.88 within 0.05) and 9.2.4 (19.9 against 17.0 not within 0.5), two digits.
    inputs = [Spread(0.0, half) for half in halves]
    first = first_order(np.ones(4), [one.uncertainty for one in inputs]).estimate(0.0, 0.95)
    found = compare_ways(first, summarise(table(inputs, 2**15, SEED).sum(axis=1), 0.95))
    assert found.agree is agree
    if not agree:
        assert found.apart_high == pytest.approx(2.9, abs=0.1)
        assert "disagree" in found.words and "Trust the samples" in found.words and "3 K apart" in found.words


def test_a_vanishing_sensitivity_is_found_out() -> None:
    # y = x^2 at 0: the slope is nothing, the result is not (JCGM 100, H.1.7: terms of second order).
    one = Spread(0.0, 1.0)
    first = first_order([0.0], [one.uncertainty]).estimate(0.0, 0.90)
    assert not compare_ways(first, summarise(table([one], 1024, SEED)[:, 0] ** 2, 0.90)).agree
    with pytest.raises(ValueError, match="coverage"):
        compare_ways(first, summarise(table([one], 1024, SEED)[:, 0], 0.95))


def test_scipy_is_loaded_only_when_it_is_needed() -> None:
    house = Path(__file__).parents[2] / "thermsim"
    for name in ("case/inputs/spread", "comparison/uncertainty", "comparison/ranking", "comparison/decision"):
        body = ast.parse((house / f"{name}.py").read_text(encoding="utf-8")).body
        loaded = [node.module or "" for node in body if isinstance(node, ast.ImportFrom)]
        loaded += [alias.name for node in body if isinstance(node, ast.Import) for alias in node.names]
        assert not [one for one in loaded if one.startswith("scipy")]

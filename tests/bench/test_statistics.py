"""The statistics of measured runs against published data, and the interval of a gain against drawn benches.

The rows with their sources stand in the table of the proof: analysis of variance (JCGM 100:2008 H.5, the dyestuff, NIST
StRD), pooled and by Welch (NIST handbook), a component below zero, Sheppard's corrections.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from thermsim.bench.statistics.chances import Made, Question
from thermsim.bench.statistics.gain import gain, steps
from thermsim.bench.statistics.mounts import USUAL, Prior, pooled_variance, scatter
from thermsim.bench.statistics.two_samples import Sample, pooled, welch
from thermsim.bench.statistics.variance import analysis_of_variance
from thermsim.bench.statistics.whole_steps import rounded_moments, shown, stuck_error
from thermsim.proof.run.scatter import SCATTER
from thermsim.proof.table import scatter as published
from thermsim.proof.table.row import Sample as Published

Array = NDArray[np.float64]
STRD = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
DRAWN = 20_000


@pytest.mark.parametrize("row", SCATTER, ids=[f"{row.source[:12]} {row.quantity}" for row in SCATTER])
def test_published_values(row: Published) -> None:
    assert row.source
    assert row.found() == pytest.approx(row.reference, abs=row.within)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("SiRstv", published.RESISTIVITY),
        ("AtmWtAg", published.SILVER),
        ("SmLs01", published.made_treatments(1.0)),
        ("SmLs04", published.made_treatments(1e6)),
        ("SmLs07", published.made_treatments(1e12)),
    ],
)
def test_data_are_those_of_the_files_that_scipy_ships(name: str, data: tuple[tuple[float, ...], ...]) -> None:
    file = STRD / f"{name}.dat"
    if not file.is_file():
        pytest.skip("this scipy came without its tests")
    treatment, value = np.loadtxt(file, skiprows=60).T
    assert [tuple(value[treatment == number]) for number in np.unique(treatment)] == list(data)


def test_unequal_counts_agree_with_a_general_library() -> None:
    groups = [[3.1, 3.3, 2.9, 3.4], [3.9, 4.2], [2.2, 2.6, 2.1, 2.4, 2.7]]
    found, other = analysis_of_variance(groups), scipy.stats.f_oneway(*groups)
    assert (found.ratio, found.chance) == pytest.approx((other.statistic, other.pvalue))
    assert found.usual_count == pytest.approx((11 - 45 / 11) / 2)


def test_two_samples_agree_with_a_general_library() -> None:
    rng = np.random.default_rng(20_267)
    one, two = rng.normal(3.0, 1.0, 7), rng.normal(2.0, 3.0, 12)
    first, second = (Sample(values.size, values.mean(), values.std(ddof=1)) for values in (one, two))
    for found, equal in ((pooled(first, second), True), (welch(first, second), False)):
        other = scipy.stats.ttest_ind(one, two, equal_var=equal)
        assert (found.ratio, found.degrees) == pytest.approx((other.statistic, other.df))
        ends = other.confidence_interval(0.9)
        assert found.value - found.half_width() == pytest.approx(ends.low)
        assert found.value + found.half_width() == pytest.approx(ends.high)


@pytest.mark.parametrize("groups", [[], [[]], [[1.0], []]])
def test_no_values_are_refused(groups: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="at least one value"):
        analysis_of_variance(groups)


# ---- whole steps ------------------------------------------------------------------------------------------------


def test_what_is_cut_off_lies_half_a_step_low() -> None:
    values = np.random.default_rng(20_267).normal(70.3, 0.9, DRAWN)
    assert values.mean() - shown(values, 1.0, "down").mean() == pytest.approx(0.5, abs=0.01)
    assert values.mean() - shown(values, 1.0).mean() == pytest.approx(0.0, abs=0.01)
    assert shown(np.array([70.5, 70.49]), 1.0).tolist() == [71.0, 70.0]
    assert shown(np.array([70.99, -0.2]), 0.5, "down").tolist() == [70.5, -0.5]


@pytest.mark.parametrize("sd", [0.05, 0.1, 0.2, 0.3, 0.5])
def test_the_mean_of_rounded_values_is_off_by_no_more_than_is_told(sd: float) -> None:
    """Against the sum over the normal distribution, wherever in its step the mean lies."""
    off = max(abs(rounded_moments(mean, sd)[0] - mean) for mean in np.linspace(0.0, 0.5, 101))
    assert stuck_error(1.0, sd) == pytest.approx(off, abs=1e-4)
    assert stuck_error(0.5, 0.5 * sd) == pytest.approx(0.5 * off, abs=1e-4)


# ---- the scatter of mounts --------------------------------------------------------------------------------------


def test_runs_of_options_are_pooled_with_what_is_usual() -> None:
    """By hand: squares 2 x 0.5^2 and 0, with 6 of 0.8^2: (3.84 + 0.5)/(6 + 2)."""
    found = scatter([[70.0, 71.0], [65.0, 65.0], [60.0]])
    assert found.sd_K**2 == pytest.approx((6 * 0.64 + 0.5) / 8)
    assert (found.degrees, found.own_degrees) == (8.0, 2)
    assert found.own_sd_K == pytest.approx(0.5) and not found.is_unusual
    assert "0.8 K, worth 6 mounts" in found.words and "0.50 K by themselves" in found.words


def test_without_a_second_mount_the_scatter_is_the_usual_one_and_says_so() -> None:
    found = scatter([[70.0], [65.0]])
    assert (found.sd_K, found.degrees, found.own_sd_K) == (0.8, 6.0, None)
    assert "no option has two mounts" in found.words
    with pytest.raises(ValueError, match="no option has two mounts"):
        scatter([[70.0], [65.0]], Prior(mounts=0.0))


def test_mounts_that_contradict_the_prior_make_it_count_for_less() -> None:
    """Twice its variance is bearable; four times makes it count half as many mounts."""
    bearable = scatter([[0.0, 2.0 * 0.8]])
    assert bearable.prior_mounts == 6.0 and not bearable.is_unusual
    wild = scatter([[0.0, np.sqrt(8.0) * 0.8]])
    assert wild.prior_mounts == pytest.approx(3.0)
    assert wild.is_unusual and "more than usual" in wild.words
    assert wild.sd_K**2 == pytest.approx((3 * 0.64 + 4 * 0.64) / 4)


def test_rounding_adds_to_the_prior_alone() -> None:
    """Mounts that were made hold it by themselves."""
    assert pooled_variance(2.0, 2, beside_K=0.3)[0] == pytest.approx((6 * (0.64 + 0.09) + 2.0) / 8)


# ---- the gain ---------------------------------------------------------------------------------------------------


def test_an_interval_by_hand() -> None:
    """Means 70.5 and 65, sd of one mount 0.8 by eight degrees of freedom: t is 1.8595 (any table)."""
    known = scatter([[70.5 - 0.8 / 2**0.5, 70.5 + 0.8 / 2**0.5], [65.0 - 0.8 / 2**0.5, 65.0 + 0.8 / 2**0.5]])
    found = gain([70.0, 71.0], [65.0], known)
    assert found.value_K == pytest.approx(5.5)
    assert found.half_width_K == pytest.approx(1.8595 * 0.8 * 1.5**0.5, rel=1e-4)
    assert (found.mounts, found.against) == (1, 2)
    assert found.probability_above(found.low_K) == pytest.approx(0.95)


def test_a_doubt_that_is_known_widens_and_adds_degrees_of_freedom() -> None:
    known = scatter([[70.0], [65.0]])
    alone, both = gain([70.0], [65.0], known), gain([70.0], [65.0], known, doubt_K=1.0)
    assert both.difference.sd == pytest.approx(np.hypot(alone.difference.sd, 1.0))
    assert both.difference.degrees == pytest.approx(6.0 * (2.28 / 1.28) ** 2)


def test_steps_of_a_chain_add_up() -> None:
    chain = [[73.0, 74.0], [70.0], [66.0, 66.5]]
    known = scatter(chain)
    first, second = steps(chain, known, [0.1, 0.2])
    assert first.value_K + second.value_K == pytest.approx(gain(chain[0], chain[2], known).value_K)
    assert (first.doubt_K, second.doubt_K) == (0.1, 0.2)


def drawn_gains(mounts: int, sd: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Gains and half widths of drawn benches of two options, the true gain being zero."""
    table = rng.normal(size=(len(sd), 2, mounts)) * sd[:, None, None]
    squares = ((table - table.mean(axis=2, keepdims=True)) ** 2).sum(axis=(1, 2))
    variance, degrees = pooled_variance(squares, 2 * (mounts - 1))
    half = scipy.stats.t.ppf(0.95, degrees) * np.sqrt(variance * 2.0 / mounts)
    return -np.diff(table.mean(axis=2), axis=1)[:, 0], half


@pytest.mark.parametrize("mounts", [1, 2, 3, 5])
def test_nine_intervals_of_ten_hold(mounts: int) -> None:
    """Scatter of mounts as it is usual, at 1.0 K, and at 1.5 K, where the prior is wrong; the bands are asked for."""
    rng = np.random.default_rng(20_268)
    usual = np.hypot(0.7 * 1.6 ** rng.normal(size=DRAWN), 0.3)
    for sd, low, high in ((usual, 0.88, 0.925), (np.full(DRAWN, 1.0), 0.875, 0.92), (np.full(DRAWN, 1.5), 0.80, 0.92)):
        found, half = drawn_gains(mounts, sd, rng)
        if sd[0] != 1.5 or mounts >= 3:
            assert low <= np.mean(np.abs(found) <= half) <= high
    found, half = drawn_gains(mounts, usual, rng)
    assert np.mean(found > half) <= 0.06  # told as a gain where there is none


# ---- chances ----------------------------------------------------------------------------------------------------


def test_chances_agree_with_drawn_benches() -> None:
    """The scatter drawn as the prior has it; the same benches, judged by the same functions, one by one."""
    rng = np.random.default_rng(20_269)
    sd = USUAL.sd_K * np.sqrt(USUAL.mounts / rng.chisquare(USUAL.mounts, DRAWN))
    for mounts in (1, 3):
        found, half = drawn_gains(mounts, sd, rng)
        shown_in = np.mean(found + 2.0 - half > 0.0)
        assert Question(2.0).chance(mounts) == pytest.approx(shown_in, abs=0.012)


def test_mounts_that_settle_a_question() -> None:
    question = Question(5.0, worth_K=3.0)
    needed = question.mounts_for(0.8)
    assert needed is not None and question.chance(needed) >= 0.8 > question.chance(needed - 1)
    assert Question(3.0, worth_K=3.0).mounts_for(0.8) is None
    assert all(0.04 < chance < 0.06 for chance in Question(3.0, worth_K=3.0).table((1, 2, 5)).values())


def test_mounts_that_were_made_count() -> None:
    """A gain already shown needs none; what two mounts showed is carried on, and chances grow with mounts to come."""
    known = scatter([[70.2, 70.8], [65.0, 65.4]])
    sure = Question(5.3, 3.0, made=Made(2, 2, 5.3), scatter=known)
    assert sure.mounts_for(0.8) == 0 and sure.chance(0) == 1.0
    close = Question(4.0, 3.0, made=Made(2, 2, 4.0), scatter=known)
    chances = list(close.table((0, 1, 2, 4, 8, 16)).values())
    assert chances[0] == 0.0 and chances == sorted(chances)
    lucky = Question(4.0, 3.0, made=Made(2, 2, 6.0), scatter=known)
    assert lucky.chance(2) > close.chance(2)
    with pytest.raises(ValueError, match="without any"):
        Question(4.0).chance(0)

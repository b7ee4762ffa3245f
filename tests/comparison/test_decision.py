"""From a gain and its interval to a verdict, a probability and the next measurement, against sums done by hand."""

from __future__ import annotations

from math import erf, hypot, sqrt

import numpy as np
import pytest
from remedies import SMALL, quoted

from thermsim.case.inputs.spread import Spread, table
from thermsim.case.load import parse_case
from thermsim.case.typed.coverage import coverage_factor
from thermsim.comparison.decision import Verdict, independent_K, scatter_of_comparison, verdict
from thermsim.comparison.ranking import InputShare, NextMeasurement, measure_next, unfit
from thermsim.comparison.uncertainty import first_order, summarise
from thermsim.errors import CaseError

WITHIN = 1.959963984540054  # standard deviations within which 19 of 20 lie, JCGM 100 table G.1 (1.960)
SEED = 20_831
FILM, PASTE, LID = Spread(30.0, 15.0), Spread(7.8, 2.0), Spread(2.45, 0.02)
NAMES, UNITS = ["solder.film_um", "paste.resistance_mm2K_W", "lid.thickness_mm"], ["um", "mm2K/W", "mm"]
SLOPES = [-0.05, 0.1, 4.0]  # [K per unit]


def normal(x: float) -> float:
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


def interval(spreads: list[Spread], gain_K: float, other_K: float = 0.0) -> tuple[float, float, float]:
    """Ends of 90 % and standard uncertainty of a gain, by first order."""
    whole = first_order([*SLOPES, 1.0], [*(one.uncertainty for one in spreads), other_K]).estimate(gain_K, 0.90)
    return whole.low, whole.high, whole.uncertainty


def shares() -> tuple[InputShare, ...]:
    """By hand: c u is 0.05 * 15/sqrt 3 for the film, 0.1 * 2/sqrt 3 for the paste, 4 * 0.02/sqrt 3 for the lid."""
    parts = np.array([0.4330, 0.1155, 0.0462])
    whole = float(np.sum(parts**2))
    return tuple(
        InputShare(name, one.value, one.half_width, unit, slope, part, part**2 / whole)
        for name, unit, one, slope, part in zip(NAMES, UNITS, (FILM, PASTE, LID), SLOPES, parts.tolist(), strict=True)
    )


def asked(gain_K: float, worth_K: float, *given: InputShare) -> NextMeasurement:
    low, high, uncertainty = interval([FILM, PASTE, LID], gain_K)
    return measure_next(given or shares(), gain_K, low, high, worth_K, uncertainty)


# ---- contributions ----------------------------------------------------------------------------------------------


def test_a_film_from_two_caliper_readings_is_unfit() -> None:
    # 30 um as the difference of two readings of +-20 um each: +-28 um (root of the sum of squares), nearly itself.
    film = InputShare("solder.film_um", 30.0, 20.0 * sqrt(2.0), "um", -0.05, 0.8, 0.9)
    words = unfit(film, 1.2, remedy="Weigh the film.")
    assert words is not None
    for piece in ("30 +- 29 um", "1.2 K", "1.4 K", "tolerance decides", "Weigh the film."):
        assert piece in words
    worse = InputShare("solder.film_um", 30.0, 40.0, "um", -0.05, 0.8, 0.9)
    assert "nothing at all" in str(unfit(worse, 1.2))
    # As doubtful, but the gain is far beyond it; and a well-known input that moves the gain much.
    assert unfit(film, 8.0) is None
    assert unfit(film, 8.0, worth_K=7.5) is not None
    assert unfit(InputShare("die.thickness_mm", 0.66, 0.02, "mm", 100.0, 1.2, 0.9), 1.0) is None
    assert unfit(InputShare("readings.C0.offset_K", 0.0, 2.0, "K", 1.0, 1.2, 0.9), 1.0) is None


# ---- probabilities ----------------------------------------------------------------------------------------------


def test_probability_of_a_normal_gain() -> None:
    # Gain N(2, 0.5); mesh doubt 0.4 and two mounts of +-1 K, all half widths of 95 %: u^2 = 0.25 + (0.16 + 2)/1.96^2.
    gains = table([Spread(2.0, 1.959964 * 0.5, "normal")], 4096, SEED)[:, 0]
    assert independent_K(0.4, 1.0 / WITHIN) == pytest.approx(sqrt(2.16) / 1.96, rel=1e-4)
    found = summarise(gains, 0.5, [1.5], independent_K(0.4, 1.0 / WITHIN)).exceeds[0]
    expected = normal(0.5 / hypot(0.5, sqrt(2.16) / 1.959964))
    assert found.value == pytest.approx(expected, abs=1e-3)
    assert abs(found.value - expected) <= 3.0 * found.error
    assert summarise(gains, 0.5, [1.5]).exceeds[0].value == pytest.approx(normal(1.0), abs=3e-3)


def test_means_of_mounts_scatter_less() -> None:
    assert scatter_of_comparison(1.0 / WITHIN) == pytest.approx(sqrt(2.0))
    assert scatter_of_comparison(1.0 / WITHIN, 4) == pytest.approx(sqrt(0.5))
    assert scatter_of_comparison(None) == 0.0
    with pytest.raises(ValueError, match="mounts"):
        scatter_of_comparison(1.0, 0)


# ---- the next measurement ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("gain_K", [1.4, 0.6])
def test_what_is_asked_for_settles_it(gain_K: float) -> None:
    """With the half width that was asked for the interval no longer holds what is worth it; with more it does."""
    found = asked(gain_K, 1.0)
    assert found.name == "solder.film_um" and found.half_width is not None
    for factor, settled in ((1.0, True), (1.15, False)):
        low, high, _ = interval([Spread(30.0, factor * found.half_width), PASTE, LID], gain_K)
        assert (not low <= 1.0 <= high) is settled
    assert "solder.film_um next, to within" in found.words and "now 15 um" in found.words


@pytest.mark.parametrize(("gain_K", "share", "factor"), [(1.4, 0.9, 1.645), (1.0, 0.95, 1.645), (0.9, 0.8, 1.96)])
def test_the_chance_is_that_of_trying_it(gain_K: float, share: float, factor: float) -> None:
    """Draw what the measurement may find (normal), and count how often what is left of the interval excludes 1 K."""
    uncertainty = 0.5
    one = InputShare("film", 30.0, 10.0, "um", 1.0, sqrt(share) * uncertainty, share)
    ends = gain_K - factor * uncertainty, gain_K + factor * uncertainty
    found = measure_next([one], gain_K, *ends, 1.0, uncertainty)
    ratio = 0.0 if found.half_width is None else found.half_width / 10.0
    random = np.random.default_rng(SEED)
    truth = gain_K + random.normal(0.0, one.uncertainty_K, 200_000)
    # Bayes with a normal prior: what is found has variance prior - left, and so much is left.
    gains = gain_K + (truth - gain_K) * (1.0 - ratio**2)
    gains += random.normal(0.0, one.uncertainty_K * ratio * sqrt(1.0 - ratio**2), 200_000)
    left = factor * uncertainty * sqrt(1.0 - share + share * ratio**2)
    assert found.chance == pytest.approx(np.mean(np.abs(gains - 1.0) > left), abs=0.005)


def test_where_no_single_measurement_settles_it() -> None:
    # At 1 K exactly no accuracy helps, unless the film turns out to be another one.
    at = asked(1.0, 1.0)
    assert at.name is None and at.half_width is None
    assert (
        "No single measurement is sure to settle it" in at.words
        and at.words.count(". ") == 0
        and "solder.film_um" in at.words
    )
    assert at.chance is not None and 0.3 < at.chance < 0.9
    assert "right at the 1 K asked for" in at.words
    assert asked(9.0, 1.0).words == "Nothing needs to be measured: it is settled as it stands."
    hidden = InputShare("film", 30.0, 15.0, "um", 1.0, 0.4, 1.0, measurable=False)
    assert "only mounts on the bench" in asked(1.2, 1.0, hidden).words
    # The rest is known to +-0.2 K and a bit: so little is left for the film that nobody can measure it.
    factor, rest = coverage_factor(0.90), 0.1
    film = InputShare("film", 30.0, 15.0, "um", 1.0, 1.0, 1.0 - rest**2)
    close = measure_next([film], factor * rest * 1.02, -1.5, 1.5 + factor * rest * 2.04, 0.0, 1.0)
    assert close.name is None and "times as well as now" in close.words


def test_the_side_of_what_is_worth_it_counts() -> None:
    # Skew: gain 0.9 from 0.2 to 2.3 K, u 0.5 K, worth 1 K above it. All of the doubt is the film's, so its half width
    # must shrink by (1 - 0.9)/(2.3 - 0.9) = 1/14: 15 um to 1.07, rounded down (by hand).
    film = InputShare("film", 30.0, 15.0, "um", 1.0, 0.5, 1.0)
    assert measure_next([film], 0.9, 0.2, 2.3, 1.0, 0.5).half_width == 1.0
    # Worth 0.8 K below it: by (0.9 - 0.8)/(0.9 - 0.2) = 1/7: 2.14 um.
    assert measure_next([film], 0.9, 0.2, 2.3, 0.8, 0.5).half_width == 2.1


# ---- the verdict ------------------------------------------------------------------------------------------------


def judged(gain_K: float, low_K: float, high_K: float, **given: object) -> Verdict:
    return verdict(gain_K, low_K, high_K, **given)  # type: ignore[arg-type]


def test_worth_it() -> None:
    found = judged(5.1, 3.2, 7.0, worth_K=2.0, one_mount_K=1.0 / WITHIN)
    assert found.kind == "worth it"
    assert "5.1 K, 9 times in 10 between 3.2 and 7.0 K" in found.words
    assert "the 2 K that would be worth it" in found.words and "1.4 K" in found.words
    assert found.scatter_K == pytest.approx(sqrt(2.0))


def test_undecided_for_want_of_mounts() -> None:
    # Scatter of one comparison sqrt 2 * 3 = 4.24 K; of n mounts each 4.24/sqrt n < 3.2 for n = 2 (3.0).
    found = judged(5.1, 3.2, 7.0, worth_K=2.0, one_mount_K=3.0 / WITHIN)
    assert (found.kind, found.mounts) == ("undecided", 2)
    assert "one mount of each cannot show it" in found.words and "2 mounts of each would" in found.words
    # 4.24/sqrt n < 1.5 first for n = 8 (1.4999...: 4.2426/sqrt 8 = 1.5 exactly, so 9).
    assert judged(5.1, 1.5, 7.0, worth_K=1.0, one_mount_K=3.0 / WITHIN).mounts == 9
    many = judged(5.1, 0.3, 7.0, one_mount_K=3.0 / WITHIN)
    assert (many.kind, many.mounts) == ("undecided", None) and "Not even 10 of each" in many.words


def test_not_worth_it() -> None:
    below = judged(1.0, 0.4, 1.6, worth_K=2.0)
    assert below.kind == "not worth it" and "Even the high end stays below the 2 K" in below.words
    nothing = judged(-2.0, -3.0, -1.0)
    assert nothing.kind == "not worth it" and "gains nothing" in nothing.words
    scatter = judged(1.0, 0.6, 1.4, worth_K=0.5, one_mount_K=1.0 / WITHIN)
    assert scatter.kind == "not worth it" and "Leave the chip closed" in scatter.words
    # A wide interval about a small gain is no proof of a small gain.
    assert judged(1.0, -8.0, 10.0, worth_K=2.0, one_mount_K=1.0 / WITHIN).kind == "undecided"


def test_undecided_names_the_measurement() -> None:
    low, high, uncertainty = interval([FILM, PASTE, LID], 1.4)
    found = judged(
        1.4,
        low,
        high,
        worth_K=1.0,
        one_mount_K=0.2 / WITHIN,
        shares=shares(),
        uncertainty_K=uncertainty,
        probability=0.81,
    )
    assert found.kind == "undecided"
    assert found.next_measurement is not None and found.next_measurement.name == "solder.film_um"
    assert "Measure solder.film_um next" in found.words and "81 %" in found.words


def test_nothing_is_worth_it_while_something_stands_against_it() -> None:
    missing = judged(5.1, 3.2, 7.0)
    assert missing.kind == "undecided" and not missing.worth_given and missing.worth_K == 0.0
    assert "it is not said what would be worth the step" in missing.words and "held against 0 K" in missing.words
    assert "Add `worth_K: 3` to the case" in missing.words
    assert "`worth_K" not in judged(5.1, 3.2, 7.0, worth_K=1.0).words
    assert "`one_mount_K`" in judged(5.1, 3.2, 7.0, worth_K=1.0).words
    exact = judged(5.1, 5.0, 5.2, worth_K=1.0, all_exact=True)
    assert exact.kind == "undecided" and "nothing has a tolerance: give a `plus_minus`" in exact.words
    assert "5.10 K as if everything were exact" in exact.words and "times in" not in exact.words
    warned = judged(5.1, 3.2, 7.0, worth_K=1.0, grave=["WARNING: die touches lid without a joint.", "another"])
    assert warned.kind == "undecided"
    assert "but a warning stands: WARNING: die touches lid without a joint. " in f"{warned.words} "


def test_an_honest_no_needs_no_warning_cleared() -> None:
    assert judged(1.0, 0.4, 1.6, worth_K=2.0, grave=["WARNING: a slip"]).kind == "not worth it"
    assert judged(-2.0, -3.0, -1.0).kind == "not worth it"


def test_not_to_be_had_whatever_it_gains() -> None:
    found = judged(9.0, 8.0, 10.0, worth_K=1.0, refused="gallium runs on aluminium")
    assert (
        found.kind == "not to be had"
        and "Not to be had, whatever it gains" in found.words
        and "gallium runs on aluminium" in found.words
    )


def test_sureness_is_not_bought_with_a_narrow_interval() -> None:
    with pytest.raises(ValueError, match="probability"):
        judged(5.0, 4.0, 6.0, coverage=0.5)
    assert judged(5.0, 4.0, 6.0, coverage=0.5, worth_K=3.0, probability=0.90).kind == "undecided"
    assert judged(5.0, 4.0, 6.0, coverage=0.5, worth_K=3.0, probability=0.97).kind == "worth it"
    assert "A close call" in judged(5.0, 3.1, 6.9, worth_K=3.0, error_K=0.1).words
    for wrong in ((float("nan"), 1.0, 2.0), (1.0, 3.0, 2.0)):
        with pytest.raises(ValueError, match="interval"):
            judged(*wrong)


def test_numbers_are_told_apart() -> None:
    # One decimal would tell "all of 2.0 K and more is above 2 K".
    found = judged(5.0, 2.03, 8.0, worth_K=2.0)
    assert found.kind == "worth it" and "between 2.03 and 8.00 K" in found.words
    assert "19 times in 20" in judged(5.0, 2.03, 8.0, coverage=0.95).words


def test_rules_hold_everywhere() -> None:
    random = np.random.default_rng(SEED)
    for _ in range(3000):
        gain, worth, mount = random.normal(1.0, 3.0), random.uniform(0.0, 4.0), random.uniform(0.01, 3.0)
        low, high = gain - random.exponential(2.0), gain + random.exponential(2.0)
        found = judged(gain, low, high, worth_K=worth, one_mount_K=mount / WITHIN)
        scatter = sqrt(2.0) * mount
        if found.kind == "worth it":
            assert low > worth and low > scatter
        elif found.kind == "not worth it":
            assert high < worth or high <= scatter or high <= 0.0
        else:
            assert high >= worth and high > scatter and (low <= worth or low <= scatter)
        if found.mounts is not None:
            assert scatter / sqrt(found.mounts) < low
            assert found.mounts == 2 or scatter / sqrt(found.mounts - 1) >= low * (1.0 - 1e-9)


def test_a_half_width_of_before_means_the_same_as_the_deviation_that_its_message_tells() -> None:
    """A mount within 1.5 K of the mean of many, 19 times in 20: two differ by up to 1.5 sqrt(2) K."""
    with pytest.raises(CaseError, match=r"did you mean `one_mount_K: 0.7653`\?") as told:
        parse_case(f"{SMALL}mount_scatter_K: 1.5\n")
    case = parse_case(quoted(f"{SMALL}mount_scatter_K: 1.5\n", told.value))
    assert scatter_of_comparison(case.one_mount_K) == pytest.approx(1.5 * sqrt(2.0), rel=1e-4)

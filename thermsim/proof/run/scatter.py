"""The statistics of measured runs, held against published data: the functions that judge a bench, and no others."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from thermsim.bench.statistics.two_samples import Sample as Summary
from thermsim.bench.statistics.two_samples import pooled, pooled_sd, welch
from thermsim.bench.statistics.variance import (
    Analysis,
    analysis_of_summaries,
    analysis_of_variance,
    between_variance,
    effective_degrees,
)
from thermsim.bench.statistics.whole_steps import rounded_moments, rounding_sd, stuck_error
from thermsim.proof.table import scatter
from thermsim.proof.table.row import CLOSED_FORM, MEMORY, PRINTED, Sample
from thermsim.proof.table.scatter import DAVIES, GUM, HANDBOOK, STRD

TITLE = "Statistics of measured runs"
DAYS = f"{GUM}: ten days of a voltage standard"
BATCHES = f"{DAVIES}: six batches of a dyestuff"
MADE_BATCHES = "Box, Tiao, Bayesian Inference in Statistical Analysis (1973): made batches (data from memory)"
CARS = f"{HANDBOOK}, 1.3.5.3: miles per gallon of cars of two countries"
FURNACE = f"{HANDBOOK}, 3.5.1: places in a furnace"
SHEPPARD = "Sheppard, Proc. London Math. Soc. 29 (1898) 353"
FIRST, SECOND = Summary(249, 20.14458, 6.41470), Summary(79, 30.48101, 6.10771)


@cache
def days() -> Analysis:
    """Of readings of five on each of ten days [uV over 10 V]."""
    return analysis_of_summaries(scatter.DAYS_UV, scatter.DAYS_SD_UV, 5)


@cache
def batches() -> Analysis:
    """Of the dyestuff."""
    return analysis_of_variance(scatter.DYESTUFF)


@cache
def made() -> Analysis:
    """Of the made batches, whose estimate between batches is below zero."""
    return analysis_of_variance(scatter.MADE_BATCHES)


def _batch_degrees() -> float:
    parts = batches().between_square / 5.0, -batches().within_square / 5.0
    return effective_degrees(parts, (batches().between_degrees, batches().within_degrees))


def _strd(name: str, groups: Callable[[], Analysis], ratio: float, within: float) -> Sample:
    return _row("F", lambda: groups().ratio, ratio, within, f"{STRD}, {name}")


def _row(
    quantity: str, found: Callable[[], float], reference: float, within: float, source: str, unit: str = "",
    known: str = PRINTED, excellent: float | None = None,
) -> Sample:  # fmt: skip
    return Sample(quantity, found, reference, within, source, unit, excellent, known, TITLE)


SCATTER: tuple[Sample, ...] = (
    _row("mean over 10 V", lambda: days().mean, 97.0, 0.5, DAYS, "uV"),
    _row("days, from their means", lambda: days().between_square**0.5, 128.0, 0.5, DAYS, "uV"),
    _row("within a day", lambda: days().within_sd, 85.0, 0.5, DAYS, "uV"),
    _row("F, of rounded values", lambda: days().ratio, 2.25, 0.02, DAYS),
    _row("between days", lambda: days().between_sd, 43.0, 0.5, DAYS, "uV"),
    _row("uncertainty of the mean", lambda: days().mean_sd, 18.0, 0.5, DAYS, "uV"),
    _row("mean", lambda: batches().mean, 1527.5, 1e-9, BATCHES, "g"),
    _row("mean square between", lambda: batches().between_square, 11272.0, 0.51, BATCHES, "g2"),
    _row("mean square within", lambda: batches().within_square, 2451.0, 0.5, BATCHES, "g2"),
    _row("between batches", lambda: batches().between_sd, 42.0006, 5e-5, BATCHES, "g", CLOSED_FORM),
    _row("ratio of variances, low end", lambda: batches().variance_ratio_range().low, 0.092, 5e-4, BATCHES),
    _row("ratio of variances, high end", lambda: batches().variance_ratio_range().high, 5.574, 5e-4, BATCHES),
    _row("variance within, low end", lambda: batches().within_variance_range().low, 1494.5, 0.05, BATCHES, "g2",
         CLOSED_FORM),
    _row("variance within, high end", lambda: batches().within_variance_range().high, 4743.9, 0.05, BATCHES, "g2",
         CLOSED_FORM),
    _row("variance between, high end", lambda: batches().between_variance_range().high, 13090.6, 0.05, BATCHES, "g2",
         CLOSED_FORM),
    _row("degrees of freedom of that", _batch_degrees, 3.03, 0.005, BATCHES, "", CLOSED_FORM),
    _row("estimate between", lambda: between_variance(made().between_square, made().within_square, 5), -1.3219, 5e-5,
         MADE_BATCHES, "", MEMORY),
    _row("the same, as told", lambda: made().between_variance, 0.0, 1e-12, MADE_BATCHES, "", MEMORY),
    _strd("SiRstv", lambda: analysis_of_variance(scatter.RESISTIVITY), 1.18046237440255, 1e-9),
    _strd("AtmWtAg, 7 digits shared", lambda: analysis_of_variance(scatter.SILVER), 15.9467335677930, 1e-6),
    _strd("SmLs01", lambda: analysis_of_variance(scatter.made_treatments(1.0)), 21.0, 1e-11),
    _strd("SmLs04, 7 digits shared", lambda: analysis_of_variance(scatter.made_treatments(1e6)), 21.0, 1e-6),
    _strd("SmLs07, 13 digits shared", lambda: analysis_of_variance(scatter.made_treatments(1e12)), 21.0, 0.05),
    _row("pooled standard deviation", lambda: pooled_sd(FIRST, SECOND), 6.34260, 5e-6, CARS),
    _row("t, pooled", lambda: pooled(FIRST, SECOND).ratio, -12.62059, 5e-6, CARS),
    _row("t, by Welch", lambda: welch(FIRST, SECOND).ratio, -12.94627, 5e-6, CARS),
    _row("degrees of freedom, by Welch", lambda: welch(FIRST, SECOND).degrees, 136.8750, 5e-5, CARS, "", CLOSED_FORM),
    _row("variance between places", lambda: between_variance(571.659, 120.893, 2), 225.383, 5e-4, FURNACE),
    _row("variance of a rounded value, sd of 1 step", lambda: 1.0 + rounding_sd(1.0) ** 2,
         rounded_moments(0.3, 1.0)[1], 1e-6, SHEPPARD, "step2", CLOSED_FORM),
    _row("the same, sd of half a step", lambda: 0.25 + rounding_sd(1.0) ** 2, rounded_moments(0.3, 0.5)[1], 0.009,
         SHEPPARD, "step2", CLOSED_FORM),
    _row("mean off at most, sd of 0.2 steps", lambda: stuck_error(1.0, 0.2), 0.145, 5e-4, SHEPPARD, "step",
         CLOSED_FORM),
    _row("mean off at most, sd of 0.3 steps", lambda: stuck_error(1.0, 0.3), 0.054, 5e-4, SHEPPARD, "step",
         CLOSED_FORM),
    _row("mean off at most, sd of half a step", lambda: stuck_error(1.0, 0.5), 0.0023, 5e-5, SHEPPARD, "step",
         CLOSED_FORM),
)  # fmt: skip

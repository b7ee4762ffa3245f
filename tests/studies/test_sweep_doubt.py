"""The doubt of the inputs in a sweep, held against closed forms sampled by a general statistics library."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

import thermsim
from thermsim.doubt.inputs import with_input_doubt
from thermsim.readout.observable import HOTTEST
from thermsim.sweeps.points import places_of, ranges_of
from thermsim.sweeps.sweep import Sweep, Vary, sweep

pytestmark = pytest.mark.usefixtures("coarse_grids")

Array = NDArray[np.float64]
WHOLE = ("zone", "all of it", "mean")
DRAWS = 400_000

SLAB = """
title: A slab with tolerances
layers:
  - part: slab
    material: {conductivity_W_mK: {value: 100, plus_minus: 20, shape: triangle}}
    size_mm: [10, 10]
    thickness_mm: {value: 2.0, plus_minus: 0.2}
heat:
  - {in: slab, at: bottom, zones: [{zone: all of it, corner_mm: [0, 0], size_mm: [10, 10], power_W: 50}]}
cooling:
  - face: top
    film_W_m2K: {value: 10000, plus_minus: 2000}
    fluid_C: {value: 25, plus_minus: 1, shape: normal}
readings:
  - {reading: sensor, zone: all of it, takes: mean, offset_K: {value: 0.5, plus_minus: 2}}
options:
  - {option: softer, changes: {slab.material: {conductivity_W_mK: {value: 60, plus_minus: 6}}}}
"""
THICKNESSES = (2.0, 2.1, 2.4, 3.2)


@pytest.fixture(scope="module")
def thickness() -> Sweep:
    """Of 2.0, 2.4, 2.8 and 3.2 mm."""
    found = sweep(thermsim.parse_case(SLAB), [Vary("slab.thickness_mm", 2.0, 3.2, 4)], asked=[WHOLE, "reading sensor"])
    assert found.ranges[0].values == (2.0, 2.4, 2.8, 3.2)
    return found


def drawn(seed: int, film: float = 10000.0, half: float = 2000.0) -> tuple[Array, Array, Array]:
    """Fluid [C], film [W/m2K] and conductivity [W/mK], with the distributions of scipy.stats; 1.96 is of the normal."""
    random = np.random.default_rng(seed)
    return (
        stats.norm(25.0, 1.0 / stats.norm.ppf(0.975)).rvs(DRAWS, random_state=random),
        stats.uniform(film - half, 2.0 * half).rvs(DRAWS, random_state=random),
        stats.triang(0.5, 80.0, 40.0).rvs(DRAWS, random_state=random),
    )


def lengths(nominal_mm: float, seed: int) -> Array:
    draws = stats.uniform(nominal_mm - 0.2, 0.4).rvs(DRAWS, random_state=np.random.default_rng(seed))
    return np.asarray(1e-3 * draws)


def slab_C(shared: tuple[Array, Array, Array], thickness: Array) -> Array:
    fluid, film, conductivity = shared
    return np.asarray(fluid + 50.0 / 1e-4 * (1.0 / film + thickness / conductivity))


def test_each_point_has_the_doubt_of_its_closed_form(thickness: Sweep) -> None:
    for number, point in enumerate(thickness.points):
        assert point.inputs is not None
        band = point.inputs.bands[WHOLE]
        low, high = np.quantile(slab_C(drawn(31_337), lengths(point.values[0], 4711 + number)), [0.05, 0.95])
        assert (band.low, band.high) == pytest.approx((low, high), abs=0.04 * (high - low))
        assert band.both_low <= band.low and band.both_high >= band.high


def test_what_two_points_share_falls_out_of_their_difference(thickness: Sweep) -> None:
    """Film and fluid are the same at both; each slab has a thickness of its own."""
    shared = drawn(31_337)
    low = slab_C(shared, lengths(2.0, 4711))
    for question in (WHOLE, ("reading", "sensor")):  # the offset of the sensor is the same too
        margins = thickness.margins(question)
        for number, nominal in enumerate((2.4, 2.8, 3.2), 1):
            higher = slab_C(shared, lengths(nominal, 97 + number))
            told = 50.0 / 1e-4 * 1e-3 * (nominal - 2.0) / 100.0
            wanted = told - np.quantile(higher - low, 0.05)
            assert margins[number] == pytest.approx(wanted, abs=0.08)
    assert thickness.points[0].inputs is not None
    band = thickness.points[0].inputs.bands[WHOLE]
    assert margins[1] < 0.3 * (band.high - band.low)


def test_no_optimum_is_told_within_its_tolerance() -> None:
    """By hand: slabs of 2.0 and 2.1 mm, each 0.2 mm more or less, may stand either way round."""
    case = thermsim.parse_case(SLAB)
    found = sweep(case, [Vary("slab.thickness_mm", 2.0, 2.1, 2)], asked=[WHOLE])
    assert found.lowest(WHOLE).alike == (0, 1)
    exact = SLAB.replace("{value: 2.0, plus_minus: 0.2}", "2.0")
    found = sweep(thermsim.parse_case(exact), [Vary("slab.thickness_mm", 2.0, 2.1, 2)], asked=[WHOLE])
    assert found.lowest(WHOLE).alike == (0,)
    assert "slab.thickness_mm at every point" in found.inputs.exact


def test_the_tolerance_of_a_film_is_a_share_of_it_and_that_of_a_length_is_not() -> None:
    """20 % of 40,000 W/m2K are 8,000; the tolerance typed, 2,000, is that of the film typed."""
    case = thermsim.parse_case(SLAB)
    found = sweep(case, [Vary("top.film_W_m2K", 10000, 40000, 2)], asked=[WHOLE])
    band = found.points[1].inputs.bands[WHOLE]  # type: ignore[union-attr]
    low, high = np.quantile(slab_C(drawn(31_337, 40000.0, 8000.0), lengths(2.0, 4711)), [0.05, 0.95])
    assert (band.low, band.high) == pytest.approx((low, high), abs=0.04 * (high - low))
    assert found.inputs.own == ("top.film_W_m2K +- 20 %",)


def test_a_point_is_the_prediction_of_its_case() -> None:
    """With an option, two quantities and a part that keeps the height, in value and in both doubts."""
    text = SLAB.replace("heat:", "  - {part: lid, material: copper, size_mm: [12, 11], thickness_mm: 3}\nheat:", 1)
    case = thermsim.with_option(thermsim.parse_case(text), "softer")
    vary = [Vary("slab.thickness_mm", 1.0, 2.0, 2), Vary("top.film_W_m2K", 5000, 12000, 2)]
    found = sweep(case, vary, asked=["hottest", "reading sensor"], same_height="lid", accuracy_K=2.0)
    places = places_of(case, ranges_of(case, vary), "lid")
    for number in (0, 3):
        point = found.points[number]
        alone = with_input_doubt(thermsim.predict(places[number].case, accuracy_K=2.0))
        assert point.inputs is not None and alone.inputs is not None
        for question in (HOTTEST, ("reading", "sensor")):
            mine, other = point.doubts[question], alone.doubts[question]
            assert mine.value == pytest.approx(other.value, abs=mine.half_width + other.half_width)
            band, theirs = point.inputs.bands[question], alone.inputs.bands[question]
            wide = theirs.high - theirs.low
            assert band.low - mine.value == pytest.approx(theirs.low - other.value, abs=0.03 * wide)
            assert band.high - mine.value == pytest.approx(theirs.high - other.value, abs=0.03 * wide)


def test_where_the_lowest_has_no_end_nothing_is_told_apart_from_it() -> None:
    """Leakage of 1 % a kelvin doubles its own cause where 60 K over the coolant become 100 K: dT/dT = R p P > 1."""
    text = SLAB.replace("at: bottom,", "at: bottom, leakage: {per_K: 0.012, at_C: 85},").replace("2000}", "6000}")
    found = sweep(thermsim.parse_case(text), [Vary("slab.thickness_mm", 2.0, 2.8, 2)], asked=[WHOLE])
    assert found.points[0].inputs is not None and found.points[0].inputs.runs_away
    assert found.lowest(WHOLE).alike == (0, 1)

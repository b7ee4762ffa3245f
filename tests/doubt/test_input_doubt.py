"""The doubt of the inputs, held against closed forms, a general statistics library and the standard's own example."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import inf
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

import thermsim
from thermsim.case.inputs.spread import Spread
from thermsim.doubt.inputs import with_input_doubt
from thermsim.doubt.responses import moves_of, responses
from thermsim.errors import RunawayError, ThermsimError
from thermsim.mesh.prediction import Prediction
from thermsim.nearby.uncertain_inputs import UncertainInput, variables
from thermsim.readout.observable import HOTTEST

Array = NDArray[np.float64]

SLAB = """
title: A slab with tolerances
layers:
  - part: slab
    material: {{conductivity_W_mK: {{value: 100, plus_minus: 20, shape: triangle}}}}
    size_mm: [10, 10]
    thickness_mm: {{value: 2.0, plus_minus: 0.2}}
heat:
  - {{in: slab, at: bottom, zones: [{{zone: all of it, corner_mm: [0, 0], size_mm: [10, 10], power_W: {power}}}]}}
cooling:
  - face: top
    film_W_m2K: {{value: 10000, plus_minus: {film}}}
    fluid_C: {{value: 25, plus_minus: 1, shape: normal}}
readings:
  - {{reading: sensor, zone: all of it, takes: mean, offset_K: {{value: 0.5, plus_minus: 2}}}}
"""


def slab(power: str = "{value: 50, plus_minus: 5}", film: float = 2000.0) -> thermsim.Prediction:
    return with_input_doubt(thermsim.predict(thermsim.parse_case(SLAB.format(power=power, film=film))))


@pytest.fixture(scope="module")
def predicted() -> Prediction:
    return slab()


def slab_C(draws: int = 400_000) -> NDArray[np.float64]:
    """T = T_f + q (1/h + L/k), sampled with the distributions of scipy.stats; the 1.96 is JCGM 100, table G.1."""
    random = np.random.default_rng(31_337)
    power = stats.uniform(45.0, 10.0).rvs(draws, random_state=random)
    film = stats.uniform(8000.0, 4000.0).rvs(draws, random_state=random)
    thick = stats.uniform(1.8e-3, 0.4e-3).rvs(draws, random_state=random)
    conductivity = stats.triang(0.5, 80.0, 40.0).rvs(draws, random_state=random)
    fluid = stats.norm(25.0, 1.0 / stats.norm.ppf(0.975)).rvs(draws, random_state=random)
    return np.asarray(fluid + power / 1e-4 * (1.0 / film + thick / conductivity))


def test_slab_is_that_of_its_closed_form(predicted: Prediction) -> None:
    assert predicted.inputs is not None
    band = predicted.inputs.bands[HOTTEST]
    low, high = np.quantile(slab_C(), [0.05, 0.95])
    assert band.low == pytest.approx(low, abs=0.03 * (high - low))
    assert band.high == pytest.approx(high, abs=0.03 * (high - low))
    assert band.both_low <= band.low
    assert band.both_high >= band.high


def test_reading_has_the_tolerance_of_its_sensor_too(predicted: Prediction) -> None:
    assert predicted.inputs is not None
    offset = stats.uniform(-1.5, 4.0).rvs(400_000, random_state=np.random.default_rng(4711))
    low, high = np.quantile(slab_C() + offset, [0.05, 0.95])
    band = predicted.inputs.bands["reading", "sensor"]
    assert (band.low, band.high) == pytest.approx((low, high), abs=0.03 * (high - low))


def test_flow_has_the_tolerance_of_the_power(predicted: Prediction) -> None:
    """All heat leaves through one face: 45 to 55 W, of which 9 in 10 lie within 4.5 W (rectangular, by hand)."""
    assert predicted.inputs is not None
    band = predicted.inputs.bands["flow", "0"]
    assert (band.low, band.high) == pytest.approx((45.5, 54.5), abs=0.02)


def test_what_one_tolerance_moves(predicted: Prediction) -> None:
    """By hand: the film of 8000 W/m2K moves 5e5 W/m2 (1/8000 - 1/10000) = 12.5 K, the power 60 K / 10 = 6 K."""
    assert predicted.inputs is not None
    moved = {one.path: one for one in predicted.inputs.moved}
    assert next(iter(moved)) == "top.film_W_m2K"
    assert moved["top.film_W_m2K"].at_low_K == pytest.approx(12.5, rel=1e-3)
    assert moved["top.film_W_m2K"].at_high_K == pytest.approx(-25.0 / 3.0, rel=1e-3)
    assert moved["all of it.power_W"].kelvin == pytest.approx(6.0, rel=1e-3)
    assert moved["top.fluid_C"].kelvin == pytest.approx(1.0, rel=1e-3)
    assert "readings.sensor.offset_K" not in moved


def test_samples_tell_the_same_and_say_so(predicted: Prediction) -> None:
    assert predicted.inputs is not None
    sampled = with_input_doubt(predicted, samples=256)
    assert sampled.inputs is not None
    ours, theirs = predicted.inputs.bands[HOTTEST], sampled.inputs.bands[HOTTEST]
    assert (theirs.low, theirs.high) == pytest.approx((ours.low, ours.high), abs=0.15 * (ours.high - ours.low))
    assert "tell the same interval" in sampled.inputs.remarks[-1]
    assert "256 samples, each solved in full" in sampled.inputs.way
    # What chance leaves of the ends is told, and holds what they are off by.
    error_K, told = sampled.inputs.sampling_K, " ".join(sampled.inputs.remarks)
    assert error_K is not None and "an end of the interval of the hottest spot might lie" in told
    assert 0.0 < error_K < 0.05 * (theirs.high - theirs.low)
    assert max(abs(theirs.both_low - ours.both_low), abs(theirs.both_high - ours.both_high)) < 4.0 * error_K


def test_nothing_uncertain_is_told_as_exact() -> None:
    text = SLAB.format(power="50", film=0.0)
    for tolerance in (", plus_minus: 20, shape: triangle", ", plus_minus: 0.2", ", plus_minus: 0.0",
                      ", plus_minus: 1, shape: normal", ", plus_minus: 2"):  # fmt: skip
        text = text.replace(tolerance, "")
    found = with_input_doubt(thermsim.predict(thermsim.parse_case(text)))
    assert found.inputs is not None
    assert found.inputs.all_exact
    assert "top.film_W_m2K 10000 W/m2K" in found.inputs.exact
    assert "as if everything were exact" in str(found)
    assert "times in" not in str(found)


def test_no_highest_temperature_where_the_tolerances_reach_runaway() -> None:
    """Leakage of 1 % a kelvin doubles its own cause where 60 K over the coolant become 100 K: dT/dT = R p P > 1."""
    text = SLAB.format(power="{value: 50, plus_minus: 5}", film=6000.0)
    text = text.replace("at: bottom,", "at: bottom, leakage: {per_K: 0.012, at_C: 85},")
    found = with_input_doubt(thermsim.predict(thermsim.parse_case(text)))
    assert found.inputs is not None
    assert found.inputs.bands[HOTTEST].both_high == inf
    assert any("no steady state" in one for one in found.inputs.remarks)
    assert "no highest value can be told" in str(found)
    assert thermsim.predict(found.case).inputs is None


def test_readme_shows_what_the_program_tells() -> None:
    """To the digit shown, for the demo; so do the first lines of the page on predictions."""
    root = Path(__file__).parents[2]
    told = str(with_input_doubt(thermsim.predict(thermsim.read_case(root / "cases/crooked-film.yaml")))).splitlines()
    page = (root / "docs/how-to/predict.md").read_text(encoding="utf-8")
    assert [line for line in told[1:3] if line.rstrip() not in page] == []
    lines = {" ".join(line.split()) for line in told}
    readme = (root / "README.md").read_text(encoding="utf-8")
    shown = readme.split("```text\nThe crooked film\n")[1].split("```")[0].splitlines()
    with_numbers = [" ".join(line.split()) for line in shown if any(letter.isdigit() for letter in line)]
    assert len(with_numbers) > 10
    assert [line for line in with_numbers if line not in lines] == []


def test_refused(predicted: Prediction) -> None:
    with pytest.raises(ThermsimError, match="coverage"):
        with_input_doubt(predicted, coverage=1.0)
    with pytest.raises(ThermsimError, match="samples"):
        with_input_doubt(predicted, samples=10**6)


# ---- curves ---------------------------------------------------------------------------------------------------------


def four_rectangular(predicted: Prediction) -> list[UncertainInput]:
    """Four inputs about zero, each rectangular with a standard uncertainty of 1."""
    first = variables((predicted.case,), ("",))[0]
    return [
        replace(first, input=replace(first.input, path=f"x{n}", value=0.0, plus_minus=3**0.5, shape="even",
                                     bounds=type(first.input.bounds)(), acts_on="balance"))
        for n in range(4)
    ]  # fmt: skip


def test_example_of_the_standard(predicted: Prediction) -> None:
    """JCGM 101:2008, 9.2.3: the sum of four rectangular quantities, u = 1 each, lies in +-3.88, 95 times in 100."""
    varied = four_rectangular(predicted)

    def answer(values: Mapping[str, float]) -> NDArray[np.float64]:
        return np.array([sum(values.values())])

    curves = responses(answer, varied, np.zeros(1), 0)
    random = np.random.default_rng(97)
    levels = [(random.permutation(2**14) + 0.5) / 2**14 for _ in varied]
    moves = [moves_of(one.spread, one.spread.quantile(at)) for one, at in zip(varied, levels, strict=True)]
    low, high = np.quantile(curves.deviation(np.stack(moves, axis=1))[:, 0], [0.025, 0.975])
    assert (low, high) == pytest.approx((-3.88, 3.88), abs=0.05)


def test_inputs_that_act_together_are_seen(predicted: Prediction) -> None:
    """y = a + b + a b: of the product no single input knows, the far end does (closed form, along a = b)."""
    varied = four_rectangular(predicted)[:2]

    def answer(values: Mapping[str, float]) -> NDArray[np.float64]:
        a, b = (values.get(path, 0.0) for path in ("x0", "x1"))
        return np.array([a + b + a * b])

    curves = responses(answer, varied, np.zeros(1), 0)
    assert curves.deviation(np.array([[1.0, 0.0]]))[0, 0] == pytest.approx(1.0, rel=1e-6)
    assert curves.deviation(np.array([[1.2, 1.2]]))[0, 0] == pytest.approx(2.4 + 1.44, rel=1e-6)


def test_the_error_of_other_cells_falls_out(predicted: Prediction) -> None:
    """y = a + b + a b, and 7 more wherever a is not zero, as on a grid of other cells: curves as without it."""
    varied = four_rectangular(predicted)[:2]

    def answer(values: Mapping[str, float]) -> NDArray[np.float64]:
        a, b = (values.get(path, 0.0) for path in ("x0", "x1"))
        return np.array([a + b + a * b + (7.0 if a else 0.0)])

    curves = responses(answer, varied, np.zeros(1), 0, lambda values: not values.get("x0", 0.0))
    assert curves.deviation(np.array([[1.0, 0.0]]))[0, 0] == pytest.approx(1.0, rel=1e-6)
    assert curves.deviation(np.array([[1.2, 1.2]]))[0, 0] == pytest.approx(2.4 + 1.44, rel=1e-6)


BAR = """
title: A bar of which power and resistances multiply
dimensions: 2
depth_mm: 10
layers:
  - {{part: chip, material: {{conductivity_W_mK: 100}}, size_mm: 10, thickness_mm: {{value: 0.5, plus_minus: {0}}}}}
  - {{joint: paste, resistance_mm2K_W: {{value: 10, plus_minus: {1}}}}}
  - {{part: lid, material: {{conductivity_W_mK: 300}}, size_mm: 10, thickness_mm: {{value: 2, plus_minus: {2}}}}}
heat:
  - {{in: chip, at: bottom, zones: [{{zone: core, power_W: {{value: 100, plus_minus: {3}}}}}]}}
cooling:
  - {{face: top, environment: block, film_W_m2K: {{value: 20000, plus_minus: {4}}}, fluid_C: 25}}
"""
BAR_INPUTS = {
    "chip.thickness_mm": 0.5, "paste.resistance_mm2K_W": 10.0, "lid.thickness_mm": 2.0,
    "core.power_W": 100.0, "block.film_W_m2K": 20000.0,
}  # fmt: skip
BARS = ((0.02, 5.0, 0.1, 20.0, 12000.0), (0.1, 8.0, 0.5, 30.0, 15000.0))


def bar_C(chip: Array, paste: Array, lid: Array, power: Array, film: Array) -> Array:
    """One dimension, 1 cm2: T = T_f + q (L1/k1 + r + L2/k2 + 1/h)."""
    return 25.0 + power / 1e-4 * (chip * 1e-3 / 100.0 + paste * 1e-6 + lid * 1e-3 / 300.0 + 1.0 / film)


def ends_of_bar(tolerances: tuple[float, ...]) -> list[float]:
    """Between which 9 of 10 bars lie, with the rectangular distributions of scipy.stats."""
    random = np.random.default_rng(31_337)
    pairs = zip(BAR_INPUTS.values(), tolerances, strict=True)
    draws = [stats.uniform(value - half, 2.0 * half).rvs(400_000, random_state=random) for value, half in pairs]
    return np.quantile(bar_C(*draws), [0.05, 0.95]).tolist()


@pytest.mark.parametrize("tolerances", BARS)
def test_both_ends_hold_where_inputs_multiply(tolerances: tuple[float, ...]) -> None:
    """With the closed form as the answer, and its half as another: neither end is off by 2 % of the interval."""
    case = thermsim.parse_case(BAR.format(*tolerances))
    varied = [one for one in variables((case,), ("",)) if one.spread.uncertainty > 0.0]
    assert {one.input.path for one in varied} == set(BAR_INPUTS)

    def answer(values: Mapping[str, float]) -> Array:
        hottest = bar_C(*(np.array(values.get(path, value)) for path, value in BAR_INPUTS.items()))
        return np.array([hottest, 0.5 * hottest])

    curves = responses(answer, varied, answer({}), 0)
    random = np.random.default_rng(97)
    moves = [moves_of(one.spread, one.spread.quantile(random.random(200_000))) for one in varied]
    ends = np.quantile(answer({}) + curves.deviation(np.stack(moves, axis=1)), [0.05, 0.95], axis=0)
    low, high = ends_of_bar(tolerances)
    assert ends[:, 0] == pytest.approx((low, high), abs=0.02 * (high - low))
    assert ends[:, 1] == pytest.approx((0.5 * low, 0.5 * high), abs=0.01 * (high - low))


def test_predicted_interval_holds_where_inputs_multiply() -> None:
    found = with_input_doubt(thermsim.predict(thermsim.parse_case(BAR.format(*BARS[1]))))
    assert found.inputs is not None
    band, (low, high) = found.inputs.bands[HOTTEST], ends_of_bar(BARS[1])
    assert (band.low, band.high) == pytest.approx((low, high), abs=0.02 * (high - low))


def test_many_curves_of_equal_weight_keep_their_hot_end(predicted: Prediction) -> None:
    """y = sum of 1 / (1 + 0.35 m): six equal inputs, a sixth of the variance each, and most steep where it is hot."""
    varied = [
        replace(one, input=replace(one.input, path=f"{one.input.path} {n}"))
        for n in (1, 2)
        for one in four_rectangular(predicted)[:3]
    ]

    def answer(values: Mapping[str, float]) -> Array:
        return np.array([sum(1.0 / (1.0 + 0.35 * values.get(one.input.path, 0.0)) - 1.0 for one in varied)])

    moves = np.random.default_rng(97).uniform(-(3**0.5), 3**0.5, (20_000, 6))
    truth = np.quantile(np.sum(1.0 / (1.0 + 0.35 * moves) - 1.0, axis=1), [0.05, 0.95])
    told = np.quantile(responses(answer, varied, np.zeros(1), 0).deviation(moves)[:, 0], [0.05, 0.95])
    assert told == pytest.approx(truth, abs=0.02 * float(np.ptp(truth)))


@pytest.mark.parametrize("small", [1.0, 0.3, 0.1, 0.03])
def test_a_slight_input_is_not_blown_up_by_the_curve_of_another(predicted: Prediction, small: float) -> None:
    """y = a + a^3 / 20 + small b: nothing multiplies, but a curve of two moves misses the cube by some hundredths."""
    varied = four_rectangular(predicted)[:2]

    def answer(values: Mapping[str, float]) -> Array:
        a, b = (values.get(path, 0.0) for path in ("x0", "x1"))
        return np.array([a + a**3 / 20.0 + small * b])

    moves = np.random.default_rng(97).uniform(-(3**0.5), 3**0.5, (20_000, 2))
    truth = np.quantile(moves[:, 0] + moves[:, 0] ** 3 / 20.0 + small * moves[:, 1], [0.05, 0.95])
    told = np.quantile(responses(answer, varied, np.zeros(1), 0).deviation(moves)[:, 0], [0.05, 0.95])
    assert told == pytest.approx(truth, abs=0.05 * float(np.ptp(truth)))


def test_no_state_at_an_end_is_seen(predicted: Prediction) -> None:
    varied = four_rectangular(predicted)[:2]

    def answer(values: Mapping[str, float]) -> NDArray[np.float64]:
        if sum(values.values()) > 1.5:
            raise RunawayError("none", "")
        return np.array([sum(values.values())])

    assert responses(answer, varied, np.zeros(1), 0).runs_away


def test_an_input_at_its_bound_moves_to_the_other_side() -> None:
    spread = Spread(1.0, 0.1, "even", low=0.0, high=1.0)
    assert moves_of(spread, np.array([0.9])) == pytest.approx(-(3**0.5))

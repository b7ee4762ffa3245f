"""Options against a base: gains, their intervals and verdicts, on stacks whose answer is known."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import astuple, replace
from math import inf, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from coarse_grids import begin_coarsely
from counts import counts
from stacks import case_of, film, part

from thermsim.case.inputs.values import with_inputs
from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.choice import chosen
from thermsim.comparison.compare import compare
from thermsim.comparison.family import family
from thermsim.comparison.limit import Limit, base_limit_remark, limit_words
from thermsim.doubt.inputs import with_input_doubt
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.model.grid.plan import FIRST_GRID_CELLS
from thermsim.proof.closed_form.flux_channel import Channel
from thermsim.proof.run.honesty import draw
from thermsim.proof.run.random_stacks import exact_of
from thermsim.readout.observable import HOTTEST, WARMEST, temperatures

# Slabs have the same answers on any grid.
pytestmark = pytest.mark.usefixtures("coarse_grids")

SEED = 20_264
WATTS, SIDE_mm, FILM = 50.0, 20.0, 8000.0
AREA = 1e-6 * SIDE_mm**2


def slab(old: dict[str, Any], new: dict[str, Any], others: Sequence[dict[str, Any]] = (), **more: Any) -> Case:
    """A heated chip under a joint and a cooled lid, all of one outline: temperatures along a straight line."""
    layers = [
        part("chip", [SIDE_mm, SIDE_mm], 0.7, {"conductivity_W_mK": {"value": 120.0, "plus_minus": 12.0}}),
        {"joint": "between", **old},
        part("lid", [SIDE_mm, SIDE_mm], 2.0, 390.0),
    ]
    heat = [{"in": "chip", "zones": [{"zone": "all", "power_W": WATTS}]}]
    options = [{"option": "new", "changes": {"between": new}}, *others]
    return case_of(layers, heat, [film("top", FILM, 20.0)], options=options, **more)


def resistance(value: float, plus_minus: float, **more: Any) -> dict[str, Any]:
    return {"resistance_mm2K_W": {"value": value, "plus_minus": plus_minus, **more}}


def test_gain_and_interval_of_a_slab() -> None:
    """Gain = change of R'' times flux; what both share (film, chip) cancels. Formula: any heat transfer textbook.

    Of two independent even tolerances a and b the sum has the standard deviation sqrt((a^2 + b^2) / 3), and, a > b, its
    5 % quantile lies sqrt(0.4 a b) above the low end where that is below 2 b: the corner of a trapezium.
    """
    found = compare(slab(resistance(12.0, 2.0), resistance(4.0, 1.5), worth_K=0.1), samples=1024)
    gain = found.options[0].headline
    flux = WATTS / (AREA * 1e6)  # W/mm2
    assert gain.value_K == pytest.approx(8.0 * flux, rel=1e-6)
    ends = 8.0 * flux - 3.5 * flux + sqrt(0.4 * 2.0 * 1.5) * flux
    assert gain.interval.low == pytest.approx(ends, abs=4.0 * gain.interval.error_K)
    assert gain.uncertainty_K == pytest.approx(flux * sqrt((4.0 + 2.25) / 3.0), rel=0.01)
    assert gain.first_order.high - gain.value_K == pytest.approx(1.645 * flux * sqrt(6.25 / 3.0), rel=1e-3)
    shares = {one.path: one.share for one in found.options[0].contributions if one.share > 1e-9}
    assert set(shares) == {"between.resistance_mm2K_W"}
    both = [one.share for one in found.options[0].contributions if one.path == "between.resistance_mm2K_W"]
    assert sorted(both) == pytest.approx([2.25 / 6.25, 4.0 / 6.25], rel=1e-4)
    assert found.options[0].kind == "worth it"
    assert found.options[0].flux.low_K == pytest.approx(8.0 * flux, rel=1e-6)


def test_what_base_and_option_share_cancels() -> None:
    """An option that changes nothing the heat passes gains nothing, however unsure the rest is."""
    case = slab(resistance(12.0, 6.0), {"wetted_fraction": 1.0}, worth_K=1.0)
    found = compare(case, samples=256).options[0]
    assert abs(found.headline.value_K) < 1e-9
    assert found.headline.interval.high - found.headline.interval.low < 1e-4
    assert found.kind == "not worth it"


def test_whose_a_number_is_is_told_of_the_option_that_is_compared() -> None:
    """What an option gives itself is its own against the base, whoever else builds on it or keeps the base's."""
    others = [{"option": "thin", "changes": {"chip.thickness_mm": 0.5}}, {"option": "both", "with": ["new", "thin"]}]
    case = slab(resistance(12.0, 2.0), resistance(4.0, 1.5), others, worth_K=0.1)
    found = compare(case, accuracy_K=2.0, samples=256)
    for one in found.options:
        held = {each.value: each.held_by for each in one.contributions}
        joint = {12.0: "both"} if one.option == "thin" else {12.0: "base", 4.0: "option"}
        assert {value: held[value] for value in (12.0, 4.0) if value in held} == joint
        assert held[120.0] == "both"


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (100, "256 samples are taken where 100 are asked for: that many at least, for the ends of an interval"),
        (300, "512 samples are taken where 300 are asked for: they come in 8 equal blocks of a power of two"),
        (256, None),
    ],
)
def test_other_samples_than_are_asked_for_are_told(asked: int, told: str | None) -> None:
    found = compare(slab(resistance(12.0, 2.0), resistance(4.0, 1.5), worth_K=0.1), accuracy_K=2.0, samples=asked)
    assert found.samples == (asked if told is None else int(told.split()[0]))
    assert [one for one in found.remarks if "asked for" in one] == ([] if told is None else [told])


def test_both_ways_are_told_to_disagree_where_they_do() -> None:
    """A film's conductivity that may be anything from a tenth to twice its value: 1/k is far from a straight line."""
    old = {"film_um": 100.0, "conductivity_W_mK": {"value": 5.0, "plus_minus": 4.5}}
    found = compare(slab(old, resistance(2.0, 0.0)), samples=512).options[0]
    assert "disagree" in found.ways
    straight = compare(slab(resistance(12.0, 2.0, shape="normal"), resistance(4.0, 0.5)), samples=2048).options[0]
    assert "disagree" not in straight.ways
    # k = 5 + 4.5 (2u - 1): the 95 % quantile of 1/k is at u = 0.05
    highest = WATTS / AREA * 1e-4 / (5.0 - 4.5 * 0.9)
    lowest = WATTS / AREA * 1e-4 / (5.0 + 4.5 * 0.9)
    width = found.headline.interval.high - found.headline.interval.low
    assert width == pytest.approx(highest - lowest, rel=0.05)


@pytest.mark.parametrize(
    ("worth_K", "scatter_K", "kind"),
    [(0.2, 0.3, "worth it"), (1.0, 0.3, "undecided"), (3.0, 0.3, "not worth it"), (0.2, 5.0, "not worth it")],
)
def test_verdicts(worth_K: float, scatter_K: float, kind: str) -> None:
    """The gain is 1 K, 0.64 to 1.36 K at the outside."""
    case = slab(resistance(12.0, 2.0), resistance(4.0, 1.5), worth_K=worth_K, one_mount_K=scatter_K / 1.96)
    found = compare(case, samples=256).options[0]
    assert found.kind == kind
    if kind == "undecided":
        assert found.next_measurement is not None
        assert found.headline.probability == pytest.approx(0.5, abs=0.05)


def test_a_joint_that_is_taken_away_is_not_worth_it() -> None:
    """What is read as perfect contact is a gain that no mount has: the warning of the option stands against it."""
    layers = [
        part("die", [10, 10], 0.7, {"name": "silicon", "conductivity_W_mK": 120.0}),
        {"joint": "film", "resistance_mm2K_W": {"value": 10.0, "plus_minus": 2.0}},
        part("lid", [10, 10], 2.0, {"name": "copper", "conductivity_W_mK": 390.0}),
    ]
    heat = [{"in": "die", "zones": [{"zone": "all of it", "power_W": 50.0}]}]
    options = [{"option": "none", "changes": {"film": "remove"}}]
    found = compare(case_of(layers, heat, [film("top", FILM, 20.0)], options=options, worth_K=0.5), samples=64)
    (one,) = found.options
    assert one.headline.interval.low > 0.5
    assert one.kind == "undecided"
    assert "die touches lid without a joint: perfect contact, which no mount has" in one.words


def test_nothing_is_worth_it_without_a_tolerance() -> None:
    layers = [
        part("chip", [10, 10], 0.7, 150),
        {"joint": "between", "resistance_mm2K_W": 12.0},
        part("lid", [10, 10], 2.0, 400),
    ]
    heat = [{"in": "chip", "zones": [{"zone": "all of it", "power_W": 50.0}]}]
    options = [{"option": "new", "changes": {"between": {"resistance_mm2K_W": 4.0}}}]
    cooled = [{"face": "top", "film_W_m2K": 1e4, "fluid_C": 20.0}]
    one = compare(case_of(layers, heat, cooled, options=options, worth_K=0.1), samples=64).options[0]
    assert one.kind == "undecided"
    assert "as if everything were exact" in one.words and "give a `plus_minus`" in one.words


def test_gallium_on_aluminium_is_refused_unless_it_is_named() -> None:
    layers = [
        part("die", [10, 10], 0.7, 120.0),
        {"joint": "film", "material": "silicone paste"},
        part("lid", [10, 10], 2, "aluminium"),
    ]
    heat = [{"in": "die", "zones": [{"zone": "all", "power_W": 30.0}]}]
    options = [{"option": "gallium", "changes": {"film.material": "gallium film"}}]
    case = case_of(layers, heat, [film("top", 5000.0)], options=options, accuracy_K=0.5)
    found = compare(case, samples=64).options[0]
    assert found.kind == "not to be had"
    assert "aluminium" in found.words
    assert compare(case, samples=64, accept_danger=["gallium"]).options[0].kind != "not to be had"


def test_an_option_that_is_built_is_the_base() -> None:
    case = slab(resistance(12.0, 2.0), resistance(4.0, 1.5))
    there = compare(case, samples=256).options[0].headline
    found = compare(case, base="new", samples=256)
    back = found.options[0].headline
    assert (found.base_name, found.options[0].option) == ("new", "as in the file")
    assert back.value_K == pytest.approx(-there.value_K)
    assert found.options[0].kind == "not worth it"


def test_an_option_is_blamed_for_its_accuracy_only_where_its_gains_are(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its temperatures may be wider than asked, on the grids of the base; what is asked of it is its gains."""
    begin_coarsely(monkeypatch, FIRST_GRID_CELLS, FIRST_GRID_CELLS)
    case = read_case(Path(__file__).parents[2] / "cases" / "crooked-film.yaml")
    names, cases = chosen(case, None, ["gallium film, 30 um"])
    option = family(names, cases, accuracy_K=0.1).predictions[1]
    assert max(option.doubts[one].half_width for one in temperatures(option.doubts)) > 0.1
    assert option.status == "accuracy held"
    assert not [remark for remark in option.remarks if "is not held" in remark]


def test_the_warmest_reading_may_change_its_place() -> None:
    """Each case has its own: the option cools the first zone below the second."""
    layers = [part("chip", [SIDE_mm, SIDE_mm], 0.7, 120.0), part("lid", [SIDE_mm, SIDE_mm], 2.0, 390.0)]
    zones = [
        {"zone": name, "corner_mm": [at, 5.0], "size_mm": [6.0, 10.0], "power_W": watts}
        for name, at, watts in (("a", 2.0, 30.0), ("b", 12.0, 20.0))
    ]
    readings = [{"reading": name, "zone": name} for name in "ab"]
    options = [{"option": "less a", "changes": {"zones.a.power_W": 10.0}}]
    heat = [{"in": "chip", "zones": zones}]
    found = compare(case_of(layers, heat, [film("top", FILM, 20.0)], readings=readings, options=options), samples=256)
    gain = found.options[0].headline
    assert gain.question == WARMEST
    assert gain.base_C == found.base.answers["reading", "a"]
    assert gain.option_C == found.options[0].prediction.answers["reading", "b"]


def test_nothing_is_worth_it_that_may_pass_the_limit() -> None:
    """Slabs in a row (any heat transfer textbook), 0.125 W/mm2: 20 C, 15.6 K of the film, 1.4 K of chip and lid, and
    47.5 K of the joint, or with the options 30, 33.75 and 37.5 K, all give or take 1.5 K: 84.5, 67, 70.8, 74.5 C."""
    others = [
        {"option": name, "changes": {"between": resistance(value, 12.0)}}
        for name, value in (("close", 270.0), ("hot", 300.0))
    ]
    more = {"readings": [{"reading": "R", "zone": "all"}], "limits": {"reading_C": 70.0}, "worth_K": 3.0}
    found = compare(slab(resistance(380.0, 20.0), resistance(240.0, 12.0), others, **more), samples=256)
    assert found.limit_kept == "no"
    assert [(one.kind, one.limit_kept) for one in found.options] == [
        ("worth it", "yes"), ("undecided", "within doubt"), ("undecided", "no")
    ]  # fmt: skip
    for one, told in zip(
        found.options,
        ("It keeps the limit of 70 C, which the base passes.",
         "but the limit is not surely kept. With it the warmest reading may pass the limit of 70 C (9 times in 10",
         "but the limit is not surely kept. With it the warmest reading passes the limit of 70 C (9 times in 10"),
        strict=False,
    ):  # fmt: skip
        assert told in one.words
    assert any("in the base the warmest reading passes the limit of 70 C" in remark for remark in found.remarks)


def test_a_limit_that_all_keep_is_not_told() -> None:
    kept, passed = Limit(90.0, 70.0, 90.0, 0.9), Limit(90.0, 70.04, 90.04, 0.9)
    assert limit_words(kept, kept) == "" == limit_words(None, None)
    assert base_limit_remark(kept) == ()
    # The end is told with the digits that show on which side it lies.
    assert passed.words == "may pass the limit of 90 C (9 times in 10 between 70.04 and 90.04 C)"
    assert Limit(90.0, 70.0, inf, 0.9).words == "may pass the limit of 90 C (no highest value can be told)"


def test_each_temperature_has_the_doubt_of_its_inputs_as_its_own_prediction_tells_it() -> None:
    """By samples here and by curves of single inputs there. What base and option share is in both, though it cancels
    from the gain. Ends of 90 % intervals from n samples scatter by 0.7 of the width over the root of n (normal)."""
    found = compare(slab(resistance(12.0, 2.0), resistance(4.0, 1.5)), samples=1024)
    gain = found.options[0].headline
    for told, prediction in ((gain.base, found.base), (gain.option, found.options[0].prediction)):
        alone = with_input_doubt(prediction)
        assert alone.inputs is not None and told.inputs is not None
        band, width = alone.inputs.bands[HOTTEST], told.inputs.both_high - told.inputs.both_low
        assert told.value_C == prediction.answers[HOTTEST]
        assert told.mesh_K == prediction.doubts[HOTTEST].half_width
        assert astuple(told.inputs) == pytest.approx(astuple(band), abs=3.0 * 0.7 * width / sqrt(1024))
        assert band.low < told.value_C < band.high


def test_a_case_without_tolerances_has_no_doubt_of_inputs_beside_one_that_has() -> None:
    exact = {"resistance_mm2K_W": 12.0}
    layers = [part("chip", [SIDE_mm, SIDE_mm], 0.7, 120.0), {"joint": "between", **exact},
              part("lid", [SIDE_mm, SIDE_mm], 2.0, 390.0)]  # fmt: skip
    heat = [{"in": "chip", "zones": [{"zone": "all", "power_W": WATTS}]}]
    options = [{"option": "new", "changes": {"between": resistance(4.0, 1.5)}}]
    found = compare(case_of(layers, heat, [film("top", FILM, 20.0)], options=options), samples=256)
    gain = found.options[0].headline
    assert gain.base.inputs is None
    assert gain.option.inputs is not None
    flux = WATTS / (AREA * 1e6)
    assert gain.option.inputs.high - gain.option_C == pytest.approx(0.9 * 1.5 * flux, rel=0.05)  # 256 samples


def test_mistakes_are_answered() -> None:
    case = slab(resistance(12.0, 2.0), resistance(4.0, 1.5))
    with pytest.raises(UnknownNameError, match="no option 'nwe'"):
        compare(case, options=["nwe"])
    with pytest.raises(ThermsimError, match="no options"):
        compare(case_of([part("a", [5, 5], 1, 100)], cooling=[film("top", 1000.0)]))


def test_samples_are_the_same_every_time_and_on_two_processes() -> None:

    case = slab(resistance(12.0, 2.0), resistance(4.0, 1.5))
    one = compare(case, samples=256).options[0]
    two = compare(case, samples=256, workers=2).options[0]
    assert np.array_equal(one.samples, two.samples)
    assert one.headline == two.headline


def changed(channel: Channel, rng: np.random.Generator) -> tuple[dict[str, float], Channel]:
    """One input of a random stack moved by up to half, as numbers of its case and in its closed form."""
    number, factor = int(rng.integers(len(channel.layers))), float(rng.uniform(0.67, 1.5))
    if rng.integers(2):
        thickness = factor * channel.layers[number].thickness_m
        layers = list(channel.layers)
        layers[number] = replace(layers[number], thickness_m=thickness)
        return {f"layer {number}.thickness_mm": 1e3 * thickness}, replace(channel, layers=tuple(layers))
    better = factor * channel.film_W_m2K
    return {"bottom.film_W_m2K": better}, replace(channel, film_W_m2K=better)


@pytest.mark.parametrize("pairs", counts(30, 100))
def test_doubt_of_the_difference_on_pairs_with_known_answer(pairs: int) -> None:
    """Of random pairs: at least 95 % of the true errors of gains lie within the doubt of the difference.

    Truth: the series of the rectangular flux channel (Muzychka, Culham, Yovanovich 2003), summed in thermsim.proof.
    """
    rng = np.random.default_rng(SEED)
    errors, widths = [], []
    for _ in range(pairs):
        stack = draw(rng)
        values, channel = changed(stack.channel, rng)
        other = with_inputs(stack.case, values)
        exact = exact_of(channel, stack.zones)
        whole = family(("base", "other"), (stack.case, other), accuracy_K=0.3, memory_GB=0.3)
        for question in stack.exact:
            gain = whole.gain(1, question)
            errors.append(abs(gain.value - (stack.exact[question] - exact[question])))
            widths.append(gain.half_width)
    covered = np.mean(np.array(errors) <= np.array(widths))
    ratio = np.median(np.array(widths) / np.maximum(errors, 1e-12))
    print(json.dumps({"covered": covered, "median width over error": ratio, "gains": len(errors)}))
    assert covered >= 0.95
    assert ratio <= 12.0

"""Sweeps against closed forms and the flux-channel series, and what they refuse before anything is solved."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from samples import CORNCRAKE
from stacks import case_of, film, joint, part

from thermsim.case.geometry.heights import height_mm
from thermsim.case.geometry.places import insert_box, part_box, patch_box, probe_point, zone_box
from thermsim.case.inputs.values import with_inputs
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import RunawayError, ThermsimError, UnknownNameError
from thermsim.proof.closed_form.flux_channel import Channel, ChannelLayer, Rectangle, mean_rise
from thermsim.readout.observable import HOTTEST
from thermsim.sweeps.lowest import lowest
from thermsim.sweeps.points import places_of, questions_of, ranges_of
from thermsim.sweeps.sweep import Sweep, Vary, sweep

FLUID_C = 25.0

pytestmark = pytest.mark.usefixtures("coarse_grids")


def slab(**more: object) -> Case:
    """A plate of 10 mm by 10 mm, 20 W in all of its underside, and a film on top."""
    layers = [part("plate", [10, 10], 1.0, 50.0)]
    heat = [{"in": "plate", "zones": [{"zone": "all", "power_W": 20}], **more}]
    return case_of(layers, heat, [film("top", 5000.0, FLUID_C)])


# ---- against outside truth --------------------------------------------------------------------------------------


@pytest.mark.parametrize("is_log", [False, True])
def test_a_slab_is_a_straight_line_in_its_thickness(is_log: bool) -> None:
    """One-dimensional conduction and a film (any textbook of heat transfer): T = T_fluid + q'' (t/k + 1/h)."""
    found = sweep(slab(), [Vary("plate.thickness_mm", 0.2, 3.2, 5, is_log)], asked=["zone all"])
    thickness = np.array(found.ranges[0].values)
    expected = FLUID_C + 20 / 1e-4 * (1e-3 * thickness / 50.0 + 1 / 5000.0)
    values, doubts = found.values(("zone", "all", "mean")), found.half_widths(("zone", "all", "mean"))
    assert np.abs(values - expected).max() < 1e-6
    assert np.all(np.abs(values - expected) <= doubts)
    steps = np.diff(np.log(thickness) if is_log else thickness)
    assert steps == pytest.approx(steps[0], rel=1e-9)


def test_a_film_and_a_power_make_a_map() -> None:
    """The same closed form over two quantities; each point stands where its values say."""
    vary = [Vary("all.power_W", 10, 30, 3), Vary("top.film_W_m2K", 2000, 8000, 4)]
    found = sweep(slab(), vary, asked=["zone all"])
    power, h = np.array(found.ranges[0].values)[:, None], np.array(found.ranges[1].values)[None, :]
    expected = FLUID_C + power / 1e-4 * (1e-3 / 50.0 + 1 / h)
    assert found.values(("zone", "all", "mean")) == pytest.approx(expected, abs=1e-6)
    low = found.lowest(("zone", "all", "mean"))
    assert found.points[low.number].values == (10.0, 8000.0)
    assert low.at_end == (True, True)


def test_runaway_is_a_gap_at_the_power_where_the_closed_form_ends() -> None:
    """Leakage P (1 + b (T - T0)) over R = (t/k + 1/h)/A:  T = (T_fluid + R P (1 - b T0))/(1 - R P b), to R P b = 1."""
    case = slab(leakage={"per_K": 0.05, "at_C": 30})
    resistance = (1e-3 / 50.0 + 1 / 5000.0) / 1e-4
    found = sweep(case, [Vary("all.power_W", 2, 16, 8)], asked=["zone all"])
    for point in found.points:
        strength = resistance * point.values[0] * 0.05
        assert (point.failure is not None) == (strength >= 1.0), point.values
        if point.failure is not None:
            assert point.kind == "thermal runaway" and "steady state" in point.failure
            continue
        expected = (FLUID_C + resistance * point.values[0] * (1 - 0.05 * 30)) / (1 - strength)
        doubt = point.doubts["zone", "all", "mean"]
        assert doubt.value == pytest.approx(expected, abs=max(doubt.half_width, 1e-4))
    assert 0 < sum(point.failure is not None for point in found.points) < 8


def test_without_any_steady_state_the_failure_is_the_answer() -> None:
    case = slab(leakage={"per_K": 0.05, "at_C": 30})
    with pytest.raises(RunawayError):
        sweep(case, [Vary("all.power_W", 40, 50, 2)])


def test_a_slice_is_swept_along_its_length() -> None:
    """A bar of 4 mm with heat in all of its underside and a film on top: q'' = P/(L depth), one-dimensional."""
    case = case_of(
        [part("bar", 40, 4.0, 52.0)],
        [{"in": "bar", "zones": [{"zone": "all", "power_W": 100}]}],
        [film("top", 2000.0, FLUID_C)],
        dimensions=2,
        depth_mm=100,
    )
    found = sweep(case, [Vary("bar.size_mm.0", 20, 60, 3)], asked=["zone all"])
    expected = FLUID_C + 100 / (np.array([20, 40, 60]) * 1e-3 * 0.1) * (4e-3 / 52 + 1 / 2000)
    assert found.values(("zone", "all", "mean")) == pytest.approx(expected, abs=1e-6)


def test_an_option_is_swept_from_its_own_values() -> None:
    case = with_option(parse_case(CORNCRAKE), "thinner die, same height")
    (place, *_) = places_of(case, ranges_of(case, [Vary("die.thickness_mm", 0.36, 0.56, 2)]), "lid")
    assert place.made_up_mm == 2.75  # 2.65 mm with a die of 0.46 mm
    assert place.case.option == "thinner die, same height"


# A hotspot of 2 mm by 2 mm on a die under a plate of the same outline, so that the channel series is its exact answer.
DIE_k, PLATE_k, SIDE, JOINT, FILM = 120.0, 390.0, 12.0, 8.0, 12000.0


@cache
def hotspot() -> Sweep:
    layers = [part("die", [SIDE, SIDE], 0.5, DIE_k), joint("solder", JOINT), part("lid", [SIDE, SIDE], 2.0, PLATE_k)]
    zones = [{"zone": "spot", "corner_mm": [5, 5], "size_mm": [2, 2], "power_W": 15}]
    case = case_of(layers, [{"in": "die", "zones": zones}], [film("top", FILM, FLUID_C)])
    return sweep(case, [Vary("die.thickness_mm", 0.2, 2.0, 7)], asked=["zone spot"], accuracy_K=0.3)


def series(thickness_mm: float) -> float:
    """Mean of the hotspot by the series (Muzychka, Culham, Yovanovich 2003) [C]."""
    layers = (
        ChannelLayer(1e-3 * thickness_mm, DIE_k, DIE_k, 1e-6 * JOINT),
        ChannelLayer(2e-3, PLATE_k, PLATE_k),
    )
    channel = Channel(1e-3 * SIDE, 1e-3 * SIDE, layers, FILM)
    return FLUID_C + 15 * mean_rise(channel, Rectangle(6e-3, 6e-3, 2e-3, 2e-3)).value


def test_a_hotspot_follows_the_flux_channel_over_the_thickness() -> None:
    found = hotspot()
    question = ("zone", "spot", "mean")
    for point in found.points:
        doubt = point.doubts[question]
        assert abs(doubt.value - series(point.values[0])) <= doubt.half_width, point.values
        assert doubt.half_width < 0.5
    assert found.accuracy_held


def test_the_optimum_of_the_series_lies_where_the_sweep_says() -> None:
    found = hotspot()
    low = found.lowest(("zone", "spot", "mean"))
    fine = np.linspace(0.2, 2.0, 91)
    best = float(fine[np.argmin([series(float(thickness)) for thickness in fine])])
    assert 0.2 < best < 2.0  # the series itself has its minimum inside
    assert low.between is not None and None not in low.between
    assert low.between[0] <= best <= low.between[1]
    assert low.at_end == (False,) and low.ends == (None,)


def test_differences_are_known_better_than_values() -> None:
    """The margin by which a point is told apart holds the error of its difference by the series."""
    found = hotspot()
    question = ("zone", "spot", "mean")
    values, margins = found.values(question), found.margins(question)
    low = int(np.argmin(values))
    exact = np.array([series(point.values[0]) for point in found.points])
    error = np.abs((values - values[low]) - (exact - exact[low]))
    assert np.all(error <= margins)
    assert len({point.cells for point in found.points}) == 1  # one topology
    assert np.all(margins[np.arange(len(values)) != low] < found.half_widths(question)[0] * 2)


# ---- the circuit stays where it is ------------------------------------------------------------------------------


def test_zones_inserts_probes_and_patches_keep_their_place_on_the_stack() -> None:
    layers = [
        part("die", [12, 10], 0.5, 120.0, inserts=[{"material": "void", "corner_mm": [9, 1], "size_mm": [1, 2]}]),
        part("lid", [20, 20], 2.0, 390.0),
    ]
    zones = [{"zone": "a", "corner_mm": [1, 2], "size_mm": [3, 4], "power_W": 5}]
    cooling = [{**film("top", 5000.0), "corner_mm": [2, 3], "size_mm": [10, 10]}]
    probes = [
        {"probe": "under", "in": "die", "at_mm": [2, 3, 0]},
        {"probe": "over", "in": "lid", "at_mm": [10, 10, 2]},
    ]
    before = case_of(layers, [{"in": "die", "zones": zones}], cooling, probes=probes)
    numbers = {"die.size_mm.0": 14.0, "lid.size_mm.1": 24.0, "lid.thickness_mm": 1.5}
    after = with_inputs(before, numbers, floor_plan="kept")
    assert part_box(after, after.parts[0]) == pytest.approx((-7, -5, 7, 5))

    def boxes(case: Case) -> list[tuple[float, ...]]:
        die, patch = case.parts[0], patch_box(case, case.cooling[0])
        assert patch is not None
        return [zone_box(case, die, case.heat[0].zones[0]), insert_box(case, die, die.inserts[0]), patch]

    assert boxes(after) == [pytest.approx(box) for box in boxes(before)]
    assert probe_point(after, after.probes[0]) == pytest.approx(probe_point(before, before.probes[0]))
    assert probe_point(after, after.probes[1]) == pytest.approx((0, 0, 0.5 + 1.5))  # still on top of the lid


def test_a_part_that_no_longer_holds_its_circuit_is_refused_with_the_sizes_that_do() -> None:
    case = parse_case(CORNCRAKE)
    ranges = ranges_of(case, [Vary("die.size_mm.0", 20.8, 28.8, 5)])
    with pytest.raises(ThermsimError) as caught:
        places_of(case, ranges, None)
    assert "'die'" in caught.value.what and "zone" in caught.value.what
    assert "from 24.8 to 28.8" in caught.value.remedy
    with pytest.raises(ThermsimError) as caught:
        with_inputs(case, {"die.size_mm.0": 20.0}, floor_plan="kept")
    assert "24.8 mm along x" in caught.value.remedy


def test_other_faults_of_geometry_are_told_before_anything_is_solved() -> None:
    case = case_of(
        [part("die", [10, 10], 0.5, 120.0), part("lid", [20, 20], 2.0, 390.0)],
        [{"in": "die", "zones": [{"zone": "all", "power_W": 5}]}],
        [film("top", 5000.0, wetted_mm=[16, 16])],
    )
    with pytest.raises(ThermsimError) as caught:
        sweep(case, [Vary("lid.size_mm.0", 12, 20, 5)])
    assert "lid.size_mm.0 = 12" in caught.value.what and "patch" in caught.value.what
    assert "from 16 to 20" in caught.value.remedy


# ---- the height stays -------------------------------------------------------------------------------------------


def test_one_part_keeps_the_height() -> None:
    case = parse_case(CORNCRAKE)
    ranges = ranges_of(case, [Vary("die.thickness_mm", 0.4, 0.8, 3), Vary("solder.film_um", 100, 300, 3)])
    places = places_of(case, ranges, "lid")
    assert len(places) == 9
    for place in places:
        assert height_mm(place.case) == pytest.approx(height_mm(case), abs=1e-9)
        die, film_um = place.values
        assert place.made_up_mm == pytest.approx(2.45 - (die - 0.66) - (film_um - 240) / 1000, abs=1e-9)


def test_a_part_that_would_vanish_is_told_with_the_range_that_works() -> None:
    """2.45 mm of lid and 0.66 mm of die: the die may take up to 3.11 mm."""
    case = parse_case(CORNCRAKE)
    with pytest.raises(ThermsimError) as caught:
        sweep(case, [Vary("die.thickness_mm", 0.4, 4.0, 3)], same_height="lid")
    assert "'lid'" in caught.value.what and "die.thickness_mm = 4" in caught.value.what
    assert "die.thickness_mm below 3.11 works" in caught.value.remedy


@pytest.mark.parametrize(
    ("path", "keeper", "said"),
    [
        ("die.thickness_mm", "lidd", "did you mean `lid`"),
        ("lid.thickness_mm", "lid", "cannot keep the height as well"),
        ("top.film_W_m2K", "lid", "nothing that is varied changes the height"),
    ],
)
def test_a_keeper_that_cannot_keep(path: str, keeper: str, said: str) -> None:
    case = parse_case(CORNCRAKE)
    low = {"top.film_W_m2K": 5000.0}.get(path, 0.5)
    with pytest.raises(ThermsimError) as caught:
        places_of(case, ranges_of(case, [Vary(path, low, 2 * low, 2)]), keeper)
    assert said in caught.value.what


# ---- what is asked ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("vary", "said"),
    [
        ([Vary("die.thicknes_mm", 0.3, 0.8, 3)], "did you mean `die.thickness_mm`"),
        ([Vary("die.thickness_mm", 0.8, 0.3, 3)], "not below"),
        ([Vary("die.thickness_mm", 0.0, 0.8, 3)], "cannot be 0"),
        ([Vary("die.thickness_mm", 0.3, 0.8, 1)], "makes no range"),
        ([Vary("solder.wetted_fraction", 0.5, 1.2, 3)], "cannot be 1.2"),
        ([Vary("top.fluid_C", -10, 30, 3, is_log=True)], "even ratios"),
        ([Vary("die.thickness_mm", 0.3, 0.8, 3)] * 2, "twice"),
        ([Vary("die.thickness_mm", 0.3, 0.8, 3)] * 3, "one or two"),
        ([Vary("die.thickness_mm", 0.3, float("inf"), 3)], "is no range"),
        ([Vary("die.thickness_mm", 0.3, 0.8, 300), Vary("lid.thickness_mm", 1, 2, 300)], "90000 points"),
    ],
)
def test_ranges_that_are_none(vary: list[Vary], said: str) -> None:
    with pytest.raises(ThermsimError) as caught:
        ranges_of(parse_case(CORNCRAKE), vary)
    assert said in caught.value.what


def test_what_is_watched_is_called_as_it_is_told() -> None:
    case = parse_case(CORNCRAKE)
    assert questions_of(case, []) == (HOTTEST,)
    asked_for = ["reading C5", "zone cache", "zone C0, highest", "the hottest spot", "reading C5"]
    told = ["reading C5", "zone cache, mean", "zone C0, highest", "the hottest spot"]
    assert [str(one) for one in questions_of(case, asked_for)] == told
    with pytest.raises(UnknownNameError) as caught:
        questions_of(case, ["reading C55"])
    assert "there are `reading C0`, `reading C5`" in caught.value.what


# ---- where it is lowest -----------------------------------------------------------------------------------------

AXIS = [1.0, 2.0, 3.0, 4.0, 5.0]


def test_points_within_the_margin_cannot_be_told_apart() -> None:
    low = lowest(np.array([5.0, 3.0, 2.0, 2.3, 6.0]), np.full(5, 0.5), [AXIS])
    assert (low.number, low.alike, low.within, low.between) == (2, (2, 3), ((3.0, 4.0),), (2.0, 5.0))
    assert (low.ends, low.at_end, low.beside_gap) == ((None,), (False,), False)


def test_an_optimum_at_the_end_or_beside_a_gap_is_told() -> None:
    low = lowest(np.array([2.0, 3.0, 4.0, 5.0, 6.0]), np.full(5, 0.1), [AXIS])
    assert (low.at_end, low.ends, low.between) == ((True,), ("lowest",), (None, 2.0))
    low = lowest(np.array([4.0, 3.0, np.nan, np.nan, 6.0]), np.full(5, 0.1), [AXIS])
    assert (low.number, low.beside_gap, low.between) == (1, True, (1.0, None))


def test_a_flat_map_says_that_nothing_can_be_told() -> None:
    low = lowest(np.full((2, 3), 50.0), np.full((2, 3), 0.1), [AXIS[:2], AXIS[:3]])
    assert len(low.alike) == 6
    assert low.within == ((1.0, 2.0), (1.0, 3.0))
    assert low.ends == ("lowest and highest", "lowest and highest")


def two_pits(x: np.ndarray, second: float, deeper_K: float) -> np.ndarray:
    """Two pits of Lorentz' shape in a plain of 54 C: the one at 15 to 41 C, the other 1.2 wide and deeper."""
    return np.asarray(
        54.0 - 13.0 / (1.0 + ((x - 15.0) / 0.8) ** 2) - (13.0 + deeper_K) / (1.0 + ((x - second) / 0.6) ** 2)
    )


@pytest.mark.parametrize("second", [4.5, 5.0, 5.4, 5.6, 6.4])
def test_a_second_valley_that_may_be_lower_between_the_points_is_told(second: float) -> None:
    """The formula has its minimum in the second pit, its lowest sample in the first."""
    axis = np.linspace(1.0, 19.0, 10)
    fine = np.linspace(1.0, 19.0, 18001)
    best = float(fine[np.argmin(two_pits(fine, second, 0.9))])
    low = lowest(two_pits(axis, second, 0.9), np.full(10, 0.01), [axis.tolist()])
    spans = [low.between, *(one.within[0] for one in low.valleys)]
    assert any(span[0] < best < span[1] for span in spans if span is not None and None not in span)
    if second != 5.0:
        assert low.between == (13.0, 17.0)


def test_a_second_valley_is_told_on_a_map_and_where_its_floor_is_flat() -> None:
    axis = np.linspace(1.0, 19.0, 10)
    bowl = 0.2 * (np.array([1.0, 2.0, 3.0, 4.0]) - 2.0) ** 2
    low = lowest(two_pits(axis, 5.4, 0.9)[:, None] + bowl, np.full((10, 4), 0.01), [axis.tolist(), AXIS[:4]])
    assert [one.within for one in low.valleys] == [((3.0, 7.0), (1.0, 3.0))]
    flat = lowest(np.array([4.0, 1.0, 4.0, 1.5, 1.5, 4.0]), np.full(6, 0.1), [[*AXIS, 6.0]])
    assert [(one.number, one.within) for one in flat.valleys] == [(3, ((3.0, 6.0),))]


def test_one_valley_or_one_that_lies_too_high_is_not_doubted() -> None:
    low = lowest(np.array([9.0, 4.0, 2.0, 5.0, 6.0]), np.full(5, 0.1), [AXIS])
    assert low.valleys == ()
    low = lowest(np.array([9.0, 1.0, 9.0, 8.0, 8.5]), np.full(5, 0.1), [AXIS])
    assert low.valleys == ()
    low = lowest(np.array([9.0, 1.0, np.nan, 8.0, 8.5]), np.full(5, 0.1), [AXIS])
    assert low.valleys == ()

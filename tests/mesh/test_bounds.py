"""Bounds of the mean source temperature: Rayleigh's monotonicity on the very cells of the solution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from samples import CORNCRAKE
from stacks import Mapping, case_of, film, joint, part, solve_case

from thermsim.case.load import parse_case
from thermsim.errors import BoundsError
from thermsim.mesh.bounds import source_bounds
from thermsim.mesh.predict import predict

PLATE = part("plate", [40, 40], 3, 390)
SOURCE = {"zone": "s", "corner_mm": [15, 15], "size_mm": [10, 10], "power_W": 1.0}


def heated(zone: Mapping = SOURCE, **more: object) -> list[Mapping]:
    return [{"in": "plate", "at": "top", "zones": [zone], **more}]


def test_bounds_of_a_plate_by_hand() -> None:
    """E of 40 x 40 x 3 mm, k 390, h 5000: (t/k + 1/h)/16 cm2 and (t/k + 1/h)/1 cm2, 0.129808 and 2.076923 K/W."""
    bounds = source_bounds(solve_case(case_of([PLATE], heated(), [film("bottom", 5000)])))
    assert bounds is not None
    series = 3e-3 / 390 + 1 / 5000
    assert bounds.lowest_C == pytest.approx(series / 16e-4, rel=1e-10)
    assert bounds.highest_C == pytest.approx(series / 1e-4, rel=1e-10)
    assert bounds.lowest_C < bounds.mean_C < bounds.highest_C


def test_they_meet_where_heat_does_not_spread() -> None:
    """Layers in series, a joint between: both bounds are the answer (resistances in series, by hand)."""
    layers = [part("plate", [10, 10], 1, 100), joint("film", 10), part("lid", [10, 10], 2, 400)]
    heat = [{"in": "plate", "at": "bottom", "zones": [{"zone": "all", "power_W": 50}]}]
    bounds = source_bounds(solve_case(case_of(layers, heat, [film("top", 8000, 30)])))
    assert bounds is not None
    by_hand = 30 + 5e5 * (1e-3 / 100 + 10e-6 + 2e-3 / 400 + 1 / 8000)
    for value in (bounds.lowest_C, bounds.mean_C, bounds.highest_C):
        assert value == pytest.approx(by_hand, abs=1e-7)


def test_lateral_conduction_reaches_both_ends() -> None:
    """k in plane towards nothing and towards everything comes nearer to the bounds, never past them.

    To 0.2 %: heat enters a face, and half a cell under it lies before any lateral conduction.
    """
    for in_plane, end in ((1e-4, "highest_C"), (1e8, "lowest_C")):
        case = case_of([part("plate", [40, 40], 3, [in_plane, 390])], heated(), [film("bottom", 5000)])
        bounds = source_bounds(solve_case(case))
        assert bounds is not None
        assert bounds.mean_C == pytest.approx(getattr(bounds, end), rel=2e-3)


def test_several_coolants_widen_them() -> None:
    """Two films at 20 and 60 C: without heat a point lies between them, so the bounds take the colder and warmer."""
    one, two = (
        source_bounds(solve_case(case_of([PLATE], heated(), [film("bottom", 5000, 20), film("top", 50, warm)])))
        for warm in (20, 60)
    )
    assert one is not None and two is not None
    assert two.lowest_C == pytest.approx(one.lowest_C, abs=1e-9)
    assert two.highest_C == pytest.approx(one.highest_C + 40, abs=1e-9)
    assert two.lowest_C < two.mean_C < two.highest_C


def test_a_column_without_way_out_has_no_upper_bound() -> None:
    """A source beside the wetted patch: no column of it meets the coolant."""
    cooling = [film("bottom", 5000, 0, corner_mm=[0, 0], size_mm=[10, 40])]
    bounds = source_bounds(solve_case(case_of([PLATE], heated(), cooling)))
    assert bounds is not None
    assert bounds.highest_C == float("inf")


def test_no_bounds_where_they_would_not_hold() -> None:
    """Without heat, and where `cooling` prescribes a flux."""
    ends = [{"face": "bottom", "temperature_C": 0}, {"face": "top", "temperature_C": 10}]
    assert source_bounds(solve_case(case_of([PLATE], [], ends))) is None
    flux = [film("bottom", 5000), {"face": "left", "flux_W_mm2": 0.01}]
    assert source_bounds(solve_case(case_of([PLATE], heated(), flux))) is None


def test_a_whole_package_with_leakage_voids_and_fluids() -> None:
    """They are told with every prediction."""
    prediction = predict(parse_case(CORNCRAKE), accuracy_K=2.0)
    bounds = prediction.bounds
    assert bounds is not None
    assert 31.0 < bounds.lowest_C < bounds.mean_C < bounds.highest_C


@pytest.mark.parametrize("seed", range(8100, 8112))
def test_random_steps_and_joints_lie_within(seed: int) -> None:
    """Parts of different outline, joints, side films, volume heat: `checked` raises if one does not."""
    rng = np.random.default_rng(seed)
    layers: list[Mapping] = []
    for number in range(int(rng.integers(2, 5))):
        size = [float(side) for side in rng.uniform(8, 20, 2)]
        k = [float(10 ** rng.uniform(1.0, 2.7)) for _ in range(2)]
        if layers and rng.random() < 0.6:
            layers.append(joint(f"j{number}", float(rng.uniform(1, 60))))
        layers.append(part(f"p{number}", size, float(10 ** rng.uniform(-0.7, 0.5)), k))
    at = str(rng.choice(["bottom", "top", "volume"]))
    zone = {"zone": "z", "corner_mm": [1, 1], "size_mm": [4, 3], "power_W": 5.0}
    leakage = {"per_K": 0.002, "at_C": 60}
    heat = [{"in": "p0", "at": at, "leakage": leakage, "zones": [zone]}]
    cooling = [film("top", float(10 ** rng.uniform(3, 5)), 25), film("exposed", 40, 30), film("left", 300, 20)]
    bounds = source_bounds(solve_case(case_of(layers, heat, cooling), 3000))
    assert bounds is not None


def test_a_wrong_answer_is_refused() -> None:
    """A field that is a third too cold, or far too hot, is an error with an exit code of its own."""
    field = solve_case(case_of([PLATE], heated(), [film("bottom", 5000)]))
    for factor in (0.3, 20.0):
        with pytest.raises(BoundsError) as told:
            source_bounds(replace(field, temperature=factor * field.temperature))
        assert told.value.exit_code == 10 and "bounds" in str(told.value)


def test_exposed_may_be_limited_to_one_part() -> None:
    """A post on a plate: the film of `of: post` wets its four flanks alone, the other entry what is left (by hand)."""
    layers = [part("plate", [10, 10], 1, 400), part("post", [2, 3], 5, 400)]
    cooling = [film("exposed", 30, 20, of="post"), film("exposed", 10, 20, environment="rest")]
    case = case_of(layers, [{"in": "plate", "at": "bottom", "zones": [{"zone": "z", "power_W": 1.0}]}], cooling)
    area_mm2 = {flow.label: 1e6 * flow.area_m2 for flow in solve_case(case).flows}
    assert area_mm2 == pytest.approx({"exposed": 2 * (2 + 3) * 5, "rest": 10 * 10 - 2 * 3})

"""Clock and power at the limit, against closed forms of one-dimensional slabs and arithmetic by hand."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.optimize import brentq
from stacks import case_of, film, part

from thermsim.case.clock import Drive, drive_at, driven, proportional, voltage_at, voltage_points
from thermsim.case.geometry.zones import zones_of
from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case, Clock
from thermsim.commands.main import commands
from thermsim.errors import CaseError, WriteError
from thermsim.limits.afford import afford
from thermsim.limits.affordance import Affordance, Afforded
from thermsim.limits.corrected_readings import Studied, Told, told
from thermsim.limits.states import State
from thermsim.mesh.input_doubt import InputDoubt
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.proof.closed_form.nonlinear import Leakage, leakage_balance, leakage_limit, linear_leakage_temperature
from thermsim.readout.observable import Answers
from thermsim.report.figures.bar_figures import powers_at_limit
from thermsim.report.files.afford_export import check_afford_target, write_afford
from thermsim.report.text.afford_table import affordance_blocks, document

# A slab of 20 x 20 mm, 5 mm thick, k = 400 W/mK, under 5000 W/m2K at 25 C: by hand,
# 1/(hA) = 1/(5000 x 4e-4) = 0.5 K/W, t/(kA) = 0.005/(400 x 4e-4) = 0.03125 K/W.
FILM, SLAB, FLUID_C = 0.5, 0.03125, 25.0
PATH = FILM + SLAB  # [K/W] from the bottom face
CLOCK = {"frequency_GHz": 4.0, "voltage_V": 1.0}

# Slabs have the same answers on any grid.
pytestmark = pytest.mark.usefixtures("coarse_grids")


def slab(power_W: float = 50.0, limit_C: float = 95.0, leakage: Any = None, **more: Any) -> Case:
    heat: dict[str, Any] = {"in": "slab", "zones": [{"zone": "core", "power_W": power_W}]}
    if leakage is not None:
        heat["leakage"] = leakage
    given = {"readings": [{"reading": "R", "zone": "core"}], "limits": {"reading_C": limit_C}, **more}
    return case_of([part("slab", [20, 20], 5, 400)], [heat], [film("top", 5000, FLUID_C)], **given)


def steps(*pairs: tuple[float, float], **more: Any) -> dict[str, Any]:
    return {**CLOCK, **more, "steps": [{"frequency_GHz": f, "voltage_V": v} for f, v in pairs]}


def base(case: Case) -> Afforded:
    return afford(case).answers[0]


# ---- arithmetic by hand -----------------------------------------------------------------------------------------


def test_dynamic_power_is_v_squared_f() -> None:
    """By hand: (1.2/1.0)^2 x 5/4 = 1.8; leakage with V: 1.2."""
    drive = drive_at(Clock(**CLOCK), 5.0, 1.2)
    assert (drive.dynamic, drive.leakage) == pytest.approx((1.8, 1.2), rel=1e-14)


def test_an_exponential_share_goes_with_the_voltage_alone() -> None:
    """By hand, s = 0.25: 100 (0.75 x 1.8 + 0.25 x 1.2) = 165 W, of which leakage is 30 W: a share of 2/11."""
    case = driven(slab(100, leakage={"share": 0.25, "doubling_K": 20, "at_C": 80}), Drive(1.8, 1.2))
    assert case.heat[0].zones[0].power_W.value == pytest.approx(165.0, rel=1e-14)
    assert case.heat[0].leakage is not None
    assert case.heat[0].leakage.share == pytest.approx(2 / 11, rel=1e-14)


def test_a_linear_law_goes_as_a_whole() -> None:
    law = {"per_K": 0.003, "at_C": 80}
    case = driven(slab(100, leakage=law), Drive(1.8, 1.2))
    assert case.heat[0].zones[0].power_W.value == pytest.approx(180.0, rel=1e-14)
    assert case.heat[0].leakage == slab(100, leakage=law).heat[0].leakage


def test_voltage_runs_straight_between_the_steps_and_the_clock_typed() -> None:
    points = voltage_points(Clock(**steps((4.5, 1.1), (5.0, 1.3))))
    assert points == ((4.0, 1.0), (4.5, 1.1), (5.0, 1.3))
    assert voltage_at(points, 4.75) == pytest.approx(1.2, rel=1e-14)
    lowered = Clock(**steps((3.5, 0.8), (4.5, 0.9)))  # the clock typed lies above this curve
    assert voltage_points(lowered) == ((3.5, 0.8), (4.5, 0.9))


def watts(case: Case) -> float:
    model = build_model(case, plan_grid(case, 500).grid(1))
    return sum(float(source.watts.sum()) for source in model.sources)


@pytest.mark.parametrize(
    ("zones", "leakage", "expected"),
    [
        ([], None, 2.0 * (30 + 10 + 5)),  # all, the map too
        (["a"], None, 2.0 * 30 + 10 + 5),
        (["a"], {"share": 0.5, "doubling_K": 20, "at_C": 80}, (0.5 * 2.0 + 0.5 * 1.0) * 30 + 10 + 5),
        (["a", "b"], {"share": 0.5, "doubling_K": 20, "at_C": 80}, 1.5 * 40 + 5),
        (["a"], {"per_K": 0.003, "at_C": 80}, 2.0 * 30 + 10 + 5),
    ],
)
def test_only_clocked_zones_are_driven(zones: list[str], leakage: Any, expected: float, tmp_path: Path) -> None:
    """By hand, zones of 30 and 10 W and a map of 5 W, driven by 2 (leakage by 1)."""
    (tmp_path / "map.csv").write_text("2,0\n0,3\n", encoding="utf-8")
    heat: dict[str, Any] = {"in": "slab", "map": {"file": "map.csv", "holds": "W"}}
    heat["zones"] = [
        {"zone": "a", "corner_mm": [0, 0], "size_mm": [10, 20], "power_W": 30},
        {"zone": "b", "corner_mm": [10, 0], "size_mm": [10, 20], "power_W": 10},
    ]
    if leakage is not None:
        heat["leakage"] = leakage
    clock = {**CLOCK, "zones": zones} if zones else CLOCK
    case = case_of([part("slab", [20, 20], 5, 400)], [heat], [film("top", 5000)], tmp_path, clock=clock)
    assert watts(case) == pytest.approx(45.0, rel=1e-12)
    assert watts(driven(case, Drive(2.0, 1.0))) == pytest.approx(expected, rel=1e-12)
    assert watts(driven(case, proportional(1.0))) == pytest.approx(45.0, rel=1e-12)
    assert watts(case) == pytest.approx(45.0, rel=1e-12)  # the case itself is as it was


def test_what_no_zone_covers_leaks_as_typed_beside_a_clocked_zone() -> None:
    """The case with the rest typed as zones makes the same heat, source by source, in every cell."""

    def chip(*more: dict[str, Any], **shares: Any) -> Case:
        zones = [{"zone": "a", "corner_mm": [0, 0], "size_mm": [8, 20]} | shares, *more]
        law = {"share": 0.5, "doubling_K": 20, "at_C": 80}
        heat = {"in": "slab", "power_W": 40, "leakage": law, "zones": zones}
        heat |= {} if shares else {"alike": [{"zones": ["a"], "share": 0.75}]}
        clock = {**CLOCK, "zones": ["a"]}
        case = case_of([part("slab", [20, 20], 5, 400)], [heat], [film("top", 5000)], clock=clock)
        return driven(case, Drive(2.0, 1.0))

    left_out = chip()
    typed = chip({"zone": "b", "corner_mm": [8, 0], "size_mm": [12, 20]}, share=0.75)
    grid = plan_grid(typed, 500).grid(1)
    found, expected = (build_model(case, grid).sources for case in (left_out, typed))
    assert len(found) == len(expected) == 2
    for one, other in zip(found, expected, strict=True):
        assert one.watts == pytest.approx(other.watts, rel=1e-12, abs=1e-12)
        assert one.leakage == other.leakage
    assert watts(left_out) == pytest.approx(1.5 * 30 + 10, rel=1e-12)  # by hand
    assert [zone.label for zone in zones_of(left_out)].count("a") == 1  # a reading of it finds just one


@pytest.mark.parametrize("leakage", [None, {"per_K": 0.003, "at_C": 80}])
def test_what_no_zone_covers_is_not_clocked_with_the_only_zone(leakage: Any) -> None:
    """By hand: of 40 W 30 are driven by 2."""
    zone = {"zone": "a", "corner_mm": [0, 0], "size_mm": [8, 20], "share": 0.75}
    heat = {"in": "slab", "power_W": 40, "zones": [zone]} | ({} if leakage is None else {"leakage": leakage})
    case = case_of([part("slab", [20, 20], 5, 400)], [heat], [film("top", 5000)], clock={**CLOCK, "zones": ["a"]})
    assert watts(driven(case, Drive(2.0, 1.0))) == pytest.approx(2 * 30 + 10, rel=1e-12)


# ---- one slab, closed forms -------------------------------------------------------------------------------------


def test_power_at_the_limit_of_a_slab() -> None:
    """T = Tf + P (1/(hA) + t/(kA)), so P = (95 - 1.5 - 25)/0.53125 W with an offset of 1.5 K, and 1.8 K less for it:
    of an even tolerance of 2 K, 0.9 are below 1.8 K."""
    case = slab(readings=[{"reading": "R", "zone": "core", "offset_K": {"value": 1.5, "plus_minus": 2}}])
    found = base(case)
    assert found.power is not None
    assert found.power.value_W == pytest.approx((95 - 1.5 - FLUID_C) / PATH, abs=1e-3)
    assert found.power.least_W == pytest.approx((95 - 3.3 - FLUID_C) / PATH, abs=2e-3)
    assert found.power.share == pytest.approx(found.power.value_W / 50, rel=1e-9)
    assert found.power.mesh_doubt_W is not None
    assert 0.0 < found.power.mesh_doubt_W < 1e-2
    assert (found.power.reading, found.power.ends_by) == ("R", "limit")
    assert (found.steps, found.between, found.beyond, found.affordable) == ((), None, None, None)


def test_power_at_the_limit_of_a_slab_that_is_typed_a_million_times_too_low() -> None:
    """The search goes as far as it takes; only what warms nothing at a hundred thousand times its power is no heat."""
    found = base(slab(power_W=50e-6)).power
    assert found is not None
    assert found.value_W == pytest.approx((95 - FLUID_C) / PATH, abs=1e-3)
    with pytest.raises(CaseError, match="times the clocked power warms no reading"):
        base(slab(power_W=50e-12))


def test_steps_of_a_slab() -> None:
    """50 W x V^2 f: readings 25 + 0.53125 x 50 x (1.25, 1.8, 2.592) = 58.203, 72.8125, 93.85 C; limit 75, +- 3 K,
    of which 0.9 are counted.

    Between: 50 x PATH x V^2 f/4 = 50 with V = 1 + (f - 4)/5 up to 5 GHz, then 1.2 + 0.24 (f - 5).
    """
    clock = steps((5.0, 1.0), (5.0001, 1.2), (6.0, 1.44))
    tolerant = [{"reading": "R", "zone": "core", "offset_K": {"value": 0, "plus_minus": 3}}]
    found = base(slab(limit_C=75, clock=clock, readings=tolerant))
    expected = [25 + PATH * 50 * v * v * f / 4 for f, v in ((4, 1), (5, 1), (5.0001, 1.2), (6, 1.44))]
    assert [step.highest_reading_C for step in found.steps] == pytest.approx(expected, abs=1e-4)
    assert [step.power_W for step in found.steps] == pytest.approx([(t - 25) / PATH for t in expected], abs=1e-3)
    assert [step.margin_K for step in found.steps] == pytest.approx([75 - t for t in expected], abs=1e-4)
    least = [step.margin_least_K or 0.0 for step in found.steps]
    assert least[:3] == pytest.approx([72.3 - t for t in expected[:3]], abs=1e-2)
    assert least[3] < 72.3 - expected[3]  # beyond what was studied doubts are wider
    assert [step.verdict for step in found.steps] == ["yes", "yes", "within doubt", "no"]
    assert [step.is_typed for step in found.steps] == [True, False, False, False]
    assert found.affordable == found.steps[1]
    assert found.between is not None

    def over(f: float, limit_C: float = 75.0) -> float:
        v = float(np.interp(f, [4, 5, 5.0001, 6], [1, 1, 1.2, 1.44]))
        return 25 + PATH * 50 * v * v * f / 4 - limit_C

    assert found.between.frequency_GHz == pytest.approx(brentq(over, 4, 6), abs=1e-5)
    assert found.between.power_W == pytest.approx(50 / PATH, abs=1e-3)
    assert found.least_GHz == pytest.approx(brentq(over, 4, 6, args=(72.3,)), abs=1e-4)


def test_nothing_is_told_beyond_the_steps() -> None:
    fast = base(slab(limit_C=200, clock=steps((4.5, 1.1))))
    assert (fast.between, fast.beyond, fast.least_GHz) == (None, "above the fastest", None)
    assert fast.affordable == fast.steps[-1]
    slow = base(slab(limit_C=40, clock=steps((4.5, 1.1))))
    assert (slow.between, slow.beyond) == (None, "below the slowest")
    assert slow.affordable is None
    assert [step.verdict for step in slow.steps] == ["no", "no"]
    assert slow.power is not None
    assert slow.power.value_W == pytest.approx(15 / PATH, abs=1e-3)


def two_faces(limit_C: float) -> Case:
    heat = [
        {"in": "slab", "at": "bottom", "zones": [{"zone": "core", "power_W": 40}]},
        {"in": "slab", "at": "top", "zones": [{"zone": "rest", "power_W": 60}]},
    ]
    readings = [{"reading": name, "zone": name} for name in ("core", "rest")]
    more = {"readings": readings, "limits": {"reading_C": limit_C}, "clock": {**CLOCK, "zones": ["core"]}}
    return case_of([part("slab", [20, 20], 5, 400)], heat, [film("top", 5000, FLUID_C)], **more)


def test_zones_that_are_not_clocked_keep_their_power() -> None:
    """T = Tf + (Pc + Pr)/(hA) + Pc t/(kA) with Pr = 60 W: Pc = (95 - 25 - 30)/0.53125 W, and 60 W on top."""
    found = base(two_faces(95))
    assert found.power is not None
    assert found.power.value_W == pytest.approx(40 / PATH + 60, abs=1e-3)
    assert found.power.share == pytest.approx(1 / PATH, abs=1e-4)
    assert found.power.reading == "core"


def test_no_clocked_power_keeps_a_limit_that_the_rest_passes() -> None:
    """The rest alone: 25 + 60 x 0.5 = 55 C."""
    found = afford(two_faces(54))
    assert found.answers[0].power is None
    assert document(found)["afford"][0]["power_at_limit_W"] is None
    assert any("make nothing" in remark for remark in document(found)["remarks"])


# ---- leakage ----------------------------------------------------------------------------------------------------


def test_linear_leakage() -> None:
    """T from proof.nonlinear at 50 W x V^2 f; at the limit P = (T - Tf)/R of heat made, whatever the law."""
    law = {"per_K": 0.005, "at_C": 80}
    found = base(slab(leakage=law, clock=steps((5.0, 1.2))))
    for step, power in zip(found.steps, (50.0, 90.0), strict=True):
        expected = linear_leakage_temperature(FLUID_C, PATH, 0.0, power, 80.0, 0.005)
        assert step.highest_reading_C == pytest.approx(expected, abs=1e-4)
        assert step.power_W == pytest.approx((expected - FLUID_C) / PATH, abs=1e-3)
    assert found.power is not None
    assert found.power.value_W == pytest.approx(70 / PATH, abs=1e-3)
    assert found.power.share == pytest.approx(70 / PATH / 50 / (1 + 0.005 * 15), rel=1e-5)


EXPONENTIAL = {"share": 0.2, "doubling_K": 15, "at_C": 60}


def exponential_balance(dynamic: float, leakage: float, power_W: float = 50.0) -> Any:
    law = Leakage.doubling(0.2 * power_W * leakage, 60, 15)
    return leakage_balance(FLUID_C, PATH, 0.8 * power_W * dynamic, law)


def test_exponential_leakage_stays_on_the_stable_root() -> None:
    """Both roots by Lambert's function (proof.nonlinear): the lower is meant, though the limit is above the upper."""
    found = base(slab(leakage=EXPONENTIAL, clock=steps((4.4, 1.05), (4.8, 1.1), (6.0, 1.4)), limit_C=150))
    for step, (f, v) in zip(found.steps[:3], ((4, 1), (4.4, 1.05), (4.8, 1.1)), strict=True):
        both = exponential_balance(v * v * f / 4, v)
        assert both.unstable_C < 150
        assert step.highest_reading_C == pytest.approx(both.stable_C, abs=2e-4)
        assert step.verdict == "yes"
    limit = leakage_limit(FLUID_C, 0.8 * 50 * 1.4**2 * 1.5, Leakage.doubling(0.2 * 50 * 1.4, 60, 15))
    assert limit.resistance_K_W < PATH  # so the last step has none
    assert (found.steps[3].verdict, found.steps[3].highest_reading_C) == ("runaway", None)
    assert found.between is not None
    assert found.between.ends_by == "runaway"

    def spare(f: float) -> float:
        v = 1.1 + 0.3 * (f - 4.8) / 1.2
        law = Leakage.doubling(0.2 * 50 * v, 60, 15)
        return leakage_limit(FLUID_C, 0.8 * 50 * v * v * f / 4, law).resistance_K_W - PATH

    edge = brentq(spare, 4.8, 6.0)
    assert found.between.frequency_GHz == pytest.approx(edge, rel=3e-4)
    assert found.least_GHz is not None
    assert 0.999 * edge < found.least_GHz < edge


def test_power_ends_at_the_edge_of_runaway() -> None:
    """The share at which R is the largest resistance with a steady state (A = 1/e), before 150 C are met."""
    found = afford(slab(leakage=EXPONENTIAL, limit_C=150))
    power = found.answers[0].power
    assert power is not None
    assert (power.ends_by, power.reading) == ("runaway", None)

    def spare(share: float) -> float:
        law = Leakage.doubling(0.2 * 50 * share, 60, 15)
        return leakage_limit(FLUID_C, 0.8 * 50 * share, law).resistance_K_W - PATH

    assert power.share == pytest.approx(brentq(spare, 0.5, 10), rel=3e-4)
    assert power.mesh_doubt_W is not None
    made = (
        leakage_limit(FLUID_C, 40 * power.share, Leakage.doubling(10 * power.share, 60, 15)).temperature_C - 25
    ) / PATH
    assert abs(power.value_W - made) < power.mesh_doubt_W
    assert any("runs away" in remark for remark in document(found)["remarks"])


def test_exponential_leakage_of_zones_of_which_one_is_clocked() -> None:
    """Evened out by a conductivity of 1e8 W/mK in plane, both halves of the slab are at one temperature.

    But for 2 mK in the heated face itself, which falls with the root of that conductivity (1e9 is beyond the solver).
    Dynamic 0.8 (30 x 1.8 + 20) W and leakage 0.2 (30 x 1.2 + 20) W at 60 C, in Lambert's closed form.
    """
    halves = [
        {"zone": name, "corner_mm": [x, 0], "size_mm": [10, 20], "power_W": power}
        for name, x, power in (("a", 0, 30), ("b", 10, 20))
    ]
    heat = {"in": "slab", "leakage": EXPONENTIAL, "zones": halves}
    more = {"readings": [{"reading": "R", "zone": "b"}], "limits": {"reading_C": 80}}
    clock = steps((5.0, 1.2), zones=["a"])
    layers = [part("slab", [20, 20], 5, [1e8, 400])]
    found = base(case_of(layers, [heat], [film("top", 5000, FLUID_C)], clock=clock, **more))
    for step, dynamic, leakage in zip(found.steps, (1.0, 1.8), (1.0, 1.2), strict=True):
        law = Leakage.doubling(0.2 * (30 * leakage + 20), 60, 15)
        both = leakage_balance(FLUID_C, PATH, 0.8 * (30 * dynamic + 20), law)
        assert step.highest_reading_C is not None and step.mesh_doubt_K is not None
        assert step.mesh_doubt_K < 0.1
        assert abs(step.highest_reading_C - both.stable_C) < step.mesh_doubt_K + 2.5e-3
    assert found.power is not None
    factor = 0.8 + 0.2 * 2 ** (20 / 15)  # by hand: (30 share + 20) factor = 55/R
    assert found.power.share == pytest.approx((55 / PATH / factor - 20) / 30, abs=1e-3)


def test_power_at_a_limit_short_of_runaway() -> None:
    """At 80 C: P made = 55/R, and the share is that over 50 (0.8 + 0.2 x 2^(20/15))."""
    found = base(slab(leakage=EXPONENTIAL, limit_C=80))
    assert found.power is not None
    assert found.power.value_W == pytest.approx(55 / PATH, abs=2e-3)
    assert found.power.share == pytest.approx(55 / PATH / 50 / (0.8 + 0.2 * 2 ** (20 / 15)), rel=1e-5)


# ---- a stack where the mesh matters -----------------------------------------------------------------------------


def package(**more: Any) -> Case:
    layers = [part("die", [10, 8], 0.7, "silicon"), part("lid", [24, 24], 2, "copper")]
    zones = [
        {"zone": "core", "corner_mm": [1, 1], "size_mm": [3, 3], "power_W": 20},
        {"zone": "rest", "corner_mm": [5, 1], "size_mm": [4, 6], "power_W": 20},
    ]
    heat = [{"in": "die", "leakage": {"per_K": 0.003, "at_C": 80}, "zones": zones}]
    readings = [{"reading": "C", "zone": "core", "takes": "highest", "offset_K": {"value": 0, "plus_minus": 1}}]
    return case_of(
        layers, heat, [film("top", 9000, 30)], readings=readings, limits={"reading_C": 90}, accuracy_K=0.6, **more
    )


def test_corrected_readings_are_those_of_a_mesh_study_of_their_own() -> None:
    """Each clock, predicted by itself on a family of grids of its own, agrees within the two doubts."""
    case = package(clock=steps((4.5, 1.1), (5.0, 1.2), zones=["core"]))
    found = base(case)
    assert case.clock is not None
    for step in found.steps:
        alone = predict(driven(case, drive_at(case.clock, step.frequency_GHz, step.voltage_V)), accuracy_K=0.4)
        own = alone.doubts["reading", "C"].half_width
        assert step.highest_reading_C is not None and step.mesh_doubt_K is not None
        assert abs(step.highest_reading_C - alone.answers["reading", "C"]) <= own + step.mesh_doubt_K
    assert found.power is not None
    of = [("reading", "C")]
    at_limit = predict(driven(case, proportional(found.power.share)), accuracy_K=0.6, asked=of)
    assert at_limit.answers["reading", "C"] == pytest.approx(90.0, abs=0.01)  # the same study as the one within
    doubt_K = at_limit.doubts["reading", "C"].half_width
    assert found.power.mesh_doubt_W is not None
    # Near the limit a kelvin is worth about P/(T - Tf); at other clocks the doubt is wider, never narrower.
    assert found.power.mesh_doubt_W == pytest.approx(doubt_K * found.power.value_W / 60.0, rel=0.5)
    assert all(step.mesh_doubt_K is not None and step.mesh_doubt_K > 0.99 * doubt_K for step in found.steps)
    assert found.accuracy_held


@pytest.mark.slow
def test_steps_of_a_hotspot_on_a_warm_plate_are_those_of_superposition() -> None:
    """40 W in all of the cooled face keep the plate at 20 + 40/(2000 x 4e-4) = 70 C; all above goes with V^2 f."""
    zones = {"zone": "spot", "corner_mm": [3.1, 4.3], "size_mm": [0.3, 0.3], "power_W": 0.1}
    case = case_of(
        [part("die", [20, 20], 0.5, 20)],
        [{"in": "die", "zones": [zones]}, {"in": "die", "at": "top", "zones": [{"zone": "all", "power_W": 40}]}],
        [film("top", 2000, 20)],
        readings=[{"reading": "s", "zone": "spot", "takes": "highest", "offset_K": {"value": 0, "plus_minus": 0.01}}],
        limits={"reading_C": 110},
        clock={**steps((2, 2), (3, 2.5), zones=["spot"]), "frequency_GHz": 1, "voltage_V": 1},
        accuracy_K=0.02,
    )
    typed, *others = base(case).steps
    assert typed.highest_reading_C is not None and typed.mesh_doubt_K is not None
    for step, share in zip(others, (8.0, 18.75), strict=True):
        assert step.highest_reading_C is not None and step.mesh_doubt_K is not None
        expected = 70.0 + share * (typed.highest_reading_C - 70.0)
        assert abs(step.highest_reading_C - expected) <= step.mesh_doubt_K + share * typed.mesh_doubt_K
        assert step.mesh_doubt_K < 0.3


def reading_at(share: float, *, more: tuple[float, float] = (0.0, 0.0)) -> State:
    """Of a linear problem: 60 C idle and 20 K with all power. more : what a better grid has of each [K]"""
    value = 60.0 + more[0] + share * (20.0 + more[1])
    return State(proportional(share), {"R": value}, 20.0 * share, 20.0, None, None)  # type: ignore[arg-type]


@pytest.mark.parametrize("more", [(0.0, 0.4), (0.0, -0.4), (0.3, 0.0), (0.3, 0.4)])
@pytest.mark.parametrize("shares", [(1.0,), (1.0, 3.0), (1.0, 1.1)])
def test_what_a_grid_lacks_goes_as_superposition_makes_it(more: tuple[float, float], shares: tuple[float, ...]) -> None:
    """In a linear problem a part of it stays and a part goes with the power that is driven, on every grid."""
    exact = InputDoubt(0.95, Answers(), (), (), "")
    studies = []
    for share in shares:
        right = reading_at(share, more=more).readings["R"]
        studies.append(Studied(reading_at(share), {"R": Told(right, 0.02, 0.02, 0.02)}, exact))
    for share in (0.0, 0.5, 1.0, 1.05, 2.0, 8.0):
        found = told(studies, reading_at(share), "R", 0.0, reading_at(0.0))
        off = abs(found.value_C - reading_at(share, more=more).readings["R"])
        assert off <= found.mesh_K + 1e-12
        assert found.mesh_K <= min(found.below_K, found.above_K) + 1e-12
        if more[0] == 0.0 and shares == (1.0, 3.0):
            assert off < 1e-12 and found.mesh_K < 0.2


# ---- what is said -----------------------------------------------------------------------------------------------


def words(found: Affordance) -> str:
    parts = []
    for block in affordance_blocks(found):
        parts += [block.title, *block.lines, *(cell for row in block.rows for cell in row), *block.notes]
    return "\n".join(parts)


def test_without_clock_it_is_said_what_to_add() -> None:
    told = words(afford(slab()))
    assert "clock: {frequency_GHz:" in told
    assert "thermal shutdown" in told
    assert "Made: all power that is made, leakage at the temperatures found among it." in told
    assert "steps: [" in words(afford(slab(clock=CLOCK)))


def test_none_is_told_as_none() -> None:
    told = words(afford(slab(limit_C=40, clock=steps((4.5, 1.1)))))
    assert "None of these clocks is affordable." in told
    assert "none" in told.split("\n")


TEXT = """\
title: A slab
layers: [{part: slab, material: copper, size_mm: [20, 20], thickness_mm: 5}]
heat: [{in: slab, zones: [{zone: core, power_W: 50}]}]
cooling: [{face: top, environment: water, film_W_m2K: 5000, fluid_C: 25}]
readings: [{reading: R, zone: core}]
limits: {reading_C: 95}
clock:
  frequency_GHz: 4.0
  voltage_V: 1.0
  zones: [core]
  steps:
    - {frequency_GHz: 4.5, voltage_V: 1.1}
    - {frequency_GHz: 5.0, voltage_V: 1.2}
options:
  - {option: better film, changes: {water.film_W_m2K: 8000}}
"""


@pytest.mark.parametrize(
    ("old", "new", "place", "told"),
    [
        ("zones: [core]", "zones: [cor]", "10:11", "there is no zone 'cor'; did you mean `core`?"),
        ("zones: [core]", "zones: [core, core]", "10:17", "the zone 'core' stands twice"),
        ("GHz: 5.0", "GHz: 4.2", "13:23", "steps rise in frequency: 4.2 GHz stands after 4.5 GHz"),
        ("GHz: 5.0", "GHz: 4.5", "13:23", "steps rise in frequency"),
        ("voltage_V: 1.2}", "voltage_V: 1.05}", "13:39", "5 GHz at 1.05 V: a faster step with less voltage than"),
        ("GHz: 5.0", "GHz: 5000", "13:23", "`frequency_GHz` 5000 of a step is 1.25e+03 times that of the clock"),
        ("voltage_V: 1.2}", "voltage_V: 1200}", "13:39", "frequencies are in GHz, voltages in V"),
    ],
)
def test_faults_of_a_clock_have_their_place(old: str, new: str, place: str, told: str) -> None:
    with pytest.raises(CaseError) as refused:
        parse_case(TEXT.replace(old, new), "slab.yaml")
    assert len(refused.value.faults) == 1
    fault = str(refused.value.faults[0])
    assert fault.startswith(f"slab.yaml:{place}: ")
    assert told in fault


@pytest.mark.parametrize(
    ("old", "new", "place", "told"),
    [
        ("limits: {reading_C: 95}\n", "", "1:1", "add `limits: {reading_C: 95}`"),
        ("readings: [{reading: R, zone: core}]\n", "", "1:1", "add `readings:"),
        ("power_W: 50", "power_W: 0", "8", "give zones a `power_W`"),
    ],
)
def test_what_is_lacking_has_its_place(old: str, new: str, place: str, told: str) -> None:
    with pytest.raises(CaseError) as refused:
        afford(parse_case(TEXT.replace(old, new), "slab.yaml"))
    assert str(refused.value.faults[0]).startswith(f"slab.yaml:{place}")
    assert told in str(refused.value)


def test_the_command_answers_for_base_and_options(tmp_path: Path) -> None:
    """By hand: R of the option is 1/(8000 x 4e-4) + t/(kA), so its power at 95 C is larger by that."""
    case = tmp_path / "slab.yaml"
    case.write_text(TEXT.replace("material: copper", "material: {conductivity_W_mK: 400}"), encoding="utf-8")
    done = CliRunner().invoke(commands, ["afford", str(case), "--json"])
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    assert [one["option"] for one in answer["afford"]] == [None, "better film"]
    for one, path in zip(answer["afford"], (PATH, 0.3125 + SLAB), strict=True):
        assert one["power_at_limit_W"]["value"] == pytest.approx(70 / path, abs=1e-3)
        assert one["first_reading"] == "R"
        assert set(one["steps"][1]) >= {
            "frequency_GHz", "voltage_V", "power_W", "highest_reading_C", "reading", "margin_K", "verdict"
        }  # fmt: skip
        assert one["affordable"]["frequency_GHz"] == 5.0
        assert one["between"] is None
    table = CliRunner().invoke(commands, ["afford", str(case), "--accuracy", "0.5"])
    assert table.exit_code == 0
    assert "better film" in table.stdout
    assert "never a reason to bypass thermal shutdown" in " ".join(table.stdout.split())


# ---- files ------------------------------------------------------------------------------------------------------


def test_an_answer_is_written_like_every_other(tmp_path: Path) -> None:
    """The powers are those by hand, (95 - 25) K over the path; another case is not replaced unasked."""
    case = slab(clock=steps((4.4, 1.1), (5.0, 1.6)))
    found, folder = afford(case), tmp_path / "out"
    check_afford_target(case, folder, replace=False)
    names = {path.relative_to(folder).as_posix() for path in write_afford(found, folder)}
    assert names >= {"afford.json", "afford.csv", "afford.png", "versions.json"}
    told = json.loads((folder / "afford.json").read_text(encoding="utf-8"))
    assert told == json.loads(json.dumps(document(found)))
    rows = list(csv.DictReader((folder / "afford.csv").open(encoding="utf-8")))
    assert float(rows[0]["power_W"]) == pytest.approx(70.0 / PATH, rel=1e-6) and rows[0]["verdict"] == "limit"
    assert [(row["clock_GHz"], row["verdict"]) for row in rows[1:]] == [("4.0", "yes"), ("4.4", "yes"), ("5.0", "no")]
    for row, step in zip(rows[1:], told["afford"][0]["steps"], strict=True):
        assert (float(row["reading_C"]), float(row["margin_K"])) == (step["highest_reading_C"], step["margin_K"])
    write_afford(found, folder)  # the same again
    another = case.model_copy(update={"title": "another"})
    with pytest.raises(WriteError, match="holds another answer of `afford`"):
        check_afford_target(another, folder, replace=False)
    check_afford_target(another, folder, replace=True)


def test_the_picture_shows_what_is_sure_and_what_is_met() -> None:
    found = afford(slab())
    bars = powers_at_limit(found).axes[0].patches
    power = found.answers[0].power
    assert power is not None
    assert [bar.get_width() for bar in bars] == [power.value_W, power.least_W]  # type: ignore[attr-defined]

"""The result document: its keys are a promise, its numbers are those of the prediction, and it is strict JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf, nan

import pytest
from report_samples import prediction

from thermsim.mesh.convergence import Doubt
from thermsim.readout.observable import Answers, of_probe
from thermsim.report.data.keys import KEYS, markdown
from thermsim.report.data.result import as_json, result, shown_C

# Written out, not taken from the code: what other programs read must not change unnoticed.
BANDS = ("hottest_inputs", "zones[].mean_inputs", "zones[].highest_inputs", "readings[].inputs", "probes[].inputs",
         "flows[].inputs")  # fmt: skip
PROMISED = {
    "title option thermsim status accuracy_K accuracy_W remarks hottest_C hottest_at coolant_C zones readings probes "
    "flows bounds heat_typed_W heat_made_W "
    "heat_balance_W heat_balance_relative ladder ladder_of limits mesh observed_order mesh_note mesh_doubt_K "
    "worst_at input_doubt hottest_inputs coolant_loop": "",
    "coverage way sampling_error_K moved taken_as_exact remarks": "input_doubt.",
    "input value unit plus_minus basis at_low_K at_high_K moves_K": "input_doubt.moved[].",
    "part x_mm y_mm z_mm": "hottest_at.",
    "zone part at mean_C highest_C rise_over_coolant_K power_W flux_W_mm2 mesh_doubt_K highest_mesh_doubt_K "
    "finest_grid_mean_C observed_order mesh_note": "zones[].",
    "reading of takes expected_reading_C step_K shown_C offset_K offset_plus_minus_K mesh_doubt_K limit_margin_K "
    "limit_margin_least_K R_reading_coolant_K_W": "readings[].",
    "probe part temperature_C rise_over_coolant_K mesh_doubt_K finest_grid_C observed_order mesh_note": "probes[].",
    "face environment place heat_W mesh_doubt_W area_mm2 face_C fluid_C": "flows[].",
    "lowest_C mean_C highest_C": "bounds.",
    "item drop_K even_K spreading_K": "ladder[].",
    "zone part at starts_at start_C face environment coolant_C share": "ladder_of.",
    "reading_C": "limits.",
    "multiplier cells hottest_C seconds iterations algebraic_error_K": "mesh[].",
}


def paths(value: object, path: str = "") -> set[str]:
    """Every key of a document, `zones[].mean_C`."""
    found: set[str] = set()
    if isinstance(value, dict):
        for key, item in value.items():
            found |= {f"{path}{key}"} | paths(item, f"{path}{key}.")
    elif isinstance(value, list):
        for item in value:
            found |= paths(item, f"{path.removesuffix('.')}[].")
    return found


def test_keys_are_those_promised() -> None:
    promised = {f"{prefix}{key}" for keys, prefix in PROMISED.items() for key in keys.split()}
    promised |= {f"{band}.{end}" for band in BANDS for end in ("low", "high", "both_low", "both_high")}
    assert paths(result(prediction("package"))) == promised | set(BANDS)


def test_every_key_is_explained() -> None:
    of_a_loop = {key for key in KEYS if key.startswith("coolant_loop.")}  # of which the package has none
    assert paths(result(prediction("package"))) == set(KEYS) - of_a_loop
    assert markdown().count("\n") == len(KEYS) + 2


@pytest.mark.parametrize("name", ["package", "slice", "bars"])
def test_is_strict_json_and_comes_back_the_same(name: str) -> None:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON (RFC 8259, section 6)")

    document = result(prediction(name))
    assert json.loads(as_json(document), parse_constant=refuse) == document


def test_numbers_are_those_of_the_prediction() -> None:
    made = prediction("package")
    document = result(made)
    for zone in document["zones"]:
        assert zone["mean_C"] == made.answers["zone", zone["zone"], "mean"]
        assert zone["highest_C"] == made.answers["zone", zone["zone"], "highest"]
        assert zone["mesh_doubt_K"] == made.doubts["zone", zone["zone"], "mean"].half_width
        assert zone["highest_mesh_doubt_K"] == made.doubts["zone", zone["zone"], "highest"].half_width
        assert zone["finest_grid_mean_C"] == made.doubts["zone", zone["zone"], "mean"].finest
    for reading in document["readings"]:
        assert reading["expected_reading_C"] == made.answers["reading", reading["reading"]]
    assert document["probes"][0]["temperature_C"] == made.answers["probe", "lid centre"]
    assert [flow["heat_W"] for flow in document["flows"]] == [made.answers["flow", "0"], made.answers["flow", "1"]]
    assert document["hottest_C"] == made.answers["hottest",]
    assert document["mesh_doubt_K"] == max(
        doubt.half_width
        for question, doubt in made.doubts.items()
        if question.kind != "flow" and question.takes != "power"
    )
    assert [step["cells"] for step in document["mesh"]] == [step.cells for step in made.steps]


def test_parts_of_the_document_agree_with_one_another() -> None:
    document = result(prediction("package"))
    small = next(zone for zone in document["zones"] if zone["zone"].startswith("small"))
    assert small["flux_W_mm2"] == pytest.approx(small["power_W"] / 1.0)  # 1 mm2, from the case
    assert document["heat_made_W"] == pytest.approx(sum(zone["power_W"] for zone in document["zones"]))
    assert sum(flow["heat_W"] for flow in document["flows"]) == pytest.approx(document["heat_made_W"])
    assert document["heat_typed_W"] == pytest.approx(9.0 + 2.0 + 2.0)  # from the case
    # The only film on top is at 25 C, so the ladder ends there.
    assert sum(rung["drop_K"] for rung in document["ladder"]) == pytest.approx(document["hottest_C"] - 25.0)
    big = document["readings"][0]
    mean = next(zone for zone in document["zones"] if zone["zone"] == "big")["mean_C"]
    assert big["expected_reading_C"] == pytest.approx(mean - 1.5)
    assert big["shown_C"] == round(mean - 1.5)
    assert big["limit_margin_K"] == pytest.approx(60.0 - big["expected_reading_C"])
    assert big["limit_margin_least_K"] == pytest.approx(60.0 - big["inputs"]["both_high"])
    alone = result(replace(prediction("package"), inputs=None))["readings"][0]
    assert alone["limit_margin_least_K"] == pytest.approx(alone["limit_margin_K"] - 2.0 - alone["mesh_doubt_K"])
    assert big["R_reading_coolant_K_W"] == pytest.approx(
        (big["expected_reading_C"] - document["coolant_C"]) / document["heat_made_W"]
    )


def test_hottest_spot_is_placed_from_the_lower_left_of_its_part() -> None:
    spot = result(prediction("package"))["hottest_at"]
    # By the case: the small zones lie at 6.5 to 7.5 mm, 0 to 2 mm, in the underside of the die.
    assert spot["part"] == "die"
    assert 6.5 <= spot["x_mm"] <= 7.5
    assert 0.0 <= spot["y_mm"] <= 2.0
    assert spot["z_mm"] == pytest.approx(0.0, abs=1e-9)
    assert result(prediction("slice"))["hottest_at"]["y_mm"] is None


def test_the_ladder_starts_at_the_hottest_spot_in_the_zone_that_holds_it() -> None:
    document = result(prediction("package"))
    way, spot = document["ladder_of"], document["hottest_at"]
    assert (way["starts_at"], way["start_C"]) == ("hottest spot", document["hottest_C"])
    # By the case: one small zone ends and the other begins at y 1 mm.
    assert way["zone"] == ("<small> & two" if spot["y_mm"] > 1.0 else "small [one], 10 % of it")
    assert (way["face"], way["environment"]) == ("top", "top")
    items = [rung["item"] for rung in document["ladder"]]
    assert items[:2] == ["hottest spot above its zone's mean", "its zone above the heat's mean"]
    zone = next(zone for zone in document["zones"] if zone["zone"] == way["zone"])
    assert document["ladder"][0]["drop_K"] == pytest.approx(document["hottest_C"] - zone["mean_C"])


def test_without_heat_there_is_no_ladder_and_no_zone() -> None:
    document = result(prediction("bars"))
    assert document["ladder"] == document["zones"] == document["readings"] == []
    assert document["ladder_of"] is None
    assert document["limits"] == {"reading_C": None}


def test_what_is_not_finite_becomes_null() -> None:
    made = prediction("package")
    odd = Doubt(value=40.0, finest=nan, order=inf, half_width=inf, note="nothing known")
    document = result(replace(made, doubts=Answers({**made.doubts, of_probe("lid centre"): odd})))
    probe = document["probes"][0]
    assert probe["mesh_doubt_K"] is probe["finest_grid_C"] is probe["observed_order"] is None
    assert document["mesh_doubt_K"] is None
    as_json(document)


@pytest.mark.parametrize(("expected", "step", "shown"), [(71.49, 1.0, 71.0), (71.5, 1.0, 72.0), (-0.6, 0.5, -0.5)])
def test_shown_is_the_nearest_step(expected: float, step: float, shown: float) -> None:
    assert shown_C(expected, step) == shown

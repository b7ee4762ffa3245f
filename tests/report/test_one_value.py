"""A reading has one value, with the same digits, wherever it is told."""

from __future__ import annotations

import json

import pytest

from thermsim.case.load import parse_case
from thermsim.comparison.compare import compare
from thermsim.comparison.outcome import Comparison
from thermsim.doubt.inputs import with_input_doubt
from thermsim.limits.afford import afford
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.readout.observable import of_reading
from thermsim.report.data import compare_result
from thermsim.report.data.result import result
from thermsim.report.data.views import face_view
from thermsim.report.page import page_tables
from thermsim.report.text import afford_table, shown, sweep_table
from thermsim.report.words.numbers import plain
from thermsim.sweeps.sweep import Vary, sweep

CASE = parse_case(
    """
title: One value
layers:
  - {part: die, material: silicon, size_mm: [10, 8], thickness_mm: 0.66}
  - {joint: paste, resistance_mm2K_W: {value: 8, plus_minus: 2}}
  - {part: lid, material: copper, size_mm: [20, 20], thickness_mm: 2.4}
heat:
  - in: die
    zones:
      - {zone: core, corner_mm: [1, 1], size_mm: [8, 6], power_W: 40}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
readings:
  - {reading: R, zone: core}
clock: {zones: [core], frequency_GHz: 5, voltage_V: 1.3}
limits: {reading_C: 95}
worth_K: 2
accuracy_K: 5
options:
  - {option: thinner, changes: {die.thickness_mm: 0.4}}
""",
    "f",
)


@pytest.fixture(scope="module")
def predicted() -> Prediction:
    return with_input_doubt(predict(CASE))


@pytest.fixture(scope="module")
def compared() -> Comparison:
    return compare(CASE, samples=256)


def told(predicted: Prediction) -> tuple[float, str]:
    value = predicted.answers[of_reading("R")]
    return value, plain(value, predicted.doubts[of_reading("R")].half_width)


def test_a_prediction_tells_it_alike(predicted: Prediction) -> None:
    value, words = told(predicted)
    assert shown.blocks_of(predicted)  # it is told by its tables
    assert f" {words} +- " in str(predicted)
    assert result(predicted)["readings"][0]["expected_reading_C"] == value
    assert next(zone for zone in face_view(predicted).zones if zone.zone == "core").mean_C == value


@pytest.mark.slow
def test_a_comparison_tells_it_alike(predicted: Prediction, compared: Comparison) -> None:
    value, words = told(predicted)
    gain = json.loads(json.dumps(compare_result.document(compared)))["options"][0]["gains"]
    assert [one["base_C"] for one in gain if one["temperature"] in ("reading R", "warmest reading")] == [value, value]
    assert value in [line[2] for line in compare_result.csv_lines(compared)]
    text = str(compared)
    assert f", {words} C in the base" in text
    assert f"{words} +- " in text
    on_page = [cell for table in page_tables.others(compared) for row in table.rows for cell in row]
    on_page += [cell for table in page_tables.temperatures(compared) for row in table.rows for cell in row]
    assert words in on_page
    assert any(cell.startswith(f"{words} +- ") for cell in on_page)
    option = compared.options[0].headline.option
    assert f" {plain(option.value_C, option.mesh_K)} " in text


@pytest.mark.slow
def test_what_can_be_afforded_begins_there(predicted: Prediction) -> None:
    value, words = told(predicted)
    found = afford(CASE)
    assert found.answers[0].steps[0].highest_reading_C == value
    assert f" {words} +- " in str(found)
    assert afford_table.document(found)["afford"][0]["steps"][0]["highest_reading_C"] == value


def test_a_sweep_passes_through_it(predicted: Prediction) -> None:
    value, _ = told(predicted)
    found = sweep(CASE, [Vary("die.thickness_mm", 0.56, 0.76, 3)], asked=["reading R"])
    assert found.points[1].doubts[of_reading("R")].value == value
    assert repr(value) in json.dumps(sweep_table.document(found))

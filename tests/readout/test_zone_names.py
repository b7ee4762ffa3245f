"""A zone is known by its part, its side and its name: maps and zones that share a name are told each by its own."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from report_samples import resistances_of
from stacks import case_of, film, part, solve_on

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import parse_case, read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.gradients import gradients
from thermsim.nearby.many import many
from thermsim.nearby.small_model_training import reduce
from thermsim.nearby.superposition import superposition
from thermsim.printable import as_html as html
from thermsim.readout.answers import answers
from thermsim.report.data.result import result
from thermsim.report.files.export import write

AREA_m2, FILM_W_m2K, FLUID_C = 1e-4, 5000.0, 20.0
K_W_mK, THICK_m = 2.0, 4e-3
LOW_W, HIGH_W = 20.0, 10.0
# One-dimensional conduction: all heat leaves by the film on top, that of the bottom crosses the slab.
TOP_C = FLUID_C + (LOW_W + HIGH_W) / (FILM_W_m2K * AREA_m2)
BOTTOM_C = TOP_C + LOW_W * THICK_m / (K_W_mK * AREA_m2)

TWO_MAPS = """\
title: two maps in one slab
layers:
  - {part: slab, material: {conductivity_W_mK: 2}, size_mm: [10, 10], thickness_mm: 4}
heat:
  - {in: slab, at: bottom, map: {file: low.csv, holds: W}}
  - {in: slab, at: top, map: {file: high.csv, holds: W}}
cooling:
  - {face: top, film_W_m2K: 5000, fluid_C: 20}
readings:
  - {reading: under, zone: slab, at: bottom}
  - {reading: over, zone: slab, in: slab, at: top}
accuracy_K: 0.5
"""


@pytest.fixture(name="maps", scope="module")
def two_maps(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("maps")
    (folder / "low.csv").write_text("10,10\n", encoding="utf-8")
    (folder / "high.csv").write_text("5\n5\n", encoding="utf-8")
    (folder / "case.yaml").write_text(TWO_MAPS, encoding="utf-8")
    return read_case(folder / "case.yaml")


@pytest.fixture(name="predicted", scope="module")
def prediction_of_maps(maps: Case) -> Prediction:
    return predict(maps, first_cells=500)


def test_two_maps_in_one_part_are_told_apart(predicted: Prediction) -> None:
    told = {(zone["part"], zone["at"]): zone for zone in result(predicted)["zones"]}
    for side, expected, watts in (("bottom", BOTTOM_C, LOW_W), ("top", TOP_C, HIGH_W)):
        zone = told["slab", side]
        assert zone["zone"] == "slab"
        assert zone["mean_C"] == pytest.approx(expected, abs=1e-6)
        assert zone["highest_C"] == pytest.approx(expected, abs=1e-6)
        assert zone["finest_grid_mean_C"] == pytest.approx(expected, abs=1e-6)
        assert zone["power_W"] == pytest.approx(watts, rel=1e-9)
    assert predicted.answers["zone", "slab", "mean", "slab", "bottom"] == pytest.approx(BOTTOM_C, abs=1e-6)
    shown = {reading["reading"]: reading["expected_reading_C"] for reading in result(predicted)["readings"]}
    assert shown == pytest.approx({"under": BOTTOM_C, "over": TOP_C}, abs=1e-6)
    with pytest.raises(KeyError, match="'slab', 'bottom'"):
        predicted.answers["zone", "slab", "mean"]


def test_their_words_tables_and_files_tell_them_apart(predicted: Prediction, tmp_path: Path) -> None:
    text = html(predicted)
    assert "slab (bottom)" in text and "slab (top)" in text
    write(predicted, tmp_path / "out", resistances=resistances_of(predicted), volume=False)
    with (tmp_path / "out" / "zones.csv").open(encoding="utf-8") as file:
        rows = {row["at"]: float(row["mean_C"]) for row in csv.DictReader(file)}
    assert rows == pytest.approx({"bottom": BOTTOM_C, "top": TOP_C}, abs=1e-6)
    with (tmp_path / "out" / "resistances.csv").open(encoding="utf-8") as file:
        found = {(row["temperature"], row["watt_in_zone"]): float(row["K_per_W"]) for row in csv.DictReader(file)}
    out, through = 1.0 / (FILM_W_m2K * AREA_m2), THICK_m / (K_W_mK * AREA_m2)
    assert found["zone slab (bottom), mean", "slab (bottom)"] == pytest.approx(out + through, rel=1e-9)
    for one, other in (("bottom", "top"), ("top", "bottom"), ("top", "top")):
        assert found[f"zone slab ({one}), mean", f"slab ({other})"] == pytest.approx(out, rel=1e-9)
    assert found["reading under", "slab (top)"] == pytest.approx(out, rel=1e-9)


def test_ways_to_nearby_answers_tell_them_apart(maps: Case) -> None:
    """A better film: gradients, a small model and many samples against the closed form."""
    plan = plan_grid(maps, 500)
    under, over = ("zone", "slab", "mean", "slab", "bottom"), ("zone", "slab", "mean", "slab", "top")
    path = next(one.path for one in inputs(maps) if one.path.endswith("film_W_m2K"))
    slope = -(LOW_W + HIGH_W) / (FILM_W_m2K**2 * AREA_m2)
    found = gradients(maps, plan, 1, [under, over, ("reading", "under")], [path])
    for question in (under, over, ("reading", "under")):
        assert found[question][path] == pytest.approx(slope, rel=1e-6)
    rise = (LOW_W + HIGH_W) * (1.0 / 7000.0 - 1.0 / FILM_W_m2K) / AREA_m2
    varied = [one for one in inputs(maps) if one.path == path]
    small = reduce(
        maps, varied=varied, plan=plan, limits=(np.array([4000.0]), np.array([8000.0])), solved=8, held_out=4
    )
    told = small.answers([7000.0])
    answered = dict(zip(told.questions, told.values[0], strict=True))
    nearby = with_inputs(maps, {path: 7000.0})
    whole = answers(nearby, solve_on(nearby, plan.grid(1)))
    assert all(value == pytest.approx(whole[question], abs=1e-3) for question, value in answered.items())
    assert len([question for question in answered if question.kind == "zone"]) == 4
    near = many(maps, [{path: 7000.0}], asked=[under, over], accuracy_K=0.1, workers=1)
    assert near.values[0] == pytest.approx([BOTTOM_C + rise, TOP_C + rise], abs=1e-3)


def test_a_zone_called_as_another_part_is_told_apart(tmp_path: Path) -> None:
    (tmp_path / "lid.csv").write_text("1\n", encoding="utf-8")
    text = """\
title: a zone called as another part
layers:
  - {part: die, material: {conductivity_W_mK: 2}, size_mm: [10, 10], thickness_mm: 4}
  - {part: lid, material: {conductivity_W_mK: 2}, size_mm: [10, 10], thickness_mm: 1}
heat:
  - {in: die, at: bottom, zones: [{zone: lid, power_W: 20}]}
  - {in: lid, at: top, map: {file: lid.csv, holds: W}}
cooling:
  - {face: top, film_W_m2K: 5000, fluid_C: 20}
readings:
  - {reading: core, zone: lid, in: die}
"""
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    top_C = 20.0 + 21.0 / (5000.0 * 1e-4)
    found = predict(read_case(tmp_path / "case.yaml"), first_cells=500)
    told = {zone["part"]: zone["mean_C"] for zone in result(found)["zones"]}
    assert told == pytest.approx({"die": top_C + 20.0 * 5e-3 / (2.0 * 1e-4), "lid": top_C}, abs=1e-6)
    assert found.answers["reading", "core"] == pytest.approx(told["die"], abs=1e-6)
    (tmp_path / "vague.yaml").write_text(text.replace("zone: lid, in: die}", "zone: lid}"), encoding="utf-8")
    with pytest.raises(CaseError, match=r"`in: die`.*`in: lid`"):
        read_case(tmp_path / "vague.yaml")


@pytest.mark.parametrize(
    ("reading", "message"),
    [
        ("zone: slab", "`at: bottom`.*`at: top`"),
        ("zone: slab, at: volume", "no heat .*volume"),
        ("zone: slap, at: top", "did you mean `slab`"),
        ("zone: slab, in: slob, at: top", "did you mean `slab`"),
        ("probe: middle, at: top", "`zone`"),
    ],
)
def test_a_reading_that_names_no_zone_is_refused(maps: Case, reading: str, message: str) -> None:
    assert maps.folder is not None
    text = TWO_MAPS.replace("zone: slab, at: bottom", reading)
    text += "probes:\n  - {probe: middle, in: slab, at_mm: [5, 5, 2]}\n"
    with pytest.raises(CaseError, match=message):
        parse_case(text, "case.yaml", maps.folder)


def heated_twice(*per_K: float, at: tuple[str, ...] = ("bottom", "top"), k: Any = 50.0) -> Case:
    """A slab with heat on two sides, each with a leakage of its own."""
    heat = [
        {"in": "slab", "at": side, "leakage": {"per_K": growth, "at_C": 30.0},
         "zones": [{"zone": f"on {side}", "power_W": watts}]}
        for side, growth, watts in zip(at, per_K, (LOW_W, HIGH_W), strict=True)
    ]  # fmt: skip
    return case_of([part("slab", [10.0, 10.0], 4.0, k)], heat, [film("top", FILM_W_m2K, FLUID_C)])


@pytest.mark.parametrize("at", [("bottom", "top"), ("top", "bottom"), ("bottom", "volume"), ("volume", "top")])
def test_superposition_takes_the_leakage_of_each_source(at: tuple[str, str]) -> None:
    """At the base its heats and temperatures are those of the full solve, whatever entry of the part leaks how much."""
    case = heated_twice(0.001, 0.003, at=at)
    field = solve_on(case, plan_grid(case, 500).grid(2))
    found = superposition(case, field)
    whole = answers(case, field)
    powers = [whole["zone", f"on {side}", "power"] for side in at]
    assert found.base_W == pytest.approx(powers, rel=1e-9)
    expected = [whole["zone", f"on {side}", "mean"] for side in at]
    assert found.temperatures(powers)[0, :2] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("at", [("bottom", "top"), ("top", "bottom"), ("bottom", "volume")])
def test_a_small_model_takes_leakage_and_power_of_each_source(at: tuple[str, str]) -> None:
    case = heated_twice(0.001, 0.003, at=at)
    known = {one.path: one for one in inputs(case)}
    paths = [path for path in known if path.endswith("power_W")]
    plan = plan_grid(case, 500)
    centre = np.array([known[path].value for path in paths])
    varied = [known[path] for path in paths]
    small = reduce(case, varied=varied, plan=plan, limits=(0.5 * centre, 1.5 * centre), solved=12, held_out=4)
    for values in (centre, centre * [1.4, 0.6], centre * [0.6, 1.3]):
        near = with_inputs(case, dict(zip(paths, values.tolist(), strict=True)))
        whole = answers(near, solve_on(near, plan.grid(1)))
        told = small.answers(values)
        expected = np.array([whole[question] for question in told.questions])
        assert np.all(np.abs(told.values[0] - expected) <= told.doubts[0])
        assert np.abs(told.values[0] - expected).max() < 1e-3

"""Options side by side in time: against exact solutions, and the command with its table, JSON, CSV, pictures."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from thermsim import warm_ups  # what is public shows itself by its tables
from thermsim.case.load import parse_case
from thermsim.commands.main import commands
from thermsim.comparison.choice import AS_IN_FILE
from thermsim.comparison.warm_ups import WarmUps
from thermsim.errors import RunawayError, ThermsimError, UnknownNameError
from thermsim.report.data.warmup_result import WARM_UPS_KEYS, side_by_side
from thermsim.report.figures.warmup_figure import side_by_side_curves
from thermsim.report.files.warmup_export import check_warmup_target
from thermsim.response.parting import parting

# A plate so thin and so good a conductor that it is one body: 100 mm2 of 1 mm at 3e6 J/(m3 K) hold 0.3 J/K.
BODY = """
title: one body
dimensions: 2
depth_mm: 10
layers:
  - part: plate
    material: {conductivity_W_mK: 5000, density_kg_m3: 3000, heat_capacity_J_kgK: 1000}
    size_mm: 10
    thickness_mm: 1
heat:
  - {in: plate, at: bottom, zones: [{zone: all, corner_mm: 0, size_mm: 10, power_W: 10}]}
cooling:
  - {face: top, environment: water, film_W_m2K: 2000, fluid_C: 20}
options:
  - {option: thin, changes: {plate.thickness_mm: 0.5}}
  - {option: strong, changes: {cooling.top.film_W_m2K: 4000}}
accuracy_K: 0.5
"""
ALL = "zone all, mean"


@pytest.fixture(scope="module")
def found() -> WarmUps:
    return warm_ups(parse_case(BODY, "body.yaml"), 0.1, 20.0, options=["strong", "thin"], first_cells=60)


def test_one_body_rises_and_gains_as_its_resistance_and_capacity_say(found: WarmUps) -> None:
    """Rise P R (1 - exp(-t / (R C))) of a lumped body (any textbook on heat transfer; Biot number 4e-4)."""
    assert found.names == (AS_IN_FILE, "strong", "thin")
    heat_W, area_m2 = 10.0, 1e-4
    exact = {}
    for name, thick_m, film in ((AS_IN_FILE, 1e-3, 2000.0), ("strong", 1e-3, 4000.0), ("thin", 0.5e-3, 2000.0)):
        resistance, capacity = 1.0 / (film * area_m2), 3e6 * area_m2 * thick_m
        exact[name] = heat_W * resistance * (1.0 - np.exp(-found.times_s / (resistance * capacity)))
    one = next(one for one in found.temperatures if str(one) == ALL)
    for name, of in zip(found.names, found.found, strict=True):
        curve = of.curves[one]
        assert np.all(np.abs(curve.value - 20.0 - exact[name]) <= curve.half_width + 0.02 + 1e-3 * exact[name])
    for name, gain in found.gains(one).items():
        off = np.abs(gain.gain_K - (exact[AS_IN_FILE] - exact[name]))
        assert np.all(off <= gain.doubt_K + 0.04 + 1e-3 * exact[AS_IN_FILE])
    gains = found.gains(one)
    assert gains["strong"].final_K == pytest.approx(25.0, abs=0.1)
    assert gains["strong"].parts_s is not None
    assert list(gains["strong"].shares) == [1.0, 10.0]  # of 1 ms, 25 ms, 1 s and 10 s those that were followed
    for time, (share, doubt) in gains["strong"].shares.items():
        exact_K = 50.0 * (1.0 - np.exp(-time / 1.5)) - 25.0 * (1.0 - np.exp(-time / 0.75))
        assert abs(share - exact_K / 25.0) <= doubt + 2e-3 and doubt < 0.1
    early = found.times_s < 3.0
    assert np.all(gains["thin"].gain_K[early] < 0.0)  # it stores less: warmer on the way, and alike at the end
    assert gains["thin"].final_K == pytest.approx(0.0, abs=0.05)


def test_what_properties_do_on_the_way_widens_the_doubt_of_a_gain(found: WarmUps) -> None:
    base, strong = found.found[0], found.found[1]
    one = found.temperatures[0]
    curves = type(strong.curves)(strong.curves)
    curves[one] = replace(curves[one], between_doubt=np.full(len(found.times_s), 100.0))
    sure, unsure = parting(base, strong, one, ()), parting(base, replace(strong, curves=curves), one, ())
    assert unsure.doubt_K == pytest.approx(sure.doubt_K - strong.curves[one].between_doubt + 100.0)
    assert sure.parts_s is not None and unsure.parts_s is None


def test_tables_documents_and_pictures_hold_every_case(found: WarmUps) -> None:
    told = side_by_side(found)
    assert {key for key in WARM_UPS_KEYS if "[]" not in key} == set(told)
    assert {key.partition("[].")[2] for key in WARM_UPS_KEYS if key.startswith("gains[].")} == set(told["gains"][0])
    text = str(found)
    assert "Share of the final gain that is there" in text and told["gains"][0]["shares"][0]["at_s"] == 1.0
    assert "- strong" in text and "felt from" in text and "Rest before a second run" in text
    figure = side_by_side_curves(found)
    assert len(figure.axes[0].lines) == 3
    with pytest.raises(UnknownNameError):
        side_by_side_curves(found, asked="zone nowhere")


def run(folder: Path, *words: str, text: str = BODY) -> Result:
    path = folder / "body.yaml"
    path.write_text(text, encoding="utf-8")
    span = ["--accuracy", "5", "--from", "0.1", "--until", "20"]
    return CliRunner().invoke(commands, ["warmup", str(path), *span, *words])


def test_the_command_takes_several_options_and_writes_them_beside_the_base(
    found: WarmUps, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def of_names(*_: object, options: Sequence[str], **__: object) -> WarmUps:
        assert tuple(options) == found.names[1:]
        return found

    monkeypatch.setattr("thermsim.comparison.warm_ups.warm_ups", of_names)
    out = tmp_path / "out"
    done = run(tmp_path, "--option", "strong", "--option", "thin", "--option", "strong", "--json", "--out", str(out))
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["names"] == [AS_IN_FILE, "strong", "thin"]
    assert [one["option"] for one in told["warm_ups"]] == [None, "strong", "thin"]
    assert json.loads((out / "warmup.json").read_text(encoding="utf-8"))["gains"] == told["gains"]
    with (out / "warmup.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for one in told["warm_ups"]:
        curve = next(curve for curve in one["curves"] if curve["name"] == ALL)
        head = f"{one['option'] or AS_IN_FILE}: {ALL} [C]"
        assert [float(row[head]) for row in rows] == curve["value"]
    assert (out / "warmup-log.png").stat().st_size > 10_000
    case = parse_case(BODY, "body.yaml")
    check_warmup_target(case, out, False, told["names"])  # the same again may take its place
    for names in ((), (AS_IN_FILE, "thin")):
        with pytest.raises(ThermsimError, match="another warm-up"):
            check_warmup_target(case, out, False, names)


def test_what_cannot_stand_side_by_side_is_refused_before_anything_is_solved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("thermsim.comparison.warm_ups.warmed_up", None)  # calling it would fail
    both = run(tmp_path, "--all-options", "--option", "thin")
    assert both.exit_code == 2 and "leave out --option" in both.output
    bare = run(tmp_path, "--all-options", text=BODY.partition("options:")[0])
    assert "has no options" in str(bare.exception)
    unknown = run(tmp_path, "--option", "thin", "--option", "stron")
    assert isinstance(unknown.exception, UnknownNameError) and "strong" in str(unknown.exception)
    mystery = "  - {option: mystery, changes: {plate.material: {conductivity_W_mK: 5000}}}\n"
    refused = run(tmp_path, "--all-options", text=BODY.replace("accuracy_K", f"{mystery}accuracy_K"))
    assert "option 'mystery': what part 'plate' stores is not known" in str(refused.exception)


def test_a_failure_names_its_case_and_keeps_what_it_carries(monkeypatch: pytest.MonkeyPatch) -> None:
    failure = RunawayError("no steady state", "lower the power")
    failure.passes_s = 3.0

    def fails(*_: object, **__: object) -> None:
        raise failure

    monkeypatch.setattr("thermsim.comparison.warm_ups.warmed_up", fails)
    with pytest.raises(RunawayError, match="as in the file: no steady state") as caught:
        warm_ups(parse_case(BODY, "body.yaml"), 0.1, 20.0)
    assert caught.value.passes_s == 3.0 and caught.value.remedy == "lower the power"

"""A sweep as tables, JSON, CSV and picture. What is checked is that nothing is lost, cut off or said wrongly."""

from __future__ import annotations

import csv
import json
import shlex
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from rich.console import Console
from stacks import case_of, film, joint, part

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case
from thermsim.commands.main import commands
from thermsim.errors import WriteError
from thermsim.mesh.convergence import Doubt
from thermsim.report.figures.sweep_figure import sweep_figure
from thermsim.report.files.sweep_export import check_sweep_target, write_sweep
from thermsim.report.text.shown import show
from thermsim.report.text.sweep_table import csv_lines, document, lowest_words, sweep_blocks
from thermsim.sweeps.points import ranges_of
from thermsim.sweeps.sweep import Sweep, Vary, sweep

WHOLE = ("zone", "[all] of it", "mean")


def package(leakage_per_K: float = 0.0) -> Case:
    layers = [part("die", [10, 10], 0.5, 120.0), joint("paste", 10.0), part("lid", [16, 14], 2.0, 390.0)]
    leakage = {"leakage": {"per_K": leakage_per_K, "at_C": 30}} if leakage_per_K else {}
    heat = [{"in": "die", "zones": [{"zone": "[all] of it", "power_W": 20}], **leakage}]
    return case_of(layers, heat, [film("top", 5000.0, 25.0)])


@cache
def curve() -> Sweep:
    """The last points run away."""
    return sweep(
        package(0.02), [Vary("[all] of it.power_W", 5, 65, 5)], asked=["zone [all] of it", "hottest"], accuracy_K=2
    )


@cache
def square() -> Sweep:
    vary = [Vary("die.size_mm.0", 8, 14, 3), Vary("die.thickness_mm", 0.2, 1.6, 4, is_log=True)]
    return sweep(package(), vary, same_height="lid", accuracy_K=2)


@cache
def tolerant() -> Sweep:
    """With tolerances; the hottest spot and the reading are one temperature, but for the doubt of the sensor."""
    case = case_of(
        [part("plate", [10, 10], {"value": 0.5, "plus_minus": 0.02}, 50.0)],
        [{"in": "plate", "zones": [{"zone": "all", "power_W": 20}]}],
        [film("top", {"value": 5000.0, "plus_minus": 500.0}, 25.0)],
        readings=[{"reading": "R", "zone": "all", "takes": "highest", "offset_K": {"value": 0, "plus_minus": 2}}],
    )
    return sweep(case, [Vary("plate.thickness_mm", 0.5, 0.6, 3)], asked=["hottest", "reading R"], accuracy_K=2)


@cache
def tolerant_map() -> Sweep:
    vary = [Vary("plate.thickness_mm", 0.5, 0.6, 2), Vary("top.film_W_m2K", 2000, 5000, 2)]
    return sweep(tolerant().case, vary, accuracy_K=2)


def printed(found: Sweep, width: int = 80) -> str:
    console = Console(width=width)
    with console.capture() as captured:
        show(found, console)
    return captured.get()


def test_a_gap_is_shown_with_its_reason() -> None:
    found = curve()
    gaps = [point for point in found.points if point.failure]
    assert gaps and len(gaps) < len(found.points)
    text = " ".join(printed(found).split())
    assert f"No answer at {len(gaps)} of 5 points, thermal runaway" in text
    assert "steady state" in text
    lines = list(csv_lines(found))
    assert len(lines) == 6
    assert lines[-1][0] == "65.0" and lines[-1][1:5] == [""] * 4 and "steady state" in lines[-1][5]


def test_the_document_holds_every_point_and_is_strict_json() -> None:
    for found in (curve(), square()):
        again = json.loads(json.dumps(document(found), allow_nan=False))
        assert len(again["points"]) == len(found.points)
        for told, point in zip(again["points"], found.points, strict=True):
            assert list(told["at"].values()) == list(point.values)
            assert [one["temperature_C"] for one in told["temperatures"]] == [d.value for d in point.doubts.values()]
        assert [one["words"] for one in again["lowest"]] == [lowest_words(found, one) for one in found.questions]
    assert again["same_height_by"] == "lid"
    assert again["varied"][1]["spacing"] == "even ratios"


def test_the_table_of_two_quantities_has_every_point_and_the_part_that_grows() -> None:
    found = square()
    block = sweep_blocks(found)[1]
    assert len(block.rows) == 4 and len(block.columns) == 1 + 3  # the longer range downwards
    values = found.values(("hottest",)).T
    shown = np.array([[float(cell) for cell in row[1:]] for row in block.rows])
    assert np.abs(shown - values).max() < 0.06
    assert "zone '[all] of it' is the whole of 'die' and changes its size with it" in " ".join(printed(found).split())


def test_many_values_across_are_thinned_out_and_that_is_said() -> None:
    values = tuple(float(value) for value in range(1, 12))
    one = square().points[0]
    points = tuple(replace(one, values=(x, y)) for x in values for y in values)
    ranges = tuple(replace(one, values=values) for one in square().ranges)
    found = replace(square(), ranges=ranges, points=points)
    block = sweep_blocks(found)[1]
    assert len(block.columns) < 11 and any("Every 2." in note for note in block.notes)
    assert max(map(len, printed(found).splitlines())) <= 80
    assert len(list(csv_lines(found))) == 1 + 121


def test_an_optimum_at_the_end_is_told() -> None:
    assert "at the end of the range of [all] of it.power_W" in lowest_words(curve(), WHOLE)


@cache
def valleys() -> Sweep:
    """As if it were lowest at the last value but one, and fell again towards the second."""
    one = curve()
    answers = [60.75, 42.93, 53.0, 40.87, 65.0]
    points = tuple(
        replace(one.points[0], values=(x,), doubts=type(one.points[0].doubts)({one.questions[0]: doubt(at)}))
        for x, at in zip(one.ranges[0].values, answers, strict=True)
    )
    return replace(one, questions=one.questions[:1], points=points)


def doubt(value: float) -> Doubt:
    return replace(next(iter(curve().points[0].doubts.values())), value=value, finest=value, half_width=0.01)


def test_a_second_valley_is_told_with_the_sweep_that_looks_into_it() -> None:
    """What is told, typed, is a sweep of that valley."""
    found = valleys()
    words = lowest_words(found, found.questions[0])
    typed = "--vary '[all] of it.power_W' 5 35 9"
    assert "In this valley the optimum lies between 35 and 65." in words and "So the optimum" not in words
    assert f"A second valley lies between 5 and 35 and may be lower: sweep there too, `{typed}`." in words
    (told,) = document(found)["lowest"][0]["other_valleys"]
    assert told["within"] == {"[all] of it.power_W": [5.0, 35.0]} and told["sweep_there"] == typed
    path, low, high, count = shlex.split(typed)[1:]
    assert ranges_of(found.case, [Vary(path, low, high, int(count))])[0].values[::8] == (5.0, 35.0)
    (axes, *_) = sweep_figure(found).axes
    assert any("second valley" in text.get_text() for text in axes.texts)


# ---- the doubt of the inputs ------------------------------------------------------------------------------------


def test_every_way_tells_the_doubt_of_the_inputs() -> None:
    """By hand: 20 W on 100 mm2 over a film of 5,000 W/m2K, 10 % more or less, are 40 K; 9 in 10 of a rectangle lie
    within 9 %, so within 36.7 and 44 K, and 0.1 mm of plate more adds 0.4 K."""
    found = tolerant()
    (first, *_) = document(found)["points"]
    band = first["temperatures"][0]["inputs"]
    assert (band["low"], band["high"]) == pytest.approx((25 + 2 + 36.7, 25 + 2 + 44.0), abs=0.4)
    assert band["both_low"] <= band["low"] < band["high"] <= band["both_high"]
    assert document(found)["lowest"][0]["inputs"] == band
    heading, line, *_ = csv_lines(found)
    told = dict(zip(heading, line, strict=True))
    assert float(told["the hottest spot: both_high_C"]) == band["both_high"]
    text = " ".join(printed(found).split())
    assert "the hottest spot is lowest at plate.thickness_mm = 0.5: 67.000 +-" in text
    assert "by the mesh, 9 times in 10 between 6" in text
    assert "plate.thickness_mm +- 0.02 mm" in text and "taken as exact" in text.lower() and "all.power_W 20 W" in text
    assert "9 times in 10 between" in " ".join(printed(tolerant_map()).split())
    lines = [line for line in sweep_figure(found).axes[0].get_lines() if len(line.get_ydata()) == 3]
    assert any(np.asarray(one.get_ydata(), float)[0] == band["both_low"] for one in lines)


def test_where_all_is_exact_that_is_said() -> None:
    assert "as if everything were exact: no input has a tolerance" in lowest_words(square(), square().questions[0])
    assert document(square())["coverage"] is None
    assert document(square())["points"][0]["temperatures"][0]["inputs"] is None


# ---- pictures ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("found", [curve, square, valleys, tolerant, tolerant_map])
def test_no_words_leave_the_picture(found: object) -> None:
    figure = sweep_figure(found())  # type: ignore[operator]
    inked = figure.get_tightbbox()  # [inch], of all that is drawn
    assert inked.x0 >= 0.0 and inked.y0 >= 0.0
    assert inked.x1 <= figure.get_figwidth() and inked.y1 <= figure.get_figheight()


def test_the_curve_is_drawn_through_the_points_and_broken_at_gaps() -> None:
    found = curve()
    (axes, *_) = sweep_figure(found).axes
    drawn = [line.get_ydata() for line in axes.get_lines() if len(line.get_ydata()) == 5]
    assert any(np.array_equal(np.asarray(y, float), found.values(WHOLE), equal_nan=True) for y in drawn)
    words = [text.get_text() for text in axes.texts]
    assert "no answer: thermal runaway" in words
    assert "zone [all] of it, mean" in words


def test_it_draws_on_given_axes() -> None:
    from matplotlib.figure import Figure

    for found in (curve(), square()):
        figure = Figure()
        axes = figure.add_subplot()
        assert sweep_figure(found, axes) is figure
        assert axes.has_data()


# ---- files and command ------------------------------------------------------------------------------------------


def test_files_are_whole_and_a_sweep_of_something_else_is_not_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "out"
    names = {path.relative_to(folder).as_posix() for path in write_sweep(curve(), folder)}
    assert names == {"sweep.json", "sweep.csv", "sweep.png", "versions.json", "case/case.yaml"}
    with (folder / "sweep.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert [float(row[0]) for row in rows[1:]] == list(curve().ranges[0].values)
    write_sweep(curve(), folder)  # the same study again
    edited = parse_case(f"{curve().case.source_text}\n# other words\n", "case.yaml")
    path = [one.path for one in curve().ranges]
    with pytest.raises(WriteError, match="as its file was before"):
        check_sweep_target(edited, path, curve().same_height, folder, replace=False)
    check_sweep_target(edited, path, curve().same_height, folder, replace=True)
    for attempt in (
        lambda: write_sweep(square(), folder),
        lambda: check_sweep_target(square().case, ["die.thickness_mm"], None, folder, replace=False),
    ):
        with pytest.raises(WriteError, match="another sweep"):
            attempt()
    write_sweep(square(), folder, replace=True)
    assert json.loads((folder / "sweep.json").read_text(encoding="utf-8"))["same_height_by"] == "lid"
    assert not list(folder.glob(".thermsim-*"))


def test_foreign_files_are_refused_and_other_files_stay(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "sweep.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(WriteError, match="did not write"):
        write_sweep(curve(), tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["notes.txt", "sweep.csv"]
    (tmp_path / "sweep.csv").unlink()
    write_sweep(curve(), tmp_path)
    assert (tmp_path / "notes.txt").read_text(encoding="utf-8") == "mine"


def test_a_prediction_beside_it_stays(tmp_path: Path) -> None:
    from thermsim.mesh.predict import predict
    from thermsim.report.files.export import write

    found = curve()
    write(predict(found.case, accuracy_K=5), tmp_path)
    write_sweep(found, tmp_path)
    assert (tmp_path / "result.json").exists() and (tmp_path / "sweep.json").exists()


SLAB = """\
title: a slab
layers: [{part: plate, material: {conductivity_W_mK: 50}, size_mm: [10, 10], thickness_mm: 1}]
heat: [{in: plate, zones: [{zone: all, power_W: 20}]}]
cooling: [{face: top, film_W_m2K: 5000, fluid_C: 25}]
"""


def test_the_command(tmp_path: Path) -> None:
    """T = 25 C + 20 W / 100 mm2 (t/k + 1/h): 65.2 C at 0.05 mm and 69 C at 1 mm."""
    case = tmp_path / "slab.yaml"
    case.write_text(SLAB, encoding="utf-8")
    vary = ["sweep", str(case), "--vary", "plate.thickness_mm", "0.05", "1", "3", "--watch", "zone all"]
    done = CliRunner().invoke(commands, [*vary, "--json", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    ends = [answer["points"][number]["temperatures"][0]["temperature_C"] for number in (0, -1)]
    assert ends == pytest.approx([65.2, 69.0], abs=1e-6)
    assert (tmp_path / "out" / "sweep.png").stat().st_size > 10_000
    done = CliRunner().invoke(commands, vary)
    assert done.exit_code == 0 and "lowest at plate.thickness_mm = 0.05" in " ".join(done.output.split())
    done = CliRunner().invoke(commands, ["sweep", str(case)])
    assert done.exit_code == 2

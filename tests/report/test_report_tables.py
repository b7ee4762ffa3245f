"""Tables: digits follow the doubt, nothing is lost at 80 columns, no name is taken for markup."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_samples import PACKAGE, prediction
from rich.console import Console

from thermsim.case.load import parse_case
from thermsim.commands.main import commands
from thermsim.materials.catalogue import rows
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.prediction_remarks import remarks
from thermsim.plausibility.measure import measure
from thermsim.readout.ladder import Rung
from thermsim.readout.observable import HOTTEST, Answers, find
from thermsim.report.data.result import result
from thermsim.report.text.blocks import EVEN, LONGEST_BAR, SPREAD, ladder_bar
from thermsim.report.text.shown import show
from thermsim.report.text.tables import show_materials
from thermsim.report.words.numbers import fixed, plain, significant, with_doubt

UNIFORM = """\
title: A slab that is warm
layers: [{part: slab, material: copper, size_mm: [10, 10], thickness_mm: 1}]
heat: [{in: slab, zones: [{zone: all, power_W: 5}]}]
cooling: [{face: top, film_W_m2K: 4000, fluid_C: 20}]
"""


def printed(width: int = 80, **show_what: object) -> str:
    console = Console(file=io.StringIO(), width=width, color_system=None)
    for what, value in show_what.items():
        {"prediction": show, "measured": show, "materials": show_materials}[what](value, console)
    text = console.file.getvalue()
    assert max(map(len, text.splitlines())) <= width
    return text


@pytest.mark.parametrize(
    ("value", "half_width", "words"),
    [
        (72.4321, 0.0567, "72.43 +- 0.06"),
        (72.4321, 0.06, "72.43 +- 0.06"),
        (72.4321, 0.012, "72.432 +- 0.012"),
        (72.4321, 3.2, "72 +- 4"),
        (72.4321, 1.24, "72.4 +- 1.3"),
        (72.4321, 1e-9, "72.432 +- 0.001"),
        (72.4321, 0.0999, "72.43 +- 0.10"),
        (72.4321, inf, "72.4 +- unknown"),
        (72.4321, None, "72.4 +- unknown"),
        (None, 0.1, "-"),
        (nan, 0.1, "-"),
    ],
)
def test_digits_follow_the_doubt(value: float | None, half_width: float | None, words: str) -> None:
    assert with_doubt(value, half_width) == words
    assert plain(value, half_width) == words.split(" +- ")[0]


@given(st.floats(-300, 3000), st.floats(1e-12, 1e3))
def test_a_doubt_is_never_shown_smaller_than_it_is(value: float, half_width: float) -> None:
    shown, doubt = (float(number) for number in with_doubt(value, half_width).split(" +- "))
    assert doubt >= half_width * (1 - 1e-8)
    assert doubt <= max(1.7 * half_width, 0.0010001) or half_width < 0.001 or doubt <= 1.0
    # The value may be rounded by half of its last digit, which is never above half of the doubt.
    assert abs(shown - value) <= 0.5 * doubt + 1e-9


@pytest.mark.parametrize(("value", "words"), [(28220.4, "28220"), (12.3456, "12.35"), (None, "-"), (1e-5, "1e-05")])
def test_large_numbers_are_written_out(value: float | None, words: str) -> None:
    assert significant(value, 4) == words


def test_hottest_spot_comes_first_and_every_answer_is_there() -> None:
    made = prediction("package")
    text = printed(100, prediction=made)
    lines = text.splitlines()
    assert lines[0] == "A small package [of three parts]"
    hottest = with_doubt(made.answers["hottest",], made.doubts["hottest",].half_width, 2)
    assert made.inputs is not None
    band = made.inputs.bands["hottest",]
    ends = re.fullmatch(r"  hottest spot: (\S+) C, 9 times in 10 between (\S+) and (\S+) C *", lines[1])
    assert ends is not None
    for told, number in zip(ends.groups(), (made.answers["hottest",], band.both_low, band.both_high), strict=True):
        assert float(told) == pytest.approx(number, abs=0.5 * 10.0 ** -len(told.partition(".")[2]))
    assert f"mesh {hottest} C" in lines[2]
    for zone in made.field.zones:
        doubt = made.doubts["zone", zone.zone, "mean"].half_width
        assert with_doubt(zone.mean_C, doubt, 2) in text
    assert "Heat in less heat out" in text
    assert "Sanity, on the finest grid: the mean of all heat made" in text  # other temperatures are at their limit
    assert "Taken as exact" in text  # what the doubt does not hold is said
    assert "Tolerances of the inputs are not in it" in printed(100, prediction=replace(made, inputs=None))
    assert re.search(r"Accuracy held: no mesh doubt is above the 50 K", text)


@pytest.mark.parametrize("name", ["package", "slice", "bars"])
@pytest.mark.parametrize("width", [50, 80, 100])
def test_fits_every_width_and_keeps_every_name(name: str, width: int) -> None:
    made = prediction(name)
    squeezed = re.sub(r"\s", "", printed(width, prediction=made))
    for reading in made.case.readings:
        assert reading.reading.split()[-1] in squeezed


def test_numbers_are_not_broken_at_80_columns() -> None:
    for line in printed(80, prediction=prediction("package")).splitlines():
        assert not line.rstrip().endswith("+-")


def test_a_reading_above_the_limit_is_said_in_words() -> None:
    made = prediction("package")
    above = next(reading for reading in result(made)["readings"] if reading["limit_margin_K"] < 0.0)
    assert f"{above['reading']} is ABOVE the limit" in printed(prediction=made)


def test_accuracy_not_held_is_said_in_words() -> None:
    made = replace(prediction("package"), status="accuracy not held", accuracy_K=0.001)
    assert "ACCURACY NOT HELD: 0.001 K was asked for" in printed(prediction=made)


def test_what_holds_the_accuracy_and_what_helps_is_said_on_top() -> None:
    made = prediction("package")
    doubts = Answers({one: replace(doubt, half_width=0.01) for one, doubt in made.doubts.items()})
    of_big = find(doubts, "zone big, highest")
    doubts[of_big] = replace(doubts[of_big], half_width=0.21)
    odd = replace(made, status="accuracy not held", accuracy_K=0.1, doubts=doubts)
    odd = replace(odd, remarks=remarks(odd))
    text = re.sub(r"\s+", " ", printed(prediction=odd))
    held = "the hottest spot, all readings and all probes"
    said = f"of 0.1 K is not held: it is by {held}, but not by zone big, highest (0.3 K)."
    assert said in text
    assert text.index(said) < text.index("Zones")
    assert re.search(r"Ask for less: `--accuracy 0\.3`, or allow the grid that should hold it: `--memory 0\.\d+`", text)
    assert "widest doubt +- 0.3 K at zone big, highest" in text  # one doubt, one rounding
    assert "0.21 K" not in text
    names = {name for parameter in commands.commands["predict"].params for name in parameter.opts}
    assert {"--accuracy", "--memory"} <= names


def test_dangers_and_warnings_stand_over_the_tables_and_others_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    told = ("DANGER: solder: gallium", "WARNING: paste: thick", "NOTICE: lid: copper", "out of its range")
    monkeypatch.setattr(Prediction, "remarks", property(lambda _: told))
    text = printed(prediction=prediction("package"))
    places = [text.index(words) for words in (*told[:2], "Zones", "Mesh study", *told[2:])]
    assert places == sorted(places)
    assert text.index("hottest spot") < places[0]


def test_dangers_come_before_warnings() -> None:
    """A thumb-thick lid of aluminium under gallium: one is grave, the other worse."""
    text = PACKAGE.replace("joint: film,", "joint: gallium,").replace("thickness_mm: 1.5", "thickness_mm: 30")
    text = text.replace("part: lid, material: copper", "part: lid, material: aluminium")
    made = replace(prediction("package"), case=parse_case(text))
    words = [remark.split(":")[0] for remark in remarks(made)]
    assert words[0] == "DANGER"
    assert "WARNING" in words
    assert words == sorted(words, key=["DANGER", "WARNING"].index)


def test_a_temperature_that_nothing_survives_is_in_the_headline() -> None:
    made = predict(parse_case(PACKAGE.replace("fluid_C: 25", "fluid_C: 195")), accuracy_K=50.0, first_cells=500)
    lines = printed(prediction=made).splitlines()
    assert "no processor survives this: look at the remarks" in lines[2]
    assert "no processor" not in printed(prediction=prediction("package"))


def test_what_leakage_does_to_the_power_is_said() -> None:
    """By hand: 13 W typed at 60 C, 0.2 % a kelvin."""
    made = prediction("package")
    (line,) = [line for line in printed(100, prediction=made).splitlines() if "typed" in line]
    assert "13 W at 60 C typed" in line
    change = made.field.heat_made_W - 13.0
    assert f"{'adds' if change > 0 else 'takes'} {abs(change):.3g} W" in line
    cool = predict(parse_case(PACKAGE.replace("per_K: 0.002", "per_K: 0.00001")), accuracy_K=50.0, first_cells=500)
    assert "typed" not in printed(100, prediction=cool)


def test_a_face_that_is_alike_everywhere_has_no_hottest_place() -> None:
    made = predict(parse_case(UNIFORM), accuracy_K=50.0, first_cells=500)
    lines = printed(prediction=made).splitlines()
    assert "everywhere alike, within the doubt: bottom face of slab" in lines[2]
    assert "it lies in" in printed(prediction=prediction("package"))


def test_the_coolant_is_called_as_the_case_calls_it() -> None:
    text = PACKAGE.replace("{face: top,", "{face: top, environment: water,")
    words = re.sub(r"\s+", " ", printed(prediction=predict(parse_case(text), accuracy_K=50.0, first_cells=500)))
    assert re.search(r"Ladder from the hottest spot, in .*, to water \(top\)", words)
    assert "coolant of top" not in words
    assert "coolant of top" in re.sub(r"\s+", " ", printed(prediction=prediction("package")))


@given(st.floats(-1.0, 1.0), st.sampled_from([".0f", ".1f", ".2f", "+.3f", ".4g", ".1e"]))
def test_zero_has_no_sign(value: float, form: str) -> None:
    shown = fixed(value, form)
    assert not (shown.startswith("-") and float(shown) == 0.0)
    assert float(shown) == float(format(value, form))


def test_no_table_shows_minus_zero() -> None:
    made = prediction("package")
    rungs = (Rung("a", -1e-9, 0.0), Rung("b", 1.0, 1.0 + 1e-9))
    odd = replace(made, ladder=replace(made.ladder, rungs=rungs))
    assert not re.search(r"-0(\.0*)?(?![\d.])", printed(prediction=odd))


def test_water_side_and_solder_are_not_both_films() -> None:
    words = re.sub(r"\s+", " ", printed(120, measured=measure(parse_case(PACKAGE))))
    faces = words[words.index("Faces") : words.index("Grids")]
    assert faces.count("film") == faces.count("coolant film") > 0


def test_an_unknown_doubt_is_said() -> None:
    made = prediction("package")
    odd = Doubt(value=40.0, finest=nan, order=None, half_width=inf, note="")
    text = printed(prediction=replace(made, doubts=Answers({**made.doubts, HOTTEST: odd})))
    assert "+- unknown" in text
    assert "no observed order" in text


def test_ladder_bars_add_up() -> None:
    even = round(LONGEST_BAR * 0.2)
    assert ladder_bar(10.0, 4.0, 20.0) == EVEN * even + SPREAD * (LONGEST_BAR // 2 - even)
    # Even flow would lose more: no spreading is drawn.
    assert ladder_bar(10.0, 30.0, 30.0) == EVEN * round(LONGEST_BAR / 3)
    assert ladder_bar(-1.0, 0.0, 30.0) == ""
    assert ladder_bar(0.0, 0.0, 0.0) == ""


class Reader(HTMLParser):
    """Tags opened and closed, and the words between."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words = ""

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words += data


def test_html_is_well_formed_and_escaped() -> None:
    text = prediction("package")._repr_html_()
    assert "<small> & two" not in text
    reader = Reader()
    reader.feed(text)
    assert not reader.open
    assert "<small> & two" in reader.words
    assert "script" not in text


def test_measurements_and_options_are_printed() -> None:
    case = parse_case(PACKAGE + "options:\n  - option: thick lid\n    changes: {lid.thickness_mm: 15}\n")
    measured = measure(case)
    text = printed(90, measured=measured)
    for word in ("Heights", "board", "film", "lid", "thick lid", "Grids that a prediction may take"):
        assert word in text
    reader = Reader()
    reader.feed(measured._repr_html_())
    assert not reader.open


def test_the_catalogue_is_printed_with_its_sources() -> None:
    every = rows()
    text = re.sub(r"\s+", " ", printed(100, materials=every))
    for row in every:
        assert row["source"][:30] in text
    alone = printed(80, materials=rows("copper"))
    assert "copper" in alone
    assert "silicon" not in alone


@pytest.mark.parametrize("name", ["silicon", "gallium film", "dry lapped contact"])
def test_an_entry_is_printed_in_full(name: str) -> None:
    console = Console(file=io.StringIO(), width=80, color_system=None)
    (row,) = rows(name)
    show_materials([row], console, whole=True)
    squeezed = re.sub(r"\s", "", console.file.getvalue())
    for key in ("name", "kind", "range", "source", "how_sure", "note"):
        assert re.sub(r"\s", "", row[key]) in squeezed

"""Reading whole cases: every fault at once, in plain words, at its place."""

from __future__ import annotations

import copy
import pickle
from pathlib import Path

import numpy as np
import pytest
from malformed import dump, load
from mistakes import IN_A_SLICE, ONE_MISTAKE
from samples import CORNCRAKE, SLICE

from thermsim.case.load import parse_case, read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError
from thermsim.start.kinds import starter_text


def faults(text: str, *changes: tuple[str, str]) -> list[str]:
    """Faults of a text after replacements, as `line:column: message`."""
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the text"
        text = text.replace(old, new)
    with pytest.raises(CaseError) as caught:
        parse_case(text, "f")
    return [f"{fault.line}:{fault.column}: {fault.message}" for fault in caught.value.faults]


@pytest.mark.parametrize("text", [CORNCRAKE, SLICE, starter_text()], ids=["demo", "slice", "starter"])
def test_sound_cases_are_read(text: str) -> None:
    case = parse_case(text, "f")
    assert case.source_text == text
    assert case.option is None
    assert case.model_dump() == Case.model_validate(load(text)).model_dump()


@pytest.mark.parametrize("text", [CORNCRAKE, SLICE], ids=["demo", "slice"])
def test_the_same_case_written_as_json_is_equal(text: str) -> None:
    """Control of the spoilt files: the way they are written is not what gets them refused."""
    case, again = parse_case(text, "f"), parse_case(dump(load(text)).decode(), "g")
    assert case.model_dump() == again.model_dump()


def test_a_case_can_be_copied_and_sent() -> None:
    case = parse_case(CORNCRAKE, "f")
    for twin in (pickle.loads(pickle.dumps(case)), copy.deepcopy(case)):
        assert twin == case
        assert twin.source_text == CORNCRAKE
        assert twin.mark("layers", 1, "thickness_mm") == case.mark("layers", 1, "thickness_mm")


def test_places_for_later_messages() -> None:
    case = parse_case(CORNCRAKE, "cases/demo.yaml")
    lines = CORNCRAKE.split("\n")
    line, column = case.mark("layers", 2, "film_um")
    assert lines[line - 1][column - 1 :].startswith("{value: 240")
    assert case.place("layers", 2, "film_um") == f"cases/demo.yaml:{line}:{column}"
    assert case.mark("layers", 0, "weighed_g") == case.mark("layers", 0)


def place_of(text: str, words: str) -> str:
    """`line:column: ` of words that stand once in a text."""
    assert text.count(words) == 1, f"{words!r} stands {text.count(words)} times"
    before = text[: text.index(words)]
    return f"{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}: "


@pytest.mark.parametrize(("old", "new", "words", "told"), ONE_MISTAKE)
def test_one_mistake_is_told_once(old: str, new: str, words: str, told: str) -> None:
    found = faults(CORNCRAKE, (old, new))
    assert len(found) == 1, found
    assert found[0].startswith(place_of(CORNCRAKE.replace(old, new), words) + told)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [  # lines and columns counted by eye
        ("zone: C3", "zone: C2", "40:16: the name 'C2' is taken by the zone in line 39; names are given once"),
        (
            "- joint: paste",
            "- joint: solder",
            "24:12: the name 'solder' is taken by the part or joint in line 15; names are given once",
        ),
        ("thickness_mm: 1.36", "thickness_mm:", "9:18: `thickness_mm` has no value; give one"),
    ],
)
def test_places_counted_by_eye(old: str, new: str, told: str) -> None:
    assert told in faults(CORNCRAKE, (old, new))


@pytest.mark.parametrize(("old", "new", "words", "told"), IN_A_SLICE)
def test_mistakes_in_a_slice(old: str, new: str, words: str, told: str) -> None:
    expected = place_of(SLICE.replace(old, new), words) + told
    assert any(line.startswith(expected) for line in faults(SLICE, (old, new)))


def test_faults_of_every_kind_are_told_at_once() -> None:
    found = faults(
        CORNCRAKE,
        ("title: Corncrake on Bench Four", "title: x\ntitle: y"),  # refused by the reader of the text
        ("material: laminate", "material: laminat"),  # by the catalogue
        ("thickness_mm: 1.36", "thicknes_mm: 1.36"),  # by the vocabulary
        ("power_W: 23.1", "power_W: .nan"),
        ("corner_mm: [20.8, 6.0]", "corner_mm: [20.8, 5.0]"),  # by geometry
        ("zone: C5, takes", "zone: D5, takes"),  # by reference
        ("wetted_mm: [34.0, 34.0]", "wetted_mm: [34.0, 46.0]"),
        ("accuracy_K: 0.1", "accuracy_K: -0.1"),
    )
    lines = [int(line.split(":")[0]) for line in found]
    assert lines == sorted(lines)
    assert lines == [3, 8, 10, 43, 48, 51, 60, 75]


HURRIED = """\
title: Slips of a hurried hand
layers:
  - {part: substrate, material: FR4, size_mm: [38, 34], thickness_mm: "1,2"}
  - {part: die, material: silicon, size_mm: 13.2 x 10.4, thickness_mm: 0.7-0.8}
  - {joint: solder, material: indium, film_um: 0.3 mm +- much}
  - {part: lid, material: copper, size_mm: [32, 30], thickness_mm: [2.60, 2.60],
     weighed_g: heavy, stands_on: {down_to: board, rim_mm: 3, resistance: 0.1 mm}}
  - {joint: paste, material: silicone paste, film_um: {low: 20 +- 5, high: 60}}
  - {part: plate, material: copper, size_mm: [40, 40], thickness_mm: 3 mm}
heat:
  - in: die
    power_W: 145 W
    zones:
      - {zone: A0, corner_mm: [0.5, 5.5], size_mm: 3 x 4 mm, share: 60 %}
      - {zone: A1, corner_mm: [12, 5.5], size_mm: 3 x 4 mm, share: 60 %}
cooling:
  - {face: top, cooler_K_W: 1.5 W/cm2K, fluid_C: 86 F +- 5 %}
  - {face: bottom, film_W_m2K: 10 W/m2, fluid_C: 303}
probes:
  - {probe: deep, in: die, at_mm: [6, 5, 3]}
readings:
  - {reading: A0 sensor, zone: A9, takes: max}
options:
  - {option: g, changes: {soldr: {material: gallium film}}}
  - {option: h, with: gg, changes: {solder.film_um: 30um}}
  - {option: i, changes: {lid: {thickness: 2}}}
limits: {reading_C: 20}
worth: 3
"""


def test_a_file_full_of_slips_needs_one_round() -> None:
    """Each slip once, whatever stands beside it in its entry; none that another brings about (the probe's depth is
    judged by a thickness, the limit by a coolant)."""
    with pytest.raises(CaseError) as caught:
        parse_case(HURRIED, "f")
    lines = HURRIED.split("\n")
    told = [(one.line, lines[one.line - 1][one.column - 1 :].split(",")[0].strip(" }")) for one in caught.value.faults]
    assert told == [
        (3, "FR4"), (3, '"1'), (4, "0.7-0.8"), (5, "indium"), (5, "0.3 mm +- much"), (6, "[2.60"), (7, "heavy"),
        (7, "board"), (7, "resistance: 0.1 mm"), (7, "0.1 mm"), (8, "{low: 20 +- 5"), (12, "145 W"),
        (15, "[12"), (17, "1.5 W/cm2K"), (17, "86 F +- 5 %"), (18, "10 W/m2"), (22, "A9"), (22, "max"),
        (24, "soldr: {material: gallium film"), (25, "gg"), (26, "thickness: 2"), (28, "worth: 3"),
    ]  # fmt: skip


@pytest.mark.parametrize("only", ["- {face: topp, film_W_m2K: 9000, fluid_C: 25}", "- {face: top, temperature: 25}"])
def test_the_only_cooling_and_the_only_heat_at_fault_hide_nothing_else(only: str) -> None:
    """Each is the last of its list: another stands in, and names far from it are still looked up."""
    text = f"""\
title: t
layers:
  - {{part: die, material: silicon, size_mm: [10, 8], thickness_mm: 0.66}}
  - {{joint: paste, resistance_mm2K_W: 8}}
  - {{part: lid, material: copper, size_mm: [20, 20], thickness_mm: 2.4}}
heat:
  - {{in: die, at: botom, power_W: 40}}
cooling:
  {only}
probes:
  - {{probe: deep, in: lidd, at_mm: [1, 1, 1]}}
options:
  - {{option: a, changes: {{past: {{resistance_mm2K_W: 3}}}}}}
"""
    with pytest.raises(CaseError) as caught:
        parse_case(text, "f")
    assert [one.line for one in caught.value.faults if "lidd" in one.message or "past" in one.message] == [11, 13]
    assert sorted({one.line for one in caught.value.faults}) == [7, 9, 11, 13]


def test_a_left_out_entry_raises_no_false_alarm() -> None:
    """What refers to a refused entry is not told to be missing, nor is what lies beside it judged."""
    assert len(faults(CORNCRAKE, ("thickness_mm: 2.45", "thickness_mm: thick"))) == 1  # two joints in a row remain
    assert len(faults(CORNCRAKE, ("zone: C5, corner_mm: [8.2, 0.0]", "zone: C5, corner_mm: [8.2, x]"))) == 1
    assert len(faults(CORNCRAKE, ("film_W_m2K: 14000", "film_W_m2K: fast"))) == 1
    assert (
        len(faults(SLICE, ("film_W_m2K: 900", "film_W_m2K: fast"), ("temperature_C: 25", "temperature_C: warm"))) == 2
    )


def test_no_way_out_for_the_heat() -> None:
    one_face = "cooling:\n  - {face: top, flux_W_mm2: 0.1}\n"
    text = SLICE[: SLICE.index("cooling:")] + one_face
    assert faults(text) == [
        "25:1: no entry has a film or a temperature, so heat cannot leave and no steady state exists; "
        "give a face `film_W_m2K` with `fluid_C`, or `temperature_C`"
    ]


def test_heat_twice_at_the_same_place() -> None:
    again = "  - {in: bar, at: volume, zones: [{zone: all of it}]}\ncooling:\n"
    assert faults(SLICE, ("cooling:\n", again)) == [
        "25:5: heat in 'bar': heat at the volume of 'bar' is given already in line 20; put the zones into one entry",
        "25:35: zone 'all of it': it lies partly over a void insert of 'bar'; heat is made in solid only",
    ]


@pytest.mark.parametrize(
    ("layer", "place", "told"),
    [
        (
            "  - {joint: glue, resistance_mm2K_W: 5}\n",
            "  - part: bar\n",
            "5:5: joint 'glue': the bottom layer must be a part",
        ),
        ("  - {joint: glue, resistance_mm2K_W: 5}\n", "heat:\n", "19:5: joint 'glue': the top layer must be a part"),
        (
            "  - {joint: glue, resistance_mm2K_W: 5}\n",
            "  - part: spreader\n",
            "14:5: joint 'glue': two joints in a row ('film' and 'glue')",
        ),
    ],
)
def test_joints_lie_between_parts(layer: str, place: str, told: str) -> None:
    assert faults(SLICE, (place, layer + place))[0].startswith(told)


def test_patches_of_one_face_lie_apart() -> None:
    patches = "- {face: left, temperature_C: 25, corner_mm: 2.5, size_mm: 2}\n  - {face: left"
    assert faults(SLICE, ("- {face: left", patches)) == ["28:5: face 'left': it overlaps the patch (line 27)"]
    touching = "- {face: left, temperature_C: 25, corner_mm: 3, size_mm: 2}\n  - {face: left"
    parse_case(SLICE.replace("- {face: left", touching), "f")


def test_joint_classes() -> None:
    old = "resistance_mm2K_W: {value: 7.8, plus_minus: 2, basis: assumed}"
    assert parse_case(CORNCRAKE.replace(old, "material: silicone paste"), "f").joints[1].material == "silicone paste"
    assert "did you mean `silicone paste`?" in faults(CORNCRAKE, (old, "material: silicon paste"))[0]
    told = faults(CORNCRAKE, (old, "material: dry lapped contact\n    film_um: 5"))[0]
    assert "the joint class 'dry lapped contact' has no `conductivity_W_mK`" in told


def test_read_from_a_file_with_its_table(tmp_path: Path) -> None:
    text = CORNCRAKE.replace(
        "    film_um: {value: 240, plus_minus: 30, basis: measured}\n", "    film_um: {file: film.csv}\n"
    ).replace("    leakage: {", "    map: {file: power.csv, holds: W}\n    leakage: {")
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "film.csv").write_text("200,210,220\n230,240,250\n", encoding="utf-8")
    (tmp_path / "power.csv").write_text("0;1\n2;3\n", encoding="utf-8")
    case = read_case(tmp_path / "case.yaml")
    np.testing.assert_array_equal(case.tables["film.csv"], [[200, 210, 220], [230, 240, 250]])
    np.testing.assert_array_equal(case.tables["power.csv"], [[0, 1], [2, 3]])
    assert case.folder == tmp_path
    assert pickle.loads(pickle.dumps(case)) == case
    (tmp_path / "power.csv").write_text("0;1\n2;4\n", encoding="utf-8")
    assert read_case(tmp_path / "case.yaml") != case

    (tmp_path / "film.csv").write_text("200,210,220\n230,0,x\n", encoding="utf-8")
    (tmp_path / "power.csv").rename(tmp_path / "powers.csv")
    with pytest.raises(CaseError) as caught:
        read_case(tmp_path / "case.yaml")
    told = [str(fault) for fault in caught.value.faults]
    csv = tmp_path / "film.csv"
    assert told == [
        f"{tmp_path / 'case.yaml'}:34:17: heat in 'die': there is no file 'power.csv' beside the case; "
        "did you mean `powers.csv`?",
        f"{csv}:2:5: every number is finite and above 0, found `0`",
        f"{csv}:2:7: every cell is a number above 0, found something else",
    ]


def test_every_case_file_of_the_project_reads() -> None:
    folder = Path(__file__).parents[2] / "cases"
    for path in sorted(folder.glob("*.yaml")):
        read_case(path)


def test_a_layer_thinner_than_ten_nanometres_is_refused() -> None:
    with pytest.raises(CaseError, match="at least 1e-05 mm, found 1e-06"):
        parse_case(CORNCRAKE.replace("thickness_mm: 1.36", "thickness_mm: 1.0e-6"))

"""What a reader of messages is told to write instead: one hint for each mistake that practitioners made."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples import CORNCRAKE

from thermsim.case.faults.tables import parse_table
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.commands.main import commands
from thermsim.errors import CaseError, UnknownNameError
from thermsim.materials import catalogue
from thermsim.start.kinds import starter_text
from thermsim.sweeps.points import Vary, ranges_of


def faults(*changes: tuple[str, str], text: str = CORNCRAKE) -> list[str]:
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    with pytest.raises(CaseError) as caught:
        parse_case(text, "f", Path())
    return [str(fault).removeprefix("f:") for fault in caught.value.faults]


FILM = "{value: 240, plus_minus: 30, basis: measured}"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("around: {material: air}", "around: underfill", "write {material: underfill}"),
        ("at: bottom", "at:bottom", "the blank after the colon is missing: write `at: bottom`"),
        ("- in: die", "- in:die", "the blank after the colon is missing: write `in: die`"),
        ("{zone: C5, corner", "{zone:C5, corner", "the blank after the colon is missing: write `zone: C5`"),
        (FILM, "{low: 150, high: 350}", "`towards` is missing: the side at which the film is `high`, +x, -x, +y or -y"),
        (FILM, "{low: 150, high: 350, towards: right}", "found the text 'right'; right is `+x`"),
        ("material: laminate", "material: Laminate", "no material 'Laminate'; did you mean `laminate`?"),
        ("{value: 7.8, plus_minus: 2, basis: assumed}", "7.8\n    material: indium",
         "did you mean `indium solder` or `indium foil`?"),
    ],
)  # fmt: skip
def test_what_to_write_instead(old: str, new: str, told: str) -> None:
    (found,) = faults((old, new))
    assert told in found
    assert "it has:" not in found  # no long list after a sure hint


def test_the_blank_is_missed_where_the_key_stands() -> None:
    line = CORNCRAKE[: CORNCRAKE.index("    at: bottom")].count("\n") + 1
    assert faults(("at: bottom", "at:bottom"))[0].startswith(f"{line}:5: ")


def test_a_list_follows_where_the_hint_is_not_sure() -> None:
    assert "it has: `silicon`, `copper`" in faults(("material: laminate", "material: granite"))[0]


def test_missing_top_keys_say_what_to_write() -> None:
    cooling = CORNCRAKE[CORNCRAKE.index("cooling:") : CORNCRAKE.index("probes:")]
    layers = CORNCRAKE[CORNCRAKE.index("layers:") : CORNCRAKE.index("heat:")]
    assert "  - {face: top, film_W_m2K: 10000, fluid_C: 30}" in faults((cooling, ""))[0]
    assert "  - {part: name, material: silicon" in faults((layers, ""))[0]


def test_what_a_doubled_name_hides_is_not_missed() -> None:
    (found,) = faults(("zone: C5, corner", "zone: C4, corner"))  # C5 is read off, and no longer there
    assert "the name 'C4' is taken" in found
    assert len(faults(("zone: C5, corner", "zone: C4, corner"), ("zone: C0, takes", "zone: X0, takes"))) == 3


def test_headings_over_a_table_are_one_fault() -> None:
    with pytest.raises(CaseError) as caught:
        parse_table("x;y;W\n4;5;6\n", "t.csv", zero_allowed=True)
    assert [str(fault) for fault in caught.value.faults] == [
        "t.csv:1:1: this line holds headings, not numbers: leave it out, or begin it with `#`"
    ]


@pytest.mark.parametrize(
    ("wrong", "remedy"),
    [
        ("solder", "did you mean 'solder, tin-silver-copper' or 'solder, gold-tin' or 'indium solder'?"),
        ("Copper", "did you mean 'copper'?"),
        ("zzzz", "'solder, gold-tin', 'laminate'"),
    ],
)
def test_names_of_the_catalogue(wrong: str, remedy: str) -> None:
    with pytest.raises(UnknownNameError) as caught:
        catalogue.rows(wrong)
    assert remedy in caught.value.remedy


def test_the_starter_names_only_commands_that_exist() -> None:
    words = starter_text().split("`thermsim ")[1:]
    assert all(word.split("`")[0].split()[0] in commands.commands for word in words)


THICK = "thickness_mm: 3.0"
DIE = "{value: 0.66, plus_minus: 0.02"
PASTE = "{value: 7.8, plus_minus: 2,"
TOP = "film_W_m2K: 14000, fluid_C: 31.0"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (THICK, "thickness_mm: 3 furlongs", "is no unit that is known here: write the number in mm, without a unit"),
        (THICK, "thickness_mm: 3.0.1 um", "write the number in mm"),
        (THICK, "thickness_mm: '3'", "leave the quotes out"),
        (THICK, "thickness_mm: 1/2", "write 0.5"),
        (THICK, "thickness_mm: 3,5", "write decimals with a point: 3.5"),
        (THICK, "thickness_mm: 3,5 mm", "write decimals with a point: 3.5 mm"),
        (THICK, "thickness_mm: 3.4-3.6", "if it lies anywhere between, write {value: 3.5, plus_minus: 0.1}"),
        (THICK, "thickness_mm: 3.4 to 3.6 mm", "between, write {value: 3.5 mm, plus_minus: 0.1 mm}"),
        (THICK, "thickness_mm: ~3", "write a number in mm, and how far it may be off as `plus_minus`"),
        (THICK, "thickness_mm: 3 %", "nobody knows what the hundred is: write the number in mm"),
        (THICK, "thickness_mm: 3 x 4 mm", "it is one number: write it in mm"),
        (THICK, "thickness_mm: 130 W/mK", "that is a conductivity, and `thickness_mm` takes a length in mm"),
        (THICK, "thickness_mm: 0.5 N m", "that is a torque or an energy, and `thickness_mm` takes a length in mm"),
        (THICK, "thickness_mm: [2,58]", "are no readings of one thing; decimals are written with a point, not a comma"),
        (THICK, "thickness_mm: [3, 3]", "[3, 3], plus_minus: ...} with what the instrument may be off"),
        (PASTE, "{value: 60 um, plus_minus: 2,", "takes a resistance per area in mm2K/W; write `film_um: 60`"),
        ("wetted_fraction: 0.95", "wetted_fraction: {value: 0.95, plus_minus: 4 %}",
         "`+- 0.038` for so much of 0.95, or `+- 0.04` for so much of the whole"),
        (TOP, "film_W_m2K: '14,000', fluid_C: 31.0", "with a point for decimals and no mark between thousands"),
        (TOP, "film_W_m2K: 14 000, fluid_C: 31.0", "write the digits without marks between them: 14000"),
        (TOP, "film_W_m2K: 14000, fluid_C: {value: 31.0, plus_minus: 10 %}", "write the half width in C"),
        (TOP, "film_W_m2K: 14000, fluid_C: 31 +- 2 K", "temperature itself is in C or K: give it its unit too"),
        # keys in another unit, and the key of another kind of layer
        (THICK, "thickness_um: 3000", "unknown key `thickness_um`; did you mean `thickness_mm: 3`?"),
        (THICK, "film_um: 3000", "unknown key `film_um`; did you mean `thickness_mm: 3`?"),
        (THICK, "thickness_um: 3000 +- 30", "did you mean `thickness_mm: 3000 um +- 30`?"),
        ("film_um: " + FILM, "thickness_um: 250 +- 40", "unknown key `thickness_um`; did you mean `film_um`?"),
        (TOP, "film_W_cm2K: 1.4 +- 10 %, fluid_C: 31.0", "did you mean `film_W_m2K: 1.4 W/cm2K +- 10 %`?"),
        (TOP, "film_W_m2K: 14000, fluid_K: 304.15 +- 1", "did you mean `fluid_C: 304.15 K +- 1`?"),
        ("film_um: " + FILM, "thickness_mm: 0.24", "unknown key `thickness_mm`; did you mean `film_um: 240`?"),
        ("power_W: 23.1", "power_mW: 23100", "unknown key `power_mW`; did you mean `power_W: 23.1`?"),
        (TOP, "film_W_cm2K: 1.4, fluid_C: 31.0", "unknown key `film_W_cm2K`; did you mean `film_W_m2K: 14000`?"),
        (TOP, "film_W_m2K: 14000, fluid_K: 304.15", "unknown key `fluid_K`; did you mean `fluid_C: 31`?"),
        # by meaning
        ("zone: C5, takes: highest", "zone: C5, takes: max", "found the text 'max'; did you mean `highest`?"),
        (TOP, "h: 14000, fluid_C: 31.0", "unknown key `h`; did you mean `film_W_m2K`?"),
        ("material: laminate", "material: Cu", "no material 'Cu'; did you mean `copper`?"),
    ],
)  # fmt: skip
def test_a_remedy_never_changes_the_quantity(old: str, new: str, told: str) -> None:
    (found,) = faults((old, new))
    assert found.endswith(told)


@pytest.mark.parametrize(
    ("holds", "told"),
    [
        ("mW", "the table must be in W: multiply its cells by 0.001, then write `W`"),
        ("W/cm2", "the table must be in W/mm2: multiply its cells by 0.01, then write `W/mm2`"),
        ("horses", "the table must be in W or W/mm2: convert its cells first"),
        ("w", "did you mean `W`?"),
    ],
)
def test_a_table_in_another_unit_is_converted_first(holds: str, told: str) -> None:
    (found,) = faults(("    zones:\n", f"    map: {{file: heat.csv, holds: {holds}}}\n    zones:\n"))
    assert found.endswith(told)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ("film_W_m2K: 9", "`fluid_C` is missing: `film_W_m2K` is given, and needs it"),
        ("emissivity: 0.9", "`room_C` is missing: `emissivity` is given, and needs it"),
        ("low_C: 30, high_C: 40", "`towards` is missing: `low_C` with `high_C` is given, and needs it"),
        ("film_W_m2K: 9, emissivity: 0.9", "`fluid_C` and `room_C` are missing: "),
    ],
)
def test_of_a_cooled_face_what_was_begun_is_missing(given: str, told: str) -> None:
    (found,) = faults(("{face: bottom, film_W_m2K: 12, fluid_C: 30.0}", f"{{face: bottom, {given}}}"))
    assert f"face 'bottom': {told}" in found
    assert "temperature_C" not in found


def test_a_probe_is_one_point_of_which_nothing_is_taken() -> None:
    at_probe = "probe: under C5, takes: highest"
    assert "leave it out, a probe is one point" in faults(("zone: C5, takes: highest", at_probe))[0]
    moved = "options:\n  - option: moved\n    changes: {readings.C5: {probe: under C5}}\n"
    parse_case(CORNCRAKE.replace("options:\n", moved), "f", Path())  # what was taken of the zone goes with it


def test_a_tolerance_of_an_uneven_film_stands_at_its_ends() -> None:
    """What the message tells to write is understood."""
    told = faults((FILM, "{edge: 180, centre: 200, plus_minus: 20}"))[0]
    assert "a tolerance at each end, `low: {value: 30, plus_minus: 5}`" in told
    for ends in (
        "{low: {value: 30, plus_minus: 5}, high: 60, towards: +x}",
        "{edge: {value: 30, plus_minus: 5}, centre: 60}",
    ):
        parse_case(CORNCRAKE.replace(FILM, ends), "f", Path())


TOPS = """{face: top, film_W_m2K: 14000, fluid_C: 31.0, corner_mm: [3, 3], size_mm: [18, 38]}
  - {face: top, film_W_m2K: 9000, fluid_C: 30.0, corner_mm: [21, 3], size_mm: [18, 38]}"""
ONE_TOP = "{face: top, film_W_m2K: 14000, fluid_C: 31.0, wetted_mm: [34.0, 34.0]}"


@pytest.mark.parametrize("name", ["top", "cooling.top"])
def test_two_entries_on_one_face_are_told_apart_by_place(name: str) -> None:
    option = f"options:\n  - option: tried\n    changes: {{{name}.film_W_m2K: 12000}}\n"
    (found,) = faults((ONE_TOP, TOPS), ("options:\n", option))
    ways = "write `cooling.top.0` or `cooling.top.1`; or give each its `environment`, a name"
    assert found.endswith(f"`{name}` may mean several entries; {ways}")
    by_place = option.replace(f"{{{name}.", "{cooling.top.1.")
    changed = with_option(parse_case(CORNCRAKE.replace(ONE_TOP, TOPS).replace("options:\n", by_place)), "tried")
    assert [one.film_W_m2K.value for one in changed.cooling[:2] if one.film_W_m2K] == [14000, 12000]


@pytest.mark.parametrize("path", ["top.film_W_m2K", "cooling.top.film_W_m2K"])
def test_a_sweep_tells_two_entries_on_one_face_apart(path: str) -> None:
    with pytest.raises(UnknownNameError) as caught:
        ranges_of(parse_case(CORNCRAKE.replace(ONE_TOP, TOPS)), [Vary(path, 5000, 9000, 3)])
    assert "cooling.top.0.film_W_m2K or cooling.top.1.film_W_m2K, or give each `env" in caught.value.remedy

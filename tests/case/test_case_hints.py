"""What a reader of messages is told to write instead: one hint for each mistake that practitioners made."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples import CORNCRAKE

from thermsim.case.faults.tables import parse_table
from thermsim.case.load import parse_case
from thermsim.case.vocabulary.starter import starter_text
from thermsim.commands.main import commands
from thermsim.errors import CaseError, UnknownNameError
from thermsim.materials import catalogue


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

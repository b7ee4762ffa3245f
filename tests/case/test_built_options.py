"""Options that build on others, and layers that options add or replace: the case is the one typed whole."""

from __future__ import annotations

from typing import Any

import pytest
from samples import CORNCRAKE

from thermsim.case.geometry.heights import height_mm
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError
from thermsim.nearby.uncertain_inputs import SHARED, variables
from thermsim.plausibility.cautions import gallium_cautions, option_of

BASE = CORNCRAKE[: CORNCRAKE.index("options:")]
THIN = "  - {option: thin, changes: {die.thickness_mm: {value: 0.4, plus_minus: 0.02}}, same_height_by: lid}\n"
FILM = "  - {option: film, changes: {solder: {film_um: {value: 30, plus_minus: 9}, conductivity_W_mK: 20}}}\n"


def case(*options: str) -> Case:
    return parse_case(BASE + "options:\n" + "".join(options))


def layers(of: Case) -> list[Any]:
    return [layer.model_dump(exclude_none=True) for layer in of.layers]


def test_an_option_that_builds_on_two_is_both() -> None:
    both = "  - {option: both, with: [thin, film]}\n"
    typed = (
        "  - {option: typed, same_height_by: lid, changes: {die.thickness_mm: {value: 0.4, plus_minus: 0.02}, "
        "solder: {film_um: {value: 30, plus_minus: 9}, conductivity_W_mK: 20}}}\n"
    )
    found, whole = (with_option(case(THIN, FILM, both, typed), name) for name in ("both", "typed"))
    thickness = {part.part: part.thickness_mm.value for part in found.parts}
    assert thickness["lid"] == pytest.approx(2.45 + 0.66 - 0.4 + 0.24 - 0.03)  # 0.24 mm of solder become 0.03 mm
    assert layers(found) == layers(whole)


def test_changes_come_after_those_that_are_built_on() -> None:
    more = "  - {option: more, with: film, changes: {solder.film_um: 20, lid.thickness_mm: 3}}\n"
    found = with_option(case(more, FILM), "more")  # whichever stands first in the file
    solder = found.joints[0]
    assert solder.film_um is not None and solder.film_um.value == 20.0
    assert solder.conductivity_W_mK is not None and solder.conductivity_W_mK.value == 20.0
    assert found.option == "more"


def test_the_height_is_kept_over_all_that_is_built_on() -> None:
    more = "  - {option: more, with: film, changes: {die.thickness_mm: 0.4}, same_height_by: lid}\n"
    found = with_option(case(FILM, more), "more")
    lid = next(part for part in found.parts if part.part == "lid")
    assert lid.thickness_mm.value == pytest.approx(2.45 + 0.26 + 0.21)


@pytest.mark.parametrize(
    ("more", "lid_mm"),
    [
        ("with: thin", 2.45 + 0.26),
        ("with: thin, changes: {solder.film_um: 40}", 2.45 + 0.26 + 0.2),
        ("with: thin, changes: {die.thickness_mm: 0.5}", 2.45 + 0.16),
        ("with: [film, thin]", 2.45 + 0.26 + 0.21),
        ("with: [thin, lid], changes: {lid.thickness_mm: 3}", 3.0),  # whoever gives the thickness has it
        ("with: [lid, thin], changes: {lid.thickness_mm: 3}", 3.0),
        ("with: [lid, thin], same_height_by: lid", 2.45 + 0.26),
        ("with: thin, changes: {solder.film_um: 40, lid.thickness_mm: 2}", 2.0),
        ("with: thin, changes: {solder.film_um: 40}, same_height_by: plate", 2.45 + 0.26),
    ],
)
def test_what_keeps_the_height_keeps_it_in_all_that_build_on_it(more: str, lid_mm: float) -> None:
    lid = "  - {option: lid, changes: {lid.thickness_mm: 3}}\n"
    whole = case(THIN, FILM, lid, f"  - {{option: more, {more}}}\n")
    found = with_option(whole, "more")
    assert next(part for part in found.parts if part.part == "lid").thickness_mm.value == pytest.approx(lid_mm)
    kept = height_mm(found) == pytest.approx(height_mm(whole))
    assert kept == (lid_mm not in (3.0, 2.0))


def test_a_part_that_keeps_the_height_may_go_but_not_vanish() -> None:
    gone = "  - {option: gone, with: thin, changes: {solder: remove, lid: remove}}\n"
    assert "lid" not in [part.part for part in with_option(case(THIN, gone), "gone").parts]
    with pytest.raises(CaseError, match=r"'thick'.*`same_height_by` of 'thin'.*more than the") as caught:
        case(THIN, "  - {option: thick, with: thin, changes: {plate.thickness_mm: 9}}\n")
    assert caught.value.faults[0].line == (BASE + "options:\n" + THIN).count("\n") + 1


@pytest.mark.parametrize(
    ("added", "order"),
    [
        ("above: lid, layers: [{joint: pad, resistance_mm2K_W: 9}, {part: x, material: copper, size_mm: [44, 44], "
         "thickness_mm: 1}]", ["substrate", "die", "solder", "lid", "pad", "x", "paste", "plate"]),
        ("below: lid, layers: [{part: x, material: copper, size_mm: [44, 44], thickness_mm: 1}, {joint: pad, "
         "resistance_mm2K_W: 9}]", ["substrate", "die", "solder", "x", "pad", "lid", "paste", "plate"]),
        ("in_place_of: lid, layers: [{part: x, material: copper, size_mm: [44, 44], thickness_mm: 1}]",
         ["substrate", "die", "solder", "x", "paste", "plate"]),
    ],
)  # fmt: skip
def test_layers_are_added_and_replaced(added: str, order: list[str]) -> None:
    whole = case(f"  - {{option: other, adds: [{{{added}}}]}}\n")
    found = with_option(whole, "other")
    assert [getattr(layer, "part", None) or layer.joint for layer in found.layers] == order  # type: ignore[union-attr]
    assert {one.of for one in variables([whole, found], ["base", "other"])} == {SHARED}


PLATE = "{part: x, material: copper, size_mm: [44, 44], thickness_mm: {value: 1, plus_minus: 0.1}}"


def test_units_are_read_in_what_is_added() -> None:
    typed = PLATE.replace("{value: 1, plus_minus: 0.1}", "1500 um")
    found = with_option(case(f"  - {{option: plate, adds: [{{above: plate, layers: [{typed}]}}]}}\n"), "plate")
    assert found.parts[-1].thickness_mm.value == pytest.approx(1.5)


def test_what_was_added_can_be_changed_by_who_builds_on_it() -> None:
    added = f"  - {{option: plate, adds: [{{above: plate, layers: [{PLATE}]}}]}}\n"
    thicker = "  - {option: thicker, with: plate, changes: {x.thickness_mm: 2, paste: remove}, same_height_by: lid}\n"
    found = with_option(case(added, thicker), "thicker")
    assert found.parts[-1].thickness_mm.value == 2.0
    assert len(found.joints) == 1


def test_numbers_of_what_is_built_on_are_the_same_thing() -> None:
    """The film of `film` is one film, in it and in what builds on it; a thickness of its own is another."""
    added = f"  - {{option: plate, with: film, adds: [{{above: plate, layers: [{PLATE}]}}]}}\n"
    own = "  - {option: own, with: plate, changes: {solder.film_um: {value: 30, plus_minus: 9}}}\n"
    whole = case(FILM, added, own)
    names = ["film", "plate", "own"]
    found = {one.name: one.paths for one in variables([with_option(whole, name) for name in names], names)}
    assert found["solder.film_um"] == ("solder.film_um", "solder.film_um", None)
    assert found["solder.film_um (own)"] == (None, None, "solder.film_um")
    assert found["x.thickness_mm"] == (None, "x.thickness_mm", "x.thickness_mm")
    assert found["paste.resistance_mm2K_W"] == ("paste.resistance_mm2K_W",) * 3


def test_a_number_of_the_base_stays_the_base_s_past_layers_that_come_and_go() -> None:
    options = (
        "  - {option: first, changes: {substrate: remove}}\n",
        f"  - {{option: second, with: first, adds: [{{below: die, layers: [{PLATE}]}}]}}\n",
    )
    whole = case(*options)
    cases = [whole, with_option(whole, "second")]
    found = {one.name: one.paths for one in variables(cases, ["base", "second"])}
    assert found["die.thickness_mm"] == ("die.thickness_mm",) * 2
    assert found["x.thickness_mm (second)"] == (None, "x.thickness_mm")


def test_gallium_is_told_of_in_what_builds_on_it() -> None:
    gallium = FILM.replace("option: film", "option: gallium film")
    aluminium = "  - {option: light, with: gallium film, changes: {lid.material: aluminium}}\n"
    found = with_option(case(gallium, aluminium), "light")
    assert "danger" in {slip.severity for slip in gallium_cautions(found, option_of(found))}


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ("  - {option: a, with: thn}\n", "there is no option 'thn'; did you mean `thin`?"),
        ("  - {option: a, with: a}\n", "'a' builds on itself; leave it out here"),
        ("  - {option: a, with: [b]}\n  - {option: b, with: a}\n", "'a' builds on itself through 'b'"),
        ("  - {option: a}\n", "an option needs `changes`, or `adds`, or options to build on `with`"),
        (THIN.replace("thin,", "b,") + "  - {option: a, with: [thin, b]}\n",
         "'thin' and 'b' both change `die.thickness_mm`"),
        (f"  - {{option: b, adds: [{{in_place_of: paste, layers: [{PLATE}]}}]}}\n  - {{option: c, with: b, changes: "
         "{x.thickness_mm: 2}}\n  - {option: d, with: b, changes: {x.thickness_mm: 3}}\n"
         "  - {option: a, with: [c, d]}\n", "'c' and 'd' both change `x.thickness_mm`"),
        ("  - {option: b, changes: {solder: {material: gallium film, film_um: 30}}}\n"
         "  - {option: c, changes: {solder.film_um: 40}}\n  - {option: a, with: [b, c]}\n",
         "'b' and 'c' both change `solder.film_um`"),
        (f"  - {{option: a, adds: [{{layers: [{PLATE}]}}]}}\n", "give one of these"),
        (f"  - {{option: a, adds: [{{above: lit, layers: [{PLATE}]}}]}}\n", "part or joint 'lit'; did you mean `lid`?"),
        (f"  - {{option: a, changes: {{lid.thickness_mm: 1}}, adds: [{{in_place_of: lid, layers: [{PLATE}]}}]}}\n",
         "`in_place_of` takes out what `lid.thickness_mm` changes"),
        (f"  - {{option: a, adds: [{{above: lid, layers: [{PLATE.replace('copper', 'coper')}]}}]}}\n",
         "did you mean `copper`?"),
        ("  - {option: a, adds: [{above: lid, layers: [{joint: more, resistance_mm2K_W: 3}]}]}\n", "two joints in"),
    ],
)  # fmt: skip
def test_what_cannot_be_built_is_told(options: str, told: str) -> None:
    with pytest.raises(CaseError) as error:
        case(THIN, options)
    assert told in str(error.value)
    assert len(error.value.faults) <= 2


@pytest.mark.parametrize("order", ["thin, lid", "lid, thin"])
def test_a_thickness_that_one_gives_and_another_keeps_the_height_by_is_nobody_s(order: str) -> None:
    """In either order one of both would be lost without a word."""
    lid = "  - {option: lid, changes: {lid.thickness_mm: 3}}\n"
    with pytest.raises(
        CaseError, match=r"'lid' changes `lid.thickness_mm`, which `same_height_by` of 'thin' works out"
    ):
        case(THIN, lid, f"  - {{option: both, with: [{order}]}}\n")


def test_what_an_option_settled_stays_settled_for_those_that_build_on_it() -> None:
    both = "  - {option: both, with: [thin, lid], changes: {lid.thickness_mm: 2.8}}\n"
    lid = "  - {option: lid, changes: {lid.thickness_mm: 3}}\n"
    found = with_option(case(THIN, FILM, lid, both, "  - {option: more, with: [both, film]}\n"), "more")
    assert next(part for part in found.parts if part.part == "lid").thickness_mm.value == 2.8


def test_a_fault_is_told_once_not_again_by_what_builds_on_it() -> None:
    with pytest.raises(CaseError) as error:
        case("  - {option: a, changes: {lit: remove}}\n", "  - {option: b, with: a}\n", "  - {option: c, with: [b]}\n")
    assert len(error.value.faults) == 1


def test_who_adds_layers_to_an_option_that_keeps_its_height_builds_higher() -> None:
    """What was below the new layers still makes up for what it changes; only the option that says so takes them up."""
    text = """
title: layers on an option
layers:
  - {part: die, material: silicon, size_mm: [14, 11], thickness_mm: 0.7}
  - {part: lid, material: copper, size_mm: [30, 28], thickness_mm: 2}
heat:
  - {in: die, power_W: 120}
cooling:
  - {face: top, film_W_m2K: 20000, fluid_C: 28}
options:
  - {option: thinner die, changes: {die.thickness_mm: 0.5}, same_height_by: lid}
  - option: plate
    with: thinner die
    adds: [{above: lid, layers: [{part: plate, material: copper, size_mm: [40, 40], thickness_mm: 3}]}]
"""
    with_plate = with_option(parse_case(text, "layers.yaml"), "plate")
    assert [part.thickness_mm.value for part in with_plate.parts] == [0.5, 2.2, 3.0]

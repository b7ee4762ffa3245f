"""The list of numbers of a case, and cases with some of them changed."""

from __future__ import annotations

from math import inf

import pytest
from samples import CORNCRAKE
from stacks import case_of, film, part

from thermsim.case.geometry.places import part_box, zone_box
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.model.physics.properties import joint_of, material_of


@pytest.fixture(scope="module")
def corncrake() -> Case:
    return parse_case(CORNCRAKE)


def test_every_number_can_be_changed_and_read_again(corncrake: Case) -> None:
    for one in inputs(corncrake):
        value = 0.9 * one.value if one.value else 1.0
        try:
            changed = with_inputs(corncrake, {one.path: value})
        except ThermsimError as refused:  # its zones fill the die, so that none can grow or move alone
            told = ("overlaps", "sticks out", "lies outside")
            assert one.acts_on == "plan" and any(words in refused.what for words in told)
            continue
        if one.path.startswith("material "):
            continue
        again = {other.path: other for other in inputs(changed)}[one.path]
        assert again.value == pytest.approx(value, rel=1e-14), one.path
        assert (again.plus_minus, again.unit) == (one.plus_minus, one.unit)
        assert changed != corncrake


def test_numbers_changed_together_are_those_changed_one_by_one(corncrake: Case) -> None:
    """Sizes stretch what is drawn on their part, factors scale what stands, all others are put in place at once."""
    known = {one.path: one for one in inputs(corncrake)}
    values = {path: 1.001 * one.value for path, one in known.items() if one.allows(1.001 * one.value)}
    values = {path: value for path, value in values.items() if "_mm" not in path or "thickness" in path}
    alone = corncrake
    for path, value in values.items():
        alone = with_inputs(alone, {path: value}, known)
    assert with_inputs(corncrake, values, known) == alone != corncrake
    assert len(values) > 30


def test_addresses_are_those_of_options(corncrake: Case) -> None:
    """What `with_option` reaches by an address is what the list calls by it."""
    text = (
        CORNCRAKE + "\noptions:\n  - {option: other, changes: {die.thickness_mm: 0.5, solder.wetted_fraction: 0.8}}\n"
    )
    if "options:" in CORNCRAKE:
        text = CORNCRAKE.split("options:")[0] + text[len(CORNCRAKE) :]
    optioned = with_option(parse_case(text), "other")
    changed = with_inputs(corncrake, {"die.thickness_mm": 0.5, "solder.wetted_fraction": 0.8})
    assert optioned.parts[1].thickness_mm.value == changed.parts[1].thickness_mm.value == 0.5
    assert joint_of(optioned.joints[0]).resistance_at(1e-4) == joint_of(changed.joints[0]).resistance_at(1e-4)


def test_catalogue_fills_in_what_can_be_varied() -> None:
    """A joint that names its class only varies by the class's range; a material by a factor that its parts share."""
    case = case_of(
        [
            part("die", [10, 10], 0.7, "silicon"),
            {"joint": "film", "material": "gallium film"},
            part("lid", [20, 20], 2, "copper"),
            part("plate", [20, 20], 2, "copper"),
        ],
        cooling=[film("top", 1000.0)],
    )
    known = {one.path: one for one in inputs(case)}
    assert known["material copper"].value == 1.0 and known["material copper"].plus_minus > 0.0
    changed = with_inputs(case, {"material copper": 1.1, "material silicon": 0.9})
    for before, after, factor in zip(case.parts, changed.parts, (0.9, 1.1, 1.1), strict=True):
        for law, scaled in zip(material_of(before.material).laws, material_of(after.material).laws, strict=True):
            assert float(scaled(85.0)) == pytest.approx(factor * float(law(85.0)), rel=1e-12)
    resistance = next(path for path in known if path.startswith("film.") and "wetted" not in path)
    again = with_inputs(case, {resistance: 1.2 * known[resistance].value})
    assert {one.path: one for one in inputs(again)}[resistance].value == pytest.approx(1.2 * known[resistance].value)


def test_a_floor_plan_is_stretched_with_its_part(corncrake: Case) -> None:
    width = corncrake.parts[1].size_mm[0].value
    changed = with_inputs(corncrake, {"die.size_mm.0": 1.1 * width})
    before, after = part_box(corncrake, corncrake.parts[1]), part_box(changed, changed.parts[1])
    for heat, wider in zip(corncrake.heat, changed.heat, strict=True):
        for zone, stretched in zip(heat.zones, wider.zones, strict=True):
            old, new = zone_box(corncrake, corncrake.parts[1], zone), zone_box(changed, changed.parts[1], stretched)
            assert new[0] - after[0] == pytest.approx(1.1 * (old[0] - before[0]))
            assert new[2] - after[0] == pytest.approx(1.1 * (old[2] - before[0]))
            assert new[1::2] == pytest.approx(old[1::2])
            assert stretched.power_W == zone.power_W


def test_spread_of_a_number() -> None:
    case = case_of(
        [
            part("a", [10, 10], {"value": 1.0, "plus_minus": 0.1, "shape": "triangle"}, 100),
            part("b", [10, 10], {"value": 1.0, "plus_minus": 0.1, "repeats": 5}, 100),
            part("c", [10, 10], {"value": 1.0, "plus_minus": 0.1}, 100),
        ],
        cooling=[film("top", 1000.0)],
    )
    known = {one.path: one for one in inputs(case)}
    found = [(known[f"{name}.thickness_mm"].shape, known[f"{name}.thickness_mm"].freedom) for name in "abc"]
    assert found == [("triangle", inf), ("t", 4.0), ("even", inf)]


def test_what_cannot_be_is_refused(corncrake: Case) -> None:
    with pytest.raises(UnknownNameError, match=r"no number 'die\.hickness_mm'"):
        with_inputs(corncrake, {"die.hickness_mm": 1.0})
    with pytest.raises(ThermsimError, match="cannot be 0"):
        with_inputs(corncrake, {"die.thickness_mm": 0.0})
    with pytest.raises(ThermsimError, match="at most 1"):
        with_inputs(corncrake, {"solder.wetted_fraction": 1.01})


@pytest.mark.parametrize(
    ("path", "typed", "value"),
    [
        ("die.thickness_mm", "780 um", 0.78),
        ("die.thickness_mm", " 0.78 ", 0.78),
        ("die.thickness_mm", "3/8 in", 9.525),
        ("top.fluid_C", "86 F", 30.0),
        ("top.film_W_m2K", "1.5 W/cm2K", 15000.0),
        ("solder.wetted_fraction", "90 %", 0.9),
        ("material copper", "1.1", 1.1),
    ],
)
def test_a_number_is_typed_as_in_a_case_file(corncrake: Case, path: str, typed: str, value: float) -> None:
    """An inch is 25.4 mm by definition, 86 F are 30 C (NIST Special Publication 811, 2008, appendix B)."""
    assert with_inputs(corncrake, {path: typed}) == with_inputs(corncrake, {path: value})


@pytest.mark.parametrize(
    ("path", "typed", "told"),
    [
        ("die.thickness_mm", "780 W", "die.thickness_mm cannot be '780 W'\n.*a length in mm"),
        ("die.thickness_mm", "0.7 +- 0.1 mm", "it is one number: write it in mm"),
        ("die.thickness_mm", "1,234 mm", "that may be 1.234 mm or 1234 mm"),
        ("die.thickness_mm", "thick", "write a number in mm"),
        ("die.thickness_mm", "-780 um", "die.thickness_mm cannot be -0.78\n.*above 0"),
        ("top.fluid_C", "inf", "top.fluid_C cannot be inf"),
    ],
)
def test_what_is_no_such_number_is_refused(corncrake: Case, path: str, typed: str, told: str) -> None:
    with pytest.raises(ThermsimError, match=told):
        with_inputs(corncrake, {path: typed})

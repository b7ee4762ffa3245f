"""Slips of the keyboard that practitioners make, each planted in a sound case and found with its remedy."""

from __future__ import annotations

import pytest

from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.plausibility.cautions import Slip
from thermsim.plausibility.likely_slips import slips_of

SOUND = """
title: An invented stack
layers:
  - {part: substrate, material: laminate, size_mm: [42.0, 38.0], thickness_mm: 1.36}
  - {part: die, material: silicon, size_mm: [24.8, 10.4], thickness_mm: 0.66}
  - {joint: solder, film_um: 240, conductivity_W_mK: 70, boundary_mm2K_W: 3.0}
  - {part: lid, material: copper, size_mm: [36.0, 32.0], thickness_mm: 2.45}
  - {joint: paste, resistance_mm2K_W: 7.8}
  - {part: plate, material: copper, size_mm: [44.0, 44.0], thickness_mm: 3.0}
heat:
  - in: die
    leakage: {per_K: 0.003, at_C: 80}
    zones:
      - {zone: left, corner_mm: [0.0, 0.0], size_mm: [12.4, 10.4], power_W: 100.0}
      - {zone: right, corner_mm: [12.4, 0.0], size_mm: [12.4, 10.4], power_W: 87.0}
cooling:
  - {face: top, film_W_m2K: 14000, fluid_C: 31.0, wetted_mm: [34.0, 34.0]}
  - {face: bottom, film_W_m2K: 12, fluid_C: 30.0}
options:
  - option: soft film
    changes: {solder: {film_um: 30, conductivity_W_mK: 28, boundary_mm2K_W: 0.8}}
"""


def slips(*changes: tuple[str, str], option: str | None = None) -> tuple[Slip, ...]:
    text = SOUND
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    case = parse_case(text)
    if option is None:
        return slips_of(case)
    return slips_of(with_option(case, option), next(each for each in case.options if each.option == option))


def test_a_sound_case_has_none() -> None:
    assert slips() == ()
    assert slips(option="soft film") == ()


@pytest.mark.parametrize(
    ("old", "new", "place", "remedy"),
    [
        ("thickness_mm: 2.45", "thickness_mm: 24.5", "lid.thickness_mm", "2.45 mm"),
        ("thickness_mm: 0.66", "thickness_mm: 660", "die.thickness_mm", "0.66 mm"),
        ("thickness_mm: 1.36", "thickness_mm: 0.0535", "substrate.thickness_mm", "1.359 mm (inches"),
        ("[24.8, 10.4], thickness", "[248, 104], thickness", "die.size_mm", "24.8 mm"),
        ("film_um: 240", "film_um: 0.24", "solder.film_um", "240 um (mm written as um)"),
        ("film_um: 240", "film_um: 240000", "solder.film_um", "240 um"),
        ("resistance_mm2K_W: 7.8", "resistance_mm2K_W: 0.078", "paste.resistance_mm2K_W", "7.8 mm2K/W (cm2K/W"),
        ("resistance_mm2K_W: 7.8", "resistance_mm2K_W: 0.0000078", "paste.resistance_mm2K_W", "7.8 mm2K/W (m2K/W"),
        ("conductivity_W_mK: 70", "conductivity_W_mK: 700", "solder.conductivity_W_mK", "70 W/mK"),
        ("power_W: 100.0", "power_W: 100000", "left.power_W", "did you mean 100 W (milliwatts"),
        ("film_W_m2K: 14000", "film_W_m2K: 0.014", "cooling of top", "1.4e+04 W/m2K (W/mm2K"),
        ("fluid_C: 31.0", "fluid_C: 304.15", "cooling of top", "did you mean 31 C (kelvin"),
        ("per_K: 0.003, at_C: 80", "per_K: 0.3, at_C: 31", "heat in die, leakage.per_K", "did you mean 0.003"),
        (
            "material: copper, size_mm: [36.0",
            "material: {conductivity_W_mK: 40100}, size_mm: [36.0",
            "lid.material",
            "unit",
        ),
        (
            "material: copper, size_mm: [36.0",
            "material: {name: copper, conductivity_W_mK: 4.01}, size_mm: [36.0",
            "lid.material",
            "another material",
        ),
    ],
)
def test_a_value_far_out_is_answered_with_what_was_meant(old: str, new: str, place: str, remedy: str) -> None:
    found = slips((old, new))
    assert any(slip.place == place and remedy in slip.remedy for slip in found), found


def test_kilowatts() -> None:
    found = slips(("power_W: 100.0", "power_W: 0.1"), ("power_W: 87.0", "power_W: 0.087"))
    assert any("187 W (kilowatts" in slip.remedy for slip in found)


def test_sizes_in_centimetres() -> None:
    found = slips(
        ("[24.8, 10.4], thickness", "[2.48, 1.04], thickness"),
        ("corner_mm: [0.0, 0.0], size_mm: [12.4, 10.4]", "corner_mm: [0, 0], size_mm: [1.24, 1.04]"),
        ("corner_mm: [12.4, 0.0], size_mm: [12.4, 10.4]", "corner_mm: [1.24, 0], size_mm: [1.24, 1.04]"),
    )
    assert any(slip.place == "die.size_mm" and "24.8 mm (cm" in slip.remedy for slip in found)


@pytest.mark.parametrize(
    ("old", "new", "place", "message"),
    [
        ("thickness_mm: 0.66", "thickness_mm: {value: 0.66, plus_minus: 0.07}", "die.thickness_mm", "11 %"),
        (
            "corner_mm: [12.4, 0.0], size_mm: [12.4",
            "corner_mm: [12.5, 0.0], size_mm: [12.3",
            "heat in die",
            "strip of 0.1",
        ),
        ("[36.0, 32.0]", "[20.0, 32.0]", "lid.size_mm", "of die lies outside lid"),
        ("[44.0, 44.0]", "[34.0, 44.0]", "plate.size_mm", "each hang over"),
        (", boundary_mm2K_W: 3.0", "", "solder.boundary_mm2K_W", "counted as 0"),
        ("resistance_mm2K_W: 7.8", "resistance_mm2K_W: {value: 7.8, plus_minus: 5}", "paste", "not fit"),
        ("boundary_mm2K_W: 3.0", "boundary_mm2K_W: 3.0, wetted_fraction: 0.05", "solder.wetted_fraction", "only 5 %"),
        ("thickness_mm: 2.45", "thickness_mm: 2.45, weighed_g: 25", "lid.material", "no density"),
        (
            "resistance_mm2K_W: 7.8",
            "material: silicone paste, film_um: 30, conductivity_W_mK: 12.5",
            "paste.conductivity_W_mK",
            "outside what 'silicone paste' delivers",
        ),
        (
            "material: copper, size_mm: [36.0",
            "material: {conductivity_W_mK: {table: [[20, 400], [60, 390]]}}, size_mm: [36.0",
            "lid.material",
            "from 20 to 60 C",
        ),
    ],
)
def test_what_does_not_fit_together_is_named(old: str, new: str, place: str, message: str) -> None:
    changes = [(old, new)]
    if "no density" in message:
        changes.append(("material: copper, size_mm: [36.0", "material: {conductivity_W_mK: 390}, size_mm: [36.0"))
    found = slips(*changes)
    assert any(slip.place == place and message in slip.message for slip in found), found


# -------------------------------------------------------------------------------- gallium and aluminium

NO_OPTIONS = (SOUND[SOUND.index("options:") :], "")
ALUMINIUM_LID = ("lid, material: copper", "lid, material: aluminium")


def dangers(found: tuple[Slip, ...]) -> list[str]:
    return [slip.place for slip in found if slip.severity == "danger"]


@pytest.mark.parametrize(
    "change",
    [
        ("film_um: 240, conductivity_W_mK: 70, boundary_mm2K_W: 3.0", "material: gallium film"),
        ("joint: solder", "joint: liquid metal"),
        ("joint: solder", "joint: Gallium-Film"),
    ],
)
def test_gallium_on_aluminium_is_a_danger(change: tuple[str, str]) -> None:
    on_copper = slips(change, NO_OPTIONS)
    assert dangers(on_copper) == []
    assert any(slip.severity == "notice" and "bare copper" in slip.message for slip in on_copper)
    assert len(dangers(slips(change, NO_OPTIONS, ALUMINIUM_LID))) == 1


def test_the_danger_stands_first_and_says_what_happens() -> None:
    found = slips(
        ("resistance_mm2K_W: 7.8", "material: gallium film"),
        ("plate, material: copper", "plate, material: aluminium alloy"),
    )
    assert found[0].severity == "danger" and "plate" in found[0].message and "aluminium" in found[0].message


def test_an_option_named_after_gallium_makes_its_joint_one() -> None:
    named = ("option: soft film", "option: 'liquid metal, 30 um'")
    assert dangers(slips(named, ALUMINIUM_LID, option="liquid metal, 30 um")) == ["solder"]
    assert dangers(slips(named, option="liquid metal, 30 um")) == []
    assert dangers(slips(ALUMINIUM_LID, option="soft film")) == []


def test_aluminium_in_an_insert_and_elsewhere_in_the_stack() -> None:
    film = ("film_um: 240, conductivity_W_mK: 70, boundary_mm2K_W: 3.0", "material: gallium film")
    insert = (
        "thickness_mm: 2.45",
        "thickness_mm: 2.45, inserts: [{material: aluminium, corner_mm: [1, 1], size_mm: [5, 5]}]",
    )
    assert dangers(slips(film, insert)) == ["solder"]
    far = slips(film, ("plate, material: copper", "plate, material: aluminium"))
    assert dangers(far) == []
    assert any(slip.severity == "warning" and slip.place == "plate" for slip in far)


def test_a_gallium_body_between_parts_counts_as_well() -> None:
    pool = (
        "  - {joint: solder, film_um: 240, conductivity_W_mK: 70, boundary_mm2K_W: 3.0}",
        "  - {part: pool, material: gallium-indium-tin, size_mm: [24.8, 10.4], thickness_mm: 0.24}",
    )
    assert dangers(slips(pool, NO_OPTIONS, ALUMINIUM_LID)) == ["pool"]


def test_a_nitride_is_no_aluminium() -> None:
    film = ("film_um: 240, conductivity_W_mK: 70, boundary_mm2K_W: 3.0", "material: gallium film")
    assert dangers(slips(film, ("lid, material: copper", "lid, material: aluminium nitride"))) == []


STEPS = "steps: [{frequency_GHz: 4.4, voltage_V: 1.16}, {frequency_GHz: 4.8, voltage_V: 1.33}]"


@pytest.mark.parametrize(
    ("typed", "message", "remedy"),
    [
        ("1.10, voltage_V: 4.2", "a faster step needs less voltage", "`frequency_GHz: 4.2` and `voltage_V: 1.1`"),
        ("4.2, voltage_V: 1.21", "a faster step needs less voltage", "check `frequency_GHz` and `voltage_V`"),
        ("5.0, voltage_V: 1.15", "a slower step needs more voltage", "check `frequency_GHz` and `voltage_V`"),
    ],
)
def test_a_clock_against_the_order_of_its_steps(typed: str, message: str, remedy: str) -> None:
    (slip,) = slips(("options:\n", f"clock: {{frequency_GHz: {typed}, {STEPS}}}\noptions:\n"))
    assert slip.place == "clock" and message in slip.message and remedy in slip.remedy


def test_a_clock_in_the_order_of_its_steps_is_no_slip() -> None:
    assert slips(("options:\n", f"clock: {{frequency_GHz: 4.2, voltage_V: 1.1, {STEPS}}}\noptions:\n")) == ()

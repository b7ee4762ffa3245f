"""One number that is far from its equals, a scale that was mixed up, a tolerance that nobody can have: each told once.

What is usual of powers, sizes, films and tolerances is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from lidded import LIDDED
from samples import CORNCRAKE

from thermsim.case.load import parse_case
from thermsim.errors import CaseError
from thermsim.plausibility.likely_slips import slips_of
from thermsim.plausibility.slip import Slip

STARTER = LIDDED
TOP = "film_W_m2K: {value: 9000, plus_minus: 1000}"
PLATING = """\
  - part: plating
    material: electroless nickel
    size_mm: [30, 28]
    thickness_mm: 0.005

"""


def slips(*changes: tuple[str, str], text: str = STARTER) -> list[Slip]:
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return list(slips_of(parse_case(text, "f", Path())))


def warnings(*changes: tuple[str, str], text: str = STARTER) -> list[Slip]:
    return [slip for slip in slips(*changes, text=text) if slip.severity != "notice"]


def test_sound_cases_have_none() -> None:
    assert not slips() and not slips(text=CORNCRAKE)


# One slip, told at the place of its cause, with what was meant; nothing that follows from it is told beside it.
@pytest.mark.parametrize(
    ("old", "new", "place", "told", "remedy"),
    [
        ("power_W: 28}", "power_W: 280}", "left core.power_W", "makes 280 W, right core 26 W", "did you mean 28 W"),
        ("[4, 5], power_W: 28", "[0.4, 0.5], power_W: 28", "left core.size_mm", "0.4 x 0.5 mm",
         "did you mean 4 x 5 mm?"),
        ("[4, 5], power_W: 28", "[0.4, 5], power_W: 28", "left core.size_mm", "0.4 x 5 mm", "did you mean 4 x 5 mm?"),
        (TOP, "film_W_m2K: 900000", "cooling of top", "out of the usual",
         "9000 W/m2K (a decimal point two places off)"),
        (TOP, "film_W_m2K: 0.9", "cooling of top", "out of the usual", "9000 W/m2K (W/cm2K written as W/m2K)"),
        ("film_W_m2K: 8, fluid_C: 26}", "film_W_m2K: 8000, fluid_C: 26}", "cooling of exposed",
         "out of the usual 0.5 to 500", "80 W/m2K"),
        ("film_um: {value: 60, plus_minus: 20", "film_um: {value: 60, plus_minus: 0.2", "first joint.film_um",
         "only 0.33 % of 60: no film is known so well", "if a share is meant, write `plus_minus: 20 %`"),
        (TOP, "film_W_m2K: {value: 9000, plus_minus: 10}", "top.film_W_m2K", "only 0.11 % of 9000",
         "its decimal point"),
        ("value: 26, plus_minus: 1", "value: 26, plus_minus: 0.01", "right core.power_W", "only 0.038 % of 26 W",
         "its decimal point"),
        ("value: 0.7, plus_minus: 0.02, basis: measured}   #", "value: 0.7, plus_minus: 0.0002} #", "chip.thickness_mm",
         "finer than any caliper or micrometer", "its decimal point"),
        ("fluid_C: 28\n", "fluid_C: {value: 28, plus_minus: 0.001}\n", "top.fluid_C",
         "finer than any thermometer", "decimal"),
        ("fluid_C: 28\n", "fluid_C: {value: 28, plus_minus: 200}\n", "top.fluid_C",
         "so wide that it says nothing", "decimal"),
        ("size_mm: [14, 11]", "size_mm: [140, 11]", "chip.size_mm", "longer side of chip", "did you mean 14 mm"),
        ("fluid_C: 28\n", "fluid_C: 301\n", "cooling of top", "top at 301 C",
         "did you mean 27.85 C (kelvin written as C)?"),
        ("reading_C: 95", "reading_C: 368", "limits.reading_C", "368 C", "did you mean 94.85 C (kelvin written as C)?"),
        ("at_C: 70", "at_C: 343", "heat in chip, leakage.at_C", "343 C", "did you mean 69.85 C (kelvin written as C)?"),
        ("material: silicon", "material: {conductivity_W_mK: {value: 148, at_C: 300, exponent: 1.3}}",
         "chip.material", "300 C", "did you mean 26.85 C (kelvin written as C)?"),
    ],
)  # fmt: skip
def test_the_cause_is_told_alone(old: str, new: str, place: str, told: str, remedy: str) -> None:
    (found,) = warnings((old, new))
    assert found.place == place and told in found.message and remedy in found.remedy


def test_a_weak_film_is_told_with_what_it_would_take() -> None:
    """By hand: 60 W over 28 mm x 28 mm and 50 K are 1531 W/m2K; the board's larger face is not where heat leaves."""
    (found,) = warnings(
        (TOP, "film_W_m2K: 9"), ("bottom, film_W_m2K: 10,", "bottom, wetted_mm: [9, 9], film_W_m2K: 10,")
    )
    assert found.place == "cooling"
    assert found.remedy.endswith("; top has 9 W/m2K on 784 mm2, and 50 K would take 1531")


def test_one_core_far_from_seven_others() -> None:
    (found,) = warnings(("power_W: 23.1", "power_W: 231"), text=CORNCRAKE)
    assert found.place == "C5.power_W"
    assert found.message == "C5 makes 231 W, its 7 equals 20.2 to 22.3 W"
    assert found.remedy == "did you mean 23.1 W (a decimal point one place off)?"


def test_a_core_at_rest_is_no_more_than_a_notice() -> None:
    assert not warnings(("power_W: 23.1", "power_W: 2.31"), text=CORNCRAKE)
    assert [slip.place for slip in slips(("power_W: 23.1", "power_W: 2.31"), text=CORNCRAKE)] == ["C5.power_W"]
    assert not slips(("power_W: 23.1", "power_W: 9"), text=CORNCRAKE)


def test_a_lone_zone_may_have_slipped_in_power_or_in_size() -> None:
    """Nothing tells which: 28 W on 0.4 x 0.5 mm are milliwatts, or 4 x 5 mm."""
    lone = STARTER[: STARTER.index("      - {zone: right core")] + STARTER[STARTER.index("cooling:   ") :]
    lone = lone.replace("  - {reading: right, zone: right core", "  # ")
    (found,) = warnings(("size_mm: [4, 5], power_W: 28", "size_mm: [0.4, 0.5], power_W: 28"), text=lone)
    assert (
        found.remedy
        == "did you mean a size of 4 x 5 mm (cm written as mm), or 0.028 W (milliwatts written as W, or kW for W)?"
    )


@pytest.mark.parametrize("metal", ["electroless nickel", "nickel", "gold"])
@pytest.mark.parametrize("over", ["  - joint: second joint", "  - part: lid"])
def test_a_plating_is_no_slip(metal: str, over: str) -> None:
    """Nickel is plated in 1 to 10 um, gold in 0.05 to 2 um (common practice, no source): grown on, without a joint."""
    plated = PLATING.replace("electroless nickel", metal).replace("0.005", "0.0005" if metal == "gold" else "0.005")
    assert not warnings((over, plated + over))


def test_a_plating_is_grown_on_one_part_only() -> None:
    joint = STARTER[STARTER.index("  - joint: second joint") : STARTER.index("  - part: plate\n")]
    assert [slip.place for slip in warnings((joint, PLATING), ("lid: remove", "lid.thickness_mm: 3"),
                                            ("      second joint: remove\n", ""))] == ["plate"]  # fmt: skip


def test_a_thin_lid_is_still_a_slip() -> None:
    (found,) = warnings(("thickness_mm: 2\n", "thickness_mm: 0.02\n"))
    assert found.place == "lid.thickness_mm" and "2 mm (a decimal point two places off)" in found.remedy


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("# wetted_fraction: 0.9 ", "wetted_fraction: 95 #",
         "must be at most 1, found 95; a share is told as a part of 1, or in percent: write `95 %`"),
        ("film_W_m2K: 10, fluid_C: 26}", "emissivity: 90, room_C: 26}", "or in percent: write `90 %`"),
        ("size_mm: [14, 11]", "size_mm: [1.4, 1.1]", "to 14 x 8 mm; did you mean `[14, 11]`? (a decimal point"),
        ("size_mm: [14, 11]", "size_mm: [1.4, 11]", "to 14 x 8 mm; did you mean `[14, 11]`? (a decimal point"),
        ("size_mm: [14, 11]", "size_mm: [0.014, 0.011]", "did you mean `[14, 11]`? (metres)"),
        ("\nheat:\n", "\nheats:\n", "unknown key `heats`; did you mean `heat`?"),
        ("layers:   ", "stack:    ", "unknown key `stack`; did you mean `layers`?"),
        ("cooling:  ", "boundaries:", "unknown key `boundaries`; did you mean `cooling`?"),
        ("readings: ", "sensors:  ", "unknown key `sensors`; did you mean `readings`?"),
        ("- {zone: left", "- {zon: left", "unknown key `zon`; did you mean `zone`?"),
        ("- part: chip", "- prat: chip", "unknown key `prat`; did you mean `part`?"),
        ("power_W: 28}", "power_mW: 28000}", "unknown key `power_mW`; did you mean `power_W: 28`?"),
    ],
)  # fmt: skip
def test_no_fault_follows_from_another(old: str, new: str, told: str) -> None:
    assert old in STARTER
    with pytest.raises(CaseError) as caught:
        parse_case(STARTER.replace(old, new, 1), "f", Path())
    (fault,) = caught.value.faults
    assert told in fault.message


def test_coolants_in_kelvin_are_told_where_a_limit_is_given() -> None:
    text = STARTER.replace("fluid_C: 28\n", "fluid_C: 301\n").replace("fluid_C: 26", "fluid_C: 299")
    with pytest.raises(CaseError) as caught:
        parse_case(text, "f", Path())
    (fault,) = caught.value.faults
    assert fault.message.endswith("if the coolants were typed in kelvin, write them so: `299 K` is 25.85 C")
    text = text.replace("301", "301 K").replace("299", "299 K")
    assert parse_case(text, "f", Path()).cooling[0].known_C == [27.85]

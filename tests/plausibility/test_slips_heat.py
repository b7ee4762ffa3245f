"""Slips in the ways of heat: forgotten faces, bare contacts, maps, slices; and what a prediction says of slips.

Conductances are checked against sums done by hand (book formulas t/kA, 1/hA).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.mesh.predict import predict
from thermsim.plausibility.heat_paths import film_conductances_W_K, ways_of
from thermsim.plausibility.likely_slips import Slip, slips_of
from thermsim.plausibility.measure import measure

CHIP = """
title: An invented soldered chip
layers:
  - {part: substrate, material: laminate, size_mm: [38, 38], thickness_mm: 1.2}
  - {part: die, material: silicon, size_mm: [19, 11], thickness_mm: 0.75}
  - {joint: solder, film_um: 250, material: indium solder}
  - {part: lid, material: copper, size_mm: [31, 31], thickness_mm: 2.5}
  - {joint: paste, material: silicone paste}
  - {part: plate, material: copper, size_mm: [50, 50], thickness_mm: 3}
heat:
  - in: die
    at: bottom
    zones:
      - {zone: A, corner_mm: [0, 0], size_mm: [9, 5], power_W: 60}
      - {zone: B, corner_mm: [9, 0], size_mm: [10, 5], power_W: 60}
      - {zone: C, corner_mm: [0, 5], size_mm: [19, 6], power_W: 60}
cooling:
  - {face: top, film_W_m2K: 12000, fluid_C: 30, wetted_mm: [40, 40]}
  - {face: bottom, film_W_m2K: 10, fluid_C: 30}
  - {face: exposed, film_W_m2K: 8, fluid_C: 30}
options:
  - option: gallium film
    changes: {solder: {film_um: 40, conductivity_W_mK: 24, boundary_mm2K_W: 1}}
  - option: bare die
    changes: {lid: remove, paste: remove}
  - option: no paste
    changes: {paste: remove}
"""
ZONES = CHIP[CHIP.index("    zones:") : CHIP.index("cooling:")]
OPTIONS = CHIP[CHIP.index("options:") :]
TOP = "  - {face: top, film_W_m2K: 12000, fluid_C: 30, wetted_mm: [40, 40]}\n"
ALUMINIUM = ("part: lid, material: copper", "part: lid, material: aluminium")


def text_of(*changes: tuple[str, str]) -> str:
    text = CHIP
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


def slips(*changes: tuple[str, str], option: str | None = None, folder: Path | None = None) -> tuple[Slip, ...]:
    case = parse_case(text_of(*changes), folder=folder)
    return slips_of(case if option is None else with_option(case, option))


def of(found: tuple[Slip, ...], *severities: str) -> list[Slip]:
    return [slip for slip in found if slip.severity in severities]


def test_a_sound_chip_has_neither_danger_nor_warning() -> None:
    for option in (None, "gallium film", "bare die"):
        assert of(slips(option=option), "danger", "warning") == []


# ----------------------------------------------------------------------------------------- ways for heat


def test_conductances_against_sums_by_hand() -> None:
    case = parse_case(CHIP)
    top, bottom, exposed = film_conductances_W_K(case)
    assert top == pytest.approx(12000 * 0.040**2)
    assert bottom == pytest.approx(10 * 0.038**2)
    sides = 4 * 38 * 1.2 + 2 * (19 + 11) * 0.75 + 4 * 31 * 2.5  # the plate's sides lie in the outer faces
    ledges = (38**2 - 19 * 11) + (31**2 - 19 * 11) + (50**2 - 31**2)
    assert exposed == pytest.approx(8 * (sides + ledges) * 1e-6)
    faces = {face.label: face.conductance_W_K for face in measure(case).faces if face.conductance_W_K is not None}
    assert faces == pytest.approx({"top": top, "bottom": bottom, "exposed": exposed})

    ways = ways_of(case, case.heat[0])
    silicon, copper = 148 * (300 / 333.15) ** 1.4012, 401 - 8 * 33.15 / 100  # at 60 C, from the catalogue's laws
    solder, paste = (250e-6 / 70 + 1.5e-6) / (19 * 11e-6), 18e-6 / 31e-3**2
    metal = 2.5e-3 / (copper * 31e-3**2) + 3e-3 / (copper * 50e-3**2)
    upwards = 0.75e-3 / (silicon * 19 * 11e-6) + solder + metal + paste + 1 / top
    assert ways.up == pytest.approx(1 / upwards, rel=1e-3)
    assert ways.down == pytest.approx(1 / (1.2e-3 / (0.3 * 0.038**2) + 1 / bottom), rel=1e-6)
    assert ways.others == pytest.approx(exposed)


def test_the_bound_lies_below_what_is_solved() -> None:
    """Rayleigh: ideal spreading can only lower the mean rise of the heated face."""
    case = parse_case(text_of((OPTIONS, "")))
    prediction = predict(case, accuracy_K=2.0)
    powers = [zone.power_W for zone in prediction.field.zones]
    mean = sum(zone.mean_C * zone.power_W for zone in prediction.field.zones) / sum(powers) - 30.0
    bound = sum(powers) / ways_of(case, case.heat[0]).total
    assert 0.3 * mean < bound < mean


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ((TOP, ""), "nothing cools the top; 180 W must leave through exposed, bottom"),
        (("face: top, film_W_m2K: 12000", "face: top, film_W_m2K: 10"), "180 W must leave through exposed, top"),
        (("face: top, film_W_m2K: 12000, fluid_C: 30, wetted_mm: [40, 40]",
          "face: right, film_W_m2K: 12000, fluid_C: 30"),
         "nothing cools the top; 180 W must leave through right"),
    ],
)  # fmt: skip
def test_a_forgotten_or_weak_face(change: tuple[str, str], told: str) -> None:
    (slip,) = of(slips(change), "warning")
    assert slip.place == "cooling" and slip.message.startswith(told)


def test_exchanged_faces() -> None:
    """A strong film under the laminate: as conductances alone it would do."""
    found = slips(
        ("face: top, film_W_m2K: 12000", "face: top, film_W_m2K: 9"),
        ("face: bottom, film_W_m2K: 10", "face: bottom, film_W_m2K: 12000"),
    )
    assert [slip.place for slip in of(found, "warning")] == ["cooling"]


def test_options_do_not_repeat_what_the_base_says_of_its_cooling() -> None:
    found = measure(parse_case(text_of((TOP, ""))))
    assert any(slip.place == "cooling" for slip in found.slips)
    assert not any(slip.place == "cooling" for option in found.options for slip in option.slips)


def test_no_heat_and_one_temperature() -> None:
    (slip,) = of(slips((CHIP[CHIP.index("heat:") : CHIP.index("cooling:")], "")), "warning")
    assert slip.place == "heat" and slip.message == "no heat is made: the whole stack stays at 30 C"
    two = (CHIP[CHIP.index("heat:") : CHIP.index("cooling:")], ""), ("10, fluid_C: 30", "10, fluid_C: 20")
    assert of(slips(*two), "warning") == []


# ------------------------------------------------------------------------------------------ bare contacts


def test_parts_that_touch_on_the_way_of_the_heat() -> None:
    (slip,) = of(slips(option="no paste"), "warning")
    assert slip.message == "lid touches plate without a joint: perfect contact, which no mount has"
    solder = "  - {joint: solder, film_um: 250, material: indium solder}\n"
    found = slips((solder, ""), (OPTIONS, ""))
    assert [slip.message[:20] for slip in of(found, "warning")] == ["die touches lid with"]
    new = next(option for option in measure(parse_case(CHIP)).options if option.option == "no paste")
    assert any("lid touches plate" in slip.message for slip in new.slips)


def test_values_in_place_make_a_bare_contact_a_notice_and_one_piece_none() -> None:
    bare = ("  - {joint: paste, material: silicone paste}\n", "")
    no_options = (OPTIONS, "")
    given = ("part: plate, material: copper", "part: plate, material: {conductivity_W_mK: 390}")
    found = slips(bare, no_options, given)
    assert of(found, "warning") == [] and any("lid touches plate" in slip.message for slip in of(found, "notice"))
    foot = ("part: plate", "part: lid top")
    assert not any("touches" in slip.message for slip in slips(bare, no_options, foot))
    soft = ("part: plate, material: copper", "part: plate, material: indium")
    assert not any("touches" in slip.message for slip in slips(bare, no_options, soft))


def test_heat_in_the_face_towards_the_lid() -> None:
    (slip,) = [slip for slip in slips(("at: bottom", "at: top")) if slip.place == "heat in die, at"]
    assert slip.severity == "notice" and "towards lid" in slip.message
    assert not any(slip.place == "heat in die, at" for slip in slips())


# --------------------------------------------------------------------------------------- zones, maps, slices


def test_many_hot_zones_are_one_line_and_come_first() -> None:
    found = of(slips(("power_W: 60", "power_W: 60000")), "warning")
    assert [slip.place for slip in found] == ["heat", "heat in die"]
    assert found[1].message.startswith("3 zones (A, B, C) make 526 to 1.33e+03 W/mm2")
    assert found[1].remedy == "did you mean 60 W (milliwatts written as W, or kW for W)?"


def test_tolerances_come_after_what_changes_the_answer() -> None:
    thick = ("material: silicon, size_mm: [19, 11], thickness_mm: 0.75",
             "material: silicon, size_mm: [19, 11], thickness_mm: {value: 0.75, plus_minus: 0.2}")  # fmt: skip
    found = of(slips(thick, ("thickness_mm: 2.5", "thickness_mm: 25"), (TOP, "")), "warning")
    assert [slip.place for slip in found] == ["cooling", "lid.thickness_mm", "die.thickness_mm"]


def test_a_power_map_is_checked_as_zones_are(tmp_path: Path) -> None:
    (tmp_path / "p.csv").write_text("0.5,0.5,0.5,400\n" + "0.5,0.5,0.5,0.5\n" * 3, encoding="utf-8")
    mapped = (ZONES, "    map: {file: p.csv, holds: W}\n")
    (slip,) = of(slips(mapped, folder=tmp_path), "warning")
    # 400 W in one of 16 cells of 209 mm2 (by hand).
    assert slip.message.startswith(f"one cell of p.csv makes up to {400 * 16 / 209:.3g} W/mm2 (row 1, column 4)")
    (heat,) = measure(parse_case(text_of(mapped), folder=tmp_path)).heat
    assert heat.map_highest_W_mm2 == pytest.approx(400 * 16 / 209)
    assert measure(parse_case(CHIP)).heat[0].map_highest_W_mm2 is None

    (tmp_path / "p.csv").write_text("1800,1800\n1800,1800\n", encoding="utf-8")
    found = of(slips(mapped, folder=tmp_path), "warning")
    assert [slip.place for slip in found] == ["heat", "heat in die, map"]
    assert all("milliwatts" in slip.remedy for slip in found[:2])


SLICE = """
title: A slice
dimensions: 2
layers:
  - {part: die, material: silicon, size_mm: 19, thickness_mm: 0.75}
  - {joint: solder, material: indium solder, film_um: 250}
  - {part: lid, material: copper, size_mm: 31, thickness_mm: 2.45}
heat: [{in: die, zones: [{zone: all, power_W: 120}]}]
cooling: [{face: top, film_W_m2K: 12000, fluid_C: 30}]
"""


def test_a_slice_without_depth() -> None:
    found = slips_of(parse_case(SLICE))
    (warning,) = of(found, "warning")
    assert warning.place == "depth_mm" and "0.00632 W/mm2" in warning.message  # 120 / 19 000, by hand
    assert any(slip.place == "depth_mm" and "1000 mm deep (assumed)" in slip.message for slip in of(found, "notice"))
    deep = slips_of(parse_case(SLICE.replace("dimensions: 2", "dimensions: 2\ndepth_mm: 11")))
    assert not any(slip.place == "depth_mm" for slip in deep)


# -------------------------------------------------------------------------------------------------- joints


def test_a_film_map_in_millimetres(tmp_path: Path) -> None:
    (tmp_path / "f.csv").write_text("0.150,0.200\n0.250,0.350\n", encoding="utf-8")
    (slip,) = of(slips(("film_um: 250", "film_um: {file: f.csv}"), folder=tmp_path), "warning")
    assert slip.place == "solder.film_um" and slip.remedy == "did you mean 150 to 350 um (mm written as um)?"
    (tmp_path / "f.csv").write_text("150,2\n250,350\n", encoding="utf-8")
    (slip,) = of(slips(("film_um: 250", "film_um: {file: f.csv}"), folder=tmp_path), "warning")
    assert slip.message.startswith("2 um lies outside what 'indium solder'")


def test_a_film_far_outside_its_class_is_a_warning() -> None:
    (slip,) = of(slips(("film_um: 250", "film_um: 2")), "warning")
    assert slip.place == "solder.film_um" and "thickness" in slip.remedy
    by_name = ("film_um: 250, material: indium solder", "film_um: 2, conductivity_W_mK: 70, boundary_mm2K_W: 1")
    (slip,) = of(slips(by_name), "warning")
    assert slip.place == "solder.film_um"
    near = slips(("film_um: 250, material: indium solder", "film_um: 250, material: gallium film"))
    (slip,) = [slip for slip in near if slip.place == "solder.film_um"]
    assert slip.severity == "notice" and "um" in slip.remedy and "aluminium" not in slip.remedy


def test_a_class_alone_is_no_warning() -> None:
    (slip,) = [slip for slip in slips() if "not fit" in slip.message and slip.place == "paste"]
    assert slip.severity == "notice"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ("{conductivity_W_mK: 4.01}", "did you mean 401 W/mK"),
        ("{conductivity_W_mK: 4010, density_kg_m3: 8933}", "unit"),
    ],
)
def test_a_lid_conducts_as_metal_does(given: str, told: str) -> None:
    found = slips(("part: lid, material: copper", f"part: lid, material: {given}"))
    assert any(slip.place == "lid.material" and told in slip.remedy for slip in of(found, "warning")), found
    odd = ("part: lid, material: copper", "part: level, material: {conductivity_W_mK: 4.01, density_kg_m3: 8933}")
    no_options = (OPTIONS, "")
    assert any("copper by its 8933" in slip.message for slip in slips(odd, no_options))


# ------------------------------------------------------------------------------------------------- gallium


def test_an_option_named_gallium_keeps_its_danger_over_a_class_of_the_base() -> None:
    assert [slip.place for slip in of(slips(ALUMINIUM, option="gallium film"), "danger")] == ["solder"]
    other = ("changes: {solder: {film_um: 40", "changes: {solder: {material: indium solder, film_um: 40")
    assert of(slips(ALUMINIUM, other, option="gallium film"), "danger") == []


@pytest.mark.parametrize("name", ["galinstan", "Liquid-metal", "EGaIn", "gallium alloy"])
def test_names_of_gallium_alloys(name: str) -> None:
    joint = (
        "joint: solder, film_um: 250, material: indium solder",
        f"joint: {name}, film_um: 40, conductivity_W_mK: 24",
    )
    assert of(slips(joint, ALUMINIUM, (OPTIONS, "")), "danger")
    copper = slips(joint, (OPTIONS, ""))
    assert not of(copper, "danger") and any("bare copper" in slip.message for slip in copper)


def test_values_of_a_gallium_alloy_on_aluminium_are_asked_about() -> None:
    joint = ("joint: solder, film_um: 250, material: indium solder", "joint: film, film_um: 40, conductivity_W_mK: 24")
    found = slips(joint, ALUMINIUM, (OPTIONS, ""))
    assert any(slip.place == "film" and "gallium" in slip.message for slip in of(found, "warning"))
    assert not any("gallium" in slip.message for slip in slips(joint, (OPTIONS, "")))


def test_a_lid_of_unnamed_values_that_may_be_aluminium() -> None:
    film = ("film_um: 250, material: indium solder", "material: gallium film")

    def lid(given: str) -> tuple[Slip, ...]:
        return slips(film, ("part: lid, material: copper", f"part: lid, material: {given}"), (OPTIONS, ""))

    heavy = of(lid("{conductivity_W_mK: 160, density_kg_m3: 2700}"), "danger")
    assert [slip.place for slip in heavy] == ["solder"] and "is it aluminium?" in heavy[0].message
    assert any("is it aluminium?" in slip.message for slip in of(lid("{conductivity_W_mK: 160}"), "warning"))
    copper = lid("{conductivity_W_mK: 390, density_kg_m3: 8933}")
    assert not any("aluminium" in slip.message for slip in copper) and any("copper" in slip.message for slip in copper)


def test_a_prediction_says_dangers_first_and_copper_too() -> None:
    case = parse_case(text_of(ALUMINIUM, ("lid: remove, paste: remove", "paste: remove")))
    told = predict(with_option(case, "gallium film"), accuracy_K=20.0).remarks
    assert told[0].startswith("DANGER: solder: ")
    told = predict(with_option(parse_case(CHIP), "gallium film"), accuracy_K=20.0).remarks
    assert any(text.startswith("NOTICE: solder: ") and "bare copper" in text for text in told)
    told = predict(with_option(parse_case(CHIP), "no paste"), accuracy_K=20.0).remarks
    assert any(text.startswith("WARNING: plate: lid touches plate") for text in told)

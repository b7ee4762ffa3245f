"""Measurements of a case against sums done by hand, and the text drawing of its stack."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from thermsim.case.load import parse_case
from thermsim.mesh.predict import predict
from thermsim.plausibility.coverage import cover, thin_strips
from thermsim.plausibility.measure import Measurements, measure
from thermsim.report.data.result import result
from thermsim.report.drawing.text_stack import drawing, power_in_words
from thermsim.report.text.inspection import measurement_blocks

STACK = """
title: An invented stack, sizes as in the Corncrake package
layers:
  - {part: substrate, material: laminate, size_mm: [42.0, 38.0], thickness_mm: {value: 1.36, plus_minus: 0.03}}
  - part: die
    material: silicon
    size_mm: [24.8, 10.4]
    thickness_mm: {value: 0.66, plus_minus: 0.02, basis: measured}
  - joint: solder
    film_um: {value: 240, plus_minus: 30, basis: measured}
    conductivity_W_mK: 70
    boundary_mm2K_W: 3.0
  - {part: lid, material: copper, size_mm: [36.0, 32.0], thickness_mm: {value: 2.45, plus_minus: 0.02}}
  - {joint: paste, resistance_mm2K_W: {value: 7.8, plus_minus: 2, basis: assumed}}
  - {part: plate, material: copper, size_mm: [44.0, 44.0], thickness_mm: 3.0}
heat:
  - in: die
    zones:
      - {zone: cores, corner_mm: [4.0, 0.0], size_mm: [16.8, 10.4], power_W: 188.7}
      - {zone: memory, corner_mm: [20.8, 0.0], size_mm: [4.0, 6.0], power_W: 9.2}
cooling:
  - {face: top, film_W_m2K: 14000, fluid_C: 31.0, wetted_mm: [34.0, 34.0]}
  - {face: bottom, film_W_m2K: 12, fluid_C: 30.0}
  - {face: exposed, film_W_m2K: 10, fluid_C: 30.0}
options:
  - option: gallium film, 30 um
    changes:
      solder: {film_um: {value: 30, plus_minus: 15}, conductivity_W_mK: 28, boundary_mm2K_W: 0.8}
  - option: thinner die, same height
    changes: {die.thickness_mm: 0.46, lid.thickness_mm: 2.65}
"""


def measured(*changes: tuple[str, str]) -> Measurements:
    text = STACK
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return measure(parse_case(text))


def test_heights_close() -> None:
    found = measured()
    # 1.36 + 0.66 + 0.24 + 2.45 + 3.0; tolerances 0.03, 0.02, 0.03, 0.02 (by hand).
    assert found.height.height_mm == pytest.approx(7.71)
    assert found.height.worst_case_mm == pytest.approx(0.10)
    assert found.height.root_sum_square_mm == pytest.approx(np.sqrt(0.0026))
    assert found.height.unknown == ("paste",)
    film = next(level for level in found.levels if level.level == "solder")
    assert film.thickness_mm == pytest.approx(0.24)


def test_options_say_what_they_do_to_the_height() -> None:
    options = {option.option: option for option in measured().options}
    assert options["thinner die, same height"].height_change_mm == pytest.approx(0.0, abs=1e-12)
    assert options["gallium film, 30 um"].height_change_mm == pytest.approx(-0.21)


def test_areas_of_joints_and_faces() -> None:
    found = measured()
    assert {joint.joint: joint.area_mm2 for joint in found.joints} == pytest.approx(
        {"solder": 24.8 * 10.4, "paste": 36.0 * 32.0}
    )
    acting = {face.label: face.area_mm2 for face in found.faces if face.kind == "film"}
    # Sides of substrate, die and lid, and the ledges where one is wider than the next (by hand).
    sides = 2 * (42 + 38) * 1.36 + 2 * (24.8 + 10.4) * 0.66 + 2 * (36 + 32) * 2.45
    ledges = (42 * 38 - 24.8 * 10.4) + (36 * 32 - 24.8 * 10.4) + (44 * 44 - 36 * 32)
    assert acting == pytest.approx({"top": 34.0 * 34.0, "bottom": 42.0 * 38.0, "exposed": sides + ledges})
    bare = {face.face: face.area_mm2 for face in found.faces if face.kind == "insulated"}
    assert bare == pytest.approx({**dict.fromkeys(("left", "right", "front", "back"), 132.0), "top": 44**2 - 34**2})
    top = next(face for face in found.faces if face.label == "top")
    assert top.conductance_W_K == pytest.approx(14000 * 34e-3**2)


def test_joints_in_the_trades_units() -> None:
    solder, paste = measured().joints
    # 240 um of 70 W/mK and 3 mm2K/W: 6.4286; 197.9 W over 257.92 mm2 is 0.76729 W/mm2 (by hand).
    assert solder.resistance_mm2K_W == pytest.approx(240 / 70 + 3)
    assert solder.plus_minus_mm2K_W == pytest.approx(30 / 70)
    assert solder.drop_K == pytest.approx(4.93259, rel=1e-5)
    assert (solder.largest_doubt, paste.largest_doubt) == ("film", "resistance")
    assert solder.assumed == ("conductivity", "boundary") and paste.assumed == ("resistance",)
    assert solder.between == ("die", "lid")
    assert solder.fit and paste.fit


def test_a_joint_that_is_mostly_guess_is_not_fit() -> None:
    found = measured(("value: 7.8, plus_minus: 2,", "value: 7.8, plus_minus: 5,"))
    paste = next(joint for joint in found.joints if joint.joint == "paste")
    assert not paste.fit
    assert any(slip.place == "paste" and "not fit" in slip.message for slip in found.slips)


def test_an_uneven_film_has_a_lowest_and_a_highest_resistance() -> None:
    found = measured(
        ("{value: 240, plus_minus: 30, basis: measured}", "{low: 20, high: 140, towards: +x}"),
        ("film_um: {value: 30, plus_minus: 15}", "film_um: {edge: 60, centre: 15}"),
    )
    wedge = found.joints[0]
    assert (wedge.lowest_mm2K_W, wedge.resistance_mm2K_W, wedge.highest_mm2K_W) == pytest.approx(
        (20 / 70 + 3, 80 / 70 + 3, 140 / 70 + 3)
    )
    # Mean of a dome that falls as (1 - x^2)(1 - y^2): edge + 4/9 (centre - edge) = 40 um (by hand).
    dome = next(option for option in found.options if option.option == "gallium film, 30 um")
    assert dome.height_change_mm == pytest.approx((40 - 80) * 1e-3)


def test_maps_are_read(tmp_path: Path) -> None:
    (tmp_path / "film.csv").write_text("20,40\n60,120\n", encoding="utf-8")
    (tmp_path / "power.csv").write_text("0.5,0.7\n0.9,1.1\n", encoding="utf-8")
    text = STACK[: STACK.index("options:")].replace("{value: 240, plus_minus: 30, basis: measured}", "{file: film.csv}")
    zones = text[text.index("    zones:") : text.index("cooling:")]
    text = text.replace(zones, "    map: {file: power.csv, holds: W/mm2}\n")
    found = measure(parse_case(text, folder=tmp_path))
    # Means of the tables: 60 um and 0.8 W/mm2 over 257.92 mm2 (by hand).
    joint, heat = found.joints[0], found.heat[0]
    assert joint.film_um == pytest.approx(60.0)
    assert (joint.lowest_mm2K_W, joint.highest_mm2K_W) == pytest.approx((20 / 70 + 3, 120 / 70 + 3))
    assert heat.power_W == pytest.approx(0.8 * 257.92)
    assert heat.covered_share == pytest.approx(1.0)


def test_zones_and_map_are_both_told(tmp_path: Path) -> None:
    (tmp_path / "power.csv").write_text("0.5,0.7\n0.9,1.1\n", encoding="utf-8")
    text = STACK[: STACK.index("options:")].replace("    zones:", "    map: {file: power.csv, holds: W}\n    zones:")
    case = parse_case(text, folder=tmp_path)
    (heat,) = measure(case).heat
    assert heat.map_W == pytest.approx(0.5 + 0.7 + 0.9 + 1.1)
    assert sum(zone.power_W for zone in heat.zones) + heat.map_W == pytest.approx(heat.power_W)
    rows = [row for block in measurement_blocks(measure(case)) for row in block.rows]
    assert ("map power.csv", "3.2", "257.9", "0.0124") in rows  # over 24.8 x 10.4 mm
    assert "W in zones, 3.2 W from power.csv)" in power_in_words(case, case.heat[0])


def test_two_entries_on_one_face_are_told_apart() -> None:
    one, other = "{face: top, film_W_m2K: 14000, fluid_C: 31.0, ", "{face: top, film_W_m2K: 9000, fluid_C: 31.0, "
    patches = f"{one}corner_mm: [3, 3], size_mm: [20, 40]}}\n  - {other}corner_mm: [23, 3], size_mm: [20, 40]}}"
    case = parse_case(STACK.replace(f"{one}wetted_mm: [34.0, 34.0]}}", patches))
    found = [face.place for face in measure(case).faces]
    assert found[:3] == ["20 x 40 mm at 3, 3 mm", "20 x 40 mm at 23, 3 mm", None]
    rows = [row for block in measurement_blocks(measure(case)) for row in block.rows]
    named = {"cooling.top.0 (top), 20 x 40 mm at 3, 3 mm", "cooling.top.1 (top), 20 x 40 mm at 23, 3 mm"}
    assert named <= {row[0] for row in rows}
    assert "top, 20 x 40 mm at 3, 3 mm" in drawing(case, width=100)
    flows = result(predict(case, accuracy_K=20.0))["flows"]
    assert [flow["place"] for flow in flows] == [*found[:2], None, None]


# Copper 8933 kg/m3 (Incropera, 7th ed., Table A.1): 36 x 32 x 2.45 mm weigh 25.2125 g (by hand).
LID = "size_mm: [36.0, 32.0], thickness_mm: {value: 2.45, plus_minus: 0.02}}"


def test_mass_of_a_part() -> None:
    lid = next(part for part in measured().parts if part.part == "lid")
    assert lid.mass_g == pytest.approx(25.2125, rel=1e-5)
    # Thickness tolerance 0.02/2.45, density 0.5 %: root-sum-square 0.9579 % (by hand).
    assert lid.mass_plus_minus_g == pytest.approx(25.2125 * 0.0095740, rel=1e-3)
    assert lid.verdict == ""


@pytest.mark.parametrize(("weighed", "verdict"), [(25.3, "agrees"), (24.0, "differs")])
def test_mass_is_held_against_the_scale(weighed: float, verdict: str) -> None:
    found = measured((LID, LID[:-1] + f", weighed_g: {{value: {weighed}, plus_minus: 0.05}}}}"))
    lid = next(part for part in found.parts if part.part == "lid")
    assert lid.verdict == verdict
    assert lid.difference_g == pytest.approx(weighed - 25.2125, abs=1e-4)
    assert any(slip.place == "lid.weighed_g" for slip in found.slips) == (verdict == "differs")


def test_the_scale_finds_a_lid_typed_ten_times_too_thick() -> None:
    found = measured(
        ("value: 2.45, plus_minus: 0.02}}", "value: 24.5, plus_minus: 0.02}, weighed_g: 25.2}"),
        (", lid.thickness_mm: 2.65", ""),
    )
    lid = next(part for part in found.parts if part.part == "lid")
    assert lid.verdict == "differs"
    assert lid.thickness_by_mass_mm == pytest.approx(2.449, abs=1e-3)


RIM = ", stands_on: {down_to: substrate, rim_mm: 3, resistance_mm2K_W: 100}}"


@pytest.mark.parametrize(("weighed", "verdict"), [(28.1, "agrees"), (26.0, "differs")])
def test_a_rim_weighs_beside_the_film_too(weighed: float, verdict: str) -> None:
    scale = f", weighed_g: {{value: {weighed}, plus_minus: 0.05}}"
    found = measured((LID, LID[:-1] + scale + RIM))
    lid = next(part for part in found.parts if part.part == "lid")
    # Rim of 36 x 32 - 30 x 26 mm = 372 mm2, as high as die and film, 0.66 + 0.24 mm (by hand).
    rim = 372 * 0.9 * 8.933e-3
    assert lid.mass_g == pytest.approx(25.2125 + rim, rel=1e-5)
    # 0.02 mm of the plate, 0.02 mm of the die and 0.03 mm of the film beside the rim, 0.5 % of the density (by hand).
    terms = np.array([1152 * 0.02 * 8.933e-3, 372 * 0.02 * 8.933e-3, 372 * 0.03 * 8.933e-3, 0.005 * (25.2125 + rim)])
    assert lid.mass_plus_minus_g == pytest.approx(np.sqrt((terms**2).sum()), rel=1e-4)
    assert lid.verdict == verdict
    # A rim of 3 +- 0.1 mm: 2 (36 + 32) - 8 x 3 = 112 mm of inner edge, 0.9 mm high (by hand).
    wide = measured((LID, LID[:-1] + RIM.replace("rim_mm: 3", "rim_mm: {value: 3, plus_minus: 0.1}")))
    terms = np.append(terms, 112 * 0.9 * 0.1 * 8.933e-3)
    lid_of_wide = next(part for part in wide.parts if part.part == "lid")
    assert lid_of_wide.mass_plus_minus_g == pytest.approx(np.sqrt((terms**2).sum()), rel=1e-4)
    # The plate alone is measured again, the rim stays (by hand).
    assert lid.thickness_by_mass_mm == pytest.approx((weighed - rim) / (1152 * 8.933e-3), rel=1e-4)


def test_no_thickness_is_right_where_the_rim_alone_weighs_more() -> None:
    found = measured((LID, LID[:-1] + ", weighed_g: 2.5" + RIM))
    (slip,) = [slip for slip in found.slips if slip.place == "lid.weighed_g"]
    assert "sides, thickness and what it stands on again, or" in slip.remedy


def test_inserts_count_with_their_own_density() -> None:
    silver = "{material: silver, corner_mm: [1, 1], size_mm: [10, 10]}"
    slug = f", inserts: [{silver}, {{material: void, corner_mm: [20, 5], size_mm: [4, 5]}}]}}"
    lid = next(part for part in measured((LID, LID[:-1] + slug)).parts if part.part == "lid")
    # Silver 10500 kg/m3 (Incropera, 7th ed., Table A.1); 100 mm2 silver, 20 mm2 void, the rest copper (by hand).
    assert lid.mass_g == pytest.approx(2.45e-3 * (1032 * 8.933 + 100 * 10.5), rel=1e-6)


def test_a_weighed_part_without_density_cannot_be_judged() -> None:
    part = LID[:-1] + ", weighed_g: 25.2}"
    found = measured(("material: copper, " + LID, "material: {conductivity_W_mK: 380}, " + part))
    lid = next(part for part in found.parts if part.part == "lid")
    assert (lid.verdict, lid.mass_g) == ("cannot say", None)
    assert any("no density" in slip.message for slip in found.slips)


def test_power_and_what_the_zones_leave_free() -> None:
    (die,) = measured().heat
    assert die.power_W == pytest.approx(197.9)
    # 24.8 x 10.4 less 16.8 x 10.4 less 4 x 6 (by hand).
    assert die.free_mm2 == pytest.approx(257.92 - 174.72 - 24.0)
    assert die.covered_share == pytest.approx(198.72 / 257.92)
    assert die.zones[0].flux_W_mm2 == pytest.approx(188.7 / 174.72)
    assert die.strips == ()


def test_a_thin_strip_between_zones_is_found() -> None:
    (die,) = measured(
        ("corner_mm: [20.8, 0.0], size_mm: [4.0, 6.0]", "corner_mm: [20.9, 0.0], size_mm: [3.9, 6.0]")
    ).heat
    assert die.strips == ("between cores and memory: 0.1 mm",)


def test_coverage_counts_overlaps_once() -> None:
    # Two 6 x 6 squares in a 10 x 10 one that share 2 x 2: 68 covered (by hand).
    coverage = cover((0, 0, 10, 10), [(0, 0, 6, 6), (4, 4, 10, 10)])
    assert (coverage.covered_mm2, coverage.free_mm2) == pytest.approx((68.0, 32.0))


def test_a_strip_that_a_third_rectangle_fills_is_none() -> None:
    boxes = {"a": (0.0, 0.0, 4.0, 5.0), "b": (4.2, 0.0, 9.0, 5.0), "between": (4.0, 0.0, 4.2, 5.0)}
    assert thin_strips((0.0, 0.0, 9.0, 5.0), boxes, 0.3) == []
    del boxes["between"]
    (strip,) = thin_strips((0.0, 0.0, 9.0, 5.0), boxes, 0.3)
    assert (strip.between, strip.width_mm, strip.length_mm) == (("a", "b"), pytest.approx(0.2), 5.0)


def test_measurements_are_plain_data() -> None:
    text = json.dumps(measured().to_dict())
    assert json.loads(text)["height"]["unknown"] == ["paste"]


def test_forecast_grows_with_the_cube() -> None:
    grids = measured().forecast.grids
    assert [grid.cells for grid in grids] == sorted(grid.cells for grid in grids)
    assert grids[3].cells == 8 * grids[1].cells  # multipliers 2 and 4, three axes


SLICE = """
title: A slice
dimensions: 2
depth_mm: 10
layers:
  - {part: bar, material: silicon, size_mm: 20, thickness_mm: 1.0}
  - {joint: film, film_um: {edge: 60, centre: 30}, conductivity_W_mK: 5, boundary_mm2K_W: 2}
  - {part: plate, material: copper, size_mm: 30, thickness_mm: 2.0}
heat: [{in: bar, zones: [{zone: strip, corner_mm: 5, size_mm: 10, power_W: 20}]}]
cooling: [{face: top, temperature_C: 30}]
"""


def test_a_slice_is_as_deep_as_it_says() -> None:
    found = measure(parse_case(SLICE))
    assert found.joints[0].area_mm2 == pytest.approx(200.0)
    assert found.heat[0].zones[0].flux_W_mm2 == pytest.approx(20 / 100)
    # Mean of a parabola between edge 60 and centre 30: 60 - 2/3 * 30 = 40 um (by hand).
    assert found.joints[0].film_um == pytest.approx(40.0)
    silicon = found.parts[0]
    assert silicon.mass_g == pytest.approx(2330e3 * 20e-3 * 1e-3 * 10e-3, rel=1e-6)


# ------------------------------------------------------------------------------------------- the drawing


def test_the_drawing_shows_every_layer_and_is_plain() -> None:
    text = drawing(parse_case(STACK))
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 72
    for word in ("substrate", "die", "solder, 240 um", "lid", "paste, 7.8 mm2K/W", "plate", "44 mm", "exposed", "*"):
        assert word in text
    names = ("plate", "paste", "lid", "solder", "die,", "substrate")
    places = [text.index(name) for name in names]
    assert places == sorted(places)  # from the top down


def test_widths_are_drawn_to_scale() -> None:
    lines = drawing(parse_case(STACK), width=120).splitlines()
    drawn = {
        part: next(line for line in lines if f"{part}," in line)[:66].count(mark)
        for part, mark in (("lid", "#"), ("substrate", ":"))
    }
    assert drawn["lid"] / drawn["substrate"] == pytest.approx(36 / 42, abs=0.03)


@pytest.mark.parametrize("width", [10, 48, 72, 200])
def test_the_drawing_keeps_its_width(width: int) -> None:
    for text in (STACK, SLICE):
        assert max(len(line) for line in drawing(parse_case(text), width).splitlines()) <= max(width, 48)


def test_the_drawing_confesses_what_is_not_to_scale() -> None:
    thin = STACK.replace("{value: 0.66, plus_minus: 0.02, basis: measured}", "0.05")
    assert "not to scale: die" in drawing(parse_case(thin))

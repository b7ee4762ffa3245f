"""Places of a case. Expected coordinates were worked out by hand from the sizes in the text."""

from __future__ import annotations

import pytest
from samples import CORNCRAKE, SLICE

from thermsim.case.geometry.places import (
    depth_mm,
    face_box,
    insert_box,
    joint_box,
    levels,
    part_box,
    parts_of_joint,
    patch_box,
    probe_point,
    stack_box,
    zone_box,
)
from thermsim.case.load import parse_case


def test_places_of_the_demo() -> None:
    case = parse_case(CORNCRAKE, "f")
    substrate, die, lid, plate = case.parts
    assert part_box(case, die) == pytest.approx((-12.4, -5.2, 12.4, 5.2))
    assert stack_box(case) == pytest.approx((-22, -22, 22, 22))
    assert [(low, high) for low, high, _ in levels(case)] == [
        pytest.approx(pair) for pair in ((0, 1.36), (1.36, 2.02), (2.02, 4.47), (4.47, 7.47))
    ]
    zones = {zone.zone: zone for zone in case.heat[0].zones}
    assert zone_box(case, die, zones["C5"]) == pytest.approx((-4.2, -5.2, 0.0, -0.8))
    assert zone_box(case, die, zones["memory"]) == pytest.approx((8.4, -5.2, 12.4, 0.8))
    assert face_box(case, "top") == part_box(case, plate)
    assert face_box(case, "bottom") == part_box(case, substrate)
    assert face_box(case, "left") == pytest.approx((-22, 0, 22, 7.47))
    assert face_box(case, "back") == pytest.approx((-22, 0, 22, 7.47))
    assert patch_box(case, case.cooling[0]) == pytest.approx((-17, -17, 17, 17))
    assert patch_box(case, case.cooling[1]) is None
    assert patch_box(case, case.cooling[2]) is None
    assert joint_box(case, die, lid) == part_box(case, die)
    assert parts_of_joint(case, case.joints[1]) == (lid, plate)
    assert probe_point(case, case.probes[0]) == pytest.approx((-2.1, -3.0, 1.36))


def test_places_off_the_axis() -> None:
    text = CORNCRAKE.replace("    around: {material: air}", "    centre_mm: [1.0, -2.0]").replace(
        "wetted_mm: [34.0, 34.0]", "corner_mm: [2.0, 3.0], size_mm: [10.0, 20.0]"
    )
    case = parse_case(text, "f")
    die = case.parts[1]
    assert part_box(case, die) == pytest.approx((-11.4, -7.2, 13.4, 3.2))
    assert zone_box(case, die, case.heat[0].zones[0]) == pytest.approx((-11.4, -7.2, -7.4, 3.2))
    assert patch_box(case, case.cooling[0]) == pytest.approx((-20, -19, -10, 1))


def test_places_of_a_slice() -> None:
    case = parse_case(SLICE, "f")
    bar, spreader = case.parts
    assert depth_mm(case) == 500
    assert part_box(case, bar) == (-30, 0, 30, 500)
    assert part_box(case, spreader) == (-37, 0, 43, 500)
    assert stack_box(case) == (-37, 0, 43, 500)
    assert insert_box(case, bar, bar.inserts[0]) == (-10, 0, -5, 500)
    assert zone_box(case, bar, case.heat[0].zones[1]) == (-5, 0, 30, 500)
    assert joint_box(case, bar, spreader) == (-30, 0, 30, 500)
    assert patch_box(case, case.cooling[0]) == (-32, 0, 38, 500)
    assert patch_box(case, case.cooling[1]) == (0, 1, 500, 3)  # a side patch of a slice is a height
    assert probe_point(case, case.probes[0]) == (0, 250, 0)
    assert depth_mm(parse_case(SLICE.replace("depth_mm: 500\n", ""), "f")) == 1000


def test_exposed_has_no_extent() -> None:
    with pytest.raises(ValueError, match="no common extent"):
        face_box(parse_case(SLICE, "f"), "exposed")

"""What `inspect` says of likely slips, and the case after it was done: one row a kind of message."""

from __future__ import annotations

from remedies import Edits, OfSlip, Row
from remedies_of_cases import CLOCK, FILM, FIRST, MAP, NO_MAP, PASTE
from samples import SLICE

LID = "material: copper\n    size_mm: [36.0, 32.0]"
SOLDER = f"    film_um: {FILM}\n    conductivity_W_mK: 70\n    boundary_mm2K_W: 3.0\n    wetted_fraction: 0.95\n"
STANDS = "stands_on: {down_to: substrate, rim_mm: 3, resistance_mm2K_W: 100}"
GALLIUM = (SOLDER, "    material: gallium film\n")
PLATING = "  - part: plating\n    material: nickel\n    size_mm: [36.0, 32.0]\n    thickness_mm: 0.005\n"
WARM = """\
title: A chip on a cold plate
layers:
  - {part: chip, material: silicon, size_mm: [10, 10], thickness_mm: 0.7}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
"""
CHIP = "heat: [{in: chip, zones: [{zone: core, corner_mm: [0, 0], size_mm: [10, 9.5], power_W: 20}]}]\n"
DIE_IN_SLICE = """\
title: A die in a slice
dimensions: 2
layers:
  - {part: die, material: silicon, size_mm: 10, thickness_mm: 0.7}
heat: [{in: die, zones: [{zone: all, power_W: 60}]}]
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
"""


def slip(old: str, new: str, told: str, mended: Edits, *more: tuple[str, str]) -> OfSlip:
    return OfSlip(((old, new), *more), told, mended)


def lid(material: str) -> tuple[str, str]:
    return LID, LID.replace("copper", material)


HEAT: list[Row] = [
    slip(
        FIRST,
        f"{FIRST}\ncoolant_loop: {{radiator_W_K: 20, room_C: 23}}",
        "no face gives its heat to the loop: it counts for nothing; write `fluid_C: loop` at the faces that do",
        (("fluid_C: 31.0", "fluid_C: loop"),),
    ),
    slip("power_W: 23.1", "power_W: 23100", r"C5 makes .*; did you mean (\S+) W .milliwatts", (("23100", "{0}"),)),
    slip("power_W: 23.1", "power_W: 5e5", "C5 makes .*; check its power, unless it is at work", (("5e5", "23.1"),)),
    slip("power_W: 3.4", "power_W: 5e6", "graphics makes .*; check power and size", (("5e6", "3.4"),)),
    slip(
        "[4.0, 6.0], power_W: 9.2",
        "[0.4, 0.6], power_W: 9.2",
        r"memory makes .*; did you mean a size of (\S+) x (\S+) mm \(cm written as mm\)",
        (("[0.4, 0.6]", "[{0}, {1}]"),),
    ),
    slip(
        "[4.0, 6.0], power_W: 9.2",
        "[0.02, 6.0], power_W: 9.2",
        "check its size, 0.02 x 6 mm; its power is like that of the others",
        (("[0.02, 6.0]", "[4.0, 6.0]"),),
    ),
    slip(
        "[4.2, 4.4], power_W: 21.0",
        "[0.42, 0.44], power_W: 21.0",
        r"C0 is 0.42 x 0.44 mm .* did you mean (\S+) x (\S+) mm\? check its size",
        (("[0.42, 0.44]", "[{0}, {1}]"),),
    ),
    slip("reading_C: 95", "reading_C: 368", r"out of the usual; did you mean (\S+) C \(kelvin", (("368", "{0}"),)),
    slip(
        "plus_minus: 0.02",
        "plus_minus: 0.0001",
        "check `plus_minus` and its decimal point",
        (("plus_minus: 0.0001", "plus_minus: 0.02"),),
    ),
    slip(
        "plus_minus: 30,",
        "plus_minus: 0.3,",
        r"if a share is meant, write `(plus_minus: \S+ %)`; else check it",
        (("plus_minus: 0.3", "{0}"),),
    ),
    slip(
        "power_W: 23.1",
        "power_W: 23100",
        r"2 zones .* make .*did you mean (\S+) to (\S+) W",
        (("23100", "{1}"), ("21000", "{0}")),
        ("power_W: 21.0", "power_W: 21000"),
    ),
    OfSlip(
        ((NO_MAP, MAP),),
        "check the cell, and `holds`",
        (),
        files={"map.csv": "1,9000,1,1\n"},
        then={"map.csv": "1,9,1,1\n"},
    ),
    OfSlip(
        ((NO_MAP, MAP),),
        "did you mean a thousandth of each",
        (),
        files={"map.csv": "90000,80000\n"},
        then={"map.csv": "90,80\n"},
    ),
    slip(
        "{per_K: 0.003, at_C: 80}",
        "{per_K: 0.05, at_C: 40}",
        r"did you mean (\S+) \(per cent written as a fraction",
        (("0.05", "{0}"),),
    ),
    slip(
        "limits:",
        CLOCK.replace("1.1,", "1.3,") + "\nlimits:",
        "check `frequency_GHz` and `voltage_V` of the clock, and those of the step",
        (("voltage_V: 1.3", "voltage_V: 1.1"),),
    ),
    slip(
        "limits:",
        CLOCK.replace("frequency_GHz: 4, voltage_V: 1.1", "frequency_GHz: 1.1, voltage_V: 4") + "\nlimits:",
        "were both exchanged. `(.*)` and `(.*)`",
        (("frequency_GHz: 1.1, voltage_V: 4", "{0}, {1}"),),
    ),
    slip(
        "corner_mm: [20.8, 6.0], size_mm: [4.0, 4.4]",
        "corner_mm: [20.8, 6.2], size_mm: [4.0, 4.2]",
        "close the gap, if it is one: compare corners and sizes",
        (("corner_mm: [20.8, 6.2], size_mm: [4.0, 4.2]", "corner_mm: [20.8, 6.0], size_mm: [4.0, 4.4]"),),
    ),
    OfSlip(
        (("cooling:", f"{CHIP}cooling:"),),
        "of chip without heat; give it to a zone, if it makes heat",
        (("9.5]", "10]"),),
        WARM,
    ),
    OfSlip(
        (),
        "no heat is made: .*; give `heat` with zones and their `power_W`, or a `map`",
        (("cooling:", CHIP.replace("9.5", "10") + "cooling:"),),
        WARM,
    ),
    slip(
        "    at: bottom\n", "    at: top\n", "write `at: bottom` if the die lies", (("    at: top", "    at: bottom"),)
    ),
]

COOLING: list[Row] = [
    slip(
        "film_W_m2K: 14000",
        "film_W_m2K: 14",
        "at least .* K above the fluid; check which `face` .*, film coefficients",
        (("film_W_m2K: 14,", "film_W_m2K: 14000,"),),
    ),
    slip("fluid_C: 31.0", "fluid_C: 304.15", r"did you mean (\S+) C .kelvin", (("304.15", "{0}"),)),
    slip("fluid_C: 31.0", "fluid_C: 500", "check the temperature", (("500", "20"),)),
    slip(
        f"  - joint: paste\n{PASTE}\n",
        "",
        "put a `joint` between them .such as `(dry lapped contact)`",
        (("  - part: plate", "  - joint: contact\n    material: {0}\n  - part: plate"),),
    ),
    OfSlip(
        (("depth_mm: 500\n", ""),),
        "give `(depth_mm)`, the depth of the heated part, for watts of a part",
        (("dimensions: 2\n", "dimensions: 2\n{0}: 5\n"),),
        SLICE,
    ),
    OfSlip(
        (),
        "give `(depth_mm)` as deep as the die, or power for a metre of depth",
        (("dimensions: 2\n", "dimensions: 2\n{0}: 10\n"),),
        DIE_IN_SLICE,
    ),
]

SIZES: list[Row] = [
    slip("thickness_mm: 2.45", "thickness_mm: 24.5", r"did you mean (\S+) mm", (("24.5", "{0}"),)),
    slip("[36.0, 32.0]", "[36.0, 3.2]", "check both sides for a decimal point", (("3.2]", "32.0]"),)),
    slip(
        "[36.0, 32.0]",
        "[36.0, 3.2]",
        "check thickness and sides: a level of a stack is usually flat",
        (("3.2]", "32]"),),
    ),
    slip(
        "plus_minus: 0.02",
        "plus_minus: 0.2",
        "measure again with a micrometer, or check the unit of `plus_minus`",
        (("plus_minus: 0.2", "plus_minus: 0.02"),),
    ),
    slip(
        "[36.0, 32.0]", "[36.0, 8.0]", "has no way up; check the sizes of die and lid", (("36.0, 8.0]", "36.0, 32.0]"),)
    ),
    slip(
        "[36.0, 32.0]",
        "[36.0, 60.0]",
        "each hang over the other; check `centre_mm`, and that both sizes",
        (("60.0]", "32.0]"),),
    ),
    slip(
        "[42.0, 38.0]",
        "[20.0, 38.0]",
        "hangs over substrate; check the sizes of substrate and die",
        (("20.0,", "42.0,"),),
    ),
    slip(
        "thickness_mm: 2.45",
        "thickness_mm: 2.45\n    weighed_g: 12",
        r"measure its sides and thickness again \((\S+) mm would be right\), or its material is another one",
        (("2.45", "{0}"),),
    ),
    slip(
        "thickness_mm: 2.45",
        f"thickness_mm: 2.45\n    weighed_g: 21.5\n    {STANDS}",
        r"measure its sides and thickness again \((\S+) mm would be right\), or its material is another one",
        (("2.45", "{0}"),),
    ),
    slip(
        "thickness_mm: 2.45",
        f"thickness_mm: 2.45\n    weighed_g: 2.5\n    {STANDS}",
        "measure its sides, thickness and what it stands on again, or its material is another one",
        (("weighed_g: 2.5\n", "weighed_g: 28.2\n"),),
    ),
]

MATERIALS: list[Row] = [
    slip(
        *lid("{name: copper, conductivity_W_mK: 39}"),
        "check the number, or leave the name out if it is another material",
        (("W_mK: 39}", "W_mK: 390}"),),
    ),
    slip(
        *lid("{conductivity_W_mK: 390}"),
        "give `(density_kg_m3)`",
        (("390}", "390, {0}: 8930}"),),
        ("thickness_mm: 2.45", "thickness_mm: 2.45\n    weighed_g: 25.2"),
    ),
    slip(
        "material: laminate",
        "material: {conductivity_W_mK: 5000}",
        "check the number and its unit",
        (("5000", "5"),),
    ),
    slip(
        "material: silicon",
        "material: {conductivity_W_mK: {table: [[20, 140], [60, 120]]}}",
        "its conductivity is known from 20 to 60 C",
        (("[60, 120]", "[60, 120], [125, 100]"),),
    ),
    slip(
        SOLDER,
        SOLDER.replace("240, plus_minus: 30", "900"),
        "or the joint class: the two do not go together|did you mean",
        (("value: 900", "value: 240"),),
    ),
    slip("boundary_mm2K_W: 3.0", "boundary_mm2K_W: 30", "check the number and its unit", (("W: 30", "W: 3"),)),
    slip(
        PASTE,
        "    material: silicone paste\n    conductivity_W_mK: 12",
        "12 W/mK lies outside what 'silicone paste' .*",
        (("W_mK: 12", "W_mK: 4"),),
    ),
    slip(
        "    boundary_mm2K_W: 3.0\n",
        "",
        r"give `(boundary_mm2K_W)` \(often (\S+) to",
        (("    wetted_fraction", "    {0}: {1}\n    wetted_fraction"),),
    ),
    slip(
        "wetted_fraction: 0.95",
        "wetted_fraction: 0.05",
        "check that it is a fraction, not what is missing",
        (("fraction: 0.05", "fraction: 0.95"),),
    ),
    slip(
        PASTE,
        "    resistance_mm2K_W: {value: 8, plus_minus: 5}",
        "measure its film, or see which value",
        (("plus_minus: 5", "plus_minus: 1"),),
    ),
    slip(
        *lid("aluminium"),
        "take another joint material, or a part of nickel-plated copper|another joint material",
        (("material: gallium film", "material: indium solder"),),
        GALLIUM,
    ),
    slip(
        *lid("{conductivity_W_mK: 200, density_kg_m3: 2700}"),
        "find out first; if it is: another joint material",
        (("material: gallium film", "material: indium solder"),),
        GALLIUM,
    ),
    slip(
        *lid("{conductivity_W_mK: 200}"),
        "name its material, or give `(density_kg_m3)`",
        (("200}", "200, {0}: 8500}"),),
        GALLIUM,
    ),
    slip(
        *GALLIUM,
        "nickel-plate the copper, or plan to refresh the film",
        (("  - part: lid", f"{PLATING}  - part: lid"),),
    ),
    slip(
        "material: copper\n    size_mm: [44.0",
        "material: aluminium\n    size_mm: [44.0",
        "mask the parts around, use as little as wets the face",
        (("material: aluminium", "material: copper"),),
        GALLIUM,
    ),
    slip(
        *lid("aluminium"),
        "if it is a gallium alloy, take another joint material, or a part of nickel-plated copper",
        (("material: aluminium", "material: copper"),),
        ("conductivity_W_mK: 70", "conductivity_W_mK: 25"),
        ("value: 240, plus_minus: 30", "value: 60, plus_minus: 30"),
    ),
]

ROWS: list[Row] = [*HEAT, *COOLING, *SIZES, *MATERIALS]

"""What is said of case files that cannot be used, and what to write instead: one row a kind of message."""

from __future__ import annotations

from remedies import Edits, OfCase, OfCommand, OfOption, Row
from samples import SLICE

THICK = "thickness_mm: 1.36"
FILM = "{value: 240, plus_minus: 30, basis: measured}"
FIRST = "title: Corncrake on Bench Four"
EXPOSED = "  - {face: exposed, film_W_m2K: 10, fluid_C: 30.0}"
BOTTOM = "  - {face: bottom, film_W_m2K: 12, fluid_C: 30.0}"
TOP = "film_W_m2K: 14000, fluid_C: 31.0"
ON_LOOP = TOP.replace("31.0", "loop")
WITH_LOOP = (FIRST, f"{FIRST}\ncoolant_loop: {{radiator_W_K: 20, room_C: 23}}")
FLOW = "cooler_K_W: 0.05, flow_l_min: 2, inlet_C: 30"
GRAPHICS = "{zone: graphics, corner_mm: [0.0, 0.0], size_mm: [4.0, 10.4], power_W: 3.4}"
INSERT = "      - {material: void, corner_mm: 20, size_mm: 5}"
AT_BOTTOM = "    at: bottom\n"
PASTE = "    resistance_mm2K_W: {value: 7.8, plus_minus: 2, basis: assumed}"
AGAIN = "{zone: again, corner_mm: [0, 0], size_mm: [1, 1], power_W: 1}"
SECOND = f"  - in: die\n    at: bottom\n    zones: [{AGAIN}]\n\ncooling:"
CLOCK = "clock: {frequency_GHz: 4, voltage_V: 1.1, zones: [C0], steps: [{frequency_GHz: 5, voltage_V: 1.2}]}"
MAP = "    leakage: {per_K: 0.003, at_C: 80}\n    map: {file: map.csv, holds: W}\n"
NO_MAP = "    leakage: {per_K: 0.003, at_C: 80}\n"
WITH_MAP: Edits = ((NO_MAP, MAP),)

MORE = "  - option: more\n    changes: {lid.thickness_mm: 3}\n"
TWO_MAPS = """\
title: A chip heated on both faces
layers:
  - {part: chip, material: silicon, size_mm: [10, 10], thickness_mm: 0.7}
heat:
  - {in: chip, at: bottom, map: {file: map.csv, holds: W}}
  - {in: chip, at: top, map: {file: map.csv, holds: W}}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
readings:
  - {reading: sensor, zone: chip}
"""


def case(broken: Edits, told: str, mended: Edits | None = None, **more: dict[str, str]) -> OfCase:
    return OfCase(broken, told, mended, **more)


def bars(old: str, new: str, told: str, mended: Edits | None = None) -> OfCase:
    """The same of a slice."""
    return OfCase(((old, new),), told, mended, base=SLICE)


def changes(text: str, told: str, mended: str, more: Edits = ()) -> OfOption:
    """Changes of an option that cannot be worked out, and those that can instead."""
    heading = "options:\n  - option: even\n"
    return OfOption((("options:\n", f"{heading}    {text}\n"), *more), told, ((text, mended),))


# Text that is no case, or no text.
TEXT: list[Row] = [
    case(((FIRST, "title:"),), "`title` has no value; give one", (("title:", "title: a name"),)),
    case((("reading_C: 95", "reading_C: .inf"),), "not a number that a case can use", ((".inf", "95"),)),
    case(((THICK, "thickness_mm: 1e400"),), "beyond 1e\\+", (("1e400", "1.36"),)),
    case(((THICK, "thickness_mm: 1e-200"),), "nearer to 0 than 1e-.*; write 0 or a larger one", (("1e-200", "1.36"),)),
    case(((FIRST, "title: !mine x"),), "the tag `!mine` is not used in case files; leave it out", (("!mine ", ""),)),
    case(((FIRST, 'title: "a\\u200Bb\\u0007"'),), "cannot be printed", (("\\u0007", ""),)),
    case(((FIRST, "title: a\x07b"),), "cannot be printed and must not stand", (("\x07", ""),)),
    case(
        ((FIRST, f"title: x\n{FIRST}"),),
        "the key `title` stands here again; it was given in line 2",
        (("title: x\n", ""),),
    ),
    case(((FIRST, f"{FIRST}\n? [a]\n: 5"),), "a key is a word, found a list", (("? [a]\n: 5", ""),)),
    case(((FIRST, f"{FIRST}\nabout: {{? : 5}}"),), "a `:` without a key before it", (("{? : 5}", "x"),)),
    case(((FIRST, f"{FIRST}\n<<: 5"),), "`<<` takes a mapping or a list of mappings", (("\n<<: 5", ""),)),
    case(
        (("limits: {reading_C: 95}", "limits: &a {reading_C: 95, x: *a}"),),
        "leads back to the value itself",
        (("&a {reading_C: 95, x: *a}", "{reading_C: 95}"),),
    ),
    case(
        (("limits: {reading_C: 95}", "limits: {holds_back: true}"),),
        "where a reading meets a limit: give `limits.reading_C`",
        (("limits: {holds_back", "limits: {reading_C: 95, holds_back"),),
    ),
    case(
        ((FIRST, FIRST + "\nabout: " + "[" * 70 + "]" * 70),),
        "more than \\d+ lists or mappings inside one another",
        (("about: " + "[" * 70 + "]" * 70, ""),),
    ),
    case(
        ((FIRST, FIRST + "\nabout: [" + "1," * 900 + "]"),),
        "more than \\d+ keys with their values",
        (("about: [" + "1," * 900 + "]", ""),),
        limits={"case.source.yaml_source.MOST_NODES": 900},
    ),
    case((("- in: die\n", "- in:die\n"),), "the blank after the colon is missing: write `in: die`"),
    case((("{zone: C0, corner_mm", "{zone:C0, corner_mm"),), "the blank after the colon is missing: write `zone: C0`"),
    case(((FIRST, "title: *"),), "text that begins with `\\*` or `&` needs quotes", (("*", '"*"'),)),
    case(((FIRST, "title: @home"),), "cannot begin with this character; put it in quotes", (("@home", '"@home"'),)),
    case(
        ((FIRST, 'title: "a\\q"'),),
        "a backslash in double quotes begins an escape; use single quotes",
        (('"a\\q"', "'a\\q'"),),
    ),
    case(((AT_BOTTOM, "\tat: bottom\n"),), "a tab stands here; indent with blanks", (("\tat", "    at"),)),
    case(((FIRST, FIRST + "\nabout: a: b"),), "is text with `: ` inside in quotes", (("a: b", '"a: b"'),)),
    OfCommand(
        "inspect case.yaml",
        "the file is empty: a case begins with `title: ...`",
        "inspect case.yaml",
        {"case.yaml": ""},
        then={"case.yaml": SLICE},
    ),
    OfCommand(
        "inspect case.yaml",
        "the file is in UTF-16; save it as UTF-8",
        "inspect case.yaml",
        {"case.yaml": b"\xff\xfet\x00"},
        then={"case.yaml": SLICE},
    ),
    OfCommand(
        "inspect case.yaml",
        "byte 0xff is not UTF-8; save the file as UTF-8",
        "inspect case.yaml",
        {"case.yaml": b"title: \xff"},
        then={"case.yaml": SLICE},
    ),
    OfCommand("inspect case.yaml", "there is no such file", "inspect case.yaml", then={"case.yaml": SLICE}),
    OfCommand("inspect .", "this is a folder, not a case file", "inspect case.yaml", {"case.yaml": SLICE}),
    OfCommand(
        "inspect case.yaml",
        "the file is larger than \\d+ bytes: not a case file",
        "inspect case.yaml",
        {"case.yaml": SLICE + "#" * 6_000_000},
        then={"case.yaml": SLICE},
    ),
]

# Values of the wrong kind or out of their bounds, and keys that are missing or unknown.
VALUES: list[Row] = [
    case((("thickness_mm: 1.36", "thicknes_mm: 1.36"),), "unknown key `thicknes_mm`; did you mean `thickness_mm`"),
    case((("material: laminate", "material: laminat"),), "no material 'laminat'; did you mean `laminate`"),
    case(
        (("material: laminate", "material: granite"),),
        "no material 'granite'; it has: `silicon`.* or give values in place: {conductivity_W_mK: ...}",
        (("material: granite", "material: {conductivity_W_mK: 3}"),),
    ),
    case(
        ((f"    film_um: {FILM}\n    conductivity_W_mK: 70\n", "    material: silicon\n"),),
        "\\(that is a material, for parts\\).*; it has: .*`indium solder`",
        (("joint: solder\n    material: silicon", "joint: solder\n    material: indium solder"),),
    ),
    case(
        ((FIRST, ""),),
        "`title` is missing; write `(title: a name for your case)`",
        (("dimensions", "{0}\ndimensions"),),
    ),
    case(((THICK, ""),), "`thickness_mm` is missing", (("  - part: die", "    thickness_mm: 1\n  - part: die"),)),
    case(((FIRST, "title: 5"),), "must be text, found 5; put it in quotes", (("title: 5", "title: '5'"),)),
    case(((THICK, "thickness_mm: '1.36'"),), "leave the quotes out", (("'1.36'", "1.36"),)),
    case(((THICK, "thickness_mm: 1,36"),), "write decimals with a point: 1.36"),
    case(((THICK, "thickness_mm: 1_360"),), "write the digits without marks between them: 1360", (("1_360", "1360"),)),
    case(((THICK, "thickness_mm: 0x1"),), "write it in decimals: 1"),
    case((("[42.0, 38.0]", "[42,0, 38]"),), "decimals are written with a point", (("[42,0, 38]", "[42.0, 38]"),)),
    case((("[42.0, 38.0]", "42"),), "is \\[x, y\\], found 1 number", (("size_mm: 42", "size_mm: [42, 38]"),)),
    case((("dimensions: 3", "dimensions: 2"),), "change one or the other", (("dimensions: 2", "dimensions: 3"),)),
    case((("around: {material: air}", "around: underfill"),), "write {material: underfill}"),
    case(
        ((FILM, "{low: {value: 150, plus_minus: 300}, high: 350, towards: +x}"),),
        "must stay above 0|narrow their `plus_minus`, or write an option for each shape it may have",
        (("plus_minus: 300", "plus_minus: 3"),),
    ),
    case(
        ((FILM, "{low: {value: 300, plus_minus: 60}, high: 350, towards: +x}"),),
        "reaches up to 360 um .*; narrow their `plus_minus`, or write an option for each shape it may have",
        (("plus_minus: 60", "plus_minus: 50"),),
    ),
    case((("at: bottom", "at: botom"),), "did you mean `bottom`"),
    case(((FILM, "{low: 150, high: 350, towards: right}"),), "right is `(.x)`", (("right", "{0}"),)),
    case((("power_W: 3.4}", "power_W: -3.4}"),), "must be 0 or above", (("-3.4", "3.4"),)),
    case(
        (("- part: lid", "- part: lid\n    joint: x"),),
        "a layer is either a `part` or a `joint`, not both",
        (("    joint: x\n", ""),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: {table: [[20, 3], [60]]}}"),),
        "must be a pair of values",
        (("[60]", "[60, 3.1]"),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: {table: [[20, 3], [10, 4]]}}"),),
        "two or more pairs \\[C, W/mK\\] that rise in temperature",
        (("[10, 4]", "[100, 4]"),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: {table: [[20, 3], [60, -4]]}}"),),
        "every conductivity of a table must be above zero",
        (("-4", "4"),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: {value: 3, table: [[20, 3], [60, 4]]}}"),),
        "either `value` .* or `table`",
        (("value: 3, ", ""),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: {plus_minus: 1, table: [[20, 3], [60, 4]]}}"),),
        "a table stands alone",
        (("plus_minus: 1, ", ""),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: {value: 3, exponent: 1}}"),),
        "a power law needs both `at_C` and `exponent`",
        (("exponent: 1", "exponent: 1, at_C: 20"),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: {value: 3, exponent: 99, at_C: 20}}"),),
        "`exponent` must lie within",
        (("exponent: 99", "exponent: 0.99"),),
    ),
    case(
        (("material: laminate", "material: {conductivity_W_mK: 3, in_plane_W_mK: 4, through_W_mK: 1}"),),
        "give `conductivity_W_mK` alone, or `in_plane_W_mK` together with",
        (("conductivity_W_mK: 3, ", ""),),
    ),
    case(
        (("material: laminate", "material: {density_kg_m3: 1900}"),),
        "or `in_plane_W_mK` and `through_W_mK`",
        (("{density_kg_m3: 1900}", "{in_plane_W_mK: 4, through_W_mK: 1}"),),
    ),
    case(
        (("material: laminate", "material: {name: void}"),),
        "a part cannot be `void`",
        (("name: void", "name: laminate"),),
    ),
    OfCase(
        ((INSERT, "      - {material: {name: void, density_kg_m3: 3}, corner_mm: 20, size_mm: 5}"),),
        "`void` has no properties: leave out what stands beside it",
        ((", density_kg_m3: 3", ""),),
        base=SLICE,
    ),
    case(
        (("plus_minus: 0.02", "shape: normal"),),
        "`shape` and `repeats` belong to a `plus_minus`",
        (("shape: normal", "plus_minus: 0.02, shape: normal"),),
    ),
    case(
        (("plus_minus: 0.02", "plus_minus: 0.02, shape: even, repeats: 5"),),
        "the mean of repeated readings is spread by Student's t: leave out `shape`",
        ((", shape: even", ""),),
    ),
    case(
        ((FILM, "{low: 150, high: 350}"),),
        "`towards` is missing: the side at which the film is `high`, .x",
        (("high: 350}", "high: 350, towards: +x}"),),
    ),
    case(((FILM, "{value: 3, low: 150}"),), "a film is one of: a number", (("value: 3, low: 150", "value: 150"),)),
    case(
        ((FILM, "{low: 350, high: 150, towards: +x}"),),
        "exchange them, or turn `towards` round",
        (("low: 350, high: 150", "low: 150, high: 350"),),
    ),
    case(
        ((FILM, "{low: 150, high: 350, towards: +x, plus_minus: 3}"),),
        "has a tolerance at each end, `(low: {value: )30(, plus_minus: )5}`",
        ((", plus_minus: 3", ""), ("low: 150", "{0}150{1}3}")),
    ),
    case(
        (("    conductivity_W_mK: 70", "    resistance_mm2K_W: 5"),),
        "give `resistance_mm2K_W` alone, or `film_um` with",
        ((f"    film_um: {FILM}\n", ""), ("    boundary_mm2K_W: 3.0\n", ""), ("    wetted_fraction: 0.95\n", "")),
    ),
    case(
        (("    conductivity_W_mK: 70\n", ""),),
        "a joint needs `resistance_mm2K_W`, or `film_um` with .*, or a joint class",
        (("    boundary_mm2K_W: 3.0", "    material: indium solder\n    boundary_mm2K_W: 3.0"),),
    ),
    case(
        ((PASTE, "    material: paste"),),
        "the joint class 'paste' has no|no joint class 'paste'",
        (("material: paste", "resistance_mm2K_W: 7.8"),),
    ),
    case(
        (("zone: C0, takes", "zone: C0, probe: under C5, takes"),),
        "a reading belongs to a `zone` or to a `probe`",
        (("C0, probe: under C5, ", "C0, "),),
    ),
    case(
        (("zone: C0, takes: mean", "probe: under C5, in: die"),),
        "`in` and `at` say which `zone` is meant; a probe has one",
        (("C5, in: die, off", "C5, off"),),
    ),
    case(
        (("zone: C0, takes", "probe: under C5, takes"),), "leave it out, a probe is one point", ((", takes: mean", ""),)
    ),
    case(
        ((GRAPHICS, "{zone: graphics, corner_mm: [0.0, 0.0], power_W: 3.4}"),),
        "a zone has both",
        (("[0.0, 0.0], power", "[0.0, 0.0], size_mm: [4.0, 10.4], power"),),
    ),
    case(
        (("cooling:", "  - in: plate\n\ncooling:"),),
        "`heat` needs `zones`, or `map`, or both",
        (("  - in: plate\n", "  - in: plate\n    zones: [{zone: fin, power_W: 1}]\n"),),
    ),
    case(
        (("leakage: {per_K: 0.003, at_C: 80}", "leakage: {at_C: 80}"),),
        "`per_K`, or `share` with `doubling_K`",
        (("{at_C: 80}", "{per_K: 0.003, at_C: 80}"),),
    ),
    case(
        (("film_W_m2K: 14000, ", ""),),
        "`film_W_m2K` is missing: `fluid_C` is given, and needs it",
        (("fluid_C: 31.0", "film_W_m2K: 14000, fluid_C: 31.0"),),
    ),
    case(
        ((BOTTOM, "  - {face: bottom}"),),
        "a cooled face has `film_W_m2K` with `fluid_C`, or `temperature_C`",
        (("{face: bottom}", "{face: bottom, temperature_C: 40}"),),
    ),
    case(
        ((BOTTOM, "  - {face: bottom, low_C: 50, high_C: 30, towards: +x}"),),
        "exchange them, or turn `towards` round",
        (("low_C: 50, high_C: 30", "low_C: 30, high_C: 50"),),
    ),
    case(
        (("wetted_mm: [34.0, 34.0]", "wetted_mm: [34.0, 34.0], corner_mm: [0, 0]"),),
        "or `corner_mm` with `size_mm`",
        ((", corner_mm: [0, 0]", ""),),
    ),
    case(
        ((EXPOSED, EXPOSED.replace("}", ", wetted_mm: [3, 3]}")),), "it takes no patch", ((", wetted_mm: [3, 3]", ""),)
    ),
    case(
        ((BOTTOM, BOTTOM.replace("}", ", of: die}")),),
        "limit any other face to a patch",
        ((", of: die", ", wetted_mm: [3, 3]"),),
    ),
    case(
        ((BOTTOM, BOTTOM.replace("}", ", looking: +x}")),),
        "any other face looks one way only",
        ((", looking: +x", ""),),
    ),
    case(
        (("film_W_m2K: 14000", "film_W_m2K: water blok"),),
        "a number above 0, or a cooler class: .*did you mean '([^']*)'",
        (("water blok", "{0}"),),
    ),
    case(
        ((TOP, f"{FLOW}, coolant: watr"),),
        "did you mean '(water)'",
        (("watr", "{0}"),),
    ),
    case(
        ((TOP, ON_LOOP),),
        "`loop` is the coolant of a loop that the case lacks; give .*, or a number for `fluid_C`",
        (("fluid_C: loop", "fluid_C: 31"),),
    ),
    case(
        ((TOP, ON_LOOP.replace("loop", "lop")), WITH_LOOP),
        "a number, or `(loop)` for the coolant of `coolant_loop`",
        (("lop,", "{0},"),),
    ),
    case(
        ((TOP, ON_LOOP.replace("loop", "{value: loop, plus_minus: 1}")), WITH_LOOP),
        "`loop` stands alone: its tolerances are those of the numbers of `coolant_loop`",
        (("{value: loop, plus_minus: 1}", "loop"),),
    ),
    case(
        ((TOP, f"{ON_LOOP}, emissivity: 0.9, room_C: 20"), WITH_LOOP),
        "cannot radiate beside it: leave out `emissivity` and `room_C`",
        ((", emissivity: 0.9, room_C: 20, wetted", ", wetted"),),
    ),
    case(
        ((TOP, ON_LOOP), (WITH_LOOP[0], WITH_LOOP[1].replace("}", ", coolant: water}"))),
        "`coolant` says what flows: give `flow_l_min` with it, or leave it out",
        ((", coolant: water", ""),),
    ),
    case(
        ((TOP, ON_LOOP), (WITH_LOOP[0], WITH_LOOP[1].replace("radiator_W_K: 20, ", ""))),
        "`radiator_W_K` is missing",
        (("coolant_loop: {", "coolant_loop: {radiator_W_K: 20, "),),
    ),
    case(
        ((TOP, f"{TOP}, coolant: water"),),
        "give `flow_l_min` and `inlet_C` with it, or leave it out",
        ((", coolant: water", ""),),
    ),
]

ROWS: list[Row] = [*TEXT, *VALUES]

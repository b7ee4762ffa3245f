"""One mistake each in the sample cases, and what is said about it."""

from __future__ import annotations

# What is written instead of what, the words at which the fault is placed, and the start of what is said.
NUMBER = "must be a number, or a mapping with `value`, `plus_minus`, `basis`, found"
THICK = "thickness_mm: 1.36"
ONE_MISTAKE = [
    ("title: Corncrake on Bench Four", "title: 5", "5\ndimensions", "`title` must be text, found 5; put it in quotes"),
    (
        THICK,
        "thicknes_mm: 1.36",
        "thicknes_mm",
        "part 'substrate': unknown key `thicknes_mm`; did you mean `thickness_mm`?",
    ),
    (
        THICK,
        "thickness_cm: 0.1",
        "thickness_cm",
        "part 'substrate': unknown key `thickness_cm`; did you mean `thickness_mm: 1`?",
    ),
    (THICK + "\n", "\n", "part: substrate", "part 'substrate': `thickness_mm` is missing"),
    (
        THICK,
        "thickness_mm: 1.37 ells",
        "1.37",
        f"part 'substrate': `thickness_mm` {NUMBER} the text '1.37 ells'; 'ells' is no unit that is known here: "
        "write the number in mm, without a unit",
    ),
    (
        THICK,
        "thickness_mm: 1,37",
        "1,37",
        f"part 'substrate': `thickness_mm` {NUMBER} the text '1,37'; write decimals with a point: 1.37",
    ),
    (
        THICK,
        "thickness_mm: '1.37'",
        "'1.37'",
        f"part 'substrate': `thickness_mm` {NUMBER} the text '1.37'; leave the quotes out",
    ),
    (
        THICK,
        "thickness_mm: 1_370",
        "1_370",
        f"part 'substrate': `thickness_mm` {NUMBER} the text '1_370'; write the digits without marks",
    ),
    (
        THICK,
        "thickness_mm: 0x1F",
        "0x1F",
        f"part 'substrate': `thickness_mm` {NUMBER} the text '0x1F'; write it in decimals: 31",
    ),
    (
        THICK,
        "thickness_mm: 1.3 or 1.4",
        "1.3 or",
        f"part 'substrate': `thickness_mm` {NUMBER} the text '1.3 or 1.4'; 'or 1.4' is no unit that is known here: "
        "write the number in mm, without a unit",
    ),
    (THICK, "thickness_mm: -0", "-0", "part 'substrate': `thickness_mm` must be above 0, found 0"),
    (THICK, "thickness_mm: true", "true", f"part 'substrate': `thickness_mm` {NUMBER} `true`"),
    (THICK, "thickness_mm: .inf", ".inf", "`.inf` is not a number that a case can use"),
    (THICK, "thickness_mm: {valu: 1}", "valu:", "part 'substrate': unknown key `valu`; did you mean `value`?"),
    (
        "[42.0, 38.0]",
        "[42,0, 38]",
        "0, 38]",
        "part 'substrate': item 2 of `size_mm` must be above 0, found 0; decimals are written with a point",
    ),
    (
        "[42.0, 38.0]",
        "42.0",
        "42.0",
        "part 'substrate': `size_mm` of a stack with `dimensions: 3` is [x, y], found 1 number",
    ),
    ("[42.0, 38.0]", "[-42.0, 38.0]", "-42.0", "part 'substrate': item 1 of `size_mm` must be above 0, found -42"),
    ("[42.0, 38.0]", "[]", "[]", "part 'substrate': `size_mm` must have at least 1 entry, found an empty list"),
    (
        "material: laminate",
        "material: laminat",
        "laminat",
        "part 'substrate': the catalogue has no material 'laminat'; did you mean `laminate`?",
    ),
    ("material: laminate", "material: void", "void", "part 'substrate': a part cannot be `void`"),
    ("material: laminate", "material: {}", "{}", "part 'substrate': a material in place needs `conductivity_W_mK`"),
    ("around: {material: air}", "around: {}", "{}", "part 'die': `material` is missing"),
    ("- part: lid", "- prat: lid", "prat", "unknown key `prat`; did you mean `part`?"),
    ("- joint: paste", "- jiont: paste", "jiont", "unknown key `jiont`; did you mean `joint`?"),
    (
        "conductivity_W_mK: 70",
        "resistance_mm2K_W: 5",
        "joint: solder",
        "joint 'solder': give `resistance_mm2K_W` alone",
    ),
    (
        "    conductivity_W_mK: 70\n",
        "",
        "joint: solder",
        "joint 'solder': a joint needs `resistance_mm2K_W`, or `film_um` with",
    ),
    (
        "wetted_fraction: 0.95",
        "wetted_fraction: 950",
        "950",
        "joint 'solder': `wetted_fraction` must be at most 1, found 950",
    ),
    (
        "basis: assumed",
        "basis: guessed",
        "guessed",
        "joint 'paste': `basis` of `resistance_mm2K_W` must be one of `measured`, `published`, `assumed`",
    ),
    (
        "plus_minus: 0.02",
        "plus_minus: 0.7",
        "0.7,",
        "part 'die': `thickness_mm` 0.66 with plus_minus 0.7 reaches down to -0.04",
    ),
    ("- in: die", "- in: dye", "dye", "there is no part 'dye'; did you mean `die`?"),
    ("- in: die", "- in: solder", "solder\n    at", "'solder' is a joint, a film without volume"),
    (
        "at: bottom",
        "at: botom",
        "botom",
        "heat in 'die': `at` must be one of `bottom`, `top`, `volume`, found the text 'botom'; did you mean `bottom`?",
    ),
    (
        "per_K: 0.003",
        "per_K: 0.03",
        "0.03,",
        "heat in 'die': `per_K` 0.03 from 80 C makes the power negative below 46.7 C",
    ),
    (
        "corner_mm: [20.8, 6.0]",
        "corner_mm: [20.8, 5.0]",
        "{zone: input-output",
        "zone 'input-output': it overlaps zone 'memory' (line 46) by 4 x 1 mm",
    ),
    (
        "corner_mm: [20.8, 6.0]",
        "corner_mm: [20.9, 6.0]",
        "[20.9",
        "zone 'input-output': it sticks out of 'die' (24.8 x 10.4 mm): 0.1 mm over the right edge",
    ),
    (
        "[34.0, 34.0]",
        "[34.0, 46.0]",
        "[34.0, 46.0]",
        "face 'top': `wetted_mm`: the patch sticks out of the face (44 x 44 mm): 1 mm over the lower edge",
    ),
    (
        "- {face: exposed",
        "- {face: bottom",
        "bottom, film_W_m2K: 10,",
        "the face `bottom` is taken as a whole in line 51",
    ),
    (
        "film_W_m2K: 14000",
        "film_W_m2K: 14000 W/m2",
        "14000 W",
        "face 'top': `film_W_m2K` must be a number, or a mapping with `value`, `plus_minus`, `basis`, "
        "found the text '14000 W/m2'; that is a heat flux, and `film_W_m2K` takes a "
        "film coefficient in W/m2K; did you mean 14000 W/m2K?",
    ),
    (
        "film_W_m2K: 14000",
        "cooler_K_W: 0.05 W/K",
        "0.05",
        "face 'top': `cooler_K_W` must be a number, or a mapping with `value`, `plus_minus`, `basis`, "
        "found the text '0.05 W/K'; that is a thermal conductance, and `cooler_K_W` "
        "takes a thermal resistance in K/W; its reciprocal is 20 K/W: write 20",
    ),
    ("film_W_m2K: 14000, ", "", "{face: top", "face 'top': `film_W_m2K` is missing: `fluid_C` is given, and needs it"),
    ("in: die, at_mm", "in: dice, at_mm", "dice", "probe 'under C5': there is no part 'dice'; did you mean `die`?"),
    ("[10.3, 2.2, 0.0]", "[10.3, 2.2, 0.7]", "[10.3", "probe 'under C5': z = 0.7 mm lies outside 'die'"),
    (
        "[10.3, 2.2, 0.0]",
        "[10.3, 2.2]",
        "[10.3",
        "probe 'under C5': `at_mm` of a stack with `dimensions: 3` is [x, y, z], found 2 numbers",
    ),
    ("zone: C5, takes", "zone: D5, takes", "D5", "reading 'C5': there is no zone 'D5'; did you mean `C5`?"),
    ("step_K: 1", "step_K: 100", "100}", "reading 'C0': `step_K` must be at most 50, found 100"),
    ("reading_C: 95", "reading_C: 29", "29}", "the limit 29 C is not above the coldest coolant (30 C)"),
    ("accuracy_K: 0.1", "accuracy_K: 1e-5", "1e-5", "`accuracy_K` below 0.0001 cannot be kept, found 1e-05"),
    ("accuracy_K: 0.1", "depth_mm: 5", "depth_mm", "`depth_mm` belongs to a slice"),
    ("dimensions: 3", "dimensions: 2", "2\n\nlayers", "`dimensions: 2` is a slice, but every size is [x, y]"),
    (
        "limits: {reading_C: 95}",
        "limits: 96",
        "96",
        "`limits` must be a mapping with some of `reading_C`, `holds_back`, found 96",
    ),
]

IN_A_SLICE = [
    ("towards: +x", "towards: +y", "+y", "joint 'film': a slice has no y"),
    ("face: left", "face: front", "front", "a slice has no face `front`"),
    (
        "size_mm: 60",
        "size_mm: [60, 5]",
        "[60",
        "part 'bar': `size_mm` of a slice (`dimensions: 2`) is one length, found 2 numbers",
    ),
    (
        "at_mm: [30, 0]",
        "at_mm: [30, 0, 0]",
        "[30",
        "probe 'foot': `at_mm` of a slice (`dimensions: 2`) is [x, z], found 3 numbers",
    ),
    ("at_mm: [30, 0]", "at_mm: [22, 0]", "[22", "probe 'foot': the point lies in a void insert of 'bar'"),
    (
        "corner_mm: 0, size_mm: 20",
        "corner_mm: 0, size_mm: 21",
        "{zone: left",
        "zone 'left': it lies partly over a void insert of 'bar'",
    ),
    (
        "corner_mm: 20, size_mm: 5",
        "corner_mm: 58, size_mm: 5",
        "{material: void",
        "part 'bar': insert 1 sticks out of the part (60 mm): 3 mm over the right edge",
    ),
    (
        "corner_mm: 20, size_mm: 5",
        "corner_mm: 0, size_mm: 60",
        "- {material: void",
        "part 'bar': the void inserts leave nothing of the part",
    ),
    (
        "corner_mm: 1, size_mm: 2",
        "corner_mm: 5, size_mm: 2",
        "5, size_mm: 2}",
        "face 'left': `corner_mm`: the patch sticks out of the face (6 mm): 1 mm over the upper edge",
    ),
    ("through_W_mK: 8", "conductivity_W_mK: 8", "{in_plane", "part 'spreader': give `conductivity_W_mK` alone"),
    ("low: 20", "low: 200", "{low", "joint 'film': `low` is above `high`"),
    ("centre_mm: 3", "centre_mm: 300", "part: spreader", "part 'spreader': it does not lie over 'bar' below it"),
]

"""What is said of values that do not go together, of places in plan and of options, and what to write instead."""

from __future__ import annotations

from remedies import ONE_OPTION, OfCase, OfOption, Row
from remedies_of_cases import (
    BOTTOM,
    CLOCK,
    EXPOSED,
    FILM,
    INSERT,
    MAP,
    MORE,
    NO_MAP,
    SECOND,
    THICK,
    TWO_MAPS,
    WITH_MAP,
    bars,
    case,
    changes,
)
from samples import SLICE

# What needs several values at once.
TOGETHER: list[Row] = [
    case(
        (("plus_minus: 0.02", "plus_minus: 0.7"),), "reaches down to -0.04; it must stay above 0", (("0.7,", "0.07,"),)
    ),
    case(
        (("power_W: 3.4}", "power_W: {value: 3.4, plus_minus: 4}}"),),
        "it must not fall below 0",
        (("plus_minus: 4", "plus_minus: 3.4"),),
    ),
    case(
        (("wetted_fraction: 0.95", "wetted_fraction: {value: 0.95, plus_minus: 0.1}"),),
        "a fraction is at most 1",
        (("plus_minus: 0.1", "plus_minus: 0.05"),),
    ),
    case(
        (("fluid_C: 31.0", "fluid_C: {value: 31.0, plus_minus: 400}"),),
        "reaches below absolute zero",
        (("plus_minus: 400", "plus_minus: 4"),),
    ),
    case(
        (("[44.0, 44.0]", "[{value: 44, plus_minus: 12}, 44]"),),
        "narrow it, or leave room",
        (("plus_minus: 12", "plus_minus: 8"),),
    ),
    case(
        (("layers:\n", "layers:\n  - joint: low\n    resistance_mm2K_W: 5\n"),),
        "the bottom layer must be a part; .*: put a part beyond it, or take it out",
        (("  - joint: low\n    resistance_mm2K_W: 5\n", ""),),
    ),
    case(
        (("  - joint: paste\n", "  - joint: more\n    resistance_mm2K_W: 5\n  - joint: paste\n"),),
        "two joints in a row .*: put a part between them, or take one out",
        (("  - joint: more\n    resistance_mm2K_W: 5\n", ""),),
    ),
    case(
        (("dimensions: 3", "depth_mm: 5"),), "`depth_mm` belongs to a slice .*; leave it out", (("depth_mm: 5\n", ""),)
    ),
    bars("towards: +x", "towards: +y", "`towards` is `\\+x` or `-x`", (("+y", "-x"),)),
    bars(
        "in_plane_W_mK: 1500", "in_plane_W_mK: [1500, 900]", "`in_plane_W_mK` is one value", (("[1500, 900]", "1500"),)
    ),
    bars("face: left", "face: front", "allowed are `top`, `bottom`, `left`", (("front", "left"),)),
    bars("temperature_C: 25", "low_C: 20, high_C: 25, towards: +y", "`towards` is along x or z", (("+y", "+z"),)),
    case(
        (("\ncooling:", SECOND),),
        "put the zones into one entry",
        ((SECOND.removesuffix("\ncooling:"), ""),),
    ),
    case(
        (("per_K: 0.003", "per_K: 0.03"),),
        "give a smaller `per_K`, or `at_C` where the power was measured",
        (("per_K: 0.03,", "per_K: 0.003,"),),
    ),
    case(
        (
            *((line, line.split(", film")[0] + ", flux_W_mm2: 0}") for line in (BOTTOM, EXPOSED)),
            ("film_W_m2K: 14000, fluid_C: 31.0", "flux_W_mm2: 0"),
        ),
        "give a face `film_W_m2K` with `fluid_C`, or `temperature_C`",
        (("exposed, flux_W_mm2: 0", "exposed, film_W_m2K: 10, fluid_C: 30"),),
    ),
    case(
        ((EXPOSED, BOTTOM),),
        "limit one to a patch",
        (("bottom, film_W_m2K: 12, fluid_C: 30.0}", "bottom, film_W_m2K: 12, fluid_C: 30.0, wetted_mm: [3, 3]}"),),
    ),
    case(
        ((BOTTOM, EXPOSED),),
        "leave one out, or limit it to a part .`of`. or to faces",
        (("exposed, film_W_m2K: 10, fluid_C: 30.0}", "exposed, film_W_m2K: 10, fluid_C: 30.0, of: plate}"),),
    ),
    case(
        (("face: top, ", "face: top, environment: bottom, "),),
        "give another name",
        (("environment: bottom", "environment: air"),),
    ),
    case((("step_K: 1", "step_K: 100"),), "must be at most 50", (("step_K: 100", "step_K: 50"),)),
    case((("accuracy_K: 0.1", "accuracy_K: 1e-5"),), "below (\\S+) cannot be kept", (("1e-5", "{0}"),)),
    case((("reading_C: 95", "reading_C: 29"),), "not above the coldest coolant", (("29}", "39}"),)),
    case(
        (("limits:", CLOCK.replace("[C0]", "[C9]") + "\nlimits:"),),
        "there is no zone 'C9'; there are `(C0)`",
        (("[C9]", "[{0}]"),),
    ),
    case((("limits:", CLOCK.replace("[C0]", "[C0, C0]") + "\nlimits:"),), "once is enough", (("[C0, C0]", "[C0]"),)),
    case(
        (("limits:", CLOCK.replace("5,", "5000,") + "\nlimits:"),),
        "frequencies are in GHz, voltages in V",
        (("5000", "5"),),
    ),
    case(
        (("limits:", CLOCK.replace("steps: [", "steps: [{frequency_GHz: 6, voltage_V: 1.2}, ") + "\nlimits:"),),
        "put them in order, each once",
        (("{frequency_GHz: 6, voltage_V: 1.2}, ", ""),),
    ),
    case(
        (("limits:", CLOCK.replace("steps: [", "steps: [{frequency_GHz: 4.5, voltage_V: 1.3}, ") + "\nlimits:"),),
        "the voltage of steps must not fall",
        (("voltage_V: 1.3", "voltage_V: 1.15"),),
    ),
]

# Names, and where things lie.
PLACES: list[Row] = [
    case(
        (("- in: die", "- in: solder"),), "name one of its parts: `substrate`, `die`", (("- in: solder", "- in: die"),)
    ),
    case((("- in: die", "- in: dye"),), "there is no part 'dye'; did you mean `die`"),
    case((("in: die, at_mm", "in: dice, at_mm"),), "there is no part 'dice'; did you mean `die`"),
    case((("zone: C5, takes", "zone: D5, takes"),), "there is no zone 'D5'; did you mean `C5`"),
    case(
        (("zone: C5, takes", "zone: C5, in: lid, takes"),),
        "no zone 'C5' in 'lid'; there is one in `die`",
        (("in: lid", "in: die"),),
    ),
    case(
        (("zone: C5, takes", "zone: C5, at: top, takes"),),
        "made at 'top'; there is: `(bottom)`",
        (("at: top", "at: {0}"),),
    ),
    case(
        (("\ncooling:", "  - in: plate\n    zones: [{zone: C5, power_W: 1}]\n\ncooling:"),),
        "the name 'C5' is taken",
        (("{zone: C5, power_W: 1}", "{zone: C9, power_W: 1}"),),
    ),
    case(
        (("part: lid", "part: die"),),
        "the name 'die' is taken by the part or joint in line 10; names are given once",
        (("part: die\n    material: copper", "part: lid\n    material: copper"),),
    ),
    case((("part: lid", 'part: "lid "'),), "begins or ends with a blank", (('"lid "', "lid"),)),
    case(
        ((THICK, "thickness_mm: 1e-9"),),
        "at least \\S+ mm, found 1e-09; a film between two parts is a `joint`",
        (("1e-9", "1.36"),),
    ),
    case(
        (("[44.0, 44.0]\n    thickness_mm: 3.0", "[44.0, 44.0]\n    thickness_mm: 3.0\n    centre_mm: [90, 0]"),),
        "check `centre_mm` of both",
        (("[90, 0]", "[9, 0]"),),
    ),
    bars("corner_mm: 20, size_mm: 5", "corner_mm: 58, size_mm: 5", "sticks out of the part", (("58", "20"),)),
    bars(
        f"    inserts:\n{INSERT}\n",
        f"    inserts:\n{INSERT.replace('20', '0').replace('5', '60')}\n",
        "leave nothing of the part; leave the part out instead",
        ((f"    inserts:\n{INSERT.replace('20', '0').replace('5', '60')}\n", ""),),
    ),
    case((("corner_mm: [20.8, 6.0]", "corner_mm: [20.9, 6.0]"),), "0.1 mm over the right edge", (("20.9", "20.8"),)),
    case(
        (("corner_mm: [20.8, 6.0]", "corner_mm: [20.8, 5.0]"),),
        "it overlaps zone 'memory' .* by 4 x 1 mm",
        (("5.0]", "6.0]"),),
    ),
    bars("corner_mm: 0, size_mm: 20", "corner_mm: 0, size_mm: 21", "heat is made in solid only", (("21", "20"),)),
    case((("[10.3, 2.2, 0.0]", "[10.3, 2.2, 0.7]"),), "reaches from 0 to (\\S+) mm in z", (("0.7]", "{0}]"),)),
    bars("at_mm: [30, 0]", "at_mm: [22, 0]", "which has no temperature", (("22, 0", "30, 0"),)),
    case((("[34.0, 34.0]", "[34.0, 46.0]"),), "the patch sticks out of the face .44 x 44 mm", (("46.0", "44.0"),)),
    OfCase(
        WITH_MAP,
        "there is no file 'map.csv' beside the case; did you mean `map1.csv`",
        files={"map1.csv": "1,2\n3,4\n"},
    ),
    OfCase(WITH_MAP, "the table is empty", (), files={"map.csv": ""}, then={"map.csv": "1,2\n"}),
    OfCase(WITH_MAP, "decimals with a point", (), files={"map.csv": "1,5;2\n"}, then={"map.csv": "1.5;2\n"}),
    OfCase(
        WITH_MAP,
        "leave it out, or begin it with `#`",
        (),
        files={"map.csv": "a,b\n1,2\n"},
        then={"map.csv": "#a,b\n1,2\n"},
    ),
    OfCase(WITH_MAP, "a table is rectangular", (), files={"map.csv": "1,2\n1\n"}, then={"map.csv": "1,2\n1,2\n"}),
    OfCase(
        WITH_MAP, "every number is finite and 0 or above", (), files={"map.csv": "1,-2\n"}, then={"map.csv": "1,2\n"}
    ),
    OfCase(WITH_MAP, "is 0; leave the map out", ((MAP, NO_MAP),), files={"map.csv": "0,0\n"}),
    OfCase(WITH_MAP, "more than \\d+ lines", (), files={"map.csv": "1\n" * 5000}, then={"map.csv": "1\n"}),
    OfCase(WITH_MAP, "more than \\d+ columns", (), files={"map.csv": "1," * 5000 + "1"}, then={"map.csv": "1\n"}),
    OfCase(
        WITH_MAP,
        "the file is larger than \\d+ bytes: leave out lines",
        (),
        files={"map.csv": "#" * 2000},
        then={"map.csv": "1\n"},
        limits={"tables.text.LARGEST_TABLE": 1000},
    ),
    OfCase(WITH_MAP, "save the sheet as CSV", (), files={"map.csv": b"PK\x03\x04"}, then={"map.csv": "1\n"}),
    OfCase(
        ((NO_MAP, MAP.replace("map.csv", ".")),),
        "this is not a file",
        (("file: .,", "file: map.csv,"),),
        files={"map.csv": "1\n"},
    ),
    OfCase(
        ((NO_MAP, MAP.replace("holds: W}", "holds: mW}")),),
        "the table must be in W: multiply its cells by 0.001, then write `W`",
        (("mW", "W"),),
        files={"map.csv": "1\n"},
        then={"map.csv": "0.001\n"},
    ),
    OfCase(
        (("    zones:\n      - {zone: left", "    map: {file: map.csv, holds: W}\n    zones:\n      - {zone: left"),),
        "in a slice it has one, from left to right",
        (),
        SLICE,
        {"map.csv": "1\n1\n"},
        {"map.csv": "1,0,0,1\n"},
    ),
    OfCase(
        (("    zones:\n      - {zone: left", "    map: {file: map.csv, holds: W}\n    zones:\n      - {zone: left"),),
        "power over a void insert of 'bar'; heat is made in solid only",
        (),
        SLICE,
        {"map.csv": ",".join("1" * 24)},
        {"map.csv": ",".join("1" * 8 + "0" * 2 + "1" * 14)},
    ),
]

OPTIONS: list[Row] = [
    changes(
        "changes: {plate: remove, top.wetted_mm: [30, 30]}",
        r"the top layer must be a part; .* \(in an option: `paste: remove`\)",
        "changes: {plate: remove, paste: remove, top.wetted_mm: [30, 30]}",
    ),
    changes(
        "changes: {lid.thicknes_mm: 3}",
        "unknown key `thicknes_mm`; did you mean `thickness_mm`",
        "changes: {lid.thickness_mm: 3}",
    ),
    changes(
        "changes: {lod.thickness_mm: 3}", "nothing called 'lod'; did you mean `lid`", "changes: {lid.thickness_mm: 3}"
    ),
    changes(
        "changes: {lid: 3}",
        "it takes {key: value}, or `remove`, found 3; to change one value write `lid.key`",
        "changes: {lid.thickness_mm: 3}",
    ),
    changes(
        "changes: {lid: remove, lid.thickness_mm: 3}", "changes what `lid` removes", "changes: {lid.thickness_mm: 3}"
    ),
    changes(
        "changes: {lid: {thickness_mm: 3}, lid.thickness_mm: 3}", "changes already", "changes: {lid.thickness_mm: 3}"
    ),
    changes(
        "changes: {material silicon: 1.1}",
        "an option gives a part its own: `material: {name: silicon, ",
        "changes: {die: {material: {name: silicon, conductivity_W_mK: 110}}}",
    ),
    changes("changes: {title: x}", "an option cannot change `title`", "changes: {accuracy_K: 1}"),
    changes(
        "changes: {cooling.left: {temperature_C: 3}}",
        "`cooling` has no entry 'left'; it has: `top`",
        "changes: {cooling.top: {fluid_C: 3}}",
    ),
    changes(
        "changes: {die: {thickness_mm: 1, power_W: 3}}",
        "unknown key `power_W`|may mean",
        "changes: {die: {thickness_mm: 1}}",
    ),
    changes(
        "changes: {lid.around: remove}",
        "not given in the base case; nothing to remove",
        "changes: {die.around: remove}",
    ),
    changes("changes: {lid.size_mm.x: 3}", "reaches into .* which has no keys", "changes: {lid.size_mm.0: 33}"),
    changes("changes: {lid.size_mm.7: 3}", "there are 2, from 0 on", "changes: {lid.size_mm.0: 33}"),
    changes(
        "changes: {C5: {step_K: 1, power_W: 3}}",
        "`C5` may mean several entries; write `zones.C5` or `readings.C5`",
        "changes: {zones.C5: {power_W: 3}}",
    ),
    changes(
        "changes: {top: {film_W_m2K: 3}}",
        "`top` may mean several entries; write .* or give each its `environment`",
        "changes: {cooling.top.0: {film_W_m2K: 3}}",
        ((EXPOSED, "  - {face: top, film_W_m2K: 10, fluid_C: 30.0}"),),
    ),
    changes(
        "changes: {lid: remove}\n    same_height_by: lid",
        "is removed by the option itself; left are: `substrate`",
        "changes: {lid.thickness_mm: 1}\n    same_height_by: plate",
    ),
    changes(
        "changes: {die.thickness_mm: 1}\n    same_height_by: paste",
        "is a joint; a part makes up for the height",
        "changes: {die.thickness_mm: 1}\n    same_height_by: lid",
    ),
    changes(
        "changes: {die.thickness_mm: 1}\n    same_height_by: lod",
        "has no part 'lod'; did you mean `lid`",
        "changes: {die.thickness_mm: 1}\n    same_height_by: lid",
    ),
    changes(
        "changes: {lid.thickness_mm: 1}\n    same_height_by: lid",
        "leave one of both out",
        "changes: {lid.thickness_mm: 1}",
    ),
    changes(
        "changes: {die.thickness_mm: 9}\n    same_height_by: lid",
        "more than the 2.45 mm of 'lid'",
        "changes: {die.thickness_mm: 2.4}\n    same_height_by: lid",
    ),
    changes(
        "changes: {die.thickness_mm: 0.7}\n    same_as_base: [die.thicknes_mm]",
        "no number of the changed case is called 'die.thicknes_mm'; did you mean `(die.thickness_mm)`",
        "changes: {die.thickness_mm: {value: 0.66, plus_minus: 0.02, basis: measured}}\n    same_as_base: [{0}]",
    ),
    changes(
        "changes: {die.thickness_mm: 0.7}\n    same_as_base: [lid.thickness_mm]",
        "leave it out here",
        "changes: {die.thickness_mm: 0.7}",
    ),
    changes(
        "changes: {die.thickness_mm: 0.7}\n    same_as_base: [die.thickness_mm]",
        "give the same, or leave it out here",
        "changes: {die.thickness_mm: 0.7}",
    ),
    changes(
        "changes: {lid.weighed_g: 7}\n    same_as_base: [lid.weighed_g]",
        "the base has no number 'lid.weighed_g'|no number",
        "changes: {lid.weighed_g: 7}",
    ),
    OfOption(
        (("option: plate straight on die", "option: even"), ("      paste: remove\n", "")),
        "take one out .in an option: `paste: remove` or `solder: remove`",
        (("lid: remove", "lid: remove\n      paste: remove"),),
    ),
]

# Rare ones.
OTHERS: list[Row] = [
    case(
        ((f"    film_um: {FILM}\n    conductivity_W_mK: 70\n", f"    material: indium foil\n    film_um: {FILM}\n"),),
        "the joint class 'indium foil' has no `(conductivity_W_mK)`; give it, or `resistance_mm2K_W` alone",
        (("material: indium foil", "material: indium foil\n    {0}: 80"),),
    ),
    case(
        (("\ncooling:", "\nrims:"),),
        "`cooling` is missing; write `cooling:` and below it `  - ({face: [^`]*})` with your values",
        (("\nrims:", "\ncooling:\n  - {0}"),),
    ),
    case(
        (("layers:", "my_package:"),),
        "`layers` is missing; write `layers:` and below it, from "
        "the bottom up, `  - {part: name, material: silicon, size_mm: .x, y., thickness_mm: 0.7}` and so on",
        (("my_package:", "layers:"),),
    ),
    case(
        (("title: Corncrake on Bench Four", 'title: "\\U99999999"'),),
        "the text is not YAML",
        (("\\U99999999", "a name"),),
    ),
    OfCase(
        (),
        "2 zones are called 'chip'; say which: `(at: bottom)` or `at: top`",
        (("zone: chip", "zone: chip, {0}"),),
        TWO_MAPS,
        {"map.csv": "1\n"},
    ),
    case(
        (("  - {probe: under C5", "  - {probe: more, in: die, at_mm: [0, 0, 0]}\n" * 6 + "  - {probe: under C5"),),
        "a list of 7, more than the 6 .*; join or leave out some",
        (("  - {probe: more, in: die, at_mm: [0, 0, 0]}\n" * 6, ""),),
        limits={"case.faults.validation.MOST_ENTRIES": 6},
    ),
    case(
        (("options:\n", "options:\n" + MORE),),
        "options of a case of \\d+ values take too long to check; keep 1 of them, and write the others",
        ((MORE, ""),),
        base=ONE_OPTION,
        limits={"case.faults.validation.MOST_WORK": 200},
    ),
    OfCase(
        ((NO_MAP, MAP.replace("map.csv", "file/map.csv")),),
        "the table cannot be read: Not a directory",
        (("file/map.csv", "map.csv"),),
        files={"file": "", "map.csv": "1\n"},
    ),
    OfCase(
        ((NO_MAP, MAP.replace("map.csv", "../outside.csv")),),
        "save the sheet as CSV",
        (),
        files={"../outside.csv": b"PK\x03\x04"},
        then={"../outside.csv": "1\n"},
    ),
]

ROWS: list[Row] = [*TOGETHER, *PLACES, *OPTIONS, *OTHERS]

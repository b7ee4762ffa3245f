"""Small cases in which all features of a case file meet, drawn from a covering array with recorded seeds.

A case is drawn as the plain mapping of its file, with its CSV tables, so that properties can write it in another way (a
layer cut in two, mirrored, in another order) and read it like a file. All numbers are invented.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import islice
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import numpy as np
from covering import Pair, Row, covering, random_row

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case

SEED = 20_311
FAST, ALL = 30, 330

FEATURES: dict[str, tuple[str, ...]] = {
    "dimensions": ("3-D", "slice"),
    "stack": ("board, die, lid", "die, lid", "die, lid, plate", "board, die, lid, plate", "die alone"),
    "sizes": ("unequal", "equal", "lid smaller"),
    "offset": ("none", "die", "lid overhangs"),
    "heat": ("die bottom", "die top", "die volume", "die bottom and top", "die bottom and volume", "die and lid"),
    "power": (
        "zones", "whole part", "map in W", "map in W/mm2", "zones and map", "zones that only read a map", "shares",
        "whole in one number",
    ),
    "leakage": ("none", "linear", "exponential", "two laws"),
    "die k": ("constant", "power law", "table", "catalogue", "in-plane, one value", "in-plane, two values"),
    "lid k": ("constant", "catalogue", "changed catalogue", "in-plane, one value"),
    "joint": (
        "none", "resistance", "even film", "wedge in x", "wedge in y", "dome", "map", "wetted film", "class",
        "class with film",
    ),
    "upper joint": ("none", "resistance", "class", "wedge in x", "wetted film"),
    "around": ("nothing", "die in filler", "lid in filler", "die in void"),
    "stand": ("none", "rim", "legs"),
    "inserts": ("none", "slug in die", "void in die", "slug in lid", "void in lid"),
    "top": (
        "film", "fixed", "wetted patch", "patches and the rest", "fixed patch and film", "flux", "graded",
        "cooler", "cooler with flow", "of a class",
    ),
    "bottom": ("insulated", "film", "flux in", "flux out", "fixed", "patch", "radiates"),
    "sides": ("insulated", "left film", "right fixed patch", "front flux", "left patch", "back film"),
    "exposed": ("not given", "all", "of die", "all and of lid", "radiates", "two fluids", "cooler"),
    "names": ("given", "not given"),
    "probes": ("none", "inside", "on faces", "on corners and edges"),
    "readings": ("none", "mean", "highest", "of probes", "all kinds"),
    "tolerance": (
        "none", "heights", "joints", "powers", "cooling", "conductivities", "sizes of parts", "sensors", "everything",
    ),
    "shape": ("not said", "even", "triangle", "normal", "repeats"),
    "option": (
        "none", "thickness", "resistance alone", "film", "removal", "top", "power", "conductivity", "leakage",
        "same height", "size", "places", "several", "typed again", "added layers", "replaced joint", "built on another",
    ),
}  # fmt: skip

# A coolant loop is no feature of the array: it comes to every so many cases, where the top gives its heat to a fluid.
EACH_LOOP, ON_LOOP = 3, ("film", "wetted patch", "patches and the rest", "cooler")
SINKS = ("film", "fixed", "patch")


def why_not(row: Mapping[str, str]) -> str | None:
    """Why a case file cannot hold these levels together, or would not say anything; None if it can."""
    stack = row.get("stack", "")
    alone, no_plate = stack == "die alone", stack != "" and "plate" not in stack
    joint, option, top, bottom = (row.get(name, "") for name in ("joint", "option", "top", "bottom"))
    for levels, reason in RULES:
        for name, allowed in levels.items():
            if row.get(name) not in allowed:
                break
        else:
            return reason
    if row.get("stand", "none") != "none":
        if stack and "board" not in stack:
            return "there is nothing to stand on beside the die"
        if row.get("sizes") in ("equal", "lid smaller") or row.get("offset") == "lid overhangs":
            return "the die is in the way"
        if option in ("size", "removal"):
            return "what is left would be in the way, or stand on nothing"
    if alone:
        if joint not in ("", "none"):
            return "a joint lies between two parts"
        if "lid" in row.get("offset", "") + row.get("inserts", "") + row.get("around", "") + row.get("exposed", ""):
            return "there is no lid"
        if row.get("heat") == "die and lid" or row.get("sizes") in ("unequal", "lid smaller"):
            return "there is no lid"
        if option in ("removal", "same height"):
            return "there is no other part"
    if no_plate and row.get("upper joint", "none") != "none":
        return "there is no plate for it to carry"
    if option in ("resistance alone", "film", "replaced joint") and joint == "none":
        return "the option changes a joint"
    if option == "removal" and joint == "none" and no_plate:
        return "the option takes out a plate or a joint"
    if option == "leakage" and row.get("leakage") == "none":
        return "the option changes a leakage"
    if row.get("tolerance") == "sensors" and row.get("readings") == "none":
        return "there are no sensors"
    if row.get("tolerance") == "joints" and joint == "none" and row.get("upper joint") == "none":
        return "there are no joints"
    if row.get("tolerance") == "joints" and joint == "map":
        return "a map takes no `plus_minus`"
    if top == "flux" and bottom not in ("", *SINKS):
        return "heat needs a way out"
    return None


RULES: tuple[tuple[dict[str, tuple[str, ...]], str], ...] = (
    ({"dimensions": ("slice",), "joint": ("wedge in y",)}, "a slice has no y"),
    ({"dimensions": ("slice",), "die k": ("in-plane, two values",)}, "a slice has no y"),
    (
        {"dimensions": ("slice",), "offset": ("lid overhangs",), "inserts": ("void in lid", "void in die")},
        "a piece hangs in the air",
    ),
    ({"dimensions": ("slice",), "sides": ("front flux", "back film")}, "a slice has no front and back"),
    ({"heat": ("die bottom", "die top", "die volume"), "leakage": ("two laws",)}, "one heat has one law"),
    ({"heat": ("die bottom and top", "die bottom and volume"), "option": ("leakage",)}, "which heat?"),
    ({"power": ("whole part",), "inserts": ("void in die",)}, "a zone may not lie over a void"),
    (
        {"power": ("whole in one number",), "readings": ("mean", "highest", "all kinds")},
        "the zone of a whole part has the name of the part, which another heat may have too",
    ),
    ({"power": ("whole in one number",), "option": ("power",)}, "no zone has a power"),
    ({"power": ("whole part",), "heat": ("die and lid",), "inserts": ("void in lid",)}, "no zone lies over a void"),
    ({"probes": ("none",), "readings": ("of probes", "all kinds")}, "a reading needs its probe"),
    ({"tolerance": ("none",), "shape": ("even", "triangle", "normal", "repeats")}, "a shape belongs to a tolerance"),
    ({"power": ("map in W", "map in W/mm2", "zones that only read a map"), "tolerance": ("powers",)}, "no power typed"),
    ({"power": ("map in W", "map in W/mm2", "zones that only read a map"), "option": ("power",)}, "no power typed"),
    (
        {
            "top": ("patches and the rest", "fixed patch and film", "cooler"),
            "names": ("not given",),
            "option": ("top",),
        },
        "which patch?",
    ),
    ({"power": ("map in W", "map in W/mm2"), "readings": ("mean", "highest", "all kinds")}, "a reading needs a zone"),
)  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """A case as it was drawn. whole : the mapping of its file; tables : CSV files by name, lines in file order"""

    number: int
    row: Row
    whole: dict[str, Any]
    tables: dict[str, list[list[float]]] = field(default_factory=dict)

    @property
    def is_slice(self) -> bool:
        return self.row["dimensions"] == "slice"

    @property
    def case(self) -> Case:
        return read(self.whole, self.tables)


def read(whole: Mapping[str, Any], tables: Mapping[str, list[list[float]]], folder: Path | None = None) -> Case:
    """Like a file with its tables beside it."""
    if tables and folder is None:
        folder = Path(mkdtemp(prefix="thermsim-generated-"))
    write_tables(tables, folder)
    return parse_case(as_text(whole), "generated.yaml", folder)


def as_text(whole: Mapping[str, Any]) -> str:
    return json.dumps(whole, indent=1)


def write_tables(tables: Mapping[str, list[list[float]]], folder: Path | None) -> None:
    for name, lines in tables.items():
        assert folder is not None
        (folder / name).write_text("\n".join(", ".join(repr(float(cell)) for cell in line) for line in lines) + "\n")


@cache
def rows() -> tuple[tuple[Row, ...], frozenset[Pair]]:
    """The covering array, then rows drawn at random up to the number of all cases; and the pairs that cannot be."""
    found, impossible = covering(FEATURES, why_not, SEED)
    rng = np.random.default_rng(SEED + 1)
    found += [random_row(FEATURES, why_not, rng) for _ in range(max(0, ALL - len(found)))]
    return tuple(found[:ALL]), frozenset(impossible)


def drawn(number: int) -> Drawn:
    """One of all cases."""
    row = rows()[0][number]
    return _Builder(number, row).build()


def all_drawn(count: int = ALL) -> Iterator[Drawn]:
    return islice((drawn(number) for number in range(count)), count)


class _Builder:
    """Writes the file of a row; every number comes from the generator of this case alone."""

    def __init__(self, number: int, row: Row) -> None:
        self.number, self.row = number, row
        self.rng = np.random.default_rng((SEED, number))
        self.plane = 1 if row["dimensions"] == "slice" else 2
        self.tables: dict[str, list[list[float]]] = {}
        self.has_lid = row["stack"] != "die alone"

    def is_in(self, feature: str, *levels: str) -> bool:
        return self.row[feature] in levels

    def about(self, value: float, digits: int = 3) -> float:
        """A number near another, as it is typed."""
        return round(value * float(self.rng.uniform(0.85, 1.15)), digits)

    def tolerant(self, kind: str, value: float, share: float = 0.08, least: float = 0.0) -> Any:
        """A number, with its tolerance where this kind of number has one."""
        if not self.is_in("tolerance", kind, "everything"):
            return value
        given = {"value": value, "plus_minus": round(max(abs(value) * share, least), 5)}
        shape = self.row["shape"]
        if shape == "repeats":
            given["repeats"] = 5
        elif shape != "not said":
            given["shape"] = shape
        return given | {"basis": ("measured", "published", "assumed")[int(self.rng.integers(3))]}

    def plan(self, lengths: list[float], kind: str = "") -> Any:
        """Lengths or places in plan: one in a slice."""
        found = [round(length, 3) for length in lengths[: self.plane]]
        told = [self.tolerant(kind, length, 0.02) for length in found] if kind else found
        return told if self.plane == 2 else told[0]

    # ---- layers

    def build(self) -> Drawn:
        row = self.row
        self.sizes()
        whole: dict[str, Any] = {"title": f"generated {self.number}", "dimensions": 3 if self.plane == 2 else 2}
        if self.plane == 1:
            whole["depth_mm"] = self.depth
        whole["layers"] = self.layers()
        whole["heat"] = self.heat()
        whole["cooling"] = self.cooling()
        probes = self.probes()
        readings = self.readings(whole["heat"], probes)
        whole |= {"probes": probes, "readings": readings, "limits": {"reading_C": 90.0}, "accuracy_K": 1.0}
        options = self.options(whole)
        if options:
            whole["options"] = options
        if self.number % EACH_LOOP == 1 and row["top"] in ON_LOOP:
            self.put_on_loop(whole)
        return Drawn(self.number, row, whole, self.tables)

    def put_on_loop(self, whole: dict[str, Any]) -> None:
        """The first cooled face gives its heat to a coolant loop, and the bottom with it, where a film is there."""
        for entry in whole["cooling"]:
            if entry is whole["cooling"][0] or (entry["face"] == "bottom" and "film_W_m2K" in entry):
                entry["fluid_C"] = "loop"
        loop = {"radiator_W_K": self.tolerant("cooling", 1.5, 0.2), "room_C": 22.0, "heat_capacity_J_K": 300.0}
        if self.number % 2:
            loop |= {"flow_l_min": self.tolerant("cooling", 0.05, 0.3), "pump_W": self.tolerant("cooling", 0.7)}
        whole["coolant_loop"] = loop

    def sizes(self) -> None:
        self.depth = self.about(5.0, 1)
        self.die = [self.about(8.0, 1), self.about(6.0, 1)]
        grown = {"unequal": 1.4, "equal": 1.0, "lid smaller": 0.8}[self.row["sizes"]]
        self.lid = [round(grown * length, 2) for length in self.die]
        outer = 1.0 if self.row["sizes"] == "equal" else 1.7
        self.outer = [round(outer * length, 2) for length in self.die]
        self.die_t, self.lid_t, self.board_t, self.plate_t = 0.6, 1.2, 0.9, 1.5
        self.die_t, self.lid_t, self.board_t, self.plate_t = (
            self.about(t) for t in (self.die_t, self.lid_t, self.board_t, self.plate_t)
        )
        self.power = 6.0 if self.plane == 2 else 4.0
        if self.is_in("top", "flux"):  # all must leave by the bottom, and a board lets little through
            self.power *= 0.05 if "board" in self.row["stack"] else 0.4

    def layers(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = []
        stack = self.row["stack"]
        if "board" in stack:
            material = {"in_plane_W_mK": 9.0, "through_W_mK": 0.9} if self.number % 2 else "laminate"
            found.append(self.part("board", self.outer, self.board_t, material))
        found.append(self.part("die", self.die, self.die_t, self.die_material(), **self.die_more()))
        if self.has_lid:
            found += self.joint()
            found.append(self.part("lid", self.lid, self.lid_t, self.lid_material(), **self.lid_more()))
        if "plate" in stack:
            found += self.upper_joint()
            k = self.tolerant("conductivities", 200.0)
            found.append(self.part("plate", self.outer, self.plate_t, {"conductivity_W_mK": k}))
        return found

    def part(self, name: str, size: list[float], thickness: float, material: Any, **more: Any) -> dict[str, Any]:
        return {
            "part": name,
            "material": material,
            "size_mm": self.plan(size, "sizes of parts"),
            "thickness_mm": self.tolerant("heights", thickness),
            **more,
        }

    def die_material(self) -> Any:
        k = self.about(120.0, 1)
        one, two = self.about(140.0, 1), self.about(90.0, 1)
        through = self.tolerant("conductivities", self.about(60.0, 1))
        return {
            "constant": {"conductivity_W_mK": self.tolerant("conductivities", k)},
            "power law": {
                "conductivity_W_mK": {"value": k, "at_C": 27.0, "exponent": 1.3}
                | self.only_tolerance(self.tolerant("conductivities", k))
            },
            "table": {"conductivity_W_mK": {"table": [[20.0, 140.0], [60.0, 118.0], [120.0, 92.0]]}},
            "catalogue": "silicon",
            "in-plane, one value": {"in_plane_W_mK": self.tolerant("conductivities", one), "through_W_mK": through},
            "in-plane, two values": {
                "in_plane_W_mK": [one, self.tolerant("conductivities", two)], "through_W_mK": through,
            },
        }[self.row["die k"]]  # fmt: skip

    @staticmethod
    def only_tolerance(given: Any) -> dict[str, Any]:
        return {key: value for key, value in given.items() if key != "value"} if isinstance(given, dict) else {}

    def lid_material(self) -> Any:
        return {
            "constant": {"conductivity_W_mK": self.tolerant("conductivities", self.about(300.0, 0))},
            "catalogue": "copper",
            "changed catalogue": {"name": "copper", "conductivity_W_mK": self.tolerant("conductivities", 350.0)},
            "in-plane, one value": {"in_plane_W_mK": 900.0, "through_W_mK": self.tolerant("conductivities", 12.0)},
        }[self.row["lid k"]]

    def die_more(self) -> dict[str, Any]:
        more: dict[str, Any] = {}
        if self.is_in("offset", "die"):
            more["centre_mm"] = self.plan([0.31, -0.22])
        if self.is_in("around", "die in filler"):
            more["around"] = {"material": {"conductivity_W_mK": self.tolerant("conductivities", 0.8)}}
        if self.is_in("around", "die in void"):
            more["around"] = {"material": "void"}
        more |= self.insert("die", self.die, {"conductivity_W_mK": self.tolerant("conductivities", 30.0)})
        return more

    def lid_more(self) -> dict[str, Any]:
        more: dict[str, Any] = {}
        if self.is_in("offset", "lid overhangs"):
            more["centre_mm"] = self.plan([round(0.5 * self.die[0] + 0.1, 2), 0.35])
        if self.is_in("around", "lid in filler"):
            more["around"] = {"material": {"conductivity_W_mK": 2.0}}
        more |= self.insert("lid", self.lid, "brass")
        more |= self.stand()
        return more

    def stand(self) -> dict[str, Any]:
        """A rim or two legs of the lid, clear of the die wherever that lies."""
        kind = self.row["stand"]
        if kind == "none":
            return {}
        wide, tall = round(0.09 * self.die[0], 2), round(0.4 * self.lid[1], 2)
        found: dict[str, Any] = {"down_to": "board", "resistance_mm2K_W": self.tolerant("joints", 40.0, 0.3)}
        if kind == "rim":
            return {"stands_on": found | {"rim_mm": min(wide, round(0.09 * self.die[1], 2))}}
        places = ([0.0, 0.1 * self.lid[1]], [round(self.lid[0] - wide, 2), 0.5 * self.lid[1]])
        legs = [{"corner_mm": self.plan(list(place)), "size_mm": self.plan([wide, tall])} for place in places]
        return {"stands_on": found | {"legs": legs}}

    def insert(self, name: str, size: list[float], slug: Any) -> dict[str, Any]:
        kind = self.row["inserts"]
        if kind not in (f"slug in {name}", f"void in {name}"):
            return {}
        corner = [0.44 * size[0], 0.35 * size[1]]
        box = {"corner_mm": self.plan(corner), "size_mm": self.plan([0.09 * size[0], 0.3 * size[1]])}
        return {"inserts": [{"material": "void" if kind.startswith("void") else slug, **box}]}

    def film_way(self) -> dict[str, Any]:
        return {
            "conductivity_W_mK": self.tolerant("joints", self.about(5.0, 2)),
            "boundary_mm2K_W": self.tolerant("joints", self.about(3.0, 2)),
        }

    def joint(self) -> list[dict[str, Any]]:
        kind = self.row["joint"]
        um = self.about(60.0, 1)
        if kind == "none":
            return []
        if kind == "map":
            table = np.round(um * self.rng.uniform(0.6, 1.6, (1 if self.plane == 1 else 2, 3)), 2)
            self.tables["film.csv"] = table.tolist()
        side = "+" if self.number % 3 else "-"
        wedge = {end: self.tolerant("joints", times * um, 0.2) for end, times in (("low", 1.0), ("high", 3.0))}
        dome = {end: self.tolerant("joints", times * um, 0.2) for end, times in (("edge", 2.0), ("centre", 1.0))}
        form: dict[str, Any] = {
            "resistance": {"resistance_mm2K_W": self.tolerant("joints", self.about(9.0, 2), 0.3)},
            "even film": {"film_um": self.tolerant("joints", um, 0.3), **self.film_way()},
            "wedge in x": {"film_um": {**wedge, "towards": f"{side}x"}, **self.film_way()},
            "wedge in y": {"film_um": {**wedge, "towards": f"{side}y"}, **self.film_way()},
            "dome": {"film_um": dome, **self.film_way()},
            "map": {"film_um": {"file": "film.csv"}, **self.film_way()},
            "wetted film": {
                "film_um": um, **self.film_way(), "wetted_fraction": self.tolerant("joints", 0.85, 0.1),
            },
            "class": {"material": "indium solder"},
            "class with film": {"material": "silicone paste", "film_um": self.tolerant("joints", um, 0.2)},
        }[kind]  # fmt: skip
        return [{"joint": "solder", **form}]

    def upper_joint(self) -> list[dict[str, Any]]:
        form: dict[str, Any] | None = {
            "none": None,
            "resistance": {"resistance_mm2K_W": self.tolerant("joints", 8.0, 0.25)},
            "class": {"material": "greased lapped contact"},
            "wedge in x": {"film_um": {"low": 20.0, "high": 50.0, "towards": "-x"}, **self.film_way()},
            "wetted film": {"film_um": 30.0, **self.film_way(), "wetted_fraction": self.tolerant("joints", 0.9, 0.05)},
        }[self.row["upper joint"]]
        return [] if form is None else [{"joint": "paste", **form}]

    # ---- heat

    def heat(self) -> list[dict[str, Any]]:
        kind = self.row["heat"]
        if kind == "die and lid":
            places = [("die", "bottom"), ("lid", "top")]
        else:
            places = [("die", at) for at in kind.removeprefix("die ").split(" and ")]
        found = []
        for number, (name, at) in enumerate(places):
            share = (1.0, 0.35)[number]
            entry: dict[str, Any] = {"in": name, "at": at}
            law = self.leakage(number)
            if law is not None:
                entry["leakage"] = law
            found.append(entry | self.made(name, number, share * self.power))
        return found

    def leakage(self, number: int) -> dict[str, Any] | None:
        linear = {"per_K": 0.0015, "at_C": 60.0}
        exponential = {"share": 0.1, "doubling_K": 70.0, "at_C": 60.0}
        kind = self.row["leakage"]
        if kind == "two laws":
            return (linear, exponential)[number]
        return {"none": None, "linear": linear, "exponential": exponential}[kind]

    def made(self, name: str, number: int, power: float) -> dict[str, Any]:
        """Zones and map of one heat; names of zones are given once in a case."""
        size = self.die if name == "die" else self.lid
        kind = self.row["power"]
        tail = "" if number == 0 else " too"
        found: dict[str, Any] = {}
        if kind == "whole part":
            found["zones"] = [{"zone": f"whole{tail}", "power_W": self.watts(power)}]
        elif kind == "whole in one number":
            found["power_W"] = self.watts(power)
        elif kind == "shares":
            found |= {"power_W": self.watts(power), "zones": []}
            for zone, box in self.zone_boxes(size, number):
                of_zone = {"core": {"share": self.tolerant("powers", 0.45, 0.05)}, "memory": {"power_W": 0.1 * power}}
                found["zones"].append({"zone": f"{zone}{tail}", **box, **of_zone.get(zone, {})})
            found["alike"] = [{"zones": [f"cache{tail}"], "share": 0.2}]
        elif kind not in ("map in W", "map in W/mm2"):
            reads = kind == "zones that only read a map"
            boxes = self.zone_boxes(size, number)
            found["zones"] = [
                {"zone": f"{zone}{tail}", **box} | ({} if reads else {"power_W": self.watts(share * power)})
                for (zone, box), share in zip(boxes, (0.55, 0.3, 0.15), strict=False)
            ]
        if "map" in kind:
            holds = "W/mm2" if kind == "map in W/mm2" else "W"
            file = f"power{number}.csv"
            table = self.rng.uniform(0.2, 1.0, (1 if self.plane == 1 else 2, 3))
            table[0, 0] = 0.0
            area = size[0] * (size[1] if self.plane == 2 else self.depth)
            scale = 0.6 * power / table.sum() * (table.size / area if holds == "W/mm2" else 1.0)
            self.tables[file] = np.round(table * scale, 5).tolist()
            found["map"] = {"file": file, "holds": holds}
        return found

    def watts(self, power: float) -> Any:
        return self.tolerant("powers", self.about(power, 2), 0.1)

    def zone_boxes(self, size: list[float], number: int) -> list[tuple[str, dict[str, Any]]]:
        """Two zones or three; the last two touch. They leave 0.43 to 0.55 of the length to inserts."""
        shares = [("core", 0.05, 0.35, 0.1, 0.6), ("cache", 0.57, 0.2, 0.25, 0.5), ("memory", 0.77, 0.18, 0.25, 0.4)]
        if number or self.number % 2:
            shares = shares[:2]
        x = [round(share * size[0], 3) for share in (0.57, 0.77)]
        found = []
        for zone, x0, width, y0, height in shares:
            corner = round(x0 * size[0], 3)
            wide = round(width * size[0], 3)
            if zone == "cache":
                wide = round(x[1] - corner, 3)
            found.append(
                (zone, {"corner_mm": self.plan([corner, y0 * size[1]]), "size_mm": self.plan([wide, height * size[1]])})
            )
        return found

    # ---- cooling

    def cooling(self) -> list[dict[str, Any]]:
        row = self.row
        fixed_C = 25.0  # all that is held at a temperature is held at the same: between others no flow is finite
        top_size = self.top_size()
        film = self.tolerant("cooling", self.about(8000.0, 0), 0.2)

        def fluid(value: float) -> Any:
            return self.tolerant("cooling", value, 0.05)

        half = {"corner_mm": self.plan([0.1 * top_size[0], 0.15 * top_size[1]]),
                "size_mm": self.plan([0.4 * top_size[0], 0.5 * top_size[1]])}  # fmt: skip
        other = {"corner_mm": self.plan([0.6 * top_size[0], 0.2 * top_size[1]]),
                 "size_mm": self.plan([0.3 * top_size[0], 0.5 * top_size[1]])}  # fmt: skip
        water = {"face": "top", "environment": "water", "film_W_m2K": film, "fluid_C": fluid(31.0)}
        air = {"face": "top", "environment": "air", "film_W_m2K": self.tolerant("cooling", 900.0), "fluid_C": 27.0}
        found: list[dict[str, Any]] = {
            "film": [water],
            "fixed": [{"face": "top", "environment": "plate", "temperature_C": fluid(fixed_C)}],
            "wetted patch": [water | {"wetted_mm": self.plan([0.7 * top_size[0], 0.8 * top_size[1]])}],
            "patches and the rest": [
                water | half,
                {"face": "top", "environment": "jet", "film_W_m2K": 5000.0, "fluid_C": fluid(35.0)} | other,
                air,
            ],
            "fixed patch and film": [{"face": "top", "environment": "held", "temperature_C": fixed_C} | half, air],
            "graded": [{"face": "top", "environment": "rim", "low_C": fixed_C, "high_C": fluid(33.0),
                        "towards": ("+x", "-x")[self.number % 2]}],
            "cooler": [{"face": "top", "environment": "block", "cooler_K_W": self.tolerant("cooling", 3.0, 0.2),
                        "fluid_C": fluid(30.0), "wetted_mm": self.plan([0.8 * top_size[0], 0.7 * top_size[1]])}, air],
            "cooler with flow": [{"face": "top", "environment": "loop", "inlet_C": fluid(26.0),
                                  "cooler_K_W": self.tolerant("cooling", 2.0, 0.2),
                                  "flow_l_min": self.tolerant("cooling", 0.05, 0.3)}],
            "of a class": [{"face": "top", "environment": "heat pipes", "film_W_m2K": "air cooler", "fluid_C": 24.0}],
            "flux": [{"face": "top", "environment": "lamp", "flux_W_mm2": self.tolerant("cooling", 0.005)}],
        }[row["top"]]  # fmt: skip
        bottom_size = self.outer if "board" in row["stack"] else self.die
        found += {
            "insulated": [],
            "film": [{"face": "bottom", "environment": "case air", "film_W_m2K": self.tolerant("cooling", 1500.0),
                      "fluid_C": 28.0}],
            "flux in": [{"face": "bottom", "environment": "sun", "flux_W_mm2": self.tolerant("cooling", 0.006)}],
            "flux out": [{"face": "bottom", "environment": "sink", "flux_W_mm2": self.tolerant("cooling", -0.01)}],
            "fixed": [{"face": "bottom", "environment": "bench", "temperature_C": fluid(fixed_C)}],
            "radiates": [{"face": "bottom", "environment": "room", "emissivity": self.tolerant("cooling", 0.9),
                          "room_C": 22.0}],
            "patch": [{"face": "bottom", "environment": "pad", "film_W_m2K": 6000.0, "fluid_C": fluid(29.0),
                       "corner_mm": self.plan([0.2 * bottom_size[0], 0.1 * bottom_size[1]]),
                       "size_mm": self.plan([0.5 * bottom_size[0], 0.6 * bottom_size[1]])}],
        }[row["bottom"]]  # fmt: skip
        found += self.sides(fixed_C)
        draught = {
            "face": "exposed",
            "environment": "draught",
            "film_W_m2K": self.tolerant("cooling", 60.0),
            "fluid_C": 33.0,
        }
        breath = {"face": "exposed", "environment": "breath", "film_W_m2K": 150.0, "fluid_C": fluid(26.0)}
        found += {
            "not given": [], "all": [draught], "of die": [breath | {"of": "die"}],
            "all and of lid": [draught, breath | {"of": "lid"}],
            "radiates": [{"face": "exposed", "environment": "walls", "emissivity": 0.8, "room_C": fluid(24.0)}],
            "cooler": [{"face": "exposed", "environment": "fan", "cooler_K_W": self.tolerant("cooling", 90.0, 0.1),
                        "fluid_C": fluid(25.0)}],
            "two fluids": [draught, breath | {"of": "die", "looking": "+x"}],
        }[row["exposed"]]  # fmt: skip
        if row["names"] == "not given":
            found = [{key: value for key, value in entry.items() if key != "environment"} for entry in found]
        return found

    def top_size(self) -> list[float]:
        if "plate" in self.row["stack"]:
            return self.outer
        return self.lid if self.has_lid else self.die

    def height(self) -> float:
        stack = self.row["stack"]
        found = self.die_t + (self.board_t if "board" in stack else 0.0)
        return found + (self.lid_t if self.has_lid else 0.0) + (self.plate_t if "plate" in stack else 0.0)

    def sides(self, fixed_C: float) -> list[dict[str, Any]]:
        height = self.height()
        low, tall = round(0.15 * height, 3), round(0.3 * height, 3)
        width = self.die[1]
        # In a slice the one length of a patch on a side is a height.
        patch: dict[str, Any] = {"corner_mm": low, "size_mm": tall}
        if self.plane == 2:
            patch = {"corner_mm": [round(0.2 * width, 3), low], "size_mm": [round(0.4 * width, 3), tall]}
        film = {"film_W_m2K": self.tolerant("cooling", 700.0), "fluid_C": 34.0}
        return {
            "insulated": [],
            "left film": [{"face": "left", "environment": "left air", **film}],
            "right fixed patch": [{"face": "right", "environment": "clamp", "temperature_C": fixed_C, **patch}],
            "front flux": [{"face": "front", "environment": "heater", "flux_W_mm2": self.tolerant("cooling", 0.004)}],
            "left patch": [{"face": "left", "environment": "left pad", **film, **patch}],
            "back film": [{"face": "back", "environment": "back air", **film}],
        }[self.row["sides"]]

    # ---- what is asked

    def probes(self) -> list[dict[str, Any]]:
        kind = self.row["probes"]
        x, y = self.die
        t = self.die_t

        def probe(name: str, part: str, place: list[float]) -> dict[str, Any]:
            at = [round(one, 4) for one in (place if self.plane == 2 else [place[0], place[2]])]
            return {"probe": name, "in": part, "at_mm": at}

        if kind == "none":
            return []
        if kind == "inside":
            found = [probe("inner", "die", [0.21 * x, 0.43 * y, 0.4 * t])]
        elif kind == "on faces":
            found = [probe("under", "die", [0.23 * x, 0.31 * y, 0.0]), probe("over", "die", [0.61 * x, 0.41 * y, t])]
        else:
            found = [probe("corner", "die", [0.0, 0.0, 0.0]), probe("edge", "die", [x, 0.37 * y, t])]
        if self.has_lid:
            at = [0.27 * self.lid[0], 0.29 * self.lid[1], 0.0 if kind == "on faces" else 0.5 * self.lid_t]
            found.append(probe("in lid", "lid", at))
        return found

    def readings(self, heat: list[dict[str, Any]], probes: list[dict[str, Any]]) -> list[dict[str, Any]]:
        kind = self.row["readings"]
        zones = [zone["zone"] for entry in heat for zone in entry.get("zones", [])]
        offset = self.tolerant("sensors", 0.7, least=1.0)
        found: list[dict[str, Any]] = []
        if kind in ("mean", "all kinds"):
            found.append({"reading": "R mean", "zone": zones[0], "offset_K": offset, "step_K": 0.5})
        if kind in ("highest", "all kinds"):
            found.append({"reading": "R highest", "zone": zones[-1], "takes": "highest", "offset_K": offset})
        if kind in ("of probes", "all kinds"):
            found.append({"reading": "R probe", "probe": probes[0]["probe"], "offset_K": offset})
        return found

    # ---- options

    def options(self, whole: dict[str, Any]) -> list[dict[str, Any]]:
        kind = self.row["option"]
        zones = [zone["zone"] for entry in whole["heat"] for zone in entry.get("zones", []) if "power_W" in zone]
        thick = self.tolerant("heights", round(1.25 * self.die_t, 3))
        top = whole["cooling"][0]
        top_name = f"cooling.{top.get('environment', 'top')}"
        changes: dict[str, dict[str, Any]] = {
            "thickness": {"die.thickness_mm": thick},
            "resistance alone": {"solder": {"resistance_mm2K_W": self.tolerant("joints", 14.0)}},
            "film": {
                "solder": {"film_um": self.tolerant("joints", 30.0, 0.3), "conductivity_W_mK": 20.0}
            },
            "removal": {"paste" if self.row["upper joint"] != "none" else "solder": "remove"},
            "top": {top_name: self.other_top(top)},
            "power": {f"zones.{zones[0]}.power_W": self.watts(4.0)} if zones else {},
            "conductivity": {"die.material": {"conductivity_W_mK": self.tolerant("conductivities", 95.0)}},
            "typed again": self.typed_again(whole),
            "same height": {"die.thickness_mm": thick},
            "size": {"die": {"size_mm": self.plan([1.04 * length for length in self.die])}},
            "places": {"die.centre_mm": self.plan([0.12, 0.17])},
            "several": {"die.thickness_mm": thick, "accuracy_K": 1.1, "limits.reading_C": 85.0},
            "built on another": {"die.material": {"conductivity_W_mK": self.tolerant("conductivities", 95.0)}},
        }  # fmt: skip
        if kind == "removal" and self.row["upper joint"] == "none" and self.row["joint"] == "none":
            changes["removal"] = {"plate": "remove"}
        if kind == "leakage":
            changes["leakage"] = {self.heat_address(whole): {"leakage": {"per_K": 0.003, "at_C": 70.0}}}
        if kind == "none":
            return []
        option: dict[str, Any] = {"option": f"other {kind}"}
        if kind in changes:
            option["changes"] = changes[kind]
        if kind == "same height":
            option["same_height_by"] = "lid"
        if kind == "replaced joint":
            glue = {"joint": "glue", "resistance_mm2K_W": self.tolerant("joints", 14.0)}
            option["adds"] = [{"in_place_of": "solder", "layers": [glue]}]
        if kind == "added layers":
            option["adds"] = [self.on_top(whole["layers"][-1])]
        if kind == "built on another":
            return [option | {"with": "thicker"}, {"option": "thicker", "changes": {"die.thickness_mm": thick}}]
        return [option]

    def on_top(self, top: dict[str, Any]) -> dict[str, Any]:
        """A plate of the size of the uppermost part, glued onto it."""
        glue = {"joint": "glue", "resistance_mm2K_W": self.tolerant("joints", 14.0)}
        cap = {key: top[key] for key in ("size_mm", "centre_mm") if key in top}
        cap |= {"part": "cap", "thickness_mm": self.tolerant("heights", 0.5), "material": "aluminium"}
        return {"above": top["part"], "layers": [glue, cap]}

    @staticmethod
    def typed_again(whole: dict[str, Any]) -> dict[str, Any]:
        """The very numbers of the base, as another specimen has them."""
        found: dict[str, Any] = {
            "die.thickness_mm": next(p for p in whole["layers"] if p.get("part") == "die")["thickness_mm"]
        }
        joint = next((layer for layer in whole["layers"] if layer.get("joint") == "solder"), {})
        keys = ("resistance_mm2K_W", "film_um", "conductivity_W_mK", "boundary_mm2K_W")
        return found | (
            {"solder": {key: joint[key] for key in keys if key in joint}}
            if keys[0] in joint or keys[1] in joint
            else {}
        )

    @staticmethod
    def heat_address(whole: dict[str, Any]) -> str:
        return f"heat.{whole['heat'][-1]['in']}"

    def other_top(self, top: dict[str, Any]) -> dict[str, Any]:
        if "film_W_m2K" in top:
            return {"film_W_m2K": self.tolerant("cooling", 11000.0)}
        if "cooler_K_W" in top:
            return {"cooler_K_W": self.tolerant("cooling", 1.5)}
        if "low_C" in top:
            return {"high_C": 36.0}
        return {"temperature_C": 29.0} if "temperature_C" in top else {"flux_W_mm2": 0.006}

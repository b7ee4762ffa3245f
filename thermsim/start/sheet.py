"""A sheet of measurements (CSV), to be printed and filled in, and the case that it describes.

Each row says what it holds in its first cell. Cells are separated by semicolons, tabs or commas; a number may have a
decimal comma where commas do not separate, or where its cell stands in quotes. What is wrong is told with line and
cell, all at once: the cells become a `Source` with their places as marks, which the reader of cases examines.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import yaml

from thermsim.case.faults.validation import valid_case
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.load import parse_case
from thermsim.case.source.marked_values import KeyPath, Mark, Source
from thermsim.case.typed.coverage import NORMAL_95
from thermsim.case.typed.typed import typed, why_not
from thermsim.errors import Fault
from thermsim.tables.lines import OpenQuoteError, UnsureError, cells_of, decimals_of, lines_read
from thermsim.tables.text import table_text

SHEET = """\
# Measurements of a chip; lengths in mm. Fill it in, then: thermsim start my-chip.yaml --from-measurements FILE
# Lines that begin with # are not read. Add rows, rename them, leave them out; layers stand from the bottom up.
# A number may have a decimal comma, or a unit beside it: 0,78 or 780 um.
title;My chip
caliper;0.02
# +- of the caliper

# a part;name;material;length x;length y;thickness;again;again;weighed in g
# a film;name;joint class;thickness in um, if known
part;substrate;laminate;;;;;;
part;die;silicon;;;;;;
joint;solder;indium solder;
part;lid;copper;;;;;;
joint;paste;silicone paste;
part;plate;copper;;;;;;

# heat;in which part;power in W;+- in W
heat;die;;

# cooling;face;cooler class, or W/m2K, or a number of K/W with its unit;fluid in C
cooling;top;water block;
cooling;bottom;bare board;

# what may be left out: the highest reading allowed in C, the gain that is worth opening the chip in K, and how far
# mounts of the same chip scatter: the standard deviation of the mean reading of one mount in K (two mounts differ by up
# to 2.8 times as much, 19 times in 20)
limit;95
worth;3
one mount;0.8
"""
# What a row may hold after its first cell.
CELLS = {
    "title": 1, "caliper": 1, "part": 8, "joint": 3, "heat": 3, "cooling": 3, "limit": 1, "worth": 1, "one mount": 1,
}  # fmt: skip
FORMER_ROW = "scatter"  # how `one mount` was called when it told a half width
MIDDLE = re.compile(r"^\s*\"?(?:title|part)\"?\s*([;,\t])", re.IGNORECASE | re.MULTILINE)
HEAD = """\
# Made from measurements: {name}. Units stand in the keys; sizes in plan are taken as exact.
# Add what could be changed, and `thermsim compare` judges it:
#   options:
#     - {{option: gallium film, changes: {{{joint}: {{material: gallium film}}}}}}
"""


def case_text(path: Path) -> str:
    """The text of the case that a filled-in sheet describes.

    Raises
    ------
    CaseError : every fault, with its line and the number of its cell
    """
    rows = _Rows(str(path), table_text(path, str(path)))
    valid_case(typed(rows.source()))
    values = rows.values
    joint = next((layer["joint"] for layer in values["layers"] if "joint" in layer), "solder")
    body = yaml.safe_dump(values, default_flow_style=None, sort_keys=False, allow_unicode=True, width=120)
    text = HEAD.format(name=path.name, joint=joint) + body
    parse_case(text, str(path), path.parent)
    return text


def is_caliper(cells: list[str]) -> bool:
    """Whether a row of the sheet tells about the caliper."""
    return bool(cells) and cells[0].lower() == "caliper"


class _Rows:
    """The rows of a sheet as the values of a case. marks : line and cell of each value, by its path in the case"""

    def __init__(self, name: str, text: str) -> None:
        self.name, self.text = name, text
        self.values: dict[str, Any] = {"title": "My chip", "layers": [], "heat": [], "cooling": [], "readings": []}
        self.marks: dict[KeyPath, Mark] = {(): (1, 1)}
        self.faults: list[tuple[KeyPath, Fault]] = []
        self.caliper: Any = None
        self.caliper_mark: Mark = (1, 1)
        self.cells: dict[int, str] = {}  # of the row that is read, those that are filled in, counted from 1
        between = MIDDLE.search(text)
        rows = self.split(text, between[1] if between else ";")
        self.decimals = decimals_of(cell for _, cells in rows for cell in cells)
        for line, cells in sorted(rows, key=lambda row: not is_caliper(row[1])):  # what the others need comes first
            self.row(line, cells)

    def split(self, text: str, separator: str) -> list[tuple[int, list[str]]]:
        rows = []
        for line, cells in lines_read(text):
            try:
                rows.append((line, cells_of(cells, separator)))
            except OpenQuoteError as told:
                self.refuse((line, 1), str(told))
        return rows

    def source(self) -> Source:
        if not self.values["readings"]:
            del self.values["readings"]
        values = Source(self.name, self.text, None, self.values, self.marks, {})
        return replace(values, faults=tuple(self.faults))

    def refuse(self, mark: Mark, what: str, path: KeyPath = ()) -> None:
        self.faults.append((path, Fault(self.name, *mark, what)))

    def row(self, line: int, cells: list[str]) -> None:
        if not any(cells):
            return
        what = cells[0].lower()
        if what == FORMER_ROW:
            half = self.decimals.number(cells[1]) if len(cells) > 1 else ""
            meant = f"{half / NORMAL_95:.4g}" if isinstance(half, (int, float)) else "the standard deviation"
            what = f"`{FORMER_ROW}` was a half width, 19 times in 20: write the row `one mount` with {meant}"
            self.refuse((line, 1), what)
            return
        if what not in CELLS:
            near = did_you_mean(what, CELLS, f"there are: {listed(tuple(CELLS))}")
            self.refuse((line, 1), f"a row is called by its first cell, found {cells[0]!r}{near}")
            return
        beyond = next((place for place, cell in enumerate(cells) if cell and place > CELLS[what]), None)
        if beyond is not None:
            self.refuse(
                (line, beyond + 1),
                f"a row `{what}` has {CELLS[what]} cells after its first, and {cells[beyond]!r} is one more; a decimal "
                "comma? separate cells by semicolons, or write numbers with a point",
            )
            return
        self.cells = {place + 1: cell for place, cell in enumerate(cells) if cell}
        rows = {"part": self.part, "joint": self.joint, "heat": self.heat, "cooling": self.cooling}
        read = (rows | {"caliper": self.instrument}).get(what)
        if read is not None:
            read(line)
        elif 2 in self.cells:
            path: KeyPath = {"limit": ("limits", "reading_C"), "worth": ("worth_K",), "one mount": ("one_mount_K",),
                             "title": ("title",)}[what]  # fmt: skip
            if what == "limit":
                self.values["limits"] = {}
            self.put(path, self.cells[2] if what == "title" else self.number(line, 2), line, 2)

    def put(self, path: KeyPath, value: Any, line: int, *cells: int) -> None:
        """Marks a value, and the items of a list one by one."""
        self.marks[path] = (line, cells[0])
        holder: Any = self.values
        for step in path[:-1]:
            holder = holder[step]
        holder[path[-1]] = value
        if isinstance(value, list):
            self.marks |= {(*path, place): (line, cell) for place, cell in enumerate(cells)}

    def entry(self, key: str, value: dict[str, Any], line: int) -> KeyPath:
        self.values[key].append(value)
        path: KeyPath = (key, len(self.values[key]) - 1)
        self.marks[path] = (line, 1)
        return path

    def number(self, line: int, place: int) -> Any:
        """What a cell holds as a number, or as text; what may be two numbers is told, and another stands in for it."""
        try:
            return self.decimals.number(self.cells.get(place, ""))
        except UnsureError as told:
            self.refuse((line, place), f"found {self.cells[place]!r}: {told}")
            return 1.0

    # ---- rows, by their first cell

    def named(self, path: KeyPath, line: int, **places: int) -> None:
        """Texts, by their key and cell."""
        for key, place in places.items():
            if place in self.cells:
                self.put((*path, key), self.cells[place], line, place)

    def numbers(self, path: KeyPath, line: int, **places: int) -> None:
        for key, place in places.items():
            if place in self.cells:
                self.put((*path, key), self.number(line, place), line, place)

    def instrument(self, line: int) -> None:
        self.caliper, self.caliper_mark = next(iter(self.read(line, [2], "plus_minus")), None), (line, 2)

    def part(self, line: int) -> None:
        path = self.entry("layers", {}, line)
        self.named(path, line, part=2, material=3)
        if sides := [place for place in (4, 5) if place in self.cells]:
            self.put((*path, "size_mm"), [self.number(line, place) for place in sides], line, *sides)
        if readings := [place for place in (6, 7, 8) if place in self.cells]:
            self.thickness((*path, "thickness_mm"), line, readings)
        self.numbers(path, line, weighed_g=9)

    def read(self, line: int, places: Sequence[int], *inside: str) -> list[Any]:
        """Thicknesses in these cells, or half widths of one; what is none is told where it stands, and left out."""
        found = []
        for place in places:
            value = self.number(line, place)
            where: KeyPath = ("layers", 0, "thickness_mm", *inside)
            told = why_not(value, where, {}) if isinstance(value, str) and value else None
            if told is not None:
                reason = told.reason or "write the number in mm"
                self.refuse((line, place), f"found {self.cells[place]!r}: {reason}")
            elif value != "":
                found.append(value)
        return found

    def thickness(self, path: KeyPath, line: int, places: Sequence[int]) -> None:
        """One reading, or the mean of several, with what the caliper may be off by."""
        found = self.read(line, places)
        if not found:
            self.put(path, 1.0, line, *places)  # a stand-in, so that what is wrong is told once
            return
        if self.caliper is None:
            self.put(path, found if len(found) > 1 else found[0], line, *places)
            return
        self.put(path, {}, line, places[0])
        if len(found) > 1:
            self.put((*path, "measured"), found, line, *places)
        else:
            self.put((*path, "value"), found[0], line, places[0])
        self.put((*path, "plus_minus"), self.caliper, *self.caliper_mark)
        if len(found) == 1:
            self.put((*path, "basis"), "measured", line, places[0])

    def joint(self, line: int) -> None:
        path = self.entry("layers", {}, line)
        self.named(path, line, joint=2, material=3)
        self.numbers(path, line, film_um=4)

    def heat(self, line: int) -> None:
        """All of a part, as one zone, and a reading of it."""
        path = self.entry("heat", {}, line)
        self.named(path, line, **{"in": 2})
        if 3 not in self.cells:
            self.refuse((line, 1), "the power is missing: write it into the third cell, in W", (*path, "power_W"))
        self.put((*path, "power_W"), {}, line, 3)
        self.numbers((*path, "power_W"), line, value=3, plus_minus=4)
        if 2 in self.cells:
            whole = f"all of the {self.cells[2]}"
            self.put((*path, "zones"), [{"zone": whole}], line, 2)
            reading = {"reading": self.cells[2], "zone": whole, "takes": "highest"}
            self.entry("readings", reading, line)

    def cooling(self, line: int) -> None:
        path = self.entry("cooling", {}, line)
        key = "cooler_K_W" if self.cells.get(3, "").replace(" ", "").endswith("K/W") else "film_W_m2K"
        self.named(path, line, face=2)
        self.numbers(path, line, **{key: 3}, fluid_C=4)

"""CSV tables that a case names: rectangular, finite, small, and at fault with their own file, line and column.

A case may come from somebody else, and name any file that its reader can open. Messages therefore quote nothing of a
table but numbers, and nothing at all of one that lies outside the folder of the case.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermsim.case.faults.examination import Look
from thermsim.case.faults.wording import did_you_mean
from thermsim.case.source.marked_values import KeyPath
from thermsim.case.source.yaml_source import LARGEST_NUMBER
from thermsim.case.vocabulary.schema import Case, Joint
from thermsim.errors import CaseError, Fault
from thermsim.tables.text import table_text

MOST_LINES = MOST_COLUMNS = 1000

_CELL = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NUMERIC = re.compile(r"[-+]?([0-9][0-9.,]*|[.,][0-9]+)([eE][-+]?[0-9]+)?|[-+]?(nan|inf)", re.IGNORECASE)
_LONGEST_QUOTE = 30
_DECIMAL_COMMA = re.compile(r"[-+]?[0-9]*,[0-9]+")


def check_tables(look: Look) -> None:
    """Read every table that the case names; their faults carry the place inside the table's own file."""
    for path, name, zero_allowed in _named_tables(look.case):
        folder = look.source.folder
        if folder is None:
            look.add(path, f"the table {name!r} cannot be found: this case was not read from a file")
            continue
        try:
            table = read_table(folder, name, zero_allowed=zero_allowed)
        except FileNotFoundError:
            look.add(path, f"there is no file {name!r} beside the case{_nearest_file(folder, name)}")
            continue
        except CaseError as error:
            look.faults += error.faults
            continue
        if look.case.dimensions == 2 and len(table) > 1:
            look.add(path, f"the table {name!r} has {len(table)} lines; in a slice it has one, from left to right")
            continue
        look.tables[name] = table


def _named_tables(case: Case) -> Iterator[tuple[KeyPath, str, bool]]:
    for place, layer in enumerate(case.layers):
        if isinstance(layer, Joint) and layer.map_file is not None:
            yield ("layers", place, "film_um", "file"), layer.map_file, False
    for place, heat in enumerate(case.heat):
        if heat.map is not None:
            yield ("heat", place, "map", "file"), heat.map.file, True


def _nearest_file(folder: Path, name: str) -> str:
    try:
        there = sorted(path.name for path in folder.glob("*.csv"))[:1000]
    except OSError:
        return ""
    return did_you_mean(name, there)


def read_table(folder: Path, name: str, *, zero_allowed: bool) -> NDArray[np.float64]:
    """Numbers of a CSV file in the order of the file: (lines, columns).

    Cells are parted by comma, semicolon, tab or blanks, decimals by a point; blank lines and lines that begin
    with `#` are passed over. Every number is finite and not negative; zero only where it makes sense.

    Raises FileNotFoundError if there is no such file, CaseError with the places of all faults inside it.
    """
    path = folder / name
    shown = str(path)
    try:
        quotes = path.resolve().is_relative_to(folder.resolve())
        path.stat()
        if not path.is_file():
            raise CaseError([Fault(shown, 1, 1, "this is not a file")])
    except (FileNotFoundError, CaseError):
        raise
    except (OSError, ValueError) as reason:
        said = getattr(reason, "strerror", None) or str(reason)
        raise CaseError([Fault(shown, 1, 1, f"the table cannot be read: {said}")]) from None
    text = table_text(path, shown)
    return parse_table(text, shown, zero_allowed=zero_allowed, quotes=quotes)


def parse_table(text: str, name: str, *, zero_allowed: bool, quotes: bool = True) -> NDArray[np.float64]:
    """As `read_table`, from text. quotes : whether faults may tell a number that is at fault"""
    lines = [(number, line) for number, line in enumerate(re.split("\r\n|\r|\n", text), start=1)]
    lines = [(number, line) for number, line in lines if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise CaseError([Fault(name, 1, 1, "the table is empty")])
    if len(lines) > MOST_LINES:
        raise CaseError([Fault(name, lines[MOST_LINES][0], 1, f"more than {MOST_LINES} lines")])
    separator = _separator(lines[0][1])
    _refuse_headings(lines, separator, name)
    faults: list[Fault] = []
    rows: list[list[float]] = []
    for number, line in lines:
        cells = _cells(line, separator)
        if len(cells) > MOST_COLUMNS:
            raise CaseError([Fault(name, number, 1, f"more than {MOST_COLUMNS} columns")])
        if rows and len(cells) != len(rows[0]):
            first = lines[0][0]
            what = f"{len(cells)} values stand here, but {len(rows[0])} in line {first}: a table is rectangular"
            faults.append(Fault(name, number, 1, what))
        for column, cell in cells:
            if told := _fault_of(cell, zero_allowed, quotes):
                faults.append(Fault(name, number, column, told))
        rows.append([float(cell) if _CELL.fullmatch(cell) else math.nan for _, cell in cells])
    if faults:
        raise CaseError(faults[:50])
    return np.array(rows, dtype=np.float64)


def _refuse_headings(lines: list[tuple[int, str]], separator: str | None, name: str) -> None:
    """A first line of nothing but words, over numbers."""
    if len(lines) < 2:
        return
    first, second = (([cell for _, cell in _cells(line, separator)]) for _, line in lines[:2])
    if any(re.search("[0-9]", cell) for cell in first) or not any(_CELL.fullmatch(cell) for cell in second):
        return
    what = "this line holds headings, not numbers: leave it out, or begin it with `#`"
    raise CaseError([Fault(name, lines[0][0], 1, what)])


def _separator(line: str) -> str | None:
    """The first of semicolon, tab, comma that a line holds; None for blanks."""
    return next((mark for mark in (";", "\t", ",") if mark in line), None)


def _cells(line: str, separator: str | None) -> list[tuple[int, str]]:
    """Column (from 1) and text of each cell."""
    if separator is None:
        return [(found.start() + 1, found.group()) for found in re.finditer(r"\S+", line)]
    cells = []
    start = 0
    for raw in line.split(separator):
        cells.append((start + len(raw) - len(raw.lstrip()) + 1, raw.strip()))
        start += len(raw) + 1
    return cells


def _fault_of(cell: str, zero_allowed: bool, quotes: bool) -> str | None:
    """What is wrong with a cell, or nothing."""
    least = "0 or above" if zero_allowed else "above 0"
    if not _CELL.fullmatch(cell):
        hint = "; write decimals with a point" if _DECIMAL_COMMA.fullmatch(cell) else ""
        return f"every cell is a number {least}, found {_shown(cell, quotes)}{hint}"
    value = float(cell)
    if not math.isfinite(value) or value > LARGEST_NUMBER or value < 0.0 or (value == 0.0 and not zero_allowed):
        return f"every number is finite and {least}, found {_shown(cell, quotes)}"
    return None


def _shown(cell: str, quotes: bool) -> str:
    if not cell:
        return "an empty cell"
    if not _NUMERIC.fullmatch(cell):
        return "something else"
    return f"`{cell[:_LONGEST_QUOTE]}`" if quotes else "another one"

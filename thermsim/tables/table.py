"""A table with a line of headings: numbers in the unit of their column, words, and every fault with line and cell.

Columns stand in any order. Empty cells are what was not noted: they are absent, never 0.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from thermsim.case.source.yaml_source import LARGEST_NUMBER
from thermsim.case.typed.number_text import NotUnderstoodError, value_in
from thermsim.errors import CaseError, Fault
from thermsim.tables.headings import Column, Heading, Headings, UnknownHeadingError, say_unit
from thermsim.tables.lines import (
    PLAIN,
    Decimals,
    OpenQuoteError,
    UnsureError,
    cells_of,
    decimals_of,
    lines_read,
    separator_of,
    separator_said,
)
from thermsim.tables.text import table_text
from thermsim.tables.times import may_be_two, over_midnight, seconds_told

UNREAD = "not read"  # what a heading is said to stand for where its column is to be passed over
_LONGEST_QUOTE = 40
NO_NUMBER = ", which is no number; leave the cell empty if nothing was noted"


@dataclass(frozen=True)
class Row:
    """One line of a table. values : by key of the column, of the cells that are filled in"""

    line: int
    values: Mapping[str, float | str]

    def number(self, key: str) -> float | None:
        """A number, in the unit of its column; None where it was not noted."""
        value = self.values.get(key)
        return value if isinstance(value, float) else None

    def words(self, key: str) -> str:
        """Words; "" where there are none."""
        value = self.values.get(key, "")
        return value if isinstance(value, str) else ""


@dataclass(frozen=True)
class Table:
    """A table as it was read.

    name : as it stands in messages
    line : of the headings; headings : those that were understood, by key
    rows : all lines below them
    unread : headings of columns that were passed over
    faults : everything that is wrong; values of cells at fault are absent
    quotes : whether faults may tell what stands in the table
    """

    name: str
    line: int
    headings: Mapping[str, Heading]
    rows: tuple[Row, ...]
    unread: tuple[str, ...]
    faults: tuple[Fault, ...]
    quotes: bool = True

    def fault(self, row: Row | None, key: str, what: str) -> Fault:
        """A fault at a cell of a row, or at the heading of a column; at the first cell where the column is missing."""
        heading = self.headings.get(key)
        line, cell = self.line if row is None else row.line, 1 if heading is None else heading.cell
        return Fault(self.name, line, cell, what if heading is None else f"{_column(heading, self.quotes)}{what}")

    def shown(self, words: str) -> str:
        """What stands in the table, as a message may tell it."""
        return shown(words, self.quotes)


def read_table(
    path: Path,
    columns: Sequence[Column],
    *,
    name: str | None = None,
    called: Mapping[str, str] | None = None,
    needed: Sequence[str] = (),
    spare: bool = False,
    quotes: bool = True,
    if_unknown: str = "",
) -> Table:
    """A table file. Raises CaseError where it cannot be read at all; what else is wrong stands in `Table.faults`.

    Parameters
    ----------
    columns : those that may stand there
    name : of the file in messages; its path unless given
    called : what headings stand for, by their text; `UNREAD` for a column to be passed over
    needed : keys of columns that must not be missing
    spare : whether columns that nobody asked for may stand there too
    quotes : whether messages may tell what stands in the table: not where a case names a file of somebody else
    if_unknown : what is told of columns that nobody asked for, beside the nearest name
    """
    name = str(path) if name is None else name
    return parse_table(
        table_text(path, name), name, columns, called=called, needed=needed, spare=spare, quotes=quotes,
        if_unknown=if_unknown,
    )  # fmt: skip


def parse_table(
    text: str,
    name: str,
    columns: Sequence[Column],
    *,
    called: Mapping[str, str] | None = None,
    needed: Sequence[str] = (),
    spare: bool = False,
    quotes: bool = True,
    if_unknown: str = "",
) -> Table:
    """As `read_table`, from text."""
    lines = list(lines_read(text))
    said = separator_said(lines[0][1]) if lines else None
    lines = lines[1:] if said else lines
    if not lines:
        raise CaseError([Fault(name, 1, 1, "the table is empty: its first line names the columns")])
    faults: list[Fault] = []
    separator = said or separator_of(lines[0][1])
    cells: list[tuple[int, list[str]]] = []
    for number, line in lines:
        try:
            cells.append((number, cells_of(line, separator)))
        except OpenQuoteError as told:
            faults.append(Fault(name, number, 1, str(told)))
    if not cells:
        raise CaseError(faults)
    reader = _Reader(name, quotes, if_unknown, faults, decimals_of(cell for _, row in cells[1:] for cell in row))
    head, texts = cells[0] if cells[0][0] == lines[0][0] else (lines[0][0], [])
    unread = reader.read_headings(head, texts, Headings(columns, called or {}), spare)
    reader.miss(head, needed, {column.key: column for column in columns})
    reader.ask_for_units(head, [row for _, row in cells[1:]])
    usual = Counter(len(row) for _, row in cells[1:]).most_common(1)[0][0] if len(cells) > 1 else len(texts)
    rows = [reader.row(number, row, texts, usual) for number, row in cells[1:]] if texts else []
    rows = _from_midnight(rows, [column.key for column in columns if column.is_time])
    found = tuple(sorted(faults, key=lambda fault: (fault.line, fault.column)))
    return Table(name, head, reader.headings, tuple(rows), tuple(unread), found, quotes)


class _Reader:
    def __init__(self, name: str, quotes: bool, if_unknown: str, faults: list[Fault], decimals: Decimals) -> None:
        self.name, self.quotes, self.if_unknown = name, quotes, if_unknown
        self.faults, self.decimals = faults, decimals
        self.headings: dict[str, Heading] = {}
        self.refused: set[int] = set()  # cells whose heading was refused: what stands below them is told nothing of

    def refuse(self, line: int, cell: int, what: str) -> None:
        self.faults.append(Fault(self.name, line, cell, what))

    def read_headings(self, line: int, texts: list[str], known: Headings, spare: bool) -> list[str]:
        """Headings that are passed over."""
        filled = [text for text in texts if text]
        numbers = sum(map(_is_number, filled))
        if texts and (numbers == len(filled) or (2 * numbers > len(filled) and not any(map(known.knows, filled)))):
            self.refuse(line, 1, "this line holds numbers: put a line over it that names the columns")
            return []
        unread = []
        for cell, text in enumerate(texts, start=1):
            if not text or known.called.get(text) == UNREAD:
                unread += [text] if text else []
                continue
            try:
                heading = known.read(text, cell)
            except UnknownHeadingError as told:
                if spare and told.is_unknown and not told.is_near:
                    unread.append(text)
                else:
                    self.refused.add(cell)
                    what = told.what + (self.if_unknown if told.is_unknown else "")
                    self.refuse(line, cell, f"heading {shown(text, self.quotes)}: {what if self.quotes else 'refused'}")
                continue
            first = self.headings.setdefault(heading.column.key, heading)
            if first is not heading:
                what = f"heading {shown(text, self.quotes)}: cell {first.cell} is `{heading.column.key}` already"
                self.refuse(line, cell, f"{what}; leave one of them out")
        return unread

    def miss(self, line: int, needed: Sequence[str], columns: Mapping[str, Column]) -> None:
        """Tell which columns are missing, unless a heading that was refused may be one of them."""
        for key in needed:
            if key not in self.headings and not self.refused and not self.faults:
                self.refuse(line, 1, f"no column is headed `{columns[key].in_unit}`: add it")

    def ask_for_units(self, line: int, rows: list[list[str]]) -> None:
        """Times that are numbers need a unit in their heading; clock times do not."""
        for key, heading in list(self.headings.items()):
            column, place = heading.column, heading.cell - 1
            if not column.is_time or heading.has_unit or column.usual_unit:
                continue
            if any(place < len(row) and _is_number(row[place]) for row in rows):
                del self.headings[key]
                self.refuse(line, heading.cell, f"heading {shown(heading.text, self.quotes)}: {say_unit(column)}")

    def row(self, line: int, cells: list[str], texts: list[str], usual: int) -> Row:
        """A line as values. usual : cells of most lines, more than the headings where each ends with a separator"""
        beyond = next((n for n, cell in enumerate(cells) if cell and (n >= len(texts) or not texts[n])), None)
        if beyond is not None:
            what = f"this cell stands under no heading, of {sum(map(bool, texts))}"
            self.refuse(
                line, beyond + 1,
                f"{what}; a decimal comma? separate cells by semicolons, or write numbers with a point",
            )  # fmt: skip
            return Row(line, {})
        headed = max((place for place, text in enumerate(texts, start=1) if text), default=0)
        if len(cells) < headed or len(cells) not in (len(texts), usual):
            what = f"{len(cells)} cells stand under {len(texts)} headings, so that nobody knows which is missing"
            self.refuse(line, 1, f"{what}; leave a cell empty, between its separators, where nothing was noted")
            return Row(line, {})
        values: dict[str, float | str] = {}
        for key, heading in self.headings.items():
            cell = cells[heading.cell - 1] if heading.cell <= len(cells) else ""
            if not cell:
                continue
            if heading.column.unit is None:
                values[key] = cell
                continue
            try:
                values[key] = self.number(cell, heading)
            except (NotUnderstoodError, UnsureError) as told:
                why = f": {told}" if str(told) and self.quotes else NO_NUMBER
                what = f"found {shown(cell, self.quotes)}{why}"
                self.refuse(line, heading.cell, _column(heading, self.quotes) + what)
        return Row(line, values)

    def number(self, cell: str, heading: Heading) -> float:
        """The number of a cell in the unit of its column. Raises NotUnderstoodError, UnsureError."""
        column = heading.column
        clock = seconds_told(cell) if column.is_time else None
        if clock is not None:
            return clock
        if column.is_time and may_be_two(cell):
            hours, minutes = cell.split(":")
            raise UnsureError(f"that may be {cell}:00 or 0:{int(hours):02d}:{minutes}: write which")
        cell = self.decimals.plain(cell)
        if not PLAIN.fullmatch(cell):
            value = value_in(cell, column.key, column.unit or "")
        else:
            value = float(cell)
            if heading.line is not None and abs(value) <= LARGEST_NUMBER:
                factor, added = heading.line
                value = float(factor * Fraction(cell) + added)
        if not math.isfinite(value) or abs(value) > LARGEST_NUMBER:
            raise NotUnderstoodError("every number is finite and of a size that can be measured")
        return value


def _from_midnight(rows: list[Row], times: Sequence[str]) -> list[Row]:
    """Clock times that do not fall back at midnight; what is wrong beyond that is for who reads the table."""
    for key in times:
        placed = [place for place, row in enumerate(rows) if row.number(key) is not None]
        found = over_midnight([float(rows[place].values[key]) for place in placed])
        for place, time in zip(placed, found, strict=True):
            if rows[place].values[key] != time:
                rows[place] = Row(rows[place].line, {**rows[place].values, key: time})
    return rows


def _column(heading: Heading, quotes: bool) -> str:
    return f"column {shown(heading.text, quotes)}: "


def _is_number(text: str) -> bool:
    return PLAIN.fullmatch(text.replace(",", ".", 1)) is not None


def shown(words: str, quotes: bool) -> str:
    """What stands in a table, as a message may tell it."""
    if not quotes:
        return "that"
    return repr(words if len(words) <= _LONGEST_QUOTE else f"{words[: _LONGEST_QUOTE - 3]}...")

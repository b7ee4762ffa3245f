"""Lines of a table as cells: what separates them, which lines are read, and what a comma in a number means.

A comma before other than three digits is one of decimals; before three it may part thousands, and what the other
numbers of the table show decides. What stays open is told, never guessed.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

SEPARATORS = (";", "\t", ",")
DECIMAL_COMMA = re.compile(r"([-+]?\d*),(\d+)(?=$|[^\d,.])")
PLAIN = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
# What a comma, or a point, between digits by threes means is only known from other numbers of the table.
_COMMA_BY_THREES = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")
_POINT_BY_THREES = re.compile(r"[-+]?[1-9]\d{0,2}\.\d{3}")
_WITH_COMMA = re.compile(r"[-+]?\d*,\d+")
_SAID = re.compile(r'"?sep=(.)"?\s*$')  # a first line by which some spreadsheets are told the separator


class UnsureError(Exception):
    """A number that may mean two things. args : what, and what to write"""


class OpenQuoteError(Exception):
    """A quote that is opened in a line and not closed in it. args : what to do"""


def lines_read(text: str) -> Iterator[tuple[int, str]]:
    """The lines that are read, with their numbers: not those that are empty or begin with `#`."""
    for number, line in enumerate(re.split("\r\n|\r|\n", text), start=1):
        if line.strip(' \t;,"') and not line.lstrip(' "').startswith("#"):
            yield number, line


def separator_of(line: str) -> str:
    """What separates the cells of a line: semicolon, tab or comma, whichever stands there most outside of quotes."""
    bare = re.sub('"[^"]*"', "", line)
    return max(SEPARATORS, key=bare.count)  # of equally many the first


def separator_said(line: str) -> str | None:
    """The separator that a line `sep=;` tells."""
    said = _SAID.match(line)
    return said[1] if said and said[1] in SEPARATORS else None


def cells_of(line: str, separator: str) -> list[str]:
    """The cells of one line, without blanks around them.

    Raises OpenQuoteError.
    """
    if '"' not in line:
        return [cell.strip() for cell in line.split(separator)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, strict=True))]
    except csv.Error:
        raise OpenQuoteError("a quote is opened that this line does not close: take it out") from None


@dataclass(frozen=True)
class Decimals:
    """How decimals are written in a table. commas, points : whether some number surely has one before its decimals"""

    commas: bool = False
    points: bool = False

    def plain(self, cell: str) -> str:
        """A number with a decimal point; what may as well have its thousands parted comes as it stands.

        Raises UnsureError where a point may part thousands.
        """
        if "," in cell:
            return with_points(cell) if self._only_commas or not _COMMA_BY_THREES.match(cell) else cell
        if self._only_commas and _POINT_BY_THREES.fullmatch(cell):
            whole = cell.replace(".", "")
            raise UnsureError(f"that may be {cell} or {whole}: write {cell.replace('.', ',')} or {whole}")
        return cell

    def number(self, cell: str) -> float | int | str:
        """A number where the cell holds nothing else; other text as it is, with decimal points. Raises UnsureError."""
        cell = self.plain(cell)
        if cell.isdecimal() and cell.isascii():
            return int(cell)
        return float(cell) if PLAIN.fullmatch(cell) else cell

    @property
    def _only_commas(self) -> bool:
        return self.commas and not self.points


def decimals_of(cells: Iterable[str]) -> Decimals:
    """How decimals are written in a table with these cells."""
    commas, points = False, False
    for cell in cells:
        if "," in cell:
            commas = commas or (bool(_WITH_COMMA.fullmatch(cell)) and not _COMMA_BY_THREES.fullmatch(cell))
        elif "." in cell:
            points = points or (bool(PLAIN.fullmatch(cell)) and not _POINT_BY_THREES.fullmatch(cell))
    return Decimals(commas, points)


def with_points(cell: str) -> str:
    """A cell with decimal points where it has decimal commas."""
    return DECIMAL_COMMA.sub(r"\1.\2", cell)

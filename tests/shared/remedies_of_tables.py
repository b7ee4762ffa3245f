"""What is said of tables, and the table as it is mended: one row a kind of message."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from remedies import OfCall, Row

from thermsim.errors import CaseError
from thermsim.tables.headings import Column
from thermsim.tables.table import parse_table, read_table

COLUMNS = [
    Column("run"),
    Column("rest", "s"),
    Column("coolant", "C", "C"),
    Column("fans", "", plain_units=("rpm", "1/min")),
    Column("C0", "C", "C"),
]


def reading(text: str, **more: object) -> Callable[..., None]:
    """Reads a table; what the message quotes stands for `{0}`."""

    def read(_: Path, *found: str) -> None:
        given = text
        for number, words in enumerate(found):
            given = given.replace(f"{{{number}}}", words)
        table = parse_table(given, "t.csv", COLUMNS, **more)  # type: ignore[arg-type]
        if table.faults:
            raise CaseError(list(table.faults))

    return read


def file(data: bytes) -> Callable[..., None]:
    def read(folder: Path, *_: str) -> None:
        (folder / "t.csv").write_bytes(data)
        read_table(folder / "t.csv", COLUMNS)

    return read


def row(text: str, told: str, mended: str, **more: object) -> OfCall:
    return OfCall(reading(text, **more), told, reading(mended, **more))


ROWS: list[Row] = [
    row("run,rest\na,5\n", "say in which unit: write `([^`]*)`", "run,{0}\na,5\n"),
    row("run,coolant [W]\na,5\n", "`coolant` is a temperature: write `([^`]*)`", "run,{0}\na,5\n"),
    row("run,coolant [q]\na,5\n", "'q' is no unit that is known here: write `([^`]*)`", "run,{0}\na,5\n"),
    row("run,fans [W]\na,5\n", "is not told in W: write `([^`]*)`", "run,{0}\na,5\n"),
    row("run [W]\na\n", "holds words: leave the unit 'W' out", "run\na\n"),
    row("run,colant\na,5\n", "no column is called so; did you mean `([^`]*)`", "run,{0}\na,5\n"),
    row("run,volts\na,5\n", "no column is called so; columns are .*`(coolant)`", "run,{0}\na,5\n"),
    row("run,C0,C0\na,5,5\n", "is `C0` already; leave one of them out", "run,C0\na,5\n"),
    row("run\na\n", "no column is headed `([^`]*)`: add it", "run,{0}\na,5\n", needed=["C0"]),
    row("1,2\n3,4\n", "put a line over it that names the columns", "run,C0\n1,2\n3,4\n"),
    row("", "its first line names the columns", "run,C0\n"),
    row("run,C0\na,7,5\n", "separate cells by semicolons, or write numbers with a point", "run;C0\na;7,5\n"),
    row("run,C0\na,7,5\n", "separate cells by semicolons, or write numbers with a point", "run,C0\na,7.5\n"),
    row('run,C0\n"a,7\n', "that this line does not close: take it out", "run,C0\na,7\n"),
    row("run,C0\na\n", "leave a cell empty, between its separators, where nothing was noted", "run,C0\na,\n"),
    row("run,C0\na,-\n", "leave the cell empty if nothing was noted", "run,C0\na,\n"),
    row("run;fans\na;1.200\nb;0,5\n", r"that may be 1.200 or 1200: write (\S+) or", "run;fans\na;{0}\nb;0,5\n"),
    row("run,C0\na,1e300\n", "every number is finite and of a size", "run,C0\na,70\n"),
    OfCall(file(b"PK\x03\x04"), "save the sheet as CSV", file(b"run,C0\na,7\n")),
    OfCall(file(b"run,C0\na,\x007\n"), "save the table as CSV", file(b"run,C0\na,7\n")),
]

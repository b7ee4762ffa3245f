"""The columns of a table of runs and of a log, and where these tables lie."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError, Fault
from thermsim.nearest_words import did_you_mean
from thermsim.tables.headings import Column, plain
from thermsim.tables.table import UNREAD, Table, read_table

CIRCUMSTANCES = (
    Column("coolant", "C", "C"),
    Column("room", "C", "C"),
    Column("package", "W", "W"),
    Column("fans", "", plain_units=("rpm", "1/min", "/min", "min-1")),
    Column("pump", "", plain_units=("percent", "%")),
)
OF_RUNS = (
    Column("run"), Column("option"), Column("mount"), Column("on_load", "s"), *CIRCUMSTANCES[:3], Column("score", ""),
    *CIRCUMSTANCES[3:], Column("note"),
)  # fmt: skip
TIME = Column("time", "s", is_time=True)
# What else columns may be headed: the minutes on load are those that a run rests at its load, until it has settled.
ALSO_CALLED = {"rest": "on_load"}
# How the columns are headed in a table that thermsim writes.
HEADED = {
    "on_load": "on_load_min", "coolant": "coolant_C", "room": "room_C", "package": "package_W", "fans": "fans_rpm",
    "pump": "pump_percent",
}  # fmt: skip
IN_BENCH = f"; leave it out, or write `columns: {{...: {UNREAD}}}` in `bench`"


@dataclass(frozen=True)
class Bench:
    """The tables that a case names. readings : its readings, in their order; faults : of what it says of them"""

    case: Case
    readings: tuple[str, ...]

    def columns(self, *first: Column) -> list[Column]:
        """Those of a table: some, and one for each reading."""
        return [*first, *(Column(name, "C", "C") for name in self.readings)]

    def fault(self, what: str, *path: str) -> Fault:
        """At a place of the case."""
        return Fault(self.case.file, *self.case.mark("bench", *path), what)

    def table(self, file: str, columns: list[Column], needed: tuple[str, ...], *path: str, spare: bool) -> Table:
        """A table that the case names at a path.

        Raises CaseError where it cannot be read at all.
        """
        folder = self.case.folder
        if folder is None:
            raise CaseError([self.fault(f"the table {file!r} cannot be found: the case was read from no file", *path)])
        place = folder / file
        if place.exists() and not place.is_file():
            raise CaseError([self.fault(f"{file!r} is not a file", *path)])
        if not place.exists():
            raise CaseError([self.fault(f"there is no file {file!r} beside the case{_nearest(folder, file)}", *path)])
        called = ALSO_CALLED | ({} if self.case.bench is None else self.case.bench.columns)
        # Only tables beside the case are quoted: a case may come from somebody else and name any file.
        quotes = place.resolve().is_relative_to(folder.resolve())
        return read_table(
            place, columns, called=called, needed=needed, spare=spare, quotes=quotes, if_unknown=IN_BENCH
        )  # fmt: skip

    def check(self) -> list[Fault]:
        """What the case says of columns that no table can have."""
        own = {plain(column.key): column.key for column in (*OF_RUNS, TIME)}
        faults = []
        for place, name in enumerate(self.readings):
            if plain(name) in own:
                what = f"a table of runs has a column `{own[plain(name)]}` of its own: call the reading otherwise"
                faults.append(Fault(self.case.file, *self.case.mark("readings", place, "reading"), what))
        known = [*own.values(), *ALSO_CALLED, *self.readings, UNREAD]
        for heading, key in (self.case.bench.columns if self.case.bench is not None else {}).items():
            if key not in known:
                what = f"{heading!r} cannot stand for {key!r}, which is neither a reading nor a column of a table"
                faults.append(self.fault(what + did_you_mean(key, known), "columns", heading))
        return faults


def bench_of(case: Case) -> Bench:
    """The bench that a case describes. Raises CaseError: it has no readings."""
    readings = tuple(one.reading for one in case.readings)
    if not readings:
        what = "a table of runs holds readings, and the case has none: add `readings`, one for each sensor"
        raise CaseError([Fault(case.file, *case.mark("readings"), what)])
    return Bench(case, readings)


def _nearest(folder: Path, name: str) -> str:
    try:
        return did_you_mean(name, sorted(path.name for path in folder.glob("*.csv"))[:1000])
    except OSError:
        return ""

"""A log of power over time (CSV) as a load: `time_s`, and `package_W` or a column of watts for each zone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

from thermsim.case.geometry.zones import zones_of
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MOST_FAULTS, CaseError, Fault, enough
from thermsim.loads.load import Load
from thermsim.loads.plausible import unlikely
from thermsim.tables.headings import Column
from thermsim.tables.table import Row, Table, read_table

TIME, PACKAGE = "time", "package"
LONGEST_PAUSE = 10.0  # of the usual time between two lines: a longer one is a gap
LEAST_LINES = 2


def read_load(path: Path, case: Case, points: bool = False) -> Load:
    """The load that a log tells, of a case.

    points : whether its lines are points that straight lines join; else each holds until the next one, as averages do,
        and the last as long as is usual

    Raises
    ------
    CaseError : every fault of the log, with line and cell
    """
    zones = [zone.label for zone in zones_of(case)]
    watts = [PACKAGE, *zones]
    columns = [Column(TIME, "s", is_time=True), *(Column(key, "W", usual_unit="W") for key in watts)]
    table = read_table(path, columns, needed=(TIME,), spare=True)
    log = _Log(table, case, [zone for zone in zones if zone in table.headings], points)
    log.check()
    if log.faults:
        raise CaseError(enough(sorted(log.faults, key=lambda fault: (fault.line, fault.column))))
    times = np.array([row.number(TIME) for row in log.rows], dtype=np.float64)
    values = np.array([[row.number(key) for key in log.keys] for row in log.rows], dtype=np.float64)
    begins = float(times[0])
    last = float(times[-1]) - begins
    return Load(
        times_s=times - begins,
        values=values,
        zones=tuple(log.zones),
        is_share=False,
        between="line" if points else "constant",
        ends_s=last if points else last + float(np.median(np.diff(times))),
        source=path.name,
        clock_s=begins,
    )


@dataclass
class _Log:
    table: Table
    case: Case
    zones: list[str]
    points: bool
    faults: list[Fault] = field(default_factory=list)

    @property
    def rows(self) -> tuple[Row, ...]:
        return self.table.rows

    @property
    def keys(self) -> list[str]:
        return self.zones or [PACKAGE]

    def check(self) -> None:
        """Note everything that is wrong."""
        self.faults = [*self.table.faults]
        has_package = PACKAGE in self.table.headings
        if TIME not in self.table.headings or (not has_package and not self.zones):
            if not self.faults:
                names = ", ".join(f"`{zone}`" for zone in dict.fromkeys(zone.label for zone in zones_of(self.case)))
                what = f"no column of watts: `package_W`, or zones of the case ({names})"
                unread = f"; not read: {', '.join(map(repr, self.table.unread))}" if self.table.unread else ""
                self.faults.append(self.table.fault(None, "", what + unread))
            return
        if has_package and self.zones:
            what = "watts of the package and of zones stand side by side, and tell the same twice: leave one out"
            self.faults.append(self.table.fault(None, self.zones[0], what))
        if len(self.rows) < LEAST_LINES:
            self.faults.append(
                self.table.fault(None, TIME, f"a log has {LEAST_LINES} lines or more under its headings")
            )
            return
        refused = {(fault.line, fault.column) for fault in self.faults}
        for fault in [*self._cells(), *self._times()]:
            if (fault.line, fault.column) not in refused and len(self.faults) < MOST_FAULTS:
                self.faults.append(fault)
        if not self.faults:
            self._power()

    def _cells(self) -> Iterator[Fault]:
        """What a cell must be for itself."""
        told = {fault.line for fault in self.faults}
        for row in self.rows:
            if not row.values and row.line in told:  # it does not fit its headings, and no cell of it was read
                continue
            for key in (TIME, *self.keys):
                value = row.number(key)
                if value is None:
                    what = "an empty cell: write what was on then, 0 for nothing, or leave the line out"
                    yield self.table.fault(row, key, what)
                elif key != TIME and value < 0.0:
                    yield self.table.fault(row, key, f"{value:g} W: power is 0 or above")

    def _times(self) -> Iterator[Fault]:
        """Times that begin at 0 and rise, without gaps."""
        known = [(row, time) for row in self.rows if (time := row.number(TIME)) is not None]
        if len(known) < LEAST_LINES:
            return
        first_row, first = known[0]
        if first != 0.0 and not self._are_clock_times:
            what = f"the log begins at {first:g} s, and what is on from 0 on is not known: begin at 0, "
            yield self.table.fault(first_row, TIME, what + f"{'add' if first < 0.0 else 'take'} {abs(first):g} s "
                                   f"{'to' if first < 0.0 else 'off'} all times, or add a line for 0")  # fmt: skip
        steps = np.diff([time for _, time in known])
        usual = float(np.median(steps[steps > 0.0])) if (steps > 0.0).any() else 0.0
        for (_, before), (row, time) in pairwise(known):
            if time <= before:
                what = f"{time:.10g} s stands after {before:.10g} s: times rise, each once; put the lines in order"
                yield self.table.fault(row, TIME, what)
            elif time - before > LONGEST_PAUSE * usual:
                what = (
                    f"no line for {time - before:.4g} s, and usually there is one each {usual:.3g} s: what was on from "
                    f"{before:.6g} to {time:.6g} s is not known; add lines for it, 0 W where nothing was on"
                )
                yield self.table.fault(row, TIME, what)

    @property
    def _are_clock_times(self) -> bool:
        """Of a column whose heading names no unit all cells must be, or the table is at fault already."""
        heading = self.table.headings[TIME]
        return heading.unit is None and heading.text == TIME

    def _power(self) -> None:
        sums = [sum(row.number(key) or 0.0 for key in self.keys) for row in self.rows]
        told = unlikely(self.case, max(sums))
        if told is not None:
            self.faults.append(self.table.fault(self.rows[sums.index(max(sums))], self.keys[0], told))

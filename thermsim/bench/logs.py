"""A time log as a run: what its sensors showed, and whether and when it had settled.

A log settles when every reading stays near the mean of its end. The longest time of a stack hides at the end of a log
that is too short: what is still to come of a slow rise is small only if the settled part is as long as the time before
it: of an exponential whose slow part is 3 K there are then 0.13 K to come, of 10 K 0.03 K; one below 2 K may hide. The
half kelvin and the double time are our own rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.columns import CIRCUMSTANCES, TIME, Bench
from thermsim.bench.plausible import implausible
from thermsim.bench.runs import Run, Settled, Shows
from thermsim.errors import CaseError, Fault
from thermsim.nearest_words import did_you_mean, listed
from thermsim.tables.table import Table

Array = NDArray[np.float64]

SETTLED_K = 0.5  # [K] how near to the mean of its end a reading counts as settled, beside half a step of its sensor
SETTLED_SHARE = 0.5  # of a log that must be settled
WINDOW = 0.1  # share of a log over which readings are averaged, so that their noise does not count
LOADED = 0.5  # share of the highest power from which on the load counts as on
FEWEST = 10  # lines of a log


@dataclass(frozen=True, eq=False)
class Logged:
    """What a log says of its run. file : as the case names it; shows : what is taken of each reading

    readings : [C], by name; circumstances : means over the settled end, or the last tenth, by field of a run
    remarks : in words
    """

    file: str
    readings: Mapping[str, float]
    circumstances: Mapping[str, float]
    settled: Settled
    remarks: tuple[str, ...]

    def into(self, run: Run) -> Run:
        """A run with what was logged; what it notes itself stands."""
        own: dict[str, Any] = {key: value for key, value in self.circumstances.items() if getattr(run, key) is None}
        on_load_s = self.settled.ends_s if run.on_load_s is None else run.on_load_s
        return replace(run, readings=run.readings or self.readings, on_load_s=on_load_s, settled=self.settled, **own)


FIELDS = {"coolant": "coolant_C", "room": "room_C", "package": "package_W", "fans": "fans_rpm", "pump": "pump_percent"}


def logged_runs(bench: Bench, names: list[str]) -> tuple[dict[str, Logged], list[Fault]]:
    """The logs that a case names, by run, and everything that is wrong with them."""
    of_case = bench.case.bench
    assert of_case is not None
    found: dict[str, Logged] = {}
    faults: list[Fault] = []
    files: dict[str, str] = {}
    for name, file in of_case.log.items():
        if name not in names:
            faults.append(bench.fault(f"no run is called {name!r}{did_you_mean(name, names)}", "log", name))
        if file in files:
            faults.append(bench.fault(f"{file!r} is the log of {files[file]!r} already", "log", name))
            continue
        files[file] = name
        try:
            table = bench.table(file, bench.columns(TIME, *CIRCUMSTANCES), (TIME.key,), "log", name, spare=True)
            told = [*table.faults, *implausible(bench, table), *_of_times(bench, table)]
            told = list({(fault.line, fault.column): fault for fault in reversed(told)}.values())  # one a cell
            faults += told
            if not told:
                found[name] = _logged(bench, table, name, file, of_case.shows)
        except CaseError as error:
            faults += error.faults
    return found, faults


def _of_times(bench: Bench, table: Table) -> list[Fault]:
    """A log is a course over time, of at least one reading."""
    faults = []
    if not any(name in table.headings for name in bench.readings):
        faults.append(table.fault(None, "", f"no column is one of the readings {listed(bench.readings)}; say in "
                                  "`bench` what stands for them: `columns: {heading: reading}`"))  # fmt: skip
    if len(table.rows) < FEWEST:
        faults.append(table.fault(None, "", f"a log of {len(table.rows)} lines is none: it has {FEWEST} or more"))
    if TIME.key not in table.headings:
        return faults  # its heading was refused, which is told: no line lacks its time for that
    told = {fault.line for fault in table.faults}
    before = None
    for row in table.rows:
        time = row.number(TIME.key)
        if time is None and row.line not in told:
            faults.append(table.fault(row, TIME.key, "the time is missing: leave the line out"))
        elif time is not None and before is not None and time < before:
            faults.append(table.fault(row, TIME.key, "the time runs backwards: a log is of one run, in its order"))
        before = time if time is not None else before
    if not faults and table.rows[-1].number(TIME.key) == table.rows[0].number(TIME.key):
        faults.append(table.fault(None, TIME.key, "all lines have the same time: log it in seconds"))
    return faults


def _logged(bench: Bench, table: Table, name: str, file: str, shows: Shows) -> Logged:
    time = np.array([row.values[TIME.key] for row in table.rows], dtype=np.float64)
    columns = {
        key: np.array([np.nan if (value := row.number(key)) is None else value for row in table.rows])
        for key in table.headings
        if key != TIME.key
    }
    columns = {key: values for key, values in columns.items() if not np.all(np.isnan(values))}
    remarks = []
    on = _loaded(columns.get("package"), len(time))
    if on != slice(0, len(time)):
        remarks.append(f"The log of {name!r} is read while the load was on, from {time[on.start] - time[0]:.0f} to "
                       f"{time[on.stop - 1] - time[0]:.0f} s.")  # fmt: skip
    time = time[on] - time[on][0]
    columns = {key: values[on] for key, values in columns.items()}
    readings = {key: columns[key] for key in bench.readings if key in columns}
    settled = settled_of(time, readings)
    end = time >= (settled.after_s if settled.after_s is not None else (1.0 - WINDOW) * time[-1])
    taken = {key: _taken(values, end, shows) for key, values in readings.items()}
    circumstances = {FIELDS[key]: float(np.nanmean(values[end])) for key, values in columns.items()
                     if key in FIELDS and not np.all(np.isnan(values[end]))}  # fmt: skip
    if table.unread:
        remarks.append(f"Columns of {file} that are not read: {listed(table.unread)}.")
    if settled.after_s is None:
        remarks.append(f"The log of {name!r} had not settled after {settled.ends_s:.0f} s: {settled.reading} moved by "
                       f"{settled.drift_K_min:+.2g} K a minute at its end.")  # fmt: skip
    return Logged(file, {key: value for key, value in taken.items() if np.isfinite(value)}, circumstances, settled,
                  tuple(remarks))  # fmt: skip


def _loaded(package_W: Array | None, count: int) -> slice:
    """Lines between which the load was on: all, where the power was not logged."""
    if package_W is None:
        return slice(0, count)
    on = np.flatnonzero(package_W >= LOADED * np.nanmax(package_W))
    first, last = (int(on[0]), int(on[-1]) + 1) if len(on) else (0, count)
    return slice(first, last) if last - first >= FEWEST else slice(0, count)


def _taken(values: Array, end: NDArray[np.bool_], shows: Shows) -> float:
    """What a reading is of its run."""
    known = values[~np.isnan(values)]
    if shows == "highest":
        return float(known.max())
    if shows == "last":
        return float(known[-1])
    at_end = values[end & ~np.isnan(values)]
    return float(at_end.mean()) if len(at_end) else float("nan")


def settled_of(time_s: Array, readings: Mapping[str, Array]) -> Settled:
    """How a log ended.

    Parameters
    ----------
    time_s : (n,) from 0, not falling
    readings : (n,) each [C], NaN where nothing was logged
    """
    length = float(time_s[-1])
    latest, drift, fastest = 0.0, 0.0, next(iter(readings))
    for name, values in readings.items():
        known = ~np.isnan(values)
        time, shown = time_s[known], values[known]
        if len(time) < FEWEST:
            continue
        mean = _running_mean(time, shown, WINDOW * length)
        step = 1.0 if np.all(shown == np.round(shown)) else 0.0
        off = np.abs(mean - shown[time >= time[-1] - WINDOW * length].mean()) > SETTLED_K + 0.5 * step
        if off.any():
            latest = max(latest, float(time[np.flatnonzero(off)[-1]]))
        slope = _slope(time, shown, length)
        if abs(slope) > abs(drift):
            drift, fastest = slope, name
    is_settled = latest <= (1.0 - SETTLED_SHARE) * length
    return Settled(latest if is_settled else None, length, 60.0 * drift, fastest)


def _running_mean(time_s: Array, values: Array, width_s: float) -> Array:
    """(n,) mean over a time of that width around each line; at the ends over what there is of it."""
    sums = np.concatenate(([0.0], np.cumsum(values)))
    first = np.searchsorted(time_s, time_s - 0.5 * width_s)
    last = np.searchsorted(time_s, time_s + 0.5 * width_s, side="right")
    return np.asarray((sums[last] - sums[first]) / (last - first))


def _slope(time_s: Array, values: Array, length_s: float) -> float:
    """By how much the last quarter still moves [K/s]: the slope of the straight line through it."""
    end = time_s >= time_s[-1] - 0.25 * length_s
    time = time_s[end] - time_s[end].mean()
    square = float(time @ time)
    return float(time @ (values[end] - values[end].mean())) / square if square > 0.0 else 0.0

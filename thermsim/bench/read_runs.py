"""The table of measured runs that a case names: every fault of every line at once."""

from __future__ import annotations

from dataclasses import dataclass, field

from thermsim.bench.columns import OF_RUNS, Bench, bench_of
from thermsim.bench.logs import Logged, logged_runs
from thermsim.bench.plausible import implausible
from thermsim.bench.runs import BenchSettings, NotedTo, Run, Runs, Usual
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.choice import AS_IN_FILE
from thermsim.errors import CaseError, Fault, enough
from thermsim.nearest_words import did_you_mean, listed
from thermsim.tables.headings import plain
from thermsim.tables.table import Row, Table

BASE_WORDS = (AS_IN_FILE, "as soldered", "base")  # what the base is called in a table
NEEDED = ("run", "mount")


def read_runs(case: Case) -> Runs:
    """The measured runs of a case: `bench: {runs: runs.csv}`.

    A run whose line holds no reading, and that has no log, is one that is still to be made: it is there, without any.

    Parameters
    ----------
    case : read from a file, beside which the table of runs and their logs lie

    Raises
    ------
    CaseError : every fault of the table and of the logs, with line, cell and column
    """
    if case.bench is None or case.bench.runs is None:
        what = "the case names no table of runs: add `bench: {runs: runs.csv}`, and write an empty one with "
        what += "`thermsim start runs.csv --runs CASE`"
        raise CaseError([Fault(case.file, *case.mark("bench"), what)])
    bench = bench_of(case)
    faults = bench.check()
    needed = (*NEEDED, "option") if case.options else NEEDED
    try:
        table = bench.table(case.bench.runs, bench.columns(*OF_RUNS), needed, "runs", spare=False)
    except CaseError as error:
        raise CaseError([*faults, *error.faults]) from None
    reader = _Lines(bench, table)
    faults += [*table.faults, *reader.read()]
    if not table.rows and not faults:
        faults.append(table.fault(None, "run", "no run stands below the headings: write one a line"))
    logs, told = logged_runs(bench, [run.name for run in reader.runs])
    faults += told + reader.with_logs(logs)
    if faults:
        raise CaseError(enough(faults))
    remarks = [*_remarks(bench, table, reader.runs), *(remark for log in logs.values() for remark in log.remarks)]
    return Runs(table.name, tuple(reader.runs), _settings(case), tuple(remarks))


def _settings(case: Case) -> BenchSettings:
    assert case.bench is not None
    noted, usual = case.bench.noted_to, case.bench.usual
    return BenchSettings(
        case.bench.shows,
        case.bench.cuts,
        NotedTo(noted.coolant_K, noted.power_percent, noted.lag_s),
        Usual(usual.fans_rpm, usual.pump_percent),
        case.one_mount_K,
    )


@dataclass
class _Lines:
    """Lines of a table as runs. runs : those that could be read"""

    bench: Bench
    table: Table
    runs: list[Run] = field(default_factory=list)

    def read(self) -> list[Fault]:
        """Faults of all lines."""
        faults: list[Fault] = []
        lines: dict[str, int] = {}
        mounts: dict[str, tuple[int, str | None]] = {}
        cells = {(fault.line, fault.column) for fault in self.table.faults}

        def refuse(row: Row, key: str, what: str) -> None:
            fault = self.table.fault(row, key, what)
            if (fault.line, fault.column) not in cells:  # else what stands there is told already
                faults.append(fault)

        whole_lines = {line for line, _ in cells}
        for row in self.table.rows:
            if not row.values and row.line in whole_lines:
                continue
            name, mount = row.words("run"), row.words("mount")
            if not name and "run" in self.table.headings:
                refuse(row, "run", "a run has a name: write one, such as r01")
            if name in lines and name:
                refuse(row, "run", f"the name {self.table.shown(name)} is taken by line {lines[name]}: write another")
            lines.setdefault(name, row.line)
            option, told = self.option(row.words("option"))
            if told:
                refuse(row, "option", told)
            if not mount and "mount" in self.table.headings:
                refuse(row, "mount", "it is not said which mount it was: number them, the same for runs between which "
                       "the cooler stayed on")  # fmt: skip
            elif mount and not told:
                line, other = mounts.setdefault(mount, (row.line, option))
                if other != option:
                    what = f"mount {self.table.shown(mount)} was of {self.called(other)} in line {line}, and is of "
                    refuse(row, "mount", f"{what}{self.called(option)} here: number the mounts through all options")
            self.runs.append(self.run(row, name, option, mount))
        return faults + implausible(self.bench, self.table)

    def option(self, words: str) -> tuple[str | None, str]:
        """The option that a cell names, and what is wrong with it."""
        known = [one.option for one in self.bench.case.options]
        if words in known:
            return words, ""
        if not words:
            if not known or "option" not in self.table.headings:
                return None, ""
            return (
                None,
                f"it is not said what was in place: write `{AS_IN_FILE}` for the base, or an option",
            )
        alike = [name for name in known if plain(name) == plain(words)]
        if len(alike) == 1:
            return alike[0], ""
        if plain(words) in BASE_WORDS:
            return None, ""
        if not self.table.quotes:
            return None, "the case has no such option"
        near = did_you_mean(words, [*known, *BASE_WORDS], f"there are {listed([*known, *BASE_WORDS[:1]])}")
        return None, f"the case has no option {words!r}{near}"

    def called(self, option: str | None) -> str:
        return "the base" if option is None else repr(option)

    def run(self, row: Row, name: str, option: str | None, mount: str) -> Run:
        number = row.number
        readings = {one: value for one in self.bench.readings if (value := number(one)) is not None}
        return Run(
            name, option, mount, row.line, number("on_load"), number("coolant"), number("room"), number("package"),
            number("score"), number("fans"), number("pump"), row.words("note"), readings,
        )  # fmt: skip

    def with_logs(self, logs: dict[str, Logged]) -> list[Fault]:
        """Put what was logged into the runs; what a line notes itself stands."""
        faults = []
        for place, run in enumerate(self.runs):
            log = logs.get(run.name)
            if log is None:
                continue
            if run.readings:
                row = next(row for row in self.table.rows if row.line == run.line)
                what = f"the run has the log {log.file!r}, which holds its readings: leave these cells empty"
                faults.append(self.table.fault(row, next(iter(run.readings)), what))
            self.runs[place] = log.into(run)
        return faults


def _remarks(bench: Bench, table: Table, runs: list[Run]) -> list[str]:
    """What is worth saying of a table that is in order."""
    found = []
    made = [run for run in runs if run.readings]
    missing = [name for name in bench.readings if not any(name in run.readings for run in made)]
    if made and missing:
        found.append(f"No run notes {listed(missing)}: all are judged by the other readings.")
    if planned := [run.name for run in runs if not run.readings]:
        found.append(f"No reading is noted of {listed(planned)}: to be made.")
    if len(made) == 1:
        found.append("One run alone has nothing to be held against.")
    elif made and all(run.option is not None for run in made):
        found.append(f"No run is of the base: write `{AS_IN_FILE}` as the option of one that is.")
    tried = {run.option for run in runs}
    if idle := [one.option for one in bench.case.options if one.option not in tried]:
        found.append(f"No run is of {listed(idle)}.")
    if table.unread:
        found.append(f"Columns of {table.name} that are not read: {listed(table.unread)}.")
    return found

"""What is said of tables of measured runs and of logs, and the table as it is mended: one row a kind of message."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from remedies import OfCall, OfCase, Row

from thermsim.bench.read_runs import read_runs
from thermsim.case.load import parse_case
from thermsim.start.sheet import SHEET, case_text

CASE = """\
title: A chip with a sensor
layers:
  - {part: chip, material: silicon, size_mm: [10, 10], thickness_mm: 0.7}
  - {joint: paste, resistance_mm2K_W: 8}
  - {part: plate, material: copper, size_mm: [20, 20], thickness_mm: 3}
heat:
  - {in: chip, zones: [{zone: C0, corner_mm: [1, 1], size_mm: [3, 3], power_W: 60}]}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
readings:
  - {reading: C0, zone: C0}
options:
  - {option: film, changes: {paste.resistance_mm2K_W: 4}}
"""
NO_READING = CASE.replace("readings:\n  - {reading: C0, zone: C0}\n", "")
BENCH = "bench: {runs: runs.csv}\n"
LOG = "bench: {runs: runs.csv, log: {a: log.csv}}\n"
GOOD = "run,option,mount,rest_min,coolant_C,package_W,C0\na,base,1,15,30,60,70\n"
WITH_VOLTS = GOOD.replace("C0\n", "C0,volts\n").replace("70\n", "70,1.2\n")
ROOM = CASE.replace("reading: C0", "reading: Room")
COURSE = "time [s],C0\n" + "".join(f"{time},70\n" for time in range(20))
NOTED_BY_LOG = "run,option,mount\na,base,1\n"


def reading(table: str, case: str = CASE + BENCH, log: str = "") -> Callable[..., None]:
    def read(folder: Path, *_: str) -> None:
        (folder / "runs.csv").write_text(table, encoding="utf-8")
        (folder / "log.csv").write_text(log, encoding="utf-8")
        read_runs(parse_case(case, "case.yaml", folder))

    return read


def row(table: str, told: str, mended: str) -> OfCall:
    return OfCall(reading(table), told, reading(mended))


def edit(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new)


def of_case(case: str, told: str, mended: str, table: str = GOOD) -> OfCall:
    return OfCall(reading(table, case), told, reading(table, mended))


def of_log(log: str, told: str, mended: str = COURSE, then: str = CASE + LOG) -> OfCall:
    return OfCall(reading(NOTED_BY_LOG, CASE + LOG, log), told, reading(NOTED_BY_LOG, then, mended))


def sheet(row_of_scatter: str) -> Callable[..., None]:
    def read(folder: Path, *found: str) -> None:
        text = SHEET.replace("substrate;laminate;;;", "substrate;laminate;40;36;1,2")
        text = text.replace("die;silicon;;;", "die;silicon;14;11;0,8").replace("lid;copper;;;", "lid;copper;30;28;2")
        text = text.replace("plate;copper;;;", "plate;copper;40;40;3").replace("heat;die;;", "heat;die;120;3")
        text = text.replace("water block;", "water block;28").replace("bare board;", "bare board;26")
        (folder / "sheet.csv").write_text(text.replace("one mount;0.8", row_of_scatter.format(*found)))
        case_text(folder / "sheet.csv")

    return read


ROWS: list[Row] = [
    OfCase((("accuracy_K: 0.1", "mount_scatter_K: 1.5"),), "did you mean `one_mount_K: 0.7653`"),
    OfCall(sheet("scatter;1,5"), r"write the row `(one mount)` with ([\d.]+)", sheet("{0};{1}")),
    of_case(CASE, "add `bench: {runs: runs.csv}`", CASE + BENCH),
    of_case(CASE + "bench: {runs: run.csv}\n", "did you mean `runs.csv`", CASE + BENCH),
    of_case(NO_READING + BENCH, "add `readings`, one for each sensor", CASE + BENCH),
    of_case(ROOM + BENCH, "call the reading otherwise", CASE + BENCH),
    of_case(CASE + "bench: {runs: runs.csv, columns: {x: C7}}\n", "cannot stand for .C7.*there is `C0`",
            CASE + "bench: {runs: runs.csv, columns: {x: C0}}\n"),
    row(WITH_VOLTS, "leave it out, or write `columns: {...: not read}` in `bench`", GOOD),
    of_case(CASE + BENCH, "leave it out, or write `columns: {...: not read}` in `bench`",
            CASE + "bench: {runs: runs.csv, columns: {volts: not read}}\n", WITH_VOLTS),
    row(GOOD.splitlines()[0] + "\n", "write one a line", GOOD),
    row(edit("a,base", ",base"), "write one, such as r01", edit("a,base", "r01,base")),
    row(GOOD + "a,film,2,,,,70\n", "is taken by line 2: write another", GOOD + "b,film,2,,,,70\n"),
    row(GOOD + "b,film,1,,,,70\n", "number the mounts through all options", GOOD + "b,film,2,,,,70\n"),
    row(edit("base,1", "base,"), "number them, the same for runs", GOOD),
    row(edit("base", ""), "write `(as in the file)` for the base", edit("base", "as in the file")),
    row(edit("base", "films"), "did you mean `film`", edit("base", "film")),
    row(edit("70\n", "343\n"), r"head the column `C0 \[K\]`", edit("C0\n", "C0 [K]\n").replace("70\n", "343\n")),
    row(edit("70\n", "160\n"), r"head the column `C0 \[F\]`", edit("C0\n", "C0 [F]\n").replace("70\n", "160\n")),
    row(edit(",60,", ",60000,"), r"head the column `package \[mW\]`",
        edit(",60,", ",60000,").replace("package_W", "package [mW]")),
    row(edit(",70\n", ",0\n"), "leave the cell empty if the sensor showed nothing", edit(",70\n", ",\n")),
    of_log("time [s],T\n" + "1,70\n" * 20, "`columns: {heading: reading}`", COURSE.replace("C0", "T"),
           CASE + "bench: {runs: runs.csv, log: {a: log.csv}, columns: {T: C0}}\n"),
    of_log("time [s],C0\n1,70\n", "it has 10 or more"),
    of_log(COURSE + ",70\n", "the time is missing: leave the line out"),
    of_log(COURSE + "1,70\n", "a log is of one run, in its order"),
    of_log("time [s],C0\n" + "1,70\n" * 20, "log it in seconds"),
    OfCall(reading(GOOD, CASE + LOG, COURSE), "leave these cells empty", reading(NOTED_BY_LOG, CASE + LOG, COURSE)),
]  # fmt: skip

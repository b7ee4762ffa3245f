"""Tables of measured runs: what was noted is read, what is wrong is told with line and column, all at once."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner

import thermsim
from thermsim.bench.runs import BenchSettings, NotedTo, Run, Runs, Usual
from thermsim.case.load import parse_case
from thermsim.commands.main import commands
from thermsim.errors import CaseError
from thermsim.report.text.shown import blocks_of

SEED = 20_711
CASE = """\
title: A chip with two sensors
layers:
  - {part: chip, material: silicon, size_mm: [10, 10], thickness_mm: 0.7}
  - {joint: paste, resistance_mm2K_W: 8}
  - {part: plate, material: copper, size_mm: [20, 20], thickness_mm: 3}
heat:
  - in: chip
    zones:
      - {zone: C0, corner_mm: [1, 1], size_mm: [3, 3], power_W: 60}
      - {zone: C1, corner_mm: [6, 6], size_mm: [3, 3], power_W: 40}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
readings:
  - {reading: C0, zone: C0}
  - {reading: C1, zone: C1}
options:
  - {option: "thin, film", changes: {paste.resistance_mm2K_W: 4}}
  - {option: Lid off, changes: {paste.resistance_mm2K_W: 6}}
"""
HEAD = "run;option;mount;on_load_min;coolant_C;room_C;package_W;score;fans_rpm;pump_percent;note;C0;C1\n"
LINES = (
    "r01;as soldered;1;15;32,5;23;100,5;1204;900;100;first of all;71;70\n"
    "r02;thin, film;2;2;;;;;;;;66;65,5\n"
    "r03;lid-off;3;;;;;;;;;68;\n"
)


def read(folder: Path, table: str, bench: str = "{runs: runs.csv}", case: str = CASE, **logs: str) -> Runs:
    for name, text in {"runs": table, **logs}.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return thermsim.read_runs(parse_case(f"{case}bench: {bench}\n", "case.yaml", folder))


def told(folder: Path, table: str, bench: str = "{runs: runs.csv}", case: str = CASE, **logs: str) -> dict[str, str]:
    """What is wrong, by `line:cell` of the table, or by `case`."""
    with pytest.raises(CaseError) as error:
        read(folder, table, bench, case, **logs)
    return {
        f"{fault.line}:{fault.column}" if fault.file.endswith(".csv") else f"case {number}": fault.message
        for number, fault in enumerate(error.value.faults)
    }


def test_what_was_noted(tmp_path: Path) -> None:
    found = read(tmp_path, HEAD + LINES)
    first, second, third = found.runs
    assert first == Run(
        "r01", None, "1", 2, 900.0, 32.5, 23.0, 100.5, 1204.0, 900.0, 100.0, "first of all", {"C0": 71.0, "C1": 70.0}
    )  # fmt: skip
    assert second == Run("r02", "thin, film", "2", 3, on_load_s=120.0, readings={"C0": 66.0, "C1": 65.5})
    assert (third.option, dict(third.readings)) == ("Lid off", {"C0": 68.0})
    assert found.options == (None, "thin, film", "Lid off") and found.of(None) == (first,)
    assert found.settings == BenchSettings() and found.remarks == ()


def test_how_the_bench_notes(tmp_path: Path) -> None:
    bench = (
        "{runs: runs.csv, shows: mean, cuts: down, noted_to: {coolant_K: 0.2 K, power_percent: 1, lag_s: 0.5 min}, "
        "usual: {fans_rpm: 900}}"
    )
    found = read(tmp_path, HEAD + LINES, bench, f"{CASE}one_mount_K: 0.7\n")
    assert found.settings == BenchSettings("mean", "down", NotedTo(0.2, 1.0, 30.0), Usual(900.0, None), 0.7)


def test_headings_of_another_tool(tmp_path: Path) -> None:
    table = "Test,Build,Mount,Core #0 [F],Core #1,Vcore,Tw,rest_min\nr01,base,a,159.8,70,1.2,32.5,15\n"
    columns = "{Test: run, Build: option, 'Core #0': C0, 'Core #1': C1, Vcore: not read, Tw: coolant}"
    (run,) = read(tmp_path, table, f"{{runs: runs.csv, columns: {columns}}}").runs
    assert (run.coolant_C, run.on_load_s, dict(run.readings)) == (32.5, 900.0, {"C0": 71.0, "C1": 70.0})


def test_every_fault_of_every_line_at_once(tmp_path: Path) -> None:
    lines = (
        "r01;as soldered;1;-5;32,5;23;-3;;;120;;71;200\n"
        "r01;thin film;1;;90;;;;;;;71;warm\n"
        ";Lid off;1;;32,5;;;;;;;70;343,5\n"
        "r04;;;;;;;;;;;70;0\n"
        "r05;Lid off;1;;32,5;;;;;;;12;70\n"
        "r06;base;4;;1;2;3;4;5;6;7;8;9;10\n"
    )
    found = told(tmp_path, HEAD + lines)
    for place, words in {
        "2:4": "column 'on_load_min': found -300 s, not from 0",
        "2:7": "column 'package_W': found -3 W, not from 0",
        "2:10": "not from 0 to 100",
        "2:13": "found 200 C, not from -60 to 150; if it is in degrees Fahrenheit, head the column `C1 [F]`",
        "3:1": "the name 'r01' is taken by line 2",
        "3:2": "did you mean `thin, film`?",
        "3:13": "found 'warm', which is no number; leave the cell empty",
        "4:1": "a run has a name",
        "4:3": "mount '1' was of the base in line 2, and is of 'Lid off' here",
        "4:13": "found 343.5 C, not from -60 to 150; if it is in kelvin, head the column `C1 [K]`",
        "5:2": "write `as in the file` for the base",
        "5:3": "it is not said which mount",
        "6:3": "mount '1' was of the base in line 2, and is of 'Lid off' here",
        "7:14": "under no heading",
    }.items():
        assert words in found[place], (place, found)
    assert len(found) == 14


def test_readings_below_their_coolant(tmp_path: Path) -> None:
    """Nothing that makes heat is colder than what cools it; told once the numbers themselves are in order."""
    found = told(tmp_path, HEAD + "r01;base;1;;86;;;;;;;71;0\n")
    assert "15 K below the coolant" in found["2:12"] and "86 K below" in found["2:13"]


def test_a_column_in_another_unit_is_told_once(tmp_path: Path) -> None:
    lines = "".join(
        f"r{number};base;{number};;305,6;;{power};;;;;344;340\n" for number, power in enumerate([99_000] * 5)
    )
    found = told(tmp_path, HEAD + lines)
    assert found["1:12"].startswith("column 'C0': 5 of 5 numbers are not from -60 to 150 C (lines 2, 3, 4, 5, 6)")
    assert all(f"in kelvin, head the column `{name} [K]`" in found[place]
               for place, name in (("1:5", "coolant"), ("1:12", "C0"), ("1:13", "C1")))  # fmt: skip
    assert "in mW? head the column `package [mW]`" in found["2:7"] and len(found) == 4
    head = (
        HEAD.replace("coolant_C", "coolant [K]").replace("package_W", "package [mW]").replace("C0;C1", "C0 [K];C1 [K]")
    )
    first = read(tmp_path, head + lines).runs[0]
    assert (first.coolant_C, first.package_W) == (pytest.approx(32.45), 99.0)
    assert first.readings["C0"] == pytest.approx(70.85)


def test_what_the_table_lacks_is_said(tmp_path: Path) -> None:
    found = read(tmp_path, "run;option;mount;C0\nr01;thin, film;1;70\nr02;base;2;\n")
    assert found.remarks == (
        "No run notes `C1`: all are judged by the other readings.",
        "No reading is noted of `r02`: to be made.",
        "One run alone has nothing to be held against.",
        "No run is of `Lid off`.",
    )
    found = read(tmp_path, "run;option;mount;C0;C1\nr01;thin, film;1;70;70\nr02;Lid off;2;70;70\n")
    assert found.remarks == ("No run is of the base: write `as in the file` as the option of one that is.",)


def test_what_is_wrong_with_the_case(tmp_path: Path) -> None:
    for bench, case, words in (
        ("{shows: last}", CASE, "the case names no table of runs"),
        ("{runs: rum.csv}", CASE, "there is no file 'rum.csv' beside the case; did you mean `runs.csv`?"),
        ("{runs: runs.csv, columns: {x: C9}}", CASE, "'x' cannot stand for 'C9'"),
        ("{runs: runs.csv}", CASE.replace("reading: C1", "reading: Room"), "call the reading otherwise"),
        ("{runs: runs.csv}", CASE[: CASE.index("readings:")], "the case has none: add `readings`"),
        ("{runs: runs.csv, log: {r9: l.csv}}", CASE, "no run is called 'r9'"),
    ):
        assert any(words in one for one in told(tmp_path, HEAD + LINES, bench, case, l="time [s],C0\n").values())
    with pytest.raises(CaseError, match="read from no file"):
        thermsim.read_runs(parse_case(f"{CASE}bench: {{runs: runs.csv}}\n"))
    assert "no run stands below" in told(tmp_path, HEAD)["1:1"]


def test_without_options_every_run_is_of_the_base(tmp_path: Path) -> None:
    found = read(tmp_path, "run,mount,C0\n1,1,70\n2,2,71\n", case=CASE[: CASE.index("options:")])
    assert found.options == (None,) and found.remarks[0].startswith("No run notes `C1`")


def test_a_table_of_somebody_else_is_not_quoted(tmp_path: Path) -> None:
    (tmp_path / "case").mkdir()
    (tmp_path / "secret.csv").write_text("root;secret\nhunter;2\n", encoding="utf-8")
    for text in (None, "run;option;mount;C0\nhunter;secret;1;secret\n;hunter;1;-500\nhunter;hunter;2;7\n"):
        if text:
            (tmp_path / "secret.csv").write_text(text, encoding="utf-8")
        with pytest.raises(CaseError) as error:
            thermsim.read_runs(parse_case(f"{CASE}bench: {{runs: ../secret.csv}}\n", "case.yaml", tmp_path / "case"))
        assert not any(word in fault.message for fault in error.value.faults for word in ("hunter", "'secret'", "500"))


def test_the_empty_table_of_a_case_is_read_as_it_is(tmp_path: Path) -> None:
    """With lines to be made of every option, whatever the case calls them, and filled in by a table program."""
    (tmp_path / "case.yaml").write_text(f"{CASE}bench: {{runs: runs.csv}}\n", encoding="utf-8")
    run = CliRunner().invoke(commands, ["start", str(tmp_path / "runs.csv"), "--runs", str(tmp_path / "case.yaml")])
    assert run.exit_code == 0 and "bench: {runs: runs.csv}" in run.output
    case = thermsim.read_case(tmp_path / "case.yaml")
    found = thermsim.read_runs(case)
    assert found.options == (None, "thin, film", "Lid off")
    assert [run.mount for run in found.runs] == ["1", "2", "3", "4", "5", "6"]
    assert found.remarks[0].startswith("No reading is noted of `r01`, `r02`")
    text = (tmp_path / "runs.csv").read_text(encoding="utf-8")
    assert HEAD in text
    lines = [line if line.startswith(("#", "run;")) else f"{line[:-1]}71,5;70" for line in text.splitlines()]
    (tmp_path / "runs.csv").write_bytes("\r\n".join(lines).encode("utf-16"))
    assert thermsim.read_runs(case).runs[0].readings == {"C1": 70.0, "C0": 71.5}


def test_runs_print_as_they_were_noted(tmp_path: Path) -> None:
    """One line a run; columns that nobody filled in are left out."""
    (table,) = blocks_of(read(tmp_path, HEAD + LINES))
    assert table.rows[0] == (
        "r01", "as in the file", "1", "15", "32.5", "23", "100.5", "1204", "900", "100", "2", "71", "70",
    )  # fmt: skip
    text = str(read(tmp_path, "run;option;mount;C0\nr01;thin, film;1;70\n"))
    assert "coolant" not in text and "No run notes `C1`" in text


PIECES = (
    b";",
    b",",
    b'"',
    b"\n",
    b"\t",
    b"#",
    b"1e309",
    b"[K]",
    b"nan",
    b"-",
    b"\xff\xfe",
    b"\x00",
    b"1/0 m",
    b"1_000",
)


def test_whatever_happens_to_a_table_is_told(tmp_path: Path) -> None:
    """Bytes changed, taken out and put in anywhere: faults, or runs whose numbers kept their columns."""
    random = Random(SEED)
    case = parse_case(f"{CASE}bench: {{runs: runs.csv}}\n", "case.yaml", tmp_path)
    read_as_it_is = 0
    for _ in range(200):
        data = bytearray((HEAD + LINES).encode())
        for _ in range(random.randint(1, 4)):
            place = random.randrange(len(data))
            data[place : place + random.randint(0, 5)] = random.choice((*PIECES, bytes([random.randrange(256)])))
        (tmp_path / "runs.csv").write_bytes(bytes(data))
        try:
            found = thermsim.read_runs(case)
        except CaseError:
            continue
        read_as_it_is += 1
        for run in found.runs:
            assert all(60.0 < value < 80.0 for value in run.readings.values()), bytes(data)
    assert read_as_it_is < 40

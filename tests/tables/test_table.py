"""Tables as spreadsheets and loggers write them: what is meant is read, what is wrong or may be two things is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from thermsim.errors import CaseError
from thermsim.tables.headings import Column
from thermsim.tables.table import UNREAD, Table, parse_table, read_table

COLUMNS = [
    Column("run"),
    Column("rest", "s"),
    Column("coolant", "C", "C"),
    Column("package", "W", "W"),
    Column("fans", "", plain_units=("rpm", "1/min")),
    Column("C0", "C", "C"),
]
PLAIN = "run,rest_min,coolant_C,package_W,fans_rpm,C0\nr1,15,32.5,201.6,900,71\nr2,2,,,,70.5\n"
VALUES = [
    {"run": "r1", "rest": 900.0, "coolant": 32.5, "package": 201.6, "fans": 900.0, "C0": 71.0},
    {"run": "r2", "rest": 120.0, "C0": 70.5},
]


def read(text: str, **more: object) -> Table:
    return parse_table(text, "t.csv", COLUMNS, **more)  # type: ignore[arg-type]


def told(text: str, **more: object) -> list[str]:
    return [str(fault) for fault in read(text, **more).faults]


def commas(text: str) -> str:
    return text.replace(",", ";").replace(".", ",")


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        commas(PLAIN),
        PLAIN.replace(",", "\t"),
        "\n".join(f'"{line}"'.replace(",", '","') for line in commas(PLAIN).replace(",", ".").splitlines()).replace(
            ";", '";"'
        ),
        "sep=;\r\n# a remark, with 1,5\r\n" + commas(PLAIN).replace("\n", "\r\n\r\n"),
        "C0 [C],package (W),Coolant / C,fans [1/min],run,rest in min\n71,201.6,32.5,900,r1,15\n70.5,,,,r2,2\n",
        "run,rest [s],coolant [K],package [mW],fans,C0 [F]\nr1,900,305.65,201600,900,159.8\nr2,120 s,,,,158.9 F\n",
        "run,rest,coolant\xa0[\xb0C],package W,fans,C0\nr1,0:15:00,32.5,201.6,900,71\nr2,0:02:00,,,,70.5\n".replace(
            "rest,", "rest_min,"
        ),
    ],
)
def test_the_same_table_in_other_dress(text: str) -> None:
    table = (
        read(text)
        if "0:15" not in text
        else parse_table(text, "t.csv", [Column("rest", "s", is_time=True), *COLUMNS[:1], *COLUMNS[2:]])
    )
    assert [dict(row.values) for row in table.rows] == VALUES and table.faults == ()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    (tmp_path / "t.csv").write_bytes("run,coolant [\xb0C]\nM\xfcnchen,32.5\n".encode(encoding))
    table = read_table(tmp_path / "t.csv", COLUMNS)
    assert [dict(row.values) for row in table.rows] == [{"run": "M\xfcnchen", "coolant": 32.5}]


def test_every_fault_is_told_at_once_with_line_and_column() -> None:
    found = told(
        "run;rest;coolant [W];packag;C0;C0;fans [W];wind\n"
        "r1;1;2;3;4;5;6;7\n"
        "r2;1;2;3;about 70;;;\n"
        "r3;;;;1e400;;;;9\n"
        'r4;"71\n'
    )
    places = [one.split(": ")[0] for one in found]
    assert places == [f"t.csv:{place}" for place in ("1:2", "1:3", "1:4", "1:6", "1:7", "1:8", "3:5", "4:9", "5:1")]
    for place, words in (
        (0, "say in which unit: write `rest [s]`"),
        (1, "that is a power, and `coolant` is a temperature"),
        (2, "did you mean `package`?"),
        (3, "cell 5 is `C0` already"),
        (4, "`fans` is not told in W"),
        (5, "no column is called so"),
        (6, "column 'C0': found 'about 70': write a number in C"),
        (7, "under no heading"),
        (8, "a quote is opened"),
    ):
        assert words in found[place]


def test_a_line_that_lost_a_separator_is_told() -> None:
    """Else its numbers stood under other headings: 66 C as a speed of fans."""
    found = told("run;fans;C0\nr1;900;71\nr2;66\nr3;;;68\nr4;800;70\n")
    assert [one.split(": ")[0] for one in found] == ["t.csv:3:1", "t.csv:4:4"]
    assert "2 cells stand under 3 headings" in found[0] and "under no heading" in found[1]
    assert len(told("run;fans;C0\nr1;900;71\nr2;;66;\nr4;800;70\n")) == 1


def test_lines_that_all_end_with_a_separator() -> None:
    """As some loggers write them, with or without one behind the headings."""
    for head in ("run,fans,C0", "run,fans,C0,"):
        for end in ("", ","):
            table = read(f"{head}\nr1,900,71{end}\nr2,800,70{end}\n")
            assert table.faults == () and table.rows[1].number("C0") == 70.0


def test_what_is_no_number_is_no_zero() -> None:
    table = read("run,C0\nr1,n/a\nr2,nan\nr3,\nr4,inf\n")
    assert [dict(row.values) for row in table.rows] == [{"run": f"r{number}"} for number in (1, 2, 3, 4)]
    assert [(fault.line, fault.column) for fault in table.faults] == [(2, 2), (3, 2), (5, 2)]


def test_numbers_beyond_all_measure_are_told_in_any_unit() -> None:
    for heading in ("C0", "C0 [F]"):
        (fault,) = told(f"run,{heading}\nr1,1e309\n")
        assert "every number is finite and of a size that can be measured" in fault


def test_commas_between_groups_of_three_are_never_guessed() -> None:
    """Beside 71,5 a comma is one of decimals; where nothing shows it, both readings are told."""
    assert read("run;fans\nr1;1,200\nr2;0,5\n").rows[0].number("fans") == 1.2
    assert "that may be 1.200 or 1200" in told("run;fans\nr1;1,200\n")[0]
    assert "that may be 1.200 or 1200: write 1,200 or 1200" in told("run;fans\nr1;1.200\nr2;0,5\n")[0]
    assert read("run;fans\nr1;1.200\nr2;0.5\n").rows[0].number("fans") == 1.2


def test_a_decimal_comma_in_a_table_of_commas_is_told() -> None:
    assert "a decimal comma?" in told("run,C0\nr1,71,5\n")[0]


def test_columns_that_are_missing_too_many_or_called_otherwise() -> None:
    text = "name,tcase,volts\nr1,71,1.2\n"
    assert "volts" in told(text, called={"name": "run", "tcase": "C0"})[0]
    table = read(text, called={"name": "run", "tcase": "C0", "volts": UNREAD})
    assert table.faults == () and table.unread == ("volts",) and table.rows[0].number("C0") == 71.0
    assert read(text, called={"name": "run", "tcase": "C0"}, spare=True).unread == ("volts",)
    assert "no column is headed `C0 [C]`" in told("run\nr1\n", needed=["C0"])[0]
    assert "which is no column" in told(text, called={"name": "rum", "tcase": "C0", "volts": UNREAD})[0]


def test_runs_without_headings_are_one_fault_and_headings_that_are_numbers_none_of_this() -> None:
    first = told("r1;base;1;30,2;99,8;900;60;62\nr2;base;2;30,2;99,8;900;60;62\n")
    assert len(first) == 1 and "names the columns" in first[0]
    assert not any("names the columns" in what for what in told("run;0;1;2\nr1;60;61;62\n"))


def test_clock_times_become_seconds_and_go_on_over_midnight() -> None:
    columns = [Column("time", "s", is_time=True), Column("C0", "C", "C")]

    def times(*cells: str) -> list[float | None]:
        table = parse_table("time,C0\n" + "".join(f"{cell},1\n" for cell in cells), "t.csv", columns)
        assert table.faults == (), table.faults
        first = table.rows[0].number("time") or 0.0
        return [(row.number("time") or 0.0) - first for row in table.rows]

    assert times("23:59:58", "23:59:59.5", "0:00:01") == [0.0, 1.5, 3.0]
    assert times("2026-03-01 23:59:58", "2026-03-02T00:00:01") == [0.0, 3.0]
    assert times("31.12.2026 23:59:58", "1.1.2027 0:00:01") == [0.0, 3.0]
    wrong = parse_table("time,C0\n12:30,1\n", "t.csv", columns).faults[0].message
    assert "that may be 12:30:00 or 0:12:30" in wrong
    assert "say in which unit" in parse_table("time,C0\n5,1\n6,1\n", "t.csv", columns).faults[0].message


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04rest", b"a,b\x00\x01\n1,2", b"# only a remark\n"])
def test_what_is_no_table_is_told(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "t.csv").write_bytes(data)
    with pytest.raises(CaseError):
        read_table(tmp_path / "t.csv", COLUMNS)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for name, words in (("none.csv", "no such file"), (".", "this is a folder")):
        with pytest.raises(CaseError, match=words):
            read_table(tmp_path / name, COLUMNS)


def test_a_table_of_somebody_else_is_not_quoted() -> None:
    """A case may name any file that its reader can open."""
    for text in ("root:x:0,secret\n1,2\n", "run,C0\nr1,secret\nr2,3,secret\n"):
        assert all("secret" not in one and "root" not in one for one in told(text, quotes=False))


def test_a_table_that_was_cut_short_is_told() -> None:
    """Wherever a line has lost a separator; not where only its last number may be another."""
    for end in range(PLAIN.index("\n") + 2, len(PLAIN)):
        last = PLAIN[:end].rstrip("\n").split("\n")[-1]
        assert bool(told(PLAIN[:end])) == (last.count(",") < 5), PLAIN[:end]

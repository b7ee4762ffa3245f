"""CSV tables: what spreadsheets and hands write, and what is refused where."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thermsim.case.faults.tables import parse_table, read_table
from thermsim.errors import CaseError


@pytest.mark.parametrize(
    "text",
    [
        "1,2.5\n3,4e1\n",
        "1;2.5\r\n3;4e1\r\n",
        "1\t2.5\n3\t4e1",
        "1  2.5\n 3 4e1\n",
        "# W\n\n1, 2.5\n3 ,4e1\n\n",
        "1,2.5\r3,4e1\r",
    ],
)
def test_ways_of_writing(text: str) -> None:
    np.testing.assert_array_equal(parse_table(text, "t.csv", zero_allowed=True), [[1, 2.5], [3, 40]])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "t.csv:1:1: the table is empty"),
        ("# nothing\n", "t.csv:1:1: the table is empty"),
        ("1,2\n3\n", "t.csv:2:1: 1 values stand here, but 2 in line 1: a table is rectangular"),
        ("1,2\n3,x\n", "t.csv:2:3: every cell is a number 0 or above, found something else"),
        ("1, 2\n3,  -4\n", "t.csv:2:5: every number is finite and 0 or above, found `-4`"),
        ("1,2,\n", "t.csv:1:5: every cell is a number 0 or above, found an empty cell"),
        ("1,5;2,5\n", "t.csv:1:1: every cell is a number 0 or above, found `1,5`; write decimals with a point"),
        ("1,nan\n", "t.csv:1:3: every cell"),
        ("1,inf\n", "t.csv:1:3: every cell"),
        ("1,1e999\n", "t.csv:1:3: every number is finite"),
        ("x,y\n1,2\n", "t.csv:1:1: this line holds headings, not numbers: leave it out"),
        ("x,1\n1,2\n", "t.csv:1:1: every cell"),
        ("1\n" * 1001, "t.csv:1001:1: more than 1000 lines"),
        ("1," * 1000 + "1\n", "t.csv:1:1: more than 1000 columns"),
    ],
)
def test_refused_with_its_place(text: str, told: str) -> None:
    with pytest.raises(CaseError) as caught:
        parse_table(text, "t.csv", zero_allowed=True)
    assert str(caught.value).startswith(told)


def test_zero_is_power_but_no_film() -> None:
    assert parse_table("0\n", "t.csv", zero_allowed=True)[0, 0] == 0
    with pytest.raises(CaseError, match="above 0, found `0`"):
        parse_table("0\n", "t.csv", zero_allowed=False)


def test_files_that_are_none(tmp_path: Path) -> None:
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "book.csv").write_bytes(b"PK\x03\x04\x14")
    with pytest.raises(CaseError, match="not a file"):
        read_table(tmp_path, "folder.csv", zero_allowed=True)
    with pytest.raises(CaseError, match=r"book.csv:1:1: this is the workbook of a spreadsheet program"):
        read_table(tmp_path, "book.csv", zero_allowed=True)
    with pytest.raises(CaseError, match="cannot be read"):
        read_table(tmp_path, "n" * 5000, zero_allowed=True)
    with pytest.raises(FileNotFoundError):
        read_table(tmp_path, "none.csv", zero_allowed=True)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_tables_of_spreadsheets_in_their_encodings(encoding: str, tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_bytes("# film in \xb5m\n1;2\n3;4\n".encode(encoding))
    np.testing.assert_array_equal(read_table(tmp_path, "t.csv", zero_allowed=True), [[1, 2], [3, 4]])


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.data(), st.sampled_from([",", ";", "\t", " "]))
def test_what_numpy_writes_is_read_back(data: st.DataObject, separator: str) -> None:
    """numpy.savetxt's text is the judge."""
    shape = data.draw(st.tuples(st.integers(1, 4), st.integers(1, 4)))
    numbers = st.floats(0, 1e12, allow_subnormal=False)
    table = np.array([[data.draw(numbers) for _ in range(shape[1])] for _ in range(shape[0])])
    text = "\n".join(separator.join(f"{number:.17g}" for number in row) for row in table)
    np.testing.assert_array_equal(parse_table(text, "t.csv", zero_allowed=True), table)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(alphabet="0123456789.,;e-+ \t\n#x\r", max_size=40))
def test_any_text_is_a_table_or_refused(text: str) -> None:
    try:
        table = parse_table(text, "t.csv", zero_allowed=True)
    except CaseError:
        return
    assert table.ndim == 2
    assert np.isfinite(table).all()
    assert (table >= 0).all()


SECRETS = (
    "pass word 9",
    "-----BEGIN KEY-----\nMIIEow/7+a1b2c3d4\n",
    "root:x:0:0:root\n",
    "user = somebody\ntoken = 1f9b\n",
    "\xff\xfe1a",
)


@pytest.mark.parametrize("secret", SECRETS)
def test_nothing_but_numbers_is_quoted(secret: str, tmp_path: Path) -> None:
    """A case of somebody else may name any file that its reader can open."""
    (tmp_path / "t.csv").write_text(secret, encoding="latin-1")
    with pytest.raises(CaseError) as told:
        read_table(tmp_path, "t.csv", zero_allowed=True)
    words = " ".join(fault.message for fault in told.value.faults)
    assert not [word for word in re.findall(r"[\w/+]{2,}", secret) if re.search("[A-Za-z]", word) and word in words]


@pytest.mark.parametrize("way", ["up", "absolute", "link"])
def test_of_a_file_outside_the_folder_of_the_case_nothing_is_quoted(way: str, tmp_path: Path) -> None:
    (tmp_path / "case").mkdir()
    secret = tmp_path / "t.csv"
    name = {"up": "../t.csv", "absolute": str(secret), "link": "link.csv"}[way]
    if way == "link":
        (tmp_path / "case" / name).symlink_to(secret)
    for content in (b"1, -7345\n", b"1, 7345,9\n-7345", b"1;-7345\n7345,5; 7345x\n", b"\xfa7345"):
        secret.write_bytes(content)
        with pytest.raises(CaseError) as told:
            read_table(tmp_path / "case", name, zero_allowed=True)
        assert "7345" not in str(told.value) and "0xfa" not in str(told.value)
    secret.write_text("1, 2\n", encoding="utf-8")
    assert read_table(tmp_path / "case", name, zero_allowed=True).tolist() == [[1.0, 2.0]]

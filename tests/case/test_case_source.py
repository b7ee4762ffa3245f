"""YAML text -> values and places. What a plain word means is taken from YAML 1.2.2, section 10.3.2 (yaml.org)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thermsim.case.source.marked_values import Source
from thermsim.case.source.yaml_source import parse, read_text
from thermsim.errors import CaseError


def faults(text: str) -> list[str]:
    """Every fault of a text as `line:column: message`."""
    try:
        found = [fault for _, fault in parse(text, "f").faults]
    except CaseError as error:
        found = error.faults
    return [f"{fault.line}:{fault.column}: {fault.message}" for fault in found]


@pytest.mark.parametrize(
    ("word", "value"),
    [
        # YAML 1.2.2, 10.3.2 and examples 10.8, 10.9: numbers of the core schema
        ("1e-3", 0.001),
        ("1.0e3", 1000.0),
        ("12e03", 12000.0),
        ("-2E+05", -200000.0),
        ("0.", 0.0),
        ("-0.0", 0.0),
        (".5", 0.5),
        ("+12", 12),
        ("-19", -19),
        ("010", 10),  # no octal by a leading nought, as YAML 1.1 had it
        ("true", True),
        ("FALSE", False),
        # text in YAML 1.2, though not in YAML 1.1
        ("on", "on"),
        ("off", "off"),
        ("yes", "yes"),
        ("No", "No"),
        ("y", "y"),
        ("12:30", "12:30"),
        ("1_000", "1_000"),
        ("2001-12-14", "2001-12-14"),
        ("0b11", "0b11"),
        # numbers in YAML 1.2 that no case needs: kept as text, which the vocabulary then refuses
        ("0x1F", "0x1F"),
        ("0o17", "0o17"),
        ("1.2.3", "1.2.3"),
        ("1e", "1e"),
        ("e5", "e5"),
        (".", "."),
        ("'5'", "5"),
        ('"true"', "true"),
        ("'~'", "~"),
    ],
)
def test_plain_words(word: str, value: object) -> None:
    read = parse(f"key: {word}\n", "f").values["key"]
    assert read == value
    assert type(read) is type(value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a: 1\nb: 2\na: 3\n", "3:1: the key `a` stands here again; it was given in line 1 column 1"),
        ("x:\n  - {k: 1, j: 2,\n     k: 3}\n", "3:6: the key `k` stands here again; it was given in line 2 column 6"),
        ("a: .nan\n", "1:4: `.nan` is not a number"),
        ("a: [1, -.inf]\n", "1:8: `-.inf` is not a number"),
        ("a: 1e400\n", "1:4: the number 1e400 is beyond"),
        ("a: 9" + "9" * 400 + "\n", "1:4: the number"),
        ("a: 1e-400\n", "1:4: the number 1e-400 is nearer to 0"),
        ("a: 1\nb:\nc: 2\n", "2:3: `b` has no value"),
        ("a: [1, ~]\n", "1:8: this item has no value"),
        ("a: !!python/object:os.system x\n", "1:4: the tag `!!python/object:os.system` is not used"),
        ("a: 1\nb: !mine 5\n", "2:4: the tag `!mine` is not used"),
        ("a: &x [1, *x]\n", "1:4: an alias `*name` inside this value leads back"),
        ("a: &x\n  b: {<<: *x}\n", "1:4: an alias `*name` inside this value leads back"),
        ("a: *x\n", "1:4: `*name` without `&name`"),
        ("a: 1\n\tb: 2\n", "2:1: a tab stands here"),
        ("a:\n\t- 1\n", "2:1: a tab stands here"),
        ("a: 1\n---\nb: 2\n", "2:1: a second document begins here"),
        ("", "1:1: the file is empty"),
        ("# only words\n", "1:1: the file is empty"),
        ("- 1\n- 2\n", "1:1: a case is a mapping of keys to values (`title: ...`), found a list"),
        ("\n  stack\n", "2:3: a case is a mapping of keys to values (`title: ...`), found the text 'stack'"),
        ("a: 1\nb: x\x00y\n", "2:5: the character U+0000"),
        ("a: 1\r\nb: \x1b[1m\r\n", "2:4: the character U+001B"),
        ('a: "\\0"\n', "1:4: the text holds a character that cannot be printed"),
        ('a: "\\ud800"\n', "1:4: the text holds a character that cannot be printed"),
        ('a: "\\UFFFFFFFF"\n', "1:7: the text is not YAML"),
        ("? [a, b]\n: 1\n", "1:3: a key is a word, found a list"),
        ("a: 1\n? ~\n: 2\n", "2:3: a `:` without a key"),
        ("a: [1, 2\nb: 3\n", "2:2: the list `[...]` is not closed"),
        ("a: 'x\n", "2:1: a quote is not closed"),
        ("a: {b: 1\n", "2:1: the mapping `{...}` is not closed"),
        ("a: 1\n  b: 2\n", "2:4: a `:` that does not belong here"),
        ("a: " + "[" * 100 + "]" * 100, "1:43: more than 40 lists or mappings inside one another"),
        ("<<: 5\na: 1\n", "1:5: `<<` takes a mapping"),
    ],
)
def test_refused_with_its_place(text: str, told: str) -> None:
    assert [line for line in faults(text) if line.startswith(told)], faults(text)


def test_alias_bomb_is_refused_before_it_unfolds() -> None:
    lines = ["a0: &a0 [1, 1, 1, 1, 1, 1, 1, 1, 1, 1]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 12)]
    assert "values once every alias" in faults("\n".join(lines))[0]


def test_aliases_and_merges_within_reason() -> None:
    text = "base: &b {k: 1, j: 2}\nsame: *b\nmore: {<<: *b, j: 3}\ntwo: {<<: [*b, {m: 5, k: 7}]}\n"
    source = parse(text, "f")
    assert not source.faults
    assert source.values["same"] == {"k": 1, "j": 2}
    assert source.values["more"] == {"k": 1, "j": 3}
    assert source.values["two"] == {"k": 1, "j": 2, "m": 5}  # an earlier mapping wins: yaml.org/type/merge.html
    assert source.mark(("more", "k")) == (1, 14)  # where the value is written


def test_marks_of_keys_and_values() -> None:
    source = parse("title: x\nlayers:\n  - part: die\n    size_mm: [1, 2.5]\n", "f")
    assert source.mark(("title",)) == (1, 8)
    assert source.key_mark(("title",)) == (1, 1)
    assert source.mark(("layers", 0)) == (3, 5)
    assert source.mark(("layers", 0, "size_mm", 1)) == (4, 18)
    assert source.key_mark(("layers", 0, "size_mm")) == (4, 5)
    assert source.mark(("layers", 0, "thickness_mm", "value")) == (3, 5)  # not written: what holds it


def test_every_mark_points_at_its_own_text() -> None:
    text = "a: one\nb:\n  - two\n  - {c: three, d: 'four'}\ne: \"five\"\n"
    source = parse(text, "f")
    lines = text.split("\n")
    for path, (line, column) in source.marks.items():
        value = source.at(path)
        if isinstance(value, str):
            assert lines[line - 1][column - 1 :].lstrip("'\"").startswith(value)
    for path, (line, column) in source.key_marks.items():
        assert lines[line - 1][column - 1 :].startswith(str(path[-1]))


plain = st.recursive(
    st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.floats(-1e15, 1e15).filter(lambda x: x == 0 or abs(x) > 1e-15)
    | st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=12),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.text(st.characters(min_codepoint=97, max_codepoint=122), min_size=1, max_size=6), inner, max_size=4
        )
    ),
    max_leaves=20,
)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.dictionaries(st.text(st.characters(min_codepoint=97, max_codepoint=122), min_size=1), plain, min_size=1))
def test_json_is_read_as_json(values: dict[str, object]) -> None:
    """JSON is YAML (YAML 1.2.2, section 1.2): the standard library's `json` is the judge."""
    assert parse(json.dumps(values), "f").values == values


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text(alphabet="ab:- \n\t[]{}#&*!|>'\"%@,?0.e~<\\x", max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        assert isinstance(parse(text, "f"), Source)
    except CaseError as error:
        for fault in error.faults:
            assert 1 <= fault.line <= text.count("\n") + 1


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"title: caf\xe9\n", "f.yaml:1:11: byte 0xe9 is not UTF-8"),
        (b"title: x\n# \xff\n", "f.yaml:2:3: byte 0xff is not UTF-8"),
        ("title: x\n".encode("utf-16"), "f.yaml:1:1: the file is in UTF-16"),
        (b"#" * 1_100_000, "f.yaml:1:1: the file is larger than"),
    ],
)
def test_bytes_that_are_no_case(data: bytes, told: str, tmp_path: Path) -> None:
    path = tmp_path / "f.yaml"
    path.write_bytes(data)
    with pytest.raises(CaseError) as caught:
        read_text(path, "f.yaml")
    assert str(caught.value).startswith(told)


def test_byte_order_mark_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "f.yaml"
    path.write_bytes(b"\xef\xbb\xbftitle: x\n")
    source = parse(read_text(path, "f"), "f")
    assert source.values == {"title": "x"}
    assert source.key_mark(("title",)) == (1, 1)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="there is no such file"):
        read_text(tmp_path / "none.yaml", "none.yaml")
    with pytest.raises(CaseError, match="a folder"):
        read_text(tmp_path, "here")


def test_value_taken_out_and_put_in_keeps_marks() -> None:
    source = parse("list:\n  - a\n  - b\n  - c\nnew: {deep: 5}\n", "f")
    less = source.without(("list", 0))
    assert less.values["list"] == ["b", "c"]
    assert less.mark(("list", 1)) == (4, 5)
    assert source.values["list"] == ["a", "b", "c"]
    more = less.with_value(("added",), source.at(("new",)), source, ("new",))
    assert more.values["added"] == {"deep": 5}
    assert more.mark(("added", "deep")) == (5, 13)

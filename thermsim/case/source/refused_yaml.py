"""What PyYAML refuses, told to somebody who writes a case."""

from __future__ import annotations

import re

import yaml

from thermsim.errors import Fault

# What PyYAML says, and what that means to somebody who writes a case.
_PLAIN_WORDS = (
    (r"character '\\t' that cannot start", "a tab stands here; indent with blanks"),
    (r"expected a single document", "a second document begins here; a file holds one case"),
    (
        r"mapping values are not allowed",
        "a `:` that does not belong here; is the line indented as its neighbours, and is "
        "text with `: ` inside in quotes?",
    ),
    (r"could not find expected ':'", "a key without its `:`"),
    (
        r"expected <block end>, but found",
        "this line is not indented as its neighbours, or a `-` is missing or too many",
    ),
    (r"expected ',' or '\]'", "the list `[...]` is not closed, or a comma is missing"),
    (r"expected ',' or '}'", "the mapping `{...}` is not closed, or a comma is missing"),
    (r"expected the node content, but found", "a value is missing, or a bracket or comma is too many"),
    (r"found undefined alias", "`*name` without `&name` before it; text that begins with `*` needs quotes"),
    (r"found duplicate anchor", "the same `&name` twice"),
    (r"unexpected end of stream", "a quote is not closed"),
    (r"found unexpected document separator", "a quote is not closed before the document ends"),
    (r"expected alphabetic or numeric character", "text that begins with `*` or `&` needs quotes"),
    (r"that cannot start any token", "text cannot begin with this character; put it in quotes"),
    (r"unknown escape character", "a backslash in double quotes begins an escape; use single quotes"),
    (r"sequence entries are not allowed", "a list item `-` cannot stand here; begin a new line for it"),
    (r"invalid leading (BOM|UTF)", "the file is not UTF-8; save it as UTF-8"),
)


_GLUED_LINE = re.compile(r"(\s*(?:- +)*)([A-Za-z_]\w*):([^\s:/][^:#]*?)\s*(#.*)?")
_GLUED_KEY = re.compile(r"([A-Za-z_]\w*):([^\s:/].*)")


def glued_fault(text: str, error: yaml.MarkedYAMLError, name: str) -> Fault | None:
    """The fault where a key stands with no blank after its colon, in the line that was refused or in the one before."""
    if not re.search("could not find expected ':'|mapping values are not allowed", error.problem or ""):
        return None
    lines = re.split("\r\n|\r|\n", text)
    marks = [mark for mark in (error.context_mark, error.problem_mark) if mark is not None]
    for line in dict.fromkeys(number for mark in marks for number in (mark.line, mark.line - 1)):
        found = _GLUED_LINE.fullmatch(lines[line]) if 0 <= line < len(lines) else None
        if found:
            return Fault(name, line + 1, len(found[1]) + 1, _blank_missing(found[2], found[3]))
    return None


def glued_key(key: str) -> tuple[str, str, str] | None:
    """Key and value of a key that has swallowed its value, such as `zone:C0`, and what to say; None if it has not."""
    found = _GLUED_KEY.fullmatch(key)
    return None if found is None else (found[1], found[2], _blank_missing(found[1], found[2]))


def _blank_missing(key: str, value: str) -> str:
    return f"the blank after the colon is missing: write `{key}: {value}`"


def in_plain_words(error: yaml.MarkedYAMLError) -> str:
    """What PyYAML refuses, in the words of somebody who writes a case."""
    problem = f"{error.problem or ''} {error.context or ''}"
    for pattern, words in _PLAIN_WORDS:
        if re.search(pattern, problem):
            return words
    return f"the text is not YAML: {(error.problem or error.context or 'it cannot be read').strip()}"

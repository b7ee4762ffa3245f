"""YAML text -> plain values and the place of each of them, both made from one node tree.

Scalars are read by the core rules of YAML 1.2 (sections 10.3.2 of the specification, yaml.org/spec/1.2.2),
narrowed to what a case needs: `1e-3` is a number, `on` and `12:30` are text, `0x1F` and `1_000` are text.
What YAML allows and a case must not hold is refused with its place: equal keys, tags, a key without a
value, numbers that are not finite, an alias that leads back to itself, more than one document.
"""

from __future__ import annotations

import codecs
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from thermsim.case.source.marked_values import KeyPath, Mark, Source
from thermsim.case.source.refused_yaml import glued_fault, glued_key, in_plain_words
from thermsim.errors import MOST_FAULTS, CaseError, Fault, enough

LARGEST_FILE = 1_000_000  # [byte] far above any case that is written by hand
LARGEST_NUMBER = 1e15  # in any unit of a case file: squares of it stay far inside double precision
MOST_VALUES = 50_000  # values with all aliases unfolded: a chain of aliases could otherwise grow without end
MOST_NODES = 2 * MOST_VALUES  # keys and values as they stand in the file
DEEPEST = 40  # levels of mappings and lists inside one another

_NUMBER = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_WHOLE_NUMBER = re.compile(r"[-+]?[0-9]+")
_NOT_A_NUMBER = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")
_WORDS = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_NOTHING = {"", "~", "null", "Null", "NULL"}
_NOT_PRINTABLE = re.compile(
    "[^\x09\x0a\x0d\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]"
)


def read_text(path: Path, name: str) -> str:
    """Text of a file in UTF-8, with or without a byte-order mark.

    Raises CaseError: no such file, not readable, not UTF-8, or too large.
    """
    try:
        if path.is_dir():
            raise CaseError([Fault(name, 1, 1, "this is a folder, not a case file")])
        with path.open("rb") as file:  # not by its size: a pipe has none, a device has no end
            data = file.read(LARGEST_FILE + 1)
        if len(data) > LARGEST_FILE:
            raise CaseError([Fault(name, 1, 1, f"the file is larger than {LARGEST_FILE} bytes: not a case file")])
    except FileNotFoundError:
        raise CaseError([Fault(name, 1, 1, "there is no such file")]) from None
    except (OSError, ValueError) as reason:
        said = getattr(reason, "strerror", None) or str(reason)
        raise CaseError([Fault(name, 1, 1, f"the file cannot be read: {said}")]) from None
    return decode(data, name)


def decode(data: bytes, name: str) -> str:
    """Bytes -> text; raises CaseError at the first byte that is not UTF-8."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise CaseError([Fault(name, 1, 1, "the file is in UTF-16; save it as UTF-8")])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as reason:
        before = reason.object[: reason.start].decode("utf-8", "replace")
        line, column = _place(before, len(before))
        byte = reason.object[reason.start]
        raise CaseError([Fault(name, line, column, f"byte {byte:#04x} is not UTF-8; save the file as UTF-8")]) from None


def _place(text: str, index: int) -> Mark:
    lines = re.split("\r\n|\r|\n", text[:index])
    return len(lines), len(lines[-1]) + 1


def parse(text: str, name: str, folder: Path | None = None) -> Source:
    """Values and marks of one YAML document.

    Raises CaseError where nothing can be read; what can be read around comes back in `Source.faults`.
    """
    text = text.removeprefix("\ufeff")
    strange = _NOT_PRINTABLE.search(text)
    if strange:
        line, column = _place(text, strange.start())
        what = f"the character U+{ord(strange.group()):04X} cannot be printed and must not stand in a case file"
        raise CaseError([Fault(name, line, column, what)])
    root = _compose(text, name)
    if not isinstance(root, MappingNode):
        line, column = _mark(root)
        what = f"a case is a mapping of keys to values (`title: ...`), found {_kind(root)}"
        raise CaseError([Fault(name, line, column, what)])
    reader = _Reader(name)
    values = reader.value(root, ())
    return Source(name, text, folder, values, reader.marks, reader.key_marks, tuple(reader.faults))


class _Loader(yaml.BaseLoader):
    """Composes nodes without guessing types; refuses tags, and depth that no case needs."""

    depth = 0
    count = 0

    def compose_node(self, parent: Node | None, index: int) -> Node | None:
        event = self.peek_event()  # type: ignore[no-untyped-call]
        if getattr(event, "tag", None) not in (None, "!"):
            shown = event.tag.replace("tag:yaml.org,2002:", "!!")
            raise _RefusedError(f"the tag `{shown}` is not used in case files; leave it out", event.start_mark)
        if self.depth >= DEEPEST:
            raise _RefusedError(f"more than {DEEPEST} lists or mappings inside one another", event.start_mark)
        self.count += 1
        if self.count > MOST_NODES:
            raise _RefusedError(f"more than {MOST_VALUES} keys with their values", event.start_mark)
        self.depth += 1
        try:
            return super().compose_node(parent, index)
        finally:
            self.depth -= 1


class _RefusedError(Exception):
    def __init__(self, what: str, mark: yaml.Mark) -> None:
        super().__init__(what)
        self.mark = mark


def _compose(text: str, name: str) -> Node:
    loader = _Loader(text)
    try:
        root = loader.get_single_node()
    except _RefusedError as refused:
        raise CaseError([Fault(name, refused.mark.line + 1, refused.mark.column + 1, str(refused))]) from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        glued = glued_fault(text, error, name)
        raise CaseError([glued or Fault(name, line, column, in_plain_words(error))]) from None
    except (yaml.YAMLError, ValueError, OverflowError, RecursionError, IndexError) as error:
        # PyYAML lets a few of Python's own errors through, as for an escape beyond the end of Unicode.
        raise CaseError([Fault(name, loader.line + 1, loader.column + 1, f"the text is not YAML: {error}")]) from None
    if root is None:
        raise CaseError([Fault(name, 1, 1, "the file is empty: a case begins with `title: ...`")])
    return root


def _mark(node: Node) -> Mark:
    return node.start_mark.line + 1, node.start_mark.column + 1


def _kind(node: Node) -> str:
    if isinstance(node, SequenceNode):
        return "a list"
    return "a mapping" if isinstance(node, MappingNode) else f"the text {str(node.value)[:40]!r}"


@dataclass
class _Reader:
    """Turns nodes into values and notes the place of each."""

    name: str
    marks: dict[KeyPath, Mark] = field(default_factory=dict)
    key_marks: dict[KeyPath, Mark] = field(default_factory=dict)
    faults: list[tuple[KeyPath, Fault]] = field(default_factory=list)
    open_nodes: list[Node] = field(default_factory=list)
    count: int = 0

    def refuse(self, path: KeyPath, node: Node, message: str) -> None:
        self.faults.append((path, Fault(self.name, *_mark(node), message)))
        if len(self.faults) >= MOST_FAULTS:
            raise CaseError(enough([fault for _, fault in self.faults]))

    def unfold(self, node: Node) -> None:
        """Count one more value, or one more mapping that `<<` goes through: both grow without end."""
        self.count += 1
        if self.count > MOST_VALUES:
            what = f"more than {MOST_VALUES} values once every alias `*name` is unfolded"
            raise CaseError([Fault(self.name, *_mark(node), what)])

    def value(self, node: Node, path: KeyPath) -> Any:
        self.unfold(node)
        if any(node is other for other in self.open_nodes):
            raise CaseError(
                [Fault(self.name, *_mark(node), "an alias `*name` inside this value leads back to the value itself")]
            )
        self.marks[path] = _mark(node)
        if isinstance(node, ScalarNode):
            return self.scalar(node, path)
        self.open_nodes.append(node)
        try:
            if isinstance(node, SequenceNode):
                return [self.value(item, (*path, place)) for place, item in enumerate(node.value)]
            assert isinstance(node, MappingNode)  # YAML has no fourth kind
            return self.mapping(node, path)
        finally:
            self.open_nodes.pop()

    def scalar(self, node: ScalarNode, path: KeyPath) -> Any:
        text = str(node.value)
        if node.style is not None:
            if _NOT_PRINTABLE.search(text):
                self.refuse(path, node, "the text holds a character that cannot be printed")
            return text
        if text in _NOTHING:
            what = f"`{path[-1]}` has" if path and isinstance(path[-1], str) else "this item has"
            comma = "; a decimal comma? numbers are written with a point" if path and str(path[-1]).isdigit() else ""
            self.refuse(path, node, f"{what} no value; give one{comma}")
            return None
        if text in _WORDS:
            return _WORDS[text]
        if _NOT_A_NUMBER.fullmatch(text):
            self.refuse(path, node, f"`{text}` is not a number that a case can use; every number is finite")
            return None
        if _NUMBER.fullmatch(text):
            return self.number(text, node, path)
        return text

    def number(self, text: str, node: ScalarNode, path: KeyPath) -> float | int | None:
        number = float(text)
        shown = text if len(text) < 30 else f"{text[:24]}..."
        if not math.isfinite(number) or abs(number) > LARGEST_NUMBER:
            self.refuse(path, node, f"the number {shown} is beyond {LARGEST_NUMBER:g}, more than any value of a case")
            return None
        mantissa = re.split("[eE]", text)[0]
        if abs(number) < 1 / LARGEST_NUMBER and re.search("[1-9]", mantissa):
            self.refuse(
                path, node, f"the number {shown} is nearer to 0 than {1 / LARGEST_NUMBER:g}; write 0 or a larger one"
            )
            return None
        return int(text) if _WHOLE_NUMBER.fullmatch(text) else number

    def mapping(self, node: MappingNode, path: KeyPath) -> dict[str, Any]:
        values: dict[str, Any] = {}
        first: dict[str, Mark] = {}
        for key_node, value_node in self.own_pairs(node, path):
            key = str(key_node.value)
            if glued := _is_empty(value_node) and glued_key(key):
                key, text, told = glued
                self.refuse((*path, key), key_node, told)
                value_node = ScalarNode(value_node.tag, text, key_node.start_mark, key_node.end_mark)  # as it was meant
            if key in first:
                line, column = first[key]
                self.refuse(
                    (*path, key),
                    key_node,
                    f"the key `{key}` stands here again; it was given in line {line} column {column}",
                )
                continue
            first[key] = self.key_marks[(*path, key)] = _mark(key_node)
            values[key] = self.value(value_node, (*path, key))
        for key_node, value_node in self.merged_pairs(node, path):
            key = str(key_node.value)
            if key not in values:
                self.key_marks[(*path, key)] = _mark(key_node)
                values[key] = self.value(value_node, (*path, key))
        return values

    def own_pairs(self, node: MappingNode, path: KeyPath) -> Iterator[tuple[ScalarNode, Node]]:
        for key_node, value_node in node.value:
            if not isinstance(key_node, ScalarNode):
                self.refuse(path, key_node, f"a key is a word, found {_kind(key_node)}")
            elif key_node.style is None and key_node.value in _NOTHING:
                self.refuse(path, key_node, "a `:` without a key before it")
            elif not _is_merge(key_node):
                yield key_node, value_node

    def merged_pairs(self, node: MappingNode, path: KeyPath) -> Iterator[tuple[ScalarNode, Node]]:
        """Pairs that `<<: *name` brings in; an earlier one wins over a later one."""
        for key_node, value_node in node.value:
            if not isinstance(key_node, ScalarNode) or not _is_merge(key_node):
                continue
            sources = value_node.value if isinstance(value_node, SequenceNode) else [value_node]
            for merged in sources:
                self.unfold(merged)
                if not isinstance(merged, MappingNode):
                    self.refuse(path, value_node, f"`<<` takes a mapping or a list of mappings, found {_kind(merged)}")
                elif any(merged is other for other in self.open_nodes):
                    what = "an alias `*name` inside this value leads back to the value itself"
                    raise CaseError([Fault(self.name, *_mark(merged), what)])
                else:
                    self.open_nodes.append(merged)
                    try:
                        yield from self.own_pairs(merged, path)
                        yield from self.merged_pairs(merged, path)
                    finally:
                        self.open_nodes.pop()


def _is_empty(node: Node) -> bool:
    return isinstance(node, ScalarNode) and node.style is None and node.value == ""


def _is_merge(node: ScalarNode) -> bool:
    return node.style is None and node.value == "<<"

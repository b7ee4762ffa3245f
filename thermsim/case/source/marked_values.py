"""The values of a case file, and the line and column of each."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from thermsim.errors import Fault

KeyPath = tuple[str | int, ...]  # the keys and list positions that lead to a value
Mark = tuple[int, int]  # line and column, both counted from 1


@dataclass(frozen=True, eq=False)
class Source:
    """What a file holds, and where.

    values : plain mappings, lists, text, numbers
    marks : place of each value, by its path
    key_marks : place of each key, by the path of its value
    faults : (path, fault) of what was refused on the way; the path's value is not to be trusted
    typed : what was typed where a value was worked out of it, such as `780 um`, by its place
    """

    name: str
    text: str
    folder: Path | None
    values: dict[str, Any]
    marks: dict[KeyPath, Mark]
    key_marks: dict[KeyPath, Mark]
    faults: tuple[tuple[KeyPath, Fault], ...] = ()
    typed: dict[Mark, str] = field(default_factory=dict)

    def mark(self, path: KeyPath) -> Mark:
        """Place of a value, or of the nearest thing around it that stands in the file."""
        for length in range(len(path), -1, -1):
            if path[:length] in self.marks:
                return self.marks[path[:length]]
        return (1, 1)

    def key_mark(self, path: KeyPath) -> Mark:
        """Place of the key of a value; of the value itself where it has none (items of a list)."""
        return self.key_marks.get(path) or self.mark(path)

    def typed_at(self, path: KeyPath) -> str | None:
        """What was typed for a value that was worked out of it."""
        return self.typed.get(self.marks[path]) if path in self.marks else None

    def fault(self, path: KeyPath, message: str, *, at_key: bool = False) -> Fault:
        """A fault at the place of a value, or of its key."""
        line, column = self.key_mark(path) if at_key else self.mark(path)
        return Fault(self.name, line, column, message)

    def at(self, path: KeyPath) -> Any:
        """The value at a path; None if nothing stands there."""
        value: Any = self.values
        for step in path:
            if not holds(value, step):
                return None
            value = value[step]
        return value

    def with_options(self, chosen: Sequence[Sequence[int]]) -> Iterator[Source]:
        """The same source with some of its options alone, in their order, for each of some choices."""
        options = self.values.get("options") or []
        shared: list[dict[KeyPath, Mark]] = []
        own: list[list[dict[KeyPath, Mark]]] = []
        for given in (self.marks, self.key_marks):
            shared.append({path: mark for path, mark in given.items() if path[:1] != ("options",) or len(path) == 1})
            own.append([{} for _ in options])
            for path, mark in given.items():
                if path[:1] == ("options",) and len(path) > 1 and isinstance(path[1], int):
                    own[-1][path[1]][path[2:]] = mark
        for numbers in chosen:
            marks, key_marks = (
                every
                | {
                    ("options", place, *path): mark
                    for place, one in enumerate(numbers)
                    for path, mark in of[one].items()
                }
                for every, of in zip(shared, own, strict=True)
            )
            values = self.values | {"options": [options[one] for one in numbers]}
            yield replace(self, values=values, marks=marks, key_marks=key_marks)

    def without(self, path: KeyPath) -> Source:
        """The same source with one value left out; later items of a list move up, with their marks."""
        values = copy.deepcopy(self.values)
        holder = Source(self.name, "", None, values, {}, {}).at(path[:-1])
        del holder[path[-1]]
        in_list = isinstance(holder, list)
        return replace(
            self,
            values=values,
            marks=_marks_without(self.marks, path, in_list),
            key_marks=_marks_without(self.key_marks, path, in_list),
        )

    def with_item(self, path: KeyPath, value: Any, other: Source, other_path: KeyPath) -> Source:
        """The same source with an item put into a list, at the place that the path ends with; later ones move down."""
        values = copy.deepcopy(self.values)
        Source(self.name, "", None, values, {}, {}).at(path[:-1]).insert(path[-1], copy.deepcopy(value))
        marks, key_marks = _marks_with_room(self.marks, path), _marks_with_room(self.key_marks, path)
        for own, given in ((marks, other.marks), (key_marks, other.key_marks)):
            own |= {path + place[len(other_path) :]: mark for place, mark in given.items()
                    if place[: len(other_path)] == other_path}  # fmt: skip
        return replace(self, values=values, marks=marks, key_marks=key_marks)

    def with_value(self, path: KeyPath, value: Any, other: Source, other_path: KeyPath) -> Source:
        """The same source with a value set that stands at `other_path` of another; its marks come along."""
        values = copy.deepcopy(self.values)
        holder = Source(self.name, "", None, values, {}, {}).at(path[:-1])
        holder[path[-1]] = copy.deepcopy(value)
        marks = _marks_without(self.marks, path, False)
        key_marks = _marks_without(self.key_marks, path, False)
        for own, given in ((marks, other.marks), (key_marks, other.key_marks)):
            for place, mark in given.items():
                if place[: len(other_path)] == other_path:
                    own[path + place[len(other_path) :]] = mark
        return replace(self, values=values, marks=marks, key_marks=key_marks)


def holds(value: Any, step: str | int) -> bool:
    """Whether a mapping has that key, or a list that many items."""
    if isinstance(value, dict):
        return step in value
    return isinstance(value, list) and isinstance(step, int) and 0 <= step < len(value)


def _marks_with_room(marks: dict[KeyPath, Mark], path: KeyPath) -> dict[KeyPath, Mark]:
    """Marks with room for one item in a list."""
    depth = len(path) - 1
    kept: dict[KeyPath, Mark] = {}
    for place, mark in marks.items():
        step = place[depth] if len(place) > depth and place[:depth] == path[:depth] else None
        if isinstance(step, int) and step >= path[-1]:  # type: ignore[operator]  # a list has int steps
            place = (*place[:depth], step + 1, *place[depth + 1 :])
        kept[place] = mark
    return kept


def _marks_without(marks: dict[KeyPath, Mark], path: KeyPath, in_list: bool) -> dict[KeyPath, Mark]:
    depth = len(path) - 1
    kept: dict[KeyPath, Mark] = {}
    for place, mark in marks.items():
        if place[: depth + 1] == path:
            continue
        step = place[depth] if len(place) > depth and place[:depth] == path[:depth] else None
        if in_list and isinstance(step, int) and step > path[-1]:  # type: ignore[operator]  # a list has int steps
            place = (*place[:depth], step - 1, *place[depth + 1 :])
        kept[place] = mark
    return kept

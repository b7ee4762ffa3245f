"""The line of headings of a table: which column each cell names, and in which unit its numbers are."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from thermsim.case.typed.conversion import WrongKindError, converted, kind_of, unit_named
from thermsim.case.typed.unit_words import Unit, unit_of_words
from thermsim.nearest_words import did_you_mean, listed

# `package [W]`, `package (W)`, `package / W`, `package, W`, `package_W`, `package W`, each with what stands before it.
_WITH_UNIT = re.compile(
    r"(?P<of>.*?)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\)|\s/\s*(?P<line>\S+)|,\s*(?P<comma>\S+)"
    r"|\s+in\s+(?P<words>\S+)|_(?P<joined>[^_\s]+)|\s(?P<blank>\S+))\s*"
)
# Seconds in the usual units of a run: told here too, so that no library of units is loaded for a plain table.
_SECONDS = {unit_named("min"): 60, unit_named("h"): 3600}


@dataclass(frozen=True)
class Column:
    """What a table may hold in one of its columns.

    key : what its values are called, without a unit
    unit : of its numbers once they are read, in words; "" for a plain number, None for words
    usual_unit : of numbers whose heading names none; "" where it must name one
    plain_units : words for its own unit that the units library does not know, such as `rpm`
    is_time : whether clock times may stand there too, which become seconds
    """

    key: str
    unit: str | None = None
    usual_unit: str = ""
    plain_units: tuple[str, ...] = ()
    is_time: bool = False

    @property
    def in_unit(self) -> str:
        """How a message calls it."""
        return f"{self.key} [{self.unit}]" if self.unit else self.key


@dataclass(frozen=True)
class Heading:
    """One cell of the line of headings that was understood. text : as it stands; cell : which one, from 1

    unit : of the numbers below it; None where that is the column's own, or none; has_unit : whether it names one
    """

    text: str
    cell: int
    column: Column
    unit: Unit | None = None
    has_unit: bool = False

    @cached_property
    def line(self) -> tuple[Fraction, Fraction] | None:
        """Factor and what is added to it, from numbers below the heading to the column's unit; None for none needed."""
        if self.unit is None or not self.column.unit or self.unit == unit_named(self.column.unit):
            return None
        if self.column.unit == "s" and self.unit in _SECONDS:
            return Fraction(_SECONDS[self.unit]), Fraction(0)
        own = unit_named(self.column.unit)
        at_zero, at_one = (converted(Fraction(number), self.unit, own, False) for number in (0, 1))
        return at_one - at_zero, at_zero


class UnknownHeadingError(Exception):
    """A heading that cannot be used. what : why not, and what to write instead

    is_unknown : whether it names no column; is_near : whether one is called much like it
    """

    def __init__(self, what: str, is_unknown: bool = False, is_near: bool = False) -> None:
        super().__init__(what)
        self.what, self.is_unknown, self.is_near = what, is_unknown, is_near


def say_unit(column: Column) -> str:
    """What to write where a heading leaves its unit out that nobody can guess."""
    others = f", `{column.key} [min]` or `{column.key} [h]`" if column.unit == "s" else ""
    return f"say in which unit: write `{column.in_unit}`{others}"


def plain(words: str) -> str:
    """A heading without what spelling leaves open."""
    return re.sub(r"[\s_-]+", " ", words).strip().lower()


class Headings:
    """The columns that a table may have. called : what headings are called in the table, and the key each stands for"""

    def __init__(self, columns: Sequence[Column], called: Mapping[str, str]) -> None:
        self.columns = {column.key: column for column in columns}
        self.called = called
        self._alike: dict[str, list[str]] = {}
        for key in self.columns:
            self._alike.setdefault(plain(key), []).append(key)

    def read(self, text: str, cell: int) -> Heading:
        """Raises UnknownHeadingError."""
        column = self._named(text)
        if column is not None:
            if column.unit and not column.usual_unit and not column.is_time:
                raise UnknownHeadingError(say_unit(column))
            usual = column.usual_unit if column.unit else ""
            return Heading(text, cell, column, unit_named(usual) if usual and usual != column.unit else None)
        found = _WITH_UNIT.fullmatch(text)
        if found is not None and (column := self._named(found["of"])) is not None:
            given = next(one for one in found.groups()[1:] if one is not None).strip()
            return Heading(text, cell, column, self._unit(column, given), has_unit=True)
        if text in self.called:
            raise UnknownHeadingError(f"it is said to stand for {self.called[text]!r}, which is no column")
        of = found["of"] if found is not None and unit_of_words(found.groups()[-1] or "") is None else text
        near = did_you_mean(of or text, self.columns, f"columns are {listed(self.columns)}")
        raise UnknownHeadingError(f"no column is called so{near}", is_unknown=True, is_near="did you mean" in near)

    def knows(self, text: str) -> bool:
        """Whether a heading names a column, beside its unit or not."""
        found = _WITH_UNIT.fullmatch(text)
        return self._named(text) is not None or (found is not None and self._named(found["of"]) is not None)

    def _named(self, text: str) -> Column | None:
        text = self.called.get(text, text)
        if text in self.columns:
            return self.columns[text]
        keys = self._alike.get(plain(text), [])
        return self.columns[keys[0]] if len(keys) == 1 else None

    @staticmethod
    def _unit(column: Column, given: str) -> Unit | None:
        if column.unit is None:
            raise UnknownHeadingError(f"`{column.key}` holds words: leave the unit {given!r} out")
        if given == column.unit or given in column.plain_units:
            return None
        unit = unit_of_words(given)
        if unit is None:
            raise UnknownHeadingError(f"{given!r} is no unit that is known here: write `{column.in_unit}`")
        if not column.unit or column.plain_units:
            raise UnknownHeadingError(f"`{column.key}` is not told in {given}: write `{column.in_unit}`")
        own = unit_named(column.unit)
        if column.unit == "s" and unit in _SECONDS:
            return unit
        try:
            converted(Fraction(1), unit, own, False)
        except WrongKindError as wrong:
            of = f"that is {wrong.is_of}, and " if wrong.is_of else ""
            what = f"{of}`{column.key}` is {kind_of(own)}: write `{column.in_unit}`"
            raise UnknownHeadingError(what) from None
        return unit

"""Where a case comes from."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from thermsim.case.source.marked_values import KeyPath, Source


@dataclass(frozen=True)
class Own:
    """What an option changed. Paths are those of the base.

    given : of what the option gives itself; removed : of entries that it takes out
    common : of numbers that it gives and that are the base's all the same
    """

    option: str
    given: frozenset[KeyPath]
    removed: frozenset[KeyPath]
    common: frozenset[KeyPath] = frozenset()

    def in_base(self, path: KeyPath) -> KeyPath:
        """Where something stood before entries of the same list were taken out."""
        found: KeyPath = ()
        for step in path:
            if isinstance(step, int):
                for gone in sorted(one[-1] for one in self.removed if one[:-1] == found and isinstance(one[-1], int)):
                    step += gone <= step
            found = (*found, step)
        return found

    def gives(self, path: KeyPath) -> bool:
        """Whether the option gives what stands at a path of the changed case, or something inside it."""
        own = self.in_base(path)
        return any(own[: len(one)] == one or one[: len(own)] == own for one in self.given)

    def identity(self, path: KeyPath) -> tuple[str | None, KeyPath]:
        """What makes a number the same in two cases: whose it is, None for the base's, and where it stands there."""
        place = self.in_base(path)
        return (self.option if self.gives(path) and place not in self.common else None), place


@dataclass(frozen=True, eq=False)
class Origin:
    """Where a case comes from: the text it was read from, the tables it names, what an option changed."""

    source: Source
    tables: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    own: Own | None = None

    def __eq__(self, other: object) -> bool:
        """Cases are equal if their values and their tables are, wherever and however they were written."""
        if not isinstance(other, Origin) or self.tables.keys() != other.tables.keys():
            return False
        return all(np.array_equal(table, other.tables[name]) for name, table in self.tables.items())

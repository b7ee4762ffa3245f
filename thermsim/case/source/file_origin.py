"""Where a case comes from."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from thermsim.case.source.marked_values import KeyPath, Source


@dataclass(frozen=True)
class Own:
    """What an option changed in what was before: the base, or the option that it builds on. Paths are those of before.

    given : of what the option gives itself; removed : of entries that it takes out
    layers : where each layer of the changed stack stood before, by its name where it was added
    before : of the option that comes before this one in those that are built on
    common : where numbers stand in the base that are given and yet the base's
    kept : the thickness that its own `same_height_by` works out
    """

    option: str
    given: frozenset[KeyPath]
    removed: frozenset[KeyPath]
    layers: tuple[int | str, ...]
    before: Own | None = None
    common: frozenset[KeyPath] = frozenset()
    kept: KeyPath | None = None

    def _place_before(self, path: KeyPath) -> KeyPath:
        """Where something stood before entries of the same list were taken out or put in."""
        found: KeyPath = ()
        for step in path:
            if isinstance(step, int) and found == ("layers",):
                step = self.layers[step]
            elif isinstance(step, int):
                for gone in sorted(one[-1] for one in self.removed if one[:-1] == found and isinstance(one[-1], int)):
                    step += gone <= step
            found = (*found, step)
        return found

    def in_base(self, path: KeyPath) -> KeyPath:
        """Where something stands in the base; an added layer stands there by its name."""
        place = self._place_before(path)
        return place if self.before is None else self.before.in_base(place)

    def changed_in_base(self) -> frozenset[KeyPath]:
        """Where what this option alone gives or takes out stands in the base."""
        changed = self.given | self.removed
        return changed if self.before is None else frozenset(map(self.before.in_base, changed))

    def kept_in_base(self) -> KeyPath | None:
        """Where the thickness that keeps the height stands in the base."""
        return self.kept if self.kept is None or self.before is None else self.before.in_base(self.kept)

    def giver(self, path: KeyPath) -> str | None:
        """The option that gives what stands at a path of the changed case, or inside it; None for the base."""
        own = self._place_before(path)
        if own[:1] == ("layers",) and isinstance(own[1], str):
            return self.option
        if any(own[: len(one)] == one or one[: len(own)] == own for one in self.given):
            return self.option
        return None if self.before is None else self.before.giver(own)

    def identity(self, path: KeyPath) -> tuple[str | None, KeyPath]:
        """What makes a number the same in two cases: whose it is, None for the base's, and where it stands there."""
        place = self.in_base(path)
        return (None if place in self.common else self.giver(path)), place


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

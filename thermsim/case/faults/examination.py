"""A case under examination: what is known of it, and the faults found so far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from thermsim.case.faults.wording import context
from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.case.vocabulary.schema import Case, Entry
from thermsim.errors import MOST_FAULTS, CaseError, Fault


@dataclass(eq=False)
class Look:
    """A case under examination.

    case, source : what is left after refused entries were taken out
    original : everything that was written
    dropped : top-level keys that lost an entry; what depends on all their entries cannot be judged
    stand_ins : where a value that was refused is stood in for, so that the rest of its entry can be judged
    slipped : names of parts whose size is told to be wrong: what sticks out of them follows from that
    """

    case: Case
    source: Source
    original: Source
    dropped: frozenset[str]
    faults: list[Fault] = field(default_factory=list)
    tables: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    slipped: set[str] = field(default_factory=set)
    stand_ins: frozenset[KeyPath] = frozenset()

    def add(self, path: KeyPath, message: str, *, at_key: bool = False) -> None:
        """Raises CaseError with what was found so far when that is more than anybody reads."""
        self.faults.append(self.source.fault(path, context(self.source, path) + message, at_key=at_key))
        if len(self.faults) >= MOST_FAULTS:
            raise CaseError(self.faults)

    def knows_all(self, *keys: str) -> bool:
        """Whether these top-level keys lost no entry."""
        return not self.dropped.intersection(keys)


def entries(entry: Entry, path: KeyPath = ()) -> Iterator[tuple[KeyPath, Entry]]:
    """Every mapping of a case with its path, from the outside in."""
    yield path, entry
    for name, info in type(entry).model_fields.items():
        value = getattr(entry, name)
        key = info.alias or name
        if isinstance(value, Entry):
            yield from entries(value, (*path, key))
        elif isinstance(value, (list, tuple)):
            for place, item in enumerate(value):
                if isinstance(item, Entry):
                    yield from entries(item, (*path, key, place))

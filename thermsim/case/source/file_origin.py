"""Where a case comes from."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from thermsim.case.source.yaml_source import Source


@dataclass(frozen=True, eq=False)
class Origin:
    """Where a case comes from: the text it was read from, the tables it names, the option it was changed by."""

    source: Source
    tables: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    option: str | None = None

    def __eq__(self, other: object) -> bool:
        """Cases are equal if their values and their tables are, wherever and however they were written."""
        if not isinstance(other, Origin) or self.tables.keys() != other.tables.keys():
            return False
        return all(np.array_equal(table, other.tables[name]) for name, table in self.tables.items())

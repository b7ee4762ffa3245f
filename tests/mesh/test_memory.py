"""Memory: what may be used is told before anything is solved."""

from __future__ import annotations

import psutil
import pytest

from thermsim.errors import MemoryLimitError
from thermsim.mesh.memory import allowed_GB
from thermsim.model.grid.plan import MEMORY_GB
from thermsim.units import GIGABYTE


def test_what_is_asked_for_is_allowed_where_it_is_free() -> None:
    assert allowed_GB(0.1) == 0.1
    assert 0.0 < allowed_GB() <= MEMORY_GB


def test_more_than_is_free_is_refused_with_the_largest_grid_that_fits() -> None:
    with pytest.raises(MemoryLimitError, match="million cells"):
        allowed_GB(psutil.virtual_memory().total / GIGABYTE + 1.0)

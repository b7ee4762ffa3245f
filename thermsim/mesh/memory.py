"""How much memory a study may use on this machine, now."""

from __future__ import annotations

import psutil

from thermsim.errors import MemoryLimitError
from thermsim.model.grid.plan import BYTES_PER_CELL, MEMORY_GB
from thermsim.units import GIGABYTE

SHARE_OF_FREE = 0.8  # share of the free memory that a study may take; the system and other programs keep the rest


def allowed_GB(asked_GB: float | None = None) -> float:
    """Memory that the grids of a study may take [GB]: what was asked for, else MEMORY_GB or most of what is free.

    Raises
    ------
    MemoryLimitError : more was asked for than is free; it tells the largest grid that fits
    """
    free = float(psutil.virtual_memory().available) / GIGABYTE
    if asked_GB is None:
        return min(MEMORY_GB, SHARE_OF_FREE * free)
    if asked_GB > free:
        cells = SHARE_OF_FREE * free * GIGABYTE / BYTES_PER_CELL
        raise MemoryLimitError(
            f"{asked_GB:.3g} GB were allowed, and only {free:.2g} GB are free",
            f"close other programs, or allow {SHARE_OF_FREE * free:.2g} GB; "
            f"the largest grid that fits has about {cells / 1e6:.2g} million cells",
        )
    return asked_GB

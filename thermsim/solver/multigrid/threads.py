"""How many threads a solve may use: a setting of the process, apart from the solver so that it loads at once."""

from __future__ import annotations

import os

_most: int | None = None


def use_threads(most: int | None) -> None:
    """From now on hierarchies of this process get at most so many threads; None: as many as there are processors.

    For processes that share the processors among them, one solve each.
    """
    global _most
    _most = most


def available() -> int:
    """Processors this process may use, or what `use_threads` left it."""
    if _most is not None:
        return _most
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1

"""From when on a curve stays near its end, as its doubts allow."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def settled_between(times: Array, off: Array, width: Array, within_K: float) -> tuple[float, float] | None:
    """Earliest and latest time [s] from which on a curve is near its end, as its doubts allow.

    off, width : (n,) how far it is from its end at each time, and how far that may be wrong [K]; inf where not known
    Returns None where it may still be farther off than `within_K` at the last time.
    """
    latest = _stays_s(times, off + width, within_K)
    nearest = np.where(np.isfinite(width), np.maximum(off - width, 0.0), 0.0)
    earliest = _stays_s(times, nearest, within_K)
    return None if latest is None or earliest is None else (earliest, latest)


def _stays_s(times: Array, off: Array, within_K: float) -> float | None:
    """From when on what a curve is off stays small [s], linear in the logarithm of time; the first time if always."""
    late = np.flatnonzero(~(off <= within_K))
    if not len(late):
        return float(times[0])
    last = int(late[-1])
    if last == len(times) - 1:
        return None
    if not np.isfinite(off[last]):
        return float(times[last + 1])
    share = (off[last] - within_K) / (off[last] - off[last + 1])
    return float(times[last] * (times[last + 1] / times[last]) ** share)

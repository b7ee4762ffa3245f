"""The times at which curves are told: evenly in the logarithm, and under a load again after each of its changes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.loads.load import Load

Array = NDArray[np.float64]

TIMES = 121  # at which curves are told and judged, evenly in the logarithm of time
SAME_TIME = 1e-9  # relative difference below which two times are one
FEW_CHANGES = 40  # of a load, up to which curves are told between all of them
AFTER_CHANGES, LEAST_AFTER, MOST_AFTER = 240, 8, 61  # times after all changes together, and after each
EVENLY = 120  # times, evenly spread, that a load of more changes is told at besides


def spread_times(from_s: float, until_s: float, also: ArrayLike = ()) -> Array:
    """Evenly in the logarithm, with the powers of ten in between and what else is asked for; alike ones once."""
    powers = 10.0 ** np.arange(np.ceil(np.log10(from_s)), np.floor(np.log10(until_s)) + 1.0)
    asked = np.concatenate([np.asarray(also, dtype=np.float64), powers[(powers > from_s) & (powers < until_s)]])
    even = np.geomspace(from_s, until_s, TIMES)
    apart = np.abs(np.log(even[:, None] / asked[None, :])).min(axis=1, initial=np.inf) > SAME_TIME
    apart[[0, -1]] = True
    return np.unique(np.concatenate([even[apart], asked]))


def told_times(loads: Sequence[Load | None], from_s: float, until_s: float, also: ArrayLike = ()) -> Array:
    """(n,) [s] at which curves under some loads are told, none of them sooner than `from_s` after a change of one.

    also : times that are told in any case
    """
    changing = [load for load in loads if load is not None]
    times = spread_times(from_s, until_s, also)
    if not changing:
        return times
    times = np.concatenate([times, *(_of_load(load, times, from_s, until_s) for load in changing)])
    times = times[(times >= from_s) & (times <= until_s)]
    too_soon = np.zeros(len(times), dtype=bool)
    for load in changing:
        if load.between == "constant":
            begins = load.changes_s
            since = times - begins[np.searchsorted(begins, times, side="left") - 1]
            too_soon |= since < from_s * (1.0 - SAME_TIME)
    ends = np.concatenate([load.changes_s for load in changing])
    too_soon &= ~np.isin(times, np.append(ends, until_s)) & ~np.isin(times, np.asarray(also, dtype=np.float64))
    return _apart(times[~too_soon])


def _of_load(load: Load, times: Array, from_s: float, until_s: float) -> Array:
    """Times that show what a load does: until each change, and soon after it."""
    even = np.linspace(0.0, until_s, EVENLY + 1)[1:]
    if load.between == "line":
        return even
    begins = load.changes_s[load.changes_s < until_s]
    ends = np.append(begins[1:], until_s)
    if len(begins) > FEW_CHANGES:
        wanted = np.concatenate([times[times > ends[0]], even])
        return np.asarray(ends[np.clip(np.searchsorted(ends, wanted), 0, len(ends) - 1)])
    count = int(np.clip(AFTER_CHANGES // len(begins), LEAST_AFTER, MOST_AFTER))
    after = [
        begin + np.geomspace(from_s, end - begin, count)
        for begin, end in zip(begins[1:].tolist(), ends[1:].tolist(), strict=True)
        if end - begin > from_s
    ]
    return np.concatenate([ends, *after])


def unseen_until_s(load: Load, until_s: float) -> float:
    """Until when [s] a curve that is told until some time may leave its end unseen: between times, or after the last.

    A load of more than FEW_CHANGES swings between times that are told, and one may change after all of them.
    """
    changes = load.changes_s
    return float(changes[-1]) if len(changes) > FEW_CHANGES or changes[-1] >= until_s else 0.0


def _apart(times: Array) -> Array:
    """Sorted, each once."""
    times = np.unique(times)
    kept = np.append(True, np.diff(times) > SAME_TIME * times[1:])
    return np.asarray(times[kept])

"""Where a temperature is lowest over a sweep, and what cannot be told apart from that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Lowest:
    """Where a watched temperature is lowest, of the points that were solved.

    alike : numbers of the points that cannot be told apart from it, see `Sweep.margins`
    within : for each range, from where to where these reach
    between : (one range) the next points on either side, surely warmer; None where there is none
    ends : for each range the end, "lowest" or "highest", that these reach, where they reach one; the true minimum may
        lie beyond it
    at_end : for each range, whether the lowest point itself lies at an end
    beside_gap : whether a neighbour of these has no answer
    """

    number: int
    alike: tuple[int, ...]
    within: tuple[tuple[float, float], ...]
    between: tuple[float | None, float | None] | None
    ends: tuple[str | None, ...]
    at_end: tuple[bool, ...]
    beside_gap: bool


def lowest(values: Array, margins: Array, axes: Sequence[Sequence[float]]) -> Lowest:
    """Find the lowest temperature of a sweep.

    values, margins : (n,) or (n, m) [C, K], NaN in gaps; axes : the values of the ranges
    """
    place = np.unravel_index(int(np.nanargmin(values)), values.shape)
    gaps = np.isnan(values)
    near = ~gaps & (np.where(gaps, np.inf, values - margins) <= values[place])
    within, ends = [], []
    for axis, own in enumerate(axes):
        here = np.flatnonzero(near.any(axis=tuple(other for other in range(near.ndim) if other != axis)))
        low, high = int(here[0]), int(here[-1])
        within.append((own[low], own[high]))
        touched = [end for end, is_there in (("lowest", low == 0), ("highest", high == len(own) - 1)) if is_there]
        ends.append(" and ".join(touched) or None)
    return Lowest(
        number=int(np.ravel_multi_index(place, values.shape)),
        alike=tuple(np.flatnonzero(near.ravel()).tolist()),
        within=tuple(within),
        between=_beside(near, gaps, axes[0]) if len(axes) == 1 else None,
        ends=tuple(ends),
        at_end=tuple(int(at) in (0, len(own) - 1) for at, own in zip(place, axes, strict=True)),
        beside_gap=bool(np.any(_grown(near) & gaps)),
    )


def _beside(
    near: NDArray[np.bool_], gaps: NDArray[np.bool_], axis: Sequence[float]
) -> tuple[float | None, float | None]:
    here = np.flatnonzero(near)
    below, above = int(here[0]) - 1, int(here[-1]) + 1
    low = axis[below] if below >= 0 and not gaps[below] else None
    return low, axis[above] if above < len(axis) and not gaps[above] else None


def _grown(near: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The marked points and their direct neighbours."""
    grown = near.copy()
    for axis in range(near.ndim):
        inner, moved = np.moveaxis(near, axis, 0), np.moveaxis(grown, axis, 0)
        moved[1:] |= inner[:-1]
        moved[:-1] |= inner[1:]
    return grown

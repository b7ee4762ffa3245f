"""Where a temperature is lowest over a sweep, and what cannot be told apart from that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Valley:
    """Another valley that may be lower than the lowest point. number : its lowest point

    within : for each range, from the next point below to the next one above
    """

    number: int
    within: tuple[tuple[float, float], ...]


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
    valleys : others in which it may be lower between the points, the lowest first, see `_valleys`
    """

    number: int
    alike: tuple[int, ...]
    within: tuple[tuple[float, float], ...]
    between: tuple[float | None, float | None] | None
    ends: tuple[str | None, ...]
    at_end: tuple[bool, ...]
    beside_gap: bool
    valleys: tuple[Valley, ...] = ()


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
        valleys=_valleys(values, np.where(near | gaps, np.nan, values - margins), float(values[place]), axes),
    )


def _valleys(values: Array, least: Array, lowest_C: float, axes: Sequence[Sequence[float]]) -> tuple[Valley, ...]:
    """Points below all around them that would be below the lowest one, fell it on as steeply up to the next point.

    A parabola through three points does not find a narrow valley beside its middle one; its flanks are as steep as the
    steps to that point at least. least : (n,) or (n, m) what a point may be, NaN where it is not asked
    """
    spans: list[list[tuple[int, ...]]] = []
    for number in np.argsort(least, axis=None, kind="stable").tolist():
        at = tuple(int(one) for one in np.unravel_index(number, values.shape))
        if np.isnan(least[at]) or not least[at] - _step(values, at) < lowest_C:
            continue
        if values[at] > np.nanmin(values[tuple(slice(max(one - 1, 0), one + 2) for one in at)]):
            continue
        beside = [span for span in spans if any(max(abs(np.subtract(at, one))) <= 1 for one in span)]
        if beside:
            beside[0].append(at)
        else:
            spans.append([at])
    found = []
    for span in spans:
        ends = [
            (max(min(one) - 1, 0), min(max(one) + 1, len(own) - 1))
            for one, own in zip(zip(*span, strict=True), axes, strict=True)
        ]
        within = tuple((own[low], own[high]) for own, (low, high) in zip(axes, ends, strict=True))
        found.append(Valley(int(np.ravel_multi_index(span[0], values.shape)), within))
    return tuple(found)


def _step(values: Array, at: tuple[int, ...]) -> float:
    """What a point lies below its direct neighbours: the larger step of each range, of all ranges together [K]."""
    total = 0.0
    for axis, place in enumerate(at):
        line = np.moveaxis(values, axis, -1)[at[:axis] + at[axis + 1 :]]
        total += float(np.nanmax(line[max(place - 1, 0) : place + 2]) - values[at])
    return total


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

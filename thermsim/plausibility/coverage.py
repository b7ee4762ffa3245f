"""Areas that rectangles cover together, and the thin strips they leave between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from thermsim.case.geometry.places import Box, shared


@dataclass(frozen=True)
class Coverage:
    """How rectangles cover a holder: areas covered and left free [mm2]."""

    covered_mm2: float
    free_mm2: float


def area_mm2(box: Box) -> float:
    """Area of a rectangle [mm2]; zero where its upper edges lie below its lower ones."""
    return max(box[2] - box[0], 0.0) * max(box[3] - box[1], 0.0)


def cover(holder: Box, boxes: Sequence[Box]) -> Coverage:
    """Mark what is covered on the grid of all edges: exact for rectangles, however they overlap."""
    inside = [box for box in (shared(holder, box) for box in boxes) if area_mm2(box) > 0]
    x = np.unique([holder[0], holder[2], *(edge for box in inside for edge in (box[0], box[2]))])
    y = np.unique([holder[1], holder[3], *(edge for box in inside for edge in (box[1], box[3]))])
    covered = np.zeros((len(x) - 1, len(y) - 1), dtype=bool)
    for x0, y0, x1, y1 in inside:
        covered[np.searchsorted(x, x0) : np.searchsorted(x, x1), np.searchsorted(y, y0) : np.searchsorted(y, y1)] = True
    area = np.diff(x)[:, None] * np.diff(y)[None, :]
    return Coverage(float(area[covered].sum()), float(area[~covered].sum()))


@dataclass(frozen=True)
class Strip:
    """A thin free strip: between which two neighbours, how wide and how long [mm]."""

    between: tuple[str, str]
    width_mm: float
    length_mm: float


def thin_strips(holder: Box, boxes: dict[str, Box], widest_mm: float) -> list[Strip]:
    """Free strips narrower than `widest_mm` between rectangles, and between them and the holder's edge."""
    x0, y0, x1, y1 = holder
    far = 1e6  # [mm] the outside of the holder, as four more neighbours
    edges = {
        "the left edge": (-far, y0, x0, y1),
        "the right edge": (x1, y0, far, y1),
        "the front edge": (x0, -far, x1, y0),
        "the back edge": (x0, y1, x1, far),
    }
    everything = list((boxes | edges).items())
    found = []
    for number, (first, one) in enumerate(everything[: len(boxes)]):
        for second, other in everything[number + 1 :]:
            for axis in (0, 1):
                strip = _between(one, other, axis)
                width, length = strip[axis + 2] - strip[axis], strip[3 - axis] - strip[1 - axis]
                thin = 1e-6 < width < widest_mm and length > 1e-6
                if thin and cover(strip, list(boxes.values())).covered_mm2 < 1e-9:
                    found.append(Strip((first, second), width, length))
    return found


def _between(one: Box, other: Box, axis: int) -> Box:
    """The rectangle from one to the other along an axis, over the length at which they face each other."""
    low, high = (one, other) if one[axis] < other[axis] else (other, one)
    across = 1 - axis
    strip = [0.0] * 4
    strip[axis], strip[axis + 2] = low[axis + 2], high[axis]
    strip[across], strip[across + 2] = max(one[across], other[across]), min(one[across + 2], other[across + 2])
    return (strip[0], strip[1], strip[2], strip[3])

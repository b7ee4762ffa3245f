"""Grids of two cases, cell by cell alike: the plan of one, stretched to the outlines of the other.

Two stacks that differ in a thickness or a size then have the same error from the grid but for what the difference
itself changes, and it cancels where their temperatures are compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import ceil

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.model.grid.axes import GridPlan, PlannedAxis
from thermsim.model.grid.outline_lines import Outline, outlines
from thermsim.model.grid.plan import plan_grid

Array = NDArray[np.float64]

SAME_PLACE_m = 1e-9


@dataclass(frozen=True)
class Piece:
    """A stretch between two outlines [m] with the relative cells of one segment of a plan."""

    low: float
    high: float
    plan: PlannedAxis
    segment: int

    def count(self, multiplier: int) -> int:
        """Its number of cells on one grid of the family."""
        return int(self.plan.cells_between(multiplier)[self.segment])

    @property
    def is_whole(self) -> bool:
        """Whether it is one cell at every multiplier."""
        return bool(self.plan.whole[self.segment])

    def inner_faces(self, count: int) -> Array:
        """(count-1,) faces [m] between both outlines."""
        low, high = self.plan.lines[self.segment : self.segment + 2]
        relative = (self.plan.inner_faces(self.segment, count) - low) / (high - low)
        return np.asarray(self.low + (self.high - self.low) * relative)


@dataclass(frozen=True)
class Sliver:
    """What opens between two outlines [m] that were one, no wider than a cell beside it at multiplier 1 [m]."""

    low: float
    high: float
    cell: float
    is_whole = False

    def count(self, multiplier: int) -> int:
        """Its number of cells on one grid of the family: never wider than those beside it."""
        return max(1, ceil(multiplier * (self.high - self.low) / self.cell))

    def inner_faces(self, count: int) -> Array:
        """(count-1,) faces [m] between both outlines."""
        return np.linspace(self.low, self.high, count + 1)[1:-1]


@dataclass(frozen=True, eq=False)
class StretchedAxis(PlannedAxis):
    """An axis of pieces of others, with slivers where outlines have fallen apart."""

    pieces: tuple[Piece | Sliver, ...]

    @cached_property
    def lines(self) -> Array:  # type: ignore[override]  # worked out where others are given theirs
        """(n+1,) outlines [m]"""
        return np.array([self.pieces[0].low, *(piece.high for piece in self.pieces)])

    @property
    def whole(self) -> NDArray[np.bool_]:  # type: ignore[override]
        """(segments,) whether it is one cell at every multiplier."""
        return np.array([piece.is_whole for piece in self.pieces])

    def cells_between(self, multiplier: int) -> NDArray[np.int64]:
        return np.array([piece.count(multiplier) for piece in self.pieces], dtype=np.int64)

    def inner_faces(self, segment: int, count: int) -> Array:
        return self.pieces[segment].inner_faces(count)


def alike(plan: GridPlan, base: Case, case: Case) -> GridPlan:
    """The plan of `base` for a changed `case`.

    Levels keep their cells by the name of their part; in plan, lines are matched by what they are the edge of, and
    lines of parts that are gone stay where they are. Where outlines fall apart that were one, by no more than a cell, a
    sliver of cells opens between them and all others stay. An axis along which they fall apart by more, or change their
    order, gets a plan of its own.
    """
    if base is case:
        return plan
    before, after = outlines(base), outlines(case)
    x, y, z = (
        _in_plan(plan.x, before[0], after[0]),
        _in_plan(plan.y, before[1], after[1]),
        _upwards(plan.z, before[2], after[2]),
    )
    if x is None or y is None or z is None:
        own = plan_grid(case, plan.cells(1))
        x, y, z = x or own.x, y or own.y, z or _upwards(plan.z, before[2], after[2], own.z) or own.z
    return GridPlan(x, y, z, plan.multipliers)


def _in_plan(plan: PlannedAxis, before: Sequence[Outline], after: Sequence[Outline]) -> PlannedAxis | None:
    """None where the lines of both cases cannot be matched."""
    places = {line.name: line.place for line in after}
    known = {line.name for line in before}
    coarse = plan.axis(1)
    # Of each line of the plan: the places of its outlines now, rising, and a cell beside it; none where all are gone.
    moved: dict[int, tuple[list[float], float]] = {}
    for number, place in enumerate(plan.lines.tolist()):
        of_line = [line.name for line in before if abs(line.place - place) < SAME_PLACE_m and line.name in places]
        here = _distinct(places[name] for name in of_line)
        if not here:
            continue
        face = coarse.face_at(place)
        cell = float(coarse.widths[max(face - 1, 0) : face + 1].min())
        if here[-1] - here[0] > cell:
            return None
        moved[number] = here, cell
    fixed = list(moved)
    lowest, highest = (np.array([here[end] for here, _ in moved.values()]) for end in (0, -1))
    if len(fixed) < 2 or np.any(lowest[1:] - highest[:-1] < -SAME_PLACE_m):
        return None
    # What a line that is gone lies between: the upper end of the one below it and the lower end of the one above.
    old, numbers = plan.lines, np.arange(len(plan.lines))
    below = np.clip(np.searchsorted(fixed, numbers, side="right") - 1, 0, len(fixed) - 2)
    share = (old - old[fixed][below]) / np.diff(old[fixed])[below]
    between = highest[below] + np.clip(share, 0.0, 1.0) * (lowest[below + 1] - highest[below])
    low, high = between.copy(), between.copy()
    low[fixed], high[fixed] = lowest, highest
    pieces: list[Piece | Sliver] = []
    for number in numbers.tolist():
        here, cell = moved.get(number, ([], 0.0))
        pieces += [Sliver(*ends, cell) for ends in pairwise(here)]
        if number + 1 < len(old) and low[number + 1] - high[number] > SAME_PLACE_m:
            pieces.append(Piece(float(high[number]), float(low[number + 1]), plan, number))
    made = StretchedAxis(tuple(pieces))
    new = [line.place for line in after if line.name not in known]
    if any(np.abs(made.lines - place).min() > SAME_PLACE_m for place in new):
        return None
    if made.lines.shape == old.shape and np.abs(made.lines - old).max() < SAME_PLACE_m:
        return plan
    return made


def _distinct(places: Iterable[float]) -> list[float]:
    """Rising, without those that are one with the one before."""
    found: list[float] = []
    for place in sorted(places):
        if not found or place - found[-1] > SAME_PLACE_m:
            found.append(place)
    return found


def _upwards(
    plan: PlannedAxis, before: Sequence[Outline], after: Sequence[Outline], own: PlannedAxis | None = None
) -> PlannedAxis | None:
    """None where a level has no like in the plan, and `own` is not there to take it from."""
    if any(line.name.startswith("patch") for line in (*before, *after)):  # a patch on a side cuts levels
        return _in_plan(plan, before, after)
    old, new = ({line.name: line.place for line in lines} for lines in (before, after))
    pieces = []
    for line in after:
        level, _, end = line.name.rpartition(", ")
        if end != "0":
            continue
        source, bottom = (plan, old[line.name]) if line.name in old else (own, line.place)
        if source is None:
            return None
        segment = int(np.argmin(np.abs(source.lines[:-1] - bottom)))
        pieces.append(Piece(line.place, new[f"{level}, 1"], source, segment))
    return StretchedAxis(tuple(pieces))

"""Grids of two cases, cell by cell alike: the plan of one, stretched to the outlines of the other.

Two stacks that differ in a thickness or a size then have the same error from the grid but for what the difference
itself changes, and it cancels where their temperatures are compared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

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
        return int(self.plan.cells_between(multiplier)[self.segment])

    def inner_faces(self, count: int) -> Array:
        """(count-1,) faces [m] between both outlines."""
        low, high = self.plan.lines[self.segment : self.segment + 2]
        relative = (self.plan.inner_faces(self.segment, count) - low) / (high - low)
        return np.asarray(self.low + (self.high - self.low) * relative)


@dataclass(frozen=True, eq=False)
class StretchedAxis(PlannedAxis):
    """An axis of pieces of others."""

    pieces: tuple[Piece, ...]

    @cached_property
    def lines(self) -> Array:  # type: ignore[override]  # worked out where others are given theirs
        """(n+1,) outlines [m]"""
        return np.array([self.pieces[0].low, *(piece.high for piece in self.pieces)])

    @property
    def whole(self) -> NDArray[np.bool_]:  # type: ignore[override]
        return np.array([bool(piece.plan.whole[piece.segment]) for piece in self.pieces])

    def cells_between(self, multiplier: int) -> NDArray[np.int64]:
        return np.array([piece.count(multiplier) for piece in self.pieces], dtype=np.int64)

    def inner_faces(self, segment: int, count: int) -> Array:
        return self.pieces[segment].inner_faces(count)


def alike(plan: GridPlan, base: Case, case: Case) -> GridPlan:
    """The plan of `base` for a changed `case`.

    Levels keep their cells by the name of their part; in plan, lines are matched by what they are the edge of, and
    lines of parts that are gone stay where they are. An axis along which outlines change their order, or fall apart
    where they were one, gets a plan of its own.
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
    moved: list[float | None] = []
    for place in plan.lines.tolist():
        here = [places[line.name] for line in before if abs(line.place - place) < SAME_PLACE_m and line.name in places]
        if here and max(here) - min(here) > SAME_PLACE_m:
            return None
        moved.append(here[0] if here else None)
    fixed = [number for number, place in enumerate(moved) if place is not None]
    targets = np.array([place for place in moved if place is not None])
    if len(fixed) < 2 or np.any(np.diff(targets) < -SAME_PLACE_m):
        return None
    lines = np.interp(plan.lines, plan.lines[fixed], targets)
    new = [line.place for line in after if line.name not in known]
    if any(np.abs(lines - place).min() > SAME_PLACE_m for place in new):
        return None
    if lines.shape == plan.lines.shape and np.abs(lines - plan.lines).max() < SAME_PLACE_m:
        return plan
    pairs = enumerate(zip(lines[:-1].tolist(), lines[1:].tolist(), strict=True))
    pieces = (Piece(low, high, plan, number) for number, (low, high) in pairs if high - low > SAME_PLACE_m)
    return StretchedAxis(tuple(pieces))


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

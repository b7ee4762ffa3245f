"""How answers of a case settle over a family of grids: the one place where they get their doubts.

A doubt hangs on more than the values of an answer on each grid: on what the solver leaves, on an order that grids
cannot show (`pinched_edges`), and on what lies within their cells (`unseen_streaks`). So it is made of values and of
grids that know all this of their case, and of nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf, nan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.convergence import Doubt, doubts
from thermsim.mesh.pinched_edges import slowest_order
from thermsim.mesh.unseen_streaks import streaks_of
from thermsim.readout.field import Field

Array = NDArray[np.float64]

# Doubt of what has no finite value, such as the heat between touching faces of two temperatures.
ENDLESS = Doubt(nan, nan, None, inf, "grows without bound")


@dataclass(frozen=True, eq=False)
class OnGrid:
    """One grid of a case, with all that doubts hang on beside the values of its answers.

    size : cell width relative to the plan's
    error : of a value, by the solver
    slowest : order of errors that no grid shows, None where there is none
    unseen : what each film map adds at most within the cells, (), or one for each value

    Errors and what is unseen are in the unit of the values: kelvins, unless they are of something else.
    """

    size: float
    error: float
    slowest: float | None
    unseen: Mapping[str, Array] = field(default_factory=dict)

    @classmethod
    def of(cls, case: Case, solved: Field, multiplier: int, coarser: OnGrid | None = None) -> OnGrid:
        """A case that is solved on one grid of its family; coarser : another grid of it, where there is one"""
        slowest = slowest_order(solved.model) if coarser is None else coarser.slowest  # the same on every grid
        unseen = {one.film: np.asarray(one.unseen_of(solved.temperature)) for one in streaks_of(case, solved.model)}
        return cls(1.0 / multiplier, solved.error_K, slowest, unseen)

    @property
    def unseen_sum(self) -> Array:
        """Of all film maps."""
        return np.asarray(sum(self.unseen.values(), start=np.zeros(())))

    def __sub__(self, other: OnGrid) -> OnGrid:
        """The grid as the difference of the answers of two cases sees it.

        Of one and the same map, both lack the same share of what it adds at most; what only one of them has is missing
        there alone.
        """
        mine, others = self.unseen, other.unseen
        both = sum((np.abs(mine[film] - others[film]) for film in mine if film in others), start=np.zeros(()))
        mine_alone, others_alone = (
            np.asarray(sum((one[film] for film in one if film not in two), start=np.zeros(())))
            for one, two in ((mine, others), (others, mine))
        )
        slowest = min((one.slowest for one in (self, other) if one.slowest is not None), default=None)
        unseen = {"difference": np.asarray(both + np.maximum(mine_alone, others_alone))}
        return OnGrid(self.size, self.error + other.error, slowest, unseen)


def settled_alone(values: ArrayLike, multipliers: Sequence[int]) -> Doubt:
    """A number that belongs to no place of a field, such as a time, from its values (grids,) on a family of grids."""
    table = np.asarray(values, dtype=np.float64)[:, None]
    return doubts(table, [1.0 / multiplier for multiplier in multipliers], 0.0)[0]


def judged(table: ArrayLike, grids: Sequence[OnGrid], is_heat: ArrayLike = False) -> list[Doubt]:
    """The doubt of each quantity, see `convergence.doubts`; endless where a grid has no finite value.

    table : (grids, quantities) values, the finest grid last; grids : they were found on, in the same order
    is_heat : of all quantities, or of each: heats are told as they balance, on the finest grid
    """
    values = np.asarray(table, dtype=np.float64)
    finite = np.asarray(np.isfinite(values).all(axis=0))
    slowest = min((grid.slowest for grid in grids if grid.slowest is not None), default=None)
    sizes, error = [grid.size for grid in grids], max(grid.error for grid in grids)
    settling = iter(doubts(values[:, finite], sizes, error, slowest))
    heats = np.broadcast_to(np.asarray(is_heat, dtype=bool), values.shape[1:])
    unseen = np.broadcast_to(grids[-1].unseen_sum, values.shape[1:])
    found = []
    for has, heat, lacks in zip(finite.tolist(), heats.tolist(), unseen.tolist(), strict=True):
        one = next(settling) if has else ENDLESS
        if has:
            one = one.at_finest if heat else replace(one, half_width=one.half_width + lacks)
        found.append(one)
    return found

"""Weights of temperatures: what a mean, a point or a summit is on a grid.

Each number stands here once. `Field` sums it up, the adjoint is seeded with it, the small model projects it.
Source for highest temperatures: at a summit the value does not change with the place, to first order (envelope
theorem), so the weights are those of the polynomials at the summit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from thermsim.model.build import Model, ZoneCells
from thermsim.model.grid.plan import TYPICAL_C
from thermsim.readout.faces import Place, face_spot, plane_of
from thermsim.readout.surface_maximum import Summit
from thermsim.solver.linearised import Goal

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Cell = tuple[int, int, int]
# (i, j, k) of a cell, or (axis, face, side, i, j) on a plane of faces, side 0 under and 1 over it.
Spot = tuple[int, ...]

# Relative excess of slope over curvature up to which a maximum still counts as lying on the side of its cell.
AT_SIDE = 1e-9


@dataclass(frozen=True, eq=False)
class Weights:
    """A number that is the sum of temperatures times weights; of a place in a void there are none.

    cells : (3, n) indices; of_cells : (n,)
    faces : for (axis, face, side), indices (2, m) on that plane and their weights (m,)
    """

    cells: Ints
    of_cells: Array
    faces: Mapping[tuple[int, int, int], tuple[Ints, Array]]

    @classmethod
    def of(cls, spots: Mapping[Spot, float]) -> Weights:
        """Weights given one by one."""
        used = {spot: weight for spot, weight in spots.items() if weight != 0.0}
        cells = [spot for spot in used if len(spot) == 3]
        planes: dict[tuple[int, int, int], list[Spot]] = {}
        for spot in used:
            if len(spot) == 5:
                planes.setdefault((spot[0], spot[1], spot[2]), []).append(spot)
        return cls(
            np.array(cells, dtype=np.int64).reshape(-1, 3).T,
            np.array([used[spot] for spot in cells]),
            {
                plane: (np.array(own, dtype=np.int64)[:, 3:].T, np.array([used[spot] for spot in own]))
                for plane, own in planes.items()
            },
        )

    def spots(self) -> dict[Spot, float]:
        """The weights one by one."""
        found: dict[Spot, float] = dict(zip(map(tuple, self.cells.T.tolist()), self.of_cells.tolist(), strict=True))
        for plane, (at, weights) in self.faces.items():
            found |= {(*plane, i, j): weight for (i, j), weight in zip(at.T.tolist(), weights.tolist(), strict=True)}
        return found

    @property
    def is_nowhere(self) -> bool:
        """Whether nothing of the field has a weight."""
        return not self.faces and not len(self.of_cells)

    def goal(self, shape: Sequence[int]) -> Goal:
        """The same for an adjoint, on a grid of that shape."""
        nodes: dict[tuple[int, int], tuple[Array, Array]] = {}
        for (axis, face, side), (at, weights) in self.faces.items():
            plane = [count for other, count in enumerate(shape) if other != axis]
            np.add.at(nodes.setdefault((axis, face), (np.zeros(plane), np.zeros(plane)))[side], tuple(at), weights)
        flat = np.ravel_multi_index(tuple(self.cells), tuple(shape)) if len(self.of_cells) else self.cells[0]
        return Goal(np.asarray(flat, dtype=np.int64), self.of_cells, nodes)


# ---- zones ------------------------------------------------------------------------------------------------------


def over_zone(zone: ZoneCells, weights: Array) -> Weights:
    """Weights (nx, ny) of a zone's faces, or (nx, ny, levels) of its cells."""
    used = np.array(np.nonzero(weights))
    given = weights[tuple(used)]
    if zone.face is None:
        return Weights(used + np.array([[zone.x.start], [zone.y.start], [zone.levels.start]]), given, {})
    at = used + np.array([[zone.x.start], [zone.y.start]])
    plane = 2, zone.face, int(zone.side == "upper")
    return Weights(np.zeros((3, 0), dtype=np.int64), np.zeros(0), {plane: (at, given)} if len(given) else {})


def mean_over(model: Model, zone: ZoneCells) -> Weights:
    """The mean temperature of a zone."""
    return over_zone(zone, model.shares(zone))


# ---- points -----------------------------------------------------------------------------------------------------


def at_point(model: Model, place: Place, part: str | None, cells: Sequence[Cell] | None = None) -> Weights:
    """The temperature at a point of the stack [m]; on a line between two materials, in the better conductor.

    part : whose level is meant where the point lies on the face between two levels, which a joint may part
    cells : that it is read off; those that it lies in or between unless given

    On the bottom or top face of that part it is read off as `surface_maximum` has it. Within a cell the temperature is
    a parabola along each axis, with the value at the centre and the gradients at both faces: its error is then as
    smooth over a family of grids wherever in a cell the point comes to lie.
    """
    spot = None if part is None else face_spot(model, place, part)
    if spot is not None:
        return _on_side(spot.face, spot.side, spot.weights)
    cells = cells_at(model, place, part) if cells is None else cells
    found: dict[Spot, float] = {}
    for cell in cells:
        for one, weight in _in_cell(model, cell, place).items():
            found[one] = found.get(one, 0.0) + weight / len(cells)
    return Weights.of(found)


def cells_at(model: Model, place: Place, part: str | None = None) -> list[Cell]:
    """The cells that a point of the stack [m] lies in or between, those of the best conductor; none in a void."""
    touching: list[list[int]] = []
    level = slice(None) if part is None else model.level_of_part[part]
    for axis, at in zip(model.grid.axes, place, strict=True):
        tolerance = 1e-9 * float(axis.faces[-1] - axis.faces[0])
        inside = (axis.faces[:-1] <= at + tolerance) & (axis.faces[1:] >= at - tolerance)
        touching.append(np.flatnonzero(inside).tolist())
    own = range(*level.indices(model.grid.shape[2]))
    cells = [(i, j, k) for i, j, k in product(*touching) if k in own and model.region[i, j, k] >= 0]
    conducts = [float(model.regions[model.region[cell]].material.along_x(TYPICAL_C)) for cell in cells]
    return [cell for cell, k in zip(cells, conducts, strict=True) if k >= max(conducts) * (1.0 - 1e-12)]


def _in_cell(model: Model, cell: Cell, place: Place) -> dict[Spot, float]:
    axes = model.grid.axes
    off = [at - float(along.centres[index]) for at, along, index in zip(place, axes, cell, strict=True)]
    found: dict[Spot, float] = {cell: 1.0}

    def add(spot: Spot, weight: float) -> None:
        found[spot] = found.get(spot, 0.0) + weight

    for axis in range(3):
        low, high = sides_of(cell, axis)
        share = off[axis] / (0.5 * float(axes[axis].widths[cell[axis]]))
        add(low, 0.25 * share**2 - 0.5 * share)
        add(high, 0.25 * share**2 + 0.5 * share)
        add(cell, -0.5 * share**2)
    for one, other in ((0, 1), (0, 2), (1, 2)):
        twists = [_twist(model, cell, one, other, off[other]), _twist(model, cell, other, one, off[one])]
        known = [twist for twist in twists if twist]
        for twist in known:
            for spot, weight in twist.items():
                add(spot, off[one] * off[other] * weight / len(known))
    return found


def _twist(model: Model, cell: Cell, along: int, across: int, towards: float) -> dict[Spot, float]:
    """How the gradient along an axis changes across another [1/m2], to the neighbour on one side of the cell.

    Nothing where that neighbour is no part of the same body.
    """
    index = cell[across] + (1 if towards > 0.0 else -1)
    i, j, k = (index if axis == across else cell[axis] for axis in range(3))
    if not 0 <= index < model.grid.shape[across] or model.region[i, j, k] != model.region[cell]:
        return {}
    centres, width = model.grid.axes[across].centres, float(model.grid.axes[along].widths[cell[along]])
    per = 1.0 / (width * float(centres[index] - centres[cell[across]]))
    near, far = sides_of(cell, along), sides_of((i, j, k), along)
    return {near[0]: per, near[1]: -per, far[0]: -per, far[1]: per}


def sides_of(cell: Cell, axis: int) -> tuple[Spot, Spot]:
    """The inner sides of a cell's lower and upper face across an axis."""
    rest = tuple(cell[other] for other in range(3) if other != axis)
    return (axis, cell[axis], 1, *rest), (axis, cell[axis] + 1, 0, *rest)


# ---- summits ----------------------------------------------------------------------------------------------------


def at_summit(model: Model, summit: Summit, face: int, side: str) -> Weights:
    """A highest temperature on one side of a z plane, which stays at its place between the centres of cells."""
    return _on_side(face, side, plane_of(model, face, side).weights(summit))


def at_warmest_cell(cell: Cell, sides_C: Iterable[tuple[float, float, float]]) -> tuple[Weights, list[float]]:
    """The highest temperature in and about a cell, and where it is along each axis, in half widths from its centre.

    sides_C : along each axis, the temperatures [C] at the low side, in the centre and at the high side
    """
    found: dict[Spot, float] = {cell: 1.0}
    places = []
    for axis, (low, centre, high) in enumerate(sides_C):
        # Upwards a cell may end at a joint or a film, where only the temperatures of its faces are sure.
        offset, weights = peak(low, centre, high, bends=axis < 2)
        below, above = sides_of(cell, axis)
        for spot, weight in zip((below, cell, above), weights, strict=True):
            found[spot] = found.get(spot, 0.0) + weight
        places.append(offset)
    return Weights.of(found), places


def peak(low: float, centre: float, high: float, bends: bool) -> tuple[float, tuple[float, float, float]]:
    """Where along one axis a cell is warmest (-1 lower side, +1 upper side), and weights of the rise over its centre.

    low, high : temperatures at the sides. A summit within the cell counts only where the temperature `bends` smoothly;
    it lies on the parabola through three even centres, which bends half as much as one through low, centre and high.
    """
    candidates = [
        (0.0, 0.0, (0.0, 0.0, 0.0)), (low - centre, -1.0, (1.0, -1.0, 0.0)), (high - centre, 1.0, (0.0, -1.0, 1.0))
    ]  # fmt: skip
    slope, bend = 0.5 * (high - low), 0.25 * (high + low) - 0.5 * centre
    if bends and bend < 0.0 and abs(slope) <= -2.0 * bend * (1.0 + AT_SIDE):
        at = -slope / (2.0 * bend)
        weights = 0.25 * at**2 - 0.5 * at, -0.5 * at**2, 0.25 * at**2 + 0.5 * at
        candidates.append((-(slope**2) / (4.0 * bend), at, weights))
    _, offset, weights = max(candidates, key=lambda one: one[:2])
    return offset, weights


def _on_side(face: int, side: str, weights: Mapping[tuple[int, int], float]) -> Weights:
    return Weights.of({(2, face, int(side == "upper"), i, j): weight for (i, j), weight in weights.items()})

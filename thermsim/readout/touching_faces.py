"""Faces held at different temperatures that touch: between them flows heat without bound.

Beside the line where they touch the temperature depends on the angle alone, so the flux goes as 1/r and the heat as
ln r: on every finer grid it is larger by the same amount. Temperatures settle all the same. Source: Carslaw and Jaeger,
Conduction of Heat in Solids, 2nd ed. (1959), section 16.5 on wedges with jumps at the corner, from memory.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from thermsim.model.build import Model
from thermsim.model.physics.face_link import Boundary, Surface

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

SAME_K = 1e-6  # [K] temperatures that differ by less are the same


def touching(model: Model) -> tuple[tuple[int, int], ...]:
    """Pairs of entries of `cooling` that hold faces at different temperatures along a line which both share.

    On either side of a joint of some resistance lie two lines, not one.
    """
    held = [number for number, one in enumerate(model.coolings) if one.holds]
    known = {value for number in held for value in model.coolings[number].known_C}
    if len(held) < 2 or len(known) < 2:
        return ()
    lines = [
        _lines(model, axis, face, number, here)
        for axis, face in model.cooled_planes
        for number in held
        if (here := np.moveaxis(model.cooling_face[axis], axis, 0)[face] == number).any()
    ]
    keys, temperatures, numbers = (np.concatenate(column) for column in zip(*lines, strict=True))
    order = np.argsort(keys, kind="stable")
    keys, temperatures, numbers = keys[order], temperatures[order], numbers[order]
    starts = np.flatnonzero(np.concatenate([[True], np.diff(keys) > 0]))
    jumps = np.maximum.reduceat(temperatures, starts) - np.minimum.reduceat(temperatures, starts) > SAME_K
    found = set()
    for start, stop in zip(starts[jumps], np.append(starts, len(keys))[1:][jumps], strict=True):
        meet = list(zip(numbers[start:stop].tolist(), temperatures[start:stop].tolist(), strict=True))
        for (one, here_C), (other, there_C) in combinations(meet, 2):
            if one != other and abs(here_C - there_C) > SAME_K:
                found.add((min(one, other), max(one, other)))
    return tuple(sorted(found))


def _lines(model: Model, axis: int, face: int, number: int, here: NDArray[np.bool_]) -> tuple[Ints, Array, Ints]:
    """Of the four edges of each face of one entry in a plane: number of the line, temperature [C] there, the entry."""
    first, second = (other for other in range(3) if other != axis)
    at = np.argwhere(here)
    solid = np.moveaxis(model.region >= 0, axis, 0)
    above = solid[face][here] if face < len(solid) else np.zeros(len(at), dtype=bool)
    keys, temperatures = [], []
    for along, across in ((first, second), (second, first)):
        for end in (0, 1):
            corner = np.zeros((len(at), 3), dtype=np.int64)
            corner[:, axis] = face
            corner[:, first], corner[:, second] = at.T
            corner[:, across] += end
            side = _side_of_joint(model, corner[:, 2], along, above if axis == 2 else np.full(len(at), end == 0))
            keys.append(_key(model, corner, along, side))
            temperatures.append(_held_C(model, model.coolings[number], corner, along))
    return np.concatenate(keys), np.concatenate(temperatures), np.full(4 * len(at), number)


def _side_of_joint(model: Model, height: Ints, along: int, over: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether lines lie on the upper side of a joint that parts their plane. over : the body lies above them"""
    parted = [joint.face for joint in model.joints if np.any(joint.resistance > 0.0)]
    return np.isin(height, parted) & over & (along != 2)


def _key(model: Model, corner: Ints, along: int, side: NDArray[np.bool_]) -> Ints:
    shape = (3, *(count + 1 for count in model.grid.shape), 2)
    return np.asarray(np.ravel_multi_index((np.full(len(corner), along), *corner.T, side.astype(np.int64)), shape))


def _held_C(model: Model, boundary: Boundary, corner: Ints, along: int) -> Array:
    places = [
        axis.centres[corner[:, number]] if number == along else axis.faces[corner[:, number]]
        for number, axis in enumerate(model.grid.axes)
    ]
    known_C = boundary.link(Surface(0.0, (places[0], places[1], places[2]))).known_C
    return np.asarray(known_C + np.zeros(len(corner)))

"""All coefficients of a heat balance as one vector, and any few of them for many nearby cases at once.

The vector holds the conductances across x, y and z, then ground and heat of every cell, each in the order of its array.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.model.assemble import Stencil
from thermsim.model.coefficients.groups import Faces, Ints, Numbers, Topology, faces_at
from thermsim.model.coefficients.power_shares import zone_shares

Array = NDArray[np.float64]

GROUND, HEAT = 3, 4  # kinds of entries; 0, 1 and 2 are conductances across the three axes


@dataclass(frozen=True)
class Layout:
    """Where the coefficients of a grid stand in the vector. shape : of its cells"""

    shape: tuple[int, int, int]

    @property
    def shapes(self) -> list[tuple[int, ...]]:
        """Of the conductances across x, y and z, of what leaves each cell, and of its heat."""
        inner = [tuple(n - (axis == other) for other, n in enumerate(self.shape)) for axis in range(3)]
        return [*inner, self.shape, self.shape]

    @property
    def starts(self) -> Ints:
        """(6,) first place of each kind, and the end."""
        return np.cumsum([0, *(int(np.prod(shape)) for shape in self.shapes)])

    def part(self, kind: int) -> slice:
        """Where entries of one kind stand in a vector of all."""
        starts = self.starts
        return slice(int(starts[kind]), int(starts[kind + 1]))

    def vector(self, stencil: Stencil) -> Array:
        """(entries,) coefficients [W/K] and heats [W] of a heat balance."""
        inner = (stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)
        return np.concatenate([array.ravel() for array in (*inner, stencil.ground, stencil.heat)])

    def places(self, entries: Ints) -> tuple[Ints, Ints]:
        """Kind (entries,) and index (entries, 3) of entries by their place in the vector."""
        kinds = np.searchsorted(self.starts, entries, side="right") - 1
        index = np.empty((len(entries), 3), dtype=np.int64)
        for kind in range(5):
            here = kinds == kind
            index[here] = np.array(np.unravel_index(entries[here] - self.starts[kind], self.shapes[kind])).T
        return np.asarray(kinds, dtype=np.int64), index


@dataclass(frozen=True, eq=False)
class Entries:
    """Some coefficients of the base's grid.

    sums : for conductance, lower and upper heat and ground of all faces: (5 faces, entries) what belongs to what
    volumes : for each volume source: its index, and for its watts at the base and the shares of zones and rests in them
        (1 + zones + sources, entries); kinds : (entries,)
    """

    faces: Faces
    kinds: Ints
    sums: Array
    volumes: tuple[tuple[int, Array], ...]

    def values(self, numbers: Numbers, base: Numbers, below: Array, above: Array) -> Array:
        """(n, entries) [W/K] and [W], with k(T) at the temperatures (n, faces) [C] of the cells beside the faces."""
        plane = self.faces.planes(numbers, base, below, above)
        between, heat_lower, heat_upper, ground_lower, ground_upper = plane.links()
        # a fluid in place of a cell: the link leads to the ground, and to heat at its temperature
        to_upper = np.where(np.isnan(plane.known_upper), 0.0, between)
        to_lower = np.where(np.isnan(plane.known_lower), 0.0, between)
        terms = (
            between - to_upper - to_lower,
            heat_lower + to_upper * np.nan_to_num(plane.known_upper),
            heat_upper + to_lower * np.nan_to_num(plane.known_lower),
            ground_lower + to_upper,
            ground_upper + to_lower,
        )
        found = np.concatenate(terms, axis=1) @ self.sums
        for index, made in self.volumes:
            watts = made[0] + (numbers.power - base.power) @ made[1:]
            per_K, at_C = numbers.per_K[:, index, None], numbers.at_C[:, index, None]
            found += np.where(self.kinds == GROUND, -watts * per_K, 0.0)
            found += np.where(self.kinds == HEAT, watts * (1.0 - per_K * at_C), 0.0)
        return np.asarray(found)


def entries_at(base: Topology, chosen: Ints) -> Entries:
    """Entries by their place in the vector of `Layout`."""
    kinds, index = Layout(base.model.grid.shape).places(chosen)
    wanted: dict[tuple[int, int, int, int], int] = {}
    pairs: list[tuple[int, int, int]] = []  # term, face, entry

    def face(axis: int, place: tuple[int, int, int]) -> int:
        return wanted.setdefault((axis, *place), len(wanted))

    for entry, (kind, (i, j, k)) in enumerate(zip(kinds.tolist(), index.tolist(), strict=True)):
        if kind < GROUND:
            above = (i + (kind == 0), j + (kind == 1), k + (kind == 2))
            pairs.append((0, face(kind, above), entry))
            continue
        for axis in range(3):
            over = (i + (axis == 0), j + (axis == 1), k + (axis == 2))
            pairs.append((2 if kind == HEAT else 4, face(axis, (i, j, k)), entry))  # the cell lies above this face
            pairs.append((1 if kind == HEAT else 3, face(axis, over), entry))
    keys = np.array(list(wanted), dtype=np.int64).reshape(-1, 4)
    sums = np.zeros((5 * len(keys), len(chosen)))
    for term, number, entry in pairs:
        sums[term * len(keys) + number, entry] = 1.0
    return Entries(faces_at(base, keys[:, 0], keys[:, 1:]), kinds, sums, _volumes(base, kinds, index))


def _volumes(base: Topology, kinds: Ints, index: Ints) -> tuple[tuple[int, Array], ...]:
    found = []
    offset = len(base.model.face_sources)
    widths = base.model.grid.z.widths
    for number, source in enumerate(base.model.volume_sources):
        levels = np.arange(len(widths))[source.levels]
        here = (kinds >= GROUND) & np.isin(index[:, 2], levels)
        i, j, k = index[here].T
        of_zones = zone_shares(base.case, base.model, offset + number)
        made = np.zeros((1 + len(of_zones), len(kinds)))
        made[0, here] = source.watts[i, j, k - levels[0]]
        upright = widths[k] / widths[source.levels].sum()
        made[1:, here] = of_zones[:, i, j] * upright
        found.append((offset + number, made))
    return tuple(found)

"""The heat balance in time: C dz/dt + A z = g over the cells of a stack and of its films.

A film that stores heat is put between the cells under and over its joint as levels of its own. With b the conductance
of its whole filling and w the share of its thickness that a level has, half a level conducts 2 b / w, and the faces at
both ends of the film are those of `model/assemble.py` with half of the joint's boundary resistance. Where its two parts
do not meet, the levels pass on what crossed the plane before: n + 1 links of n + 1 times its conductance. There they
store nothing but what a rim or a leg beside the film does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermsim.model.assemble import FacePlane, Stencil, assemble, face_plane
from thermsim.model.build import Guess, Model
from thermsim.model.storage import StoringFilm
from thermsim.readout.weights import Weights

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SystemPlane:
    """Faces of one plane of the system. below, above : index along the axis of the cells under and over them, or None

    here : where on the plane these faces are meant
    """

    axis: int
    faces: FacePlane
    below: int | None
    above: int | None
    here: NDArray[np.bool_] | bool = True

    def nodes(self, cells: Array, heated: bool) -> tuple[Array, Array]:
        """Rises under and over the faces, of cells (..., nx, ny, levels); zero where there is no face.

        heated : with the heat that the model's own sources make there at rest
        """
        of = np.moveaxis(cells, self.axis - 3, 0)
        nothing = np.full(of.shape[1:], np.nan)
        faces = self.faces if heated else replace(self.faces, heat_lower=0.0, heat_upper=0.0)
        below = nothing if self.below is None else of[self.below]
        above = nothing if self.above is None else of[self.above]
        under, over = faces.nodes(below, above)
        return np.nan_to_num(under), np.nan_to_num(over)

    def spread(self, column: Array, lower: Array | float, upper: Array | float, known: Array | float = 0.0) -> None:
        """Add to a column (nx, ny, levels) what the cells are to weights of the nodes of these faces.

        By reciprocity it is what they get of heats as large that are made there; known : weight of what is known
        """
        lower, upper = np.where(self.here, lower, 0.0), np.where(self.here, upper, 0.0)
        faces = replace(
            self.faces, heat_lower=lower, heat_upper=upper,
            known_lower=self.faces.known_lower * 0.0 + known, known_upper=self.faces.known_upper * 0.0 + known,
        )  # fmt: skip
        between, heat_lower, heat_upper, _, _ = faces.links()
        of = np.moveaxis(column, self.axis, 0)
        if self.below is not None:
            of[self.below] += heat_lower + np.where(self.here, between * np.nan_to_num(faces.known_upper), 0.0)
        if self.above is not None:
            of[self.above] += heat_upper + np.where(self.here, between * np.nan_to_num(faces.known_lower), 0.0)


@dataclass(frozen=True, eq=False)
class System:
    """C dz/dt + A z = g. model : linear, of rises

    stencil : A as `Stencil.ground` and conductances, g as `Stencil.heat`, over (nx, ny, levels)
    capacity : C (nx, ny, levels) [J/K], zero in voids and where a film's levels only pass heat on, see above
    levels : (nz,) the model's levels of cells among those of the system
    planes : all faces where more happens than conduction between two cells, by (axis, face of the model)
    """

    model: Model
    guess: Guess
    stencil: Stencil
    capacity: Array
    levels: NDArray[np.int64]
    planes: Mapping[tuple[int, int], tuple[SystemPlane, ...]]
    _plain: dict[tuple[int, int], tuple[SystemPlane, ...]] = field(default_factory=dict)

    @property
    def shape(self) -> tuple[int, ...]:
        """(nx, ny, nz) cells."""
        return self.stencil.ground.shape

    def of_model(self, cells: Array) -> Array:
        """Of values over the system's cells (..., nx, ny, levels), those of the model's."""
        return np.asarray(cells[..., self.levels])

    def planes_at(self, axis: int, face: int) -> tuple[SystemPlane, ...]:
        """The planes in which capacity lies at one face across an axis, apart from the cells."""
        if (axis, face) in self.planes:
            return self.planes[axis, face]
        if (axis, face) not in self._plain:
            self._plain[axis, face] = (self._whole(axis, face),)
        return self._plain[axis, face]

    def _whole(self, axis: int, face: int) -> SystemPlane:
        index = self.levels if axis == 2 else np.arange(self.model.grid.shape[axis])
        faces = face_plane(self.model, axis, face, self.guess)
        below = int(index[face - 1]) if face > 0 else None
        above = int(index[face]) if face < len(index) else None
        return SystemPlane(axis, faces, below, above)

    def nodes(self, axis: int, face: int, cells: Array, heated: bool) -> tuple[Array, Array]:
        """Rises on both sides of a plane of faces of the model, see `SystemPlane.nodes`."""
        if axis < 2:
            cells = self.of_model(cells)
        planes = self.planes_at(axis, face)
        found = [plane.nodes(cells, heated) for plane in planes]
        if len(planes) == 1:
            return found[0]
        low, high, beside = found
        meets = planes[0].here
        return np.where(meets, low[0], beside[0]), np.where(meets, high[1], beside[1])

    def heated_nodes(self, face: int, lower: Array | float, upper: Array | float) -> tuple[Array, Array]:
        """Rises on both sides of a level plane of faces of the model where heats [W] are made, beside cells at rest."""
        planes, rest = self.planes_at(2, face), np.zeros(self.shape)
        heats = [(lower, upper)] if len(planes) == 1 else [(lower, 0.0), (0.0, upper), (lower, upper)]
        found = []
        for plane, (under, over) in zip(planes, heats, strict=True):
            faces = replace(plane.faces, heat_lower=under, heat_upper=over)
            found.append(replace(plane, faces=faces).nodes(rest, heated=True))
        if len(planes) == 1:
            return found[0]
        low, high, beside = found
        meets = planes[0].here
        return np.where(meets, low[0], beside[0]), np.where(meets, high[1], beside[1])

    def column(self, weights: Weights) -> tuple[Array, float]:
        """A weighted sum of rises as weights of the system's cells, and what the heat at rest adds to it at once."""
        column, direct = np.zeros(self.shape), 0.0
        at = (weights.cells[0], weights.cells[1], self.levels[weights.cells[2]])
        np.add.at(column, at, weights.of_cells)
        rest = np.zeros(self.shape)
        for (axis, face, side), (places, own) in weights.faces.items():
            of_plane = np.zeros(self.model.grid.face_area(axis).shape)
            np.add.at(of_plane, tuple(places), own)
            self.spread(column, axis, face, of_plane if side == 0 else 0.0, of_plane if side == 1 else 0.0)
            direct += float((self.nodes(axis, face, rest, heated=True)[side] * of_plane).sum())
        return column, direct

    def spread(self, column: Array, axis: int, face: int, lower: Array | float, upper: Array | float) -> None:
        """See `SystemPlane.spread`; on both sides of a plane of faces of the model."""
        planes = self.planes_at(axis, face)
        own = column if axis == 2 else np.zeros(self.model.grid.shape)
        if len(planes) == 1:
            planes[0].spread(own, lower, upper)
        else:
            low, high, beside = planes
            low.spread(own, lower, 0.0)
            high.spread(own, 0.0, upper)
            beside.spread(own, lower, upper)
        if axis < 2:
            column[:, :, self.levels] += own

    def to_known(self, number: int) -> float:
        """Heat out through one entry of `cooling` [W] with all cells at zero, and nothing made."""
        found, nothing = 0.0, np.zeros(self.shape)
        for axis, face in self.model.cooled_planes:
            here = np.moveaxis(self.model.cooling_face[axis], axis, 0)[face] == number
            if not here.any():
                continue
            cells = nothing if axis == 2 else self.of_model(nothing)
            for plane in self.planes_at(axis, face):
                under, over = plane.nodes(cells, heated=False)
                faces = plane.faces
                out = np.nan_to_num(faces.lower * (under - faces.known_lower))
                out += np.nan_to_num(faces.upper * (over - faces.known_upper))
                found += float(np.where(here & plane.here, out, 0.0).sum())
        return found

    def outflow(self, number: int) -> tuple[Array, float]:
        """Heat out through one entry of `cooling` as weights of the cells, and of the heat at rest what at once."""
        column, direct = np.zeros(self.shape), 0.0
        nothing = np.zeros(self.shape)
        for axis, face in self.model.cooled_planes:
            here = np.moveaxis(self.model.cooling_face[axis], axis, 0)[face] == number
            if not here.any():
                continue
            own = column if axis == 2 else np.zeros(self.model.grid.shape)
            cells = nothing if axis == 2 else self.of_model(nothing)
            for plane in self.planes_at(axis, face):
                plane.spread(own, 0.0, 0.0, known=np.where(here, 1.0, 0.0))
                faces = plane.faces
                one = replace(
                    faces, heat_lower=0.0, heat_upper=0.0,
                    known_lower=faces.known_lower * 0.0 + here, known_upper=faces.known_upper * 0.0 + here,
                )  # fmt: skip
                under, over = replace(plane, faces=one).nodes(cells, heated=True)
                made = under * faces.heat_lower + over * faces.heat_upper
                direct += float(np.where(plane.here, made, 0.0).sum())
            if axis < 2:
                column[:, :, self.levels] += own
        return column, direct


def system_of(model: Model, guess: Guess, capacity: Array, films: Sequence[tuple[StoringFilm, Array]]) -> System:
    """The system of a model of rises.

    capacity : (nx, ny, nz) of its cells [J/K]; films : from the bottom up, each with its levels' shares of its
    thickness, which add up to one
    """
    base = assemble(model, guess)
    counts = np.zeros(model.grid.shape[2], dtype=np.int64)
    for film, shares in films:
        counts[film.face] += len(shares)
    levels = np.arange(model.grid.shape[2]) + np.cumsum(counts)
    system = System(
        model, guess, _with_levels(base, levels, int(levels[-1]) + 1), _spaced(capacity, levels), levels, {}
    )
    planes: dict[tuple[int, int], tuple[SystemPlane, ...]] = {}
    for number, (film, shares) in enumerate(films):
        planes[2, film.face] = _cut(system, film, shares, len(model.regions) + number)
    return replace(system, planes=planes)


def _spaced(values: NDArray[Any], levels: NDArray[np.int64]) -> NDArray[Any]:
    wide = np.zeros((*values.shape[:2], int(levels[-1]) + 1), dtype=values.dtype)
    wide[:, :, levels] = values
    return wide


def _with_levels(base: Stencil, levels: NDArray[np.int64], count: int) -> Stencil:
    """The stencil with empty levels between those it has."""
    between = np.zeros((*base.conductance_z.shape[:2], count - 1))
    adjacent = np.flatnonzero(np.diff(levels) == 1)
    between[:, :, levels[adjacent]] = base.conductance_z[:, :, adjacent]
    width = np.zeros(count)
    width[levels] = base.width_z
    box = np.full((*base.box.shape[:2], count), -1, dtype=base.box.dtype)
    box[:, :, levels] = base.box
    x, y, ground, heat, solid = (
        _spaced(one, levels) for one in (base.conductance_x, base.conductance_y, base.ground, base.heat, base.solid)
    )
    return Stencil(x, y, between, ground, heat, solid, base.width_x, base.width_y, width, box)


def with_planes_at(near: System, model: Model, guess: Guess, films: Sequence[tuple[StoringFilm, Array]]) -> System:
    """A system with its planes at other temperatures: to read off, for stencil and capacities stay as they are."""
    system = replace(near, model=model, guess=guess, planes={}, _plain={})
    return replace(system, planes={(2, film.face): _planes_of(system, film, shares) for film, shares in films})


def _planes_of(system: System, film: StoringFilm, shares: Array) -> tuple[SystemPlane, SystemPlane, SystemPlane]:
    """The faces under and over a film that is cut into levels, and the plane beside it."""
    whole = system._whole(2, film.face)
    below, above = whole.below, whole.above
    assert below is not None and above is not None  # a joint lies between two parts
    area, faces, meets = system.model.grid.face_area(2), whole.faces, film.meets
    bulk, contact, none = _through(film, area), film.contact / area, np.full(area.shape, np.nan)
    first, last = 2.0 * bulk / shares[0], 2.0 * bulk / shares[-1]
    low = FacePlane(faces.lower, first, contact, faces.heat_lower, 0.0, faces.slope_lower, 0.0, none, none)
    high = FacePlane(last, faces.upper, contact, 0.0, faces.heat_upper, 0.0, faces.slope_upper, none, none)
    return (
        SystemPlane(2, low, below, below + 1, meets),
        SystemPlane(2, high, above - 1, above, meets),
        replace(whole, here=~meets),
    )


def _through(film: StoringFilm, area: Array) -> Array:
    """Conductance [W/K] of the whole filling of a film, zero where its two parts do not meet."""
    return np.where(film.meets, area / np.where(film.bulk > 0.0, film.bulk, np.inf), 0.0)


def _cut(system: System, film: StoringFilm, shares: Array, box: int) -> tuple[SystemPlane, SystemPlane, SystemPlane]:
    """Put the levels of a film into a system's stencil; gives `_planes_of` it."""
    stencil, area, meets = system.stencil, system.model.grid.face_area(2), film.meets
    planes = _planes_of(system, film, shares)
    low, high, whole = planes
    below, above, faces = whole.below, whole.above, whole.faces
    assert below is not None and above is not None
    between, heat_lower, heat_upper, ground_lower, ground_upper = faces.links()
    bulk, ends = _through(film, area), (low.faces.links(), high.faces.links())
    first, last = below + 1, above - 1
    count = last - first + 1
    # What the plane gave the cells beside it before goes, where the film takes its place.
    known = ~np.isnan(faces.known_lower) | ~np.isnan(faces.known_upper)
    passing = np.where(known, 0.0, between) * (count + 1)
    for cell, was, now in ((below, (heat_lower, ground_lower), (1, 3)), (above, (heat_upper, ground_upper), (2, 4))):
        end = ends[0] if cell == below else ends[1]
        stencil.heat[:, :, cell] += np.where(meets, end[now[0]] - was[0], 0.0)
        stencil.ground[:, :, cell] += np.where(meets, end[now[1]] - was[1], 0.0)
    for level in range(first, last + 1):
        stencil.solid[:, :, level] = meets | (passing > 0.0)
        stencil.width_z[level] = film.thickness * shares[level - first]
        stencil.box[:, :, level] = np.where(stencil.solid[:, :, level], box, -1)
        stores = np.where(meets, film.heat, film.beside) * area * shares[level - first]
        system.capacity[:, :, level] = np.where(stencil.solid[:, :, level], stores, 0.0)
    stencil.heat[:, :, first] += np.where(meets, ends[0][2], 0.0)
    stencil.ground[:, :, first] += np.where(meets, ends[0][4], 0.0)
    stencil.heat[:, :, last] += np.where(meets, ends[1][1], 0.0)
    stencil.ground[:, :, last] += np.where(meets, ends[1][3], 0.0)
    stencil.conductance_z[:, :, below] = np.where(meets, ends[0][0], passing)
    stencil.conductance_z[:, :, last] = np.where(meets, ends[1][0], passing)
    for step in range(count - 1):
        inner = bulk / (0.5 * (shares[step] + shares[step + 1]))
        stencil.conductance_z[:, :, first + step] = np.where(meets, inner, passing)
    return planes

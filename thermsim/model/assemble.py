"""The heat balance of one cell, as a formula.

Temperatures are unknown at cell centres. Between a lower and an upper cell lies a face with one node on
each side of a joint of resistance r [K/W] (zero where parts touch). With the half-cell conductances a and
b [W/K], heat q- and q+ [W] made on the lower and upper side of the face, and its growth with the face
temperature s- and s+ [W/K],

    a (T_l - T-) + q- + s- T-  =  F  =  (T- - T+) / r,        F + q+ + s+ T+  =  b (T+ - T_u).

Elimination of both nodes, with A = a - s-, B = b - s+ and D = A + B + r A B, gives

    T- = [ (1 + r B)(a T_l + q-) + b T_u + q+ ] / D,
    T+ = [ (1 + r A)(b T_u + q+) + a T_l + q- ] / D,

so the two cells see the conductance G = a b / D, heat  a [(1 + r B) q- + q+] / D  and
b [(1 + r A) q+ + q-] / D, and a link to "ground"  -a [s+ + s- (1 + r B)] / D  and -b [s- + s+ (1 + r A)] / D.
Without joint, heat and leakage this is the two half cells in series. A face towards a fluid is the same
formula: the fluid, at a known temperature, takes the place of the cell, and the film (or, for a fixed
temperature, an all but infinite conductance) takes the place of its half cell. D <= 0 means that leakage
on that face alone outruns conduction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import RunawayError
from thermsim.model.build import Guess, Model
from thermsim.model.grid.cells import as_planes

Array = NDArray[np.float64]


TINY = 1e-300  # [W/K] avoids 0/0 between two voids, and changes no other sum
BLOCK_CELLS = 200_000  # cells whose conductances are computed at once, so that they stay in the cache


@dataclass(frozen=True, eq=False)
class Stencil:
    """Heat balance of every solid cell c:  sum over faces G (T_n - T_c) - ground_c T_c + heat_c = 0.

    conductance_x, conductance_y, conductance_z : (nx-1, ny, nz), (nx, ny-1, nz), (nx, ny, nz-1) [W/K]
    ground : (nx, ny, nz) [W/K] link to known temperatures; slightly negative where leakage is linearised
    heat : (nx, ny, nz) [W] heat made, plus the link to each known temperature times that temperature
    solid : (nx, ny, nz) bool; void cells hold zeros and are not unknowns
    width_x, width_y, width_z : cell widths [m]
    box : (nx, ny, nz) int16, index of the region of one material; -1 in a void
    """

    conductance_x: Array
    conductance_y: Array
    conductance_z: Array
    ground: Array
    heat: Array
    solid: NDArray[np.bool_]
    width_x: Array
    width_y: Array
    width_z: Array
    box: NDArray[np.int16]

    def conducted(self, cells: Array) -> Array:
        """What leaves each cell [W] at temperatures (nx, ny, nz) where all known is zero: the matrix times them."""
        whole = self.ground * cells
        for axis, conductance in enumerate((self.conductance_x, self.conductance_y, self.conductance_z)):
            flow, of = as_planes(axis, conductance * np.diff(cells, axis=axis)), as_planes(axis, whole)
            of[:-1] -= flow
            of[1:] += flow
        return whole


@dataclass(frozen=True, eq=False)
class FacePlane:
    """All faces of one plane across an axis, in the symbols of the formula above; arrays over the plane.

    known_lower, known_upper : temperature [C] where a fluid or fixed face stands on that side, NaN elsewhere
    """

    lower: Array
    upper: Array
    joint: Array | float
    heat_lower: Array | float
    heat_upper: Array | float
    slope_lower: Array | float
    slope_upper: Array | float
    known_lower: Array
    known_upper: Array

    def links(self) -> tuple[Array, Array, Array, Array, Array]:
        """(conductance, heat of lower, heat of upper, ground of lower, ground of upper); zero where no face is."""
        net_lower, net_upper = self.lower - self.slope_lower, self.upper - self.slope_upper
        whole = net_lower + net_upper + self.joint * net_lower * net_upper
        present = (self.lower > 0.0) | (self.upper > 0.0)
        if np.any(present & (whole <= 0.0)):
            raise RunawayError(
                "leakage on one face of the grid alone outruns conduction", "lower the power or the leakage"
            )
        inverse = np.divide(1.0, whole, out=np.zeros_like(whole), where=present)
        past_upper, past_lower = 1.0 + self.joint * net_upper, 1.0 + self.joint * net_lower
        to_lower, to_upper = self.lower * inverse, self.upper * inverse
        return (
            self.lower * to_upper,
            to_lower * (past_upper * self.heat_lower + self.heat_upper),
            to_upper * (past_lower * self.heat_upper + self.heat_lower),
            -to_lower * (self.slope_upper + self.slope_lower * past_upper),
            -to_upper * (self.slope_lower + self.slope_upper * past_lower),
        )

    def nodes(self, below: Array, above: Array) -> tuple[Array, Array]:
        """Face temperatures [C] under and over the joint, from the temperatures of both cells (NaN where none)."""
        below = np.where(np.isnan(self.known_lower), below, self.known_lower)
        above = np.where(np.isnan(self.known_upper), above, self.known_upper)
        from_lower = np.where(self.lower > 0.0, self.lower * below, 0.0) + self.heat_lower
        from_upper = np.where(self.upper > 0.0, self.upper * above, 0.0) + self.heat_upper
        net_lower, net_upper = self.lower - self.slope_lower, self.upper - self.slope_upper
        whole = net_lower + net_upper + self.joint * net_lower * net_upper
        with np.errstate(invalid="ignore", divide="ignore"):
            under = ((1.0 + self.joint * net_upper) * from_lower + from_upper) / whole
            over = ((1.0 + self.joint * net_lower) * from_upper + from_lower) / whole
        return under, over


def face_plane(model: Model, axis: int, face: int, guess: Guess) -> FacePlane:
    """The faces with index `face` across `axis`: cell face-1 lies below them, cell face above.

    guess : temperatures at which k(T) is taken, and leakage and boundaries are linearised
    """
    area = model.grid.face_area(axis)
    none = np.zeros(area.shape)
    lower = model.half_conductance(axis, face - 1, "upper", guess) if face > 0 else none
    upper = model.half_conductance(axis, face, "lower", guess) if face < model.grid.shape[axis] else none
    known_lower, known_upper = np.full(area.shape, np.nan), np.full(area.shape, np.nan)
    heat_lower: Array | float = 0.0
    heat_upper: Array | float = 0.0
    slope_lower: Array | float = 0.0
    slope_upper: Array | float = 0.0
    if model.coolings_at(axis, face):
        film, known_C, influx = model.boundary_at(axis, face, guess)
        above_solid, below_solid = upper > 0.0, lower > 0.0  # a cooled face has matter on one side only
        heat_upper, heat_lower = (np.where(solid, influx * area, 0.0) for solid in (above_solid, below_solid))
        links = ~np.isnan(known_C)
        known_lower[above_solid & links] = np.asarray(known_C)[above_solid & links]
        known_upper[below_solid & links] = np.asarray(known_C)[below_solid & links]
        lower = np.where(np.isnan(known_lower), lower, film * area)
        upper = np.where(np.isnan(known_upper), upper, film * area)
    joint: Array | float = 0.0
    if axis == 2:
        joint = model.joint_resistance(face) / area
        for index, source in model.sources_at(face):
            watts, slope = source.linearised(guess.heated_face[index])
            if source.side == "lower":
                heat_lower, slope_lower = heat_lower + watts, slope_lower + slope
            else:
                heat_upper, slope_upper = heat_upper + watts, slope_upper + slope
    return FacePlane(lower, upper, joint, heat_lower, heat_upper, slope_lower, slope_upper, known_lower, known_upper)


def between_cells(model: Model, axis: int, guess: Guess) -> Array:
    """Conductance [W/K] of all inner faces across an axis as if there were conduction only; zero beside voids.

    (nx-1, ny, nz) across x, and so on. It works in blocks of planes of x, so that little memory is taken for a moment.
    """
    shape = model.grid.shape
    faces = np.empty([n - (other == axis) for other, n in enumerate(shape)])
    per_half = 2.0 / model.grid.axes[axis].widths.reshape([-1 if other == axis else 1 for other in range(3)])
    area = np.expand_dims(model.grid.face_area(axis), axis)
    first = int(axis == 0)  # a face across x lies between two planes of x
    step = max(1, BLOCK_CELLS // (shape[1] * shape[2]))
    for start in range(0, faces.shape[0], step):
        stop = min(start + step, faces.shape[0])
        cells = slice(start, stop + first)
        half = guess.conductivity[axis][cells] * (per_half[cells] if first else per_half)
        half *= area if first else area[cells]
        lower, upper = (as_planes(axis, half)[part] for part in (slice(None, -1), slice(1, None)))
        out = as_planes(axis, faces[start:stop])
        np.multiply(lower, upper, out=out)
        out /= np.maximum(lower + upper, TINY)
    return faces


def assemble(model: Model, guess: Guess) -> Stencil:
    """The heat balance of every cell of a model, with k(T) and leakage taken at a guess.

    Raises
    ------
    RunawayError : leakage on one face of the grid alone outruns conduction
    """
    shape = model.grid.shape
    ground, heat = np.zeros(shape), np.zeros(shape)
    conductances = []
    for axis, count in enumerate(shape):
        inner = between_cells(model, axis, guess)
        inner_of = as_planes(axis, inner)
        for face in np.flatnonzero(~model.is_plain(axis)).tolist():
            plane = face_plane(model, axis, face, guess)
            between = _add_plane(plane, axis, face, heat, ground)
            if 0 < face < count:
                known = ~np.isnan(plane.known_lower) | ~np.isnan(plane.known_upper)
                inner_of[face - 1] = np.where(known, 0.0, between)
        conductances.append(inner)
    _add_volumes(model, guess, heat, ground)
    solid = model.region >= 0
    ground[~solid] = 0.0
    heat[~solid] = 0.0
    x, y, z = (axis.widths for axis in model.grid.axes)
    return Stencil(conductances[0], conductances[1], conductances[2], ground, heat, solid, x, y, z, model.region)


def made_heat(model: Model, guess: Guess) -> Array:
    """`assemble(model, guess).heat` [W] of a model whose coolants are at 0 C, from the planes that make heat alone."""
    heat, ground = np.zeros(model.grid.shape), np.zeros(model.grid.shape)
    for face in sorted({source.face for source in model.face_sources}):
        _add_plane(face_plane(model, 2, face, guess), 2, face, heat, ground)
    _add_volumes(model, guess, heat, ground)
    heat[model.region < 0] = 0.0
    return heat


def _add_plane(plane: FacePlane, axis: int, face: int, heat: Array, ground: Array) -> Array:
    """What a plane of faces gives the cells beside it; gives the conductances between them [W/K]."""
    heat_of, ground_of = as_planes(axis, heat), as_planes(axis, ground)
    between, heat_lower, heat_upper, ground_lower, ground_upper = plane.links()
    if face > 0:
        unknown = np.isnan(plane.known_upper)
        toward = np.where(unknown, 0.0, between)
        ground_of[face - 1] += ground_lower + toward
        heat_of[face - 1] += heat_lower + toward * np.where(unknown, 0.0, plane.known_upper)
    if face < len(heat_of):
        unknown = np.isnan(plane.known_lower)
        toward = np.where(unknown, 0.0, between)
        ground_of[face] += ground_upper + toward
        heat_of[face] += heat_upper + toward * np.where(unknown, 0.0, plane.known_lower)
    return between


def _add_volumes(model: Model, guess: Guess, heat: Array, ground: Array) -> None:
    for source in model.volume_sources:
        watts, slope = source.linearised(guess.temperature)
        heat[:, :, source.levels] += watts
        ground[:, :, source.levels] -= slope

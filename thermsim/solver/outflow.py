"""What leaves a stack through the planes of faces that an entry of `cooling` acts on."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.model.assemble import FacePlane, face_plane
from thermsim.model.build import Guess, Model
from thermsim.model.grid.cells import as_planes
from thermsim.solver.guesses import beside

Array = NDArray[np.float64]


class Leaving(NamedTuple):
    """Heat [W] out through each face of a plane across an axis, zero but `here`; their temperature and area."""

    axis: int
    face: int
    here: NDArray[np.bool_]
    heat_W: Array
    face_C: Array
    area_m2: Array


def acting(model: Model, number: int) -> list[tuple[int, int, NDArray[np.bool_]]]:
    """(axis, face) of the planes that one entry acts on, and where on them."""
    found = []
    for axis, face in model.cooled_planes:
        here = as_planes(axis, model.cooling_face[axis])[face] == number
        if here.any():
            found.append((axis, face, here))
    return found


def leaving(
    model: Model, guess: Guess, temperature: Array, place: tuple[int, int, NDArray[np.bool_]], plane: FacePlane | None
) -> Leaving:
    """Through one plane at temperatures (nx, ny, nz) [C]; plane : its faces, where they are at hand."""
    axis, face, here = place
    plane, link = plane or face_plane(model, axis, face, guess), model.boundary_at(axis, face, guess)
    area = model.grid.face_area(axis)
    below, above = beside(axis, face, temperature)
    under, over = plane.nodes(below, above)
    made = plane.heat_lower + plane.slope_lower * under + plane.heat_upper + plane.slope_upper * over
    solid_above = here & np.isfinite(above)
    through_cell = np.where(solid_above, plane.upper * (above - over), plane.lower * (below - under)) + made
    film, node = link.film * area, np.where(solid_above, over, under)
    # The same heat twice; over the stronger conductance it is a difference of all but equal numbers.
    film_is_weaker = film < np.where(solid_above, plane.upper, plane.lower)
    through_film = film * (np.where(solid_above, under, over) - link.known_C)
    out = np.where(film > 0.0, np.where(film_is_weaker, through_film, through_cell), 0.0) - link.influx * area
    return Leaving(axis, face, here, np.where(here, out, 0.0), node, area)


def to_loop_W(model: Model, guess: Guess, temperature: Array) -> float:
    """Heat [W] that all faces on the coolant loop give it."""
    places = (place for number in model.on_loop for place in acting(model, number))
    return sum(float(leaving(model, guess, temperature, place, None).heat_W.sum()) for place in places)

"""Thin films between parts as a resistance per area over the grid: even, wedge, dome, or from a map."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import joint_box, levels
from thermsim.case.vocabulary.schema import Case, Film, Joint, Part
from thermsim.model.grid.axes import Axis, Grid
from thermsim.model.physics.heat import overlap
from thermsim.model.physics.properties import JointProperties, joint_of
from thermsim.units import MM, UM

Array = NDArray[np.float64]

GAUSS_POINTS = 4  # each way in a cell: a film that doubles from side to side is then right to 1e-7


@dataclass(frozen=True)
class JointPlane:
    """A joint at a z face. resistance : (nx, ny) [m2 K/W], zero where its two parts do not meet."""

    joint: str
    face: int
    resistance: Array
    meets: NDArray[np.bool_]


def joint_planes(case: Case, grid: Grid, solid: NDArray[np.bool_]) -> tuple[JointPlane, ...]:
    """Every joint of a case, at the z face between the parts under and over it."""
    planes = []
    top_of = {part.part: high for _, high, part in levels(case)}
    for number, layer in enumerate(case.layers):
        if not isinstance(layer, Joint):
            continue
        below, above = case.layers[number - 1], case.layers[number + 1]
        assert isinstance(below, Part) and isinstance(above, Part)  # the reader refuses anything else
        face = grid.z.face_at(MM * top_of[below.part])
        box = joint_box(case, below, above)
        x0, y0, x1, y1 = (MM * edge for edge in box)
        x, y = grid.x.span(x0, x1), grid.y.span(y0, y1)
        meets = np.zeros(grid.shape[:2], dtype=bool)
        meets[x, y] = solid[x, y, face - 1] & solid[x, y, face]
        resistance = np.zeros(grid.shape[:2])
        resistance[x, y] = _resistance(case, grid, layer, (x0, y0, x1, y1))[x, y]
        planes.append(JointPlane(layer.joint, face, np.where(meets, resistance, 0.0), meets))
    return tuple(planes)


def _resistance(case: Case, grid: Grid, joint: Joint, box: tuple[float, float, float, float]) -> Array:
    """(nx, ny) [m2 K/W] as if the joint filled the grid: (film / k + boundary) / wetted.

    Heat crosses the places of a cell side by side, so an uneven film gives the inverse of its mean conductance.
    """
    known = joint_of(joint)
    if known.form is None:
        film = known.film.value if known.way == "film" and known.film is not None else 0.0
        return known.resistance_at(film) + np.zeros(grid.shape[:2])
    if known.form.file is not None:
        return 1.0 / _mean_of_map(case, grid, known, box)
    conductance = np.zeros(grid.shape[:2])
    for along_x, weight_x in _places(grid.x, box[0], box[2]):
        for along_y, weight_y in _places(grid.y, box[1], box[3]):
            uneven = _film(known.form, along_x[:, None], along_y[None, :])
            conductance += weight_x * weight_y / known.resistance_at(uneven)
    return np.asarray(1.0 / conductance)


def _mean_of_map(case: Case, grid: Grid, known: JointProperties, box: tuple[float, float, float, float]) -> Array:
    """Mean conductance per area (nx, ny) [W/m2K] of each cell under a map of the film; 1 outside it."""
    assert known.form is not None and known.form.file is not None
    x0, y0, x1, y1 = box
    table = 1.0 / known.resistance_at(UM * np.array(case.tables[known.form.file])[::-1].T)
    to_x = overlap(np.linspace(x0, x1, table.shape[0] + 1), grid.x.faces).T
    to_y = overlap(np.linspace(y0, y1, table.shape[1] + 1), grid.y.faces).T
    mean = to_x @ table @ to_y.T
    return np.asarray(np.where(mean > 0.0, mean, 1.0))


def _places(axis: Axis, low: float, high: float) -> Iterator[tuple[Array, float]]:
    """Gauss points of all cells along an axis, from -1 at one edge of the joint to 1 at the other, with weights."""
    for point, weight in zip(*np.polynomial.legendre.leggauss(GAUSS_POINTS), strict=True):
        place = axis.centres + 0.5 * point * axis.widths
        yield np.clip((2.0 * place - low - high) / (high - low), -1.0, 1.0), 0.5 * float(weight)


def _film(film: Film, along_x: Array, along_y: Array) -> Array:
    """Thickness [m] of a dome or a wedge at places from -1 to 1 along both axes of the joint."""
    if film.edge is not None and film.centre is not None:
        middle = (1.0 - along_x**2) * (1.0 - along_y**2)
        return UM * np.asarray(film.edge + (film.centre - film.edge) * middle)
    assert film.low is not None and film.high is not None and film.towards is not None
    sign = 1.0 if film.towards[0] == "+" else -1.0
    along = np.broadcast_arrays(along_x, along_y)[0 if film.towards[1] == "x" else 1]
    return UM * np.asarray(0.5 * (film.low + film.high) + 0.5 * (film.high - film.low) * sign * along)

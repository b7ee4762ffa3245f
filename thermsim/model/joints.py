"""Thin films between parts as a resistance per area over the grid: even, wedge, dome, or from a map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.places import joint_box, levels
from thermsim.case.schema import Case, Film, Joint, Part
from thermsim.model.grid import Grid
from thermsim.model.heat import overlap
from thermsim.model.properties import joint_of
from thermsim.units import MM, UM

Array = NDArray[np.float64]


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
    """(nx, ny) [m2 K/W]: (film / k + boundary) / wetted, as if the joint filled the grid."""
    known = joint_of(joint)
    film: Array | float = 0.0
    if known.way == "film":
        film = known.film.value if known.form is None and known.film is not None else _film(case, grid, known.form, box)
    return known.resistance_at(film) + np.zeros(grid.shape[:2])


def _film(case: Case, grid: Grid, film: Film | None, box: tuple[float, float, float, float]) -> Array:
    """Uneven film [m] over the cells (nx, ny): exact cell means for wedge and map, cell centres for the dome."""
    assert film is not None
    x0, y0, x1, y1 = box
    if film.file is not None:
        table = UM * np.array(case.tables[film.file])[::-1].T
        to_x = overlap(np.linspace(x0, x1, table.shape[0] + 1), grid.x.faces).T
        to_y = overlap(np.linspace(y0, y1, table.shape[1] + 1), grid.y.faces).T
        return np.asarray(to_x @ table @ to_y.T)
    along_x = (2.0 * grid.x.centres - x0 - x1) / (x1 - x0)  # -1 at the left edge, +1 at the right
    along_y = (2.0 * grid.y.centres - y0 - y1) / (y1 - y0)
    if film.edge is not None and film.centre is not None:
        middle = (1.0 - along_x[:, None] ** 2) * (1.0 - along_y[None, :] ** 2)
        return UM * np.asarray(film.edge + (film.centre - film.edge) * middle)
    assert film.low is not None and film.high is not None and film.towards is not None
    sign = 1.0 if film.towards[0] == "+" else -1.0
    along = along_x[:, None] if film.towards[1] == "x" else along_y[None, :]
    return UM * np.asarray(0.5 * (film.low + film.high) + 0.5 * (film.high - film.low) * sign * along) + np.zeros(
        grid.shape[:2]
    )

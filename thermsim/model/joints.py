"""Thin films between parts as a resistance per area over the grid: even, wedge, dome, or from a map.

What is filled in around a part reaches into the gap that such a film leaves beside it, see `joint_planes`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import Box, joint_box, levels, part_box
from thermsim.case.geometry.rims_and_legs import foot_name, stand_boxes
from thermsim.case.vocabulary.schema import Case, Film, Joint, Part
from thermsim.model.grid.axes import Axis, Grid
from thermsim.model.grid.cells import plan_slices
from thermsim.model.grid.outline_lines import table_of
from thermsim.model.physics.heat import overlap
from thermsim.model.physics.properties import JointProperties, joint_of
from thermsim.units import MM, MM2K_W, UM

Array = NDArray[np.float64]

GAUSS_POINTS = 4  # along each axis of a cell: exact to 1e-7 for a film that doubles from side to side


@dataclass(frozen=True, eq=False)
class JointPlane:
    """A joint at a z face, and what fills the rest of its plane.

    resistance : (nx, ny) [m2 K/W], zero where its two parts do not meet
    meets : (nx, ny) where they do
    fill_under, fill_over : (nx, ny) [m], how much further the fill around the part under (over) the joint reaches into
        the gap between both parts, which is as wide as the film; zero where there is no fill
    is_foot : whether it lies under the rim or the legs of a part
    """

    joint: str
    face: int
    resistance: Array
    meets: NDArray[np.bool_]
    fill_under: Array
    fill_over: Array
    is_foot: bool = False


def joint_planes(case: Case, grid: Grid, solid: NDArray[np.bool_]) -> tuple[JointPlane, ...]:
    """Every joint of a case, at the z face between the parts under and over it.

    A film holds its parts apart, so what is filled in around one of them (`around`) fills the gap beside the film too.
    Without that gap the fill would touch both parts at the edge of the film, where their temperatures jump: the heat
    through the fill would grow without bound, as the logarithm of the cell width.
    """
    planes = []
    top_of = {part.part: high for _, high, part in levels(case)}
    for number, layer in enumerate(case.layers):
        if not isinstance(layer, Joint):
            continue
        below, above = case.layers[number - 1], case.layers[number + 1]
        assert isinstance(below, Part) and isinstance(above, Part)  # the reader refuses anything else
        face = grid.z.face_at(MM * top_of[below.part])
        in_below, in_above = (_within(grid, part_box(case, part)) for part in (below, above))
        both = solid[:, :, face - 1] & solid[:, :, face]
        meets, beside = both & in_below & in_above, both & ~(in_below & in_above)
        x0, y0, x1, y1 = (MM * edge for edge in joint_box(case, below, above))
        known = joint_of(layer, case.dimensions)
        resistance = _resistance(case, grid, known, (x0, y0, x1, y1))
        gap = _gap(case, grid, known, (x0, y0, x1, y1)) if beside.any() else resistance
        shared = np.where(in_below | in_above, gap, 0.5 * gap)  # two fills that meet share the gap
        planes.append(
            JointPlane(
                layer.joint,
                face,
                np.where(meets, resistance, 0.0),
                meets,
                np.where(beside & ~in_below, shared, 0.0),
                np.where(beside & ~in_above, shared, 0.0),
            )
        )
    return (*planes, *_feet(case, grid, top_of))


def _feet(case: Case, grid: Grid, top_of: dict[str, float]) -> Iterator[JointPlane]:
    """Under the rim or the legs of each part that has them."""
    for part in case.parts:
        if part.stands_on is None:
            continue
        box = next(part_box(case, one) for one in case.parts if one.part == part.stands_on.down_to)
        on = _within(grid, box)
        meets = np.zeros_like(on)
        for each in stand_boxes(case, part):
            meets |= _within(grid, each) & on
        nothing = np.zeros(meets.shape)
        resistance = np.where(meets, MM2K_W * part.stands_on.resistance_mm2K_W.value, 0.0)
        face = grid.z.face_at(MM * top_of[part.stands_on.down_to])
        yield JointPlane(foot_name(part), face, resistance, meets, nothing, nothing, is_foot=True)


def _within(grid: Grid, box: Box) -> NDArray[np.bool_]:
    """(nx, ny) the columns under a rectangle of the stack [mm]."""
    inside = np.zeros(grid.shape[:2], dtype=bool)
    inside[plan_slices(grid, box)] = True
    return inside


def _resistance(case: Case, grid: Grid, known: JointProperties, box: Box) -> Array:
    """(nx, ny) [m2 K/W] as if the joint filled the grid: (film / k + boundary) / wetted.

    Heat crosses the places of a cell side by side, so an uneven film gives the inverse of its mean conductance.
    """
    if known.form is None:
        film = known.film.value if known.way == "film" and known.film is not None else 0.0
        return known.resistance_at(film) + np.zeros(grid.shape[:2])
    if known.form.file is not None:
        return 1.0 / _mean_of_map(case, grid, known, box)
    return 1.0 / _mean_over_cells(case, grid, known, box, lambda film: 1.0 / known.resistance_at(film))


def film_thickness(case: Case, grid: Grid, known: JointProperties, box: Box) -> Array:
    """(nx, ny) [m] mean thickness of a film over each cell, as if it filled the grid; zero outside a map.

    box : of the joint [m]
    """
    if known.form is None:
        return known.thickness + np.zeros(grid.shape[:2])
    if known.form.file is not None:
        return means_of_map(grid, box, UM * table_of(case, known.form.file))[0]
    return _mean_over_cells(case, grid, known, box, lambda film: film)


def _gap(case: Case, grid: Grid, known: JointProperties, box: Box) -> Array:
    """(nx, ny) [m] the thickness of the film, going on beside it as it is at the nearest place of its edge.

    Of a joint that is given by its resistance alone: that of a film of TYPICAL_FILM.
    """
    if known.form is not None:
        return 1.0 / _mean_over_cells(case, grid, known, box, lambda film: 1.0 / film)
    return known.thickness + np.zeros(grid.shape[:2])


def _mean_over_cells(case: Case, grid: Grid, known: JointProperties, box: Box, of: Callable[[Array], Array]) -> Array:
    """(nx, ny) mean over each cell of a function of the film's thickness [m]."""
    assert known.form is not None
    mean = np.zeros(grid.shape[:2])
    for along_x, weight_x in _places(grid.x, box[0], box[2]):
        for along_y, weight_y in _places(grid.y, box[1], box[3]):
            mean += weight_x * weight_y * of(_film(case, known.form, along_x[:, None], along_y[None, :]))
    return mean


def _mean_of_map(case: Case, grid: Grid, known: JointProperties, box: Box) -> Array:
    """Mean conductance per area (nx, ny) [W/m2K] of each cell under a map of the film; 1 outside it."""
    assert known.form is not None and known.form.file is not None
    mean = means_of_map(grid, box, 1.0 / known.resistance_at(UM * table_of(case, known.form.file)))[0]
    return np.asarray(np.where(mean > 0.0, mean, 1.0))


def means_of_map(grid: Grid, box: Box, *tables: Array) -> list[Array]:
    """(nx, ny) mean over each cell of each of some tables of one shape that lie on a rectangle [m]; zero beside it."""
    across = (
        overlap(np.linspace(box[n], box[n + 2], count + 1), axis.faces).T
        for n, (count, axis) in enumerate(zip(tables[0].shape, (grid.x, grid.y), strict=True))
    )
    to_x, to_y = across
    return [np.asarray(to_x @ table @ to_y.T) for table in tables]


def _places(axis: Axis, low: float, high: float) -> Iterator[tuple[Array, float]]:
    """Gauss points of all cells along an axis, from -1 at one edge of the joint to 1 at the other, with weights."""
    for point, weight in zip(*np.polynomial.legendre.leggauss(GAUSS_POINTS), strict=True):
        place = axis.centres + 0.5 * point * axis.widths
        yield np.clip((2.0 * place - low - high) / (high - low), -1.0, 1.0), 0.5 * float(weight)


def _film(case: Case, film: Film, along_x: Array, along_y: Array) -> Array:
    """Thickness [m] of a dome, a wedge or a map at places from -1 to 1 along both axes of the joint."""
    if film.file is not None:
        table = UM * table_of(case, film.file)
        column, row = (
            np.minimum((0.5 * (1.0 + along) * count).astype(int), count - 1)
            for along, count in zip((along_x, along_y), table.shape, strict=True)
        )
        return np.asarray(table[column, row])
    if film.edge is not None and film.centre is not None:
        # A slice is cut through the middle: there a dome is the same all along its depth.
        middle = (1.0 - along_x**2) * (1.0 - along_y**2 if case.dimensions == 3 else 1.0)
        return UM * np.asarray(film.edge.value + (film.centre.value - film.edge.value) * middle)
    assert film.low is not None and film.high is not None and film.towards is not None
    sign = 1.0 if film.towards[0] == "+" else -1.0
    along = np.broadcast_arrays(along_x, along_y)[0 if film.towards[1] == "x" else 1]
    low, high = film.low.value, film.high.value
    return UM * np.asarray(0.5 * (low + high) + 0.5 * (high - low) * sign * along)

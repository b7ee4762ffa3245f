"""Temperatures of a solution as coefficients are taken at them: of cells, of heated faces, and across cells."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.model.assemble import TINY, face_plane
from thermsim.model.build import Guess, Model
from thermsim.model.grid.cells import as_planes

Array = NDArray[np.float64]
Planes = dict[tuple[int, int], tuple[Array, Array]]


def guess_from(model: Model, temperature: Array, guess: Guess) -> Guess:
    """Temperatures of a solution (nx, ny, nz), in the form that coefficients are taken at."""
    filled = np.nan_to_num(temperature, nan=model.coldest_C)
    faces, on_surfaces = heated_faces(model, temperature, guess), surfaces(model, temperature, guess)
    return model.guess(filled, faces, on_surfaces, reach_of(model, temperature, guess, faces))


def surfaces(model: Model, temperature: Array, guess: Guess) -> dict[tuple[int, int], Array]:
    """Temperatures [C] of the planes where a boundary is not linear, on the side of the stack."""
    found = {}
    for axis, face in model.curved_planes:
        cells = as_planes(axis, model.region >= 0)
        solid_above = cells[face] if face < len(cells) else np.zeros(cells.shape[1:], dtype=bool)
        under, over = nodes(model, axis, face, temperature, guess)
        found[axis, face] = np.nan_to_num(np.where(solid_above, over, under), nan=model.coldest_C)
    return found


def heated_faces(model: Model, temperature: Array, guess: Guess) -> tuple[Array, ...]:
    """Temperatures (nx, ny) [C] of each heated face; the coldest known one where there is no face."""
    faces = []
    for source in model.face_sources:
        under, over = nodes(model, 2, source.face, temperature, guess)
        faces.append(np.nan_to_num(under if source.side == "lower" else over, nan=model.coldest_C))
    return tuple(faces)


def nodes(model: Model, axis: int, face: int, temperature: Array, guess: Guess) -> tuple[Array, Array]:
    """Temperatures [C] of a plane of faces across an axis, under and over a joint there; NaN where there is no face."""
    return face_plane(model, axis, face, guess).nodes(*beside(axis, face, temperature))


def beside(axis: int, face: int, temperature: Array) -> tuple[Array, Array]:
    """Temperatures [C] of the cells under and over a plane of faces across an axis; NaN beyond the ends."""
    cells = as_planes(axis, temperature)
    nothing = np.full(cells.shape[1:], np.nan)
    return cells[face - 1] if face > 0 else nothing, cells[face] if face < len(cells) else nothing


def reach_of(
    model: Model, temperature: Array, guess: Guess, heated: tuple[Array, ...]
) -> tuple[Array, Array, Array] | None:
    """For each axis half of what the temperature changes by across each cell, (nx, ny, nz) [K]; zero in voids.

    temperature : (nx, ny, nz) [C], NaN in voids; guess : the coefficients it was solved with; heated : heated faces [C]

    None where no kink of a conductivity lies between the lowest and the highest temperature of cells and faces: then
    k at the centre of a cell is its mean already.
    """
    if not model.kinks_C:
        return None
    coldest, hottest = _span(model, temperature, guess, heated)
    if not any(coldest < at < hottest for at in model.kinks_C):
        return None
    across = changes_across(model, temperature, guess)
    return 0.5 * np.abs(across[0]), 0.5 * np.abs(across[1]), 0.5 * np.abs(across[2])


def changes_across(model: Model, temperature: Array, guess: Guess) -> tuple[Array, Array, Array]:
    """For each axis what the temperature rises by from the lower to the upper face of each cell, (nx, ny, nz) [K].

    temperature : (nx, ny, nz) [C], NaN in voids, where nothing rises; guess : the coefficients it was solved with
    """
    planes = _planes(model, temperature, guess)
    along = [_along(model, axis, temperature, guess, planes) for axis in range(3)]
    return along[0], along[1], along[2]


def _span(model: Model, temperature: Array, guess: Guess, heated: tuple[Array, ...]) -> tuple[float, float]:
    """Between which temperatures [C] all cells and faces lie for sure.

    Extremes of conduction stand where heat is made or leaves. A face under a film is colder than its cell by at most
    the share of the film in the resistance to the fluid, taken with the worst conductor and the strongest film there.
    """
    if any(cooling.influx_W_m2 != 0.0 for cooling in model.coolings):
        return -np.inf, np.inf
    known = [value for cooling in model.coolings for value in cooling.known_C]
    coldest = float(np.nanmin(temperature))
    hottest = max(*known, float(np.nanmax(temperature)), *(float(face.max()) for face in heated))
    if not any(min(known) < at < hottest for at in model.kinks_C):
        return min(known), hottest
    for axis, face in model.cooled_planes:
        film = max(cooling.most_film(hottest) for cooling, _ in model.coolings_at(axis, face))
        for cell in (face - 1, face):
            if 0 <= cell < model.grid.shape[axis]:
                at = float(np.take(temperature, cell, axis).min())
                at = coldest if np.isnan(at) else at  # voids are among them
                k = np.take(guess.conductivity[axis], cell, axis)
                worst = float(np.min(k, where=k > 0.0, initial=np.inf))
                biot = film * 0.5 * float(model.grid.axes[axis].widths[cell]) / worst
                coldest = min(coldest, at - max(at - min(known), 0.0) * (1.0 - 1.0 / (1.0 + biot)))
    return coldest, hottest


def _planes(model: Model, temperature: Array, guess: Guess) -> Planes:
    """Temperatures under and over every plane of faces where more than conduction between two cells happens."""
    found: Planes = {}
    for axis in range(3):
        for face in np.flatnonzero(~model.is_plain(axis)).tolist():
            found[axis, face] = nodes(model, axis, face, temperature, guess)
    return found


def _along(model: Model, axis: int, temperature: Array, guess: Guess, planes: Planes) -> Array:
    of, k = as_planes(axis, temperature), as_planes(axis, guess.conductivity[axis])
    change = np.zeros(of.shape)
    half = k * (2.0 / model.grid.axes[axis].widths)[:, None, None]
    drop = np.diff(of, axis=0) / np.maximum(half[:-1] + half[1:], TINY)
    for face in range(1, len(of)):
        if (axis, face) not in planes:
            between = np.nan_to_num(drop[face - 1])
            change[face - 1] += half[face] * between
            change[face] += half[face - 1] * between
    for (other, face), (under, over) in planes.items():
        if other == axis and face > 0:
            change[face - 1] += np.nan_to_num(under - of[face - 1])
        if other == axis and face < len(of):
            change[face] += np.nan_to_num(of[face] - over)
    return np.moveaxis(change, 0, axis)

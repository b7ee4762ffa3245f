"""Grids for time: upwards as fine as the first time asked needs, on both sides of every heated face.

Heat has come sqrt(alpha t) far after a time t. The wanted width is

    h  =  w (sqrt(alpha t) / FINENESS  +  GROWTH d),      alpha of the material there, d the distance to the heated face

where that is less than what the steady state asks for; in plan nothing is added. A family samples it 1, 2, 3, 4 times
as finely, as in the steady state.

A part takes up as much of the heat as its effusivity e = sqrt(k rho c) is of all beside the face, and cells of width h
leave an error of e h^2 in it: a given number of cells leaves least where h goes with e^(-1/3), by that of the strongest
part beside a heated face. So w = (e_strongest / e)^(1/3), 1 at least and WIDEST at most.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import levels
from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import Model
from thermsim.model.grid.axes import GridPlan, PlannedAxis
from thermsim.model.grid.graded import GradedAxis, Grading, graded_axis
from thermsim.model.storage import StoringFilm, Warming, storing_films, warming_parts
from thermsim.units import MM

Array = NDArray[np.float64]

FINENESS = 1.25  # cells of the first grid of a family in the depth that heat has come by the first time asked
GROWTH = 0.7  # of the wanted width per distance from the heated face
WIDEST = 3.0  # times as wide may cells be in what takes up next to no heat: its own field is asked for too
TOUCHES = 1e-12  # [m] between two heights that are one
KNOTS_RATIO = 1.5  # of the distances from a heated face at which the wanted width is set


def heated_heights(case: Case) -> list[tuple[float, int]]:
    """Where heat is made, or begins to be [m], and on which side of it the heated part lies: -1 below, 1 above."""
    found = set()
    place = {part.part: (MM * low, MM * high) for low, high, part in levels(case)}
    for heat in case.heat:
        low, high = place[heat.in_]
        if heat.at != "top":
            found.add((low, 1))
        if heat.at != "bottom":
            found.add((high, -1))
    return sorted(found)


def time_plan(case: Case, plan: GridPlan, from_s: float) -> GridPlan:
    """The same family, as fine upwards as the time `from_s` after a load comes on needs."""
    heights = np.array([height for height, _ in heated_heights(case)])
    own = plan.z.axis(1)
    gradings: list[Grading] = []
    counts = plan.z.cells_between(1).astype(float)
    parts = warming_parts(case)
    beside = [one for one in parts if np.any((heights >= one.low - TOUCHES) & (heights <= one.high + TOUCHES))]
    strongest = max((one.effusivity for one in beside), default=0.0)
    for number, (low, high) in enumerate(zip(plan.z.lines[:-1].tolist(), plan.z.lines[1:].tolist(), strict=True)):
        part = _part_at(parts, 0.5 * (low + high))
        wider = float(np.clip(np.cbrt(strongest / part.effusivity), 1.0, WIDEST))
        finest = wider * np.sqrt(part.diffusivity * from_s) / FINENESS
        here = own.span(low, high)
        place = _knots(heights, low, high, finest, own.centres[here])
        steady = np.interp(place, own.centres[here], own.widths[here])
        early = finest + wider * GROWTH * np.abs(place[:, None] - heights[None, :]).min(axis=1)
        wanted = Grading((place - low) / (high - low), np.minimum(steady, early) / (high - low))
        if np.all(early >= steady):
            gradings.append(_kept(plan.z, number) or wanted)
            counts[number] = plan.z.counts[number] if isinstance(plan.z, GradedAxis) else counts[number]
        else:
            gradings.append(wanted)
            counts[number] = max(counts[number], np.ceil(wanted.steps))
    return replace(plan, z=graded_axis(plan.z.lines, gradings, counts, plan.z.whole & (counts <= 1.0)))


def films_of(case: Case, model: Model, from_s: float, multiplier: int) -> list[tuple[StoringFilm, Array]]:
    """Films that are cut into levels, with the shares of their thickness that the levels have."""
    z = model.grid.z.faces
    return [
        (film, film_shares(case, film, float(z[film.face]), from_s, multiplier)) for film in storing_films(case, model)
    ]


def film_shares(case: Case, film: StoringFilm, height_m: float, from_s: float, multiplier: int) -> Array:
    """(n,) shares of the thickness of a film at a height [m] that its levels have, from below."""
    place, side = min(heated_heights(case), key=lambda one: abs(one[0] - height_m))
    finest = np.sqrt(film.diffusivity * from_s) / FINENESS + GROWTH * abs(place - height_m)
    width = np.array([finest, finest + GROWTH * film.thickness]) / film.thickness
    grading = Grading(np.array([0.0, 1.0]), width)
    count = max(1, int(np.ceil(grading.steps))) * multiplier
    shares = np.diff(np.concatenate([[0.0], grading.inner_faces(count), [1.0]]))
    touches = abs(place - height_m) < TOUCHES  # heights are sums, rounded in another order
    is_below = side < 0 if touches else place < height_m
    return np.asarray(shares if is_below else shares[::-1])


def _part_at(parts: list[Warming], height_m: float) -> Warming:
    return next(one for one in parts if one.low <= height_m <= one.high)


def _kept(axis: PlannedAxis, number: int) -> Grading | None:
    return axis.gradings[number] if isinstance(axis, GradedAxis) else None


def _knots(heights: Array, low: float, high: float, finest: float, centres: Array) -> Array:
    """Places [m] in a segment at which the wanted width is set, its ends among them."""
    far = finest * KNOTS_RATIO ** np.arange(0, max(2.0, np.log((high - low) / finest) / np.log(KNOTS_RATIO) + 2.0))
    near = np.concatenate([[0.0], far])
    places = np.concatenate([centres, (heights[:, None] + near).ravel(), (heights[:, None] - near).ravel()])
    inside = places[(places > low) & (places < high)]
    return np.unique(np.concatenate([[low], inside, [high]]))

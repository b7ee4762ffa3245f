"""A steady state and how its heat balance changes around it: what adjoints are solved with, see `adjoint.py`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermsim.materials.conductivity import Law
from thermsim.model.assemble import TINY, FacePlane, Stencil, assemble, face_plane
from thermsim.model.build import Guess, Model
from thermsim.model.grid.cells import as_planes
from thermsim.solver.guesses import changes_across, guess_from
from thermsim.solver.linear import State, prepare

Array = NDArray[np.float64]
Nodes = Mapping[tuple[int, int], tuple[Array, Array]]


@dataclass(frozen=True, eq=False)
class Goal:
    """A number read off temperatures, to first order.

    cells : flat indices of cells; weights : of them
    nodes : for (axis, face), weights of the temperatures on the lower and the upper side of that plane of faces
    outflow : index of the cooling whose heat it is, if it is one
    """

    cells: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    weights: Array = field(default_factory=lambda: np.zeros(0))
    nodes: Nodes = field(default_factory=dict)
    outflow: int | None = None


NOTHING = Goal()


@dataclass(frozen=True, eq=False)
class Plane:
    """One plane of faces where more happens than conduction between two cells.

    under, over : temperatures on its sides [C]; drop_lower, drop_upper : from the cells to them [K]
    through : heat through its joint upwards [W], zero where there is none
    """

    axis: int
    face: int
    faces: FacePlane
    under: Array
    over: Array
    drop_lower: Array
    drop_upper: Array
    through: Array


@dataclass(frozen=True, eq=False)
class Coupling:
    """What (dk/dT) dJ/dk of the cells beside one plane of faces is, per adjoint of the lower and of the upper one."""

    axis: int
    face: int
    lower: tuple[Array, Array]
    upper: tuple[Array, Array]


@dataclass(frozen=True, eq=False)
class Rise:
    """How mean conductivities along an axis move with what the temperature rises by across their cells.

    by_change : (nx, ny, nz) d(ln k) of cells by that rise [1/K]
    lower, upper : of inner faces, the shares of both cells in the temperature of the face; zero on `planes`
    by_log : of inner faces, what ln k of the upper cell adds to it, and that of the lower takes from it [K]; likewise
    """

    by_change: Array
    lower: Array
    upper: Array
    by_log: Array


@dataclass(frozen=True, eq=False)
class Linearised:
    """A steady state and how its heat balance changes around it.

    temperature : (nx, ny, nz) [C], finite in voids
    falls : for each axis and inner face, -(dT) G^2 / a of the lower and of the upper cell: times the difference of an
        adjoint across the face it is dJ/d(ln k) of those halves; zero on `planes`
    log_slope : for each axis d(ln k)/dT of cells [1/K]; None where no k depends on temperature
    rises : for each axis, how mean conductivities move with the rise of temperature across their cells; None where no
        kink of a conductivity lies among the temperatures
    links : for each axis and inner face, what a difference of adjoints across it brings the lower and the upper cell:
        conduction and (dk/dT) dJ/dk together, but for the latter on `planes`, which is in `couplings`
    """

    model: Model
    guess: Guess
    temperature: Array
    stencil: Stencil
    state: State
    planes: tuple[Plane, ...]
    falls: tuple[tuple[Array, Array], ...]
    log_slope: tuple[Array, ...] | None
    rises: tuple[Rise, ...] | None
    links: tuple[tuple[Array, Array], ...]
    couplings: tuple[Coupling, ...]

    def plane(self, axis: int, face: int) -> Plane:
        """The faces across an axis, at one of its faces."""
        return _plane(self.model, axis, face, self.guess, self.temperature)


def linearise(model: Model, temperature: Array, guess: Guess) -> Linearised:
    """Set up for any number of goals. temperature : (nx, ny, nz) [C] of the steady state; guess : it was found with."""
    guess = guess_from(model, temperature, guess)
    stencil = assemble(model, guess)
    filled = guess.temperature
    planes = tuple(
        _plane(model, axis, face, guess, filled)
        for axis in range(3)
        for face in np.flatnonzero(~model.is_plain(axis)).tolist()
    )
    conductances = (stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)
    falls = tuple(_falls(model, axis, guess, filled, link) for axis, link in enumerate(conductances))
    links: tuple[tuple[Array, Array], ...] = tuple((link, link) for link in conductances)
    slopes: tuple[Array, ...] | None = None
    couplings: tuple[Coupling, ...] = ()
    if not all(region.material.is_constant for region in model.regions):
        slopes = _log_slopes(model, guess)
        links = tuple(_links(axis, slopes[axis], falls[axis], link) for axis, link in enumerate(conductances))
        couplings = tuple(_coupling(model, plane, slopes[plane.axis]) for plane in planes)
    rises: tuple[Rise, ...] | None = None
    if guess.reach is not None:
        across = changes_across(model, temperature, guess)
        rises = tuple(_rise(model, axis, guess, filled, change) for axis, change in enumerate(across))
    state = prepare(stencil, model.may_have_islands)
    return Linearised(model, guess, filled, stencil, state, planes, falls, slopes, rises, links, couplings)


def adjoint_faces(model: Model, plane: Plane, goal: Goal) -> FacePlane:
    """The equations of L on a plane of faces."""
    of_lower, of_upper = goal.nodes.get((plane.axis, plane.face), (0.0, 0.0))
    in_fluid: Array | float = 0.0
    if goal.outflow is not None:
        in_fluid = 1.0 * (as_planes(plane.axis, model.cooling_face[plane.axis])[plane.face] == goal.outflow)
    known = (plane.faces.known_lower, plane.faces.known_upper)
    lower, upper = (np.where(np.isnan(side), np.nan, in_fluid) for side in known)
    return replace(plane.faces, heat_lower=of_lower, heat_upper=of_upper, known_lower=lower, known_upper=upper)


def _plane(model: Model, axis: int, face: int, guess: Guess, temperature: Array) -> Plane:
    faces, of = face_plane(model, axis, face, guess), as_planes(axis, temperature)
    under, over = nodes_of(faces, of, face)
    nothing = np.zeros(under.shape)
    below = of[face - 1] - under if face > 0 else nothing
    above = of[face] - over if face < len(of) else nothing
    drop_lower = np.where((faces.lower > 0.0) & np.isnan(faces.known_lower), below, 0.0)
    drop_upper = np.where((faces.upper > 0.0) & np.isnan(faces.known_upper), above, 0.0)
    through = faces.lower * drop_lower + faces.heat_lower + faces.slope_lower * under
    through = np.where(faces.joint > 0.0, through, 0.0)
    return Plane(axis, face, faces, under, over, drop_lower, drop_upper, through)


def nodes_of(faces: FacePlane, of: Array, face: int) -> tuple[Array, Array]:
    """Values on both sides of a plane of faces; zero where there is no face. of : cells, with its axis first"""
    nothing = np.full(faces.known_lower.shape, np.nan)
    below, above = of[face - 1] if face > 0 else nothing, of[face] if face < len(of) else nothing
    under, over = faces.nodes(below, above)
    return np.nan_to_num(under), np.nan_to_num(over)


def _falls(model: Model, axis: int, guess: Guess, temperature: Array, link: Array) -> tuple[Array, Array]:
    per_half = np.expand_dims(model.grid.face_area(axis), axis) * _per_half_width(model, axis)
    low, high = halves(guess.conductivity[axis] * per_half, axis)
    drop = np.diff(temperature, axis=axis) * np.square(link)
    of_lower, of_upper = drop / np.maximum(low, TINY), drop / np.maximum(high, TINY)
    _clear_planes(model, axis, of_lower, of_upper)
    return of_lower, of_upper


def _links(axis: int, slope: Array, falls: tuple[Array, Array], link: Array) -> tuple[Array, Array]:
    low, high = halves(slope, axis)
    return link - low * falls[0], link + high * falls[1]


def _coupling(model: Model, plane: Plane, slope: Array) -> Coupling:
    """`_log_conductivity` of one plane for adjoints of 1 under it and over it, times the slope of each cell."""
    axis, face, of = plane.axis, plane.face, as_planes(plane.axis, slope)
    faces, one = adjoint_faces(model, plane, NOTHING), np.ones(plane.under.shape)
    lower, upper = [], []
    for below, above in ((one, 0.0 * one), (0.0 * one, one)):
        under, over = (np.nan_to_num(node) for node in faces.nodes(below, above))
        lower.append(-of[max(face - 1, 0)] * plane.faces.lower * plane.drop_lower * (below - under))
        upper.append(-of[min(face, len(of) - 1)] * plane.faces.upper * plane.drop_upper * (above - over))
    return Coupling(axis, face, (lower[0], lower[1]), (upper[0], upper[1]))


def halves(cells: NDArray[Any], axis: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """The cells under and those over the inner faces across an axis, as views."""
    low, high = [slice(None)] * 3, [slice(None)] * 3
    low[axis], high[axis] = slice(None, -1), slice(1, None)
    return cells[tuple(low)], cells[tuple(high)]


def _rise(model: Model, axis: int, guess: Guess, temperature: Array, change: Array) -> Rise:
    by_change = np.zeros(change.shape)
    laws = tuple(region.material.laws[axis] for region in model.regions)
    for law in {law for law in laws if law.kinks_C}:
        here = np.array([*(other == law for other in laws), False])[model.region]
        by_reach = law.slope_of_mean_by_reach(guess.temperature[here], 0.5 * np.abs(change[here]))
        by_change[here] = 0.5 * np.sign(change[here]) * by_reach / guess.conductivity[axis][here]
    low, high = halves(guess.conductivity[axis] * _per_half_width(model, axis), axis)
    whole = np.maximum(low + high, TINY)
    lower, upper = low / whole, high / whole
    by_log = lower * upper * np.diff(temperature, axis=axis)
    _clear_planes(model, axis, lower, upper, by_log)
    return Rise(by_change, lower, upper, by_log)


def _per_half_width(model: Model, axis: int) -> Array:
    """One over half the widths of cells along an axis [1/m], to be spread over the other two."""
    shape = [-1 if other == axis else 1 for other in range(3)]
    return np.asarray(2.0 / model.grid.axes[axis].widths.reshape(shape))


def _clear_planes(model: Model, axis: int, *of_faces: Array) -> None:
    """Set values of inner faces to zero on planes where more than conduction between two cells happens."""
    for face in np.flatnonzero(~model.is_plain(axis)).tolist():
        if 0 < face < model.grid.shape[axis]:
            for each in of_faces:
                as_planes(axis, each)[face - 1] = 0.0


def _log_slopes(model: Model, guess: Guess) -> tuple[Array, ...]:
    """For each axis d(ln k)/dT of cells [1/K], at unchanged differences of temperature across them."""
    made: dict[tuple[Law, ...], Array] = {}
    found = []
    for axis in range(3):
        laws = tuple(region.material.laws[axis] for region in model.regions)
        slope = made.get(laws) if guess.reach is None else None
        if slope is None:
            slope = np.zeros(guess.temperature.shape)
            for law in {law for law in laws if not law.is_constant}:
                here = np.array([*(other == law for other in laws), False])[model.region]
                at = guess.temperature[here]
                by_T = law.slope(at) if guess.reach is None else law.slope_of_mean(at, guess.reach[axis][here])
                slope[here] = by_T / guess.conductivity[axis][here]
            made[laws] = slope
        found.append(slope)
    return tuple(found)

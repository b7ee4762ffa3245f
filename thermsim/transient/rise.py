"""A loaded stack as what it rises by over the unheated one: linear, at rest at zero, and exact at both ends.

With T the temperatures, U those of the stack without load and z = T - U, conductivities held at the loaded state,

    C dz/dt + (A - S) z = g,      g = what the sources make at U,      S = how it grows with temperature.

Leakage and radiation bend over temperature. Their secants between U and the loaded steady state take the place of
their curves, so z begins at zero with the power that is made at U, and ends at the steady state itself. In between
the curves lie between these secants and their tangents at the loaded state, which end there too: what comes of one
instead of the other is how far secants may be off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case, Cooling
from thermsim.errors import NotConvergedError
from thermsim.model.assemble import assemble
from thermsim.model.build import Guess, Model
from thermsim.model.physics.face_link import Boundary, Link, Surface
from thermsim.model.physics.heat import FaceSource, VolumeSource
from thermsim.model.powers import scaled_power
from thermsim.solver.coolant import closed
from thermsim.solver.guesses import heated_faces, surfaces
from thermsim.solver.linear import TOLERANCE, prepare, solve

Array = NDArray[np.float64]

Bends = Literal["secant", "tangent"]
Place = tuple[int, float]
REST_K = 1e-7  # [K] to which faces that radiate, and the coolant of a loop, are found without load
MOST_SECANTS = 60  # until they are
SAME_K = 1e-6  # [K] differences of temperature below which a secant is a tangent


@dataclass(frozen=True, eq=False)
class HeldBoundary(Boundary):
    """A boundary as its secant: film (T - start), the film that of a steady state.

    start : temperatures [C] that secants begin at: of every curved plane of faces, by its axis and its place along it
        [m], as they are without load; or the one at which no heat crosses; None for what is linear
    bends : "secant" from there to the steady state, or "tangent" at it
    of_rise : whether temperatures are rises over `start`, so that no heat crosses at zero
    coolant_rise : of the coolant of a loop, where they are
    """

    __eq__ = object.__eq__  # arrays cannot be compared as fields are; each is itself
    __hash__ = object.__hash__
    kind = "held still"
    is_linear = False  # so that it is asked at the temperatures of its faces
    of: Boundary
    start: float | Mapping[Place, Array] | None
    of_rise: bool
    bends: Bends = "secant"
    coolant_rise: float = 0.0

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        raise NotImplementedError("no case describes it")

    def link(self, at: Surface) -> Link:
        if self.start is None:
            own = self.of.link(at)
            return own._replace(known_C=self.coolant_rise, influx=0.0) if self.of_rise else own
        start = self.start if isinstance(self.start, float) else self.start[_place_of(at)]
        tangent, apart = self.of.link(at).film, np.asarray(at.face_C - start)
        risen = self.of.outflow(at) - self.of.outflow(at._replace(face_C=start))
        film = np.where(np.abs(apart) > SAME_K, risen / np.where(np.abs(apart) > SAME_K, apart, 1.0), tangent)
        if not self.of_rise:
            return Link(film, start, 0.0)
        return Link(tangent, 0.0, (tangent - film) * apart) if self.bends == "tangent" else Link(film, 0.0, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return tuple(self.coolant_rise for _ in self.of.known_C) if self.of_rise else self.of.known_C

    @property
    def is_on_loop(self) -> bool:
        return self.of.is_on_loop

    def at_coolant(self, coolant_C: float) -> HeldBoundary:
        if not self.is_on_loop:
            return self
        return (
            replace(self, coolant_rise=coolant_C) if self.of_rise else replace(self, of=self.of.at_coolant(coolant_C))
        )

    @property
    def influx_W_m2(self) -> float:
        return 0.0 if self.of_rise else self.of.influx_W_m2

    @property
    def words(self) -> str:
        return f"{self.of.words}, held still"


def _place_of(at: Surface) -> Place:
    """Axis and place [m] of the plane that some faces lie in: along all other axes they have many places."""
    return next((axis, float(place)) for axis, place in enumerate(at.place) if not isinstance(place, np.ndarray))


def _rest_of(boundary: Boundary) -> float | None:
    """Temperature [C] of a face through which no heat goes, for a boundary that bends over temperature."""
    return None if boundary.is_linear else boundary.carrying_C(0.0, max(boundary.known_C), 1e-9)


@dataclass(frozen=True, eq=False)
class HeldFaceSource(FaceSource):
    """Heat made in a face as its secant: watts + slope z. watts : at the unheated state; slope : (nx, ny) [W/K]"""

    slope: Array

    def made(self, face_C: Array | float) -> Array:
        return self.watts + self.slope * face_C

    def linearised(self, face_C: Array | float) -> tuple[Array, Array | float]:
        """The heat [W] at any temperature of the face: what it was held to, and how fast it grows [W/K]."""
        return self.watts, self.slope


@dataclass(frozen=True, eq=False)
class HeldVolumeSource(VolumeSource):
    """The same of heat made throughout a part."""

    slope: Array

    def made(self, temperature_C: Array) -> Array:
        return self.watts + self.slope * np.nan_to_num(temperature_C[:, :, self.levels])

    def linearised(self, temperature_C: Array) -> tuple[Array, Array | float]:
        """The heat [W] of its cells: what it was held to, and how fast it grows [W/K]."""
        return self.watts, self.slope


@dataclass(frozen=True, eq=False)
class Rise:
    """A loaded steady state and the unheated one, and the linear model between them.

    guess : at which coefficients are held; resting_guess : the same with what cools by radiation as without load
    unheated : (nx, ny, nz) [C], NaN in voids
    resting : the model without load; model : of the rise, all that is known at zero
    """

    guess: Guess
    resting_guess: Guess
    unheated: Array
    resting: Model
    model: Model

    def at_a_kelvin(self) -> tuple[Model, Array]:
        """The stack without load with the coolant of its loop a kelvin warmer, and its temperatures [C]."""
        coolant_C = self.resting.coolant_C
        assert coolant_C is not None  # there is a loop
        return _unheated(replace(self.resting.at_coolant(coolant_C + 1.0), loop=None), self.resting_guess)


def rise_of(model: Model, loaded: Array, guess: Guess, leakage: Bends = "secant", boundaries: Bends = "secant") -> Rise:
    """What a stack rises by, from a steady state `loaded` (nx, ny, nz) [C] whose coefficients are those of `guess`.

    leakage, boundaries : what takes the place of those that bend over temperature
    """
    rests = [_rest_of(one) for one in model.coolings]
    resting, at_rest, unheated = _resting(scaled_power(model, 0.0), _held(model, rests, False), guess)
    begins = {(axis, float(model.grid.axes[axis].faces[face])): at_C for (axis, face), at_C in at_rest.surface.items()}
    of_rise = _held(model, [None if zero is None else begins for zero in rests], True, boundaries)
    faces = [heated_faces(*each) for each in ((resting, unheated, at_rest), (model, loaded, guess))]
    sources = tuple(
        _held_face(source, off, on, leakage) for source, off, on in zip(model.face_sources, *faces, strict=True)
    )
    volumes = tuple(_held_volume(source, unheated, loaded, leakage) for source in model.volume_sources)
    rising = replace(model, coolings=of_rise, face_sources=sources, volume_sources=volumes)
    return Rise(guess, at_rest, unheated, resting, rising)


def _held(
    model: Model, starts: Sequence[float | Mapping[Place, Array] | None], of_rise: bool, bends: Bends = "secant"
) -> tuple[HeldBoundary, ...]:
    return tuple(
        HeldBoundary(one.label, one.face, one, start, of_rise, bends)
        for one, start in zip(model.coolings, starts, strict=True)
    )


def _resting(without: Model, coolings: tuple[Boundary, ...], guess: Guess) -> tuple[Model, Guess, Array]:
    """The stack without load with secants that end there, the guess that has its faces, and its temperatures [C].

    Raises
    ------
    NotConvergedError
    """
    held = replace(without, coolings=coolings)
    for _ in range(MOST_SECANTS):
        resting, unheated = _unheated(held, guess)
        there = surfaces(resting, unheated, guess)
        after = {place: there[place] for place in guess.surface}
        moved = max((float(np.abs(after[place] - guess.surface[place]).max()) for place in after), default=0.0)
        if moved <= REST_K:
            return resting, guess, unheated
        guess = replace(guess, surface=after)
    raise NotConvergedError("temperatures without load do not settle")


def _unheated(resting: Model, guess: Guess) -> tuple[Model, Array]:
    """The stack without load, the coolant of its loop as it is then, and its temperatures [C]."""

    def solved(model: Model, begin: Guess, enough_K: float = 0.0) -> tuple[Array, Guess]:
        stencil = assemble(model, guess)
        if model.even_C is not None:
            return np.where(stencil.solid, model.even_C, np.nan), guess
        state = prepare(stencil, model.may_have_islands)
        return solve(state, stencil.heat, None, TOLERANCE, model.coldest_C).checked().temperature, guess

    if resting.loop is not None:
        without = replace(resting, face_sources=(), volume_sources=())
        resting = resting.at_coolant(closed(without, guess, solved, REST_K)[0])
    return resting, solved(resting, guess)[0]


def _held_face(source: FaceSource, off: Array, on: Array, bends: Bends) -> HeldFaceSource:
    watts, slope = _straight(source, source.made(off), source.made(on), off, on, bends)
    return HeldFaceSource(source.part, source.face, source.side, watts, None, slope)


def _held_volume(source: VolumeSource, off: Array, on: Array, bends: Bends) -> HeldVolumeSource:
    cells = [np.nan_to_num(at[:, :, source.levels]) for at in (off, on)]
    watts, slope = _straight(source, source.made(off), source.made(on), cells[0], cells[1], bends)
    return HeldVolumeSource(source.part, source.levels, watts, None, slope)


def _straight(
    source: FaceSource | VolumeSource, made_off: Array, made_on: Array, off: Array, on: Array, bends: Bends
) -> tuple[Array, Array]:
    """Heat made [W] at the unheated state, and its growth [W/K] up to the loaded one, on a secant or tangent."""
    law = source.leakage
    if law is None:
        return made_off, np.zeros(made_off.shape)
    if bends == "tangent":
        slope = source.watts * law.slope(on)
        return made_on - slope * (on - off), slope
    apart = np.abs(on - off) > SAME_K
    secant = (made_on - made_off) / np.where(apart, on - off, 1.0)
    return made_off, np.where(apart, secant, source.watts * law.slope(off))

"""What happens on the outer faces of a stack, one class a kind.

A kind says how much heat leaves a square metre of a face, see `face_link.py`; a new one is a row of keys in the
vocabulary (`BOUNDARY_KEYS`), a class here, and its place in `KINDS`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import Box, face_box, levels, patch_box, stack_box
from thermsim.case.vocabulary.cooling import LOOP
from thermsim.case.vocabulary.schema import Case, Cooling, Quantity
from thermsim.model.physics.coolant_loop import Loop, warmed_K_W
from thermsim.model.physics.face_link import FIXED_TEMPERATURE_FILM, Boundary, Link, Surface
from thermsim.rounding import celsius
from thermsim.units import MM, W_MM2, ZERO_CELSIUS_K

Array = NDArray[np.float64]

STEFAN_BOLTZMANN = 5.670374419e-8  # [W/m2K4] CODATA 2018, exact in the SI


@dataclass(frozen=True)
class FilmBoundary(Boundary):
    """A film to a fluid: Newton's law of cooling."""

    kind = "film"
    film: float
    fluid: float
    is_on_loop: bool = False

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        return cls(entry.label, entry.face, _value(entry.film_W_m2K), _fluid_C(case, entry), entry.on_loop)

    def at_coolant(self, coolant_C: float) -> FilmBoundary:
        return replace(self, fluid=coolant_C) if self.is_on_loop else self

    def link(self, at: Surface) -> Link:
        return Link(self.film, self.fluid, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return (self.fluid,)

    @property
    def film_W_m2K(self) -> float:
        return self.film

    @property
    def words(self) -> str:
        return f"{self.film:g} W/m2K, {_named(self.fluid, self.is_on_loop)}"


@dataclass(frozen=True)
class FixedBoundary(Boundary):
    """A face that is held at a temperature."""

    kind = "fixed temperature"
    holds = True
    temperature: float

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        return cls(entry.label, entry.face, _value(entry.temperature_C))

    def link(self, at: Surface) -> Link:
        return Link(FIXED_TEMPERATURE_FILM, self.temperature, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return (self.temperature,)

    @property
    def words(self) -> str:
        return f"held at {celsius(self.temperature)} C"


@dataclass(frozen=True)
class GradedBoundary(Boundary):
    """A face that is held at a temperature which changes evenly along an axis, from one edge of the area to the other.

    low, high : temperatures [C] at the places [m] along `axis` that `span` gives in the same order
    """

    kind = "graded temperature"
    is_even = False
    holds = True
    low: float
    high: float
    axis: int
    span: tuple[float, float]

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        assert entry.towards is not None  # it is one of the keys of this kind
        axis = "xyz".index(entry.towards[1])
        ends = _extent_mm(case, entry)[axis]
        low, high = ends if entry.towards[0] == "+" else ends[::-1]
        span = (MM * low, MM * high)
        return cls(entry.label, entry.face, _value(entry.low_C), _value(entry.high_C), axis, span)

    def link(self, at: Surface) -> Link:
        start, end = self.span
        share = np.clip((np.asarray(at.place[self.axis]) - start) / (end - start), 0.0, 1.0)
        return Link(FIXED_TEMPERATURE_FILM, self.low + (self.high - self.low) * share, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return (self.low, self.high)

    @property
    def words(self) -> str:
        return f"held at {celsius(self.low)} to {celsius(self.high)} C"


@dataclass(frozen=True)
class FluxBoundary(Boundary):
    """A heat flux into the stack."""

    kind = "flux"
    is_prescribed = True
    flux_W_m2: float

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        return cls(entry.label, entry.face, W_MM2 * _value(entry.flux_W_mm2))

    def link(self, at: Surface) -> Link:
        return Link(0.0, 0.0, self.flux_W_m2)

    @property
    def words(self) -> str:
        return f"{self.flux_W_m2 / W_MM2:g} W/mm2 inwards"


@dataclass(frozen=True)
class RadiationBoundary(Boundary):
    """Heat radiation of a grey face to a large room: q = emissivity sigma (T^4 - T_room^4), in kelvin.

    Source: Incropera et al., Fundamentals of Heat and Mass Transfer, section 1.2.3 (small surface, large enclosure).
    """

    kind = "radiation"
    is_linear = False
    emissivity: float
    room: float

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        return cls(entry.label, entry.face, _value(entry.emissivity), _value(entry.room_C))

    def link(self, at: Surface) -> Link:
        face_K = np.maximum(np.asarray(at.face_C) + ZERO_CELSIUS_K, 1.0)  # an iterate may stray, a tangent not end
        sent = self.emissivity * STEFAN_BOLTZMANN
        film = 4.0 * sent * face_K**3
        outflow = sent * (face_K**4 - (self.room + ZERO_CELSIUS_K) ** 4)
        return Link(film, face_K - ZERO_CELSIUS_K - outflow / film, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return (self.room,)

    @property
    def words(self) -> str:
        return f"radiates, emissivity {self.emissivity:g}, to {celsius(self.room)} C"


@dataclass(frozen=True)
class FilmAndRadiationBoundary(Boundary):
    """Both from one face; `fluid_C` is that of the fluid."""

    kind = "film and radiation"
    is_linear = False
    by_film: FilmBoundary
    by_radiation: RadiationBoundary

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        return cls(entry.label, entry.face, FilmBoundary.read(case, entry), RadiationBoundary.read(case, entry))

    def link(self, at: Surface) -> Link:
        one, other = self.by_film.link(at), self.by_radiation.link(at)
        film = one.film + other.film
        return Link(film, (one.film * one.known_C + other.film * other.known_C) / film, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return (*self.by_film.known_C, *self.by_radiation.known_C)

    @property
    def fluid_C(self) -> float:
        return self.by_film.fluid

    @property
    def words(self) -> str:
        return f"{self.by_film.words}; {self.by_radiation.words}"


@dataclass(frozen=True)
class CoolerBoundary(Boundary):
    """A cooler that is known by its resistance to a fluid, spread evenly over the area A that it wets.

    film = 1 / (R A), so that all of the heat Q lifts the mean of the faces by R Q above the fluid. With a flow V in one
    pass the fluid is the coolant where it comes in, and to R comes half of what the flow is warmed by a watt,

        R + 1 / (2 rho c V):        mean coolant - inlet = Q / (2 rho c V).

    Where more heat leaves a place the coolant there is warmer in proportion: so the balance stays linear and local, and
    all of the heat, and the mean coolant, are those of the whole pass. rho c is the catalogue's.
    Source: the heat balance of a pass, Incropera et al., section 8.3.1, with the mean of inlet and outlet.

    resistance, of_flow : R and 1 / (2 rho c V) [K/W], of_flow 0 without a flow; area : [m2], None before it is known
    """

    kind = "cooler"
    resistance: float
    of_flow: float
    fluid: float
    area: float | None = None
    is_on_loop: bool = False

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        fluid = _fluid_C(case, entry)
        return cls(entry.label, entry.face, _value(entry.cooler_K_W), 0.0, fluid, is_on_loop=entry.on_loop)

    def at_coolant(self, coolant_C: float) -> CoolerBoundary:
        return replace(self, fluid=coolant_C) if self.is_on_loop else self

    def over(self, area_m2: float) -> CoolerBoundary:
        return replace(self, area=area_m2)

    @property
    def film(self) -> float:
        """Film coefficient to what is known [W/m2K]; 0 where the entry finds nothing to act on."""
        assert self.area is not None  # who asks for a film has a grid, or areas
        return 1.0 / ((self.resistance + self.of_flow) * self.area) if self.area > 0.0 else 0.0

    def link(self, at: Surface) -> Link:
        return Link(self.film, self.fluid, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return (self.fluid,)

    @property
    def film_W_m2K(self) -> float | None:
        return None if self.area is None else self.film

    @property
    def words(self) -> str:
        return f"{self.resistance:g} K/W, {_named(self.fluid, self.is_on_loop)}"


@dataclass(frozen=True)
class CoolerWithFlowBoundary(CoolerBoundary):
    """The same with a flow of coolant; the fluid is known where it comes in."""

    kind = "cooler with flow"
    flow_l_min: float = 0.0

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        flow, inlet = _value(entry.flow_l_min), _value(entry.inlet_C)
        half = 0.5 * warmed_K_W(flow, entry.coolant)
        return cls(entry.label, entry.face, _value(entry.cooler_K_W), half, inlet, flow_l_min=flow)

    @property
    def share_of_flow(self) -> float:
        return self.of_flow / (self.resistance + self.of_flow)

    @property
    def words(self) -> str:
        return f"{self.resistance:g} K/W, {self.flow_l_min:g} l/min from {celsius(self.fluid)} C"


@dataclass(frozen=True)
class UnheatedBoundary(Boundary):
    """Another boundary as a difference of temperatures sees it: everything known is zero, no heat enters."""

    kind = "unheated"
    of: Boundary

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        raise NotImplementedError("no case describes it")

    def link(self, at: Surface) -> Link:
        return Link(self.of.link(at).film, 0.0, 0.0)

    @property
    def known_C(self) -> tuple[float, ...]:
        return tuple(0.0 for _ in self.of.known_C)

    @property
    def words(self) -> str:
        return f"{self.of.words}, without heat"


KINDS: dict[str, type[Boundary]] = {
    one.kind: one
    for one in (
        FilmBoundary,
        FixedBoundary,
        GradedBoundary,
        FluxBoundary,
        RadiationBoundary,
        FilmAndRadiationBoundary,
        CoolerBoundary,
        CoolerWithFlowBoundary,
    )
}


def boundary_of(case: Case, entry: Cooling) -> Boundary:
    """The boundary that one entry of `cooling` describes."""
    made = KINDS[entry.kind].read(case, entry)
    alike = [other for other in case.cooling if other.label == entry.label]
    if len(alike) < 2:
        return made
    # Entries of one face without a name are told apart by the address that an option or a sweep takes.
    place = next(number for number, other in enumerate(alike) if other is entry)
    return replace(made, label=f"cooling.{entry.label}.{place}")


def unheated(boundary: Boundary) -> Boundary:
    """The same film without a known temperature or heat of its own."""
    return UnheatedBoundary(boundary.label, boundary.face, boundary)


def _value(given: Quantity | None) -> float:
    assert given is not None  # the schema wants every key of a kind
    return given.value


def _fluid_C(case: Case, entry: Cooling) -> float:
    """Of a fluid; where it is the coolant of the loop, as if no heat came from the stack, until that is solved for."""
    if not entry.on_loop:
        return _value(entry.fluid_C)
    loop = Loop.of(case)
    assert loop is not None  # the reader has seen to it
    return loop.still_C


def _named(fluid_C: float, is_on_loop: bool) -> str:
    return LOOP if is_on_loop else f"{celsius(fluid_C)} C"


def _extent_mm(case: Case, entry: Cooling) -> tuple[tuple[float, float], ...]:
    """From where to where an entry reaches along x, y and z [mm]."""
    x0, y0, x1, y1 = stack_box(case)
    found = [(x0, x1), (y0, y1), (0.0, levels(case)[-1][1])]
    if entry.face == "exposed":
        return tuple(found)
    box: Box = patch_box(case, entry) or face_box(case, entry.face)
    across = {"left": 0, "right": 0, "front": 1, "back": 1}.get(entry.face, 2)
    for place, axis in enumerate(axis for axis in range(3) if axis != across):
        found[axis] = (box[place], box[place + 2])
    return tuple(found)

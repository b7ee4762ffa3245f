"""Steady one-dimensional stacks, exact: layers, joints and heated planes between two ends.

Along x the flux q [W/m2] (positive from the first end to the last) and the temperature T [C] obey

    layer  (t, k, q''')   T <- T - q t/k - q''' t^2/(2k),   q <- q + q''' t
    joint  R''            T <- T - q R''
    plane  q''            q <- q + q''

and at an end with a film, q = h (T_fluid - T_face) into the stack. All of it is linear in the flux at
the first end, so two ends fix it. Source: Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and
Mass Transfer, 6th ed., ch. 3 (thermal resistances in series, plane wall with generation).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from thermsim.errors import NoWayOutError


@dataclass(frozen=True)
class Layer:
    """A layer of the slab with heat made evenly in it."""

    thickness_m: float
    conductivity_W_mK: float
    heat_W_m3: float = 0.0


@dataclass(frozen=True)
class Joint:
    """A thin resistance between two layers."""

    resistance_m2K_W: float


@dataclass(frozen=True)
class HeatedPlane:
    """A plane between two layers in which heat is made."""

    flux_W_m2: float


@dataclass(frozen=True)
class End:
    """Film to a fluid; `film_W_m2K` 0 is insulated, inf holds the face at `fluid_C`."""

    film_W_m2K: float
    fluid_C: float = 0.0

    @property
    def resistance(self) -> float:
        """Resistance [m2 K/W] of the film; endless where there is none."""
        return math.inf if self.film_W_m2K == 0.0 else 1.0 / self.film_W_m2K


INSULATED = End(0.0)
Element = Layer | Joint | HeatedPlane


@dataclass(frozen=True)
class SlabSolution:
    """Values between the elements, from the first end to the last: one more than there are elements."""

    elements: tuple[Element, ...]
    face_C: tuple[float, ...]
    flux_W_m2: tuple[float, ...]  # positive towards the last end

    def inside_C(self, element: int, depth_m: float) -> float:
        """Temperature [C] at `depth_m` behind the first face of the layer with this index."""
        layer = self.elements[element]
        if not isinstance(layer, Layer):
            raise TypeError(f"element {element} is not a layer")
        part = Layer(depth_m, layer.conductivity_W_mK, layer.heat_W_m3)
        return _pass(part, self.face_C[element], self.flux_W_m2[element])[0]


def solve_slab(first: End, elements: Sequence[Element], last: End) -> SlabSolution:
    """Temperatures and fluxes of a stack between two ends; raises NoWayOutError if both are insulated."""
    flux = _first_flux(first, elements, last)
    if first.film_W_m2K > 0.0:
        start = first.fluid_C - flux * first.resistance
    else:
        heat, drop, resistance = _totals(elements)
        start = last.fluid_C + heat * last.resistance + drop + flux * resistance
    faces, fluxes = [start], [flux]
    for element in elements:
        temperature, flux = _pass(element, faces[-1], fluxes[-1])
        faces.append(temperature)
        fluxes.append(flux)
    return SlabSolution(tuple(elements), tuple(faces), tuple(fluxes))


def _first_flux(first: End, elements: Sequence[Element], last: End) -> float:
    heat, drop, resistance = _totals(elements)
    if first.film_W_m2K == 0.0 and last.film_W_m2K == 0.0:
        raise NoWayOutError("both ends of the stack are insulated", "give one end a film or a temperature")
    if first.film_W_m2K == 0.0:
        return 0.0
    if last.film_W_m2K == 0.0:
        return -heat
    through = first.fluid_C - last.fluid_C - drop - heat * last.resistance
    return through / (first.resistance + resistance + last.resistance)


def _totals(elements: Sequence[Element]) -> tuple[float, float, float]:
    """Heat given off [W/m2], drop at zero first flux [K], resistance [m2 K/W] of the whole stack."""
    minus_drop, heat = 0.0, 0.0
    resistance = 0.0
    for element in elements:
        minus_drop, heat = _pass(element, minus_drop, heat)
        if isinstance(element, Layer):
            resistance += element.thickness_m / element.conductivity_W_mK
        elif isinstance(element, Joint):
            resistance += element.resistance_m2K_W
    return heat, -minus_drop, resistance


def _pass(element: Element, temperature: float, flux: float) -> tuple[float, float]:
    """Temperature and flux behind an element from those before it."""
    if isinstance(element, Layer):
        t, k, heat = element.thickness_m, element.conductivity_W_mK, element.heat_W_m3
        return temperature - flux * t / k - heat * t * t / (2.0 * k), flux + heat * t
    if isinstance(element, Joint):
        return temperature - flux * element.resistance_m2K_W, flux
    return temperature, flux + element.flux_W_m2

"""Fins: efficiency and tip temperature of one-dimensional theory.

Source: Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed., section 3.6.
"""

from __future__ import annotations

import math

SHORT = 1e-18  # value of (m r)^2 below which the efficiency is 1 to double precision
# Width of a ring times m, below which the Bessel functions cancel and Gauss-Legendre quadrature serves; its points.
NARROW, NODES = 4.0, 24


def fin_parameter(thickness: float, conductivity: float, film: float) -> float:
    """m = sqrt(2h/(k t)) [1/m] of a wide straight fin wetted on both sides; t [m], k [W/mK], h [W/m2K]."""
    return math.sqrt(2.0 * film / (conductivity * thickness))


def straight_fin_tip(
    length: float, thickness: float, conductivity: float, film: float, wetted_tip: bool = False
) -> float:
    """Tip rise over base rise: 1/(cosh mL + (h/mk) sinh mL), without the second term if the tip is adiabatic."""
    reach = fin_parameter(thickness, conductivity, film) * length
    tip = math.sqrt(film * thickness / (2.0 * conductivity)) if wetted_tip else 0.0  # h/(m k)
    fall = math.exp(-2.0 * reach)
    return 2.0 * math.exp(-reach) / (1.0 + fall + tip * (1.0 - fall))


def long_rod_heat(diameter: float, conductivity: float, film: float, base_rise: float) -> float:
    """Heat [W] into a round rod without end whose base is `base_rise` [K] over the fluid: sqrt(h P k A) theta."""
    perimeter, area = math.pi * diameter, math.pi * diameter**2 / 4.0
    return math.sqrt(film * perimeter * conductivity * area) * base_rise

"""Fins: efficiency and tip temperature of one-dimensional theory.

Source: Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed., section 3.6.
"""

from __future__ import annotations

import math


def fin_parameter(thickness: float, conductivity: float, film: float) -> float:
    """m = sqrt(2h/(k t)) [1/m] of a wide straight fin wetted on both sides; t [m], k [W/mK], h [W/m2K]."""
    return math.sqrt(2.0 * film / (conductivity * thickness))


def straight_fin_efficiency(length: float, thickness: float, conductivity: float, film: float) -> float:
    """Heat over that of a fin at base temperature throughout, adiabatic tip: tanh(mL)/(mL)."""
    reach = fin_parameter(thickness, conductivity, film) * length
    return math.tanh(reach) / reach


def straight_fin_tip(
    length: float, thickness: float, conductivity: float, film: float, wetted_tip: bool = False
) -> float:
    """Tip rise over base rise: 1/(cosh mL + (h/mk) sinh mL), without the second term if the tip is adiabatic."""
    m = fin_parameter(thickness, conductivity, film)
    tip = film / (m * conductivity) if wetted_tip else 0.0
    return 1.0 / (math.cosh(m * length) + tip * math.sinh(m * length))


def annular_fin_efficiency(inner: float, outer: float, thickness: float, conductivity: float, film: float) -> float:
    """Efficiency of an annular fin of radii r1 < r2 [m]; its tip is counted by r2c = r2 + t/2.

    eta = 2 r1/(m (r2c^2 - r1^2)) [K1(m r1) I1(m r2c) - I1(m r1) K1(m r2c)]
                                / [I0(m r1) K1(m r2c) + K0(m r1) I1(m r2c)]
    """
    from scipy.special import i0, i1, k0, k1

    m = fin_parameter(thickness, conductivity, film)
    corrected = outer + thickness / 2.0
    r, c = m * inner, m * corrected
    shape = (k1(r) * i1(c) - i1(r) * k1(c)) / (i0(r) * k1(c) + k0(r) * i1(c))
    return float(2.0 * inner / (m * (corrected**2 - inner**2)) * shape)


def long_rod_heat(diameter: float, conductivity: float, film: float, base_rise: float) -> float:
    """Heat [W] into a round rod without end whose base is `base_rise` [K] over the fluid: sqrt(h P k A) theta."""
    perimeter, area = math.pi * diameter, math.pi * diameter**2 / 4.0
    return math.sqrt(film * perimeter * conductivity * area) * base_rise

"""Fins: efficiency and tip temperature of one-dimensional theory.

Source: Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed., section 3.6.
"""

from __future__ import annotations

import math

import numpy as np

SHORT = 1e-18  # value of (m r)^2 below which the efficiency is 1 to double precision
# Width of a ring times m, below which the Bessel functions cancel and Gauss-Legendre quadrature serves; its points.
NARROW, NODES = 4.0, 24


def fin_parameter(thickness: float, conductivity: float, film: float) -> float:
    """m = sqrt(2h/(k t)) [1/m] of a wide straight fin wetted on both sides; t [m], k [W/mK], h [W/m2K]."""
    return math.sqrt(2.0 * film / (conductivity * thickness))


def straight_fin_efficiency(length: float, thickness: float, conductivity: float, film: float) -> float:
    """Heat over that of a fin at base temperature throughout, adiabatic tip: tanh(mL)/(mL)."""
    reach = fin_parameter(thickness, conductivity, film) * length
    return math.tanh(reach) / reach if reach > 0.0 else 1.0


def straight_fin_tip(
    length: float, thickness: float, conductivity: float, film: float, wetted_tip: bool = False
) -> float:
    """Tip rise over base rise: 1/(cosh mL + (h/mk) sinh mL), without the second term if the tip is adiabatic."""
    reach = fin_parameter(thickness, conductivity, film) * length
    tip = math.sqrt(film * thickness / (2.0 * conductivity)) if wetted_tip else 0.0  # h/(m k)
    fall = math.exp(-2.0 * reach)
    return 2.0 * math.exp(-reach) / (1.0 + fall + tip * (1.0 - fall))


def annular_fin_efficiency(inner: float, outer: float, thickness: float, conductivity: float, film: float) -> float:
    """Efficiency of an annular fin of radii r1 < r2 [m]; its tip is counted by r2c = r2 + t/2.

    eta = 2 r1/(m (r2c^2 - r1^2)) [K1(m r1) I1(m r2c) - I1(m r1) K1(m r2c)]
                                / [I0(m r1) K1(m r2c) + K0(m r1) I1(m r2c)]
    The functions are scaled, with exp(m (r2c - r1)) taken out of both, so that nothing overflows. On a narrow ring the
    difference above cancels; it is summed as the integral of its slope.
    """
    from scipy.special import i0e, i1e, k0e, k1e

    m = fin_parameter(thickness, conductivity, film)
    width = outer - inner + thickness / 2.0
    r, step = m * inner, m * width
    if step * step < SHORT and r * step < SHORT:  # the first term left out is a few times m^2 width^2
        return 1.0
    c = r + step
    fall = math.exp(-2.0 * step)
    above = _narrow_ring(r, step) if step < min(r, NARROW) else k1e(r) * i1e(c) - i1e(r) * k1e(c) * fall
    shape = above / (i0e(r) * k1e(c) * fall + k0e(r) * i1e(c))
    return float(2.0 * r / (step * (r + c)) * shape)


def _narrow_ring(r: float, step: float) -> float:
    """K1(r) I1(c) - I1(r) K1(c) over exp(step), c = r + step, as the integral of its derivative by c, all positive."""
    from scipy.special import i0e, i1e, k0e, k1e

    points, weights = np.polynomial.legendre.leggauss(NODES)
    s = r + step / 2.0 * (1.0 + points)
    rising = k1e(r) * (i0e(s) - i1e(s) / s) * np.exp(s - r - step)
    falling = i1e(r) * (k0e(s) + k1e(s) / s) * np.exp(r - s - step)
    return float(step / 2.0 * np.sum(weights * (rising + falling)))


def long_rod_heat(diameter: float, conductivity: float, film: float, base_rise: float) -> float:
    """Heat [W] into a round rod without end whose base is `base_rise` [K] over the fluid: sqrt(h P k A) theta."""
    perimeter, area = math.pi * diameter, math.pi * diameter**2 / 4.0
    return math.sqrt(film * perimeter * conductivity * area) * base_rise

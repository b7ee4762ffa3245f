"""A heated disc on a round stack: the exact series, and the approximation of Lee, Song, Au and Moran."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0, j1

from thermsim.proof.closed_form.flux_channel import ChannelLayer, one_side_admittance

Array = NDArray[np.float64]


class DiscResistance(NamedTuple):
    """Over the fluid below the film [K/W]."""

    mean: float
    highest: float


def equivalent_radius(size_x: float, size_y: float) -> float:
    """Radius of the disc of the same area [m]."""
    return math.sqrt(size_x * size_y / math.pi)


def disc_on_stack(
    source_radius: float, plate_radius: float, layers: tuple[ChannelLayer, ...], film: float, terms: int = 20_000
) -> DiscResistance:
    """Disc of uniform flux, radius a, centred on a round stack of radius b with an adiabatic rim.

    R_mean = 1/(pi b^2 Y(0)) + sum 4 J1(d a)^2/(pi a^2 b^2 d^2 J0(d b)^2 Y(d)),   J1(d b) = 0
    R_max  = the same with one factor 2 J1(d a)/(d a) left out
    Terms fall as n^-3 (mean) and, changing sign, n^-2 (centre). Source: Yovanovich, Tien, Schneider,
    AIAA 80-4 (1980), from memory; Y as in `flux_channel`.
    """
    a, b = source_radius, plate_radius
    wave = _zeros_of_j1(terms) / b
    admittance = one_side_admittance(layers, film, wave)
    uniform = 1.0 / (math.pi * b * b * float(one_side_admittance(layers, film, np.zeros(1))[0]))
    centre = 2.0 * j1(wave * a) / (math.pi * a * b * b * wave * j0(wave * b) ** 2 * admittance)
    mean = centre * 2.0 * j1(wave * a) / (wave * a)
    return DiscResistance(uniform + float(np.sum(mean)), uniform + float(np.sum(centre)))


def lee_song_au_moran(
    source_area: float, plate_area: float, thickness: float, conductivity: float, outer_resistance: float
) -> DiscResistance:
    """One plate, source and plate taken as discs; areas [m2], `outer_resistance` R0 = 1/(h A_plate) [K/W].

    lam = pi + 1/(sqrt(pi) eps), phi = (tanh(lam tau) + lam/Bi)/(1 + (lam/Bi) tanh(lam tau)),
    R_s,max = (1 - eps) phi/(pi k a), R_s,mean = (1 - eps)^1.5 phi/(2 sqrt(pi) k a),
    with eps = a/b, tau = t/b, Bi = 1/(pi k b R0). A sanity band of 10 %, not a reference.
    Source: Lee, Song, Au, Moran, ASME/JSME Thermal Engineering Conf. 4 (1995) 199, from memory.
    """
    a, b = math.sqrt(source_area / math.pi), math.sqrt(plate_area / math.pi)
    eps, tau = a / b, thickness / b
    lam = math.pi + 1.0 / (math.sqrt(math.pi) * eps)
    outer = lam * math.pi * conductivity * b * outer_resistance
    phi = (math.tanh(lam * tau) + outer) / (1.0 + outer * math.tanh(lam * tau))
    straight = thickness / (conductivity * plate_area) + outer_resistance
    highest = (1.0 - eps) * phi / (math.pi * conductivity * a)
    mean = (1.0 - eps) ** 1.5 * phi / (2.0 * math.sqrt(math.pi) * conductivity * a)
    return DiscResistance(straight + mean, straight + highest)


def _zeros_of_j1(count: int) -> Array:
    """First positive zeros of J1: McMahon's expansion (Abramowitz and Stegun 9.5.12), then Newton's steps."""
    beta = (np.arange(1, count + 1) + 0.25) * np.pi
    zero = beta - 3.0 / (8.0 * beta) + 36.0 / (3.0 * (8.0 * beta) ** 3)
    for _ in range(3):
        zero = zero - j1(zero) / (j0(zero) - j1(zero) / zero)
    return np.asarray(zero)

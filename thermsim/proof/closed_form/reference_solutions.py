"""The closed forms of the table of references, with the numbers of its case files put in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.proof.closed_form.discs import lee_song_au_moran
from thermsim.proof.closed_form.fins import long_rod_heat, straight_fin_tip
from thermsim.proof.closed_form.flux_channel import (
    Channel,
    ChannelLayer,
    Rectangle,
    influence_matrix,
    mean_rise,
    point_rise,
    strip,
    strip_channel,
    uniform_rise,
)
from thermsim.proof.closed_form.half_space import rectangle_centre, rectangle_corner, rectangle_mean, rectangle_point
from thermsim.proof.closed_form.iso10211 import square_column, square_column_variable
from thermsim.proof.closed_form.nonlinear import (
    Leakage,
    leakage_balance,
    linear_law_slab_inside,
    linear_leakage_temperature,
    power_law_slab_top,
)
from thermsim.proof.closed_form.slab import End, HeatedPlane, Joint, Layer, solve_slab

Array = NDArray[np.float64]

KELVIN = 273.15


# ---- in series --------------------------------------------------------------------------------------------------


def chip(what: str) -> float:
    """Chip [C], or heat up or down [W/m2], of chip-epoxy-aluminium.yaml."""
    film = End(100.0, 25.0)
    found = solve_slab(film, [Layer(8e-3, 239.0), Joint(89e-6), Layer(1e-4, 100.0), HeatedPlane(1e4)], film)
    return {"chip": found.face_C[-1], "up": found.flux_W_m2[-1], "down": -found.flux_W_m2[0]}[what]


def silicon(flux: float, thickness: float, cold_K: float, exponent: float) -> float:
    """Heated face [C] of silicon-slab.yaml."""
    return power_law_slab_top(flux, thickness, cold_K, 148.0, 300.0, exponent) - KELVIN


def silicon_conductivity(temperature_K: float, exponent: float) -> float:
    """k [W/mK] of silicon-slab.yaml."""
    return float(148.0 * (300.0 / temperature_K) ** exponent)


def linear_middle() -> float:
    """Middle [C] of linear-slab.yaml."""
    return linear_law_slab_inside(0.5, 400.0, 300.0, 300.0, 1e-3) - KELVIN


# ---- leakage ----------------------------------------------------------------------------------------------------

COOLANT, PATH, STAYS, GROWS, SET, DOUBLING = 30.0, 0.25, 150.0, 20.0, 60.0, 20.0


def leaking_die() -> float:
    """Temperature [C] of a die whose leakage doubles every so many kelvin."""
    return leakage_balance(COOLANT, PATH, STAYS, Leakage.doubling(GROWS, SET, DOUBLING)).stable_C


def leakage_power() -> float:
    """Its leakage [W] at that temperature."""
    return leakage_balance(COOLANT, PATH, STAYS, Leakage.doubling(GROWS, SET, DOUBLING)).leakage_W


def linear_leakage() -> float:
    """Temperature [C] of the same die where the leakage grows along a line."""
    return linear_leakage_temperature(COOLANT, PATH, STAYS, GROWS, SET, math.log(2.0) / DOUBLING)


def power_limit(resistance: float) -> float:
    """Largest power [W] at SET, both kinds scaled alike, that still has a steady state: A = 1/e, see `nonlinear`."""
    from scipy.optimize import brentq

    slope = DOUBLING / math.log(2.0)

    def beyond(share: float) -> float:
        grows = math.log(resistance * share * GROWS / slope)
        return grows + (COOLANT + resistance * share * STAYS - SET) / slope + 1.0

    return float(brentq(beyond, 1e-12, 10.0, xtol=1e-300)) * (STAYS + GROWS)


# ---- half space -------------------------------------------------------------------------------------------------


def on_half_space(ratio: float, place: str) -> float:
    """k sqrt(A) R of an isoflux rectangle 1 : ratio, at a place."""
    a, b = math.sqrt(ratio), 1.0 / math.sqrt(ratio)
    if place == "mean":
        return rectangle_mean(a, b, 1.0)
    if place == "mid-edge":
        return rectangle_point(a, b, 1.0, a, b / 2.0)
    return rectangle_corner(a, b, 1.0) if place == "corner" else rectangle_centre(a, b, 1.0)


@cache
def on_block(ratio: float, place: str) -> float:
    """The same on the block of half-space-square.yaml: insulated sides, a cold base. Exact for the very case."""
    body = Channel(0.02, 0.02, (ChannelLayer(12.425571e-3, 100.0, 100.0),), math.inf)
    side = math.sqrt(ratio)
    patch = Rectangle(0.01, 0.01, 2e-3 * side, 2e-3 / side)
    x, y = {"centre": (0.0, 0.0), "mid-edge": (0.5, 0.0), "corner": (0.5, 0.5)}.get(place, (0.0, 0.0))
    if place == "mean":
        rise = mean_rise(body, patch).value
    else:
        rise = point_rise(body, patch, 0.01 + x * patch.size_x, 0.01 + y * patch.size_y).value
    return 100.0 * 2e-3 * rise


# ---- plates with adiabatic edges, 40 x 40 mm unless said ------------------------------------------------------------


@dataclass(frozen=True)
class Plate:
    """A channel and its source; both rises per watt are summed once."""

    channel: Channel
    source: Rectangle

    @cached_property
    def _mean(self) -> float:
        return mean_rise(self.channel, self.source).value

    @cached_property
    def _centre(self) -> float:
        return point_rise(self.channel, self.source, self.source.centre_x, self.source.centre_y).value

    def mean(self) -> float:
        """Mean rise of the source [K/W]."""
        return self._mean

    def centre(self) -> float:
        """Rise at its centre [K/W]."""
        return self._centre


def plate(
    layers: tuple[ChannelLayer, ...] = (ChannelLayer(3e-3, 390.0, 390.0),),
    film: float = 5000.0,
    x: float = 20.0,
    y: float = 20.0,
    size_x: float = 10.0,
    size_y: float = 10.0,
) -> Plate:
    """A plate; centre and size of the source in mm."""
    return Plate(Channel(0.04, 0.04, layers, film), Rectangle(1e-3 * x, 1e-3 * y, 1e-3 * size_x, 1e-3 * size_y))


orthotropic = plate((ChannelLayer(1e-3, 1500.0, 8.0),))
compound = plate((ChannelLayer(3e-3, 390.0, 390.0), ChannelLayer(5e-5, 4.0, 4.0)), film=20_000.0)


def plate_floor() -> float:
    """Rise per watt of the plate heated all over [K/W]."""
    return uniform_rise(plate().channel)


def device(in_plane: float = 386.0) -> float:
    """Rise per watt of the device of transistors-on-a-plate.yaml [K/W]."""
    side = math.sqrt(8e-4)
    channel = Channel(0.1, 0.1, (ChannelLayer(0.01, in_plane, 386.0),), 25.0)
    return mean_rise(channel, Rectangle(0.05, 0.05, side, side)).value


def lee_mean() -> float:
    """Mean resistance [K/W] from a small source through a plate of metal to a film."""
    return lee_song_au_moran(1e-4, 16e-4, 3e-3, 390.0, 1 / (5000 * 16e-4)).mean


def lee_highest() -> float:
    """Highest resistance [K/W] of the same source."""
    return lee_song_au_moran(1e-4, 16e-4, 3e-3, 390.0, 1 / (5000 * 16e-4)).highest


@cache
def _matrix() -> Array:
    pair = (Rectangle(0.010, 0.012, 0.008, 0.008), Rectangle(0.028, 0.025, 0.006, 0.010))
    return influence_matrix(plate().channel, pair).value


def mutual(seen: int, heated: int) -> float:
    """Rise of one source per watt in another [K/W]; 0 is A, 1 is B."""
    return float(_matrix()[seen, heated])


def both(seen: int) -> float:
    """Rise [K] with 60 W in A and 40 W in B."""
    return float(_matrix()[seen] @ np.array([60.0, 40.0]))


@cache
def _three_layers() -> Array:
    layers = (
        ChannelLayer(0.8e-3, 120.0, 120.0, 4e-6),
        ChannelLayer(0.5e-3, 900.0, 12.0, 8e-6),
        ChannelLayer(3e-3, 390.0, 390.0),
    )
    pair = (Rectangle(0.0115, 0.0145, 0.009, 0.007), Rectangle(0.025, 0.008, 0.010, 0.006))
    matrix = influence_matrix(Channel(0.036, 0.030, layers, 12_000.0), pair).value
    return np.asarray(matrix @ np.array([80.0, 20.0]))


def three_layers(seen: int) -> float:
    """Rise [K] of the zones of spreading-three-layers.yaml: 0 is `core`, 1 is `beside`."""
    return float(_three_layers()[seen])


def _strip() -> Channel:
    return strip_channel(0.04, (ChannelLayer(3e-3, 390.0, 390.0),), 5000.0)


def strip_mean() -> float:
    """[mK m/W]"""
    return 1e3 * mean_rise(_strip(), strip(0.02, 0.01)).value


def strip_centre() -> float:
    """[mK m/W]"""
    return 1e3 * point_rise(_strip(), strip(0.02, 0.01), 0.02).value


# ---- fins, the square column --------------------------------------------------------------------------------------


def fin_tip(wetted: bool) -> float:
    """Tip [K] of fin.yaml with its foot at 100 K."""
    return 100.0 * straight_fin_tip(0.03, 1e-3, 200.0, 60.0, wetted)


def rod(conductivity: float) -> float:
    """Heat [W] of the round rod that long-rod.yaml stands for."""
    return long_rod_heat(5e-3, conductivity, 100.0, 75.0)


def square(x: int, depth: int, growth: float) -> float:
    """Point of iso-10211-case-1.yaml [C], in eighths of the side."""
    if growth == 0.0:
        return square_column(x / 8, depth / 8)
    return square_column_variable(x / 8, depth / 8, growth)

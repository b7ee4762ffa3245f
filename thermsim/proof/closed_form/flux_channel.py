"""The rectangular flux channel: steady rise of heated rectangles on a stack of layers, to many digits.

A plate a x b with adiabatic edges carries any number of layers; sources sit in one plane; below them
(and, if asked, above them) layers and joints lead to a film. With lambda = m pi/a, delta = n pi/b and
zeta = sqrt(lambda^2 + delta^2), the mean rise of a rectangle o per watt in a rectangle s is

    F_os = 1/(ab) sum_{m,n >= 0} w_m w_n P_m P_n / Y(zeta),    w_0 = 1, else 2
    P_m = cos(lambda X_s) S(lambda c_s/2) cos(lambda X_o) S(lambda c_o/2),    S(u) = sin(u)/u

(a point as observer: S = 1). Y is the admittance of the stack seen from the plane of the sources.

Source: Muzychka, Culham, Yovanovich, J. Electron. Packag. 125 (2003) 178, and Yovanovich, Muzychka,
Culham, J. Thermophys. Heat Transfer 13 (1999) 495 (formulas from memory; the admittance is the same
thing as their phi functions, written so that nothing overflows).

The plain series converges slowly, the more so the thinner the layer that carries the sources. But 1/Y is
the Laplace transform of a sum of decaying exponentials (the modes across the stack) in p = zeta^2,

    1/Y = int_0^inf g(t) exp(-zeta^2 t) dt,    so that    F_os = int_0^inf g(t) K_x(t) K_y(t) dt

with the heat kernels K_x, K_y of the two axes, means of what spreads from one interval to the other between
adiabatic ends: images for short t, the cosine series for long t, both to round-off within a few terms. g comes
by the cotangent contour of Talbot (J. Inst. Math. Appl. 23 (1979) 97) with the constants of Trefethen, Weideman
and Schmelzer (BIT 46 (2006) 653), from memory; its poles all lie on the negative axis, as the contour wants.
Nothing depends on how thin a layer is. Each value is computed twice, with other points of the contour and of
the integral, and the difference is returned as its error.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from thermsim.errors import ThermsimError

Array = NDArray[np.float64]

ROUND_OFF = 1e-14  # Relative error of an integral that is told at least, however well two rules agree.
# Points of the cotangent contour in two rules: the first gives the value, its distance to the second the error.
CONTOUR = 24, 20
NODES = 14, 12  # Gauss-Legendre points for each octave of sqrt(t), in the same two rules.
SHORTEST = 1e-8  # sqrt(t) over the longer side below which one panel reaches down to zero
# Where the integral ends, sqrt(t) over the longer side: only the uniform wave is left, exp(-(2.1 pi)^2) = 1e-19.
LONGEST = 2.1
# Up to this sqrt(t) over the length, the nearest images of the source suffice; beyond it cosines are summed.
FEW_IMAGES = 0.3
REACH = 12.0  # distance over sqrt(t) beyond which an image gives nothing: erfc(6) = 2e-17
COSINES = 8  # number of these cosines: exp(-(0.3 pi 8)^2) = 2e-25


@dataclass(frozen=True)
class ChannelLayer:
    """One layer; `joint_below_m2K_W` is a resistance on the side away from the sources."""

    thickness_m: float
    in_plane_W_mK: float
    through_W_mK: float
    joint_below_m2K_W: float = 0.0


@dataclass(frozen=True)
class Rectangle:
    """A rectangle in the plane of the sources, placed from the corner of the channel [m]."""

    centre_x: float
    centre_y: float
    size_x: float
    size_y: float


@dataclass(frozen=True)
class Channel:
    """Plate with adiabatic edges; `layers` lead away from the sources to a film (inf: a cold face).

    `above`, behind `joint_above_m2K_W`, and `film_above_W_m2K` are the same on the other side of the sources; insulated
    unless given.
    """

    size_x_m: float
    size_y_m: float
    layers: tuple[ChannelLayer, ...]
    film_W_m2K: float
    above: tuple[ChannelLayer, ...] = ()
    film_above_W_m2K: float = 0.0
    joint_above_m2K_W: float = 0.0
    is_slice: bool = False  # a slice of unit depth: nothing varies along y

    def __post_init__(self) -> None:
        if not self.layers:
            raise ThermsimError("a flux channel needs at least one layer below its sources")
        if self.film_W_m2K <= 0.0 and self.film_above_W_m2K <= 0.0:
            raise ThermsimError("a flux channel needs a film on one side at least")


class Sum(NamedTuple):
    """A summed series and how far it may be off, in the same unit (arrays: the largest error)."""

    value: float
    error: float


class FieldSum(NamedTuple):
    """The sum of a series, and what its cut tail may add, in the same unit."""

    value: Array
    error: float


def strip_channel(width_m: float, layers: tuple[ChannelLayer, ...], film_W_m2K: float) -> Channel:
    """A slice, 1 m deep: rises come per watt and metre of depth [K m/W]."""
    return Channel(width_m, 1.0, layers, film_W_m2K, is_slice=True)


def strip(centre_m: float, width_m: float) -> Rectangle:
    """A heated or observed strip of a slice."""
    return Rectangle(centre_m, 0.5, width_m, 1.0)


def mean_rise(channel: Channel, source: Rectangle, observer: Rectangle | None = None) -> Sum:
    """Mean rise over `observer` (the source itself unless given) per watt in `source` [K/W]."""
    matrix = influence_matrix(channel, (source,), (source if observer is None else observer,))
    return Sum(float(matrix.value[0, 0]), matrix.error)


def point_rise(channel: Channel, source: Rectangle, x: float, y: float = 0.5) -> Sum:
    """Rise at the point (x, y) [m] of the plane of the sources per watt in `source` [K/W]."""
    field = rise_field(channel, (source,), (1.0,), np.array([x]), np.array([y]))
    return Sum(float(field.value[0, 0]), field.error)


def influence_matrix(
    channel: Channel, sources: tuple[Rectangle, ...], observers: tuple[Rectangle, ...] | None = None
) -> FieldSum:
    """Mean rise of every observer (rows) per watt in every source (columns) [K/W]; symmetric if they are the same."""
    seen = sources if observers is None else observers
    _check(channel, (*sources, *seen))
    boxes = _Boxes.of(seen)
    fine, coarse = (
        np.stack([np.sum(of_x * of_y * weight[:, None], axis=0) + uniform
                  for source in sources for of_x, of_y in [_kernels(channel, source, boxes, root)]], axis=1)
        for root, weight, uniform in _rules(channel)
    )  # fmt: skip
    return FieldSum(fine, _error(fine, coarse))


def rise_field(
    channel: Channel, sources: tuple[Rectangle, ...], powers_W: tuple[float, ...], x: Array, y: Array
) -> FieldSum:
    """Rise on the raster x (nx,) by y (ny,) [m] in the plane of the sources: (nx, ny) float array [K]."""
    _check(channel, sources)
    points = _Boxes(np.asarray(x, float), np.zeros(len(x)), np.asarray(y, float), np.zeros(len(y)))
    fine, coarse = (
        np.sum([power * (of_x.T @ (weight[:, None] * of_y) + uniform)
                for source, power in zip(sources, powers_W, strict=True)
                for of_x, of_y in [_kernels(channel, source, points, root)]], axis=0)
        for root, weight, uniform in _rules(channel)
    )  # fmt: skip
    return FieldSum(fine, _error(fine, coarse))


def _error(fine: Array, coarse: Array) -> float:
    """Largest difference of the two runs, or the round-off of the sum if that is more."""
    return float(max(np.max(np.abs(fine - coarse)), ROUND_OFF * np.max(np.abs(fine))))


def uniform_rise(channel: Channel) -> float:
    """Rise per watt when the whole plate is heated, the one-dimensional floor of every mean rise [K/W]."""
    return float(1.0 / _admittance(channel, np.zeros(1))[0]) / (channel.size_x_m * channel.size_y_m)


class _Boxes(NamedTuple):
    """Observers: centres and sizes along x and along y [m]; size 0 is a point."""

    x: Array
    size_x: Array
    y: Array
    size_y: Array

    @classmethod
    def of(cls, rectangles: tuple[Rectangle, ...]) -> _Boxes:
        rows = np.array([(r.centre_x, r.size_x, r.centre_y, r.size_y) for r in rectangles])
        return cls(*rows.T)


def _rules(channel: Channel) -> Iterator[tuple[Array, Array, float]]:
    """Twice the same integral: roots of t [m], weights with g in them, and what is to be added [K/W].

    The uniform wave decays least, beyond the longest t too; in closed form it is 1/Y(0).
    """
    longer = channel.size_x_m if channel.is_slice else max(channel.size_x_m, channel.size_y_m)
    edges = longer * LONGEST * 2.0 ** np.arange(np.ceil(np.log2(SHORTEST / LONGEST)), 1.0)
    edges = np.concatenate([[0.0], edges])
    for points, nodes in zip(CONTOUR, NODES, strict=True):
        place, weight = np.polynomial.legendre.leggauss(nodes)
        half = np.diff(edges)[:, None] / 2.0
        root = (edges[:-1, None] + half * (1.0 + place)).ravel()
        decay = 2.0 * root * (half * weight).ravel() * _decay(channel, root**2, points)
        yield root, decay, uniform_rise(channel) - float(decay.sum()) / (channel.size_x_m * channel.size_y_m)


def _decay(channel: Channel, t: Array, points: int) -> Array:
    """g(t) [K/W], t [m2]: 1/Y(p), p = zeta^2, transformed back along the cotangent contour z = p t."""
    u = np.pi * (2.0 * np.arange(points // 2) + 1.0) / points
    tangent = np.tan(0.6407 * u)
    z = points * (0.5017 * u / tangent - 0.6122 + 0.2645j * u)
    along = points * (0.5017 / tangent - 0.5017 * 0.6407 * u / np.sin(0.6407 * u) ** 2 + 0.2645j)
    rise = 1.0 / _admittance(channel, np.sqrt(z / t[:, None]))
    return np.asarray(2.0 / points * np.imag(rise * np.exp(z) * along).sum(axis=1) / t)


def _kernels(channel: Channel, source: Rectangle, seen: _Boxes, root: Array) -> tuple[Array, Array]:
    """K_x and K_y [1/m] at the roots of t: (q, nx), (q, ny)."""
    along_x = _heat_kernel(root, channel.size_x_m, source.centre_x, source.size_x, seen.x, seen.size_x)
    if channel.is_slice:
        return along_x, np.full((len(root), len(seen.y)), 1.0 / channel.size_y_m)
    return along_x, _heat_kernel(root, channel.size_y_m, source.centre_y, source.size_y, seen.y, seen.size_y)


def _admittance(channel: Channel, zeta: Array) -> Array:
    """Flux per rise [W/m2K] in the plane of the sources for the wave number zeta [1/m]."""
    total = one_side_admittance(channel.layers, channel.film_W_m2K, zeta)
    if channel.above or channel.film_above_W_m2K > 0.0:
        above = one_side_admittance(channel.above, channel.film_above_W_m2K, zeta)
        total = total + above / (1.0 + channel.joint_above_m2K_W * above)
    return total


def one_side_admittance(layers: tuple[ChannelLayer, ...], film: float, zeta: Array) -> Array:
    """Flux per rise [W/m2K] on top of `layers` that end in `film`, for waves zeta [1/m] in the plane: array like zeta.

    (rise, flux) is carried from the film upwards, both divided by cosh(zeta t) at each layer:
    rise <- rise + flux tanh/(k zeta), flux <- flux + rise k zeta tanh, rise <- rise + R'' flux at a joint.
    """
    rise = np.full_like(zeta, 0.0 if np.isinf(film) else (1.0 / film if film > 0.0 else 1.0))
    flux = np.full_like(zeta, 1.0 if film > 0.0 else 0.0)
    for layer in reversed(layers):
        rise = rise + layer.joint_below_m2K_W * flux
        wave = zeta * _stretch(layer)
        tangent = np.tanh(wave * layer.thickness_m)
        slope = layer.through_W_mK * wave
        resistance = np.where(slope > 0.0, tangent / np.where(slope > 0.0, slope, 1.0), _ohm(layer))
        rise, flux = rise + resistance * flux, slope * tangent * rise + flux
    return np.asarray(flux / rise)


def _stretch(layer: ChannelLayer) -> float:
    return float(np.sqrt(layer.in_plane_W_mK / layer.through_W_mK))


def _ohm(layer: ChannelLayer) -> float:
    return layer.thickness_m / layer.through_W_mK


def _heat_kernel(root: Array, length: float, centre: float, size: float, seen: Array, seen_size: Array) -> Array:
    """Mean over [seen +- seen_size/2] of a unit amount spread over [centre +- size/2] after times t: (q, o) [1/m].

    The adiabatic ends mirror the source: at centre + 2 j length and at -centre + 2 j length.
    """
    total = np.zeros((len(root), len(seen)))
    short = root < FEW_IMAGES * length
    for shift in range(-2, 3):
        for image in (centre, -centre):
            distance = seen - image - 2.0 * shift * length
            here = short & (root > (np.min(np.abs(distance) - seen_size / 2.0) - size / 2.0) / REACH)
            total[here] += _spread(root[here, None], distance, size, seen_size)
    order = np.arange(COSINES + 1.0)
    wave = order * np.pi / length
    heated = np.where(order == 0, 1.0, 2.0) * np.cos(wave * centre) * np.sinc(wave * size / (2.0 * np.pi)) / length
    observed = np.cos(np.outer(seen, wave)) * np.sinc(np.outer(seen_size, wave) / (2.0 * np.pi))
    total[~short] = (heated * np.exp(-((root[~short, None] * wave) ** 2))) @ observed.T
    return total


def _spread(s: Array, distance: Array, size: float, seen_size: Array) -> Array:
    """Gaussian exp(-u^2/4s^2)/(2 s sqrt(pi)) meaned over source and observer whose centres are `distance` apart."""
    ahead, behind = distance + size / 2.0, distance - size / 2.0
    if not seen_size.any():
        return np.asarray((erf(ahead / (2.0 * s)) - erf(behind / (2.0 * s))) / (2.0 * size))
    reach = seen_size / 2.0
    four = _ramp(s, ahead + reach) - _ramp(s, ahead - reach) - _ramp(s, behind + reach) + _ramp(s, behind - reach)
    return np.asarray(four / (size * seen_size))


def _ramp(s: Array, u: Array) -> Array:
    """The Gaussian integrated twice over u."""
    return np.asarray(0.5 * u * erf(u / (2.0 * s)) + s / np.sqrt(np.pi) * np.exp(-((u / (2.0 * s)) ** 2)))


def _check(channel: Channel, rectangles: tuple[Rectangle, ...]) -> None:
    slack = 1e-9 * max(channel.size_x_m, channel.size_y_m)
    for r in rectangles:
        low = min(r.centre_x - r.size_x / 2, r.centre_y - r.size_y / 2)
        over = max(r.centre_x + r.size_x / 2 - channel.size_x_m, r.centre_y + r.size_y / 2 - channel.size_y_m)
        if low < -slack or over > slack or min(r.size_x, r.size_y) <= 0.0:
            raise ThermsimError(f"{r} does not lie inside the plate {channel.size_x_m} x {channel.size_y_m} m")

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

The plain series converges slowly. Here 1/Y is split at a length s0, as Ewald (Ann. Phys. 369 (1921)
253) did for lattices: with k_e = sqrt(k_in_plane k_through) of what touches the plane of the sources,

    1/Y = [1/Y - erf(zeta s0)/(k_e zeta)] + 2/(k_e sqrt(pi)) int_0^s0 exp(-zeta^2 s^2) ds

The bracket dies exponentially in zeta; the integral is, term by term in s, a product of two
one-dimensional heat kernels with mirror images, known in closed form. The result cannot depend on s0
or on the number of terms: each value is computed twice with both changed, and the difference is
returned as its error.
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

DECAY = 28.0  # exponent at which the bracket is left out: exp(-28) = 7e-13
REACH = 6.0  # erfc(6) = 2e-17
MOST_TERMS = 4_000_000  # of the double sum; a thin top layer would ask for more
TERMS_AT_ONCE = 1_000_000  # bounds the memory
ROUND_OFF = 1e-14  # of a sum, relative: no value is told to be better
PANELS, NODES = 24, 10  # geometric panels towards s = 0, Gauss-Legendre points in each


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

    `above` and `film_above_W_m2K` are the same on the other side of the sources; insulated unless given.
    """

    size_x_m: float
    size_y_m: float
    layers: tuple[ChannelLayer, ...]
    film_W_m2K: float
    above: tuple[ChannelLayer, ...] = ()
    film_above_W_m2K: float = 0.0
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
    pairs = [_Pair(source, _Boxes.of(seen)) for source in sources]
    fine, coarse = (np.stack([_diagonal(channel, pair, share) for pair in pairs], axis=1) for share in (1.0, 0.5))
    return FieldSum(fine, _error(fine, coarse))


def rise_field(
    channel: Channel, sources: tuple[Rectangle, ...], powers_W: tuple[float, ...], x: Array, y: Array
) -> FieldSum:
    """Rise on the raster x (nx,) by y (ny,) [m] in the plane of the sources: (nx, ny) float array [K]."""
    _check(channel, sources)
    points = _Boxes(np.asarray(x, float), np.zeros(len(x)), np.asarray(y, float), np.zeros(len(y)))
    fine, coarse = (
        np.sum([power * _raster(channel, _Pair(source, points), share)
                for source, power in zip(sources, powers_W, strict=True)], axis=0)
        for share in (1.0, 0.5)
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


class _Pair(NamedTuple):
    source: Rectangle
    seen: _Boxes


def _diagonal(channel: Channel, pair: _Pair, share: float) -> Array:
    """Observers taken one by one: (number of observers,) array [K/W]."""
    plan = _plan(channel, share)
    total = np.zeros(len(pair.seen.x))
    for x_terms, kernel, y_terms in _chunks(channel, pair, plan):
        total += np.einsum("om,om->o", x_terms, y_terms @ kernel.T)
    along_x, along_y, weight = _near(channel, pair, plan.split)
    return np.asarray(total + np.einsum("q,qo,qo->o", weight, along_x, along_y))


def _raster(channel: Channel, pair: _Pair, share: float) -> Array:
    """Every observer in x with every observer in y: (nx, ny) array [K/W]."""
    plan = _plan(channel, share)
    total = np.zeros((len(pair.seen.x), len(pair.seen.y)))
    for x_terms, kernel, y_terms in _chunks(channel, pair, plan):
        total += x_terms @ (kernel @ y_terms.T)
    along_x, along_y, weight = _near(channel, pair, plan.split)
    return np.asarray(total + along_x.T @ (weight[:, None] * along_y))


class _Plan(NamedTuple):
    terms_x: int
    terms_y: int
    split: float  # s0 [m]


def _plan(channel: Channel, share: float) -> _Plan:
    """Number of terms and split length; `share` 1 for the value, less for the run that it is compared with."""
    a, b = channel.size_x_m, channel.size_y_m
    thin = min(stack[0].thickness_m * _stretch(stack[0]) for stack in (channel.layers, channel.above) if stack)
    shortest = a if channel.is_slice else min(a, b)
    highest = max(DECAY / thin, 2.0 * REACH / (0.15 * shortest))
    count = highest / np.pi * (a if channel.is_slice else np.sqrt(a * b))
    allowed = MOST_TERMS if channel.is_slice else np.sqrt(MOST_TERMS)
    highest *= min(1.0, allowed / count) * share
    terms_y = 1 if channel.is_slice else int(np.ceil(highest * b / np.pi)) + 1
    return _Plan(int(np.ceil(highest * a / np.pi)) + 1, terms_y, REACH / highest)


def _chunks(channel: Channel, pair: _Pair, plan: _Plan) -> Iterator[tuple[Array, Array, Array]]:
    """Blocks of the double sum: x terms (o, m), kernel (m, n), y terms (o, n)."""
    a, b = channel.size_x_m, channel.size_y_m
    source, seen = pair
    y_terms = _axis_terms(b, np.arange(plan.terms_y, dtype=float), source.centre_y, source.size_y, seen.y, seen.size_y)
    delta = np.arange(plan.terms_y, dtype=float) * np.pi / b
    step = max(1, TERMS_AT_ONCE // plan.terms_y)
    for first in range(0, plan.terms_x, step):
        order = np.arange(first, min(first + step, plan.terms_x), dtype=float)
        x_terms = _axis_terms(a, order, source.centre_x, source.size_x, seen.x, seen.size_x)
        zeta = np.hypot((order * np.pi / a)[:, None], delta[None, :])
        yield x_terms, _bracket(channel, zeta, plan.split) / (a * b), y_terms


def _axis_terms(length: float, order: Array, centre: float, size: float, seen: Array, seen_size: Array) -> Array:
    """w_m P_m along one axis: (number of observers, number of terms)."""
    wave = order * np.pi / length
    heated = np.where(order == 0, 1.0, 2.0) * np.cos(wave * centre) * np.sinc(wave * size / (2.0 * np.pi))
    return np.asarray(heated * np.cos(np.outer(seen, wave)) * np.sinc(np.outer(seen_size, wave) / (2.0 * np.pi)))


def _bracket(channel: Channel, zeta: Array, split: float) -> Array:
    """1/Y - erf(zeta s0)/(k_e zeta) [m2 K/W], with its limit at zeta = 0."""
    safe = np.where(zeta == 0.0, 1.0, zeta)
    half_space = np.where(zeta == 0.0, 2.0 * split / np.sqrt(np.pi), erf(safe * split) / safe)
    return np.asarray(1.0 / _admittance(channel, zeta) - half_space / _plane_conductivity(channel))


def _admittance(channel: Channel, zeta: Array) -> Array:
    """Flux per rise [W/m2K] in the plane of the sources for the wave number zeta [1/m]."""
    total = one_side_admittance(channel.layers, channel.film_W_m2K, zeta)
    if channel.above or channel.film_above_W_m2K > 0.0:
        total = total + one_side_admittance(channel.above, channel.film_above_W_m2K, zeta)
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


def _plane_conductivity(channel: Channel) -> float:
    """k_e [W/mK] that short waves see: the layers that touch the sources, above and below."""
    touching = [stack[0] for stack in (channel.layers, channel.above) if stack]
    return sum(float(np.sqrt(layer.in_plane_W_mK * layer.through_W_mK)) for layer in touching)


def _near(channel: Channel, pair: _Pair, split: float) -> tuple[Array, Array, Array]:
    """Heat kernels along x and y at the nodes of s, and the weights: (q, nx), (q, ny), (q,)."""
    point, weight = np.polynomial.legendre.leggauss(NODES)
    edges = np.concatenate(([0.0], split * 0.5 ** np.arange(PANELS, -1, -1.0)))
    half = np.diff(edges)[:, None] / 2.0
    s = (edges[:-1, None] + half * (1.0 + point)).ravel()
    weights = (half * weight).ravel() * 2.0 / (np.sqrt(np.pi) * _plane_conductivity(channel))
    source, seen = pair
    along_x = _heat_kernel(s, channel.size_x_m, source.centre_x, source.size_x, seen.x, seen.size_x)
    if channel.is_slice:
        return along_x, np.ones((len(s), len(seen.y))) / channel.size_y_m, weights
    return along_x, _heat_kernel(s, channel.size_y_m, source.centre_y, source.size_y, seen.y, seen.size_y), weights


def _heat_kernel(s: Array, length: float, centre: float, size: float, seen: Array, seen_size: Array) -> Array:
    """Mean over [seen +- seen_size/2] of a unit amount spread over [centre +- size/2], widened by s: (q, o) [1/m].

    The adiabatic ends mirror the source: at centre + 2 j length and at -centre + 2 j length.
    """
    total = np.zeros((len(s), len(seen)))
    for shift in range(-2, 3):
        for image in (centre, -centre):
            distance = seen - image - 2.0 * shift * length
            near = np.abs(distance) < 2.0 * REACH * np.max(s) + (size + seen_size) / 2.0
            if near.any():
                total[:, near] += _spread(s[:, None], distance[near], size, seen_size[near])
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

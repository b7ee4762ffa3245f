"""Patches that heat a half space of conductivity k: rise over the far body per watt [K/W].

Source: Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), sections 8.2 and 10.5;
Yovanovich and Marotta, ch. 4 of Bejan and Kraus (eds), Heat Transfer Handbook (2003), from memory.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Distance from the centre along one side, in sizes of the rectangle, beyond which the terms of its four corners would
# cancel and quadrature serves.
FAR_IN_SIZES = 1.5
NODES = 24  # points of that Gauss-Legendre quadrature; its error falls as 5.8^(-2 points), here 5.8^-48


def rectangle_corner(size_x: float, size_y: float, conductivity: float) -> float:
    """Rise of the corner of an a x b rectangle of uniform flux, per watt [K/W]; sizes [m], k [W/mK].

    T = q/(2 pi k) [a asinh(b/a) + b asinh(a/b)], q = 1/(a b).
    """
    return _corner_rise(size_x, size_y) / (size_x * size_y * conductivity)


def rectangle_point(size_x: float, size_y: float, conductivity: float, x: float, y: float) -> float:
    """Rise per watt [K/W] at (x, y) [m] from the corner of the rectangle, inside or out.

    Four corners, signed. Away from the rectangle they cancel, and so 1/(2 pi k r) is integrated: along one side in
    closed form, across it by Gauss-Legendre points.
    """
    if abs(x - size_x / 2.0) > FAR_IN_SIZES * size_x:
        return _far_rise(size_x, x, size_y, y) / conductivity
    if abs(y - size_y / 2.0) > FAR_IN_SIZES * size_y:
        return _far_rise(size_y, y, size_x, x) / conductivity
    total = 0.0
    for near, far in ((x, -1.0), (x - size_x, 1.0)):
        for left, right in ((y, -1.0), (y - size_y, 1.0)):
            total += (
                far * right * math.copysign(1.0, near) * math.copysign(1.0, left) * _corner_rise(abs(near), abs(left))
            )
    return total / (size_x * size_y * conductivity)


def rectangle_centre(size_x: float, size_y: float, conductivity: float) -> float:
    """Rise of the centroid per watt [K/W], the highest of the patch."""
    return rectangle_point(size_x, size_y, conductivity, size_x / 2.0, size_y / 2.0)


def rectangle_mean(size_x: float, size_y: float, conductivity: float) -> float:
    """Mean rise of the rectangle over itself per watt [K/W].

    R = 1/(2 pi k) 2/(3 a^2 b^2) [3 a^2 b asinh(b/a) + 3 a b^2 asinh(a/b) + a^3 + b^3 - (a^2 + b^2)^1.5]
    Evaluated over the longer side, with r = b/a, a^3 - (a^2 + b^2)^1.5 as -a^3 expm1(1.5 log1p(r^2)).
    """
    a, b = max(size_x, size_y), min(size_x, size_y)
    ratio = b / a
    square = ratio * ratio
    bulge = math.expm1(1.5 * math.log1p(square)) / square if square > 1e-16 else 1.5
    bracket = 3.0 * (math.asinh(ratio) / ratio + math.asinh(1.0 / ratio)) + ratio - bulge
    return bracket / (3.0 * math.pi * conductivity * a)


def disc_centre(radius: float, conductivity: float) -> float:
    """Rise of the centre of a disc of uniform flux per watt [K/W]: R = 1/(pi k a)."""
    return 1.0 / (math.pi * conductivity * radius)


def disc_mean(radius: float, conductivity: float) -> float:
    """Mean rise of a disc of uniform flux per watt [K/W]: R = 8/(3 pi^2 k a)."""
    return 8.0 / (3.0 * math.pi**2 * conductivity * radius)


def _corner_rise(a: float, b: float) -> float:
    """k T/q [m] at the corner of an a x b rectangle; nothing for an empty one."""
    if a == 0.0 or b == 0.0:
        return 0.0
    return (a * math.asinh(b / a) + b * math.asinh(a / b)) / (2.0 * math.pi)


@cache
def _gauss() -> tuple[Array, Array]:
    points, weights = np.polynomial.legendre.leggauss(NODES)
    return points, weights


def _far_rise(across: float, away: float, along: float, beside: float) -> float:
    """k times the rise per watt [1/m], the point `away` from the first corner across and `beside` along."""
    points, weights = _gauss()
    middle = sum(weight * _line(abs(away - across / 2.0 * (1.0 + point)), beside, along)
                 for point, weight in zip(points.tolist(), weights.tolist(), strict=True))  # fmt: skip
    return float(middle) / (4.0 * math.pi * along)


def _line(offset: float, high: float, length: float) -> float:
    """Integral of 1/sqrt(offset^2 + v^2) over the `length` of v up to `high`, without a difference of like numbers."""
    low = high - length
    if low < 0.0 < high:
        return math.asinh(high / offset) + math.asinh(-low / offset)
    near, far = sorted((abs(low), abs(high)))
    start, end = math.hypot(offset, near), math.hypot(offset, far)
    return math.log1p(length * (1.0 + (far + near) / (start + end)) / (near + start))

"""EN ISO 10211, validation case 1: half a square column, one face warm, three cold."""

from __future__ import annotations

import math

WARM_C = 20.0  # [C] of the warm side in EN ISO 10211:2007, annex A, case 1


def square_column(across: float, depth: float, warm_C: float = WARM_C, terms: int = 400) -> float:
    """Temperature [C] at `across` (from a cold side face) and `depth` (below the warm face), in sides of the square.

    T = warm sum_{n odd} 4/(n pi) sin(n pi x) sinh(n pi (1 - depth))/sinh(n pi), other faces at 0 C.
    The ratio of hyperbolic sines is written with falling exponentials. Not for points on the warm face.
    Source: Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 5.3.
    """
    total = 0.0
    for n in range(1, 2 * terms, 2):
        wave = n * math.pi
        fall = math.exp(-wave * depth) * math.expm1(-2.0 * wave * (1.0 - depth)) / math.expm1(-2.0 * wave)
        total += 4.0 / wave * math.sin(wave * across) * fall
        if fall < 1e-18:
            break
    return warm_C * total


def square_column_variable(
    across: float, depth: float, per_K: float, warm_C: float = WARM_C, terms: int = 400
) -> float:
    """The same with k = k0 (1 + per_K T), T in C, by Kirchhoff's transform theta = T + per_K T^2/2.

    theta obeys the linear problem with its warm face at theta(warm); T = (sqrt(1 + 2 per_K theta) - 1)/per_K,
    written as 2 theta/(1 + sqrt(1 + 2 per_K theta)), which holds for per_K 0 too.
    """
    theta = square_column(across, depth, warm_C + per_K * warm_C**2 / 2.0, terms)
    return 2.0 * theta / (1.0 + math.sqrt(1.0 + 2.0 * per_K * theta))

"""Thermal networks of two kinds that answer alike: Cauer ladders (bodies in a row) and Foster chains (a sum).

A Cauer ladder has capacities C_i [J/K] to ground and resistances R_i [K/W] from node i to the next, the last to
ground; node 1 is heated. Its response is Z(t) = sum R_j (1 - exp(-t/tau_j)), the Foster form.
Source: JESD51-14 (2010), annexes on network models, from memory; Golub and Van Loan, Matrix Computations,
ch. 9, for Lanczos's process, by which the way back needs no quotients of polynomials.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


class Cauer(NamedTuple):
    """A ladder from the heated node to the ground: (stages,) resistances and the capacities before them."""

    resistance_K_W: Array
    capacity_J_K: Array


class Foster(NamedTuple):
    """Sorted by rising time constant."""

    resistance_K_W: Array
    time_constant_s: Array

    def response(self, time_s: ArrayLike) -> Array:
        """Rise of the heated node per watt, Zth [K/W], after a step of power."""
        grown = -np.expm1(-np.divide.outer(np.asarray(time_s, float), self.time_constant_s))
        return np.asarray(grown @ self.resistance_K_W)


def to_foster(cauer: Cauer) -> Foster:
    """Modes of the ladder: C^-1/2 G C^-1/2 = U diag(1/tau) U^T, R_j = U_1j^2 tau_j/C_1."""
    link, scale = 1.0 / cauer.resistance_K_W, 1.0 / np.sqrt(cauer.capacity_J_K)
    own = link + np.concatenate(([0.0], link[:-1]))
    matrix = np.diag(own * scale**2) - np.diag(link[:-1] * scale[:-1] * scale[1:], 1)
    matrix -= np.diag(link[:-1] * scale[:-1] * scale[1:], -1)
    rate, mode = np.linalg.eigh(matrix)
    tau = 1.0 / rate[::-1]
    return Foster(np.asarray(mode[0, ::-1] ** 2 * tau / cauer.capacity_J_K[0]), np.asarray(tau))


def to_cauer(foster: Foster) -> Cauer:
    """The ladder with the same response: Lanczos's process on diag(1/tau), started by sqrt(R/tau)."""
    rate = 1.0 / foster.time_constant_s
    start = np.sqrt(foster.resistance_K_W * rate)
    diagonal, beside = _lanczos(rate, start / np.linalg.norm(start))
    capacity, link = [1.0 / float(start @ start)], [diagonal[0] / float(start @ start)]
    for own, off in zip(diagonal[1:], beside, strict=True):
        capacity.append((link[-1] / off) ** 2 / capacity[-1])
        link.append(own * capacity[-1] - link[-1])
    return Cauer(1.0 / np.array(link), np.array(capacity))


def _lanczos(rate: Array, vector: Array) -> tuple[list[float], list[float]]:
    """Diagonal and off-diagonal of the tridiagonal matrix with these eigenvalues and first components."""
    basis = [vector]
    diagonal, beside = [float(vector @ (rate * vector))], []
    for _ in range(len(rate) - 1):
        rest = rate * basis[-1]
        for _ in range(2):  # orthogonal to every vector so far, twice, or round-off brings old ones back
            for old in basis:
                rest = rest - (old @ rest) * old
        beside.append(float(np.linalg.norm(rest)))
        basis.append(rest / beside[-1])
        diagonal.append(float(basis[-1] @ (rate * basis[-1])))
    return diagonal, beside

"""A bound on what a small model in time may miss, which never fails: no guess from what its last shifts changed.

With r(s) and r_l(s) what a model leaves of (A + s C) z = g and of (A + s C) z = l at a complex s, the error of l' z
under a step is, for Galerkin's projection of a symmetric A,

    e(s) = r_l(s)' (A + s C)^-1 r(s) / s,      |e(s)| <= |r_l(s)| |r(s)| / (|s| d(s)),      |r|^2 = r* C^-1 r,

with d the distance of s to the spectrum of -C^-1 A, which lies on the negative real axis. Back in time, along a
parabola s = a (1 + i u)^2 about that axis, |error(t)| is at most the integral of |e^(s t)| |e(s)| |ds| / 2 pi; of some
parabolas the least counts. Source: Weideman and Trefethen, Mathematics of Computation 76 (2007) 1341, for the parabola,
from memory; the bound is our own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermsim.transient.krylov import SmallModel
from thermsim.transient.system import System

Array = NDArray[np.float64]
Sparse = tuple[NDArray[np.int64], Array]

WIDTHS = np.array([0.25, 0.5, 1.0, 2.0])  # a times t, of the parabolas tried
NODES, FAR = 24, 36.0  # points on half a parabola, to where e^(s t) has fallen by e^-FAR
# Share of its longest column, by which rounding may hold a residual off.
ROUNDING = 1e-15


def certain_bounds(system: System, small: SmallModel, columns: Sequence[Sparse], times: Array) -> Array | None:
    """(n, times) how far a small model may hold weighted sums of cells off at most, under the step of its own heat.

    columns : of each sum its cells, counted through, and their weights

    Returns None with a coolant loop, and where a cell passes heat on and stores none: no such norm holds them.
    """
    if small.coolant is not None or np.any(system.capacity[system.stencil.solid] <= 0.0):
        return None
    root = np.sqrt(np.where(system.stencil.solid, system.capacity, 1.0)).ravel()
    vectors, heat = small.vectors, system.stencil.heat.ravel()
    images = np.array([system.stencil.conducted(row.reshape(system.shape)).ravel() for row in vectors])
    weights = np.array([vectors[:, at] @ own for at, own in columns]).reshape(len(columns), len(vectors))
    stiffness = images @ vectors.T
    rates, modes = np.linalg.eigh(0.5 * (stiffness + stiffness.T))
    inputs = modes.T @ np.column_stack([vectors @ heat, weights.T])
    # Every residual is a sum of these columns and of one of its own: within an orthonormal basis, and beside it.
    basis, triangle = np.linalg.qr(np.column_stack([(images / root).T, (vectors * root).T, heat / root]))
    within = np.array([basis[at].T @ (own / root[at]) for at, own in columns]).reshape(len(columns), -1)
    whole = np.array([np.sum(np.square(own / root[at])) for at, own in columns])
    beside = np.maximum(whole - np.square(within).sum(axis=1), 0.0)
    of_given = np.column_stack([triangle[:, -1], within.T])
    beside = np.concatenate([[0.0], beside])
    rounding = ROUNDING * np.sqrt(np.square(of_given).sum(axis=0) + beside)
    size = len(vectors)

    def norms(s: NDArray[np.complex128]) -> Array:
        """(s, 1 + n) of residuals, that of the heat first."""
        states = modes @ (inputs / (rates[None, :, None] + s[:, None, None]))
        left = of_given - triangle[:, :size] @ states - s[:, None, None] * (triangle[:, size : 2 * size] @ states)
        return np.asarray(np.sqrt(np.square(np.abs(left)).sum(axis=1) + beside) + rounding)

    u = np.sqrt(FAR / WIDTHS)[:, None] * np.linspace(0.0, 1.0, NODES)
    step = np.where(np.arange(NODES) == 0, 0.5, 1.0) * (u[:, 1] - u[:, 0])[:, None]
    found = np.empty((len(columns), len(times)))
    for number, time in enumerate(times.tolist()):
        s = (WIDTHS[:, None] / time * (1.0 + 1j * u) ** 2).ravel()
        away = np.where(s.real > 0.0, np.abs(s), np.abs(s.imag))
        along = 2.0 * np.sqrt(np.abs(s) * np.repeat(WIDTHS / time, NODES))  # |ds/du|
        weight = step.ravel() * np.exp(s.real * time) * along / (np.pi * np.abs(s) * away)
        sizes = norms(s)
        parts = (weight * sizes[:, 0])[:, None] * sizes[:, 1:]
        found[:, number] = parts.reshape(len(WIDTHS), NODES, -1).sum(axis=1).min(axis=0)
    return found

"""Conjugate gradients on a multigrid hierarchy, with what was reached measured on the given coefficients."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from thermsim.solver import kernels
from thermsim.solver.hierarchy import LANES
from thermsim.solver.multigrid import Hierarchy, given, together

AIMS = np.array([1e-3, 1e-6, 1e-6, 1e-6])
STATUS = {kernels.CONVERGED: "converged", kernels.STALLED: "stalled", kernels.LIMIT: "limit"}


@dataclass(frozen=True)
class Run:
    """What conjugate gradients did. `residual` is |heat - A T| / |heat|, measured in double precision, not carried along."""

    temperature: npt.NDArray[np.float64]
    status: str  # converged, runaway, stalled, limit
    iterations: int
    residual: float
    error_K: float
    history: npt.NDArray[np.float64]


def conjugate_gradients(
    hierarchy: Hierarchy,
    heat: npt.NDArray[np.float64],
    guess: npt.NDArray[np.float64] | None = None,
    tolerance: float = 1e-8,
    limit: int = 300,
) -> Run:
    """Solve A T = heat.

    Parameters
    ----------
    heat : (nx, ny, nz) float array [W], zero in void cells
    guess : (nx, ny, nz) float array [C]; default: the one temperature at which heat in and heat out balance
    tolerance : relative residual to reach, in the 2-norm
    limit : most iterations

    `status` is "runaway" only where a direction of negative curvature was found and checked in double precision: then no steady
    state exists, or none that is stable. `error_K` [K] estimates the largest error of a temperature.
    """
    shape = hierarchy.stencil.ground.shape
    if heat.shape != shape or (guess is not None and guess.shape != shape):
        raise ValueError(f"heat and guess must have the shape of the stencil, {shape}")
    if hierarchy.least_pivot < 0.0:
        return Run(np.full(shape, np.nan), "runaway", 0, np.inf, np.inf, np.ones(1))
    source = np.ascontiguousarray(heat, dtype=np.float64).reshape(-1)
    temperature = np.zeros(source.size) if guess is None else np.array(guess, dtype=np.float64).reshape(-1)
    history, done, reached = np.zeros(limit + 1), 0, np.inf
    uniform = guess is None
    while True:
        part = np.zeros(limit - done + 1)
        report = _solve(hierarchy, source, temperature, tolerance, uniform, part)
        count, before, reached = int(report[1]), reached, float(report[2])
        history[done : done + count + 1] = part[: count + 1]
        done, uniform = done + count, False
        if int(report[0]) != kernels.SUSPECT:
            status = STATUS[int(report[0])]
            break
        if _curvature(hierarchy) < 0.0:
            status = "runaway"
            break
        if done >= limit or not reached < 0.5 * before:
            status = "stalled"
            break
    history = history[: done + 1]
    return Run(temperature.reshape(shape), status, done, reached, _error(float(report[3]), history), history)


def _solve(hierarchy: Hierarchy, source: Any, temperature: Any, tolerance: float, uniform: bool, history: Any) -> Any:
    report = np.zeros(5)

    def work(me: int, team: int) -> None:
        kernels.solve(
            hierarchy.fields, hierarchy.vectors, (hierarchy.levels, hierarchy.maps), given(hierarchy.stencil, hierarchy.swapped),
            source, temperature, hierarchy.sizes, hierarchy.sync, me, team, hierarchy.parallel_levels, *_scratch(hierarchy),
            tolerance, history.size - 1, uniform, history, report, AIMS,
        )  # fmt: skip

    together(work, hierarchy.threads)
    return report


def _scratch(hierarchy: Hierarchy) -> tuple[Any, Any]:
    """Working memory of one thread."""
    row, nz = int(hierarchy.levels[:, kernels.M_].max()), hierarchy.sizes[2]
    return np.zeros(3 * (row + LANES), dtype=np.float32), np.zeros(2 * LANES * nz)


def _curvature(hierarchy: Hierarchy) -> float:
    """p.Ap of the direction that conjugate gradients left behind, in double precision on the given coefficients."""
    stencil, p = hierarchy.stencil, hierarchy.vectors[1]
    direction = np.zeros(stencil.ground.size)
    finest = hierarchy.levels[0]
    cuts = np.array([0, finest[kernels.NX]])
    kernels.spread(hierarchy.fields, p, direction, hierarchy.sizes, finest, _scratch(hierarchy)[1], hierarchy.sync, 0, 1, cuts)
    d = direction.reshape(stencil.ground.shape)
    energy = float(np.sum(stencil.ground * d * d))
    for axis, link in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
        energy += float(np.sum(link * np.diff(d, axis=axis) ** 2))
    return energy


def _error(step: float, history: npt.NDArray[np.float64]) -> float:
    """The last step summed as a geometric series with the rate of the last iterations: an estimate from above."""
    back = min(3, len(history) - 1)
    if back == 0 or not history[-1 - back] > 0.0:
        return step
    rate = min((history[-1] / history[-1 - back]) ** (1.0 / back), 0.999)
    return step / (1.0 - rate)

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
STATUS = {kernels.CONVERGED: "converged", kernels.STALLED: "stalled", kernels.RUNAWAY: "runaway", kernels.LIMIT: "limit"}


@dataclass(frozen=True)
class Run:
    """What conjugate gradients did. `residual` is |heat - A T| / |heat|, measured in double precision, not carried along."""

    temperature: npt.NDArray[np.float64]
    status: str
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
    guess : (nx, ny, nz) float array [C]
    tolerance : relative residual to reach
    limit : most iterations

    `error_K` [K] estimates the largest error of a temperature from the last step and the rate of convergence.
    """
    shape = hierarchy.stencil.ground.shape
    temperature = np.zeros(shape) if guess is None else np.array(guess, dtype=np.float64)
    if heat.shape != shape or temperature.shape != shape:
        raise ValueError(f"heat and guess must have shape {shape}, not {heat.shape} and {temperature.shape}")
    history, report = np.zeros(limit + 1), np.zeros(5)
    if hierarchy.least_pivot < 0.0:
        return Run(temperature, "runaway", 0, np.inf, np.inf, history[:1])
    flat, source = temperature.reshape(-1), np.ascontiguousarray(heat, dtype=np.float64).reshape(-1)
    row, nz = int(hierarchy.levels[:, kernels.M_].max()), shape[2]

    def work(me: int, team: int) -> None:
        scratch, buffer = np.zeros(3 * (row + LANES), dtype=np.float32), np.zeros(2 * LANES * nz)
        kernels.solve(
            hierarchy.fields, hierarchy.vectors, (hierarchy.levels, hierarchy.maps), given(hierarchy.stencil, hierarchy.swapped),
            source, flat, hierarchy.sizes, hierarchy.sync, me, team, hierarchy.parallel_levels, scratch, buffer,
            tolerance, limit, guess is None, history, report, AIMS,
        )  # fmt: skip

    together(work, hierarchy.threads)
    iterations = int(report[1])
    if limit==1000: print("measured", [(i, v) for i,v in enumerate(history[500:540]) if v])
    return Run(
        temperature, STATUS[int(report[0])], iterations, float(report[2]), _error(float(report[3]), history[: iterations + 1]),
        history[: iterations + 1],
    )  # fmt: skip


def _error(step: float, history: npt.NDArray[np.float64]) -> float:
    """The last step summed as a geometric series with the rate of the last iterations: an estimate from above."""
    back = min(3, len(history) - 1)
    if back == 0 or not history[-1 - back] > 0.0:
        return step
    rate = min((history[-1] / history[-1 - back]) ** (1.0 / back), 0.999)
    return step / (1.0 - rate)

"""Conjugate gradients on a multigrid hierarchy, with what was reached measured on the given coefficients."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from thermsim.solver.multigrid import double_precision_kernels as exact
from thermsim.solver.multigrid import kernels, storage
from thermsim.solver.multigrid.multigrid import Hierarchy, given, together
from thermsim.solver.multigrid.vector_registers import LANES

Floats = npt.NDArray[np.float64]

# The residual is measured in double precision when it should have fallen by this factor, because single-precision links
# leave an error of up to 1e-4 of it.
FIRST_REDUCTION = 1e-3
NEXT_REDUCTION = 1e-6  # the same for every later measurement


@dataclass(frozen=True, eq=False)
class Run:
    """What conjugate gradients did. `residual` is |heat - A T| / |heat|, measured in double precision, not carried
    along.
    """

    temperature: Floats
    status: str  # converged, rounding, runaway, stalled, limit
    iterations: int
    residual: float
    error_K: float
    history: Floats


@dataclass
class Progress:
    """What all threads know alike while they iterate (each keeps its own copy; the numbers are the same)."""

    iterations: int = 0
    status: str = "limit"
    residual: float = np.inf
    step_K: float = np.inf
    rz: float = 0.0
    curvature: float = 0.0
    alpha: float = 0.0
    history: list[float] = field(default_factory=list)


def conjugate_gradients(
    hierarchy: Hierarchy, heat: Floats, guess: Floats | None = None, tolerance: float = 1e-8, limit: int = 300
) -> Run:
    """Solve A T = heat.

    Parameters
    ----------
    heat : (nx, ny, nz) float array [W], zero in void cells
    guess : (nx, ny, nz) float array [C]; default: the one temperature at which heat in and heat out balance
    tolerance : relative residual to reach, in the 2-norm
    limit : most iterations

    `status` is "converged" or says why not: "runaway" only where a direction of negative curvature was found and
    checked in double precision: then no steady state exists, or none that is stable. `error_K` [K] estimates the
    largest error of a temperature.
    """
    shape = hierarchy.stencil.ground.shape
    if heat.shape != shape or (guess is not None and guess.shape != shape):
        raise ValueError(f"heat and guess must have the shape of the stencil, {shape}")
    if hierarchy.least_pivot < 0.0:
        return Run(np.full(shape, np.nan), "runaway", 0, np.inf, np.inf, np.ones(1))
    source = np.ascontiguousarray(heat, dtype=np.float64).reshape(-1)
    temperature = np.empty(source.size) if guess is None else np.array(guess, dtype=np.float64).reshape(-1)
    work = _Work(hierarchy, source, temperature, tolerance, limit)
    uniform = guess is None and bool(_total_ground(hierarchy) > 0.0)
    if guess is None and not uniform:
        temperature[:] = 0.0
    done = Progress()
    while True:
        before = done.residual
        done = work.run(uniform, done)
        uniform = False
        if done.status != "suspect":
            break
        if work.curvature() < 0.0:
            done.status = "runaway"
        elif done.iterations >= limit or not done.residual < 0.5 * before:
            done.status = "stalled"
        else:
            continue
        break
    if done.status == "stalled" and done.residual <= 4.0 * _rounding(
        hierarchy.stencil, heat, temperature.reshape(shape)
    ):
        done.status = "rounding"
    history = np.array(done.history)
    error = _error(done.step_K, history) if done.residual > 0.0 else 0.0
    return Run(temperature.reshape(shape), done.status, done.iterations, done.residual, error, history)


class _Work:
    """The arrays of one solution and the program that every thread runs on them."""

    def __init__(self, hierarchy: Hierarchy, heat: Floats, temperature: Floats, tolerance: float, limit: int) -> None:
        self.hierarchy, self.heat, self.temperature = hierarchy, heat, temperature
        self.tolerance, self.limit = tolerance, limit
        self.given = given(hierarchy.stencil, hierarchy.swapped)
        self.tables = (hierarchy.levels, hierarchy.maps)
        self.slabs = int(hierarchy.levels[0][storage.NX])
        # each kind of sum has its own array: it is read between two barriers, and never written there
        self.of_start, self.of_rest, self.of_cycle, self.of_square, self.of_step = (
            np.zeros(count * self.slabs) for count in (3, 1, 2, 1, 1)
        )

    def run(self, uniform: bool, so_far: Progress) -> Progress:
        results: dict[int, Progress] = {}

        def work(me: int, team: int) -> None:
            results[me] = self._thread(me, team, uniform, Progress(so_far.iterations, history=list(so_far.history)))

        together(work, self.hierarchy.threads, self.hierarchy.sync)
        return results[0]

    def _thread(self, me: int, team: int, uniform: bool, p: Progress) -> Progress:
        """One thread's way through conjugate gradients: the same program in all, each on its slabs."""
        h, tables, t = self.hierarchy, self.tables, self.temperature
        f, v, sizes, sync, parallel = h.fields, h.vectors, h.sizes, h.sync, h.parallel_levels
        scratch, buffer = self._scratch()
        exact.begin(self.given, self.heat, t, v, tables, sizes, sync, me, team, self.of_start, uniform)
        norm = float(np.sqrt(self.of_start[::3].sum())) or 1.0
        measured, previous, beta = 0, np.inf, 0.0
        while not sync[3]:
            flat = uniform and measured == 0
            exact.measure(
                f, v, tables, self.given, self.heat, t, sizes, sync, me, team, buffer, self.of_rest, 1 / norm, flat
            )
            p.residual = float(np.sqrt(self.of_rest.sum()))
            if not p.history:
                p.history.append(p.residual)
            measured += 1
            if p.residual <= self.tolerance:
                p.status = "converged"
            elif not p.residual < 0.5 * previous:
                p.status = "stalled"
            if p.status != "limit" or p.iterations >= self.limit:
                return p
            previous = p.residual
            exact.exchange(f, v, tables, t, sizes, sync, me, team, buffer, norm, False)
            kernels.down_finest(f, v, tables, sync, me, team, scratch, self.of_square, 0.0, 0.0, False)
            aim = max(0.7 * self.tolerance, (FIRST_REDUCTION if measured == 1 else NEXT_REDUCTION) * p.residual)
            while not sync[3]:
                kernels.cycle(f, v, tables, sync, me, team, parallel, scratch, self.of_cycle)
                rz, zw = float(self.of_cycle[::2].sum()), float(self.of_cycle[1::2].sum())
                if rz == 0.0:
                    break
                # single precision on purpose: what is added to x and taken from r must be the same multiple
                beta = float(np.float32(rz / p.rz)) if p.rz > 0.0 else 0.0
                curvature = zw - beta * beta * p.curvature
                if not (curvature > 0.0 and rz > 0.0):
                    p.status = "suspect" if curvature <= 0.0 else "stalled"
                    break
                p.alpha, p.rz, p.curvature = float(np.float32(rz / curvature)), rz, curvature
                kernels.down_finest(f, v, tables, sync, me, team, scratch, self.of_square, p.alpha, beta, True)
                rest = float(np.sqrt(self.of_square.sum()))
                p.iterations += 1
                p.history.append(rest)
                if rest <= aim or p.iterations >= self.limit:
                    break
            exact.exchange(f, v, tables, t, sizes, sync, me, team, buffer, norm, True)
            suspect = p.status == "suspect"
            exact.largest_step(v[1], f[5], tables, sync, me, team, self.of_step, suspect, beta)
            p.step_K = p.alpha * norm * float(self.of_step.max())
            if suspect:
                return p
        return p

    def _scratch(self) -> tuple[Any, Any]:
        """Working memory of one thread."""
        row, (ny, nz) = int(self.hierarchy.levels[:, storage.M_].max()), self.hierarchy.sizes[1:3]
        return np.zeros(3 * (row + LANES), dtype=np.float32), np.zeros(ny * nz + 2 * LANES * nz)

    def curvature(self) -> float:
        """p.Ap of the direction that conjugate gradients left behind, in double precision on the given coefficients."""
        h, stencil = self.hierarchy, self.hierarchy.stencil
        direction, (x, p) = np.zeros(stencil.ground.size), h.vectors[:2]
        x[:] = p
        scratch = self._scratch()[1]

        def work(me: int, team: int) -> None:
            exact.exchange(h.fields, h.vectors, self.tables, direction, h.sizes, h.sync, me, team, scratch if me == 0
                             else self._scratch()[1], 1.0, True)  # fmt: skip

        together(work, h.threads, h.sync)
        d = direction.reshape(stencil.ground.shape)
        energy = float(np.sum(stencil.ground * d * d))
        for axis, link in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
            energy += float(np.sum(link * np.diff(d, axis=axis) ** 2))
        return energy


def _rounding(stencil: Any, heat: Floats, temperature: Floats) -> float:
    """Relative residual that rounding alone leaves in double precision: epsilon |diagonal T| / |heat|."""
    diagonal = np.abs(stencil.ground)
    for axis, link in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
        low, high = [slice(None)] * 3, [slice(None)] * 3
        low[axis], high[axis] = slice(None, -1), slice(1, None)
        diagonal[tuple(low)] += link
        diagonal[tuple(high)] += link
    scale = float(np.sqrt(np.sum(heat * heat))) or 1.0
    return float(np.finfo(float).eps * np.sqrt(np.sum((diagonal * temperature) ** 2)) / scale)


def _total_ground(hierarchy: Hierarchy) -> float:
    return float(hierarchy.stencil.ground.sum())


def _error(step: float, history: Floats) -> float:
    """Twice the last step, summed as a geometric series with the rate of the last iterations: an estimate from above
    [K].
    """
    back = min(3, len(history) - 1)
    if back == 0 or not history[-1 - back] > 0.0:
        return 2.0 * step
    rate = min((history[-1] / history[-1 - back]) ** (1.0 / back), 0.999)
    return float(2.0 * step / (1.0 - rate))

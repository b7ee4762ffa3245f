"""Set-up and solution of the heat balance: `prepare(stencil)` once, `solve(state, heat)` for each heat.

Conjugate gradients on the symmetric balance, preconditioned by the exact solution of every vertical line
of cells (in thin stacks most of the coupling is vertical). A direction of negative curvature proves that
the balance is not positive definite: with linearised leakage that is thermal runaway.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from thermsim.errors import NoWayOutError, NotConvergedError, RunawayError
from thermsim.model.assemble import Stencil

Array = NDArray[np.float64]
Status = Literal["converged", "runaway", "stalled"]

TOLERANCE = 1e-11  # of the residual, relative to the heat: leaves 1e-9 of the heat balance a wide margin

REMEDY = {
    "converged": "",
    "runaway": "lower the power or the leakage, or cool better: no steady state exists",
    "stalled": "look for a part that is all but cut off from every coolant",
}


@dataclass(frozen=True)
class State:
    """What a stencil needs for any number of solves: its matrix and the factors of its vertical lines."""

    solid: NDArray[np.bool_]
    matrix: sparse.csr_array
    lines: Array
    weakest: float


@dataclass(frozen=True)
class Solution:
    """temperature : (nx, ny, nz) [C], NaN in voids; residual relative to the heat; error_K : estimated algebraic error."""

    temperature: Array
    status: Status
    residual: float
    error_K: float
    iterations: int
    history: tuple[float, ...]

    @property
    def remedy(self) -> str:
        return REMEDY[self.status]

    def checked(self) -> Solution:
        """Itself, if it may be used.

        Raises
        ------
        RunawayError, NotConvergedError
        """
        if self.status == "runaway":
            raise RunawayError("leakage outruns the cooling", self.remedy)
        if self.status == "stalled":
            raise NotConvergedError(f"the solver stopped at a relative residual of {self.residual:.1e}", self.remedy)
        return self


def prepare(stencil: Stencil) -> State:
    """Build the matrix of a stencil and factor its vertical lines.

    Raises
    ------
    NoWayOutError : a body of cells has no link to any known temperature
    RunawayError : a vertical line alone is not positive definite
    """
    solid = stencil.solid
    number = np.full(solid.shape, -1)
    number[solid] = np.arange(solid.sum())
    diagonal = stencil.ground.copy()
    rows, columns, values = [], [], []
    for axis, conductance in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
        low, high = _pair(axis)
        diagonal[low] += conductance
        diagonal[high] += conductance
        linked = conductance > 0.0
        rows.append(number[low][linked])
        columns.append(number[high][linked])
        values.append(conductance[linked])
    row, column, value = np.concatenate(rows), np.concatenate(columns), np.concatenate(values)
    size = int(solid.sum())
    links = sparse.coo_array((-value, (row, column)), shape=(size, size))
    matrix = (links + links.T + sparse.diags_array(diagonal[solid])).tocsr()
    _check_way_out(stencil, links, solid)
    banded = np.zeros((2, size))
    banded[1] = diagonal[solid]
    vertical = np.zeros(solid.shape)
    vertical[:, :, 1:] = -stencil.conductance_z
    banded[0] = vertical[solid]
    try:
        lines = linalg.cholesky_banded(banded, check_finite=False)
    except linalg.LinAlgError:
        raise RunawayError("leakage in one column of cells outruns the cooling", REMEDY["runaway"]) from None
    return State(solid, matrix, lines, float(diagonal[solid].min()))


def solve(
    state: State,
    heat: Array,
    guess: Array | None = None,
    *,
    tolerance: float = TOLERANCE,
    reduction: float = 0.0,
    most: int = 5000,
) -> Solution:
    """Temperatures at which the balance holds.

    heat : (nx, ny, nz) [W]; guess : same shape [C]
    tolerance : of the residual relative to the heat; reduction : or relative to the residual of the guess
    """
    solid, matrix = state.solid, state.matrix
    right = heat[solid]
    temperature = np.full(right.shape, 0.0) if guess is None else guess[solid]
    residual = right - matrix @ temperature
    scale = float(np.linalg.norm(right - matrix @ np.full(right.shape, float(temperature.min())))) or 1.0
    history = [float(np.linalg.norm(residual)) / scale]
    enough = max(tolerance, reduction * history[0])
    status: Status = "converged" if history[0] <= enough else "stalled"
    direction = _along_lines(state, residual)
    energy = float(residual @ direction)
    while status == "stalled" and len(history) <= most:
        product = matrix @ direction
        curvature = float(direction @ product)
        if curvature <= 0.0:
            status = "runaway"
            break
        step = energy / curvature
        temperature += step * direction
        residual -= step * product
        history.append(float(np.linalg.norm(residual)) / scale)
        if history[-1] <= enough:
            status = "converged"
        better = _along_lines(state, residual)
        before, energy = energy, float(residual @ better)
        direction = better + (energy / before) * direction
    whole = np.full(solid.shape, np.nan)
    whole[solid] = temperature
    error = float(np.abs(_along_lines(state, right - matrix @ temperature)).max(initial=0.0)) * max(len(history), 1)
    return Solution(whole, status, history[-1], error, len(history) - 1, tuple(history))


def _along_lines(state: State, residual: Array) -> Array:
    return np.asarray(linalg.cho_solve_banded((state.lines, False), residual, check_finite=False))


def _pair(axis: int) -> tuple[tuple[slice, ...], tuple[slice, ...]]:
    """Index of the lower and of the upper cells of all inner faces across an axis."""
    low, high = [slice(None)] * 3, [slice(None)] * 3
    low[axis], high[axis] = slice(None, -1), slice(1, None)
    return tuple(low), tuple(high)


def _check_way_out(stencil: Stencil, links: sparse.coo_array, solid: NDArray[np.bool_]) -> None:
    bodies, body = sparse.csgraph.connected_components(links, directed=False)
    grounded = np.zeros(bodies, dtype=bool)
    grounded[body[stencil.ground[solid] > 0.0]] = True
    if not grounded.all():
        first = int(np.argmin(grounded))
        raise NoWayOutError(
            f"heat cannot leave region {int(stencil.box[solid][body == first][0])}",
            "let it touch a cooled part, or give a face of it a film or a temperature",
        )

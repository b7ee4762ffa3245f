"""Set-up and solution of the heat balance: `prepare(stencil)` once, `solve(state, heat)` for each heat."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError, NoWayOutError, RunawayError
from thermsim.model.assemble import Stencil
from thermsim.solver.multigrid.conjugate_gradients import conjugate_gradients
from thermsim.solver.multigrid.multigrid import Hierarchy, build, companion, refresh

Array = NDArray[np.float64]
Status = Literal["converged", "rounding", "runaway", "stalled", "limit"]

TOLERANCE = 1e-11  # relative residual of a solve, far below the 1e-9 to which a heat balance must close

# A guess that meets the tolerance is still solved to this share of its residual: only an iteration tells its error.
FURTHER_SHARE = 0.3
LARGEST_ERROR_K = 1e-3  # [K] error up to which a solution is taken when rounding stops it short of the tolerance
EPSILON = 4.0 * float(np.finfo(np.float64).eps)
# A solve that stalls with a relative residual below this is called stopped by rounding: its heat balance holds, and its
# error is told in kelvin.
ROUNDING_RESIDUAL = 1e-9
MOST_ITERATIONS = 600

REMEDY: dict[Status, str] = {
    "converged": "",
    "rounding": "",  # as close as double precision allows: whether that is close enough, the heat balance tells
    "runaway": "lower the power or the leakage, or cool better: no steady state exists",
    "stalled": "look for a part that is all but cut off from coolants, or for conductivities far from any material",
    "limit": "look for a part that is all but cut off from coolants, or for conductivities far from any material",
}


@dataclass(frozen=True, eq=False)
class State:
    """What a stencil needs for any number of solves. body : see `bodies`"""

    solid: NDArray[np.bool_]
    hierarchy: Hierarchy
    body: NDArray[np.int32] | None = None


@dataclass(frozen=True, eq=False)
class Solution:
    """temperature : (nx, ny, nz) [C], NaN in voids; residual : relative; error_K : estimated algebraic error [K]."""

    temperature: Array
    status: Status
    residual: float
    error_K: float
    iterations: int
    history: tuple[float, ...]

    @property
    def remedy(self) -> str:
        """What to do where it did not converge."""
        return REMEDY[self.status]

    def checked(self) -> Solution:
        """Itself, if it may be used.

        Raises
        ------
        RunawayError, NotConvergedError
        """
        if self.status == "runaway":
            raise RunawayError("leakage outruns the cooling", self.remedy)
        if self.status not in ("converged", "rounding"):
            raise NotConvergedError(f"the solver stopped at a relative residual of {self.residual:.1e}", self.remedy)
        if self.status == "rounding" and not self.error_K <= LARGEST_ERROR_K:
            raise NotConvergedError(f"round-off leaves {self.error_K:.1e} K of error", REMEDY["stalled"])
        return self


def prepare(stencil: Stencil, may_have_islands: bool = True) -> State:
    """Set up the multigrid hierarchy of a stencil.

    may_have_islands : whether it may consist of bodies that do not touch; False saves the search for them
    """
    return State(stencil.solid, build(stencil), bodies(stencil.solid) if may_have_islands else None)


def bodies(solid: NDArray[np.bool_]) -> NDArray[np.int32] | None:
    """(nx, ny, nz) number of the body of touching cells that each cell belongs to, 0 in voids; None for one body."""
    if solid.all():
        return None
    from scipy import ndimage

    body, count = ndimage.label(solid)
    return np.asarray(body, dtype=np.int32) if count > 1 else None


def renew(state: State, stencil: Stencil) -> State:
    """The state for new coefficients of the same grid: the pairing of cells is kept, and so is the memory.

    The old state must not be used any more.
    """
    return State(stencil.solid, refresh(state.hierarchy, stencil), state.body)


def solve(
    state: State,
    heat: Array,
    guess: Array | None = None,
    tolerance: float = TOLERANCE,
    reference_C: float = 0.0,
) -> Solution:
    """Temperatures at which the balance holds.

    heat : (nx, ny, nz) [W]; guess : same shape [C]; tolerance : of the residual, relative to the heat
    reference_C : the balance is solved for the rise over it, so that accuracy does not depend on the zero of a scale
    """
    heat = heat - reference_C * state.hierarchy.stencil.ground
    guess = _evened(state, heat) if guess is None else np.nan_to_num(guess - reference_C)
    run = conjugate_gradients(state.hierarchy, heat, guess, tolerance, MOST_ITERATIONS)
    if run.iterations == 0 and run.residual > 0.0 and run.status == "converged":
        # A guess that is good enough says nothing about its error: one step further does.
        run = conjugate_gradients(state.hierarchy, heat, guess, FURTHER_SHARE * run.residual)
    rise, off_K = _levelled(state, heat, run.temperature)
    if run.status in ("stalled", "limit"):
        run = conjugate_gradients(state.hierarchy, heat, np.nan_to_num(rise), tolerance, MOST_ITERATIONS)
        rise, off_K = _levelled(state, heat, run.temperature)
    temperature = np.where(state.solid, rise + reference_C, np.nan)
    status: Status = run.status  # type: ignore[assignment]  # one of the five
    if status in ("stalled", "limit") and run.residual <= ROUNDING_RESIDUAL:
        status = "rounding"
    history = tuple(run.history.tolist())
    return Solution(temperature, status, run.residual, run.error_K + off_K, run.iterations, history)


def _levelled(state: State, heat: Array, rise: Array) -> tuple[Array, float]:
    """Each body moved as a whole to where its heat and its ground balance, and how far that is known not to be [K].

    Conductances inside a body cancel from its sum, so its level needs no iteration. The residual says little about it
    where ground is weak: it is relative to the heat of all bodies. Told is the move, and what rounding leaves of it.
    """
    ground = state.hierarchy.stencil.ground
    holds = ground * rise
    sums = [_by_body(state, array) for array in (heat - holds, ground, np.abs(heat) + np.abs(holds))]
    with np.errstate(divide="ignore", invalid="ignore"):
        move, rounding = (np.where(sums[1] > 0.0, part / sums[1], 0.0) for part in (sums[0], EPSILON * sums[2]))
    if not np.isfinite(move).all():
        return rise, inf
    return rise + (move[0] if state.body is None else move[state.body]), float((np.abs(move) + rounding).max())


def _evened(state: State, heat: Array) -> Array | None:
    """Every body at the one temperature at which it balances; None where there is one body, which the solver does."""
    return None if state.body is None else _levelled(state, heat, np.zeros_like(heat))[0]


def _by_body(state: State, array: Array) -> Array:
    """Sums over each body; voids are number 0 and hold zeros."""
    if state.body is None:
        return np.array([np.sum(array, where=state.solid)])
    return np.asarray(np.bincount(state.body.ravel(), weights=np.where(state.solid, array, 0.0).ravel()), np.float64)


def solve_many(
    state: State, heats: Sequence[Array], tolerance: float = TOLERANCE, reference_C: float = 0.0
) -> list[Solution]:
    """As `solve` for each heat, one after another on each processor: quicker than all processors on one at a time.

    heats : (nx, ny, nz) [W] each. The bits are those of `solve`.
    """
    lanes = max(1, min(state.hierarchy.threads, len(heats)))
    if lanes == 1:
        return [solve(state, heat, None, tolerance, reference_C) for heat in heats]
    states = [State(state.solid, companion(state.hierarchy), state.body) for _ in range(lanes)]

    def work(lane: int) -> list[Solution]:
        return [solve(states[lane], heat, None, tolerance, reference_C) for heat in heats[lane::lanes]]

    with ThreadPoolExecutor(lanes) as pool:
        found = list(pool.map(work, range(lanes)))
    return [found[number % lanes][number // lanes] for number in range(len(heats))]


def check_way_out(stencil: Stencil, name_of_box: list[str]) -> None:
    """Every body of touching cells needs a link to a known temperature.

    Raises
    ------
    NoWayOutError : naming a part of the first body without one
    """
    body = bodies(stencil.solid)
    if body is None:
        body = stencil.solid.astype(np.int32)
    with_way_out = np.unique(body[stencil.ground > 0.0])
    for number in range(1, int(body.max()) + 1):
        if number not in with_way_out:
            box = int(stencil.box[body == number][0])
            raise NoWayOutError(
                f"heat cannot leave {name_of_box[box]}: it touches nothing that leads to a coolant",
                "let it touch a cooled part, or give a face of it a film or a temperature under `cooling`",
            )

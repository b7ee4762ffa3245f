"""The steady state where conductivity, power and boundaries depend on temperature.

k(T) is taken at the last temperatures (Picard); leakage, and boundaries that are not linear, are linearised at the last
face temperatures (Newton). From a cold start, with power convex in temperature, the Newton temperatures rise and never
pass the stable steady state; so a balance that is not positive definite, or temperatures that pass any a chip survives,
prove that there is none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError, RunawayError
from thermsim.model.assemble import assemble, face_plane
from thermsim.model.build import Guess, Model
from thermsim.solver.linear import TOLERANCE, Solution, State, check_way_out, prepare, renew, solve

Array = NDArray[np.float64]

ACCURACY_K = 3e-7  # of the outer iteration: below the 1e-6 K that is promised
HOTTEST_C = 3000.0  # beyond the melting point of every material here: an iterate above it has run away
MOST_STEPS = 60
# A step is solved to a relative residual of INEXACT times the last change [1/K]: its coefficients are no better.
INEXACT = 1e-6
LOOSEST = 1e-6


@dataclass(frozen=True)
class Steady:
    """A converged steady state: the last solution, and the guess its coefficients were taken at.

    steps : solves with new coefficients; iterations : of the linear solver, in all of them
    change_K : what the outer iteration has left to do [K]
    state : of the last solve, for another solve on this grid
    """

    solution: Solution
    guess: Guess
    steps: int
    iterations: int
    change_K: float
    state: State

    @property
    def error_K(self) -> float:
        """Algebraic error [K] of the linear solve and of the outer iteration together."""
        return self.solution.error_K + self.change_K


def steady_state(
    model: Model,
    guess: Guess | None = None,
    state: State | None = None,
    accuracy_K: float = ACCURACY_K,
    climb: bool = True,
) -> Steady:
    """The steady temperatures of a model.

    guess : temperatures to start from; default: everything as cold as the coldest coolant
    state : of a solve of a like model on a grid of the same cells, to be used up by this one
    accuracy_K : at which the outer iteration may stop [K]
    climb : False where the guess is a steady state of less power, so that a failure needs no second try and no limit

    Raises
    ------
    RunawayError : leakage outruns the cooling; says up to which power a steady state exists
    NotConvergedError : the iteration did not settle
    NoWayOutError : a body has no way out for its heat
    """
    try:
        return _iterate(model, guess or model.first_guess(), state, accuracy_K)
    except RunawayError as runaway:
        if not climb:
            raise
        # A guess beyond the stable state, or k that rises from a cold guess, overshoots: so the power is raised slowly.
        limit, steady = _climb(model, 1.0)
        if limit == 1.0 and steady is not None:
            return steady
        raise _with_limit(model, runaway, limit) from None


def _iterate(model: Model, guess: Guess, state: State | None = None, accuracy_K: float = ACCURACY_K) -> Steady:
    """Solve with coefficients at the last temperatures, a little further than the coefficients are right.

    k(T) and the tangent of leakage shrink a change by `ratio` in each step, a few percent on ordinary stacks.
    """
    change, ratio, iterations = np.inf, 0.9, 0
    for step in range(1, MOST_STEPS + 1):
        stencil = assemble(model, guess)
        if step == 1 and model.may_have_islands:
            check_way_out(stencil, [region.name for region in model.regions])
        last = model.is_linear or change * ratio**2 < accuracy_K
        enough = TOLERANCE if last else float(np.clip(INEXACT * change, TOLERANCE, LOOSEST))
        state = prepare(stencil, model.may_have_islands) if state is None else renew(state, stencil)
        solution = solve(state, stencil.heat, guess.temperature, enough, model.coldest_C).checked()
        iterations += solution.iterations
        if model.is_linear:
            return Steady(solution, guess, step, iterations, 0.0, state)
        if float(np.nanmax(solution.temperature)) > HOTTEST_C:
            raise _too_hot(model)
        after = guess_from(model, solution.temperature, guess)
        before, change = change, _largest_change(guess, after, stencil.solid)
        ratio = min(change / before, 0.9) if np.isfinite(before) and before > 0.0 else 0.9
        left = change * ratio / (1.0 - ratio)  # the steps to come, as a geometric series
        if left < accuracy_K and (solution.residual <= TOLERANCE or solution.status == "rounding"):
            return Steady(solution, guess, step, iterations, left, state)
        guess = after
    raise NotConvergedError(
        f"temperature and power still move by {change:.1e} K after {MOST_STEPS} steps",
        "close to runaway, or a conductivity that jumps with temperature: lower the power, or smooth its table",
    )


def _too_hot(model: Model) -> RunawayError | NotConvergedError:
    if any(source.leakage is not None for source in model.sources):
        return RunawayError("leakage outruns the cooling", "lower the power or the leakage, or cool better")
    return NotConvergedError(
        f"temperatures pass {HOTTEST_C:g} C, where no material here is solid",
        "look for a slip in powers, joints or coolant films",
    )


def _largest_change(before: Guess, after: Guess, solid: NDArray[np.bool_]) -> float:
    return float(np.abs(after.temperature - before.temperature)[solid].max())


def guess_from(model: Model, temperature: Array, guess: Guess) -> Guess:
    """Temperatures of a solution (nx, ny, nz), in the form that coefficients are taken at."""
    filled = np.nan_to_num(temperature, nan=model.coldest_C)
    return model.guess(filled, heated_faces(model, temperature, guess), surfaces(model, temperature, guess))


def surfaces(model: Model, temperature: Array, guess: Guess) -> dict[tuple[int, int], Array]:
    """Temperatures [C] of the planes where a boundary is not linear, on the side of the stack."""
    found = {}
    for axis, face in model.curved_planes:
        cells = np.moveaxis(model.region >= 0, axis, 0)
        solid_above = cells[face] if face < len(cells) else np.zeros(cells.shape[1:], dtype=bool)
        under, over = nodes(model, axis, face, temperature, guess)
        found[axis, face] = np.nan_to_num(np.where(solid_above, over, under), nan=model.coldest_C)
    return found


def heated_faces(model: Model, temperature: Array, guess: Guess) -> tuple[Array, ...]:
    """Temperatures (nx, ny) [C] of each heated face; the coldest known one where there is no face."""
    faces = []
    for source in model.face_sources:
        under, over = nodes(model, 2, source.face, temperature, guess)
        faces.append(np.nan_to_num(under if source.side == "lower" else over, nan=model.coldest_C))
    return tuple(faces)


def nodes(model: Model, axis: int, face: int, temperature: Array, guess: Guess) -> tuple[Array, Array]:
    """Temperatures [C] of a plane of faces across an axis, under and over a joint there; NaN where there is no face."""
    nothing = np.full(model.grid.face_area(axis).shape, np.nan)
    below = np.take(temperature, face - 1, axis=axis) if face > 0 else nothing
    above = np.take(temperature, face, axis=axis) if face < model.grid.shape[axis] else nothing
    return face_plane(model, axis, face, guess).nodes(below, above)


def power_limit(model: Model, most: float = 1.0) -> float:
    """Share of the power (up to `most`) at which a steady state ceases to exist, to 0.1 %."""
    return _climb(model, most)[0]


def _climb(model: Model, most: float) -> tuple[float, Steady | None]:
    """The largest share of the power up to `most` that is found steady, and that state.

    Each state starts from the one at less power, which is colder everywhere; a step that fails is halved.
    """
    share, step, steady, guess = 0.0, 0.5 * most, None, model.first_guess()
    while share < most and step > 5e-4 * (share or most):
        trial = scaled_power(model, share + step)
        try:
            steady = _iterate(trial, guess)
        except (RunawayError, NotConvergedError):
            step *= 0.5
            continue
        share += step
        guess = guess_from(trial, steady.solution.temperature, steady.guess)
    return share, steady


def scaled_power(model: Model, share: float) -> Model:
    """The same model with every heat source multiplied."""
    return replace(
        model,
        face_sources=tuple(replace(source, watts=share * source.watts) for source in model.face_sources),
        volume_sources=tuple(replace(source, watts=share * source.watts) for source in model.volume_sources),
    )


def _with_limit(model: Model, runaway: RunawayError, limit: float) -> RunawayError:
    total = sum(float(source.watts.sum()) for source in model.sources)
    error = RunawayError(
        f"{runaway.what}: at {total:.1f} W no steady state exists (thermal runaway)",
        f"a steady state exists up to about {limit * total:.1f} W ({100 * limit:.1f} % of the power, same cooling); "
        "lower the power or the leakage, or cool better",
    )
    error.share = limit
    return error

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
from thermsim.model.assemble import assemble
from thermsim.model.build import Guess, Model
from thermsim.rounding import four_digits_down
from thermsim.solver.coolant import closed
from thermsim.solver.guesses import guess_from
from thermsim.solver.linear import TOLERANCE, Solution, State, check_way_out, prepare, renew, solve
from thermsim.solver.mixing import Mixing
from thermsim.solver.runaway_limit import HOTTEST_C, Limit, limit_of

Array = NDArray[np.float64]

ACCURACY_K = 3e-7  # [K] of the outer iteration: well below the 1e-6 K that is promised
MOST_STEPS = 60
# A linear solve goes to a relative residual of this [1/K] times the last change of temperature [K]: its coefficients
# are no better than that change.
RESIDUAL_PER_KELVIN = 1e-6
LOOSEST_RESIDUAL = 1e-6  # the largest relative residual of such a solve


@dataclass(frozen=True)
class Steady:
    """A converged steady state: the last solution, and the guess its coefficients were taken at.

    steps : solves with new coefficients; iterations : of the linear solver, in all of them
    change_K : what the outer iteration has left to do [K]
    state : of the last solve, for another solve on this grid
    coolant_C : of the coolant loop [C], None without one
    """

    solution: Solution
    guess: Guess
    steps: int
    iterations: int
    change_K: float
    state: State
    coolant_C: float | None = None

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
        return _iterate_closed(model, guess or model.first_guess(), state, accuracy_K)
    except (RunawayError, NotConvergedError) as failure:
        is_cold = not any(source.watts.any() for source in model.sources)
        if not climb or is_cold or (model.is_linear and isinstance(failure, NotConvergedError)):
            raise
        # A guess beyond the stable state, or k that rises from a cold guess, overshoots: so temperatures are raised.
        top = limit_of(model, up_to=1.0)
        if top.share < 1.0:
            raise _with_limit(model, failure, top) from None
        place, off_K = top.at(1.0, accuracy_K)
        solution, state = top.line.solved(place, 1.0)
        return Steady(solution, place.guess, top.line.steps, solution.iterations, off_K, state, place.coolant_C)


def _iterate_closed(model: Model, guess: Guess, state: State | None, accuracy_K: float) -> Steady:
    """As `iterate`; the coolant of a loop is found with it."""
    if model.loop is None:
        return iterate(model, guess, state, accuracy_K)
    found: list[Steady] = []

    def solve_at(here: Model, begin: Guess, enough_K: float) -> tuple[Array, Guess]:
        found.append(iterate(here, begin, found[-1].state if found else state, enough_K))
        return found[-1].solution.temperature, found[-1].guess

    coolant_C, off_K = closed(model, guess, solve_at, accuracy_K)
    steps, iterations = (sum(getattr(one, name) for one in found) for name in ("steps", "iterations"))
    change_K = found[-1].change_K + off_K
    return replace(found[-1], steps=steps, iterations=iterations, change_K=change_K, coolant_C=coolant_C)


def iterate(
    model: Model, guess: Guess, state: State | None = None, accuracy_K: float = ACCURACY_K, most_steps: int = MOST_STEPS
) -> Steady:
    """Solve with coefficients at the last temperatures, a little further than the coefficients are right.

    k(T) and the tangent of leakage shrink a change by `ratio` in each step, a few percent on ordinary stacks. Next to a
    limit it is near 1; then what came before is extrapolated (`Mixing`), and an error is so many times a change as
    changes of the start were of it.
    """
    change, ratio, left, iterations = np.inf, 0.9, np.inf, 0
    mixing = Mixing()
    for step in range(1, most_steps + 1):
        try:
            stencil = assemble(model, guess)
            if step == 1 and model.may_have_islands:
                check_way_out(stencil, [region.name for region in model.regions])
            last = model.is_linear or left * ratio < accuracy_K
            enough = TOLERANCE if last else float(np.clip(RESIDUAL_PER_KELVIN * change, TOLERANCE, LOOSEST_RESIDUAL))
            state = prepare(stencil, model.may_have_islands) if state is None else renew(state, stencil)
            solution = solve(state, stencil.heat, guess.temperature, enough, model.coldest_C).checked()
        except RunawayError:
            if mixing.is_idle:
                raise
            guess, change, ratio, left = mixing.given_up(), np.inf, 0.9, np.inf  # it may have gone too far
            continue
        iterations += solution.iterations
        if model.is_linear:
            return Steady(solution, guess, step, iterations, 0.0, state)
        if float(np.nanmax(solution.temperature)) > HOTTEST_C and mixing.is_idle:
            raise too_hot(model)
        after = guess_from(model, solution.temperature, guess)
        before, change = change, _largest_change(guess, after, stencil.solid)
        ratio = change / before if np.isfinite(before) and before > 0.0 else 0.9
        left = change * ratio / (1.0 - ratio) if ratio < 1.0 else np.inf  # the steps to come, as a geometric series
        mixed = mixing.next(model, guess, after, ratio)
        if mixing.times_change is not None:
            left = mixing.times_change * (change + solution.error_K)
        if left < accuracy_K and (solution.residual <= TOLERANCE or solution.status == "rounding"):
            return Steady(solution, guess, step, iterations, left, state)
        guess = mixed
    raise NotConvergedError(
        f"temperature and power still move by {change:.1e} K after {most_steps} steps",
        "close to runaway, or a conductivity that jumps with temperature: lower the power, or smooth its table",
    )


def too_hot(model: Model) -> RunawayError | NotConvergedError:
    """The error for temperatures beyond all sense: a runaway where something leaks, else a slip in the case."""
    if any(source.leakage is not None for source in model.sources):
        return RunawayError("leakage outruns the cooling", "lower the power or the leakage, or cool better")
    return NotConvergedError(
        f"temperatures pass {HOTTEST_C:g} C, where no material here is solid",
        "look for a slip in powers, joints or coolant films",
    )


def _largest_change(before: Guess, after: Guess, solid: NDArray[np.bool_]) -> float:
    return float(np.abs(after.temperature - before.temperature)[solid].max())


def _with_limit(
    model: Model, failure: RunawayError | NotConvergedError, top: Limit
) -> RunawayError | NotConvergedError:
    if not any(source.leakage is not None for source in model.sources):
        return failure
    total = sum(float(source.watts.sum()) for source in model.sources)
    none = f"no steady state below {HOTTEST_C:g} C exists" if top.is_hot else "no steady state exists"
    sure = top.share * (1.0 - top.doubt)
    error = RunawayError(
        f"leakage outruns the cooling: at {total:.1f} W typed {none} (thermal runaway)",
        f"a steady state exists up to about {four_digits_down(sure * total)} W typed "
        f"({four_digits_down(100 * sure)} % of the power, "
        "same cooling; leakage at the temperatures found comes to it); lower the power or the leakage, or cool better",
    )
    error.share, error.share_doubt = top.share, top.doubt
    return error

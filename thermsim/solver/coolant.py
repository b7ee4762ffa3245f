"""The coolant of a loop at a steady state: as warm as the heat makes it that the stack gives at that temperature.

With the coolant at T_w, the stack gives the loop Q(T_w), and the loop is at  T_w = still + R Q(T_w), see
`model/physics/coolant_loop.py`. Q is a straight line where the heat balance is linear, and constant where no heat
leaves but by the loop and none leaks; so one solve, or a secant of two, does. Leakage makes the loop's own share of a
runaway: where  R dQ/dT_w  reaches 1, a warmer coolant lets the stack make all the heat that keeps it so. Then the
search starts from the coldest coolant, from which secants of a convex Q come up from below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError, RunawayError
from thermsim.model.build import Guess, Model
from thermsim.solver.guesses import guess_from
from thermsim.solver.outflow import to_loop_W

Array = NDArray[np.float64]

SHARE_OF_ACCURACY = 0.1  # of the accuracy of an outer iteration that the coolant may take
ROUNDING = 1e-9  # of its rise, to which the coolant is found at best: heats are sums of many faces
MOST_STEPS = 30

ROUGH_K, ROUGH_SHARE = 1e-2, 1e-3  # accuracy while the coolant still moves: at most, and of its last move

# Of a model whose coolant is known, from a guess, to an accuracy [K]: temperatures (nx, ny, nz) [C], and the guess that
# their coefficients were taken at.
Solve = Callable[[Model, Guess, float], tuple[Array, Guess]]


def closed(model: Model, guess: Guess, solve: Solve, accuracy_K: float) -> tuple[float, float]:
    """The coolant of the loop [C], at which the last call of `solve` was, and how far it may be off [K].

    Raises
    ------
    RunawayError : leakage outruns the cooling by the loop
    NotConvergedError
    """
    loop = model.loop
    assert loop is not None  # who asks has one
    leaks = any(source.leakage is not None for source in model.sources)
    at_C = loop.still_C if leaks else loop.coolant_C(sum(float(source.watts.sum()) for source in model.sources))
    before: tuple[float, float, Array] | None = None
    rough_K = max(accuracy_K, ROUGH_K) if leaks else accuracy_K
    for _ in range(MOST_STEPS):
        here = model.at_coolant(at_C)
        temperature, guess = solve(here, guess, rough_K)
        off = loop.coolant_C(to_loop_W(here, guess, temperature)) - at_C
        slope = 0.0 if before is None or at_C == before[0] else 1.0 + (off - before[1]) / (at_C - before[0])
        if slope >= 1.0:
            raise RunawayError("leakage outruns the cooling", "lower the power or the leakage, or cool better")
        left = off / (1.0 - slope)
        enough = max(SHARE_OF_ACCURACY * accuracy_K, ROUNDING * abs(at_C - loop.still_C))
        if abs(left) <= enough and rough_K <= accuracy_K and not (leaks and before is None):
            return at_C, abs(left)
        rough_K = max(accuracy_K, min(rough_K, ROUGH_SHARE * abs(left)))
        guess = _next_guess(here, guess, temperature, before, at_C, left)
        before, at_C = (at_C, off, temperature), at_C + left
    raise NotConvergedError(
        f"the coolant of the loop still moves by {abs(left):.1e} K after {MOST_STEPS} steps",
        "close to runaway: lower the power or the leakage, or cool the loop better",
    )


def _next_guess(
    model: Model, guess: Guess, temperature: Array, before: tuple[float, float, Array] | None, at_C: float, left: float
) -> Guess:
    """Temperatures to begin with where the coolant is warmer by `left`: of a linear model all but the solution."""
    if not model.is_linear:
        return guess_from(model, temperature, guess)
    share = None if before is None or at_C == before[0] else left / (at_C - before[0])
    moved = left if share is None or before is None else share * (temperature - before[2])
    return replace(guess, temperature=np.nan_to_num(temperature + moved, nan=model.coldest_C))

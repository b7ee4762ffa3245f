"""Make a small model of a case from full solves, and measure its doubts on others that it has not seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import NotConvergedError, ThermsimError
from thermsim.model.assemble import Stencil, assemble
from thermsim.model.build import Guess, Model, build_model
from thermsim.model.coefficients.entries import Layout
from thermsim.model.coefficients.groups import Numbers, check_varies, numbers, topology
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.nearby.small_model import BLOCK_CASES, CELLS, SOLVE_K, Reduced, features, scale
from thermsim.nearby.small_model_answers import readout_of
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.readout.observable import Answers
from thermsim.solver.guesses import guess_from
from thermsim.solver.linear import State, renew, solve
from thermsim.solver.reduced import Groups, energy_basis, groups, small_model, sum_of_terms
from thermsim.solver.steady import MOST_STEPS, steady_state

Array = NDArray[np.float64]

WIDEN = 3.0  # half width of the range of an input over its tolerance
# Where an input has a bound that it must not reach, the range leaves at least this share of the way from its value to
# the bound.
LEAST_SHARE = 0.05
SOLVED, HELD_OUT = 48, 32
MOST_VECTORS = 44
# Relative accuracy to which coefficients that depend on temperature are interpolated. On the demo 1e-5 leaves ten times
# the misses of 3e-6, and 1e-8 no fewer for twice as many terms.
INTERPOLATION = 2e-6
SAFETY = 3.0
# Quantile of the energy of the held-out cases below which energies are not told apart: the least that a doubt is scaled
# with.
LEAST_ENERGY_QUANTILE = 0.25
TINY = 1e-300
# One in so many of the solved cases is chosen where the model is worst; the others fill the ranges evenly.
PICKED_ONE_IN = 3
ROUNDS, CANDIDATES = 2, 512  # rounds of choosing such cases; cases to choose from
PROBES = 4  # full solves whose coefficients tell the groups of entries
# [K] Coefficients of a case that a basis is made from are taken at temperatures so near its own: any basis serves that
# holds nearly what is asked, and what it lacks is in the doubts.
NEAR_K = 0.1
NEAR_RESIDUAL = 1e-8  # relative, of its linear solves
SEED = 9_173


def reduce(
    case: Case,
    *,
    varied: Sequence[Input] | None = None,
    widen: float = WIDEN,
    plan: GridPlan | None = None,
    multiplier: int = 1,
    solved: int = SOLVED,
    held_out: int = HELD_OUT,
    most_vectors: int | None = MOST_VECTORS,
    candidates: int = CANDIDATES,
    limits: tuple[Array, Array] | None = None,
    seed: int = SEED,
    watch: Callable[[int, int], None] | None = None,
    more: Callable[[Reduced], int] | None = None,
) -> Reduced:
    """Make a small model from full solves: most spread evenly, the last third where its own estimate is worst.

    varied : inputs that vary; those with a tolerance unless given. Ranges are `widen` tolerances to either side, as far
        as an input may go.
    plan, multiplier : the grid; of about 100 000 cells unless given
    solved, held_out : full solves that the basis is made from, and that doubts are measured on
    most_vectors : of the basis; one for each solved case where that is None
    candidates : from which the last third is picked
    limits : (inputs,) lowest and highest values of the varied inputs, in place of what `widen` makes of tolerances
    watch : called after each solve with their number so far and in all
    more : asked with each model whose doubts are known how many more cases it shall be made from, all of them where its
        own estimate is worst; 0 to leave it so

    Raises
    ------
    ThermsimError : an input, a leakage or a conductivity that a small model cannot follow, or a range that is none
    RunawayError, NotConvergedError, NoWayOutError : from the full solves
    """
    chosen = tuple(one for one in inputs(case) if one.plus_minus > 0.0) if varied is None else tuple(varied)
    check_varies(case, chosen)
    grid_plan = plan or plan_grid(case, CELLS)
    low, high = ranges(chosen, widen) if limits is None else limits
    if backward := [one.path for one, least, most in zip(chosen, low, high, strict=True) if least > most]:
        raise ThermsimError(f"the range of {backward[0]} ends below where it begins", "give the lower end first")
    work = _FullSolves(case, chosen, grid_plan, multiplier)
    picked = solved // PICKED_ONE_IN
    spread = _spread(low, high, solved - picked + held_out, seed)
    total = 1 + solved + held_out
    training = _Training(work, low, high, lambda done: watch(done, total) if watch is not None else None)
    training.add(np.array([one.value for one in chosen]))
    for row in spread[: solved - picked]:
        training.add(row)
    table = low + (high - low) * np.random.default_rng(seed).random((candidates, len(chosen)))
    given = [work.numbers(rows) for rows in _in_blocks(table)]

    def pick(count: int, model: Reduced) -> None:
        for row in table[np.argsort(_energies(model, given, table))[::-1][:count]]:
            training.add(row, model.rise(row))

    # To choose, and to start solves from, a coarse model does.
    coarse = MOST_VECTORS if most_vectors is None else min(MOST_VECTORS, most_vectors)
    for count in np.diff(np.linspace(0, picked, ROUNDS + 1).astype(int)).tolist():
        pick(count, training.model(coarse))
    model = training.model(most_vectors)
    checks = []
    for row in spread[solved - picked :]:
        checks.append(work.solve(row, model.rise(row), whole=True).answers)
        if watch is not None:
            watch(len(training.seen) + len(checks), total)
    model = _judged(model, np.array(training.rows), spread[solved - picked :], checks)
    while more is not None and (count := more(model)) > 0:
        total += count
        pick(count, model)
        model = _judged(training.model(most_vectors), np.array(training.rows), spread[solved - picked :], checks)
    return model


def _in_blocks(table: Array) -> list[Array]:
    return [table[first : first + BLOCK_CASES] for first in range(0, len(table), BLOCK_CASES)]


def _energies(model: Reduced, given: list[Numbers], table: Array) -> Array:
    """(n,) what the second half of the basis adds; below zero where there is no steady state to learn from."""
    basis = [features(model.varied, model.low, model.high, rows) for rows in _in_blocks(table)]
    found = np.concatenate([model.coefficients(one, rows)[1] for one, rows in zip(given, basis, strict=True)])
    return np.where(np.isfinite(found), found, -1.0)


class _Training:
    """The cases solved so far, and the small model that they make."""

    def __init__(self, work: _FullSolves, low: Array, high: Array, tell: Callable[[int], None]) -> None:
        self.work, self.low, self.high, self.tell = work, low, high, tell
        self.rows: list[Array] = []
        self.seen: list[_Solved] = []
        self.parts: Groups | None = None

    def add(self, row: Array, rise: Array | None = None) -> None:
        """rise : (cells,) expected temperatures [K], to start from"""
        if rise is None and self.rows:
            rise = _expected(self.work.varied, self.low, self.high, np.array(self.rows), self.seen, row)
        self.seen.append(self.work.solve(row, rise))
        self.rows.append(row)
        if len(self.seen) == PROBES:
            self.parts = _sort(self.work, self.seen)
        if self.parts is not None:
            self.seen[-1].keep(self.parts)
        self.tell(len(self.seen))

    def model(self, most_vectors: int | None) -> Reduced:
        assert self.parts is not None
        return _project(self.work, self.parts, self.seen, np.array(self.rows), self.low, self.high, most_vectors)


def ranges(varied: Sequence[Input], widen: float) -> tuple[Array, Array]:
    """(inputs,) lowest and highest values: so many tolerances to either side, as far as an input may go."""
    low = np.array([one.value - widen * one.plus_minus for one in varied])
    high = np.array([one.value + widen * one.plus_minus for one in varied])
    for number, one in enumerate(varied):
        high[number] = min(high[number], one.bounds.high)
        low[number] = max(low[number], one.bounds.least(one.value, LEAST_SHARE))
    return low, high


def _spread(low: Array, high: Array, count: int, seed: int) -> Array:
    """(count, inputs) even over the ranges: a Latin hypercube (McKay, Beckman, Conover 1979, from memory)."""
    rng = np.random.default_rng(seed)
    layer = rng.permuted(np.tile(np.arange(count), (len(low), 1)), axis=1).T
    return np.asarray(low + (high - low) * (layer + rng.random(layer.shape)) / count)


@dataclass(eq=False)
class _Solved:
    """One full solve: temperatures over the coldest coolant (cells,), coefficients (all, or the uneven), answers (all,
    or none)."""

    rise: Array
    coefficients: Array
    answers: Answers[float]
    stencil: Stencil | None
    kept: bool = False

    def keep(self, parts: Groups) -> None:
        """Of the coefficients only those that change each by itself."""
        if not self.kept:
            self.coefficients, self.kept = self.coefficients[parts.uneven], True


class _FullSolves:
    """Full solves of cases near one; each starts from the temperatures of the base."""

    def __init__(self, case: Case, varied: tuple[Input, ...], plan: GridPlan, multiplier: int) -> None:
        self.case, self.varied, self.plan, self.multiplier = case, varied, plan, multiplier
        self.known = {one.path: one for one in varied}
        self.base = topology(case, build_model(case, plan.grid(multiplier)))
        self.layout = Layout(self.base.model.grid.shape)
        self.reference_C = self.base.model.coldest_C
        self.start: Field | None = None
        self.state: State | None = None

    def case_of(self, row: Array) -> Case:
        return with_inputs(self.case, dict(zip(self.known, row.tolist(), strict=True)), self.known)

    def numbers(self, rows: Array) -> Numbers:
        return numbers(self.base, [self.case_of(row) for row in rows])

    def solve(self, row: Array, rise: Array | None = None, whole: bool = False) -> _Solved:
        """One full solve for a basis, or for a check (`whole`: all answers, no coefficients, to SOLVE_K).

        rise : (cells,) expected temperatures over the coldest coolant of the base [K], to start from
        """
        case = self.case_of(row)
        model = build_model(case, alike(self.plan, self.case, case).grid(self.multiplier))
        guess = None
        if self.start is not None:
            cells = self.start.temperature if rise is None else self.reference_C + rise.reshape(model.grid.shape)
            guess = model.guess(np.nan_to_num(cells, nan=self.reference_C), self.start.heated_face)
        if guess is not None and not whole:
            return self._near(model, guess)
        steady = steady_state(model, guess, self.state, SOLVE_K)
        field = Field.of(model, steady)
        self.state = steady.state
        self.start = self.start or field
        if whole:
            return _Solved(self._rise(field.temperature), np.empty(0), answers(case, field), None)
        return self._solved(field.temperature)

    def _near(self, model: Model, guess: Guess) -> _Solved:
        """Temperatures of a model to NEAR_K at least, which a basis needs; leakage is linear here, and exact."""
        for _ in range(MOST_STEPS):
            stencil = assemble(model, guess)
            assert self.state is not None
            self.state = renew(self.state, stencil)
            found = solve(self.state, stencil.heat, guess.temperature, NEAR_RESIDUAL, model.coldest_C).checked()
            if np.nanmax(np.abs(found.temperature - guess.temperature)) < NEAR_K:
                return self._solved(found.temperature)
            guess = guess_from(model, found.temperature, guess)
        raise NotConvergedError("conductivity and temperature do not settle")

    def _rise(self, temperature: Array) -> Array:
        return np.nan_to_num(temperature - self.reference_C, nan=0.0).ravel()

    def _solved(self, temperature: Array) -> _Solved:
        """What the last solve leaves for a basis."""
        assert self.state is not None
        stencil = self.state.hierarchy.stencil
        return _Solved(self._rise(temperature), self.layout.vector(stencil), Answers(), stencil)


def _expected(
    varied: Sequence[Input], low: Array, high: Array, table: Array, seen: list[_Solved], row: Array
) -> Array | None:
    """(cells,) what the cases solved so far let expect, by a linear fit; None while they are too few."""
    known = features(varied, low, high, np.vstack([table, row]))
    known = known[:, : 1 + known.shape[1] // 2]
    if len(seen) < 2 * known.shape[1]:
        return None
    shares = known[-1] @ np.linalg.pinv(known[:-1])
    return np.asarray(sum(share * one.rise for share, one in zip(shares, seen, strict=True)))


def _sort(work: _FullSolves, seen: list[_Solved]) -> Groups:
    parts = groups(work.base, np.array([one.coefficients for one in seen]))
    for one in seen:
        one.keep(parts)
    return parts


def _project(
    work: _FullSolves, parts: Groups, seen: list[_Solved], table: Array, low: Array, high: Array, most: int | None
) -> Reduced:
    base, stencil = work.base, seen[0].stencil
    assert stencil is not None
    rises = np.array([one.rise for one in seen])
    vectors, _ = energy_basis(stencil, rises, most)
    whole = sum_of_terms(parts, np.array([one.coefficients for one in seen]), INTERPOLATION)
    small = small_model(base, whole, vectors, numbers(base, [work.case]), work.reference_C)
    known = features(work.varied, low, high, table)
    from_stencil = np.linalg.lstsq(vectors.T @ vectors, vectors.T @ rises.T, rcond=None)[0].T
    start = np.linalg.lstsq(known, from_stencil, rcond=None)[0]
    readout = readout_of(base, vectors, [work.case_of(low), work.case_of(high)])
    ratio, span = np.full(len(readout.questions), np.inf), np.full(len(readout.questions), np.nan)
    return Reduced(
        base, work.plan, work.multiplier, work.varied, low, high, vectors, small, readout, start, ratio, 0.0, span, span
    )


def _judged(model: Reduced, seen: Array, table: Array, checks: list[Answers[float]]) -> Reduced:
    """The model with its doubts per energy, from cases it has not seen, and the span of its answers in all."""
    blocks = [model.block(rows) for rows in _in_blocks(table)]
    truth = np.array([[check[question] for question in model.questions] for check in checks])
    energy = np.concatenate([energy for _, energy in blocks])
    misses = np.abs(np.concatenate([found for found, _ in blocks]) - truth)
    least = float(np.quantile(energy, LEAST_ENERGY_QUANTILE))
    relative = misses / scale(energy, least)[:, None]
    usual = np.maximum(np.sqrt(np.mean(relative**2, axis=0)), TINY)
    worst = float(np.max(relative / usual))  # over all answers: one that came out well by luck is held to the others
    known = np.concatenate([truth, *(model.block(rows)[0] for rows in _in_blocks(seen))])
    lowest, highest = known.min(axis=0), known.max(axis=0)
    return replace(model, ratio=SAFETY * worst * usual, least=least, lowest=lowest, highest=highest)

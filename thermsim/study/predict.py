"""From a case to trusted temperatures: the pipeline, on a family of grids until the mesh doubt is small enough."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.schema import Case
from thermsim.errors import MemoryLimitError
from thermsim.field import Field
from thermsim.ladder import Ladder, ladder
from thermsim.model.build import build_model
from thermsim.model.grid import Grid
from thermsim.model.plan import BYTES_PER_CELL, FIRST_GRID_CELLS, MULTIPLIERS, plan_grid
from thermsim.solver.steady import steady_state
from thermsim.study.answers import Question, answers, temperatures
from thermsim.study.bounds import Bounds, source_bounds
from thermsim.study.convergence import Doubt, doubts
from thermsim.study.memory import allowed_GB
from thermsim.study.remarks import remarks
from thermsim.study.rounding import two_digits_up
from thermsim.units import GIGABYTE

Array = NDArray[np.float64]

FEWEST_GRIDS = 3


@dataclass(frozen=True)
class MeshStep:
    """One grid of the study. size : cell width relative to the plan's; answers : all of them on this grid."""

    multiplier: int
    cells: int
    seconds: float
    iterations: int
    error_K: float
    balance_relative: float
    answers: dict[Question, float]

    @property
    def size(self) -> float:
        return 1.0 / self.multiplier


@dataclass(frozen=True)
class Prediction:
    """Answers of the finest grid, each with its doubt, and the field they were read off."""

    case: Case
    field: Field
    steps: tuple[MeshStep, ...]
    doubts: dict[Question, Doubt]
    ladder: Ladder | None
    accuracy_K: float
    status: Literal["accuracy held", "accuracy not held"]
    bounds: Bounds | None = None  # of the power-weighted mean source temperature, on the last grid

    @property
    def answers(self) -> dict[Question, float]:
        return self.steps[-1].answers

    @property
    def worst(self) -> tuple[Question, Doubt]:
        """The temperature with the widest mesh doubt."""
        question = max(temperatures(self.doubts), key=lambda question: self.doubts[question].half_width)
        return question, self.doubts[question]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be said beside the numbers: accuracy not held, ranges left, likely slips of the case."""
        return remarks(self)

    def _repr_html_(self) -> str:
        from thermsim.report.tables import html

        return html(self)


def predict(
    case: Case,
    *,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    first_cells: int = FIRST_GRID_CELLS,
    watch: Callable[[MeshStep, float], None] | None = None,
) -> Prediction:
    """Predict a case on three or more grids, until every temperature's mesh doubt is below the accuracy asked.

    Parameters
    ----------
    accuracy_K : instead of the case's own [K]
    memory_GB : no grid is begun that would need more [GB]; 4, or most of what is free, unless given
    first_cells : cells of the first grid
    watch : called after each grid with the step and the worst doubt [K] so far (inf before the third grid)

    Raises
    ------
    MemoryLimitError : not even three grids fit, or more was allowed than is free
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError, BoundsError : see `thermsim.errors`
    """
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    memory_GB = allowed_GB(memory_GB)
    plan = plan_grid(case, first_cells)
    steps: list[MeshStep] = []
    field: Field | None = None
    judged: dict[Question, Doubt] = {}
    held = False
    least = plan.cells(MULTIPLIERS[FEWEST_GRIDS - 1]) * BYTES_PER_CELL / GIGABYTE
    if least > memory_GB:
        raise MemoryLimitError(
            f"a mesh study takes {FEWEST_GRIDS} grids at least, which need {two_digits_up(least)} GB, "
            f"and {memory_GB:.2g} GB may be used",
            f"allow more: `--memory {two_digits_up(least)}`",
        )
    for multiplier in MULTIPLIERS:
        if plan.cells(multiplier) * BYTES_PER_CELL / GIGABYTE > memory_GB:
            break
        start = time.perf_counter()
        grid = plan.grid(multiplier)
        field, iterations = _solve_on(case, grid, field)
        found = answers(case, field)
        steps.append(
            MeshStep(
                multiplier,
                grid.cells,
                time.perf_counter() - start,
                iterations,
                field.error_K,
                field.heat_balance_relative,
                found,
            )
        )
        judged = judge(steps) if len(steps) >= FEWEST_GRIDS else {}
        worst = max((judged[question].half_width for question in temperatures(judged)), default=float("inf"))
        if watch is not None:
            watch(steps[-1], worst)
        held = worst <= wanted
        if held:
            break
    assert field is not None
    status: Literal["accuracy held", "accuracy not held"] = "accuracy held" if held else "accuracy not held"
    return Prediction(case, field, tuple(steps), judged, ladder(field), wanted, status, source_bounds(field))


def judge(steps: list[MeshStep]) -> dict[Question, Doubt]:
    """The mesh doubt of every answer from three or more grids."""
    questions = list(steps[-1].answers)
    table = np.array([[step.answers[question] for question in questions] for step in steps])
    sizes = np.array([step.size for step in steps])
    noise = max(step.error_K for step in steps)
    return dict(zip(questions, doubts(table, sizes, noise), strict=True))


def _solve_on(case: Case, grid: Grid, coarser: Field | None) -> tuple[Field, int]:
    model = build_model(case, grid)
    guess = None if coarser is None else model.guess(*_carried_over(coarser, grid))
    steady = steady_state(model, guess)
    return Field(model, steady.guess, steady.solution.temperature, steady.error_K).checked(), steady.iterations


def _carried_over(coarser: Field, grid: Grid) -> tuple[Array, tuple[Array, ...]]:
    """Temperatures of a coarser grid and its heated faces on a finer one, linear between cell centres."""
    temperature = np.nan_to_num(coarser.temperature, nan=coarser.model.coldest_C)
    faces = coarser.heated_face
    for axis in range(3):
        temperature = _between(temperature, axis, coarser.model.grid, grid)
        if axis < 2:
            faces = tuple(_between(face, axis, coarser.model.grid, grid) for face in faces)
    return temperature, faces


def _between(values: Array, axis: int, coarse: Grid, fine: Grid) -> Array:
    have, want = coarse.axes[axis].centres, fine.axes[axis].centres
    if len(have) == 1:
        return np.repeat(values, len(want), axis=axis)
    low = np.clip(np.searchsorted(have, want) - 1, 0, len(have) - 2)
    share = np.clip((want - have[low]) / (have[low + 1] - have[low]), 0.0, 1.0)
    share = share.reshape([-1 if other == axis else 1 for other in range(values.ndim)])
    return np.take(values, low, axis=axis) * (1.0 - share) + np.take(values, low + 1, axis=axis) * share

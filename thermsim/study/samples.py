"""Many cases near one another, answered at once: the base and its options, sample by sample.

All are solved on one coarse grid of one topology, from the temperatures of the case they vary. What that grid costs in
accuracy is measured on a finer one by who takes the samples, see `compare.sampled`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.schema import Case
from thermsim.field import Field
from thermsim.model.build import build_model
from thermsim.model.grid import GridPlan
from thermsim.model.topology import alike
from thermsim.model.values import Input, inputs, with_inputs
from thermsim.solver.linear import State
from thermsim.solver.steady import steady_state
from thermsim.study.answers import HOTTEST, Question, answers, reading_answers, zone_answers
from thermsim.study.workers import Task

Array = NDArray[np.float64]

# Of a sample [K]: its outer iteration may stop there, a hundred times below what such studies ask for.
SAMPLE_ACCURACY_K = 1e-4

# For each case, the numbers that differ from it.
Sample = tuple[Mapping[str, float], ...]


@dataclass(frozen=True)
class Nearby:
    """What a process needs to answer samples; calling it makes the one that answers.

    cases : the base, then its options; plan : of grids of the base; questions : what is asked of each case
    """

    cases: tuple[Case, ...]
    plan: GridPlan
    multiplier: int
    questions: tuple[Question, ...]

    def __call__(self) -> Callable[[Task], Array]:
        solvers = [_Solver(self, case) for case in self.cases]

        def work(task: Task) -> Array:
            """(cases, questions) temperatures [C] of a sample; NaN where a case has no such place.

            Raises what `thermsim.solver.steady.steady_state` raises.
            """
            return np.array([solver.answer(values) for solver, values in zip(solvers, task.value, strict=True)])

        return work


class _Solver:
    """Answers for cases near one case. Each starts from the state of that case, never from the last one: the bits of
    an answer then depend on its sample alone.
    """

    def __init__(self, study: Nearby, case: Case) -> None:
        self.study, self.case = study, case
        self.known: dict[str, Input] = {one.path: one for one in inputs(case)}
        probed = {reading.reading for reading in case.readings if reading.probe is not None}
        self.asks_probes = any(question[0] == "probe" or question[-1] in probed for question in study.questions)
        self.state: State | None = None
        self.start: Field | None = None
        self.start = self.solve(case)

    def solve(self, case: Case) -> Field:
        plan = alike(self.study.plan, self.study.cases[0], case)
        model = build_model(case, plan.grid(self.study.multiplier))
        guess = None
        if self.start is not None and model.grid.shape == self.start.model.grid.shape:
            filled = np.nan_to_num(self.start.temperature, nan=self.start.model.coldest_C)
            guess = model.guess(filled, self.start.heated_face)
        like_base = self.start is None or guess is not None
        steady = steady_state(model, guess, self.state if guess is not None else None, SAMPLE_ACCURACY_K)
        if like_base:  # a grid of other cells has no use for this hierarchy, nor this grid for that one
            self.state = steady.state
        return Field(model, steady.guess, steady.solution.temperature, steady.error_K).checked()

    def answer(self, values: Mapping[str, float]) -> Array:
        case = with_inputs(self.case, values, self.known) if values else self.case
        field = self.solve(case) if values or self.start is None else self.start
        if self.asks_probes:
            found = answers(case, field)
        else:
            found = {HOTTEST: field.hottest[0], **zone_answers(field)}
            found |= reading_answers(case, found)
        return np.array([found.get(question, np.nan) for question in self.study.questions])

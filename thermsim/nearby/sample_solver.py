"""Many cases near one another, answered at once: the base and its options, sample by sample.

All are solved on one coarse grid of one topology, from the temperatures of the case they vary. What that grid costs in
accuracy is measured on a finer one by who takes the samples, see `tolerances.sampled`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import NotConvergedError, RunawayError, ThermsimError
from thermsim.model.build import build_model
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.topology import alike
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import Field
from thermsim.readout.observable import Observable
from thermsim.run.tasks import Failure, Task
from thermsim.solver.linear import State
from thermsim.solver.steady import steady_state

Array = NDArray[np.float64]

# [K] at which the outer iteration of a sample stops: a hundredth of what such studies usually ask for.
SAMPLE_ACCURACY_K = 1e-4

NO_STEADY_STATE = (RunawayError.__name__, NotConvergedError.__name__)  # kinds of `thermsim.run.tasks.Failure`
NO_ANSWER = "samples of the tolerances have no answer for another reason than thermal runaway; the first:"


def what_of(failure: Failure) -> str:
    """What is wrong with a sample, without the remedy, which is meant for one case."""
    return failure.message.partition("\n")[0]


# For each case, the numbers that differ from it; None for a case that is not asked.
Sample = tuple[Mapping[str, float] | None, ...]


@dataclass(frozen=True)
class SampleWork:
    """Makes the function that answers samples, once in each process (see `thermsim.run.run_tasks`).

    cases : the base, then its options; plan : of grids of the base; questions : what is asked of each case
    """

    cases: tuple[Case, ...]
    plan: GridPlan
    multiplier: int
    questions: tuple[Observable, ...]

    def __call__(self) -> Callable[[Task], Array]:
        solvers: dict[int, SampleSolver] = {}

        def solver(number: int) -> SampleSolver:
            if number not in solvers:
                solvers[number] = SampleSolver(self.cases, number, self.plan, self.multiplier, self.questions)
            return solvers[number]

        def work(task: Task) -> Array:
            """(cases, questions) temperatures [C] of a sample; NaN where a case has no such place, is not asked, or has
            no steady state.

            Raises what `thermsim.solver.steady.steady_state` raises; that there is no steady state, if no case has one.
            """
            found = np.full((len(task.value), len(self.questions)), np.nan)
            asked = [number for number, values in enumerate(task.value) if values is not None]
            failed: list[ThermsimError] = []
            for number in asked:
                try:
                    found[number] = solver(number).answer(task.value[number])
                except (RunawayError, NotConvergedError) as error:
                    failed.append(error)
            if failed and len(failed) == len(asked):
                raise failed[0]
            return found

        return work


class SampleSolver:
    """Solves samples of one case in full. Each starts from the state of that case, never from the last one: the bits of
    an answer then depend on its sample alone.
    """

    def __init__(
        self, cases: tuple[Case, ...], number: int, plan: GridPlan, multiplier: int, questions: tuple[Observable, ...]
    ) -> None:
        """cases : the base, then its options; number : of the case that is meant; plan : of grids of the base"""
        self.base, self.case, self.plan, self.multiplier = cases[0], cases[number], plan, multiplier
        self.questions = questions
        self.known: dict[str, Input] = {one.path: one for one in inputs(self.case)}
        own = set(observables(self.case))
        self.has = [question for question in questions if question in own]
        self.state: State | None = None
        self.start: Field | None = None
        self.start = self.solve(self.case)

    def solve(self, case: Case) -> Field:
        """The field of a changed case by a full solve, begun from the last one. Raises as `predict` does."""
        plan = alike(self.plan, self.base, case)
        model = build_model(case, plan.grid(self.multiplier))
        guess = None if self.start is None else self.start.guess_for(model)
        like_base = self.start is None or guess is not None
        steady = steady_state(model, guess, self.state if guess is not None else None, SAMPLE_ACCURACY_K)
        if like_base:  # a grid of other cells has no use for this hierarchy, nor this grid for that one
            self.state = steady.state
        return Field.of(model, steady)

    def keeps_cells(self, values: Mapping[str, float]) -> bool:
        """Whether the grid of a sample is that of the case, stretched: it is not where outlines part that were one."""
        plans = (alike(self.plan, self.base, one) for one in (self.case, with_inputs(self.case, values, self.known)))
        own, moved = (plan.grid(self.multiplier).shape for plan in plans)
        return own == moved

    def answer(self, values: Mapping[str, float]) -> Array:
        """(questions,) temperatures [C], NaN where the case has no such place."""
        return self.seen(values)[0]

    def seen(self, values: Mapping[str, float]) -> tuple[Array, Case, Field]:
        """The same, with the case and the field that it is read off."""
        case = with_inputs(self.case, values, self.known) if values else self.case
        shifts = all(self.known[path].is_offset for path in values)  # what sensors show, no temperature
        field = self.start if shifts and self.start is not None else self.solve(case)
        found = answers(case, field, self.has)
        return np.array([found.get(question, np.nan) for question in self.questions]), case, field

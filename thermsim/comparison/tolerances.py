"""What the tolerances of all inputs make of the temperatures of a base and its options: samples and sensitivities."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.spread import table
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.comparison.family import Family
from thermsim.errors import ThermsimError
from thermsim.nearby.case_tasks import HELD_OUT, CaseWork, GridChecks, solved_for
from thermsim.nearby.sample_solver import NO_STEADY_STATE, SampleWork, what_of
from thermsim.nearby.uncertain_inputs import UncertainInput, sample_of, variables
from thermsim.readout.observable import WARMEST
from thermsim.run.run_tasks import MOST_IN_THIS_PROCESS
from thermsim.run.tasks import Failure, Make, Result, Solved, Task, compute

Array = NDArray[np.float64]
Machinery = Callable[[Make, list[Task]], list[Result]]
Way = Literal["full solves", "small models"]

CHECKED = 6  # samples that are answered on two grids, to measure what the coarse one costs
SHORTCUT_SHARE = 0.1
# Samples for each full solve of its training from which on a small model is made. On the demo both cost about the same
# at two; below eight, full solves are preferred, as intervals then have no doubt of small models.
SAMPLES_PER_TRAINING_SOLVE = 8


@dataclass(frozen=True)
class CaseWay:
    """How the samples of one case were answered.

    small, full : samples by a small model and by full solves; neither where no input changes a temperature
    doubt_K : largest doubt of the small model in a reading (in any answer, without sensors) of the samples it answered
    words : how it was made, or why there is none
    """

    name: str
    small: int
    full: int
    doubt_K: float
    words: str


@dataclass(frozen=True, eq=False)
class Samples:
    """What the tolerances make of every temperature.

    values : (samples, variables)
    deviation : (samples, cases, questions) [K] from the nominal state; NaN where there is no answer
    shortcut_K : (cases, questions) half width, what the coarse grid of the samples and small models leave of a gain's
        deviation; model_K : (cases, questions) the small models' part in it
    slopes : (variables, cases, questions) [K per unit]
    cells : of the grid of the samples; ways : of each case
    refused : (samples, cases) whether a sample has no answer for another reason than thermal runaway
    why_refused : what the first of these says
    """

    varied: tuple[UncertainInput, ...]
    values: Array
    deviation: Array
    shortcut_K: Array
    model_K: Array
    slopes: Array
    cells: int
    ways: tuple[CaseWay, ...]
    refused: NDArray[np.bool_]
    why_refused: str

    @property
    def lost(self) -> NDArray[np.bool_]:
        """(samples, cases) whether a case has no steady state in a sample."""
        return np.asarray(np.all(np.isnan(self.deviation), axis=2) & ~self.refused)


def sampled(whole: Family, count: int, seed: int, machinery: Machinery, way: Way | None = None) -> Samples:
    """Answer scrambled Sobol points of all tolerances for base and options, on the coarsest grid that serves.

    A grid finds how far samples deviate from the nominal state of that grid, not their temperatures: its own error
    cancels but for its change. A few samples are answered on the last grid but one too; twice the largest difference is
    what the short cut may leave of a gain. Where that is, for a reading, more than the accuracy asked for and more
    than a tenth of what the tolerances make of the gain, the next grid takes over.

    On that grid each case gets a small model where it can have one and there are samples enough for it to pay; samples
    of which it is not sure enough, and all of a case that cannot have one, are solved in full.

    way : instead of choosing
    """
    study = _Study(whole, count, seed, machinery)
    multiplier, shortcut = study.grid()
    found = study.one_by_one(multiplier, way)
    serves = np.array([one.values["serves"] > 0.0 for one in found]).T.reshape(count, -1)
    deviation = np.stack([one.values["deviation"] for one in found], axis=1)
    refused, why_refused = study.solve_rest(multiplier, serves, deviation)
    doubt = np.stack([np.where(serves[:, [n]], one.values["doubt"], 0.0) for n, one in enumerate(found)], axis=1)
    model_K = np.max(doubt[:, :1] + doubt, axis=0, initial=0.0)
    model_K[0] = 0.0  # of the base's gain on itself
    slopes = np.stack([one.values["slopes"] for one in found], axis=1)
    return Samples(
        study.varied, study.values, deviation, shortcut + model_K, model_K, slopes,
        whole.predictions[0].plan.cells(multiplier), study.ways(found, serves, doubt),
        refused, why_refused,
    )  # fmt: skip


class _Study:
    """The samples of a comparison, and what the machinery makes of them."""

    def __init__(self, whole: Family, count: int, seed: int, machinery: Machinery) -> None:
        self.whole, self.count, self.machinery = whole, count, machinery
        self.varied = variables(whole.cases, whole.names)
        self.values = table([one.spread for one in self.varied], count, seed)
        self.questions = whole.questions[:-1] if whole.headline == WARMEST else whole.questions
        self.samples = [sample_of(self.varied, row) for row in self.values.tolist()] if self.varied else []
        self.plan = whole.predictions[0].plan
        self._check_together()

    def _check_together(self) -> None:
        """Lengths in plan that each fit may not fit together.

        Raises ThermsimError for a sample whose stack cannot be, before any is solved.
        """
        if not any(one.input.acts_on == "plan" for one in self.varied):
            return
        for number, case in enumerate(self.whole.cases):
            known = {one.path: one for one in inputs(case)}
            for sample in self.samples:
                moved = {path: value for path, value in (sample[number] or {}).items() if known[path].is_length}
                try:
                    with_inputs(case, moved, known)
                except ThermsimError as error:
                    raise ThermsimError(
                        f"the tolerances of {', '.join(moved)} do not fit together: {error.what}",
                        "narrow one of them, or leave room between what they move",
                    ) from None

    def grid(self) -> tuple[int, Array]:
        """Multiplier of the coarsest grid that serves, and what its short cut leaves (cases, questions) [K]."""
        few = tuple(self.samples[:: -(-self.count // CHECKED)])
        multipliers = tuple(step.multiplier for step in self.whole.predictions[0].steps[:-1])
        if not few:
            return multipliers[0], np.zeros((len(self.whole.cases), len(self.questions)))
        make = GridChecks(self.whole.cases, self.plan, multipliers, self.questions, few)
        checks = self._of_cases(make, "check of")
        gains = {}
        for multiplier in multipliers:
            found = np.stack([one[str(multiplier)] for one in checks], axis=1)
            gains[multiplier] = found[:, :1] - found
        truth = gains[multipliers[-1]]
        spread = np.ma.masked_invalid(truth).std(axis=0).filled(0.0)
        enough = np.maximum(self.whole.predictions[0].accuracy_K, SHORTCUT_SHARE * spread)
        for multiplier in multipliers:
            shortcut = 2.0 * np.max(np.nan_to_num(np.abs(gains[multiplier] - truth)), axis=0)
            none_more_lost = np.all(np.isfinite(gains[multiplier]) == np.isfinite(truth))
            if none_more_lost and np.all((shortcut <= enough)[:, self.whole.judged]):
                break
        return multiplier, shortcut

    def one_by_one(self, multiplier: int, way: Way | None) -> list[Any]:
        """What `CaseWork` finds of each case."""
        first = self.whole.predictions[0]
        has = tuple(
            tuple(one for one in self.questions if np.isfinite(prediction.answers.get(one, np.nan)))
            for prediction in self.whole.predictions
        )
        most = max(
            sum(one.acts_on[number] and not one.input.is_offset for one in self.varied) for number in range(len(has))
        )
        pays = self.count >= SAMPLES_PER_TRAINING_SOLVE * (solved_for(most) + HELD_OUT)
        make = CaseWork(
            self.whole.cases, self.plan, multiplier, self.questions, has, self.varied, self.values, first.accuracy_K,
            pays if way is None else way == "small models",
        )  # fmt: skip
        return self._of_cases(make, "case")

    def _of_cases(self, make: GridChecks | CaseWork, key: str) -> list[Any]:
        """One task for each case. An error is raised as it was."""
        tasks = [Task(f"{key} {name}", number) for number, name in enumerate(self.whole.names)]
        found = self.machinery(make, tasks)
        for task, one in zip(tasks, found, strict=True):
            if isinstance(one, Failure):
                make.work(task)
        return found

    def solve_rest(self, multiplier: int, serves: NDArray[np.bool_], deviation: Array) -> tuple[NDArray[np.bool_], str]:
        """Full solves where no small model serves; NaN of a case that has no answer in a sample.

        Returns (samples, cases) whether that is for another reason than thermal runaway, and what the first such says.
        """
        refused, why = np.zeros(serves.shape, dtype=bool), ""
        rows = np.flatnonzero(~np.all(serves, axis=1)).tolist()
        if not rows:
            return refused, why
        nearby = SampleWork(self.whole.cases, self.plan, multiplier, self.questions)
        work = nearby()
        nominal = work(Task("nominal", tuple(None if sure else {} for sure in np.all(serves, axis=0).tolist())))
        tasks = [
            Task(
                f"sample {row}",
                tuple(None if sure else one for sure, one in zip(serves[row].tolist(), self.samples[row], strict=True)),
            )
            for row in rows
        ]
        if len(tasks) <= MOST_IN_THIS_PROCESS:
            results: list[Result] = [compute(work, task).result for task in tasks]
        else:
            results = self.machinery(nearby, tasks)
        for row, found in zip(rows, results, strict=True):
            left = ~serves[row]
            if isinstance(found, Failure):
                deviation[row, left] = np.nan
                if found.kind not in NO_STEADY_STATE:
                    refused[row, left] = True
                    why = why or what_of(found)
            else:
                deviation[row, left] = (np.asarray(found) - nominal)[left]
        return refused, why

    def ways(self, found: Sequence[Solved], serves: NDArray[np.bool_], doubt: Array) -> tuple[CaseWay, ...]:
        told = []
        columns = self.whole.readings or list(range(len(self.questions)))
        for number, (name, one) in enumerate(zip(self.whole.names, found, strict=True)):
            sure = int(serves[:, number].sum())
            moved = any(variable.acts_on[number] and not variable.input.is_offset for variable in self.varied)
            small, full = (sure, self.count - sure) if moved else (0, 0)
            told.append(CaseWay(name, small, full, float(doubt[:, number, columns].max(initial=0.0)), one.way))
        return tuple(told)

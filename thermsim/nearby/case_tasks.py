"""Tasks that need one case of a comparison only: samples on several grids, slopes, answers of a small model.

Sensors' offsets shift what they show and no temperature: they need no solve, and no room in a small model.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.values import inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MemoryLimitError, ThermsimError
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.topology import alike
from thermsim.nearby.gradients import gradients
from thermsim.nearby.sample_solver import Sample, SampleSolver
from thermsim.nearby.small_model import BLOCK_CASES, Reduced, SmallModelAnswers
from thermsim.nearby.small_model_training import reduce
from thermsim.nearby.uncertain_inputs import UncertainInput
from thermsim.readout.observable import HOTTEST, Observable, of_reading
from thermsim.run.tasks import Solved, Task

Array = NDArray[np.float64]

# Widest doubt of a small model that is taken, as a share of the accuracy asked for: of a reading or a mean; of a
# highest temperature; of a probe. A wider one sends the sample to a full solve. Our own choice.
READING_SHARE, HIGHEST_SHARE, PROBE_SHARE = 0.1, 0.5, 1.0
# Where tolerances move a reading much, its doubt may be this share of that (one sigma), up to HIGHEST_SHARE.
SPREAD_SHARE = 0.01
# Half widths up to which a small model follows an input; samples farther out are solved in full, so that long tails of
# a distribution do not widen its ranges.
REACH = 2.0
CANDIDATES, HELD_OUT = 128, 16
LOOKED_AT = 2 * BLOCK_CASES  # samples that tell whether a small model serves
# What it costs to make a small model from one more case an input, in full solves an input: of these, their projection,
# and looking again. More samples than that must be left to full solves for it to pay.
GROWTH_COST = 2
# Full solves an input, besides the first, that a small model grows by: at once at least, and at most in all.
LEAST_GROWTH, MOST_GROWTH = 0.5, 3
AIM = 0.8  # how wide its doubts shall then be, as a share of what is taken, as to look again costs too


def solved_for(varied: int) -> int:
    """Full solves that a small model of so many inputs is made from at first: three an input, and some (measured on the
    demo: below two an input its doubts are a hundred times wider)."""
    return 3 * varied + 8


@dataclass(frozen=True)
class GridChecks:
    """Makes the function that answers a few samples of one case on some grids; a task holds the number of its case.

    cases : the base, then its options; plan : of grids of the base
    """

    cases: tuple[Case, ...]
    plan: GridPlan
    multipliers: tuple[int, ...]
    questions: tuple[Observable, ...]
    samples: tuple[Sample, ...]

    def __call__(self) -> Callable[[Task], dict[str, Array]]:
        return self.work

    def work(self, task: Task) -> dict[str, Array]:
        """By multiplier (samples, questions) deviations from the nominal state [K]; NaN without a steady state."""
        found = {}
        for multiplier in self.multipliers:
            solver = SampleSolver(self.cases, task.value, self.plan, multiplier, self.questions)
            nominal = solver.answer({})
            rows = [_deviation(solver, sample, task.value, nominal) for sample in self.samples]
            found[str(multiplier)] = np.array(rows).reshape(-1, len(nominal))
        return found


def finite_difference(solver: SampleSolver, one: Input) -> Array:
    """(questions,) slopes [K per unit] by full solves at both ends of a tolerance, where no grid follows the input;
    zeros where the case can be solved at one of them at most."""
    values, found = [], []
    for value in (one.value - one.plus_minus, one.value, one.value + one.plus_minus):
        try:
            found.append(solver.answer({one.path: value} if value != one.value else {}))
            values.append(value)
        except MemoryLimitError:
            raise
        except ThermsimError:
            continue
    if len(values) < 2:
        return np.zeros(len(solver.questions))
    return np.asarray((found[-1] - found[0]) / (values[-1] - values[0]))


def _deviation(solver: SampleSolver, sample: Sample, number: int, nominal: Array) -> Array:
    try:
        return solver.answer(sample[number] or {}) - nominal
    except MemoryLimitError:
        raise
    except ThermsimError:
        return np.full(len(nominal), np.nan)


@dataclass(frozen=True, eq=False)
class CaseWork:
    """Makes the function that finds slopes of one case and, where `small`, answers all samples by a small model.

    cases, plan, questions : as in `GridChecks`; has : for each case, those of the questions that it can answer
    varied, values : (samples, variables); multiplier : of the grid
    """

    cases: tuple[Case, ...]
    plan: GridPlan
    multiplier: int
    questions: tuple[Observable, ...]
    has: tuple[tuple[Observable, ...], ...]
    varied: tuple[UncertainInput, ...]
    values: Array
    accuracy_K: float
    small: bool

    def __call__(self) -> Callable[[Task], Solved]:
        return self.work

    def work(self, task: Task) -> Solved:
        """slopes : (variables, questions) [K per unit of the variable]; serves : (samples,) 1 where the small model
        answers, 0 where a full solve must; deviation from the nominal state, doubt : (samples, questions) [K].

        Raises what `gradients` raises. The way is the reason why there is no small model, or how it was made.
        """
        number = int(task.value)
        has = self.has[number]
        by_path = {one.path: one for one in inputs(self.cases[number])}
        own_inputs = {
            place: by_path[path] for place, one in enumerate(self.varied) if (path := one.paths[number]) is not None
        }
        columns = [self.questions.index(question) for question in has]
        count, width = len(self.values), len(self.questions)
        slopes, deviation, doubt = (np.zeros((rows, width)) for rows in (len(self.varied), count, count))
        serves, way = np.ones(count), "no input changes a temperature"
        if own_inputs:
            plan = alike(self.plan, self.cases[0], self.cases[number])
            paths = [one.path for one in own_inputs.values()]
            found = gradients(self.cases[number], plan, self.multiplier, has, paths)
            rows = [[found[question].get(path, 0.0) for question in has] for path in paths]
            slopes[np.ix_(list(own_inputs), columns)] = rows
            solver = (
                SampleSolver(self.cases, number, self.plan, self.multiplier, self.questions) if found.left_out else None
            )
            for place, one in own_inputs.items():
                if solver is not None and one.path in found.left_out:
                    slopes[place, columns] = finite_difference(solver, one)[columns]
        physical = {place: one for place, one in own_inputs.items() if not one.is_offset}
        if physical:
            sigma = self.values.std(axis=0)[list(physical), None] * slopes[np.ix_(list(physical), columns)]
            close = self._close(has, np.sqrt(np.sum(sigma**2, axis=0)))
            small, way = self._small(number, physical, plan, close)
            serves = np.zeros(count)
            if small is not None:
                answered = [small.questions.index(question) for question in has]
                deviation[:, columns] = small.values[:, answered] - [found.answers[question] for question in has]
                doubt[:, columns] = small.doubts[:, answered]
                serves = _serves(small, has, close).astype(np.float64)
        for place, one in own_inputs.items():
            shown = of_reading(one.owner)
            if one.is_offset and shown in has:
                deviation[:, self.questions.index(shown)] += self.values[:, place] - one.value
        return Solved({"slopes": slopes, "serves": serves, "deviation": deviation, "doubt": doubt}, way)

    def _small(
        self, number: int, varied: dict[int, Input], plan: GridPlan, close: Array
    ) -> tuple[SmallModelAnswers | None, str]:
        """Answers of a small model to all samples, and how it was made, or None, and why there is none.

        It grows while more samples are left to full solves than that costs.

        varied : the inputs by their place among the variables; close : as `_close` tells
        """
        if not self.small:
            return None, "too few samples for a small model to pay"
        values = self.values[:, list(varied)]
        centre = np.array([one.value for one in varied.values()])
        reach = REACH * np.array([one.plus_minus for one in varied.values()])
        limits = np.maximum(values.min(axis=0), centre - reach), np.minimum(values.max(axis=0), centre + reach)
        solves = [solved_for(len(varied))]

        def more(model: Reduced) -> int:
            room = MOST_GROWTH * len(varied) - sum(solves[1:])
            if room <= 0 or not set(self.has[number]) <= set(model.questions):
                return 0
            short = _short_by(model.answers(values[:LOOKED_AT]), self.has[number], close)
            may_be_left = min(1.0, GROWTH_COST * len(varied) / len(values))
            falls_to = 1.0 / float(np.quantile(short, 1.0 - may_be_left))
            if falls_to >= 1.0:
                return 0
            # Doubts fall to about a half with one more an input.
            wanted = max(LEAST_GROWTH, -np.log2(AIM * falls_to)) * len(varied)
            solves.append(min(room, int(np.ceil(wanted))))
            return solves[-1]

        try:
            model = reduce(
                self.cases[number],
                varied=list(varied.values()),
                plan=plan,
                multiplier=self.multiplier,
                limits=limits,
                solved=solves[0],
                held_out=HELD_OUT,
                most_vectors=None,
                candidates=CANDIDATES,
                more=more,
            )
            if missing := [question for question in self.has[number] if question not in model.questions]:
                return None, f"a small model does not answer {missing[0]!s}"
            return model.answers(values), f"a small model of {model.small.size} vectors, from {sum(solves)} full solves"
        except MemoryLimitError:
            raise
        except ThermsimError as error:
            return None, error.what
        except np.linalg.LinAlgError as error:
            return None, f"no small model: {error}"

    def _close(self, has: tuple[Observable, ...], sigma_K: Array) -> Array:
        """(questions,) the widest doubt [K] with which an answer of a small model is taken.

        sigma_K : (questions,) what tolerances make of each, to first order
        """
        sensed = any(question.kind == "reading" for question in has)
        found = []
        for question, sigma in zip(has, sigma_K.tolist(), strict=True):
            judged = question.kind == "reading" or question.takes == "mean" or (question == HOTTEST and not sensed)
            share = PROBE_SHARE if question.kind == "probe" and not judged else HIGHEST_SHARE
            most = share * self.accuracy_K
            found.append(max(READING_SHARE * self.accuracy_K, min(most, SPREAD_SHARE * sigma)) if judged else most)
        return np.array(found)


def _serves(small: SmallModelAnswers, has: tuple[Observable, ...], close: Array) -> NDArray[np.bool_]:
    """(samples,) whether all doubts are narrow enough."""
    return np.asarray(small.inside & (_short_by(small, has, close) <= 1.0))


def _short_by(small: SmallModelAnswers, has: tuple[Observable, ...], close: Array) -> Array:
    """(samples,) how many times too wide the widest doubt is; next to 0 where no small model answers, however good."""
    answered = [small.questions.index(question) for question in has]
    wide = np.max(small.doubts[:, answered] / close, axis=1)
    return np.asarray(np.where(small.inside, wide, np.finfo(np.float64).tiny))

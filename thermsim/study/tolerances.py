"""What the tolerances of all inputs make of the temperatures of a base and its options: samples and sensitivities."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.model.topology import alike
from thermsim.study.answers import HOTTEST, Question
from thermsim.study.comparison import WARMEST
from thermsim.study.family import Family
from thermsim.study.gradients import gradients
from thermsim.study.journal import Result
from thermsim.study.samples import Nearby
from thermsim.study.spread import table
from thermsim.study.variables import Variable, sample_of, variables
from thermsim.study.workers import Task, compute

Array = NDArray[np.float64]
Machinery = Callable[[Nearby, list[Task]], list[Result]]

CHECKED = 6  # samples that are answered on two grids
SHORTCUT_SHARE = 0.1


@dataclass(frozen=True)
class Samples:
    """What the tolerances make of every temperature.

    values : (samples, variables)
    deviation : (samples, cases, questions) [K] from the nominal state; NaN where there is no steady state
    shortcut_K : (cases, questions) half width, what the coarse grid of the samples leaves of a gain's deviation
    slopes : (variables, cases, questions) [K per unit]
    cells : of the grid of the samples
    """

    varied: tuple[Variable, ...]
    values: Array
    deviation: Array
    shortcut_K: Array
    slopes: Array
    cells: int

    @property
    def lost(self) -> int:
        """Samples in which some case has no steady state."""
        return int(np.any(np.all(np.isnan(self.deviation), axis=2), axis=1).sum())


def sampled(whole: Family, count: int, seed: int, machinery: Machinery) -> Samples:
    """Answer scrambled Sobol points of all tolerances for base and options, on the coarsest grid that serves.

    A grid finds how far samples deviate from the nominal state of that grid, not their temperatures: its own error
    cancels but for its change. A few samples are answered on the last grid but one too; twice the largest difference is
    what the short cut may leave of a gain. Where that is, for a reading, more than the accuracy asked for and more
    than a tenth of what the tolerances make of the gain, the next grid takes over.
    """
    varied = variables(whole.cases, whole.names)
    values = table([one.spread for one in varied], count, seed)
    asked = whole.questions[:-1] if whole.headline == WARMEST else whole.questions
    tasks = [Task(f"sample {row}", sample_of(varied, values[row].tolist())) for row in range(count if varied else 0)]
    few = tasks[:: max(1, count // CHECKED)]
    multipliers = [step.multiplier for step in whole.predictions[0].steps[:-1]]
    truth = _deviations(whole, multipliers[-1], asked, few)
    for multiplier in multipliers:
        found = truth if multiplier == multipliers[-1] else _deviations(whole, multiplier, asked, few)
        apart = np.abs((found[:, :1] - found) - (truth[:, :1] - truth))
        shortcut = 2.0 * np.max(np.nan_to_num(apart), axis=0, initial=0.0)
        spread = np.nan_to_num(np.std(truth[:, :1] - truth, axis=0)) if few else np.zeros_like(shortcut)
        serves = shortcut <= np.maximum(whole.predictions[0].accuracy_K, SHORTCUT_SHARE * spread)
        if np.all(serves[:, whole.readings or [asked.index(HOTTEST)]]):
            break
    if varied:
        deviation = _deviations(whole, multiplier, asked, tasks, machinery)
    else:
        deviation = np.zeros((count, len(whole.cases), len(asked)))
    slopes = _slopes(whole, varied, multiplier, asked)
    return Samples(varied, values, deviation, shortcut, slopes, whole.predictions[0].plan.cells(multiplier))


def _deviations(
    whole: Family, multiplier: int, asked: tuple[Question, ...], tasks: list[Task], machinery: Machinery | None = None
) -> Array:
    """(tasks, cases, questions) [K] from the nominal state on one grid; NaN for a sample without a steady state."""
    nearby = Nearby(whole.cases, whole.predictions[0].plan, multiplier, asked)
    work = nearby()
    nominal = work(Task("nominal", tuple({} for _ in whole.cases)))
    if machinery is None:
        found: list[Result] = [compute(work, task).result for task in tasks]
    else:
        found = machinery(nearby, tasks)
    lost = np.full(nominal.shape, np.nan)
    table = [np.asarray(one) - nominal if isinstance(one, np.ndarray) else lost for one in found]
    return np.array(table).reshape(-1, *nominal.shape)


def _slopes(whole: Family, varied: Sequence[Variable], multiplier: int, asked: Sequence[Question]) -> Array:
    """(variables, cases, questions) [K per unit of the variable], by one adjoint solve for each question and case."""
    slopes = np.zeros((len(varied), len(whole.cases), len(asked)))
    first = whole.predictions[0]
    for number, case in enumerate(whole.cases):
        mine = [place for place, one in enumerate(varied) if one.acts_on[number]]
        has = [question for question in asked if question in whole.predictions[number].answers]
        paths = [varied[place].input.path for place in mine]
        if not mine:
            continue
        found = gradients(case, alike(first.plan, first.case, case), multiplier, has, paths)
        for question in has:
            for place, path in zip(mine, paths, strict=True):
                slopes[place, number, asked.index(question)] = found[question].get(path, 0.0)
    return slopes

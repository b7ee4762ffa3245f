"""Many cases near one case, answered at once, each by the cheapest way that is as accurate as asked.

An answer is what the base is told with, plus how far the sample deviates from the base on one grid,

    T = T_base + (T_sample,grid - T_base,grid),       doubt = mesh doubt of T_base + what the short cut may leave,

since the error of a grid cancels but for its change. That change is measured: a few samples that lie farthest out are
solved on all grids of the base's mesh study, which gives their deviations at the limit. What a grid, superposition
or a small model may leave is twice the largest miss of these, plus the doubt of their limits. Samples that no short cut
answers well enough get a mesh study each.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.zones import zones_of
from thermsim.case.inputs.values import as_numbers, inputs, with_inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MemoryLimitError, ThermsimError
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.settling import OnGrid, judged
from thermsim.nearby.case_tasks import HELD_OUT, solved_for
from thermsim.nearby.power_maps import PowerMaps
from thermsim.nearby.sample_solver import SAMPLE_ACCURACY_K, SampleSolver, SampleWork
from thermsim.nearby.small_model_training import reduce
from thermsim.progress import Progress
from thermsim.readout.observable import Asked, Observable, find, of_reading, of_zone, temperatures
from thermsim.run.run_tasks import MOST_IN_THIS_PROCESS, run
from thermsim.run.tasks import Failure, Make, Task

Array = NDArray[np.float64]
Way = Literal["base", "all grids", "superposition", "small model", "full solve", "mesh study", "no steady state"]

# Share of the accuracy asked for that the mesh study of the base may leave as its doubt; our own choice.
MESH_SHARE = 0.5
# Share of the accuracy within which mesh and coarser grid together should stay, so that a small model has the rest; a
# grid that leaves no rest is the second choice.
GRID_SHARE = 0.8
CHECKED = 3  # samples, the farthest from the base, that are solved on all grids to measure what a short cut leaves
# An input in which no checked sample reaches this share of the largest deviation gets a checked sample of its own.
FAR_SHARE = 0.5
SAFETY = 2.0
# [K] error of differences between grids that does not come from the grid; that of the solves is added to the doubt.
NOISE_K = 1e-6
SAMPLES_PER_TRAINING_SOLVE = 4  # samples for each full solve of its training from which on a small model is made


@dataclass(frozen=True, eq=False)
class Many:
    """Temperatures [C] and doubts [K] (samples, questions), NaN where a sample has no steady state or no such place.

    ways : how each sample was answered; base : what deviations are added to
    why_not : why samples have no answer, by number; words : how all was done, and what it cost in accuracy
    """

    questions: tuple[Observable, ...]
    values: Array
    doubts: Array
    ways: tuple[Way, ...]
    base: Prediction
    accuracy_K: float
    why_not: dict[int, str]
    words: str

    def of(self, question: Asked) -> Array:
        """(samples,) temperatures [C] of one question."""
        return np.asarray(self.values[:, self.questions.index(find(self.questions, question))])

    @property
    def held(self) -> bool:
        """Whether there are answers, and every one is as sure as asked; samples without a steady state have none."""
        answered = np.isfinite(self.values)
        return bool(answered.any() and np.all(self.doubts[answered] <= self.accuracy_K))


def many(
    case: Case,
    samples: Sequence[Mapping[str, float | str]],
    *,
    asked: Collection[Asked] | None = None,
    accuracy_K: float | None = None,
    workers: int | None = None,
    memory_GB: float | None = None,
    progress: Progress | None = None,
) -> Many:
    """Answer cases that differ from one case in some of its numbers.

    Parameters
    ----------
    samples : of each what differs, by the paths of `thermsim.inputs(case)`, as `with_inputs` takes it
    asked : temperatures; all that the case has unless given. Superposition serves where only powers vary and only
        means of zones and probes are asked
    accuracy_K : that every doubt is held to, the case's own unless given
    workers : processes; None for one a processor
    progress : called with a line of words after each grid, and while samples are solved in full

    Raises
    ------
    UnknownNameError : a path or a question that the case does not have
    ThermsimError : a value that a number cannot have; no sample
    whatever `predict` raises for the case itself; a sample that fails is told in `why_not`
    """
    known = {one.path: one for one in inputs(case)}
    if not samples:
        raise ThermsimError("there are no samples to answer", "give at least one, as {path: value}")
    table: list[dict[str, float]] = []
    for number, sample in enumerate(samples):
        try:
            table.append(as_numbers(sample, known))
            with_inputs(case, table[-1], known)
        except ThermsimError as error:
            error.add_note(f"in sample {number}")
            raise
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    base = predict(case, accuracy_K=MESH_SHARE * wanted, memory_GB=memory_GB, progress=progress)
    offered = [question for question in temperatures(base.answers) if np.isfinite(base.answers[question])]
    questions = tuple(find(offered, one) for one in asked or offered)
    return _Study(case, known, table, questions, base, wanted, workers, memory_GB, progress).answer()


@dataclass(frozen=True)
class _Studies:
    """Makes the function that gives one sample a mesh study: (2, questions) temperatures and doubts."""

    case: Case
    questions: tuple[Observable, ...]
    accuracy_K: float
    memory_GB: float | None

    def __call__(self) -> Callable[[Task], Array]:
        return self.work

    def work(self, task: Task) -> Array:
        made = predict(with_inputs(self.case, task.value), accuracy_K=self.accuracy_K, memory_GB=self.memory_GB)
        judged = [made.doubts.get(question) for question in self.questions]
        return np.array(
            [
                [np.nan if one is None else one.value for one in judged],
                [np.nan if one is None else one.half_width for one in judged],
            ]
        )


@dataclass(frozen=True, eq=False)
class _Checked:
    """Deviations at the limit of some samples [K], to measure short cuts by. limit, half_width : (checks, questions)"""

    samples: tuple[int, ...]
    limit: Array
    half_width: Array

    def left_K(self, deviation: Array) -> Array:
        """(questions,) what a way may leave that gives these deviations (checks, questions)."""
        return np.asarray(SAFETY * np.abs(deviation - self.limit).max(axis=0) + self.half_width.max(axis=0))


@dataclass(frozen=True, eq=False)
class _Grid:
    """One grid of the base's study, and what it leaves of deviations (questions,)."""

    multiplier: int
    left_K: Array


class _Study:
    def __init__(
        self, case: Case, known: dict[str, Input], samples: Sequence[Mapping[str, float]],
        questions: tuple[Observable, ...], base: Prediction, accuracy_K: float, workers: int | None,
        memory_GB: float | None, progress: Progress | None,
    ) -> None:  # fmt: skip
        self.case, self.known, self.questions, self.base = case, known, questions, base
        self.accuracy_K, self.workers, self.memory_GB, self.progress = accuracy_K, workers, memory_GB, progress
        self.solid = [
            {path: value for path, value in sample.items() if not known[path].is_offset and value != known[path].value}
            for sample in samples
        ]
        self.shift = np.zeros((len(samples), len(questions)))  # what other offsets of sensors show [K]
        for row, sample in zip(self.shift, samples, strict=True):
            for path, value in sample.items():
                place = of_reading(known[path].owner)
                if known[path].is_offset and place in questions:
                    row[questions.index(place)] += value - known[path].value
        judged = [base.doubts[question] for question in questions]
        self.mesh_K = np.array([one.half_width for one in judged])
        self.base_C = np.array([one.value for one in judged])
        self.deviation, self.left_K = (np.full(self.shift.shape, np.nan) for _ in range(2))
        self.studied: dict[int, Array] = {}  # (2, questions) temperatures and doubts of a mesh study of their own
        self.ways: list[Way] = ["no steady state"] * len(samples)
        self.why_not: dict[int, str] = {}
        self.notes: list[str] = []

    def answer(self) -> Many:
        for number, sample in enumerate(self.solid):
            if not sample:
                self._keep(number, "base", np.zeros(len(self.questions)), 0.0)
        if self.varied:
            self._superpose_linear()
        if self._left():
            serves = self._checked()
            if serves is not None:
                checked, grid = serves
                self._superpose(checked, grid)
                self._by_small_model(grid)
                self._in_full(grid)
            self._by_studies()
        values, widths = self.base_C + self.deviation + self.shift, self.mesh_K + self.left_K
        for number, (value, width) in self.studied.items():
            values[number], widths[number] = value + self.shift[number], width
        widths[np.isnan(values)] = np.nan
        return Many(
            self.questions, values, widths, tuple(self.ways), self.base, self.accuracy_K, self.why_not,
            self._words(widths),
        )  # fmt: skip

    @cached_property
    def varied(self) -> list[str]:
        paths = {path for sample in self.solid for path in sample}
        return [path for path in self.known if path in paths]

    @cached_property
    def table(self) -> Array:
        """(samples, varied) values."""
        usual = dict(zip(self.varied, self.usual.tolist(), strict=True))
        return np.array([list((usual | sample).values()) for sample in self.solid])

    @cached_property
    def usual(self) -> Array:
        """(varied,) values of the base."""
        return np.array([self.known[path].value for path in self.varied])

    @cached_property
    def away(self) -> Array:
        """(samples, varied) how far samples lie from the base."""
        return np.asarray(self.table - self.usual)

    def _keep(self, number: int, way: Way, deviation: Array, left_K: Array | float) -> None:
        self.ways[number], self.deviation[number], self.left_K[number] = way, deviation, left_K

    def _left(self) -> list[int]:
        """Samples without an answer that is good enough."""
        return [number for number, way in enumerate(self.ways) if way == "no steady state"]

    def _enough(self, left_K: Array, share: float = 1.0) -> bool:
        return bool(np.all(self.mesh_K + left_K <= share * self.accuracy_K))

    # ---- what short cuts leave --------------------------------------------------------------------------------------

    @cached_property
    def far_out(self) -> list[int]:
        """Samples to check by: the farthest from the base, and for each input one that is far out in it."""
        away = np.abs(self.away) / np.abs(self.away).max(axis=0)
        found = np.argsort(-np.square(away).sum(axis=1), kind="stable")[:CHECKED].tolist()
        for column in range(away.shape[1]):
            if away[found, column].max() < FAR_SHARE:
                found.append(int(away[:, column].argmax()))
        return [number for number in found if self.solid[number]]

    def _checked(self) -> tuple[_Checked, _Grid] | None:
        """The coarsest grid that serves, from samples that are solved on all of them and are answered with that."""
        steps = self.base.steps
        found = [self._deviations(step.multiplier) for step in steps]
        numbers = [number for number in self.far_out if all(number in one for one in found)]
        if not numbers:
            return None
        told = [judged([one[number][0] for one in found], [one[number][1] for one in found]) for number in numbers]
        limit = np.array([[one.value for one in row] for row in told])
        half_width = np.array([[one.half_width for one in row] for row in told]) + SAMPLE_ACCURACY_K
        checked = _Checked(tuple(numbers), limit, half_width)
        for number, deviation, left in zip(numbers, checked.limit, checked.half_width, strict=True):
            if self._enough(left):
                self._keep(number, "all grids", deviation, left)
        tables = [np.array([one[number][0] for number in numbers]) for one in found]
        grids = [_Grid(step.multiplier, checked.left_K(rows)) for step, rows in zip(steps, tables, strict=True)]
        for share in (GRID_SHARE, 1.0):
            for grid in grids:
                if self._enough(grid.left_K, share):
                    return checked, grid
        return None

    def _deviations(self, multiplier: int) -> dict[int, tuple[Array, OnGrid]]:
        """Of each checked sample that is solved on a grid, how far it deviates from the base there [K], and what the
        doubt of that hangs on besides."""
        solver = SampleSolver((self.case,), 0, self.base.plan, multiplier, self.questions)

        def at(sample: Mapping[str, float]) -> tuple[Array, OnGrid]:
            values, case, field = solver.seen(sample)
            return values, OnGrid.of(case, field, multiplier)

        nominal, own = at({})
        found = {}
        for number in self.far_out:
            try:
                values, there = at(self.solid[number])
            except MemoryLimitError:
                raise
            except ThermsimError:
                continue
            if np.isfinite(values).all():
                found[number] = values - nominal, replace(there - own, error=NOISE_K)
        return found

    # ---- ways, the cheapest first -----------------------------------------------------------------------------------

    @cached_property
    def power_maps(self) -> PowerMaps | None:
        """Where samples differ by powers of zones alone, and no power depends on temperature."""
        if any(heat.leakage or heat.map or heat.power_W for heat in self.case.heat):
            return None  # of a whole that zones share, what no zone covers is no question of superposition
        powers = [one for one in (self.known[path] for path in self.varied) if one.key == "power_W"]
        made = {(zone.heat, zone.zone): of_zone(zone, "mean") for zone in zones_of(self.case)}
        zones = [made[int(one.steps[1]), one.owner] for one in powers]
        if not zones or len(zones) < len(self.varied):
            return None
        return PowerMaps(self.base, zones, self.questions)

    def _superpose_linear(self) -> None:
        """Only the grid's error of resistances is left."""
        if self.power_maps is None:
            return
        most = np.abs(self.away)
        found = self.power_maps.settled(lambda half: self._enough((most @ half.T).max(axis=0)), self.memory_GB)
        if found is None:
            return
        limit, half = found
        for number in self._left():
            self._keep(number, "superposition", limit @ self.away[number], half @ most[number])

    def _superpose(self, checked: _Checked, grid: _Grid) -> None:
        """Where k depends on temperature, what superposition leaves is measured like any other short cut."""
        found = None if self.power_maps is None else self.power_maps.on(grid.multiplier)
        if found is None:
            return
        deviation = self.away @ found.T
        left = checked.left_K(deviation[list(checked.samples)])
        if self._enough(left):
            for number in self._left():
                self._keep(number, "superposition", deviation[number], left)

    def _by_small_model(self, grid: _Grid) -> None:
        left, solves = self._left(), solved_for(len(self.varied)) + HELD_OUT
        if len(left) < SAMPLES_PER_TRAINING_SOLVE * solves:
            return
        try:
            model = reduce(
                self.case,
                varied=[self.known[path] for path in self.varied],
                plan=self.base.plan,
                multiplier=grid.multiplier,
                limits=(np.minimum(self.table.min(axis=0), self.usual), np.maximum(self.table.max(axis=0), self.usual)),
                solved=solved_for(len(self.varied)),
                held_out=HELD_OUT,
            )
            missing = [question for question in self.questions if question not in model.questions]
            if missing:
                raise ThermsimError(f"a small model does not answer {missing[0]!s}")
            found = model.answers(np.vstack([self.usual, self.table[left]]))
        except MemoryLimitError:
            raise
        except (ThermsimError, np.linalg.LinAlgError) as error:
            self.notes.append(f"no small model: {error.what if isinstance(error, ThermsimError) else error}")
            return
        columns = [found.questions.index(question) for question in self.questions]
        values, widths = found.values[:, columns], found.doubts[:, columns]
        self.notes.append(f"the small model has {model.small.size} vectors, from {solves} full solves")
        for row, number in enumerate(left, start=1):
            both = grid.left_K + widths[0] + widths[row]
            if found.inside[row] and self._enough(both):
                self._keep(number, "small model", values[row] - values[0], both)

    def _in_full(self, grid: _Grid) -> None:
        left = self._left()
        if not left:
            return
        nearby = SampleWork((self.case,), self.base.plan, grid.multiplier, self.questions)
        work = nearby()
        nominal = work(Task("nominal", ({},)))[0]
        # In this process, the solver that answered the nominal state serves on.
        make = nearby if len(left) > MOST_IN_THIS_PROCESS else lambda: work
        for number, found in zip(left, self._run(make, [(self.solid[n],) for n in left]), strict=True):
            if not isinstance(found, Failure):  # else the grid may be too coarse: a mesh study has the last word
                self._keep(number, "full solve", found[0] - nominal, grid.left_K)

    def _by_studies(self) -> None:
        left = self._left()
        make = _Studies(self.case, self.questions, self.accuracy_K, self.memory_GB)
        for number, found in zip(left, self._run(make, [self.solid[n] for n in left]), strict=True):
            if isinstance(found, Failure):
                self.why_not[number] = found.message
            else:
                self.ways[number], self.studied[number] = "mesh study", found

    def _run(self, make: Make, values: Sequence[object]) -> list[Any]:
        tasks = [Task(f"sample {number}", value) for number, value in enumerate(values)]
        workers = 1 if len(tasks) <= MOST_IN_THIS_PROCESS else self.workers
        return list(run(make, tasks, workers=workers, progress=self.progress))

    def _words(self, widths: Array) -> str:
        told = [
            f"{count} {'' if way == 'no steady state' else 'by '}{way}" for way, count in Counter(self.ways).items()
        ]
        cost, widest = np.nanmax(self.left_K, initial=0.0), np.nanmax(widths, initial=0.0)
        parts = [
            f"{len(self.ways)} samples: {', '.join(told)}",
            *self.notes,
            f"short cuts leave up to {cost:.2g} K beside the mesh doubt; the widest doubt is {widest:.2g} K",
        ]
        return "; ".join(parts)

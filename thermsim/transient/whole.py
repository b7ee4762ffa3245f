"""All answers of a case over time by the whole model on one grid, and how far steps in time may hold them off.

Two runs, one with half as long steps as the other, err as 4 to 1: what is told is what both head for, and the doubt of
time is what the finer one has left to go there.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import RunawayError
from thermsim.loads.load import Load
from thermsim.model.build import Guess, Model
from thermsim.model.storage import StoringFilm
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import seek_together
from thermsim.readout.observable import HOTTEST, Observable
from thermsim.readout.weights import Weights
from thermsim.transient.balance import Holding, MovingField
from thermsim.transient.march import HALF_GROWTH, March, Step
from thermsim.transient.under_load import loaded_model

Array = NDArray[np.float64]

HALVES = 8.0  # by so much is a tolerance divided for steps half as long
LEFT = 3.0  # the change by halved steps, as a multiple of what the finer run has left
TIMES_ALONE = 2.5  # margin on the doubt of one moment, which has no neighbours; halved steps may err as 2 to 1, too
READ_A_DECADE = 8  # times a decade at which the whole model is read off: what it does otherwise is smooth
NEIGHBOURS = 7  # times among which the largest doubt of time counts
LEFT_OF_SPLINE = 5.0  # the change by twice as many times, as a multiple of what a spline has left: 15 in theory
READ_CELLS = 1_000_000  # of fields that are kept to be read off together
BALANCED_EACH = 4  # steps, at whose end heat is added up
FIRST_SHARE = 0.1  # of the first time asked, that the first step is at most


@dataclass(frozen=True, eq=False)
class WholeCurves:
    """Answers on one grid. All (rows, n), NaN after temperatures had passed all bounds

    Of a chip that holds back, three rows follow the answers: the share of its power that is left, the seconds of full
    power that were held back until then, and the time [s] from which on it is, the same at all times, NaN if not yet.

    values : of the run at the tolerance asked for; left : what shorter steps add to them; time_doubt : of both together
    imbalance : largest of heat stored and let out less heat made, relative to the heat made, at
        the end of every fourth step
    solves, iterations : of the linear solver
    """

    values: Array
    left: Array
    time_doubt: Array
    imbalance: float
    solves: int
    iterations: int


def whole_curves(
    case: Case,
    model: Model,
    films: Sequence[tuple[StoringFilm, Array]],
    guess: Guess,
    times: Array,
    tolerance_K: float,
    left: Array | None = None,
    holding: Holding | None = None,
    load: Load | None = None,
) -> WholeCurves:
    """Follow a case from rest after its load comes on at once, or under a load that changes step by step.

    model : with the load; films : that are cut into levels; guess : temperatures of the model to start a search from
    times : (n,) after the load came on [s], rising; tolerance_K : of a step
    left : what shorter steps add, as it was found on another grid; without it there is a second run here
    holding : how a chip holds back, None if it does not; then there is no load
    load : constant between its samples; all power of the case from 0 on unless given

    Raises
    ------
    NotConvergedError
    """
    from scipy.ndimage import maximum_filter1d

    stretches = [(0.0, model)] if load is None else _stretches(load, model, float(times[-1]))
    both = [(begins, *_both(loaded, films, guess, tolerance_K, holding)) for begins, loaded in stretches]
    run = _Run(case, [(begins, steps) for begins, steps, _ in both], times)
    marches = [steps for _, steps, _ in both]
    if left is None:
        marches += [half_steps for _, _, half_steps in both]
        finer = _Run(case, [(begins, half_steps) for begins, _, half_steps in both], times)
        left = (finer.values - run.values) * (1.0 + 1.0 / LEFT)
    doubt = maximum_filter1d(
        np.nan_to_num(np.abs(left)) / (1.0 + LEFT), NEIGHBOURS, axis=1
    )  # it passes zero in between
    solves, iterations = (sum(getattr(one.balance, of) for one in marches) for of in ("solves", "iterations"))
    return WholeCurves(run.values, left, doubt, run.imbalance, solves, iterations)


class Passing(NamedTuple):
    """When it happens, and its doubt of time [s], inf where not in the time that is followed.

    by_limit : whether a limit is passed; False where temperatures elsewhere run away before
    """

    after_s: float
    doubt_s: float
    by_limit: bool


def passes_s(
    case: Case,
    model: Model,
    films: Sequence[tuple[StoringFilm, Array]],
    guess: Guess,
    span_s: tuple[float, float],
    limit_C: float,
    tolerance_K: float,
) -> Passing:
    """When the first of the readings (the hottest spot where there are none) passes a limit, or all runs away before.

    span_s : first time of interest, and the last that is followed
    """
    asked = [one for one in observables(case) if one.kind == "reading"] or [HOTTEST]

    def at(march: March, step: Step, time_s: float) -> float:
        return max(answers(case, march.field(step, time_s), asked).values()) - limit_C

    def passing(march: March) -> tuple[float, bool]:
        from scipy.optimize import brentq

        start = march.begin(march.rest())
        last = start.time_s
        with contextlib.suppress(RunawayError):  # at places that no cell of the grid can carry the heat away from
            for step in march.steps(start, span_s[1], FIRST_SHARE * span_s[0]):
                last = step.end.time_s
                if at(march, step, last) > 0.0:
                    if at(march, step, step.start.time_s) >= 0.0:
                        return step.start.time_s, True
                    inside = partial(at, march, step)
                    return float(brentq(inside, step.start.time_s, step.end.time_s, rtol=1e-9)), True
        return (last, False) if last < span_s[1] else (np.inf, False)

    (coarse, _), (fine, by_limit) = (passing(one) for one in _both(model, films, guess, tolerance_K))
    if not np.isfinite(coarse) or not np.isfinite(fine):
        return Passing(np.inf, np.inf, False)
    return Passing(fine + (fine - coarse) / LEFT, TIMES_ALONE * abs(fine - coarse) / LEFT, by_limit)


def some_of(times: Array) -> NDArray[np.int64]:
    """(k,) indices of an odd number of times, first and last among them, that a curve may be carried from to all."""
    count = max(int(np.ceil(READ_A_DECADE * np.log10(times[-1] / times[0]))) + 1, 5)
    wanted = np.geomspace(times[0], times[-1], count)
    nearest = np.unique(np.abs(np.log(times[None, :] / wanted[:, None])).argmin(axis=1))
    return nearest if len(nearest) % 2 else np.delete(nearest, -2)


def carried(known: Array, values: Array, times: Array) -> tuple[Array, Array]:
    """Values (rows, k) at `some_of` the times carried to other times (n,), and how far that may be off, both (rows, n).

    By a cubic spline over the logarithm of time; with half as many times it is off 16 times as far.
    """
    from scipy.interpolate import CubicSpline

    by_all, by_half = (
        CubicSpline(np.log(known[::every]), values[:, ::every], axis=1)(np.log(times)) for every in (1, 2)
    )
    return by_all, np.abs(by_all - by_half) / LEFT_OF_SPLINE


def _both(
    model: Model,
    films: Sequence[tuple[StoringFilm, Array]],
    guess: Guess,
    tolerance_K: float,
    holding: Holding | None = None,
) -> tuple[March, March]:
    """Two marches, the second with steps half as long."""
    finer = March(model, films, guess, tolerance_K / HALVES, HALF_GROWTH, holding)
    return March(model, films, guess, tolerance_K, holding=holding), finer


class _Run:
    """One run. marches : when each begins [s]"""

    def __init__(self, case: Case, marches: Sequence[tuple[float, March]], times: Array) -> None:
        self.case, self.times = case, times
        self.holds = marches[0][1].balance.holding is not None
        self.values = np.full((len(observables(case)) + 3 * self.holds, len(times)), np.nan)
        self.imbalance, self.held_s = 0.0, 0.0
        self._sums: dict[Observable, Weights | None] = {}
        at = marches[0][1].rest()
        ends = [*(begins for begins, _ in marches[1:]), float(times[-1])]
        for (begins, march), until_s in zip(marches, ends, strict=True):
            self.march = march
            start = replace(march.begin(at), time_s=begins)
            together = max(1, READ_CELLS // start.state.size)
            passed: list[tuple[int, MovingField]] = []
            for count, step in enumerate(march.steps(start, until_s, FIRST_SHARE * float(times[0]))):
                passed += self._passed(step)
                if len(passed) >= together:
                    self._read(passed)
                    passed = []
                if count % BALANCED_EACH == 0:
                    self.imbalance = max(self.imbalance, self._imbalance(step))
                at = step.end.at
            self._read(passed)

    def _passed(self, step: Step) -> list[tuple[int, MovingField]]:
        """What stands at the times that lie within a step, by number."""
        first, stop = np.searchsorted(self.times, [step.start.time_s, step.end.time_s], side="right")
        if self.holds:
            self._read_power(step, int(first), int(stop))
        return [(at, self.march.field(step, float(self.times[at]))) for at in range(int(first), int(stop))]

    def _read_power(self, step: Step, first: int, stop: int) -> None:
        """The three rows of a chip that holds back."""
        for number in range(first, stop):
            time_s = float(self.times[number])
            self.values[-3:-1, number] = step.inputs_at(time_s).share, self.held_s + step.held_back_s(time_s)
        if self.held_s == 0.0 and step.end.at.inputs.share < 1.0:
            self.values[-1] = step.start.time_s
        self.held_s += step.held_back_s(step.end.time_s)

    def _read(self, passed: list[tuple[int, MovingField]]) -> None:
        if passed:
            seek_together([here for _, here in passed])
        for number, here in passed:
            told = list(answers(self.case, here, sums=self._sums).values())
            self.values[: len(told), number] = told

    def _imbalance(self, step: Step) -> float:
        end = step.end.at
        here = self.march.balance.field(end.state, end.near, end.inputs)
        stored = float(here.moment.capacity.ravel() @ step.end.change[: here.moment.capacity.size])
        out = sum(flow.heat_W for flow in here.flows)
        return abs(here.heat_made_W - stored - out) / max(abs(here.heat_made_W), 1e-300)


def _stretches(load: Load, model: Model, until_s: float) -> list[tuple[float, Model]]:
    """When each constant load begins [s], and the model that bears it."""
    begins = load.changes_s[load.changes_s < until_s]
    return [
        (time, loaded_model(model, load, values))
        for time, values in zip(begins.tolist(), load.after(begins), strict=True)
    ]

"""One or two quantities of a case over a range: temperatures with their mesh doubt at every point, and where they are
lowest.

All points are solved on grids of one topology, stretched from one family, so that a curve is smooth where the physics
is: the error of the grid changes along it as little as the grid does. The family is chosen by a mesh study in the
middle of the range; every point is then solved on all of its grids and has a doubt of its own.
"""

from __future__ import annotations

import math
import time
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import (
    AbsoluteZeroError,
    BoundsError,
    HeatBalanceError,
    NotConvergedError,
    NoWayOutError,
    RunawayError,
    ThermsimError,
)
from thermsim.mesh.bounds import source_bounds
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import FEWEST_GRIDS, predict
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.settling import OnGrid, judged
from thermsim.model.build import build_model
from thermsim.model.grid.axes import Grid, GridPlan
from thermsim.model.grid.plan import needed_GB
from thermsim.model.grid.topology import alike
from thermsim.printable import Printable
from thermsim.progress import Progress
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.readout.materials_held import NotHeld, materials_not_held
from thermsim.readout.observable import Answers, Asked, Observable, find
from thermsim.solver.linear import State
from thermsim.solver.steady import steady_state
from thermsim.sweeps.lowest import Lowest, lowest
from thermsim.sweeps.points import Place, Range, places_of, questions_of, ranges_of
from thermsim.sweeps.points import Vary as Vary
from thermsim.sweeps.tolerances import InputsAtPoint, SweptInputs, Tolerances, margin_K

Array = NDArray[np.float64]

# Share of the accuracy asked for that the grids are planned to hold in the middle of a range: doubts at its ends are
# wider. Our own choice.
MIDDLE_SHARE = 0.7
MOST_EXTRA_GRIDS = 1  # grids beyond the finest that the middle of the range needs, for points that need a finer one
# Words for a gap in a table, by the error that left it.
GAP_WORDS: dict[type[ThermsimError], str] = {
    RunawayError: "thermal runaway",
    NotConvergedError: "solver not converged",
    NoWayOutError: "no way out for heat",
    HeatBalanceError: "heat balance failed",
    BoundsError: "outside bounds",
    AbsoluteZeroError: "below absolute zero",
}
FAILURES = tuple(GAP_WORDS)
NOT_THERE = "place not there"


@dataclass(frozen=True)
class Point:
    """One point of a sweep. values : of the ranges, in their order.

    made_up_mm : thickness of the part that keeps the height, if one does
    doubts : of what is watched [C]; empty where the point has no answer, for the reason in `failure`
    kind : the reason in two or three words
    by_grid : the answers of every grid, coarse to fine; seen : what their doubts hang on besides, of each grid
    cells : along x, y, z of the first grid; points that have them in common share their topology
    not_held : what gets hotter than its material holds, on the finest grid
    inputs : what the tolerances leave of the answers; None where no input has one
    """

    values: tuple[float, ...]
    made_up_mm: float | None
    doubts: Answers[Doubt]
    failure: str | None
    kind: str | None = None
    by_grid: Answers[tuple[float, ...]] = field(default_factory=Answers)
    seen: tuple[OnGrid, ...] = ()
    cells: tuple[int, ...] = ()
    not_held: tuple[NotHeld, ...] = ()
    inputs: InputsAtPoint | None = None


@dataclass(frozen=True)
class Sweep(Printable):
    """Points in the order of the ranges, the last one varying fastest.

    cells : of the finest grid at the middle of the range; sizes : of cells of all grids, relative to the first
    inputs : what the points share of the doubt of the inputs
    """

    case: Case
    ranges: tuple[Range, ...]
    same_height: str | None
    questions: tuple[Observable, ...]
    points: tuple[Point, ...]
    accuracy_K: float
    cells: int
    sizes: tuple[float, ...]
    inputs: SweptInputs
    seconds: float

    @property
    def grids(self) -> int:
        """The number of grids that every point was solved on."""
        return len(self.sizes)

    @property
    def shape(self) -> tuple[int, ...]:
        """The number of points along each range."""
        return tuple(len(one.values) for one in self.ranges)

    def values(self, question: Asked) -> Array:
        """(n,) or (n, m) temperatures [C]; NaN in a gap."""
        return self._table([one.doubts[question].value if one.doubts else math.nan for one in self.points])

    def half_widths(self, question: Asked) -> Array:
        """(n,) or (n, m) mesh doubts [K]; NaN in a gap."""
        return self._table([one.doubts[question].half_width if one.doubts else math.nan for one in self.points])

    def ends(self, question: Asked) -> tuple[Array, Array]:
        """(n,) or (n, m) each: between which it lies by mesh and inputs together [C]; inf where there is no end, NaN in
        a gap and where no input has a tolerance."""
        bands = [None if one.inputs is None else one.inputs.bands[question] for one in self.points]
        low = self._table([math.nan if band is None else band.both_low for band in bands])
        return low, self._table([math.nan if band is None else band.both_high for band in bands])

    def _table(self, numbers: list[float]) -> Array:
        return np.array(numbers).reshape(self.shape)

    def lowest(self, question: Asked) -> Lowest:
        """Where it is lowest, and what cannot be told apart from that."""
        return lowest(self.values(question), self.margins(question), [one.values for one in self.ranges])

    @cached_property
    def _margins(self) -> dict[Observable, Array]:
        """By what is watched, once it was asked for."""
        return {}

    @property
    def all_exact(self) -> bool:
        """Whether no input has a tolerance at all."""
        return all(one.inputs is None for one in self.points)

    def margins(self, question: Asked) -> Array:
        """(n,) or (n, m) what a temperature must be above the lowest to be told apart from it [K]; NaN in a gap.

        By the mesh: both doubts together; where both points share their topology, so that errors of the grid cancel,
        the doubt of the difference if that is less. With tolerances: the end of what mesh and inputs together leave of
        the difference, see `sweeps.tolerances`, if that is more.
        """
        asked = find(self.questions, question)
        if asked not in self._margins:
            low = self.points[int(np.nanargmin(self.values(asked)))]
            self._margins[asked] = self._table([self._margin(asked, one, low) for one in self.points])
        return self._margins[asked]

    def _margin(self, question: Observable, one: Point, low: Point) -> float:
        if not one.doubts:
            return math.nan
        mesh_K = self._mesh_margin(question, one, low)
        return mesh_K if one is low else margin_K(question, one.inputs, low.inputs, mesh_K, self.inputs)

    def _mesh_margin(self, question: Observable, one: Point, low: Point) -> float:
        both = one.doubts[question].half_width + low.doubts[question].half_width
        if one is low or one.cells != low.cells:
            return both
        difference = np.array(one.by_grid[question]) - np.array(low.by_grid[question])
        grids = [own - others for own, others in zip(one.seen, low.seen, strict=True)]
        return min(both, judged(difference[:, None], grids)[0].half_width)

    @property
    def widest_K(self) -> float:
        """The widest mesh doubt of all points."""
        return max(doubt.half_width for one in self.points for doubt in one.doubts.values())

    @property
    def accuracy_held(self) -> bool:
        """Whether every point is as sure as was asked for."""
        return self.widest_K <= self.accuracy_K


def sweep(
    case: Case,
    vary: Sequence[Vary],
    *,
    asked: Collection[Asked] = (),
    same_height: str | None = None,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    progress: Progress | None = None,
) -> Sweep:
    """Solve a case at every point of one or two ranges, each answer with its doubts of mesh and inputs.

    The tolerances of the case are followed at each point as `with_input_doubt` follows them, on the coarsest grid. That
    of what is varied is one of each point by itself, as wide as in the case: in the unit of a length or temperature, in
    percent of anything else.

    Parameters
    ----------
    vary : one or two quantities with their ranges
    asked : temperatures, see `questions_of`; the hottest spot unless given
    same_height : a part whose thickness makes up for what is varied, so that the height of the stack stays
    accuracy_K : of what is asked; the case's own unless given [K]
    memory_GB : as for `predict`
    progress : called with a line of words after each grid of the mesh study, and before each point

    Raises
    ------
    UnknownNameError, ThermsimError : what is asked cannot be; nothing was solved
    RunawayError and others of `FAILURES` : not even one point has an answer
    """
    start = time.perf_counter()
    questions = questions_of(case, asked)
    ranges = ranges_of(case, vary)
    places = places_of(case, ranges, same_height)
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    memory = allowed_GB(memory_GB)
    middle = _from_middle([len(one.values) for one in ranges])
    number, reference = _reference(places, middle, MIDDLE_SHARE * wanted, memory, questions, progress)
    climb = _Climb(places, number, reference, questions, progress)
    _climb(climb, reference, wanted, memory)
    tolerances = Tolerances(places, number, climb.plan, climb.done[0])
    points = tuple(climb.point(number, tolerances) for number in range(len(places)))
    if not any(point.doubts for point in points):
        raise NotConvergedError(
            f"no point of the sweep has an answer; the first says: {points[0].failure}",
            "change the ranges or what is watched, or lower the power or the leakage",
        )
    cells = climb.plan.cells(climb.done[-1])
    seconds = time.perf_counter() - start
    shared = tolerances.shared(case)
    return Sweep(case, ranges, same_height, questions, points, wanted, cells, climb.sizes, shared, seconds)


def _reference(
    places: Sequence[Place],
    order: Sequence[int],
    accuracy_K: float,
    memory_GB: float,
    questions: Sequence[Observable],
    progress: Progress | None,
) -> tuple[int, Prediction]:
    """The number and the mesh study of the first point in an order that has a steady state."""
    failed: ThermsimError | None = None
    for number in order:
        try:
            case = places[number].case
            return number, predict(case, accuracy_K=accuracy_K, memory_GB=memory_GB, asked=questions, progress=progress)
        except FAILURES as error:
            failed = failed or error
    assert failed is not None  # there are points
    raise failed


def _from_middle(shape: Sequence[int]) -> list[int]:
    """Numbers of the points, those in the middle of all ranges first."""
    away = [np.abs(np.linspace(-1.0, 1.0, count)) for count in shape]
    distance = np.sum(np.meshgrid(*away, indexing="ij"), axis=0)
    return [int(number) for number in np.argsort(distance.ravel(), kind="stable")]


def _climb(climb: _Climb, reference: Prediction, wanted_K: float, memory_GB: float) -> None:
    """All points on one grid of the family after the other, until every doubt is below what is wanted."""
    family = climb.plan.multipliers
    needed = [step.multiplier for step in reference.steps]
    for multiplier in family[: len(needed) + MOST_EXTRA_GRIDS]:
        too_large = needed_GB(climb.plan.cells(multiplier)) > memory_GB
        if len(climb.done) >= FEWEST_GRIDS and (climb.worst_K() <= wanted_K or too_large):
            return
        climb.on(multiplier)


class _Climb:
    """All points with their answers so far, one row for each grid; `on` adds the next grid."""

    def __init__(
        self,
        places: Sequence[Place],
        number: int,
        reference: Prediction,
        questions: Sequence[Observable],
        progress: Progress | None,
    ) -> None:
        assert reference.plan is not None
        self.places, self.questions, self.progress = places, questions, progress
        self.plan: GridPlan = reference.plan
        self.base = number
        self.known = {step.multiplier: (step.answers, step.seen) for step in reference.steps}
        self.done: list[int] = []
        self.rows: list[list[list[float]]] = [[] for _ in places]
        self.seen: list[list[OnGrid]] = [[] for _ in places]
        self.failures: dict[int, tuple[str, str]] = {}
        self.cells: list[tuple[int, ...]] = [() for _ in places]
        self.not_held: list[tuple[NotHeld, ...]] = [() for _ in places]
        self.not_held[number] = materials_not_held(reference.case, reference.field)

    @property
    def sizes(self) -> tuple[float, ...]:
        return tuple(1.0 / multiplier for multiplier in self.done)

    def on(self, multiplier: int) -> None:
        """Solve every point that has not failed yet on one grid, each from its neighbour."""
        warm = _Warm()
        for count, number in enumerate(_neighbours(self.places), 1):
            if number in self.failures:
                continue
            if self.progress is not None:
                self.progress(f"grid {len(self.done) + 1}, point {count} of {len(self.places)}")
            try:
                found, seen = self._answers(number, multiplier, warm)
            except FAILURES as error:
                self._failed(number, error)
                warm = _Warm()
                continue
            row = [found.get(question, math.nan) for question in self.questions]
            if not all(map(math.isfinite, row)):
                self.failures[number] = ("a place that is watched is not there", NOT_THERE)
                continue
            self.rows[number].append(row)
            self.seen[number].append(seen)
        self.done.append(multiplier)

    def _failed(self, number: int, error: ThermsimError) -> None:
        self.failures[number] = (
            error.what,
            next(words for kind, words in GAP_WORDS.items() if isinstance(error, kind)),
        )

    def _answers(self, number: int, multiplier: int, warm: _Warm) -> tuple[Answers[float], OnGrid]:
        case, base = self.places[number].case, self.places[self.base].case
        plan = alike(self.plan, base, case)
        self.cells[number] = tuple(axis.cells(1) for axis in (plan.x, plan.y, plan.z))
        if number == self.base and multiplier in self.known:
            return self.known[multiplier]
        solved = warm.solve(case, plan.grid(multiplier))
        if len(self.done) + 1 >= FEWEST_GRIDS:
            source_bounds(solved)  # raises where the answer cannot be right
        self.not_held[number] = materials_not_held(case, solved)
        coarsest = self.seen[number][0] if self.seen[number] else None
        return answers(case, solved), OnGrid.of(case, solved, multiplier, coarsest)

    def doubts(self, number: int) -> Answers[Doubt]:
        return Answers(zip(self.questions, judged(self.rows[number], self.seen[number]), strict=True))

    def worst_K(self) -> float:
        numbers = [number for number in range(len(self.places)) if number not in self.failures]
        return max((one.half_width for n in numbers for one in self.doubts(n).values()), default=0.0)

    def point(self, number: int, tolerances: Tolerances) -> Point:
        place, inputs = self.places[number], None
        if number not in self.failures:
            if self.progress is not None and tolerances.varied:
                self.progress(f"tolerances, point {number + 1} of {len(self.places)}")
            try:
                inputs = tolerances.at(number, self.doubts(number))
            except FAILURES as error:
                self._failed(number, error)
        if number in self.failures:
            return Point(place.values, place.made_up_mm, Answers(), *self.failures[number])
        by_grid = Answers(zip(self.questions, zip(*self.rows[number], strict=True), strict=True))
        return Point(
            place.values,
            place.made_up_mm,
            self.doubts(number),
            None,
            by_grid=by_grid,
            seen=tuple(self.seen[number]),
            cells=self.cells[number],
            not_held=self.not_held[number],
            inputs=inputs,
        )


class _Warm:
    """The last field on a grid, from which the next point starts."""

    def __init__(self) -> None:
        self.field: Field | None = None
        self.state: State | None = None

    def solve(self, case: Case, grid: Grid) -> Field:
        model = build_model(case, grid)
        guess = None if self.field is None else self.field.guess_for(model)
        steady = steady_state(model, guess, self.state if guess is not None else None)
        self.state = steady.state
        self.field = Field.of(model, steady)
        return self.field


def _neighbours(places: Sequence[Place]) -> Iterator[int]:
    """Numbers of the points so that each lies beside the one before: to and fro along the second range."""
    first = [place.values[0] for place in places]
    for turn, value in enumerate(dict.fromkeys(first)):
        line = [number for number, own in enumerate(first) if own == value]
        yield from line if turn % 2 == 0 else reversed(line)

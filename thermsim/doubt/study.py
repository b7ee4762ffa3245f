"""What the tolerances of one case make of its answers: the curves of its inputs, followed by points of them all.

Studies of cases that differ in some numbers can be paired: with the same levels for an input of both, it is the same
part, film or sensor in both, and what it does to both falls out of their difference.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.doubt.bands import band_of, normal
from thermsim.doubt.responses import FAR, Responses, moves_of, responses
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.input_doubt import Band
from thermsim.model.grid.axes import GridPlan
from thermsim.nearby.sample_solver import SampleSolver
from thermsim.nearby.uncertain_inputs import UncertainInput
from thermsim.readout.answers import under
from thermsim.readout.observable import HOTTEST, Answers, Observable

Array = NDArray[np.float64]

COVERAGE, SEED = 0.90, 20_269
POINTS = 2048  # of the Latin hypercube: its own error is far below what a doubt is told to
VISIBLE_SHARE = 0.1  # share of the width of a band by which both ways, or inputs acting together, visibly differ


@dataclass(frozen=True, eq=False)
class Levels:
    """Points of a Latin hypercube. of : by path of an input, (points,) levels in (0, 1); mesh : (points,) others"""

    of: dict[str, Array]
    mesh: Array

    @classmethod
    def drawn(cls, varied: Sequence[UncertainInput], seed: int) -> Levels:
        """For some inputs, in their order."""
        random = np.random.default_rng(seed)
        found = {one.input.path: _column(random) for one in varied}
        return cls(found, _column(random))

    def with_own(self, paths: Collection[str], seed: int, number: int) -> Levels:
        """The same with columns of their own for some inputs, others for each number."""
        random = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(number,)))
        return Levels({**self.of, **{path: _column(random) for path in paths}}, self.mesh)


def _side_by_side(columns: Sequence[Array]) -> Array:
    return np.stack(columns, axis=1) if columns else np.zeros((POINTS, 0))


def _column(random: np.random.Generator) -> Array:
    return np.asarray((random.permutation(POINTS) + 0.5) / POINTS)


@dataclass(frozen=True, eq=False)
class Points:
    """Values of all inputs (points, inputs), and independent standard normal ones (points,) for the mesh."""

    values: Array
    normal: Array


@dataclass(frozen=True, eq=False)
class Study:
    """cases : that which the grids are of, and the one that is meant, if it is another; multiplier : of the grid

    doubts : of what is asked; varied : the inputs with tolerances of the case that is meant
    """

    cases: tuple[Case, ...]
    plan: GridPlan
    multiplier: int
    doubts: Answers[Doubt]
    varied: tuple[UncertainInput, ...]
    coverage: float
    levels: Levels

    @property
    def case(self) -> Case:
        """That is meant."""
        return self.cases[-1]

    @cached_property
    def questions(self) -> list[Observable]:
        return [one for one, doubt in self.doubts.items() if isfinite(doubt.value)]

    @cached_property
    def places(self) -> dict[Observable, int]:
        """What is read off the field: of a reading, what its sensor sits on. By its number among the answers."""
        asked = (under(question, self.case)[0] for question in self.questions)
        return {one: number for number, one in enumerate(dict.fromkeys((*asked, HOTTEST)))}

    @property
    def acting(self) -> list[UncertainInput]:
        """Inputs that act on temperatures; offsets of sensors do not."""
        return [one for one in self.varied if not one.input.is_offset]

    @cached_property
    def curves(self) -> Responses:
        asked = tuple(self.places)
        solver = SampleSolver(self.cases, len(self.cases) - 1, self.plan, self.multiplier, asked)
        return responses(solver.answer, self.acting, solver.answer({}), self.places[HOTTEST], solver.keeps_cells)

    @cached_property
    def hypercube(self) -> Points:
        columns = [one.spread.quantile(self.levels.of[one.input.path]) for one in self.varied]
        return Points(_side_by_side(columns), normal(self.levels.mesh))

    @cached_property
    def along(self) -> Array:
        """(points, places) deviations of the hypercube's points, by the curves."""
        columns = [
            moves_of(one.spread, column)
            for one, column in zip(self.varied, self.hypercube.values.T, strict=True)
            if not one.input.is_offset
        ]
        return self.curves.deviation(_side_by_side(columns))

    @property
    def own_deviations(self) -> Answers[Array]:
        """(points,) of every answer, by the curves."""
        return self.deviations(self.along, self.hypercube)

    @property
    def own_bands(self) -> Answers[Band]:
        """Of every answer, by the curves."""
        return self.bands(self.own_deviations, self.hypercube, self.curves.runs_away)

    def deviations(self, at_places: Array, points: Points) -> Answers[Array]:
        """(points,) of every answer, from those (points, places) of what it is read off."""
        found: Answers[Array] = Answers()
        columns = zip(self.varied, points.values.T, strict=True)
        offsets = {one.input.path: column - one.input.value for one, column in columns if one.input.is_offset}
        for question in self.questions:
            own = at_places[:, self.places[under(question, self.case)[0]]]
            offset = offsets.get(f"readings.{question.name}.offset_K", 0.0) if question.kind == "reading" else 0.0
            found[question] = own + offset
        return found

    def bands(self, deviations: Answers[Array], points: Points, runs_away: bool) -> Answers[Band]:
        """Of every answer, from its deviations; inf where there is no steady state."""
        found: Answers[Band] = Answers()
        for question, own in deviations.items():
            doubt = self.doubts[question]
            band = band_of(doubt.value, doubt.half_width, own, points.normal, self.coverage)
            if runs_away:
                band = replace(band, high=inf, both_high=inf)
                if question.is_heat:
                    band = replace(band, low=-inf, both_low=-inf)
            found[question] = band
        return found

    @property
    def together_K(self) -> float | None:
        """What all inputs at once move the hottest spot by beyond each for itself; None where that is not seen [K]."""
        curves, at = self.curves, self.places[HOTTEST]
        miss = abs(float(curves.together[at]))
        straight = float(np.sqrt(np.sum(curves.slopes[:, at] ** 2)))
        return miss if miss > VISIBLE_SHARE * 2.0 * FAR * straight else None


def left_out_words(curves: Responses) -> str | None:
    """A grave remark on inputs that are in no interval, where there are any."""
    if not curves.left_out:
        return None
    told = "; ".join(f"{path}: {why}" for path, why in curves.left_out.items())
    return f"WARNING: tolerances that no interval holds, since they cannot be followed: {told}"

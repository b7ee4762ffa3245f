"""What the tolerances of the inputs leave of the points of a sweep, and of the difference of two of them.

All points are studied on the same levels of a Latin hypercube. An input that two points have in common is the same
film, joint or sensor in both, so that what it does to both falls out of their difference, as between a base and its
options. What is varied, and the part that keeps the height, is made anew for every point: its tolerance is drawn for
each by itself, as of options that give the same number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.values import inputs
from thermsim.case.inputs.without_tolerance import exact_inputs, exact_lines
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.doubt.bands import band_of, normal
from thermsim.doubt.study import COVERAGE, SEED, Levels, Study, left_out_words
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.input_doubt import Band
from thermsim.model.grid.axes import GridPlan
from thermsim.nearby.uncertain_inputs import UncertainInput, variables
from thermsim.readout.observable import Answers, Observable
from thermsim.rounding import tolerance
from thermsim.sweeps.points import Place, keeps_share

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class InputsAtPoint:
    """What the tolerances leave of the answers at one point.

    bands : of every answer; deviations : (points of the hypercube,) of every answer, in single precision
    runs_away : whether there is no steady state at the hot end of the tolerances
    together_K : see `Study.together_K`; left_out : a remark on inputs that are in no band, if any
    """

    bands: Answers[Band]
    deviations: Answers[NDArray[np.float32]]
    runs_away: bool
    together_K: float | None
    left_out: str | None


@dataclass(frozen=True, eq=False)
class SweptInputs:
    """What all points share.

    coverage : of bands; mesh : (points of the hypercube,) standard normal values for the mesh
    exact : numbers taken as exact, in words; own : what each point has by itself, with its tolerance, in words
    """

    coverage: float
    mesh: Array
    exact: tuple[str, ...]
    own: tuple[str, ...]


class Tolerances:
    """Studies of the points of a sweep. plan : of grids of the case at the place `base`; multiplier : of the grid"""

    def __init__(self, places: Sequence[Place], base: int, plan: GridPlan, multiplier: int) -> None:
        self.places, self.base, self.plan, self.multiplier = places, base, plan, multiplier
        held: dict[str, UncertainInput] = {}
        for place in places:
            held |= {one.input.path: one for one in variables((place.case,), ("",)) if one.input.path not in held}
        self.varied = tuple(held.values())
        self.levels = Levels.drawn(self.varied, SEED)

    def shared(self, typed: Case) -> SweptInputs:
        """typed : the case that is swept"""
        place = self.places[self.base]
        known = {one.path: one for one in inputs(typed)}
        exact = exact_inputs(place.case)
        varied = [path for path in place.changed if any(one.path == path for one in exact) or path not in self._paths]
        lines = [f"{path} at every point" for path in varied]
        lines += exact_lines(one for one in exact if one.path not in place.changed)
        own = tuple(_own(known[path]) for path in place.changed if path not in varied)
        return SweptInputs(COVERAGE, normal(self.levels.mesh), tuple(lines), own)

    @property
    def _paths(self) -> set[str]:
        return {one.input.path for one in self.varied}

    def at(self, number: int, doubts: Answers[Doubt]) -> InputsAtPoint | None:
        """Of one point with its mesh doubts; None where nothing has a tolerance.

        Raises what the solve of that point raises.
        """
        if not self.varied:
            return None
        place, base = self.places[number], self.places[self.base]
        cases = (base.case,) if number == self.base else (base.case, place.case)
        varied = variables((place.case,), ("",))
        levels = self.levels.with_own(place.changed, SEED, number)
        study = Study(cases, self.plan, self.multiplier, doubts, varied, COVERAGE, levels)
        deviations: Answers[NDArray[np.float32]] = Answers()
        for question, own in study.own_deviations.items():
            deviations[question] = own.astype(np.float32)
        curves = study.curves
        return InputsAtPoint(study.own_bands, deviations, curves.runs_away, study.together_K, left_out_words(curves))


def _own(one: Input) -> str:
    """`die.thickness_mm +- 0.02 mm`, `water.film_W_m2K +- 20 %`"""
    if keeps_share(one):
        return f"{one.path} +- {100.0 * one.plus_minus / abs(one.value):.3g} %"
    return f"{one.path} +- {tolerance(one.plus_minus)} {one.unit}".rstrip()


def margin_K(
    question: Observable, one: InputsAtPoint | None, low: InputsAtPoint | None, mesh_K: float, shared: SweptInputs
) -> float:
    """What a point must be above the lowest to be told apart from it: by the mesh, and by mesh and inputs [K].

    The second is the end of what the difference may fall by with both doubts, at the lower side of the coverage; no end
    where the lowest has none itself. mesh_K : doubt of the difference by the mesh
    """
    if one is None or low is None:
        return mesh_K
    if low.runs_away:
        return float("inf")
    difference = np.subtract(one.deviations[question], low.deviations[question], dtype=float)
    return max(mesh_K, -band_of(0.0, mesh_K, difference, shared.mesh, shared.coverage).both_low)

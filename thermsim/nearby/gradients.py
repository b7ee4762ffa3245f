"""How every answer of a case changes with every number in it: the gradient of the answer on one grid.

The cost is one adjoint solve for each answer (`solver/adjoint.py`), whatever the number of inputs. What an input does
to the model (widths, conductivities, joints, heat, films) is differenced without any solve, on the grid of the case
stretched along with it, so the gradient is that of the numbers this very grid would give: no noise of grids is in it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.model.build import Guess, Model, build_model
from thermsim.model.grid.axes import Grid, GridPlan
from thermsim.model.grid.cells import as_planes
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import StretchedAxis, alike
from thermsim.readout.answers import Local, Solved, answers, local, under
from thermsim.readout.field import Field
from thermsim.readout.observable import COOLANT, Answers, Asked, Observable, find, of_flow
from thermsim.solver.adjoint import Sensitivity, sensitivities
from thermsim.solver.linearised import Linearised, linearise
from thermsim.solver.steady import steady_state

Array = NDArray[np.float64]

RELATIVE_STEP = 1e-3  # relative step of an input in a finite difference
UNIT_STEP = 1.0  # value that stands for an input of zero when its step is made, in the unit of the case
# Where the model is linear in an input two points give the slope exactly; else four give it to RELATIVE_STEP^4.
TWO = ((-1.0, -0.5), (1.0, 0.5))
ASIDE = ((0.0, -1.0), (1.0, 1.0))
FOUR = tuple((at, weight / 12.0) for at, weight in ((-2.0, 1.0), (-1.0, -8.0), (1.0, 8.0), (2.0, -1.0)))
FIVE_ASIDE = tuple(
    (at, weight / 12.0) for at, weight in ((0.0, -25.0), (1.0, 48.0), (2.0, -36.0), (3.0, 16.0), (4.0, -3.0))
)
LINES_PART = (
    "outlines that lie on one another, or all but, would part or change their order: no grid of the same cells serves"
)


@dataclass(frozen=True)
class Gradients:
    """Derivatives of answers.

    field : the solved case; values : for each question, by path of an input, in the units that `unit` tells
    answers : the answers on that grid; left_out : inputs whose change the grid cannot follow, and why
    known : the inputs by path
    """

    field: Field
    answers: Answers[float]
    values: Answers[dict[str, float]]
    left_out: dict[str, str]
    known: dict[str, Input]

    def __iter__(self) -> Iterator[Observable]:
        return iter(self.values)

    def __len__(self) -> int:
        return len(self.values)

    def __getitem__(self, question: Asked) -> dict[str, float]:
        return self.values[question]

    def unit(self, question: Asked, path: str) -> str:
        """`K per um`, `W per K`, `K per (W/mK)`; numbers without unit (fractions, factors) count in ones: `K per 1`."""
        of = self.known[path].unit or "1"
        of = "K" if of == "C" else f"({of})" if "/" in of else of
        return f"{'W' if find(self.values, question).is_heat else 'K'} per {of}"


def gradients(
    case: Case,
    plan: GridPlan | None = None,
    multiplier: int = 2,
    asked: Collection[Asked] | None = None,
    paths: Collection[str] | None = None,
    field: Field | None = None,
) -> Gradients:
    """The derivative of every answer with respect to every number of a case.

    Where an answer has a kink (a hottest spot about to jump to another cell, a probe on a grid line or in the centre of
    a cell), the derivative is that of the cells it is read off now.

    Parameters
    ----------
    plan, multiplier : the grid; default: an even family of the case's own
    asked : as in `answers(case, field)`; default: all temperatures and the heat of each cooling
    paths : of inputs, as `inputs(case)` lists them; default: all
    field : the case, solved on just that grid; default: it is solved here

    Raises
    ------
    UnknownNameError : a question or an input that the case does not have
    ThermsimError : a field of another grid
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError : see `thermsim.errors`
    """
    known = {one.path: one for one in inputs(case)}
    plan = plan_grid(case) if plan is None else plan
    field = _solved(case, plan.grid(multiplier), field)
    found = answers(case, field)
    usual = [one for one, value in found.items() if np.isfinite(value) and one.takes != "power"]
    wanted = usual if asked is None else [find(found, question) for question in asked]
    varied = list(known) if paths is None else list(paths)
    for path in varied:
        if path not in known:
            raise UnknownNameError(f"the case has no number {path!r}", "see `thermsim.inputs(case)` for what it has")
    places = {one: under(one, case)[0] for one in wanted}
    for place in places.values():
        if not np.isfinite(found[place]):
            raise ThermsimError(f"{place} lies in a void", "leave it out of what is asked")
    at = linearise(field.model, field.temperature, field.guess)
    solved = Solved(case, field_of(at))
    to_loop = [of_flow(number) for number in field.model.on_loop]
    goals = {place: local(place, solved) for place in dict.fromkeys([*to_loop, *places.values()])}
    nearby = _Nearby(solved, plan, multiplier, tuple(goals.values()), known)
    changes, left_out = nearby.changes([path for path in varied if known[path].acts_on not in ("sensor", "nothing")])
    rows: dict[Observable, dict[str, float]] = {}
    by_coolant: dict[Observable, float] = {}
    found_of = sensitivities(at, [one.goal for one in goals.values()])
    for number, (place, of_goal) in enumerate(zip(goals, found_of, strict=True)):
        rows[place] = {path: _derivative(at.model, of_goal, change, number) for path, change in changes.items()}
        by_coolant[place] = 1.0 if place == COOLANT else _by_coolant(at.model, of_goal)
    if to_loop:
        rows = _with_loop(rows, by_coolant, to_loop, changes, at.model)
    values: Answers[dict[str, float]] = Answers()
    for question, place in places.items():
        offset = f"readings.{question.name}.offset_K" if question.kind == "reading" else None
        kept = (path for path in varied if path not in left_out)
        values[question] = {path: rows[place].get(path, 1.0 if path == offset else 0.0) for path in kept}
    return Gradients(field, Answers({question: found[question] for question in wanted}), values, left_out, known)


def _by_coolant(model: Model, of_goal: Sensitivity) -> float:
    """What a goal changes with the coolant of the loop [1/K], from what it does with the fluid of each face."""
    found = 0.0
    for (axis, face), by_fluid in zip(model.cooled_planes, of_goal.fluids, strict=True):
        here = np.isin(as_planes(axis, model.cooling_face[axis])[face], model.on_loop)
        found += float(by_fluid[here].sum())
    return found


def _with_loop(
    rows: dict[Observable, dict[str, float]],
    by_coolant: dict[Observable, float],
    to_loop: Sequence[Observable],
    changes: dict[str, _Change],
    model: Model,
) -> dict[Observable, dict[str, float]]:
    """Derivatives with the coolant of the loop moving along, from those at a known coolant.

    With T_w = still + R Q, dT_w/dp = (d(still + R Q)/dp at the Q solved + R dQ/dp) / (1 - R dQ/dT_w), and each goal
    changes with p as before, and with the coolant.
    """
    assert model.loop is not None  # there are faces on it
    per_watt = model.loop.per_watt_K
    feedback = 1.0 - per_watt * sum(by_coolant[one] for one in to_loop)
    of_coolant = {
        path: (change.coolant_C + per_watt * sum(rows[one][path] for one in to_loop)) / feedback
        for path, change in changes.items()
    }
    return {
        place: {path: slope + by_coolant[place] * of_coolant[path] for path, slope in row.items()}
        for place, row in rows.items()
    }


def field_of(at: Linearised) -> Field:
    """The temperatures, with coefficients taken at themselves."""
    return Field(at.model, at.guess, np.where(at.stencil.solid, at.temperature, np.nan), 0.0)


def _solved(case: Case, grid: Grid, field: Field | None) -> Field:
    if field is None:
        model = build_model(case, grid)
        return Field.of(model, steady_state(model))
    for own, wanted in zip(field.model.grid.axes, grid.axes, strict=True):
        if own.cells != wanted.cells or not np.allclose(own.faces, wanted.faces, rtol=0.0, atol=1e-12):
            raise ThermsimError(
                "the field was not solved on this grid", "leave it out, or give its plan and multiplier"
            )
    return field


@dataclass(frozen=True)
class _Nearby:
    """Models near a solved one, and what they do at its temperatures."""

    solved: Solved
    plan: GridPlan
    multiplier: int
    asked: tuple[Local, ...]
    known: dict[str, Input]

    def changes(self, paths: Sequence[str]) -> tuple[dict[str, _Change], dict[str, str]]:
        """Of each input, and why some have none."""
        found: dict[str, _Change] = {}
        left_out: dict[str, str] = {}
        for path in paths:
            try:
                change = self._change(self.known[path])
            except ThermsimError as error:
                left_out[path] = error.what
                continue
            if change is None:
                left_out[path] = LINES_PART
            else:
                found[path] = change
        return found, left_out

    def _change(self, one: Input) -> _Change | None:
        step = RELATIVE_STEP * (abs(one.value) or UNIT_STEP)
        points, cases = self._cases(one, step)
        models = []
        for case in cases:
            model = self._model(case)
            if model is None:
                return None
            models.append(model)
        own = self.solved.model.regions
        conducts = tuple(
            (number, axis)
            for number in range(len(own))
            for axis in range(3)
            if any(model.regions[number].material.laws[axis] != own[number].material.laws[axis] for model, _ in models)
        )
        states = [self._state(*model, conducts) for model in models]
        weights = [weight / step for _, weight in points]
        slopes = [
            np.asarray(sum(weight * entry for weight, entry in zip(weights, entries, strict=True)))
            for entries in zip(*states, strict=True)
        ]
        return _Change(conducts, slopes)

    def _cases(self, one: Input, step: float) -> tuple[tuple[tuple[float, float], ...], list[Case]]:
        """Where an input is taken, in steps from its value and with what weights: all where it can be; and the cases.

        Raises ThermsimError where it can be varied to neither side.
        """
        both, above = (TWO, ASIDE) if one.is_linear else (FOUR, FIVE_ASIDE)
        below = tuple((-at, -weight) for at, weight in above)
        refused: ThermsimError | None = None
        for points in (both, above, below):
            try:
                values = [one.value + at * step for at, _ in points]
                return points, [with_inputs(self.solved.case, {one.path: value}, self.known) for value in values]
            except ThermsimError as error:
                refused = refused or error
        assert refused is not None
        raise refused

    def _model(self, case: Case) -> tuple[Model, Case] | None:
        """None where it is not like the solved one, cell by cell."""
        own = self.solved.model
        plan = alike(self.plan, self.solved.case, case)
        for new, old in ((plan.x, self.plan.x), (plan.y, self.plan.y), (plan.z, self.plan.z)):
            if new is not old and not isinstance(new, StretchedAxis):
                return None
        grid = plan.grid(self.multiplier)
        if grid.shape != own.grid.shape:
            return None
        model = build_model(case, own.grid if _same(grid, own.grid) else grid)
        if own.coolant_C is not None:
            model = model.at_coolant(own.coolant_C)
        like = (
            np.array_equal(model.region, own.region)
            and all(np.array_equal(*pair) for pair in zip(model.cooling_face, own.cooling_face, strict=True))
            and all(np.array_equal(new.meets, old.meets) for new, old in zip(model.joints, own.joints, strict=True))
            and model.zones == own.zones
        )
        return (model, case) if like else None

    def _state(self, model: Model, case: Case, conducts: tuple[tuple[int, int], ...]) -> list[Array]:
        """What `_change` takes the slopes of, in the order of `_weights`."""
        own, temperature = self.solved.model, self.solved.field.filled
        log_conductivity = []
        for number, axis in conducts:
            law = model.regions[number].material.laws[axis]
            log_conductivity.append(np.log(law(0.0 if law.is_constant else temperature[own.region == number])))
        stays = model.grid is own.grid and case.probes == self.solved.case.probes
        asked = [
            before if stays and one.of_place else one.value(model, case)
            for one, before in zip(self.asked, self._before, strict=True)
        ]
        return [
            *(axis.widths for axis in model.grid.axes),
            *(np.nan_to_num(values) for values in _links(model, self.solved.field.guess)),
            *(joint.resistance for joint in model.joints),
            *(fill for joint in model.joints for fill in (joint.fill_under, joint.fill_over)),
            *(s.made(face) for s, face in zip(model.face_sources, self.solved.field.heated_face, strict=True)),
            *(source.made(self.solved.field.temperature) for source in model.volume_sources),
            *log_conductivity,
            np.array(asked),
            np.array(0.0 if model.loop is None else model.loop.coolant_C(self._to_loop_W)),
        ]

    @cached_property
    def _to_loop_W(self) -> float:
        return sum(self.solved.field.flows[number].heat_W for number in self.solved.model.on_loop)

    @cached_property
    def _before(self) -> tuple[float, ...]:
        return tuple(one.value(self.solved.model, self.solved.case) for one in self.asked)


@dataclass(frozen=True, eq=False)
class _Change:
    """What one input does, per unit of it. slopes : in the order of `_weights`; conducts : (region, axis) of new k"""

    conducts: tuple[tuple[int, int], ...]
    slopes: list[Array]

    @property
    def coolant_C(self) -> float:
        """Of the coolant of the loop at unchanged heats."""
        return float(self.slopes[-1])


def _links(model: Model, guess: Guess) -> list[Array | float]:
    """Films of all cooled planes, then what is known beyond them, then what enters, at the temperatures of a guess."""
    found = [model.boundary_at(*place, guess) for place in model.cooled_planes]
    return [values for column in zip(*found, strict=True) for values in column]


def _derivative(model: Model, of_goal: Sensitivity, change: _Change, number: int) -> float:
    """Of the answer `number`, which its sensitivity is given of."""
    weights = [
        *(by_log / axis.widths for by_log, axis in zip(of_goal.log_width, model.grid.axes, strict=True)),
        *of_goal.films,
        *of_goal.fluids,
        *of_goal.influxes,
        *of_goal.joints,
        *of_goal.fills,
        *of_goal.face_heat,
        *(of_goal.cells[:, :, source.levels] for source in model.volume_sources),
        *(of_goal.log_conductivity[axis][model.region == region] for region, axis in change.conducts),
    ]
    *slopes, own, _ = change.slopes
    return sum((float((w * slope).sum()) for w, slope in zip(weights, slopes, strict=True)), float(own[number]))


def _same(one: Grid, other: Grid) -> bool:
    return all(
        np.allclose(mine.faces, yours.faces, rtol=0.0, atol=1e-15 * float(np.ptp(yours.faces)))
        for mine, yours in zip(one.axes, other.axes, strict=True)
    )

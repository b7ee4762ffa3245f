"""What properties of drawn cases share: a case solved once on its small grid, and answers held against each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from generated import Drawn, read
from rewritten import Tables, Whole, plain
from stacks import solve_on

from thermsim.case.inputs.values import Input, inputs, with_inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.doubt.inputs import with_input_doubt
from thermsim.errors import ThermsimError
from thermsim.mesh.predict import Prediction, predict
from thermsim.model.grid.axes import Axis, Grid, GridPlan
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.readout.answers import answers
from thermsim.readout.field import Field

Key = tuple[str, ...]
PLACES = ("corner_mm", "centre_mm", "at_mm")

SEED = 20_329
CELLS = 300  # of the small grid, or as few as its outlines let it have
FIRST_CELLS = 400  # of the first grid of a mesh study
ACCURACY_K = 5.0  # mesh studies of drawn cases end on their third grid, or so
SOLVED = 3e-7  # of the largest rise: what two solves of the same equations may differ by


@dataclass(frozen=True)
class Solved:
    """A drawn case with the field of its small grid."""

    drawn: Drawn

    @cached_property
    def case(self) -> Case:
        """Without its options."""
        return read(*plain(self.drawn))

    @cached_property
    def whole_case(self) -> Case:
        """With its options."""
        return self.drawn.case

    @cached_property
    def plan(self) -> GridPlan:
        return plan_grid(self.case, CELLS)

    @property
    def grid(self) -> Grid:
        return self.field.model.grid

    @cached_property
    def field(self) -> Field:
        return solve_on(self.case, self.plan.grid(1))

    @cached_property
    def answers(self) -> dict[Key, float]:
        return plainly(answers(self.case, self.field))

    @cached_property
    def inputs(self) -> tuple[Input, ...]:
        return inputs(self.case)

    @cached_property
    def prediction(self) -> Prediction:
        return predict(self.whole_case, accuracy_K=ACCURACY_K)

    @cached_property
    def doubted(self) -> Prediction:
        """With the doubt of the inputs."""
        return with_input_doubt(self.prediction)

    @cached_property
    def changed(self) -> Input:
        """A number that nearby cases differ in: often one that is not zero, never what a sensor shows."""
        physical = [one for one in self.inputs if not one.is_offset and one.value != 0.0 and can_be(self.case, one)]
        return physical[int(np.random.default_rng((SEED, self.drawn.number)).integers(len(physical)))]

    @property
    def changed_to(self) -> float:
        """Rounded as a sweep rounds its values."""
        return float(f"{shifted(self.changed, 0.96, -2.0):.12g}")

    @cached_property
    def changed_prediction(self) -> Prediction:
        return predict(with_inputs(self.case, {self.changed.path: self.changed_to}), accuracy_K=ACCURACY_K)

    @property
    def rise_K(self) -> float:
        """The largest difference of temperatures, at least a kelvin."""
        return span(self.field)

    def near(self, case: Case) -> dict[Key, float]:
        """Answers of a case that differs in numbers, on the grid stretched along with it."""
        return plainly(answers(case, solve_on(case, alike(self.plan, self.case, case).grid(1))))

    def on(self, case: Case, grid: Grid) -> dict[Key, float]:
        return plainly(answers(case, solve_on(case, grid)))


def shifted(one: Input, factor: float, off: float) -> float:
    """A value near that of an input: temperatures by kelvins, places by hundredths of a mm, all else in ratio."""
    if one.unit in ("C", "K"):
        return one.value + off
    return one.value + 0.01 * off if one.key in PLACES else one.value * factor


def can_be(case: Case, one: Input) -> bool:
    """Whether an input may differ a little either way: a probe on an edge, or a zone that fills its part, may not."""
    try:
        for factor, off in ((0.96, -2.0), (1.002, 2.0), (0.9, -2.0)):
            with_inputs(case, {one.path: shifted(one, factor, off)})
    except ThermsimError:
        return False
    return True


def span(field: Field) -> float:
    """Largest less lowest temperature of the field and its fluids [K], at least 1."""
    fluids = [at for cooling in field.model.coolings for at in cooling.known_C]
    low = min(float(np.nanmin(field.temperature)), *fluids)
    return max(1.0, float(np.nanmax(field.temperature)) - low)


def differences(
    found: Mapping[Key, float], wanted: Mapping[Key, float], within: float, within_W: float | None = None
) -> list[str]:
    """What differs by more than it may [K, and W for heats], in words; both must have the same questions."""
    missing = [f"{key} is answered once only" for key in found.keys() ^ wanted.keys()]
    for key in found.keys() & wanted.keys():
        most = within_W if within_W is not None and is_heat(key) else within
        if not abs(found[key] - wanted[key]) <= most:
            missing.append(f"{key}: {found[key]!r} and {wanted[key]!r}")
    return sorted(missing)


def agree(
    found: Mapping[Key, float], wanted: Mapping[Key, float], within: float, within_W: float | None = None
) -> None:
    """Fail with all that differs."""
    told = differences(found, wanted, within, within_W)
    assert not told, "\n".join(told)


def key(question: Any) -> Key:
    """What an answer is known by, as plain words: a zone by name, what is taken of it, part and place."""
    if question.kind == "zone":
        return ("zone", question.name, question.takes, question.part, question.at)
    return (question.kind, question.name) if question.name else (question.kind,)


def plainly(found: Mapping[Any, float]) -> dict[Key, float]:
    return {key(question): value for question, value in found.items()}


def is_heat(question: Key) -> bool:
    return question[0] == "flow" or question[2:3] == ("power",)


def without_readings(found: Mapping[Any, float], *others: str) -> dict[Key, float]:
    """Answers but for readings, and for other kinds."""
    return {key: value for key, value in found.items() if key[0] not in ("reading", *others)}


def flipped(axis: Axis, about: float = 0.0) -> Axis:
    """Mirrored at a place."""
    return Axis(2.0 * about - axis.faces[::-1])


def cut_at(grid: Grid, axis: int, place: float) -> Grid:
    """With one more line where none stands yet."""
    faces = grid.axes[axis].faces
    if np.min(np.abs(faces - place)) > 1e-9 * float(np.ptp(faces)):
        faces = np.sort(np.append(faces, place))
    axes = [Axis(faces) if number == axis else one for number, one in enumerate(grid.axes)]
    return Grid(*axes)


def rewritten_answers(given: tuple[Whole, Tables], grid: Grid) -> dict[Key, float]:
    """Of a case that is written in another way, on a grid."""
    case = read(*given)
    return plainly(answers(case, solve_on(case, grid)))


def pieces_together(found: dict[Key, float], share: float) -> dict[Key, float]:
    """Zones of both pieces of a part under the name of the part; those throughout it, by their shares of its height."""
    both: dict[Key, list[float]] = {}
    for it, value in found.items():
        own = (
            it if it[0] != "zone" else (it[0], it[1].removesuffix(" upper"), it[2], it[3].removesuffix(" upper"), it[4])
        )
        both.setdefault(own, []).append(value)
    together = {
        "mean": lambda low, high: share * low + (1.0 - share) * high,
        "highest": max,
        "power": lambda low, high: low + high,
    }
    return {it: values[0] if len(values) == 1 else together[it[2]](*values) for it, values in both.items()}

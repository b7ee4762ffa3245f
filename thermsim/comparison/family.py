"""Base and options on one family of grids that are alike, so that the error of the grid cancels in a gain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.prediction_remarks import remarks
from thermsim.mesh.settling import judged
from thermsim.model.grid.topology import alike
from thermsim.progress import Progress
from thermsim.readout.observable import HOTTEST, WARMEST, Asked, Observable, find, temperatures

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Family:
    """Base and options on one family of grids: answers of each on each grid.

    table : (grids, cases, questions) [C], NaN where a case has no such place; questions end with WARMEST
    """

    names: tuple[str, ...]
    predictions: tuple[Prediction, ...]
    questions: tuple[Observable, ...]
    table: Array

    @property
    def cases(self) -> tuple[Case, ...]:
        """The base and the options, in the order of their names."""
        return tuple(prediction.case for prediction in self.predictions)

    @property
    def headline(self) -> Observable:
        """The temperature that a verdict is about."""
        return WARMEST if WARMEST in self.questions else HOTTEST

    @property
    def readings(self) -> list[int]:
        """Places of the sensors among the questions."""
        return [place for place, question in enumerate(self.questions) if question.kind == "reading"]

    @property
    def judged(self) -> list[int]:
        """Places of the temperatures that a verdict is about: sensors, else the hottest spot."""
        return self.readings or [self.questions.index(HOTTEST)]

    @property
    def told_C(self) -> Array:
        """(cases, questions) temperatures as predictions tell them [C], NaN where a case has no such place."""
        asked = [question for question in self.questions if question != WARMEST]
        told = np.array([[one.answers.get(question, np.nan) for question in asked] for one in self.predictions])
        return np.column_stack([told, warmest(told, asked)]) if self.readings else told

    def in_common(self, number: int) -> list[Observable]:
        """What the base and another case can both answer."""
        known = np.isfinite(self.table[-1][[0, number]]).all(axis=0)
        return [question for question, is_known in zip(self.questions, known, strict=True) if is_known]

    def warmest_of(self, number: int) -> int:
        """Place of the highest reading of a case."""
        return self.readings[int(np.nanargmax(self.told_C[number, self.readings]))]

    def gain(self, number: int, question: Asked) -> Doubt:
        """Gain of a case (base less option) in one temperature, over the grids."""
        place = self.questions.index(find(self.questions, question))
        difference = self.table[:, 0, place] - self.table[:, number, place]
        both = zip(self.predictions[0].steps, self.predictions[number].steps, strict=True)
        return judged(difference[:, None], [one.seen - other.seen for one, other in both])[0]


def family(
    names: Sequence[str],
    cases: Sequence[Case],
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    progress: Progress | None = None,
) -> Family:
    """Predict the base, and every option on the same grids, stretched.

    Raises what `predict` raises, with the name of the option.
    """
    predictions: list[Prediction] = []
    for name, case in zip(names, cases, strict=True):
        tell = None if progress is None else lambda line, name=name: progress(f"{name}: {line}")
        if not predictions:
            predictions.append(predict(case, accuracy_K=accuracy_K, memory_GB=memory_GB, progress=tell))
            continue
        first = predictions[0]
        plan = alike(first.plan, first.case, case)
        try:
            other = predict(
                case, accuracy_K=accuracy_K, memory_GB=memory_GB, plan=plan, grids=len(first.steps), progress=tell
            )
        except ThermsimError as error:
            error.add_note(f"in option {name!r}")
            raise
        predictions.append(other)
    questions = temperatures(predictions[0].answers)
    table = np.array(
        [
            [[other.steps[grid].answers.get(question, np.nan) for question in questions] for other in predictions]
            for grid in range(len(predictions[0].steps))
        ]
    )
    if cases[0].readings:
        questions.append(WARMEST)
        table = np.concatenate([table, warmest(table, questions[:-1])[..., None]], axis=-1)
    whole = Family(tuple(names), tuple(predictions), tuple(questions), table)
    return replace(whole, predictions=tuple(_held(whole, number) for number in range(len(cases))))


def _held(whole: Family, number: int) -> Prediction:
    """The prediction of a case; of an option, the accuracy is asked of the gains that its verdict hangs on.

    Every gain has its own mesh doubt beside it, whatever the temperatures hold.
    """
    first, other = whole.predictions[0], whole.predictions[number]
    if number == 0:
        return first
    asked = {whole.questions[place] for place in whole.judged}
    widest = max(whole.gain(number, one).half_width for one in whole.in_common(number) if one in asked)
    held = replace(other, status="accuracy held" if widest <= first.accuracy_K else "accuracy not held")
    return replace(held, remarks=remarks(held))


def warmest(table: Array, questions: Sequence[Observable]) -> Array:
    """The highest of all readings along the last axis of a table of answers, NaN where there is none."""
    readings = [place for place, question in enumerate(questions) if question.kind == "reading"]
    return np.asarray(np.fmax.reduce(table[..., readings], axis=-1))

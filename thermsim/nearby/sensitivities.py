"""How temperatures change with every number of a case, over the grids of a prediction, each slope with its doubt."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MemoryLimitError, ThermsimError
from thermsim.mesh.convergence import GRIDS_OF_LIMIT, Doubt
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.settling import OnGrid, judged
from thermsim.nearby.gradients import Gradients, gradients
from thermsim.nearby.sample_solver import SampleSolver
from thermsim.progress import Progress
from thermsim.readout.observable import HOTTEST, Answers, Asked, Observable

STEP = 0.02  # of an input, relative: by so much it is changed to see what film maps hide then; our own choice


@dataclass(frozen=True)
class Sensitivities:
    """Derivatives of answers by numbers of the case.

    values : for each question, by path of an input, the derivative with its mesh doubt, in the units that `unit` tells
    left_out : inputs whose change no grid can follow, and why; prediction : of the case
    """

    prediction: Prediction
    values: Answers[dict[str, Doubt]]
    left_out: dict[str, str]
    finest: Gradients = field(repr=False)

    def __iter__(self) -> Iterator[Observable]:
        return iter(self.values)

    def __len__(self) -> int:
        return len(self.values)

    def __getitem__(self, question: Asked) -> dict[str, Doubt]:
        return self.values[question]

    def __repr__(self) -> str:
        return f"Sensitivities of {', '.join(map(str, self.values))} by {len(self.finest.known)} numbers"

    def unit(self, question: Asked, path: str) -> str:
        """As in `Gradients.unit`."""
        return self.finest.unit(question, path)


def sensitivities(
    case: Case,
    asked: Collection[Asked] | None = None,
    paths: Collection[str] | None = None,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    progress: Progress | None = None,
) -> Sensitivities:
    """The derivative of every answer with respect to every number of a case.

    They are found on the last grids of a mesh study, and told as temperatures are: at their limit where they settle.
    Answers with a kink (see `gradients`) are judged with the rest; their doubt is wide.

    Parameters
    ----------
    asked, paths : as in `gradients`
    accuracy_K, memory_GB : of the mesh study, as in `predict`
    progress : called with a line of words after each grid

    Raises
    ------
    what `predict` and `gradients` raise
    """
    prediction = predict(case, accuracy_K=accuracy_K, memory_GB=memory_GB, progress=progress)
    steps = prediction.steps[-GRIDS_OF_LIMIT:]
    on_grids = []
    for step in steps:
        if progress is not None:
            progress(f"sensitivities on {step.cells:,} cells")
        solved = prediction.field if step is steps[-1] else None
        on_grids.append(gradients(case, prediction.plan, step.multiplier, asked, paths, solved))
    finest = on_grids[-1]
    left_out = {path: why for one in on_grids for path, why in one.left_out.items()}
    values: Answers[dict[str, Doubt]] = Answers()
    unseen = _unseen_slopes(prediction, finest)
    for question, row in finest.values.items():
        kept = [path for path in row if path not in left_out]
        table = np.array([[one[question][path] for path in kept] for one in on_grids]).reshape(len(steps), len(kept))
        hidden = {} if question.is_heat else {"slopes": np.array([unseen.get(path, 0.0) for path in kept])}
        grids = [replace(step.seen, error=0.0, unseen=hidden) for step in steps]
        values[question] = dict(zip(kept, judged(table, grids), strict=True)) if kept else {}
    return Sensitivities(prediction, values, left_out, finest)


def _unseen_slopes(prediction: Prediction, finest: Gradients) -> dict[str, float]:
    """[K per unit] by how much what film maps hide within the cells of the finest grid changes with each input.

    In proportion it is as on the coarsest grid, where the case is solved with each input changed a little.
    """
    case, first, unseen = prediction.case, prediction.steps[0], float(prediction.steps[-1].seen.unseen_sum)
    if unseen == 0.0:
        return {}
    solver = SampleSolver((case,), 0, prediction.plan, first.multiplier, (HOTTEST,))
    own = float(first.seen.unseen_sum)
    found = {}
    for path, one in finest.known.items():
        if one.acts_on in ("sensor", "nothing"):
            continue
        step = STEP * (abs(one.value) or 1.0)
        found[path] = unseen / step  # unless more is known: all of it may go with so small a step
        for value in (one.value + step, one.value - step):
            try:
                _, changed, solved = solver.seen({path: value})
            except MemoryLimitError:
                raise
            except ThermsimError:
                continue
            there = float(OnGrid.of(changed, solved, first.multiplier, first.seen).unseen_sum)
            found[path] = unseen * abs(there / own - 1.0) / step
            break
    return found

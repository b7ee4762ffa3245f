"""What a prediction found: data only, for tables, pictures and files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.bounds import Bounds
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.input_doubt import InputDoubt
from thermsim.mesh.settling import OnGrid
from thermsim.model.grid.axes import GridPlan
from thermsim.printable import Printable
from thermsim.readout.field import Field
from thermsim.readout.ladder import Ladder
from thermsim.readout.observable import Answers, Observable, temperatures


@dataclass(frozen=True)
class MeshStep:
    """One grid of the study.

    answers, ladder : on this grid; seen : what their doubts hang on besides
    """

    multiplier: int
    cells: int
    seconds: float
    iterations: int
    balance_relative: float
    answers: Answers[float]
    ladder: Ladder | None
    seen: OnGrid

    @property
    def size(self) -> float:
        """Cell width relative to the plan's."""
        return self.seen.size

    @property
    def error_K(self) -> float:
        """Of a temperature, by the solver."""
        return self.seen.error


@dataclass(frozen=True)
class Prediction(Printable):
    """Every answer with its doubt, and the field of the finest grid. plan : its family of grids

    Temperatures are limits at cells of no size where they settle (see `convergence.doubts`); heats, and what is seen of
    the field, are of the finest grid.
    """

    case: Case
    field: Field
    steps: tuple[MeshStep, ...]
    doubts: Answers[Doubt]
    ladder: Ladder | None
    accuracy_K: float
    status: Literal["accuracy held", "accuracy not held"]
    plan: GridPlan
    bounds: Bounds | None = None  # of the power-weighted mean source temperature, on the last grid
    accuracy_W: float | None = None  # of flows; None where none was asked for
    remarks: tuple[str, ...] = ()  # what must be said beside the numbers: accuracy not held, ranges left, likely slips
    inputs: InputDoubt | None = None  # what the tolerances make of it; None where not asked, see `thermsim.doubt`

    @property
    def answers(self) -> Answers[float]:
        """Every answer by itself, without its doubt."""
        return Answers({one: doubt.value for one, doubt in self.doubts.items()})

    @property
    def worst(self) -> tuple[Observable, Doubt]:
        """The temperature with the widest mesh doubt."""
        widest = max(temperatures(self.doubts), key=lambda one: self.doubts[one].half_width)
        return widest, self.doubts[widest]

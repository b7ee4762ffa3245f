"""What `afford` answers."""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf
from typing import Literal

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.input_doubt import InputDoubt
from thermsim.printable import Printable
from thermsim.readout.materials_held import NotHeld

Verdict = Literal["yes", "no", "within doubt", "runaway"]
Width = Literal["expected", "at least"]
Beyond = Literal["below the slowest", "above the fastest"]


@dataclass(frozen=True)
class Step:
    """One clock. reading : the highest

    reading_low_C, reading_high_C : where it lies with the doubts of inputs and mesh, None where there is no end
    margin_least_K : what the doubts leave, of all readings; None where they leave nothing, however low the limit
    is_typed : the clock at which the powers of the case hold; all else is None where there is no steady state
    """

    frequency_GHz: float
    voltage_V: float
    is_typed: bool
    power_W: float | None = None
    reading: str | None = None
    highest_reading_C: float | None = None
    mesh_doubt_K: float | None = None
    reading_low_C: float | None = None
    reading_high_C: float | None = None
    margin_K: float | None = None
    margin_least_K: float | None = None
    verdict: Verdict = "within doubt"


@dataclass(frozen=True)
class PowerAtLimit:
    """Heat made in all parts where the first reading meets the limit, the clocked zones in proportion [W].

    mesh_doubt_W : half width; None where not known; share : of the clocked power typed
    least_W : at which the limit is kept with the doubts of inputs and mesh, None where even no clocked power does that
    reading : the first to meet it; None where a runaway comes first
    """

    value_W: float
    mesh_doubt_W: float | None
    least_W: float | None
    share: float
    reading: str | None
    ends_by: Literal["limit", "runaway"]


@dataclass(frozen=True)
class Between:
    """The clock at which the limit is met along the straight lines of voltage between the steps."""

    frequency_GHz: float
    mesh_doubt_GHz: float | None
    voltage_V: float
    power_W: float
    reading: str | None
    ends_by: Literal["limit", "runaway"]


@dataclass(frozen=True)
class Afforded:
    """The answer for the base (option None) or one option.

    power : None where the limit is passed whatever the clocked zones make
    between : None where the limit is not met within the range of the steps; `beyond` says on which side it lies
    least_GHz : up to which clock it is kept with the doubts of inputs and mesh; None outside the range
    accuracy_held : whether every mesh doubt of a reading at the limit is below the accuracy asked
    case : that which is answered; inputs : what its tolerances make of the state at the limit
    not_held : what gets hotter than its material holds at the power or at a clock that is told
    """

    option: str | None
    case: Case
    limit_C: float
    power: PowerAtLimit | None
    steps: tuple[Step, ...]
    between: Between | None
    beyond: Beyond | None
    least_GHz: float | None
    accuracy_held: bool
    inputs: InputDoubt
    not_held: tuple[NotHeld, ...] = ()

    @property
    def runs_away(self) -> bool:
        """Whether the tolerances reach a state without end."""
        return any(isinf(band.high) for band in self.inputs.bands.values())

    @property
    def affordable(self) -> Step | None:
        """The fastest clock whose readings stay below the limit with the doubts of inputs and mesh."""
        return max((step for step in self.steps if step.verdict == "yes"), key=lambda s: s.frequency_GHz, default=None)


@dataclass(frozen=True)
class Affordance(Printable):
    """All answers, the base first."""

    case: Case
    accuracy_K: float
    answers: tuple[Afforded, ...]

    @property
    def coverage(self) -> float:
        """Of what lies between two ends, 0 to 1: of what is told `at least`, half of the rest is outside."""
        return self.answers[0].inputs.coverage

    @property
    def all_exact(self) -> bool:
        """Whether neither the case nor one of its options has a tolerance."""
        return all(one.inputs.all_exact for one in self.answers)

"""What `afford` answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from thermsim.case.vocabulary.schema import Case
from thermsim.printable import Printable
from thermsim.readout.materials_held import NotHeld

Verdict = Literal["yes", "no", "within doubt", "runaway"]
Width = Literal["expected", "at least"]
Beyond = Literal["below the slowest", "above the fastest"]


@dataclass(frozen=True)
class Step:
    """One clock. reading : the highest; margin_least_K : what tolerances and mesh doubt leave, of all readings.

    is_typed : the clock at which the powers of the case hold; temperatures are None where there is no steady state
    """

    frequency_GHz: float
    voltage_V: float
    is_typed: bool
    power_W: float | None
    reading: str | None
    highest_reading_C: float | None
    mesh_doubt_K: float | None
    margin_K: float | None
    margin_least_K: float | None
    verdict: Verdict


@dataclass(frozen=True)
class PowerAtLimit:
    """Heat made in all parts where the first reading meets the limit, the clocked zones in proportion [W].

    mesh_doubt_W : half width; None where not known; least_W : the same with offset tolerance and mesh doubt taken off,
    None where even no clocked power keeps that; share : of the clocked power typed
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
    least_GHz : up to which clock it is surely kept, offset tolerance and mesh doubt taken off; None outside the range
    accuracy_held : whether every mesh doubt of a reading at the limit is below the accuracy asked
    not_held : what gets hotter than its material holds at the power or at a clock that is told
    """

    option: str | None
    limit_C: float
    power: PowerAtLimit | None
    steps: tuple[Step, ...]
    between: Between | None
    beyond: Beyond | None
    least_GHz: float | None
    accuracy_held: bool
    not_held: tuple[NotHeld, ...] = ()

    @property
    def affordable(self) -> Step | None:
        """The fastest clock whose readings stay below the limit, whatever offset tolerance and mesh doubt."""
        return max((step for step in self.steps if step.verdict == "yes"), key=lambda s: s.frequency_GHz, default=None)


@dataclass(frozen=True)
class Affordance(Printable):
    """All answers, the base first."""

    case: Case
    accuracy_K: float
    answers: tuple[Afforded, ...]

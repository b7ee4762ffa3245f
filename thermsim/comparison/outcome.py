"""What a comparison of options found: data only, for tables, pictures and files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.decision import Kind, Lost
from thermsim.comparison.ranking import NextMeasurement
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.input_doubt import Band
from thermsim.mesh.prediction import Prediction
from thermsim.printable import Printable
from thermsim.readout.ladder import Ladder
from thermsim.readout.observable import Observable

Array = NDArray[np.float64]
Holder = Literal["both", "base", "option"]
Kept = Literal["yes", "within doubt", "no"]  # of the limit of a reading, by all doubts together


@dataclass(frozen=True)
class Interval:
    """Where a gain lies with the coverage asked for [K]; error_K : sampling error of the ends."""

    low: float
    high: float
    error_K: float = 0.0


@dataclass(frozen=True)
class Temperature:
    """One temperature of base or option by itself, as its prediction tells it.

    value_C : expected; mesh_K : its mesh doubt, half width
    inputs : where it lies with the coverage asked for; None where no input of that case has a tolerance
    """

    value_C: float
    mesh_K: float
    inputs: Band | None = None


@dataclass(frozen=True)
class Gain:
    """What an option lowers one temperature by, base less option [K]; below zero where the option is warmer.

    base, option : the temperatures; they differ by the gain, but for mesh doubts. What both share moves both alike,
        so that their bands say less of the gain than `interval` does
    mesh : the gain over the grids, with the doubt of the difference (not the sum of two doubts)
    interval : by Monte Carlo, mesh doubt included, with the told gain always inside
    first_order : the same from sensitivities
    uncertainty_K : standard uncertainty
    probability : that the gain exceeds what is worth it (0 K where the case does not say)

    Where samples have no steady state, interval, uncertainty and probability are those of the others.
    """

    question: Observable
    base: Temperature
    option: Temperature
    mesh: Doubt
    interval: Interval
    first_order: Interval
    uncertainty_K: float
    probability: float

    @property
    def base_C(self) -> float:
        """The reading of the base [C]."""
        return self.base.value_C

    @property
    def option_C(self) -> float:
        """The reading of the option [C]."""
        return self.option.value_C

    @property
    def value_K(self) -> float:
        """Base less option, at the limit of the grids where they have one [K]."""
        return self.mesh.value


@dataclass(frozen=True)
class Contribution:
    """One input's part in the doubt of the headline gain.

    path : address of the input; held_by : whether base and option share it, or who of them alone has it
    sensitivity : kelvin of gain per `unit`; half_width : of the input, in `unit`
    share : of the variance of the gain, 0 to 1
    is_measurable, is_ratio : whether it can be measured before the step, and whether nothing is its zero
    """

    path: str
    held_by: Holder
    value: float
    unit: str
    half_width: float
    basis: str | None
    sensitivity: float
    share: float
    is_measurable: bool = True
    is_ratio: bool = True


@dataclass(frozen=True)
class FluxBounds:
    """Sanity check of an exchanged joint: change of its resistance times the average flux, and times that of the
    hottest zone [K]; words say what was taken, or why the bounds do not apply."""

    low_K: float | None
    high_K: float | None
    words: str


@dataclass(frozen=True, eq=False)
class OptionResult:
    """One option against the base.

    samples : gains of the headline [K] in all samples that have a steady state, the mesh doubt not among them
    lost : how many samples have none; gains, their intervals and probabilities are those of the others
    limit_kept : whether the warmest reading keeps the limit of the case; None where there is no limit
    unfit : inputs that are not fit for the question, in words
    ways : whether both ways of propagation agree, in words
    """

    option: str
    case: Case
    prediction: Prediction
    gains: tuple[Gain, ...]
    headline: Gain
    contributions: tuple[Contribution, ...]
    next_measurement: NextMeasurement | None
    unfit: tuple[str, ...]
    ways: str
    flux: FluxBounds
    kind: Kind
    words: str
    cautions: tuple[str, ...]
    samples: Array
    lost: Lost
    limit_kept: Kept | None = None

    @property
    def ladder(self) -> Ladder | None:
        """Temperature drops on the way of the heat with the option; none where none leaves by top or bottom."""
        return self.prediction.ladder


@dataclass(frozen=True)
class Comparison(Printable):
    """Base and options.

    base_name : "as in the file", or the option that was taken as the base
    limit_kept : whether the warmest reading of the base keeps the limit of the case; None where there is no limit
    coverage : of the intervals, 0 to 1; samples, seed : of the Monte Carlo; way : how samples were answered, in words
    """

    case: Case
    base_name: str
    base: Prediction
    options: tuple[OptionResult, ...]
    coverage: float
    worth_K: float | None
    one_mount_K: float | None
    samples: int
    seed: int
    way: str
    seconds: float
    remarks: tuple[str, ...]
    limit_kept: Kept | None = None

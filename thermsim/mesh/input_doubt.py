"""What the tolerances of a case make of a prediction: data only, for tables, pictures and files."""

from __future__ import annotations

from dataclasses import dataclass

from thermsim.readout.observable import Answers


@dataclass(frozen=True)
class Band:
    """Where one answer lies with the coverage asked for [C or W]; inf where there is no end (thermal runaway).

    low, high : by the tolerances of the inputs alone; both_low, both_high : by these and the mesh doubt together
    """

    low: float
    high: float
    both_low: float
    both_high: float


@dataclass(frozen=True)
class Moved:
    """What one tolerance does to the hottest spot.

    value, half_width : of the input, in `unit`
    at_low_K, at_high_K : change of the hottest spot with the input at the lower and the upper end of its tolerance
    """

    path: str
    value: float
    half_width: float
    unit: str
    basis: str | None
    at_low_K: float
    at_high_K: float

    @property
    def kelvin(self) -> float:
        """The larger of both changes, without its sign [K]."""
        return max(abs(self.at_low_K), abs(self.at_high_K))


@dataclass(frozen=True)
class InputDoubt:
    """The doubt of the inputs in every answer.

    coverage : of the bands, 0 to 1; bands : none where no input has a tolerance
    moved : inputs by what they move, the largest first; those that move the hottest spot by nothing are left out
    exact : numbers that are taken as exact, in words; way : how the bands were found
    remarks : what must be said of them, the grave ones as in `Prediction.remarks`
    sampling_K : standard error of the ends of the hottest spot's band, for there are only so many samples; None where
        none were solved, or an end is nowhere
    """

    coverage: float
    bands: Answers[Band]
    moved: tuple[Moved, ...]
    exact: tuple[str, ...]
    way: str
    remarks: tuple[str, ...] = ()
    sampling_K: float | None = None

    @property
    def all_exact(self) -> bool:
        """Whether no input has a tolerance at all."""
        return not self.bands

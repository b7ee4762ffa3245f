"""Whether the warmest reading keeps the limit of its case, by all doubts of that temperature."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.outcome import Kept, Temperature
from thermsim.readout.observable import WARMEST, Observable
from thermsim.rounding import decimals_apart, times_in


@dataclass(frozen=True)
class Limit:
    """The limit of a reading, and where the warmest reading of a case lies with the coverage asked for [C].

    An end is inf where no temperature can be told.
    """

    limit_C: float
    low_C: float
    high_C: float
    coverage: float

    @property
    def kept(self) -> Kept:
        """`yes` and `no` are sure to as much as the interval leaves beyond one of its ends."""
        return "yes" if self.high_C <= self.limit_C else "no" if self.low_C > self.limit_C else "within doubt"

    @property
    def words(self) -> str:
        """`may pass the limit of 75 C (9 times in 10 between 72 and 77 C)`; nothing where it is kept."""
        if self.kept == "yes":
            return ""
        verb = "passes" if self.kept == "no" else "may pass"
        return f"{verb} the limit of {self.limit_C:g} C ({self._where})"

    @property
    def _where(self) -> str:
        if self.high_C == inf:
            return "no highest value can be told"
        decimals = decimals_apart(self.low_C, self.high_C, [self.limit_C])
        return f"{times_in(self.coverage)} between {self.low_C:.{decimals}f} and {self.high_C:.{decimals}f} C"


def limit_of(case: Case, question: Observable, told: Temperature, coverage: float) -> Limit | None:
    """The limit of a case beside its warmest reading; None where it gives none or has no reading."""
    limit_C = case.limits.reading_C
    if limit_C is None or question != WARMEST:
        return None
    if told.inputs is None:
        return Limit(limit_C, told.value_C - told.mesh_K, told.value_C + told.mesh_K, coverage)
    return Limit(limit_C, told.inputs.both_low, told.inputs.both_high, coverage)


def limit_words(option: Limit | None, base: Limit | None) -> str:
    """What must be said of the limit beside a verdict that is not about it; nothing where both keep it."""
    if option is not None and option.words:
        return f"With it the warmest reading {option.words}."
    if option is not None and base is not None and base.words:
        passed = "passes" if base.kept == "no" else "may pass"
        return f"It keeps the limit of {option.limit_C:g} C, which the base {passed}."
    return ""


def base_limit_remark(base: Limit | None) -> tuple[str, ...]:
    """The remark on a base that does not surely keep the limit."""
    return () if base is None or not base.words else (f"WARNING: in the base the warmest reading {base.words}",)

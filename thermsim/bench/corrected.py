"""A run put to like circumstances: what comparable runs are handed on as, to tell what a change bought."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from thermsim.bench.runs import Run


@dataclass(frozen=True)
class Corrected:
    """A run with its readings as they would have been at the coolant and power that all runs are put to.

    run : as it was noted
    readings : put right [C], by the name of the case's reading; those that were not noted are absent
    own_doubt_K : standard uncertainty [K] of the mean reading for reasons of this run alone: how closely coolant and
        power were noted, how far the coolant lagged
    shared_doubt_K : by the name of a cause that all runs share (the slope of the coolant, that of the power), what one
        standard uncertainty of it moves this run's mean reading by [K], with its sign: of two runs that were corrected
        by as much, it takes itself out
    """

    run: Run
    readings: Mapping[str, float]
    own_doubt_K: float = 0.0
    shared_doubt_K: Mapping[str, float] = field(default_factory=dict)

    @property
    def option(self) -> str | None:
        """The change that was in place, None for the base."""
        return self.run.option

    @property
    def mount(self) -> str:
        """What the mount is called."""
        return self.run.mount

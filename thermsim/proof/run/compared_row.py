"""One row of the table with what was found: its verdict, the order of its error, and whether the mesh doubt holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from thermsim.proof.table.row import EXACT

Verdict = Literal["excellent", "within", "OUTSIDE"]

LEAST_GRIDS = 3
MOST_GRIDS = 4
# Largest observed order that is told: a second-order method shows a higher one only by chance, where errors of opposite
# sign cancel.
STEEPEST = 2.5
TIMES_SOLVER_ERROR = 3.0  # Errors up to this many times the error of the solver are round-off, and have no order.
# Relative scatter of each error in the fit of an order, for other reasons than the solver's; our own choice.
RELATIVE_SCATTER = 0.05


@dataclass(frozen=True)
class Line:
    """One row of the table, with what was found.

    difference : thermsim less reference; doubt : mesh doubt, all in `unit`; None where there is no such thing
    within, excellent : half widths of what is asked
    sizes, errors : cell widths relative to the plan, and the true error on each grid of the mesh study
    noise : what the solver left on each of them, in `unit`
    order : at which that error falls over the last grids; wanted_order : the least that is asked
    differs : what stands between the reference and the very case; accuracy_held : whether `predict` says so
    is_refusal : no answer is asked but that there is none
    """

    case: str
    file: str
    option: str | None
    source: str
    known: str
    quantity: str
    unit: str
    reference: float
    found: float
    within: float
    excellent: float | None
    doubt: float | None = None
    sizes: tuple[float, ...] = ()
    errors: tuple[float, ...] = ()
    noise: tuple[float, ...] = ()
    order: float | None = None
    wanted_order: float | None = None
    note: str = ""
    differs: str = ""
    accuracy_held: bool = True
    is_refusal: bool = False

    @property
    def difference(self) -> float:
        """Found less reference, in the unit of the row."""
        return self.found - self.reference

    @property
    def at_round_off(self) -> bool:
        """No grid is off by more than what the solver leaves: there is no error of the mesh that could fall."""
        if not self.errors or not self.noise:
            return False
        return max(abs(error) for error in self.errors) <= TIMES_SOLVER_ERROR * max(self.noise)

    @property
    def verdict(self) -> Verdict:
        """Within the tolerance, and fast enough; `excellent` only where a finer figure is asked for, and met.

        An order that is asked and cannot be told is a miss, unless the errors are round-off.
        """
        if self.misses:
            return "OUTSIDE"
        return "excellent" if self.excellent is not None and abs(self.difference) <= self.excellent else "within"

    @property
    def misses(self) -> tuple[str, ...]:
        """Why the line is OUTSIDE."""
        found = []
        if not abs(self.difference) <= self.within:
            found.append("beyond the tolerance")
        if self.wanted_order is not None and not self.at_round_off:
            if self.order is None:
                found.append("no order can be told where one is asked")
            elif not self.order >= self.wanted_order:
                found.append("the error falls too slowly")
        if not self.accuracy_held:
            found.append("predict did not hold the accuracy of the case")
        return tuple(found)

    @property
    def is_exact(self) -> bool:
        """Whether the reference is exact for the very case."""
        return self.known in EXACT and not self.differs

    @property
    def doubt_holds(self) -> bool | None:
        """Whether the mesh doubt holds the difference; only asked where the reference is exact for the very case."""
        if self.doubt is None or not self.is_exact:
            return None
        return abs(self.difference) <= self.doubt


def observed_order(sizes: tuple[float, ...], errors: tuple[float, ...], noise: tuple[float, ...] = ()) -> float | None:
    """Slope of log|error| over log size over the last four grids (or three), least squares.

    noise : what the solver left on each grid: the less an error stands above it, the less that grid weighs

    None where a slope means nothing: too few grids, an error that changes its sign, one that is no larger than its
    noise, or one that falls faster than such a method can (errors of opposite sign cancel).
    """
    width, error = np.array(sizes[-MOST_GRIDS:]), np.array(errors[-MOST_GRIDS:])
    left = np.array(noise[-MOST_GRIDS:]) if noise else np.zeros(len(width))
    if len(width) < LEAST_GRIDS or not (np.all(error > 0.0) or np.all(error < 0.0)):
        return None
    if np.any(np.abs(error) <= left):
        return None
    weight = 1.0 / np.hypot(RELATIVE_SCATTER, left / np.abs(error))
    order = float(np.polyfit(np.log(width), np.log(np.abs(error)), 1, w=weight)[0])
    return order if order <= STEEPEST else None

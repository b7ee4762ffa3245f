"""What the table of published references is made of: a row, and the case file that rows are read off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Number = float | Callable[[], float]

# How the value of a reference is known.
CLOSED_FORM = "closed form"  # a formula summed on this machine, to more digits than are compared
PRINTED = "printed"  # the number as it stands in the source
MEMORY = "from memory"  # from memory of the source, which was not at hand
BY_HAND = "by hand"  # the formula of the source, evaluated with the numbers of the case
FINITE_ELEMENTS = "finite elements"  # another method, written and meshed apart from thermsim
ONE_DIMENSION = "theory in one dimension"
BAND = "sanity band"  # an approximation: it shows only that nothing is badly wrong

INVERTED = "Laplace transform, inverted"  # with mpmath, by two methods that agree

EXACT = (CLOSED_FORM, BY_HAND, INVERTED)


@dataclass(frozen=True)
class Row:
    """One quantity: how it is asked for, what it must be, and how near.

    asked : as the mesh study names it: ("zone", name, "mean"), ("probe", name), ("flow", environment); also
        ("bounds", key of the result), ("limit",) for the power up to which a refusal says one may go, and ("passes",)
        for when it says that a limit is passed
    reference : in `unit`
    within, excellent : half widths in `unit`, or in percent of the reference; no `excellent`: nothing finer is asked
    per, less : the answer of the case becomes (answer - less) / per
    order : least order at which the true error must fall over the grids of the study
    at_s : time after the load comes on [s] at which it is asked; None: of the steady state
    points : instead of `asked`, many questions with their references: the worst is shown
    note : what a reader should know beside the numbers, such as why a figure is not met
    differs : what stands between the reference and the very case, so that the mesh doubt cannot be held against it
    """

    quantity: str
    asked: tuple[str, ...]
    reference: Number
    unit: str
    within: float
    excellent: float | None = None
    percent: bool = False
    per: float = 1.0
    less: float = 0.0
    order: float | None = None
    known: str = CLOSED_FORM
    note: str = ""
    differs: str = ""
    points: tuple[tuple[tuple[str, ...], Number], ...] = ()
    at_s: float | None = None

    def width(self, given: float, reference: float) -> float:
        """A half width in `unit`."""
        return given * abs(reference) / 100.0 if self.percent else given


@dataclass(frozen=True)
class Published:
    """A case file (its path below the folder of cases), the option taken, the source, and the rows read off it.

    coolant_C : in time, of the coolant of its loop [C] at a time [s]: then no load comes on, but this is replayed
    """

    title: str
    file: str
    source: str
    rows: tuple[Row, ...]
    option: str | None = None
    expects: Literal["an answer", "runaway"] = "an answer"
    coolant_C: Callable[[float], float] | None = None


@dataclass(frozen=True)
class Sample:
    """A published sample of statistics, of grids unless its title says otherwise; it needs no case file."""

    quantity: str
    found: Callable[[], float]
    reference: float
    within: float
    source: str
    unit: str = ""
    excellent: float | None = None
    known: str = PRINTED
    title: str = "Statistics of grids"


def value_of(number: Number) -> float:
    """A reference; closed forms are summed here."""
    return float(number() if callable(number) else number)

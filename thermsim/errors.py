"""One class for each failure a user can meet; each carries its exit code, its place and its remedy.

Only the command line turns them into text and an exit code; every other floor raises them.
"""

from __future__ import annotations

import copyreg
from dataclasses import dataclass
from typing import Any

MOST_FAULTS = 200  # faults of one case that are looked for and told: nobody reads more


class ThermsimError(Exception):
    """Base of all failures that a user can meet.

    Parameters
    ----------
    what : what is wrong, in one sentence
    remedy : what the user can do about it
    """

    exit_code = 1

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(f"{what}\n  remedy: {remedy}" if remedy else what)
        self.what = what
        self.remedy = remedy

    def __reduce__(self) -> tuple[Any, ...]:
        """Between processes a failure travels with all it carries, whatever its class is made from."""
        return copyreg.__newobj__, (type(self), *self.args), self.__dict__  # type: ignore[attr-defined]


@dataclass(frozen=True)
class Fault:
    """One mistake in a case file, with its place (line and column count from 1)."""

    file: str
    line: int
    column: int
    message: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}: {self.message}"


def enough(faults: list[Fault], cut: bool = False) -> list[Fault]:
    """The first MOST_FAULTS; where others are left out, or were not sought (`cut`), a last one that says so."""
    if len(faults) < MOST_FAULTS and not cut:
        return faults
    told = sorted(faults, key=lambda fault: (fault.line, fault.column))[:MOST_FAULTS]
    last = told[-1]
    what = f"{len(told)} faults are told, and there may be more: mend these first"
    return [*told, Fault(last.file, last.line, last.column, what)]


class CaseError(ThermsimError):
    """A case file that cannot be used: every fault in it, in the order of the file."""

    exit_code = 3

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = sorted(faults, key=lambda fault: (fault.file, fault.line, fault.column))
        super().__init__("\n".join(str(fault) for fault in self.faults))


class UnknownNameError(ThermsimError):
    """A material, joint class, part, option or reading that was asked for by name and does not exist."""

    exit_code = 3


class NoWayOutError(ThermsimError):
    """A body of the stack from which heat cannot reach any coolant: no steady state exists."""

    exit_code = 4


class RunawayError(ThermsimError):
    """Leakage grows faster with temperature than the cooling removes it: no steady state exists.

    share : of the power, up to which there is one on the grid that was solved; None where it was not sought
    share_doubt : how far it may be off on that grid
    passes_C, passes_s, passes_doubt_s : the limit that is passed from rest, when, and how far that may be off [s]; inf
        where not in the time that was followed, None where it was not followed
    """

    exit_code = 5
    share: float | None = None
    share_doubt: float | None = None
    passes_C: float | None = None
    passes_s: float | None = None
    passes_doubt_s: float | None = None


class NotConvergedError(ThermsimError):
    """The solver stopped short of the accuracy it owes; nothing is passed on."""

    exit_code = 6


class HeatBalanceError(ThermsimError):
    """Heat in and heat out differ by more than round-off and residual explain."""

    exit_code = 7


class MemoryLimitError(ThermsimError):
    """The grid that was asked for does not fit into the memory that may be used."""

    exit_code = 8


class WriteError(ThermsimError):
    """A result could not be written; what stood there before still stands."""

    exit_code = 9


class BoundsError(ThermsimError):
    """A mean source temperature outside bounds that hold for any conduction: the answer is wrong."""

    exit_code = 10


class AbsoluteZeroError(ThermsimError):
    """Heat is taken out that nothing brings: a part would be colder than absolute zero."""

    exit_code = 15


class NotComparableError(ThermsimError):
    """No two measured runs can be compared, or none that would show a change: each run is told with what it lacks."""

    exit_code = 14


class ProofError(ThermsimError):
    """thermsim differs from a published reference by more than is tolerated."""

    exit_code = 11


class JournalError(ThermsimError):
    """The journal of a study cannot be gone on with: of another study, in use, damaged, or there unasked."""

    exit_code = 12


class WorkersError(ThermsimError):
    """The processes or the cluster that compute a study fail: not its tasks, but what they run on."""

    exit_code = 13


class InterruptedStudyError(ThermsimError):
    """A study was stopped by the interrupt key; says what is kept and how to go on."""

    exit_code = 130  # 128 + the signal's number, as shells have it

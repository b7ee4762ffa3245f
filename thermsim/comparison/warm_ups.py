"""Options side by side in time: the warm-up of a base and of its options, and from when on each option is felt."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.choice import chosen
from thermsim.errors import CaseError, ThermsimError
from thermsim.model.grid.plan import FIRST_GRID_CELLS
from thermsim.printable import Printable
from thermsim.progress import Progress
from thermsim.readout.observable import Observable
from thermsim.response.parting import AT_S, Parting, parting
from thermsim.warming.outcome import Warmup
from thermsim.warming.planned import GivenLoad, Planned, planned
from thermsim.warming.warmup import check_warmup, warmed_up

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class WarmUps(Printable):
    """A base and options of one case, warmed up over the same times.

    names : the base first; found : in the same order
    """

    case: Case
    names: tuple[str, ...]
    found: tuple[Warmup, ...]

    @property
    def times_s(self) -> Array:
        """(n,) [s], the same for all"""
        return self.found[0].times_s

    @property
    def temperatures(self) -> list[Observable]:
        """Of the base, without those that no option has."""
        return [
            one for one in self.found[0].curves if not one.is_heat and any(one in of.curves for of in self.found[1:])
        ]

    def gains(self, one: Observable) -> dict[str, Parting]:
        """For each option that has this answer: what it gains over the base at each time, when it is felt, and what
        share of the final gain is there at those of the times AT_S that were followed; none under a load over time."""
        base = self.found[0]
        at_s = within(base.times_s) if base.load is None else []
        return {
            name: parting(base, of, one, at_s)
            for name, of in zip(self.names[1:], self.found[1:], strict=True)
            if one in of.curves
        }


def within(times_s: Array) -> list[float]:
    """Those times [s] at which shares are told that lie between the first and the last."""
    return [at for at in AT_S if times_s[0] <= at <= times_s[-1]]


def warm_ups(
    case: Case,
    from_s: float | None = None,
    until_s: float | None = None,
    *,
    load: GivenLoad = None,
    points: bool | None = None,
    options: Sequence[str] | None = None,
    also_s: Iterable[float] = (),
    settled_K: float | None = None,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    first_cells: int = FIRST_GRID_CELLS,
    certain: bool = False,
    progress: Progress | None = None,
) -> WarmUps:
    """Follow a base and its options from rest, each on its own grids, over the same times.

    Parameters
    ----------
    options : names of options; all unless given
    others : see `warmup`

    Raises
    ------
    ThermsimError : the case has no options, or what `warmup` raises; all cases are checked before one is solved
    UnknownNameError, CaseError : an option that does not exist or does not fit
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError : of one case, which the message names
    """
    names, cases = chosen(case, None, list(dict.fromkeys(options)) if options else None)
    given, plans = list(also_s), list[Planned]()
    for name, one in zip(names, cases, strict=True):
        try:
            first = plans[0] if plans else None  # all are followed over the times of the base
            span = (from_s, until_s, settled_K) if first is None else (first.from_s, first.until_s, first.settled_K)
            plans.append(planned(one, *span, load, points))
            also = [*given, *within(np.array([plans[0].from_s, plans[0].until_s]))]
            check_warmup(one, plans[-1], also, one.accuracy_K if accuracy_K is None else accuracy_K)
        except ThermsimError as failure:
            raise (failure if one is case else _named(failure, name)) from None
    found = []
    for name, one, plan in zip(names, cases, plans, strict=True):

        def say(words: str, name: str = name) -> None:
            if progress is not None:
                progress(f"{name}: {words}")

        try:
            of = warmed_up(
                one, plan, beside=plans, also_s=also, accuracy_K=accuracy_K, memory_GB=memory_GB,
                first_cells=first_cells, certain=certain, progress=say,
            )  # fmt: skip
        except ThermsimError as failure:
            raise _named(failure, name) from None
        found.append(of)
    return WarmUps(case, names, tuple(found))


def _named(failure: ThermsimError, name: str) -> ThermsimError:
    """The same failure, of whichever kind and with all that it carries, with the case that it is of."""
    if isinstance(failure, CaseError):
        return failure  # its faults name their option
    named = copy(failure)
    named.what = f"{name}: {failure.what}"
    named.args = (f"{name}: {failure}",)
    return named

"""What a warm-up is asked: its times and its load, as they are given beside the case or stand in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from thermsim.case.faults.clock_and_load import steps_given
from thermsim.case.vocabulary.schema import Case
from thermsim.case.vocabulary.warm_up import LoadStep, WarmUp
from thermsim.errors import ThermsimError
from thermsim.loads.load import Load, load_of_steps
from thermsim.loads.log import read_load
from thermsim.loads.plausible import check_watts

GivenLoad = Load | str | Path | Sequence[LoadStep | Mapping[str, Any]] | None

FROM_S, UNTIL_S, SETTLED_K = 1e-3, 1e3, 1.0  # unless given


@dataclass(frozen=True)
class Planned:
    """From when until when a case is followed [s], what counts as settled [K], and its load; None for all at once."""

    from_s: float
    until_s: float
    settled_K: float
    load: Load | None = None


def planned(
    case: Case,
    from_s: float | None = None,
    until_s: float | None = None,
    settled_K: float | None = None,
    load: GivenLoad = None,
    points: bool | None = None,
) -> Planned:
    """What is given, else what the case says under `warmup`, else what is usual.

    points : whether the lines of a log are points that straight lines join

    Raises
    ------
    CaseError : every fault of a load; ThermsimError : it ends before the last time
    """
    own = case.warmup or WarmUp()
    found = _load_of(case, own, load, points)
    last = own.until_s if until_s is None else until_s
    if last is None:
        last = UNTIL_S if found is None or found.lasts else found.ends_s
    if found is not None and last > found.ends_s * (1.0 + 1e-9):
        raise ThermsimError(
            f"{found.source} ends at {found.ends_s:g} s, and what is on until {last:g} s is not known",
            f"ask until then, `--until {found.ends_s:g}`, or add lines to the log",
        )
    return Planned(
        _first(from_s, own.from_s, FROM_S), last, _first(settled_K, own.settled_K, SETTLED_K), found
    )  # fmt: skip


def _first(*values: float | None) -> float:
    return next(value for value in values if value is not None)


def _load_of(case: Case, own: WarmUp, given: GivenLoad, points: bool | None) -> Load | None:
    joined = own.samples == "points" if points is None else points
    if isinstance(given, Load):
        return None if given.is_plain else given
    if isinstance(given, (str, Path)):
        return read_load(Path(given), case, joined)
    if given is not None:
        steps = steps_given(case, given)
        check_watts(case, steps)
        return load_of_steps(case, steps, "the load")
    if own.log is not None:
        if case.folder is None:
            raise ThermsimError(f"the log {own.log!r} cannot be found: this case was not read from a file")
        return read_load(case.folder / own.log, case, joined)
    if own.load is None:
        return None
    check_watts(case, own.load)
    return load_of_steps(case, own.load)

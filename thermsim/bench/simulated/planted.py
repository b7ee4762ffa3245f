"""Faults that are planted in simulated benches, each as it would come about, to see whether they are found.

Some change what really held in one run, or what is noted of it; others what sensors show, in one run or from one on.
Those begin in the first half of the runs: what begins in the last run alone cannot be told from scatter by any run.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FaultName = Literal[
    "fast fans", "more power", "held back", "stuck sensor", "jumped sensor", "swapped sensors", "columns exchanged",
    "not settled", "warm start",
]  # fmt: skip

FAST_FANS_RPM, FAST_FANS_SHARE = 2100.0, 0.4  # and the share of the loop's rise that they take off
MORE_LOAD, MORE_SCORE = 1.12, 1.05
HELD_BACK_SCORE = 0.95
JUMP_K = 6.0
SHORT_REST_S, NOT_SETTLED = 60.0, 0.15  # and the share of a reading's rise that is still to come by then
WARM_START_REST_S = 240.0


@dataclass(frozen=True, eq=False)
class Passing:
    """One run as it really went, before its readings were noted.

    option, mount : as noted; coolant_C, load : what really held when it was read; on_load_s : on load until then
    lag_K : how much colder the coolant was when it was noted
    settled : share of its rise over the coolant that a reading has reached
    score : over the usual one; fans_rpm : noted, and true
    notes_coolant : whether the coolant is noted
    """

    option: str | None
    mount: int
    coolant_C: float
    load: float
    on_load_s: float
    lag_K: float = 0.0
    settled: float = 1.0
    score: float = 1.0
    fans_rpm: float = 900.0
    notes_coolant: bool = True


# Before readings are made: what really held. Given the runs, which of them is to be spoilt, and the loop's rise [K].
BEFORE: Mapping[str, Callable[[Passing, float], Passing]] = {
    "fast fans": lambda run, rise_K: replace(
        run, fans_rpm=FAST_FANS_RPM, coolant_C=run.coolant_C - FAST_FANS_SHARE * rise_K, notes_coolant=False
    ),
    "more power": lambda run, rise_K: replace(run, load=MORE_LOAD * run.load, score=MORE_SCORE * run.score),
    "held back": lambda run, rise_K: replace(run, score=HELD_BACK_SCORE * run.score),
    "not settled": lambda run, rise_K: replace(run, on_load_s=SHORT_REST_S, settled=1.0 - NOT_SETTLED),
    "warm start": lambda run, rise_K: replace(run, on_load_s=WARM_START_REST_S, notes_coolant=False),
}


def _stuck(shown: Array, at: int, rng: np.random.Generator) -> tuple[int, ...]:
    """One sensor shows in every run from one on what it showed in that."""
    column = rng.integers(shown.shape[1])
    shown[at:, column] = shown[at, column]
    return tuple(range(at, len(shown)))


def _jumped(shown: Array, at: int, rng: np.random.Generator) -> tuple[int, ...]:
    """One sensor shows too much in one run."""
    shown[at, rng.integers(shown.shape[1])] += JUMP_K * (1.0 if rng.uniform() < 0.5 else -1.0)
    return (at,)


def _swapped(shown: Array, at: int, rng: np.random.Generator) -> tuple[int, ...]:
    """Two sensors stand for one another from one run on, not the first: those that differ most."""
    at = min(max(at, 1), len(shown) - 1)
    _exchange(shown, slice(at, None))
    return tuple(range(at, len(shown)))


def _columns(shown: Array, at: int, rng: np.random.Generator) -> tuple[int, ...]:
    """Two columns of one run are typed into one another: those that differ most."""
    _exchange(shown, slice(at, at + 1))
    return (at,)


def _exchange(shown: Array, rows: slice) -> None:
    middle = np.median(shown, axis=0)
    pair = [int(middle.argmin()), int(middle.argmax())]
    shown[rows, pair] = shown[rows, pair[::-1]]


# After readings are made, before they are noted: given readings (runs, readings) [C], which they change in place, and
# from which run on; the answer is the runs that are spoilt.
AFTER: Mapping[str, Callable[[Array, int, np.random.Generator], tuple[int, ...]]] = {
    "stuck sensor": _stuck,
    "jumped sensor": _jumped,
    "swapped sensors": _swapped,
    "columns exchanged": _columns,
}
FAULTS: tuple[str, ...] = (*BEFORE, *AFTER)

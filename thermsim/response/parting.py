"""When what an option changes begins to be felt, and how much of its gain is there at a time: two warm-ups compared."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import ThermsimError
from thermsim.readout.observable import Asked, Observable, find
from thermsim.warming.outcome import Warmup

Array = NDArray[np.float64]

AT_S = (1e-3, 25e-3, 1.0, 10.0)  # times [s] at which shares are told unless others are given


@dataclass(frozen=True, eq=False)
class Parting:
    """How two warm-ups part in one answer.

    times_s : (n,) [s]; gain_K : (n,) what the second is colder by; doubt_K : (n,) all doubts of both, also of what
        properties do between both ends
    final_K : of both steady states, NaN without them; final_doubt_K : doubts of both there
    parts_s : from when on the gain is above its doubt, at all later times; None: never
    shares : for each time asked, that part of the final gain which is there, with its doubt
    """

    answer: Observable
    times_s: Array
    gain_K: Array
    doubt_K: Array
    final_K: float
    final_doubt_K: float
    parts_s: float | None
    shares: dict[float, tuple[float, float]]


def parting(base: Warmup, changed: Warmup, asked: Asked, at_s: Iterable[float] = AT_S) -> Parting:
    """Compare a base with one of its options, both followed over the same times, in one temperature.

    Raises
    ------
    UnknownNameError : an answer that one of them lacks
    ThermsimError : other times in one than in the other, or times asked for outside of them
    """
    one = find(base.curves, asked)
    first, second = base.curves[one], changed.curves[find(changed.curves, asked)]
    times = base.times_s
    if len(times) != len(changed.times_s) or not np.allclose(times, changed.times_s, rtol=1e-9, atol=0.0):
        raise ThermsimError("two warm-ups over different times", "ask for both from and until the same times")
    gain = first.value - second.value
    doubt = first.half_width + second.half_width
    final = first.loaded_C - second.loaded_C
    final_doubt = first.loaded_doubt + second.loaded_doubt
    below = np.flatnonzero(~(np.abs(gain) > doubt))
    begins = int(below[-1]) + 1 if len(below) else 0
    parts = float(times[begins]) if begins < len(times) else None
    asked_s = np.array(list(at_s), dtype=np.float64)
    if not np.all((asked_s >= times[0] * (1.0 - 1e-9)) & (asked_s <= times[-1] * (1.0 + 1e-9))):
        raise ThermsimError(
            f"of the times asked for, some do not lie between {times[0]:g} and {times[-1]:g} s",
            "follow both for longer",
        )
    shares = {
        at: (_at(at, times, gain) / final, _at(at, times, doubt) / abs(final)) if final else (0.0, np.inf)
        for at in asked_s.tolist()
    }
    return Parting(one, times, gain, doubt, final, final_doubt, parts, shares)


def _at(time: float, times: Array, values: Array) -> float:
    return float(np.interp(np.log(time), np.log(times), values))

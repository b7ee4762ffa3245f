"""Sensors that stuck, jumped, or stand in one another's columns: found from what each shows against the others.

A reading is what the model expects, what its run lies off that, what its sensor usually lies off (its offset, what the
option really does there) and scatter of about half a kelvin. A sensor that hardly warms (on the lid, beside cores)
follows a change of film as little as the model says, and what its run lies off in proportion to its rise over the
coolant. What a sensor usually lies off is the median over the runs of its option. A fault is what lies farther off than
scatter ever does; where runs are too few to say which of two is wrong, both stay and a remark says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.corrected import Corrected

Array = NDArray[np.float64]

FAR_K = 3.0  # from the median of three runs or more: nearly five standard deviations of a cell on simulated benches
FAR_ACROSS_K = 4.5  # from that of other options, which also hold what an uneven film does to a core
EXCHANGED_K = 2.0  # by which two sensors must lie off, one up and one down, and no more once exchanged
STUCK_SPAN_K = 4.0  # by which the other sensors move while one shows the same
STANDS_IN_K = 0.6  # what a reading that stands in is off by, one standard deviation: two such scatters
ENOUGH_RUNS = 3  # for a median that one fault does not move
ROUNDS = 3  # of medians over runs against medians over sensors


@dataclass(frozen=True)
class SensorFault:
    """What is wrong with one reading of some runs.

    runs : their names; reading : its name; what : in words; left_out : whether these readings are left out, else it is
        only said, or put right
    other : of two that were exchanged, the other one
    """

    runs: tuple[str, ...]
    reading: str
    what: str
    left_out: bool
    other: str | None = None


@dataclass(frozen=True, eq=False)
class Expected:
    """What the model expects of every run (runs, readings), NaN where its option has no such reading.

    put_right, as_noted : [C] where all runs are put to, and where each was read
    rises : how far a reading rises over the coolant, over the median of all readings
    """

    put_right: Array
    as_noted: Array
    rises: Array


def sensor_faults(runs: Sequence[Corrected], readings: Sequence[str], expected: Expected) -> tuple[SensorFault, ...]:
    """Faults of the sensors over runs that were put right.

    readings : names, in the order of the case; expected : of the same runs and readings
    """
    if len(runs) < 2 or len(readings) < 3:
        return ()
    values = np.array([[one.readings.get(name, np.nan) for name in readings] for one in runs])
    noted = np.array([[one.run.readings.get(name, np.nan) for name in readings] for one in runs])
    values[~np.isfinite(noted)] = np.nan
    found = []
    for column, name in enumerate(readings):
        where = _stuck(noted, expected, column)
        if len(where):
            values[where, column] = np.nan
            shows = float(noted[where[0], column])
            what = f"{name} shows {shows:g} C in {len(where)} runs, whatever the others do: it stuck, and is left out"
            found.append(SensorFault(tuple(runs[row].run.name for row in where), name, what, True))
    options = np.array([-1 if one.option is None else _number(one.option, runs) for one in runs])
    off, usual = _off_usual(values - expected.put_right, expected.rises, options)
    return (*found, *_single(off, usual + expected.put_right, options, runs, readings))


def mended(one: Corrected, faults: Sequence[SensorFault]) -> Corrected:
    """A run without the readings that are left out, and with those put back that were exchanged."""
    readings = dict(one.readings)
    for fault in faults:
        if one.run.name not in fault.runs:
            continue
        if fault.left_out:
            readings.pop(fault.reading, None)
        elif fault.other is not None:
            readings[fault.reading], readings[fault.other] = readings[fault.other], readings[fault.reading]
    return replace(one, readings=readings)


def stood_in(runs: Sequence[Corrected], names: Sequence[str], expected: Expected) -> list[Corrected]:
    """Runs in which a reading that is absent is as far off the others as in most runs of the same option.

    names, expected : as in `sensor_faults`
    Only where they are enough to say so; else the reading stays absent, and the others are compared without it.
    """
    values = np.array([[one.readings.get(name, np.nan) for name in names] for one in runs])
    if not runs or np.isfinite(values).all():
        return list(runs)
    options = np.array([-1 if one.option is None else _number(one.option, runs) for one in runs])
    beyond = values - expected.put_right
    _, usual = _off_usual(beyond, expected.rises, options)
    level = _median(beyond - usual, 1)
    found = []
    for row, one in enumerate(runs):
        same = options == options[row]
        enough = np.isfinite(values[same]).sum(axis=0) > max(0.5 * same.sum(), ENOUGH_RUNS - 1)
        absent = np.flatnonzero(~np.isfinite(values[row]) & enough).tolist()
        readings = {name: one.readings.get(name, np.nan) for name in names}
        stands_in = expected.put_right[row] + level[row] * expected.rises[row] + usual[row]
        readings |= {names[column]: float(stands_in[column]) for column in absent}
        readings = {name: value for name, value in readings.items() if np.isfinite(value)}
        own = STANDS_IN_K * len(absent) ** 0.5 / max(len(readings), 1)
        found.append(replace(one, readings=readings, own_doubt_K=hypot(one.own_doubt_K, own)))
    return found


def _number(option: str, runs: Sequence[Corrected]) -> int:
    return next(row for row, one in enumerate(runs) if one.option == option)


def _stuck(noted: Array, expected: Expected, column: int) -> NDArray[np.int64]:
    """Runs in which one sensor shows the same while the others move, and it should have."""
    own = noted[:, column]
    others, moved = np.full(len(own), np.nan), np.full(len(own), np.nan)
    rest = np.delete(noted, column, axis=1)
    beyond = np.delete(noted - expected.as_noted, column, axis=1)
    has = np.isfinite(beyond).any(axis=1) & np.isfinite(own) & np.isfinite(expected.as_noted[:, column])
    if has.sum() < ENOUGH_RUNS:
        return np.array([], int)
    others[has] = np.nanmedian(rest[has], axis=1)
    moved[has] = expected.as_noted[has, column] + expected.rises[has, column] * np.nanmedian(beyond[has], axis=1)
    shown, counts = np.unique(own[has], return_counts=True)
    for value in shown[np.argsort(-counts)][:3]:
        where = np.flatnonzero(has & (own == value))
        if len(where) < ENOUGH_RUNS:
            break
        span_K = STUCK_SPAN_K + (0.5 if len(where) > 20 else 0.0)
        if min(np.ptp(others[where]), np.ptp(moved[where])) > span_K:
            return where
    return np.array([], int)


def _off_usual(beyond: Array, rises: Array, options: NDArray[np.int64]) -> tuple[Array, Array]:
    """(runs, readings) what each lies off its usual, and (runs, readings) what its usual is.

    The usual of a sensor in runs of one option, where they are enough, else over all runs.
    beyond : (runs, readings) what each lies off the model; rises : as in `Expected`
    """
    with np.errstate(all="ignore"):
        level = _median(beyond, 1)
        usual = np.zeros(beyond.shape)
        for _ in range(ROUNDS):
            rest = beyond - level[:, None] * rises
            for option in np.unique(options):
                own = options == option
                usual[own] = _median(rest[own] if own.sum() >= ENOUGH_RUNS else rest, 0)
            usual = np.where(np.isfinite(usual), usual, 0.0)
            level = _median(beyond - usual, 1)
        return beyond - usual - level[:, None] * rises, usual


def _median(values: Array, axis: int) -> Array:
    """Without what is absent; NaN where all is."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmedian(values, axis=axis))


def _single(
    off: Array, usual: Array, options: NDArray[np.int64], runs: Sequence[Corrected], readings: Sequence[str]
) -> list[SensorFault]:
    """Faults of single runs: sensors exchanged, and sensors that jumped."""
    found = []
    for row, one in enumerate(runs):
        own = int((options == options[row]).sum())
        far_K = FAR_K if own >= ENOUGH_RUNS else FAR_ACROSS_K
        here = off[row].copy()
        pair = _exchanged(here, usual[row])
        if pair is not None:
            first, second = (readings[column] for column in pair)
            what = f"{first} and {second} look exchanged in {one.run.name}: put back"
            found.append(SensorFault((one.run.name,), first, what, False, second))
            here[list(pair)] = 0.0
        for column in np.flatnonzero(np.abs(np.nan_to_num(here)) > far_K).tolist():
            far = float(here[column])
            name, way = readings[column], "more" if far > 0 else "less"
            what = f"{name} shows {abs(far):.1f} K {way} in {one.run.name} than it usually does beside the others"
            sure = own >= ENOUGH_RUNS or (own == 2 and len(runs) > 4 and not _both(off, options, row, column))
            film = "lacks" if far > 0 else "is thinner"
            what += ": left out" if sure else f": its sensor jumped, or the film {film} there; another mount tells"
            found.append(SensorFault((one.run.name,), name, what, sure))
    return found


def _both(off: Array, options: NDArray[np.int64], row: int, column: int) -> bool:
    """Whether all runs of the option of a run lie off alike: then it is what the option does there."""
    own = off[options == options[row], column]
    return bool(np.nanmin(np.abs(own)) > 0.5 * FAR_ACROSS_K)


def _exchanged(off: Array, usual: Array) -> tuple[int, int] | None:
    """The pair of columns that, exchanged, lie where they usually do."""
    far = np.flatnonzero(np.abs(np.nan_to_num(off)) > EXCHANGED_K)
    best, pair = 0.0, None
    for number, first in enumerate(far):
        for second in far[number + 1 :]:
            apart = usual[second] - usual[first]  # exchanged, the first lies off by that much
            after = max(abs(off[first] - apart), abs(off[second] + apart))
            if after < 0.5 * EXCHANGED_K + 0.25 and off[first] * off[second] < 0.0 and abs(apart) > best:
                best, pair = abs(apart), (int(first), int(second))
    return pair

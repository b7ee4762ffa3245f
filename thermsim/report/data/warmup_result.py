"""A warm-up as plain documents: JSON and lines of CSV, with the meaning of every key."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from math import isfinite
from typing import Any

import numpy as np

from thermsim.comparison.warm_ups import WarmUps
from thermsim.loads.load import Load
from thermsim.readout.observable import Observable
from thermsim.report.data.versions import thermsim_version
from thermsim.warming.outcome import Curve, HeldBack, Warmup

# `curves[].value` is the key `value` of each item of the list `curves`. Null stands where a number does not exist.
WARMUP_KEYS: dict[str, str] = {
    "title": "title of the case",
    "option": "option that the case was changed by; null for the case as written",
    "thermsim": "version that made the result",
    "status": "`accuracy held` or `accuracy not held`: whether mesh and time doubt together are below `accuracy_K` at "
    "all times",
    "accuracy_K": "that was asked for [K]",
    "settled_K": "how near to its end an answer is called settled [K]",
    "load": "over time; null where all heat comes on at once",
    "load.source": "where it comes from",
    "load.is_share": "whether values are shares of all power of the case; watts otherwise, leakage in them",
    "load.zones": "the zones that the values are of; empty where there is one value for the whole case",
    "load.between": "`constant`: a value holds until the next one; `line`: values are joined by straight lines",
    "load.times_s": "from when on each value holds, or when it is passed [s]",
    "load.values": "at each of these times, one a zone, or one in all",
    "load.ends_s": "until when it is known [s]; null where the last value lasts",
    "load.clock_s": "what was taken off the times of a log so that they begin at 0 [s]",
    "remarks": "what must be said beside the numbers",
    "times_s": "times after the load came on [s]",
    "curves": "every answer over these times",
    "curves[].name": "what it is of, in words",
    "curves[].unit": "`C`, or `W` for heats",
    "curves[].unheated": "before the load came on",
    "curves[].value": "at each time",
    "curves[].mesh_doubt": "at each time: half width by the grids",
    "curves[].time_doubt": "half width by the small model in time, the same at all times",
    "curves[].certain_doubt": "where it was asked for, the bound of the time doubt that never fails; null where "
    "none is known: highest temperatures, a coolant loop, a chip that holds back, a load over time",
    "curves[].between_doubt": "at each time: by how much properties that change with temperature may hold it off",
    "curves[].loaded": "the steady state that it ends at; null under a log, which has none",
    "curves[].highest_s": "when it is highest, of the times told [s]; null for heats",
    "curves[].loaded_mesh_doubt": "mesh doubt of that",
    "curves[].settled_s": "earliest and latest time, as the doubts allow, from which on it stays within `settled_K` of "
    "its end [s]; null if after the last time, if the doubts are wider than `settled_K` until then, without "
    "an end, and for heats",
    "held_back": "what a chip that holds back has left of its power; null for any other",
    "held_back.limit_C": "that no reading passes [C]",
    "held_back.reading": "the first to meet it",
    "held_back.power_W": "that may be held back, as typed [W]",
    "held_back.left_W": "what is left of it at each time [W]",
    "held_back.left_doubt_W": "at each time: half width by mesh and time [W]",
    "held_back.end_W": "what is left at the steady state [W]",
    "held_back.end_doubt_W": "half width of that [W]",
    "held_back.from_s": "from when on it is held back [s]; null if not until the last time",
    "held_back.from_doubt_s": "half width of that [s]",
    "held_back.lost_J": "energy held back until the last time [J]",
    "held_back.lost_doubt_J": "half width of that [J]",
    "held_back.is_never": "whether the limit is not met at all",
    "held_back.is_enough": "false where a reading passes its limit without that power too",
    "held_back.runs_away": "whether there is no steady state without holding back",
    "rest": "how long to wait, switched off, before a second run",
    "rest.within_K": "to which it then repeats the first [K]",
    "rest.seconds": "earliest and latest such rest, as the doubts allow [s]; null as in `settled_s`, "
    "and where `rest.why` says so",
    "rest.noted_s": "the same with the coolant of the loop noted at both runs [s]; null without a loop",
    "rest.per_kelvin": "what a kelvin of that coolant does to a reading, the largest [K/K]; 0 without a loop, and "
    "where a load changes",
    "rest.last": "what takes longest",
    "rest.why": "why no rest is told of this stack; null where one is",
    "time_constants_s": "of the small model on the finest grid, longest first [s]",
    "held_K": "by how much properties held still would hold temperatures off on the way [K]; null where they are held",
    "films": "joints whose film stores heat as cells",
    "shifts_per_s": "at which the small model was taken, in this order [1/s]",
    "grids": "the grids climbed, coarsest first",
    "grids[].multiplier": "cells between two outlines, relative to the plan",
    "grids[].cells": "cells, voids and films included",
    "grids[].levels": "of cells upwards, those of films included",
    "grids[].seconds": "time it took [s]",
    "grids[].solves": "of the linear solver for the small model",
    "grids[].iterations": "of the linear solver in all",
    "grids[].imbalance": "heat made less heat stored and let out: the largest over time, relative to that made at rest",
}

WARM_UPS_KEYS: dict[str, str] = {
    "title": "title of the case",
    "thermsim": "version that made the result",
    "names": "the base, then the options, in the order of `warm_ups`",
    "warm_ups": "of each, what a warm-up of it alone tells",
    "gains": "every temperature of every option against the base",
    "gains[].option": "its name",
    "gains[].name": "the temperature, in words",
    "gains[].gain_K": "at each time: by what the option is colder than the base [K]",
    "gains[].doubt_K": "at each time: the doubts of both together [K]",
    "gains[].final_K": "the gain of both steady states [K]",
    "gains[].final_doubt_K": "mesh doubt of both [K]",
    "gains[].shares": "at 1 ms, 25 ms, 1 s and 10 s, as far as they were followed: the time [s], what share of the "
    "final gain is there, and its doubt; null where there is no final gain, nothing under a load over time",
    "gains[].felt_from_s": "from when on the gain is larger than its doubt at every time [s]; null if not at the last",
}


def document(found: Warmup) -> dict[str, Any]:
    """The whole result for programs; numbers as they are, null where there is none."""
    certain: dict[Observable, float] = found.certain or {}
    return {
        "title": found.case.title,
        "option": found.case.option,
        "thermsim": thermsim_version(),
        "status": found.status,
        "accuracy_K": found.accuracy_K,
        "settled_K": found.settled_K,
        "load": None if found.load is None else _load(found.load),
        "remarks": list(found.remarks),
        "times_s": found.times_s.tolist(),
        "curves": [_curve(one, curve, certain.get(one), found) for one, curve in found.curves.items()],
        "held_back": None if found.held_back is None else _held_back(found.held_back),
        "rest": _rest(found),
        "time_constants_s": (1.0 / found.rates[found.rates > 0.0]).tolist(),
        "held_K": found.held_K,
        "films": list(found.films),
        "shifts_per_s": list(found.shifts),
        "grids": [asdict(step) for step in found.steps],
    }


def side_by_side(found: WarmUps) -> dict[str, Any]:
    """Options side by side for programs, numbers as in `document`."""
    gains = [
        {
            "option": name,
            "name": str(one),
            "gain_K": [_number(value) for value in gain.gain_K.tolist()],
            "doubt_K": [_number(value) for value in gain.doubt_K.tolist()],
            "final_K": _number(gain.final_K),
            "final_doubt_K": _number(gain.final_doubt_K),
            "felt_from_s": gain.parts_s,
            "shares": [
                {"at_s": at, "share": _number(share), "doubt": _number(doubt)}
                for at, (share, doubt) in gain.shares.items()
            ],
        }
        for one in found.temperatures
        for name, gain in found.gains(one).items()
    ]
    return {
        "title": found.case.title,
        "thermsim": thermsim_version(),
        "names": list(found.names),
        "warm_ups": [document(one) for one in found.found],
        "gains": gains,
    }


def side_by_side_lines(found: WarmUps) -> Iterator[list[str]]:
    """A line a time: the time, then each answer of each case with its half width, headed by the name of the case."""
    for row, lines in enumerate(zip(*(csv_lines(one) for one in found.found), strict=True)):
        heads = found.names if row == 0 else ()
        cells = [
            [f"{heads[number]}: {cell}" if heads else cell for cell in line[1:]] for number, line in enumerate(lines)
        ]
        yield [lines[0][0], *(cell for line in cells for cell in line)]


def _held_back(held: HeldBack) -> dict[str, Any]:
    from_s = (None, None) if held.from_s is None else map(_number, held.from_s)
    pairs = (("end", "W", map(_number, held.end_W)), ("from", "s", from_s), ("lost", "J", map(_number, held.lost_J)))
    told: dict[str, Any] = {
        "limit_C": held.limit_C,
        "reading": str(held.reading),
        "power_W": held.power_W,
        "left_W": [_number(value) for value in held.left_W.tolist()],
        "left_doubt_W": [_number(value) for value in held.left_doubt_W.tolist()],
    }
    for name, unit, (value, doubt) in pairs:
        told |= {f"{name}_{unit}": value, f"{name}_doubt_{unit}": doubt}
    return {**told, "is_never": held.is_never, "is_enough": held.is_enough, "runs_away": held.runs_away}


def _rest(found: Warmup) -> dict[str, Any]:
    rest = found.rest
    spans = {
        name: None if span is None else list(span)
        for name, span in (("seconds", rest.seconds), ("noted_s", rest.noted_s))
    }
    return {"within_K": rest.within_K, **spans, "per_kelvin": rest.per_kelvin, "last": str(rest.last), "why": rest.why}


def csv_lines(found: Warmup) -> Iterator[list[str]]:
    """A line a time: the time, then each answer with its half width of all doubts; full digits."""
    heads = ["time_s"] if found.load is None else ["time_s", *load_heads(found)]
    for one in found.curves:
        unit = "W" if one.is_heat else "C"
        heads += [f"{one} [{unit}]", f"{one} +- [{'W' if one.is_heat else 'K'}]"]
    heads += ["power left [W]", "power left +- [W]"] if found.held_back is not None else []
    yield heads
    columns = [np.stack([curve.value, curve.half_width], axis=1) for curve in found.curves.values()]
    if found.held_back is not None:
        columns.append(np.stack([found.held_back.left_W, found.held_back.left_doubt_W], axis=1))
    if found.load is not None:
        columns.insert(0, found.load.before(found.times_s))
    for row, time in enumerate(found.times_s.tolist()):
        numbers = [number for column in columns for number in column[row].tolist()]
        yield [repr(time), *(repr(number) if isfinite(number) else "" for number in numbers)]


def load_heads(found: Warmup) -> list[str]:
    """Headings of what is on at each time."""
    load = found.load
    if load is None:
        return []
    return [f"load of {zone} [W]" for zone in load.zones] or ["load, share" if load.is_share else "load [W]"]


def _load(load: Load) -> dict[str, Any]:
    return {
        "source": load.source,
        "is_share": load.is_share,
        "zones": list(load.zones),
        "between": load.between,
        "times_s": load.times_s.tolist(),
        "values": load.values.tolist(),
        "ends_s": _number(load.ends_s),
        "clock_s": load.clock_s,
    }


def _curve(one: Observable, curve: Curve, certain: float | None, found: Warmup) -> dict[str, Any]:
    return {
        "name": str(one),
        "unit": "W" if one.is_heat else "C",
        "unheated": _number(curve.unheated),
        "value": [_number(value) for value in curve.value.tolist()],
        "mesh_doubt": [_number(value) for value in curve.mesh_doubt.tolist()],
        "time_doubt": _number(curve.time_doubt),
        "certain_doubt": certain,
        "between_doubt": [_number(value) for value in curve.between_doubt.tolist()],
        "loaded": _number(curve.loaded_C),
        "loaded_mesh_doubt": _number(curve.loaded_doubt),
        "settled_s": None if curve.settled_s is None else list(curve.settled_s),
        "highest_s": None if one.is_heat else float(found.times_s[curve.highest]),
    }


def _number(value: float) -> float | None:
    return float(value) if isfinite(value) else None

"""A warm-up as blocks of text: temperatures at powers of ten of time, when each is settled, heats, grids, remarks."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from thermsim.loads.load import Load
from thermsim.mesh.prediction_remarks import is_grave
from thermsim.readout.observable import Answers, Observable
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.numbers import UNKNOWN, plain, significant, with_doubt
from thermsim.rounding import two_digits_up
from thermsim.warming.outcome import Curve, HeldBack, Warmup

MOST_TIMES = 5  # columns of times in a table
UNDER_LOAD = 3  # the same under a load, where the highest stands beside them
MOST_STEPS = 4  # of a load that are told one by one
TIME_UNITS = ((1.0, "ms", 1e-3), (7200.0, "s", 1.0))  # below which [s] which unit, and its size [s]
HOURS = ("h", 3600.0)
UNTIL_THEN = (
    "Each time shows what was on until then; highest: of all times told, the moment before each change among them; "
    "end: the steady state of the last step of a load."
)
WITHOUT_END = "A log has no such end."


def warmup_blocks(found: Warmup) -> list[Block]:
    """What is shown of a warm-up."""
    at = shown_times(found, found.load)
    temperatures = {one: curve for one, curve in found.curves.items() if not one.is_heat}
    heats = {one: curve for one, curve in found.curves.items() if one.kind == "flow"}
    grave = tuple(remark for remark in found.remarks if is_grave(remark))
    others = tuple(remark for remark in found.remarks if not is_grave(remark))
    blocks = [_head(found)]
    blocks += [Block("Read first", notes=grave)] if grave else []
    blocks.append(_temperatures(found, temperatures, at))
    blocks += [_held_back(found, found.held_back, at)] if found.held_back is not None else []
    blocks.append(_rest(found))
    blocks += [_heats(found, heats, at)] if heats else []
    blocks.append(_grids(found))
    return [*blocks, Block("Remarks", notes=others)] if others else blocks


class Timed(Protocol):
    """Whatever is told at times."""

    @property
    def times_s(self) -> NDArray[np.float64]:
        """(n,) [s], rising"""


def shown_times(found: Timed, load: Load | None = None) -> list[int]:
    """Indices of the powers of ten among the times, or of the few at which a load changes, and of the last time."""
    powers = np.log10(found.times_s)
    whole = np.flatnonzero(np.abs(powers - np.round(powers)) < 1e-9).tolist()
    last, most = len(powers) - 1, MOST_TIMES - 1
    inner = [index for index in whole if index != last]
    if load is not None:
        most = UNDER_LOAD - 1
        changes = np.flatnonzero(np.isin(found.times_s[:-1], load.changes_s)).tolist()
        inner = changes if 0 < len(changes) <= most else inner
    step = -(-len(inner) // most) if inner else 1
    return [*inner[::step], last]


def time_in_words(seconds: float) -> str:
    """`0.1 ms`, `25 ms`, `300 s`, `2.5 h`: three digits at most."""
    unit, size = _unit_for(seconds)
    return f"{significant(seconds / size, 3)} {unit}"


def settled_in_words(curve: Curve) -> str:
    """`0.74-1.31 s`, three digits each; one time where they tell no difference."""
    return span_in_words(curve.settled_s)


def span_in_words(span: tuple[float, float] | None) -> str:
    """From when to when, as `settled_in_words` has it."""
    if span is None:
        return UNKNOWN
    unit, size = _unit_for(span[1])
    earliest, latest = (significant(seconds / size, 3) for seconds in span)
    return f"{latest} {unit}" if earliest == latest else f"{earliest}-{latest} {unit}"


def _unit_for(seconds: float) -> tuple[str, float]:
    return next(((unit, size) for limit, unit, size in TIME_UNITS if seconds < limit), HOURS)


def _head(found: Warmup) -> Block:
    case = found.case
    title = case.title if case.option is None else f"{case.title}, with: {case.option}"
    span = f"{time_in_words(float(found.times_s[0]))} to {time_in_words(float(found.times_s[-1]))}"
    lines = [f"{load_in_words(found)}; followed from {span}"]
    lines += (
        [f"longest time constant that counts: {time_in_words(found.slowest_s)}"] if np.isfinite(found.slowest_s) else []
    )
    return Block(title, lines=tuple(lines))


def _held_back(found: Warmup, held: HeldBack, at: list[int]) -> Block:
    """The power that is left so that no reading passes the limit."""
    title, limit = "Power held back", f"its limit of {held.limit_C:g} C"
    if held.is_never:
        return Block(title, notes=(f"None: no reading meets {limit}; the {held.reading} comes nearest.",))
    heads = [time_in_words(float(found.times_s[index])) for index in at]
    columns = [Column("", right=False), *map(Column, heads), Column("end")]
    left = [(float(held.left_W[index]), float(held.left_doubt_W[index])) for index in at] + [held.end_W]
    percent = 100.0 / held.power_W
    rows = (
        ("power left [W]", *(plain(value, doubt, 2) for value, doubt in left)),
        ("held back [%]", *(plain(100.0 - percent * value, percent * doubt, 1) for value, doubt in left)),
    )
    of = f"of the {significant(held.power_W, 4)} W that may be held back"
    last = time_in_words(float(found.times_s[-1]))
    if held.from_s is None:
        notes = [f"No reading meets {limit} until {last}; later the {held.reading} does."]
    else:
        asked_J = held.power_W * float(found.times_s[-1])
        notes = [
            f"The {held.reading} meets {limit} after {with_doubt(*held.from_s)} s; from then on so much is held back "
            "that no reading passes it.",
            f"At the end {with_doubt(*held.end_W, 2)} W are left {of}. Until {last} {with_doubt(*held.lost_J)} J are "
            f"lost, {100.0 * held.lost_J.value / asked_J:.3g} % of what it would take.",
        ]
    if held.runs_away:
        notes.append("Without holding back there is no steady state (thermal runaway); with it there is.")
    return Block(title, columns=tuple(columns), rows=rows, notes=tuple(notes))


def load_in_words(found: Warmup) -> str:
    """What comes on a stack at rest."""
    load = found.load
    if load is None:
        return "all heat comes on at once on a stack at rest"
    of = f" in {len(load.zones)} zones" if len(load.zones) > 1 else "".join(f" in {zone}" for zone in load.zones)
    sums = load.values.sum(axis=1)

    def told(value: float) -> str:
        return f"{significant(100.0 * value, 3)} %" if load.is_share else f"{significant(value, 3)} W"

    if load.lasts and len(sums) <= MOST_STEPS:
        steps = [
            f"{told(value)} from {time_in_words(begins) if begins else '0'}"
            for begins, value in zip(load.times_s.tolist(), sums.tolist(), strict=True)
        ]
        return f"a stack at rest carries {', '.join(steps)}{of}"
    span = f"{told(float(sums.min()))} to {told(float(sums.max()))}{of}"
    if load.lasts:
        return f"a stack at rest carries {len(sums)} steps of {span}"
    lines = "points joined by straight lines" if load.between == "line" else "averages, each until the next line"
    taken = f", times less {load.clock_s:.10g} s" if load.clock_s else ""
    ends = time_in_words(load.ends_s)
    return f"a stack at rest carries {load.source}: {len(sums)} {lines}{taken}, to {ends}, {span}"


def _rest(found: Warmup) -> Block:
    """How long to wait before a second run."""
    rest, last = found.rest, time_in_words(float(found.times_s[-1]))
    if rest.why is not None:
        return Block("Rest before a second run", notes=(f"How long to rest is not known: {rest.why}.",))

    def told(span: tuple[float, float] | None) -> str:
        if span is None:
            return f"is not told: it is longer than the {last} followed, or the doubts are wider than that"
        return f"is {span_in_words(span)}"

    lines = [
        f"The rest, switched off from its end, after which a second run repeats the first within {rest.within_K:g} K "
        f"whenever it is read {told(rest.seconds)}; {rest.last} takes longest."
    ]
    if rest.per_kelvin > 0.0:
        lines.append(
            f"With the coolant noted at both runs, and readings put to the same coolant (up to {rest.per_kelvin:.3g} K "
            "for each kelvin of it; with leakage less just after switching on, which this rest allows for), the rest "
            f"{told(rest.noted_s)}."
        )
    return Block("Rest before a second run", notes=tuple(lines))


def _temperatures(found: Warmup, curves: dict[Observable, Curve], at: list[int]) -> Block:
    heads = [time_in_words(float(found.times_s[index])) for index in at]
    peaks = [] if found.load is None else [Column("highest"), Column("at")]
    columns = [Column("[C]", right=False), Column("before"), *map(Column, heads), *peaks, Column("end")]
    columns.append(Column("settled"))
    rows = tuple(
        (
            str(one).removeprefix("the "),
            plain(curve.unheated, curve.loaded_doubt, 2),
            *(_at(curve, index) for index in at),
            *((_at(curve, curve.highest), time_in_words(float(found.times_s[curve.highest]))) if peaks else ()),
            plain(curve.loaded_C, curve.loaded_doubt, 2),
            settled_in_words(curve),
        )
        for one, curve in curves.items()
    )
    mesh = max(float(np.max(curve.mesh_doubt)) for curve in curves.values())
    time = max(curve.time_doubt for curve in curves.values())
    held = max(float(np.max(curve.between_doubt)) for curve in curves.values())
    doubts = [f"mesh doubt {two_digits_up(mesh)} K", f"time doubt {two_digits_up(time)} K"]
    doubts += [f"between both ends {two_digits_up(held)} K"] if held > 0.0 else []
    notes = (
        f"At most, of all at all times: {', '.join(doubts)}. Tolerances of the inputs are not in it.",
        *([_certain(found.certain)] if found.certain is not None else []),
        f"Settled: from then on within {found.settled_K:g} K of the end, from the earliest to the latest time that the "
        "doubts allow; - where that is after the last time, or the doubts are wider than that until then.",
        *([UNTIL_THEN if found.load.lasts else f"{UNTIL_THEN} {WITHOUT_END}"] if found.load is not None else ()),
    )
    return Block("Temperatures over time", columns=tuple(columns), rows=rows, notes=notes)


def _certain(bounds: Answers[float]) -> str:
    """What is told of the bound that never fails."""
    kelvins = [bound for one, bound in bounds.items() if not one.is_heat]
    if not kelvins:
        return "No bound of the time doubt that never fails is known of these temperatures."
    return (
        f"Certain: of means and probes the small model misses at most {two_digits_up(max(kelvins))} K in time, by a "
        "bound that never fails; none is known of highest temperatures."
    )


def _at(curve: Curve, index: int) -> str:
    return plain(float(curve.value[index]), float(curve.half_width[index]), 2)


def _heats(found: Warmup, curves: dict[Observable, Curve], at: list[int]) -> Block:
    heads = [time_in_words(float(found.times_s[index])) for index in at]
    columns = [Column("[W]", right=False), *map(Column, heads), Column("end")]
    rows = tuple(
        (
            found.case.cooling[int(one.name)].label,
            *(plain(float(curve.value[index]), float(curve.half_width[index]), 2) for index in at),
            plain(curve.loaded_C, curve.loaded_doubt, 2),
        )
        for one, curve in curves.items()
    )
    return Block("Heat out", columns=tuple(columns), rows=rows)


def _grids(found: Warmup) -> Block:
    columns = tuple(map(Column, ("cells", "levels", "solves", "iterations", "seconds")))
    rows = tuple(
        (f"{step.cells:,}", f"{step.levels}", f"{step.solves}", f"{step.iterations}", f"{step.seconds:.1f}")
        for step in found.steps
    )
    films = f"Films that store heat as cells: {', '.join(found.films)}." if found.films else ""
    return Block("Grids", columns=columns, rows=rows, notes=(films,) if films else ())

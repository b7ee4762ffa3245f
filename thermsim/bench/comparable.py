"""Which runs may be compared at all: what was noted of each against the others, before anything is put right.

Each rule is a function of one run and of what is usual on its bench; it says why the run is refused, and what to note
or do next time. All rules speak, so that a run may be refused for several reasons.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from thermsim.bench.runs import Run, Runs
from thermsim.case.vocabulary.schema import Case

LOAD_REACH = 0.08  # share of the load that slopes of k and leakage carry
COOLANT_REACH_K = 15.0  # the same of the coolant; our own choice: k of silicon moves by 5 %, leakage by what is curved
SCORE = 0.01  # share by which the scores of runs of equal load may differ
FANS = 0.05  # share by which fans may differ and still be the same; as pumps
LOOP_CONSTANTS = 3.0  # time constants of the loop on load, from which on it tells a coolant that was not noted
LEAST_REST_S = 180.0  # on load: water and block, which no case holds, settle in that; common practice, no source
STACK_TIMES = 6.0  # mean times that heat stays in the stack, after which it has settled over its coolant (e^-6 = 0.2 %)
DRIFT_K_MIN = 1.0  # of readings at the end of a log, above which they had not settled
NO_LOOP_REST_S = 900.0  # on load, from which on a room stands in for a coolant that no run notes; common practice


@dataclass(frozen=True)
class Refusal:
    """why : a run is not comparable; next_time : what to note or do"""

    why: str
    next_time: str


@dataclass(frozen=True)
class Bench:
    """What is usual on a bench, for the rules.

    runs : all of them; case : of the chip
    fans_rpm, pump_percent : as most runs have them, or as the case says; None where neither is known
    loop_s : time constant of the loop of the case; None without one that tells its coolant
    stack_s : mean time that heat stays in the stack; None where it is not known
    coolant_is_room : whether no run notes the coolant, and the room stands in for it
    """

    runs: Runs
    case: Case
    fans_rpm: float | None
    pump_percent: float | None
    loop_s: float | None
    stack_s: float | None
    coolant_is_room: bool

    @classmethod
    def of(cls, runs: Runs, case: Case, loop_s: float | None, stack_s: float | None) -> Bench:
        """From all runs; loop_s, stack_s : see the class"""
        usual = runs.settings.usual
        fans = _usual(usual.fans_rpm, (run.fans_rpm for run in runs.runs))
        pump = _usual(usual.pump_percent, (run.pump_percent for run in runs.runs))
        no_coolant = all(run.coolant_C is None for run in runs.runs)
        return cls(runs, case, fans, pump, loop_s, stack_s, no_coolant and loop_s is None)


def refused(run: Run, bench: Bench) -> tuple[Refusal, ...]:
    """Why a run is not comparable, by what was noted of it alone; nothing where no rule objects."""
    return tuple(found for rule in RULES if (found := rule(run, bench)) is not None)


def _at_the_limit(run: Run, bench: Bench) -> Refusal | None:
    limit_C = bench.case.limits.reading_C
    if limit_C is None:
        return None
    part = 1.0 if bench.runs.settings.cuts == "down" else 0.5  # of a step, by which what is shown may lie below
    steps = {one.reading: part * (one.step_K or 0.0) for one in bench.case.readings}
    hot = [name for name, value in run.readings.items() if value >= limit_C - steps.get(name, 0.0)]
    if not hot:
        return None
    stands = "stands" if len(hot) == 1 else "stand"
    why = f"{_listed(hot)} {stands} at the limit of {limit_C:g} C: the chip held itself back there"
    return Refusal(why, "run it with less load, or with a colder coolant")


def _other_pump(run: Run, bench: Bench) -> Refusal | None:
    if run.pump_percent is None or bench.pump_percent is None or _alike(run.pump_percent, bench.pump_percent):
        return None
    return Refusal(
        f"the pump ran at {run.pump_percent:g} instead of {bench.pump_percent:g} %: another flow is another film on "
        "the water side, as large as what a change buys",
        "keep the pump as it was",
    )


def _no_coolant(run: Run, bench: Bench) -> Refusal | None:
    """The coolant was not noted: what the loop of the case may tell, and what nothing may."""
    if run.coolant_C is not None:
        return None
    fans = run.fans_rpm
    if fans is not None and bench.fans_rpm is not None and not _alike(fans, bench.fans_rpm):
        return Refusal(
            f"the fans ran at {fans:g} instead of {bench.fans_rpm:g} a minute and the coolant was not noted: what the "
            "radiator took cannot be told from what the change did",
            "note the coolant at the end of the run, or keep the fans as they were",
        )
    note = "note the coolant at the end of the run"
    if run.room_C is None:
        return Refusal("neither the coolant nor the room was noted", note)
    if bench.coolant_is_room:
        if run.on_load_s is None or run.on_load_s >= NO_LOOP_REST_S or _rests_alike(bench.runs.runs):
            return None
        return Refusal("the coolant was not noted, and the load had not been on as long as in the others", note)
    if bench.loop_s is None:
        return Refusal("the coolant was not noted, and the case has no `coolant_loop` to tell it by", note)
    least = LOOP_CONSTANTS * bench.loop_s
    if run.on_load_s is None:
        return Refusal("neither the coolant was noted nor how long the load had been on", note)
    if run.on_load_s < least:
        return Refusal(
            f"the coolant was not noted, and the load had been on for {run.on_load_s / 60:.1f} min: the loop had not "
            f"settled, which takes {least / 60:.1f} min",
            f"{note}, or keep the load on for {least / 60:.0f} min",
        )
    return None


def _not_settled(run: Run, bench: Bench) -> Refusal | None:
    settled = run.settled
    if settled is not None and settled.after_s is None and abs(settled.drift_K_min) > DRIFT_K_MIN:
        return Refusal(
            f"it had not settled: {settled.reading} still moved by {settled.drift_K_min:+.1f} K a minute when the log "
            "ended",
            "keep the load on until the readings stand still",
        )
    least_s = max(LEAST_REST_S, STACK_TIMES * (bench.stack_s or 0.0))
    if run.on_load_s is not None and run.on_load_s < least_s:
        return Refusal(
            f"it had not settled: the load had been on for {run.on_load_s:.0f} s, and stack and block take "
            f"{least_s:.0f} s to warm up over their coolant",
            "keep the load on until the readings stand still",
        )
    return None


def _exchanged(run: Run, bench: Bench) -> Refusal | None:
    """Coolant and room in one another's columns: the others are the other way about, and it fits them exchanged."""
    if run.coolant_C is None or run.room_C is None:
        return None
    others = [
        (one.coolant_C, one.room_C)
        for one in bench.runs.runs
        if one is not run and one.coolant_C is not None and one.room_C is not None
    ]
    above = [coolant > room for coolant, room in others]
    if len(others) < 2 or (run.coolant_C > run.room_C) is (sum(above) > 0.5 * len(above)):
        return None
    kept = [pair for pair in others if (pair[0] > pair[1]) is (sum(above) > 0.5 * len(above))]
    if len(kept) < 2 or run.coolant_C == run.room_C:
        return None
    coolant, room = (median(column) for column in zip(*kept, strict=True))
    as_noted = abs(run.coolant_C - coolant) + abs(run.room_C - room)
    exchanged = abs(run.room_C - coolant) + abs(run.coolant_C - room)
    if exchanged >= as_noted:
        return None
    return Refusal(
        f"the coolant is noted as {run.coolant_C:g} C and the room as {run.room_C:g} C, the other way about than in "
        "the other runs: their columns look exchanged",
        "if they are, exchange both numbers in the table",
    )


def of_load(run: Run, load: float, reference: float) -> Refusal | None:
    """Whether the load of a run is too far from that of the others."""
    by = load / reference - 1.0
    if abs(by) <= LOAD_REACH:
        return None
    return Refusal(
        f"its package power, with what leaks at its readings taken off, tells of {100 * abs(by):.0f} % "
        f"{'more' if by > 0 else 'less'} load than in the other runs: k and leakage carry no further than "
        f"{100 * LOAD_REACH:.0f} %",
        "load it as in the other runs, or put right its package power or readings if they are no slip of the load",
    )


def of_coolant(coolant_C: float, reference_C: float) -> Refusal | None:
    """Whether the coolant of a run is too far from that of the others."""
    by = coolant_C - reference_C
    if abs(by) <= COOLANT_REACH_K:
        return None
    return Refusal(
        f"the coolant was {abs(by):.0f} K {'warmer' if by > 0 else 'colder'} than in the other runs: slopes carry no "
        f"further than {COOLANT_REACH_K:g} K",
        "run it at a coolant like that of the others",
    )


def of_scores(runs: Sequence[Run], loads: Sequence[float | None], reference: float) -> dict[str, Refusal]:
    """Runs whose score moved more than their load allows, by name.

    With the load, a score may stay, rise by its third root (a clock, whose power goes with its cube) or as much as it.

    loads : of each run, None where its package power was not noted; reference : of all
    """
    off = [0.0 if load is None else load / reference - 1.0 for load in loads]
    scored = [(run, by, run.score) for run, by in zip(runs, off, strict=True) if run.score is not None]
    if len(scored) < 2:
        return {}
    even = [score / (1.0 + by / 3.0) for _, by, score in scored]
    usual = median(even) if len(even) > 2 else max(even)
    found = {}
    for (run, load_by, _), score in zip(scored, even, strict=True):
        by = score / usual - 1.0
        if abs(by) <= SCORE + 2.0 / 3.0 * abs(load_by):
            continue
        means = "the chip held itself back" if by < 0 else "it did other work, or the others were held back"
        power = "equal power" if run.package_W is not None else "a power that was not noted"
        found[run.name] = Refusal(
            f"its score is {100 * abs(by):.1f} % {'lower' if by < 0 else 'higher'} than that of the other runs at "
            f"{power}: {means}",
            "run it again at a clock that the chip keeps",
        )
    return found


Rule = Callable[[Run, Bench], Refusal | None]
RULES: tuple[Rule, ...] = (_at_the_limit, _exchanged, _other_pump, _no_coolant, _not_settled)


def _usual(said: float | None, noted: Iterable[float | None]) -> float | None:
    values = [one for one in noted if one is not None]
    return said if said is not None or not values else median(values)


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= FANS * abs(other)


def _rests_alike(runs: Sequence[Run]) -> bool:
    rests = [run.on_load_s for run in runs if run.on_load_s is not None]
    return not rests or max(rests) <= 1.2 * min(rests)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"

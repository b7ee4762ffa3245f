"""What becomes of every run: comparable, corrected, or not comparable, and why. Refuse first, then put right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite
from statistics import median
from typing import Literal

import numpy as np

from thermsim.bench.comparable import COOLANT_REACH_K, Bench, Refusal, of_coolant, of_load, of_scores, refused
from thermsim.bench.corrected import Corrected
from thermsim.bench.corrections import Circumstances, PutRight, Warming, coolant_of, load_of, put_right
from thermsim.bench.responses import Bed, Response
from thermsim.bench.runs import Run, Runs
from thermsim.bench.sensors import Expected, SensorFault, mended, sensor_faults, stood_in
from thermsim.case.vocabulary.schema import Case
from thermsim.model.physics.coolant_loop import Loop
from thermsim.nearest_words import listed
from thermsim.rounding import two_digits_up

Verdict = Literal["comparable", "corrected", "not comparable", "to be made"]

CORRECTED_K = 0.25  # what is added to a mean reading, from which on a run is called corrected; our own choice
PRICE_K = 0.5  # doubt that a correction adds, as much as mounts leave, from which on it is corrected at a price
NOT_MADE = "no reading is noted"
NOTHING_READ = Refusal(
    "what it reads is gone with what its option took away", "note a reading of a part that is there in all options"
)
MIDDLE_ROUNDS = 4  # of the load in the middle: leakage bends what it makes
LOAD_OF_CASE = 0.03  # share by which the runs may differ from the load of the case and still be put to it


@dataclass(frozen=True)
class Fate:
    """What became of one run.

    correction_K : what was added to its mean reading; doubt_K : standard uncertainty of that; None where refused
    why : in words; next_time : what to note or do, of a run that was refused
    corrected : its readings put right; None where refused
    circumstances : coolant and load it was read at, as far as they are known
    """

    run: Run
    verdict: Verdict
    correction_K: float | None
    doubt_K: float | None
    why: tuple[str, ...]
    next_time: tuple[str, ...]
    corrected: Corrected | None
    circumstances: Circumstances | None


@dataclass(frozen=True, eq=False)
class Fates:
    """The fates of all runs, in the order of their table.

    coolant, coolant_C : what the coolant is called, and what all runs are put to [C]
    load, package_W : what all runs are put to: share of the typed powers, and the heat of the base at it [W]
    responses : of every option that was run; warming : of the coolant
    sensors : faults of sensors; remarks : what concerns all runs
    cooled : options that change the coolant itself
    """

    coolant: str
    coolant_C: float
    load: float
    package_W: float
    fates: tuple[Fate, ...]
    responses: Mapping[str | None, Response]
    warming: Warming
    sensors: tuple[SensorFault, ...]
    remarks: tuple[str, ...]
    cooled: tuple[str, ...] = ()

    @property
    def kept(self) -> tuple[Corrected, ...]:
        """Runs that may be compared, put right."""
        return tuple(one.corrected for one in self.fates if one.corrected is not None)


def fates(case: Case, runs: Runs, bed: Bed | None = None) -> Fates:
    """Judge and put right all runs of a bench.

    bed : of the same case, for whoever judges many benches of it

    Raises
    ------
    ThermsimError : the case reads nothing, or has no coolant
    what `with_option` and `steady_state` raise, of an option that was run
    """
    bed = Bed.of(case) if bed is None else bed
    table, runs = runs, replace(runs, runs=tuple(run for run in runs.runs if run.readings))
    coolant_C, load, step_K = _middle(bed, runs)
    responses = {
        option: bed.response(option, coolant_C, step_K, load) for option in dict.fromkeys((None, *runs.options))
    }
    base = responses[None]
    warming = Warming.of(case, base)
    bench = Bench.of(runs, case, warming.constant_s if warming.is_of_case else None, base.stack_s)
    why: dict[str, list[Refusal]] = {run.name: list(refused(run, bench)) for run in runs.runs}
    for run in runs.runs:
        if not set(run.readings) & set(responses[run.option].readings):
            why[run.name].append(NOTHING_READ)
    stands_in = _room_for_coolant(bench, coolant_C)
    known: dict[str, Circumstances] = {}
    for run in runs.runs:
        noted = replace(run, coolant_C=stands_in[run.name]) if run.name in stands_in else run
        at = coolant_of(noted, case, base, warming, runs.settings)
        if at is None:
            continue
        far = of_coolant(at.coolant_C, coolant_C)
        if far is not None:
            why[run.name].append(far)
            continue
        known[run.name] = load_of(run, at, responses[run.option], load, runs.settings)
        heavy = of_load(run, known[run.name].load, load)
        why[run.name] += [heavy] if heavy is not None else []
    judged = [run for run in runs.runs if not why[run.name]]
    loads = [known[run.name].load if known[run.name].is_load_noted else None for run in judged]
    for name, refusal in of_scores(judged, loads, load).items():
        why[name].append(refusal)
    right = {
        run.name: put_right(run, known[run.name], responses[run.option], coolant_C, load, runs.settings)
        for run in judged
        if not why[run.name]
    }
    kept = [one.corrected for one in right.values()]
    expected = _expected(tuple(right.values()), responses, coolant_C, load)
    sensors = sensor_faults(kept, base.readings, expected)
    mend = [mended(one, sensors) for one in kept]
    filled = {one.run.name: one for one in stood_in(mend, base.readings, expected)}
    found = {run.name: _refused(run, why[run.name], known.get(run.name)) for run in runs.runs if why[run.name]}
    found |= {name: _kept(right[name], filled[name], sensors, coolant_C) for name in right}
    to_come = {run.name: Fate(run, "to be made", None, None, (NOT_MADE,), (), None, None) for run in table.runs}
    told = tuple((to_come | found)[run.name] for run in table.runs)
    package_W = float(base.at(coolant_C, load)[-2])
    cooled = tuple(option for option in runs.options if option is not None and bed.is_cooled_by_other(option))
    remarks = _remarks(runs, load, warming, bool(stands_in), bed.coolant, cooled)
    return Fates(bed.coolant, coolant_C, load, package_W, told, responses, warming, sensors, remarks, cooled)


def _expected(
    runs: Sequence[PutRight], responses: Mapping[str | None, Response], coolant_C: float, load: float
) -> Expected:
    """What the model expects of runs that are kept: over the readings of the base."""
    names = responses[None].readings
    put_right, as_noted = np.full((2, len(runs), len(names)), np.nan)
    for row, one in enumerate(runs):
        response, at = responses[one.corrected.option], one.circumstances
        where = [names.index(name) for name in response.readings if name in names]
        own = [number for number, name in enumerate(response.readings) if name in names]
        put_right[row, where] = response.at(coolant_C, load)[own]
        as_noted[row, where] = response.at(at.coolant_C, at.load)[own]
    rises = put_right - coolant_C
    return Expected(put_right, as_noted, rises / np.nanmedian(rises, axis=1, keepdims=True))


def _middle(bed: Bed, runs: Runs) -> tuple[float, float, float]:
    """Coolant and load in the middle of the runs, and how far the coolants reach about it [K]."""
    coolants = _coolants(bed, runs.runs)
    coolant_C = round(median(coolants.values()), 1) if coolants else bed.coolant_C()
    within = [abs(one - coolant_C) for one in coolants.values() if abs(one - coolant_C) <= COOLANT_REACH_K]
    step_K = max(within, default=0.0)
    read_at = {run.name: coolants.get(run.name, coolant_C) for run in runs.runs}
    loaded = [
        run for run in runs.runs if run.package_W is not None and abs(read_at[run.name] - coolant_C) <= COOLANT_REACH_K
    ]
    share = 1.0
    for _ in range(MIDDLE_ROUNDS if loaded else 0):
        # Each against its own option at its own coolant: what is colder leaks less, and is not loaded less for that.
        by = []
        for run in loaded:
            response, at = bed.response(run.option, coolant_C, step_K, share), (read_at[run.name], share)
            by.append(((run.package_W or 0.0) - float(response.at(*at)[-2])) / float(response.by_load(*at)[-2]))
        share += median(by)
        if abs(share - 1.0) <= LOAD_OF_CASE:
            return coolant_C, 1.0, step_K
        if abs(median(by)) <= 0.5 * LOAD_OF_CASE * share:
            break
    return coolant_C, share, step_K


def _coolants(bed: Bed, runs: Sequence[Run]) -> dict[str, float]:
    """Coolants about which the runs lie [C], by run: those noted; where none is, what a loop would settle at."""
    noted = {run.name: run.coolant_C for run in runs if run.coolant_C is not None}
    loop, given = Loop.of(bed.case), bed.case.coolant_loop
    if noted or loop is None or given is None:
        return noted
    rooms = {run.name: run.room_C for run in runs if run.room_C is not None}
    settled_K = bed.coolant_C() - given.room_C.value if rooms else 0.0
    rises = {run.name: loop.coolant_C(run.package_W) - given.room_C.value for run in runs if run.package_W is not None}
    return {name: room_C + rises.get(name, settled_K) for name, room_C in rooms.items()}


def _room_for_coolant(bench: Bench, coolant_C: float) -> dict[str, float]:
    """Coolants of runs by their rooms, where no run notes its coolant and no loop tells it."""
    rooms = {run.name: run.room_C for run in bench.runs.runs if run.room_C is not None}
    if not bench.coolant_is_room or not rooms:
        return {}
    usual = median(rooms.values())
    return {name: coolant_C + room - usual for name, room in rooms.items()}


def _refused(run: Run, refusals: Sequence[Refusal], at: Circumstances | None) -> Fate:
    why, next_time = (tuple(dict.fromkeys(getattr(one, key) for one in refusals)) for key in ("why", "next_time"))
    return Fate(run, "not comparable", None, None, why, next_time, None, at)


def _kept(one: PutRight, mended: Corrected, sensors: Sequence[SensorFault], coolant_C: float) -> Fate:
    run = one.corrected.run
    why = [*_moved(one, coolant_C), *one.circumstances.why]
    why += [fault.what for fault in sensors if run.name in fault.runs]
    why += _missing(one.corrected, mended)
    is_corrected = abs(one.correction_K) >= CORRECTED_K
    if is_corrected and one.extra_doubt_K > PRICE_K:
        why.insert(0, f"corrected at a price: that adds a doubt of {two_digits_up(one.extra_doubt_K)} K")
    verdict: Verdict = "corrected" if is_corrected else "comparable"
    return Fate(run, verdict, one.correction_K, one.doubt_K, tuple(why), (), mended, one.circumstances)


def _missing(before: Corrected, mended: Corrected) -> list[str]:
    """What is said of readings that were not noted."""
    names = [name for name in mended.readings if name not in before.run.readings]
    return [f"{', '.join(names)}: not noted, taken as far off the others as usual"] if names else []


def _moved(one: PutRight, coolant_C: float) -> list[str]:
    """What was put right, in words, where it is worth a word."""
    at, found = one.circumstances, []
    by = at.coolant_C - coolant_C
    if abs(one.coolant_K) >= 0.5 * CORRECTED_K and isfinite(by):
        found.append(f"coolant {abs(by):.1f} K {'warmer' if by > 0 else 'colder'}: {one.coolant_K:+.1f} K")
    if abs(one.load_K) >= 0.5 * CORRECTED_K:
        found.append(f"load {'above' if one.load_K < 0 else 'below'} that of the others: {one.load_K:+.1f} K")
    return found


def _remarks(
    runs: Runs, load: float, warming: Warming, room: bool, coolant: str, cooled: Sequence[str]
) -> tuple[str, ...]:
    found = list(runs.remarks)
    if cooled:
        found.append(
            f"All runs are put to one coolant: how much colder or warmer {listed(cooled)} "
            f"{'makes' if len(cooled) == 1 else 'make'} it ({coolant}) is no part of any gain told here."
        )
    if load != 1.0:
        found.append(
            f"The runs take {abs(100 * load - 100):.0f} % {'more' if load > 1 else 'less'} power than the case: put "
            "its powers right, or the prediction is of another load."
        )
    if room:
        found.append(
            f"No run notes its coolant ({coolant}): the room stands in for it, kelvin for kelvin, as if every run had "
            "settled with the same fans."
        )
    if not any(run.package_W is not None for run in runs.runs):
        found.append(
            "No run notes its package power: all count as equally loaded, to 1 %. Note it: 1 % is half a kelvin or so."
        )
    if not warming.is_of_case and any(run.coolant_C is not None for run in runs.runs):
        found.append(
            "The case has no `coolant_loop`: how far a noted coolant lags is taken from loops as they usually are "
            f"(a rise of {warming.rise_K:g} K, a time constant of {warming.constant_s:g} s)."
        )
    return tuple(found)

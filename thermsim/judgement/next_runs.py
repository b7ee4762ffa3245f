"""Which runs to make next, by what the runs so far leave open."""

from __future__ import annotations

from math import ceil
from statistics import median

from thermsim.bench.next_runs.plan import COOLANT_NOTED_S, Plan, plan
from thermsim.judgement.outcome import Judgement

FIRST_MOUNTS = 3  # of each, where nothing is known yet: more stop helping much
MOST_MOUNTS = 12  # of each, that a plan holds by itself: what takes more is not worth a bench


def next_runs(found: Judgement, mounts: int | None = None) -> Plan:
    """The order of runs to make next, of the base and all options that were run.

    mounts : more, of each; default: those that would settle in 80 of 100 benches what is undecided, twelve at most; one
        where nothing is, three where no change can be told yet

    They are read as late as those before, and not before the coolant has settled or stack and block have over it.
    """
    if mounts is None:
        open_ones = [] if found.bought is None else [one for one in found.bought.changes if one.kind == "undecided"]
        needed = [one.settling.likely or MOST_MOUNTS for one in open_ones]
        mounts = min(max(needed, default=1), MOST_MOUNTS) if found.bought is not None else FIRST_MOUNTS
    options = list(dict.fromkeys((None, *found.runs.options)))
    readings = [one.reading for one in found.case.readings]
    warming = found.fates.warming
    noted = any(run.coolant_C is not None for run in found.runs.runs)
    settles_s = COOLANT_NOTED_S if noted else max(COOLANT_NOTED_S, 5.0 * warming.constant_s)
    before_s = [one.run.on_load_s for one in found.fates.kept if one.run.on_load_s is not None]
    on_load_s = 60.0 * ceil(max(settles_s, median(before_s or [0.0])) / 60.0)
    return plan(found.runs, options, readings, mounts=mounts, on_load_s=on_load_s)

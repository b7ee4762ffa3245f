"""What is said of benches that are made up, and of runs that are still to come: one row a kind of message."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

from remedies import OfCall, Row
from remedies_of_solving import tiny

from thermsim.bench.next_runs.plan import Plan, plan
from thermsim.bench.simulated.simulate import SimulatedBench, runs_of
from thermsim.bench.simulated.truth import Truth, hidden_truth


def planned(*options: str | None, mounts: int = 1) -> Plan:
    return plan(None, options, ["C0"], mounts=mounts)


@cache
def truth() -> Truth:
    return hidden_truth(tiny(), [])


def made(so: Truth | None = None, **given: Any) -> SimulatedBench:
    return runs_of(truth() if so is None else so, seed=20_272, **given)


ROWS: list[Row] = [
    OfCall(lambda _: made(mounts=0), "0 mounts of 1 runs are no bench\n  remedy: give one or more", lambda _: made()),
    OfCall(
        lambda _: made(fault="fast fan"), "no fault is called 'fast fan'.*\n  remedy: take one of .*'(fast fans)'",
        lambda _, name: made(fault=name),
    ),
    OfCall(
        lambda _: made(replace(truth(), readings=())),
        "no reading is there in every option\n  remedy: leave out the option", lambda _: made(),
    ),
    OfCall(
        lambda _: planned(), "0 options are no plan\n  remedy: name options, and one mount or more of each",
        lambda _: planned(None),
    ),
]  # fmt: skip

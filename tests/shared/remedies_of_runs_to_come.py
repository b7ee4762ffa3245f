"""What is said of benches that are made up, and of runs that are still to come: one row a kind of message."""

from __future__ import annotations

from remedies import OfCall, Row

from thermsim.bench.next_runs.plan import Plan, plan


def planned(*options: str | None, mounts: int = 1) -> Plan:
    return plan(None, options, ["C0"], mounts=mounts)


ROWS: list[Row] = [
    OfCall(
        lambda _: planned(), "0 options are no plan\n  remedy: name options, and one mount or more of each",
        lambda _: planned(None),
    ),
]  # fmt: skip

"""Why measured runs are refused, and what to note or do next time, done: one row a rule."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from benches import bench, demo
from remedies import OfCall, Row
from remedies_of_solving import COLUMN, tiny

from thermsim.bench.comparable import Bench, refused
from thermsim.bench.responses import Bed
from thermsim.bench.runs import Run, Settled
from thermsim.errors import ThermsimError

RADIATES = ("film_W_m2K: 9000, fluid_C: 25", "emissivity: 0.9, room_C: 25")
LIKE = Run(
    "r01", None, "1", 2, 1800.0, 31.0, 22.0, 201.0, 1000.0, 900.0, 100.0,
    readings={f"C{number}": 71.0 + number for number in range(8)},
)  # fmt: skip


def held(_: Path, loop_s: float | None = None, **noted: Any) -> None:
    """A run that notes this, among others alike. Raises ThermsimError where it is refused."""
    run = replace(LIKE, name="r03", mount="3", **noted)
    usual = Bench.of(bench(LIKE, replace(LIKE, name="r02", mount="2"), run), demo(), loop_s, 3.0)
    for one in refused(run, usual):
        raise ThermsimError(one.why, one.next_time)


def row(told: str, broken: dict[str, Any], mended: dict[str, Any]) -> OfCall:
    return OfCall(partial(held, **broken), told, partial(held, **mended))


ROWS: list[Row] = [
    row("the pump ran at 70 instead of 100.*\n.*keep the pump as it was", {"pump_percent": 70.0}, {}),
    row("the fans ran at 2100.*\n.*note the coolant at the end", {"fans_rpm": 2100.0, "coolant_C": None},
        {"fans_rpm": 2100.0}),
    row("still moved by .*\n.*keep the load on until the readings stand still",
        {"settled": Settled(None, 300.0, 2.5, "C3")}, {"settled": Settled(200.0, 900.0, 0.1, "C3")}),
    row("on for 8 s, .*\n.*keep the load on until the readings stand still", {"on_load_s": 8.0}, {"on_load_s": 200.0}),
    row("the loop had not settled.*\n.*or keep the load on for 10 min",
        {"loop_s": 200.0, "coolant_C": None, "on_load_s": 240.0},
        {"loop_s": 200.0, "coolant_C": None, "on_load_s": 600.0}),
    row("look exchanged\n.*exchange both numbers", {"coolant_C": 22.0, "room_C": 31.0}, {}),
    row("at the limit of 95 C.*\n.*less load", {"readings": LIKE.readings | {"C5": 95.0}}, {}),
    OfCall(
        lambda _: Bed.of(demo().model_copy(update={"readings": ()})), "no `readings`\n.*list what the sensors sit on",
        lambda _: Bed.of(demo()),
    ),
    OfCall(
        lambda _: Bed.of(tiny(RADIATES, base=COLUMN)), "no face .*\n.*a bench needs a coolant: `fluid_C`",
        lambda _: Bed.of(tiny(base=COLUMN)),
    ),
]  # fmt: skip

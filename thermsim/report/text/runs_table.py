"""Measured runs as they were noted, as a table."""

from __future__ import annotations

from pathlib import Path

from thermsim.bench.runs import Run, Runs, Settled
from thermsim.comparison.choice import AS_IN_FILE
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.numbers import UNKNOWN

COLUMNS = (
    Column("run", right=False), Column("option", right=False), Column("mount", right=False), Column("on load [min]"),
    Column("coolant [C]"), Column("room [C]"), Column("package [W]"), Column("score"), Column("fans [1/min]"),
    Column("pump [%]"), Column("readings"), Column("highest [C]"), Column("lowest [C]"),
    Column("settled after [min]"),
)  # fmt: skip


def runs_blocks(found: Runs) -> list[Block]:
    """One line a run, and what was noticed in reading them; columns that no run fills in are left out."""
    rows = [_cells(run) for run in found.runs]
    filled = [place for place in range(len(COLUMNS)) if any(row[place] != UNKNOWN for row in rows)]
    table = Block(
        f"Runs of {Path(found.source).name}",
        columns=tuple(COLUMNS[place] for place in filled),
        rows=tuple(tuple(row[place] for place in filled) for row in rows),
    )
    return [table, Block("Remarks", notes=found.remarks)] if found.remarks else [table]


def _cells(run: Run) -> tuple[str, ...]:
    on_load_min = None if run.rest_s is None else run.rest_s / 60.0
    noted = (on_load_min, run.coolant_C, run.room_C, run.package_W, run.score, run.fans_rpm, run.pump_percent)
    values = list(run.readings.values())
    ends = (max(values), min(values)) if values else (None, None)
    last = UNKNOWN if run.settled is None else _settled(run.settled)
    return (
        run.name, run.option or AS_IN_FILE, run.mount, *map(_number, noted), str(len(values)), *map(_number, ends), last
    )  # fmt: skip


def _settled(of_log: Settled) -> str:
    return "not" if of_log.after_s is None else f"{of_log.after_s / 60.0:.3g}"


def _number(value: float | None) -> str:
    return UNKNOWN if value is None else f"{value:.5g}"

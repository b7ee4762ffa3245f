"""Runs as the text of a table, as it is read again: of benches that are made up, and runs that are still to come."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from io import StringIO

from thermsim.bench.columns import HEADED, OF_RUNS
from thermsim.bench.runs import Run
from thermsim.comparison.choice import AS_IN_FILE

SECONDS_A_MINUTE = 60.0
HEADINGS = tuple(HEADED.get(column.key, column.key) for column in OF_RUNS)


def table_text(runs: Sequence[Run], readings: Sequence[str], about: Sequence[str] = (), separator: str = ",") -> str:
    """A table with a line of headings and a line a run; what was not noted is left empty.

    readings : names of the columns that hold them; about : remarks, one line each, before the headings
    """
    text = StringIO()
    for remark in about:
        text.write(f"# {remark}\n")
    writer = csv.writer(text, delimiter=separator, lineterminator="\n")
    writer.writerow((*HEADINGS, *readings))
    for run in runs:
        on_load_min = None if run.on_load_s is None else run.on_load_s / SECONDS_A_MINUTE
        noted = (on_load_min, run.coolant_C, run.room_C, run.package_W, run.score, run.fans_rpm, run.pump_percent)
        shown = (run.readings.get(name) for name in readings)
        writer.writerow(
            (run.name, run.option or AS_IN_FILE, run.mount, *map(_cell, noted), run.note, *map(_cell, shown))
        )
    return text.getvalue()


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"

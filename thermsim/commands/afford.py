"""`thermsim afford`: the clock and power at which a reading meets its limit."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    MEMORY,
    OPTION,
    ProgressLine,
    accuracy_option,
    case_of,
    tell,
    tell_slips,
    warn_of_slips,
)
from thermsim.errors import HeatBalanceError, NotConvergedError, NoWayOutError, RunawayError


@click.command()
@CASE
@OPTION
@JSON
@accuracy_option("Mesh doubt of readings at their limit.")
@MEMORY
def afford(case_file: Path, option: str | None, as_json: bool, accuracy: float | None, memory: float | None) -> None:
    """Find the clock and power at which a reading meets its limit, for the base and every option, or for one."""
    from thermsim.limits.afford import afford
    from thermsim.report.text.afford_table import document

    case = case_of(case_file, option)
    warn_of_slips(case, options=True)
    try:
        with ProgressLine(quiet=as_json) as progress:
            found = afford(case, accuracy_K=accuracy, memory_GB=memory, progress=progress)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    tell(found, document, as_json)

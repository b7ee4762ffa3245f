"""`thermsim afford`: the clock and power at which a reading meets its limit."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    ProgressLine,
    accuracy_option,
    case_of,
    console,
    print_json,
    tell_slips,
    warn_of_slips,
)
from thermsim.errors import HeatBalanceError, NotConvergedError, NoWayOutError, RunawayError


@click.command()
@CASE
@JSON
@accuracy_option("Mesh doubt of readings at their limit.")
def afford(case_file: Path, as_json: bool, accuracy: float | None) -> None:
    """Find the clock and power at which a reading meets its limit, for the base and every option."""
    from thermsim.limits.afford import afford
    from thermsim.report.text.afford_table import document
    from thermsim.report.text.shown import show

    case = case_of(case_file, None)
    warn_of_slips(case, options=True)
    try:
        with ProgressLine(quiet=as_json) as progress:
            found = afford(case, accuracy_K=accuracy, progress=progress)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    if as_json:
        print_json(document(found))
    else:
        show(found, console())

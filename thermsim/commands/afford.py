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
    needs_folder,
    out_option,
    replace_option,
    tell,
    tell_files,
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
@out_option("Write answers, clocks and a picture.")
@replace_option("Let DIR lose the answer for another case or option.")
def afford(
    case_file: Path,
    option: str | None,
    as_json: bool,
    accuracy: float | None,
    memory: float | None,
    folder: Path | None,
    replace: bool,
) -> None:
    """Find the clock and power at which a reading meets its limit, for the base and every option, or for one."""
    from thermsim.limits.afford import afford
    from thermsim.report.text.afford_table import document

    needs_folder(folder, replace=replace)
    case = case_of(case_file, option)
    if folder is not None:
        from thermsim.report.files.afford_export import check_afford_target

        check_afford_target(case, folder, replace)
    warn_of_slips(case, options=True)
    try:
        with ProgressLine(quiet=as_json) as progress:
            found = afford(case, accuracy_K=accuracy, memory_GB=memory, progress=progress)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files.afford_export import write_afford

        written = write_afford(found, folder, replace=replace)
    tell(found, document, as_json)
    if folder is not None:
        tell_files(written, folder, as_json)

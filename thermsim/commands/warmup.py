"""`thermsim warmup`: how the temperatures of a case rise after its load comes on, and when they have settled."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    MEMORY,
    OPTION,
    FiniteRange,
    ProgressLine,
    accuracy_option,
    case_of,
    needs_folder,
    tell,
    tell_files,
    tell_slips,
)
from thermsim.errors import HeatBalanceError, NotConvergedError, NoWayOutError, RunawayError

SECONDS = FiniteRange(min=1e-7, unit="s")


@click.command()
@CASE
@OPTION
@JSON
@click.option(
    "--from",
    "from_s",
    metavar="SECONDS",
    type=SECONDS,
    default=1e-3,
    show_default=True,
    help="First time; a unit may stand behind it, such as 5ms.",
)
@click.option(
    "--until",
    "until_s",
    metavar="SECONDS",
    type=SECONDS,
    default=1e3,
    show_default=True,
    help="Last time, such as 5min.",
)
@click.option(
    "--settled", metavar="KELVIN", type=FiniteRange(min=1e-4, unit="K"), default=1.0, show_default=True,
    help="How near to its end an answer is called settled.",
)  # fmt: skip
@accuracy_option("Refine until mesh and time doubt are below, at all times.")
@MEMORY
@click.option(
    "--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help="Write curves, result and pictures."
)
@click.option("--replace", is_flag=True, help="Let DIR lose the warm-up of another case or option.")
def warmup(
    case_file: Path,
    option: str | None,
    as_json: bool,
    from_s: float,
    until_s: float,
    settled: float,
    accuracy: float | None,
    memory: float | None,
    folder: Path | None,
    replace: bool,
) -> None:
    """Follow the temperatures of a case after all of its heat comes on at once, each with its doubts."""
    from thermsim.warming.warmup import warmup

    needs_folder(folder, replace=replace)
    case = case_of(case_file, option)
    if folder is not None:
        from thermsim.report.files.warmup_export import check_warmup_target

        check_warmup_target(case, folder, replace)
    try:
        with ProgressLine(quiet=as_json) as progress:
            found = warmup(
                case, from_s, until_s, settled_K=settled, accuracy_K=accuracy, memory_GB=memory, progress=progress
            )
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files.warmup_export import write_warmup

        written = write_warmup(found, folder, replace=replace)
    from thermsim.report.data.warmup_result import document

    tell(found, document, as_json)
    if folder is not None:
        tell_files(written, folder, as_json)

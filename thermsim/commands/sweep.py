"""`thermsim sweep`: temperatures over a range of one or two numbers."""

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
    warn_of_slips,
)


@click.command()
@CASE
@OPTION
@JSON
@click.option(
    "--vary",
    "varied",
    metavar="PATH LOW HIGH COUNT",
    type=(str, str, str, int),
    multiple=True,
    required=True,
    help="COUNT values of one number, such as die.thickness_mm 0.3 0.8 11 (or 300um 0.8mm); twice for a map.",
)
@click.option("--log", "is_log", is_flag=True, help="Let the values rise in even ratios instead of even steps.")
@click.option("--watch", "watched", metavar="WORDS", multiple=True, help="What is asked, such as `reading C5`.")
@click.option("--same-height", metavar="PART", help="Let the thickness of PART keep the height of the stack.")
@out_option("Write points, result and picture.")
@accuracy_option("Refine until the mesh doubts are below.")
@MEMORY
@replace_option("Let DIR lose another sweep.")
def sweep(
    case_file: Path,
    option: str | None,
    as_json: bool,
    varied: tuple[tuple[str, str, str, int], ...],
    is_log: bool,
    watched: tuple[str, ...],
    same_height: str | None,
    folder: Path | None,
    accuracy: float | None,
    memory: float | None,
    replace: bool,
) -> None:
    """Follow temperatures over a range of one or two numbers, and find where they are lowest."""
    from thermsim.sweeps.sweep import Vary, sweep

    needs_folder(folder, replace=replace)
    case = case_of(case_file, option)
    if folder is not None:
        from thermsim.report.files.sweep_export import check_sweep_target

        check_sweep_target(case, [path for path, *_ in varied], same_height, folder, replace)
    warn_of_slips(case)
    vary = [Vary(*one, is_log=is_log) for one in varied]
    with ProgressLine(quiet=as_json) as progress:
        found = sweep(
            case,
            vary,
            asked=watched,
            same_height=same_height,
            accuracy_K=accuracy,
            memory_GB=memory,
            progress=progress,
        )
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files.sweep_export import write_sweep

        written = write_sweep(found, folder, replace=replace)
    from thermsim.report.text.sweep_table import document

    tell(found, document, as_json)
    if folder is not None:
        tell_files(written, folder, as_json)

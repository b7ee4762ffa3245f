"""`thermsim compare`: options against a base, each gain with its interval and a verdict."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    MEMORY,
    FiniteRange,
    ProgressLine,
    accuracy_option,
    case_of,
    needs_folder,
    out_option,
    replace_option,
    tell,
    tell_files,
    tell_slips,
)
from thermsim.errors import (
    HeatBalanceError,
    InterruptedStudyError,
    JournalError,
    NotConvergedError,
    NoWayOutError,
    RunawayError,
)


@click.command()
@CASE
@JSON
@click.option("--base", metavar="OPTION", help="Compare with this option, which is built already.")
@click.option("--option", "options", metavar="NAME", multiple=True, help="Only this option; again for more.")
@click.option("--samples", metavar="N", type=click.IntRange(min=1), help="Of the tolerances (1024; 256 at least).")
@click.option("--coverage", metavar="SHARE", type=FiniteRange(0.5, 0.999), help="Of the intervals (0.9).")
@click.option("--seed", metavar="N", type=click.IntRange(min=0), help="Of the samples; the same seed, the same result.")
@click.option("--workers", metavar="N", type=click.IntRange(min=1), help="Processes (one a processor).")
@click.option("--dask", "cluster", metavar="ADDRESS", help="Send the samples to this cluster instead.")
@accuracy_option("Mesh doubt of each case.")
@MEMORY
@click.option(
    "--accept-danger",
    "accepted",
    metavar="OPTION",
    multiple=True,
    help="Judge it although gallium meets aluminium.",
)
@out_option("Write the report, results and a journal.")
@click.option("--resume", is_flag=True, help="Go on with the journal in DIR.")
@replace_option("Let DIR lose another study.")
def compare(
    case_file: Path,
    as_json: bool,
    base: str | None,
    options: tuple[str, ...],
    folder: Path | None,
    workers: int | None,
    cluster: str | None,
    accuracy: float | None,
    memory: float | None,
    accepted: tuple[str, ...],
    resume: bool,
    replace: bool,
    **chosen: Any,
) -> None:
    """Judge options against a base: gain, interval, what carries the doubt, and whether it is worth it."""
    from contextlib import ExitStack

    from thermsim.comparison.compare import compare, identity
    from thermsim.run.journal import FILE, Journal

    needs_folder(folder, resume=resume, replace=replace)
    if resume and replace:
        raise click.UsageError("--resume goes on with the journal in DIR, --replace begins anew: give one of them")
    if cluster is not None and workers is not None:
        raise click.UsageError("--workers are processes here, --dask sends all to a cluster: give one of them")
    case = case_of(case_file, None)
    if base is not None and base in options:
        raise click.UsageError(f"{base!r} is the base: name other options, or none for all")
    if resume and folder is not None and not (folder / FILE).exists():
        raise JournalError(f"there is no journal in {folder} to go on with", "check the name, or leave out --resume")
    given = {key: value for key, value in chosen.items() if value is not None}
    if folder is not None:
        from thermsim.report.files.compare_export import check_target

        check_target(case, folder, base=base, options=options or None, replace=replace or resume)
    with ExitStack() as stack:
        journal = None
        if folder is not None:
            study = identity(case, base=base, options=options or None, accuracy_K=accuracy, memory_GB=memory, **given)
            journal = stack.enter_context(Journal.open(folder, study, resume=resume, replace=replace))
        progress = stack.enter_context(ProgressLine(quiet=as_json))
        try:
            found = compare(
                case,
                base=base,
                options=options or None,
                accuracy_K=accuracy,
                memory_GB=memory,
                accept_danger=accepted,
                workers=workers,
                cluster=cluster,
                journal=journal,
                progress=progress,
                **given,
            )
        except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
            tell_slips(case)
            raise
        except KeyboardInterrupt:  # between the tasks, where `run` does not hear it
            if journal is None:
                raise
            raise _interrupted(journal.path) from None
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files.compare_export import PAGE, write

        try:
            written = write(found, folder, replace=replace or resume)
        except KeyboardInterrupt:
            raise _interrupted(folder / FILE) from None
    from thermsim.report.data.compare_result import document

    tell(found, document, as_json)
    if folder is not None:
        tell_files(written, folder, as_json, PAGE)


def _interrupted(journal: Path) -> InterruptedStudyError:
    return InterruptedStudyError(
        "interrupted: nothing half-written is left",
        f"the tasks that are finished are kept in {journal}; the same command with `--resume` goes on",
    )

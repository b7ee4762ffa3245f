"""The commands that solve many cases: options compared, ranges swept, clocks afforded."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from thermsim.errors import HeatBalanceError, JournalError, NotConvergedError, NoWayOutError, RunawayError
from thermsim.terminal import (
    CASE,
    JSON,
    OPTION,
    FiniteRange,
    Progress,
    case_of,
    console,
    print_json,
    tell_slips,
    warn_of_slips,
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
@click.option("--accuracy", metavar="KELVIN", type=FiniteRange(min=1e-4), help="Mesh doubt of each case.")
@click.option("--memory", metavar="GB", type=FiniteRange(min=0.01), help="What grids may take.")
@click.option(
    "--accept-danger",
    "accepted",
    metavar="OPTION",
    multiple=True,
    help="Judge it although gallium meets aluminium.",
)
@click.option(
    "--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help="Write the report, results and a journal."
)
@click.option("--resume", is_flag=True, help="Go on with the journal in DIR.")
@click.option("--replace", is_flag=True, help="Let DIR lose another study.")
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

    from thermsim.study.compare import compare, identity
    from thermsim.study.journal import FILE, Journal
    from thermsim.study.workers import progress_line, run

    case = case_of(case_file, None)
    if resume and folder is None:
        raise click.UsageError("--resume goes on with the journal of a folder: give it by --out")
    if base is not None and base in options:
        raise click.UsageError(f"{base!r} is the base: name other options, or none for all")
    if resume and folder is not None and not (folder / FILE).exists():
        raise JournalError(f"there is no journal in {folder} to go on with", "check the name, or leave out --resume")
    given = {key: value for key, value in chosen.items() if value is not None}
    if folder is not None:
        from thermsim.report.compare_export import check_target

        check_target(case, folder, base=base, options=options or None, replace=replace or resume)
    progress = Progress(quiet=as_json)
    with ExitStack() as stack:
        journal = None
        if folder is not None:
            study = identity(case, base=base, options=options or None, accuracy_K=accuracy, memory_GB=memory, **given)
            journal = stack.enter_context(Journal.open(folder, study, resume=resume, replace=replace))
        watch = stack.enter_context(progress)
        try:
            found = compare(
                case,
                base=base,
                options=options or None,
                accuracy_K=accuracy,
                memory_GB=memory,
                accept_danger=accepted,
                machinery=lambda make, tasks: run(
                    make,
                    tasks,
                    workers=workers,
                    journal=journal,
                    cluster=cluster,
                    watch=lambda *state: progress.say(progress_line(*state)),
                ),
                watch=lambda name, step, worst: watch(step, worst),
                **given,
            )
        except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
            tell_slips(case)
            raise
    if as_json:
        from thermsim.report.compare_result import document

        print_json(document(found))
    else:
        from thermsim.report.compare_table import show

        show(found, console())
    if folder is not None:
        from thermsim.report.compare_export import PAGE, write

        written = write(found, folder, replace=replace or resume)
        click.echo(f"{len(written)} files in {folder}: open {folder / PAGE}", err=as_json)


@click.command()
@CASE
@OPTION
@JSON
@click.option(
    "--vary",
    "varied",
    metavar="PATH LOW HIGH COUNT",
    type=(str, float, float, int),
    multiple=True,
    required=True,
    help="COUNT values of one number, such as die.thickness_mm 0.3 0.8 11; twice for a map.",
)
@click.option("--log", "is_log", is_flag=True, help="Let the values rise in even ratios instead of even steps.")
@click.option("--watch", "watched", metavar="WORDS", multiple=True, help="What is asked, such as `reading C5`.")
@click.option("--same-height", metavar="PART", help="Let the thickness of PART keep the height of the stack.")
@click.option(
    "--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help="Write points, result and picture."
)
@click.option(
    "--accuracy", metavar="KELVIN", type=FiniteRange(min=1e-4), help="Refine until the mesh doubts are below."
)
@click.option("--replace", is_flag=True, help="Let DIR lose another sweep.")
def sweep(
    case_file: Path,
    option: str | None,
    as_json: bool,
    varied: tuple[tuple[str, float, float, int], ...],
    is_log: bool,
    watched: tuple[str, ...],
    same_height: str | None,
    folder: Path | None,
    accuracy: float | None,
    replace: bool,
) -> None:
    """Follow temperatures over a range of one or two numbers, and find where they are lowest."""
    from thermsim.study.sweep import Vary, sweep

    case = case_of(case_file, option)
    if folder is not None:
        from thermsim.report.sweep_export import check_sweep_target

        check_sweep_target(case, [path for path, *_ in varied], same_height, folder, replace)
    warn_of_slips(case)
    vary = [Vary(*one, is_log=is_log) for one in varied]
    progress = Progress(quiet=as_json)
    with progress as watch:
        found = sweep(
            case,
            vary,
            watch=watched,
            same_height=same_height,
            accuracy_K=accuracy,
            tell_step=watch,
            tell=progress.say,
        )
    if as_json:
        from thermsim.report.sweep_table import document

        print_json(document(found))
    else:
        from thermsim.report.sweep_table import show_sweep

        show_sweep(found, console())
    if folder is not None:
        from thermsim.report.sweep_export import write_sweep

        click.echo(f"{len(write_sweep(found, folder, replace=replace))} files in {folder}", err=as_json)


@click.command()
@CASE
@JSON
@click.option("--accuracy", metavar="KELVIN", type=FiniteRange(min=1e-4), help="Mesh doubt of readings at their limit.")
def afford(case_file: Path, as_json: bool, accuracy: float | None) -> None:
    """Find the clock and power at which a reading meets its limit, for the base and every option."""
    from thermsim.report.afford_table import document, show_affordance
    from thermsim.study.afford import afford

    case = case_of(case_file, None)
    warn_of_slips(case, options=True)
    try:
        with Progress(quiet=as_json) as watch:
            found = afford(case, accuracy_K=accuracy, watch=watch)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    if as_json:
        print_json(document(found))
    else:
        show_affordance(found, console())


STUDIES = (compare, sweep, afford)

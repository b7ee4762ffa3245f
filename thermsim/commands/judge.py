"""`thermsim judge`: which measured runs may be compared, and what each change bought."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    ProgressLine,
    case_of,
    needs_folder,
    out_option,
    replace_option,
    tell,
    tell_files,
    write_new,
)
from thermsim.errors import NotComparableError

MOST_PLANNED = 20  # mounts of each that a plan holds: more are no plan for a bench


@click.command()
@CASE
@JSON
@click.option(
    "--plan",
    "plan_file",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the runs to make next, in their order, as a table to be filled in.",
)
@click.option(
    "--mounts",
    metavar="NUMBER",
    type=click.IntRange(1, MOST_PLANNED),
    help="With --plan: so many more mounts of each; unless given, those that would settle it in 80 of 100 benches.",
)
@out_option("Write page, result, runs and pictures.")
@replace_option("Let DIR lose the judgement of another case or table.")
def judge(
    case_file: Path, as_json: bool, plan_file: Path | None, mounts: int | None, folder: Path | None, replace: bool
) -> None:
    """Judge measured runs: which may be compared, what each change bought, and how many mounts settle it."""
    if mounts is not None and plan_file is None:
        raise click.UsageError("--mounts says how many a plan holds: give --plan with it")
    needs_folder(folder, replace=replace)
    case = case_of(case_file, None)
    from thermsim.bench.read_runs import read_runs
    from thermsim.judgement.judge import judge as judged

    runs = read_runs(case)
    if folder is not None:
        from thermsim.report.files.judge_export import check_judgement_target

        check_judgement_target(case, folder, Path(runs.source).name, replace)
    with ProgressLine(quiet=as_json) as progress:
        found = judged(case, runs, progress=progress)
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files.judge_export import write_judgement

        written = write_judgement(found, folder, replace=replace)
    planned = None
    if plan_file is not None:
        from thermsim.judgement.next_runs import next_runs

        planned = next_runs(found, mounts)
        write_new(plan_file, planned.csv)
    from thermsim.report.data.judge_result import document

    tell(found, document, as_json)
    if folder is not None:
        tell_files(written, folder, as_json)
    if plan_file is not None and planned is not None:
        click.echo(f"{len(planned.runs)} runs to make: {plan_file}", err=True)
    if found.bought is None:
        raise NotComparableError(found.why_not.removesuffix("."))

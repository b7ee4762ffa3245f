"""`thermsim start`: a commented case to begin from, a sheet of measurements and the case that it describes, or an empty
table of runs."""

from __future__ import annotations

import os
from pathlib import Path

import click

from thermsim.commands.terminal import write_new
from thermsim.start.kinds import KINDS, starter_text

LIKE = tuple(KINDS)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--like", metavar="KIND", type=click.Choice(LIKE),
    help="Kind of case: bare-die or slice; soldered-desktop unless given.",
)  # fmt: skip
@click.option("--sheet", is_flag=True, help="Write a sheet of measurements to FILE, to print and fill in (CSV).")
@click.option(
    "--from-measurements", "measured", metavar="SHEET", type=click.Path(path_type=Path),
    help="Write the case that such a sheet describes, once filled in.",
)  # fmt: skip
@click.option(
    "--runs", "runs_of", metavar="CASE", type=click.Path(path_type=Path),
    help="Write an empty table of runs for the readings and options of CASE, to fill in at the bench (CSV).",
)  # fmt: skip
def start(file: Path, like: str | None, sheet: bool, measured: Path | None, runs_of: Path | None) -> None:
    """Write a commented case to FILE that runs as it is, to begin from."""
    if (like is not None) + sheet + (measured is not None) + (runs_of is not None) > 1:
        raise click.UsageError(
            "--like, --sheet, --from-measurements and --runs are different beginnings: give one of them"
        )
    if measured is not None:
        from thermsim.start.sheet import case_text

        text = case_text(measured)
    elif runs_of is not None:
        from thermsim.bench.next_runs.empty_table import empty_table
        from thermsim.case.load import read_case

        named = Path(os.path.relpath(file, runs_of.parent)).as_posix()  # as the case names it
        text = empty_table(read_case(runs_of), named)
    elif sheet:
        from thermsim.start.sheet import SHEET

        text = SHEET
    else:
        text = starter_text(like or LIKE[0])
    write_new(file, text)
    if sheet:
        click.echo(f"{file} is ready. Fill it in, then:\n  thermsim start my-chip.yaml --from-measurements {file}")
        return
    if runs_of is not None:
        click.echo(f"{file} is ready. Fill it in, and name it in {runs_of}:\n  bench: {{runs: {named}}}")
        return
    commands = [f"  thermsim {name} {file}" for name in ("inspect", "predict", *(() if measured else ("compare",)))]
    others = [f"Other kinds: {', '.join(f'--like {kind}' for kind in LIKE if kind != (like or LIKE[0]))}"]
    click.echo("\n".join([f"{file} is ready. Next:", *commands, *(() if measured else others)]))

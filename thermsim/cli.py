"""The command `thermsim`: reads arguments, calls the floors below, prints, and turns errors into exit codes.

Everything heavy is imported inside the command that needs it, so that `--help` stays quick.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from thermsim import __version__
from thermsim.errors import (
    CaseError,
    HeatBalanceError,
    NotConvergedError,
    NoWayOutError,
    ProofError,
    RunawayError,
    ThermsimError,
    WriteError,
)
from thermsim.studies import STUDIES
from thermsim.terminal import CASE, JSON, OPTION, FiniteRange, Progress, case_of, console, print_json, tell_slips


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="thermsim", message="%(prog)s %(version)s")
def commands() -> None:
    """Predict how a chip's die and lid spread its heat, and how sure that is."""


@commands.command()
@click.argument("file", type=click.Path(path_type=Path))
def start(file: Path) -> None:
    """Write a commented case to FILE that runs as it is, to begin from."""
    from thermsim.case.starter import starter_text

    try:
        with file.open("x", encoding="utf-8", newline="\n") as new:
            new.write(starter_text())
    except FileExistsError:
        raise WriteError(f"{file} exists already", "choose another name: nothing is overwritten") from None
    except OSError as problem:
        raise WriteError(
            f"{file} cannot be written: {problem.strerror}", "choose a folder that you may write to"
        ) from None
    click.echo(f"{file} is ready. Next:\n  thermsim inspect {file}\n  thermsim predict {file}")


@commands.command()
@click.argument("name", required=False)
@JSON
def materials(name: str | None, as_json: bool) -> None:
    """Show the catalogue of materials and joint classes, or one entry: value, range, source, how sure."""
    from thermsim.materials.catalogue import rows
    from thermsim.report.tables import show_materials

    found = rows(name)
    if as_json:
        print_json(found)
    else:
        show_materials(found, console(), whole=name is not None)


@commands.command()
@CASE
@OPTION
@JSON
@click.option(
    "--picture", type=click.Path(path_type=Path), help="Also draw the stack to scale into this PNG or SVG file."
)
def inspect(case_file: Path, option: str | None, as_json: bool, picture: Path | None) -> None:
    """Measure a case without solving it: heights, areas, masses, power, likely slips."""
    from thermsim.study.measure import measure

    case = case_of(case_file, option)
    found = measure(case)
    if as_json:
        print_json(found.to_dict())
    else:
        from thermsim.report.drawing import drawing
        from thermsim.report.tables import show_measurements

        there = console()
        there.print(drawing(case, there.width), markup=False, highlight=False)
        show_measurements(found, there)
    if picture is not None:
        from thermsim.report.export import write_stack

        write_stack(case, picture)


@commands.command()
@CASE
@OPTION
@JSON
@click.option(
    "--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help="Write results, field and pictures."
)
@click.option("--accuracy", metavar="KELVIN", type=FiniteRange(min=1e-4), help="Refine until the mesh doubt is below.")
@click.option(
    "--memory", metavar="GB", type=FiniteRange(min=0.01), help="What grids may take (4, or most of what is free)."
)
@click.option("--replace", is_flag=True, help="Let DIR lose the result of another case or option.")
@click.option("--volume", is_flag=True, help="Write field.vtr however large it is.")
def predict(
    case_file: Path,
    option: str | None,
    as_json: bool,
    folder: Path | None,
    accuracy: float | None,
    memory: float | None,
    replace: bool,
    volume: bool,
) -> None:
    """Predict the temperatures of a case, each with its mesh doubt, and the heat balance."""
    from thermsim.study.predict import predict

    case = case_of(case_file, option)
    if folder is not None:
        from thermsim.report.export import check_target

        check_target(case, folder, replace=replace)
    try:
        with Progress(quiet=as_json) as watch:
            prediction = predict(case, accuracy_K=accuracy, memory_GB=memory, watch=watch)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    if as_json:
        from thermsim.report.result import result

        print_json(result(prediction))
    else:
        from thermsim.report.tables import show

        show(prediction, console())
    if folder is not None:
        from thermsim.report.export import VOLUME, write

        written = write(prediction, folder, replace=replace, volume=True if volume else None)
        click.echo(f"{len(written)} files in {folder}", err=as_json)
        if folder / VOLUME not in written:
            click.echo(f"{VOLUME} is left out: {prediction.steps[-1].cells:,} cells; --volume writes it", err=as_json)


@commands.command()
@JSON
@click.option("--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help="Write the page and its figures.")
@click.option(
    "--honesty", "stacks", metavar="N", type=click.IntRange(min=1), help="Also judge the mesh doubt on N random stacks."
)
@click.option(
    "--cases", "cases", metavar="DIR", type=click.Path(path_type=Path), help="Folder of the cases, if not found."
)
def prove(as_json: bool, folder: Path | None, stacks: int | None, cases: Path | None) -> None:
    """Hold this installation against published references: one table, and with --out one page."""
    from thermsim.proof.document import document
    from thermsim.proof.honesty import judge
    from thermsim.proof.published import prove
    from thermsim.proof.shipped import cases_folder
    from thermsim.report.proof_table import table

    progress, honesty = Progress(quiet=as_json), None
    with progress:
        proof = prove(cases_folder(cases), lambda title, share: progress.say(f"{100 * share:.0f} %, {title}"))
        if stacks is not None:
            honesty = judge(stacks, watch=lambda number: progress.say(f"random stack {number + 1} of {stacks}"))
    found = document(proof, honesty)
    if as_json:
        print_json(found)
    else:
        for line in table(found):
            click.echo(line)
    if folder is not None:
        from thermsim.report.proof_page import write

        written = write(found, folder)
        click.echo(f"{len(written)} files in {folder}: open {written[0]}", err=as_json)
    if not found["holds"]:
        raise ProofError(
            f"{found['outside']} of {len(found['lines'])} published references are missed, or a gate does not hold",
            "do not trust this installation; run the tests, and report the table with its versions",
        )


for study in STUDIES:
    commands.add_command(study)


def main() -> None:
    """Run the command; every failure a user can meet becomes its message and its exit code."""
    try:
        commands(standalone_mode=False)
    except CaseError as error:
        count = len(error.faults)
        click.echo(f"{error}\n{count} fault{'s' if count > 1 else ''}: nothing was computed", err=True)
        sys.exit(error.exit_code)
    except ThermsimError as error:
        click.echo(f"thermsim: {error}", err=True)
        sys.exit(error.exit_code)
    except click.exceptions.Exit as leaving:
        sys.exit(leaving.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        click.echo("thermsim: stopped; nothing half-written is left", err=True)
        sys.exit(130)
    except BrokenPipeError:
        # The reader of a pipe went away (`| head`): no fault; keep the interpreter from flushing into it again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

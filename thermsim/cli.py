"""The command `thermsim`: reads arguments, calls the floors below, prints, and turns errors into exit codes.

Everything heavy is imported inside the command that needs it, so that `--help` stays quick.
"""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

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

if TYPE_CHECKING:
    from rich.console import Console

    from thermsim.case.schema import Case

COMPILES_AFTER_S = 3.0

CASE = click.argument("case_file", metavar="CASE", type=click.Path(path_type=Path))
OPTION = click.option("--option", "option", metavar="NAME", help="Take this option of the case instead of its base.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON for programs instead of tables.")


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="thermsim", message="%(prog)s %(version)s")
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
        _print_json(found)
    else:
        show_materials(found, _console(), whole=name is not None)


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

    case = _case(case_file, option)
    found = measure(case)
    if as_json:
        _print_json(found.to_dict())
    else:
        from thermsim.report.drawing import drawing
        from thermsim.report.tables import show_measurements

        console = _console()
        console.print(drawing(case, console.width), markup=False, highlight=False)
        show_measurements(found, console)
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
@click.option(
    "--accuracy", metavar="KELVIN", type=click.FloatRange(min=1e-4), help="Refine until the mesh doubt is below."
)
@click.option(
    "--memory", metavar="GB", type=click.FloatRange(min=0.01), help="What grids may take (4, or most of what is free)."
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

    case = _case(case_file, option)
    if folder is not None:
        from thermsim.report.export import check_target

        check_target(case, folder, replace=replace)
    try:
        with _progress(quiet=as_json) as watch:
            prediction = predict(case, accuracy_K=accuracy, memory_GB=memory, watch=watch)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        _tell_slips(case)
        raise
    if as_json:
        from thermsim.report.result import result

        _print_json(result(prediction))
    else:
        from thermsim.report.tables import show

        show(prediction, _console())
    if folder is not None:
        from thermsim.report.export import VOLUME, write

        written = write(prediction, folder, replace=replace, volume=True if volume else None)
        click.echo(f"{len(written)} files in {folder}", err=as_json)
        if folder / VOLUME not in written:
            click.echo(f"{VOLUME} is left out: {prediction.steps[-1].cells:,} cells; --volume writes it", err=as_json)


@commands.command()
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
    "--accuracy", metavar="KELVIN", type=click.FloatRange(min=1e-4), help="Refine until the mesh doubts are below."
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

    case = _case(case_file, option)
    if folder is not None:
        from thermsim.report.sweep_export import check_sweep_target

        check_sweep_target(case, [path for path, *_ in varied], same_height, folder, replace)
    vary = [Vary(*one, is_log=is_log) for one in varied]
    progress = _progress(quiet=as_json)
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

        _print_json(document(found))
    else:
        from thermsim.report.sweep_table import show_sweep

        show_sweep(found, _console())
    if folder is not None:
        from thermsim.report.sweep_export import write_sweep

        click.echo(f"{len(write_sweep(found, folder, replace=replace))} files in {folder}", err=as_json)


@commands.command()
@CASE
@JSON
@click.option(
    "--accuracy", metavar="KELVIN", type=click.FloatRange(min=1e-4), help="Mesh doubt of readings at their limit."
)
def afford(case_file: Path, as_json: bool, accuracy: float | None) -> None:
    """Find the clock and power at which a reading meets its limit, for the base and every option."""
    from thermsim.report.afford_table import document, show_affordance
    from thermsim.study.afford import afford

    case = _case(case_file, None)
    try:
        with _progress(quiet=as_json) as watch:
            found = afford(case, accuracy_K=accuracy, watch=watch)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        _tell_slips(case)
        raise
    if as_json:
        _print_json(document(found))
    else:
        show_affordance(found, _console())


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

    progress, honesty = _progress(quiet=as_json), None
    with progress:
        proof = prove(cases_folder(cases), lambda title, share: progress.say(f"{100 * share:.0f} %, {title}"))
        if stacks is not None:
            honesty = judge(stacks, watch=lambda number: progress.say(f"random stack {number + 1} of {stacks}"))
    found = document(proof, honesty)
    if as_json:
        _print_json(found)
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


def _case(path: Path, option: str | None) -> Case:
    from thermsim.case.load import read_case
    from thermsim.case.options import with_option

    case = read_case(path)
    return case if option is None else with_option(case, option)


def _tell_slips(case: Case) -> None:
    """Likely slips before a failure: what the solver complains of is often none of the physics."""
    from thermsim.study.slips import slips_of

    slips = [slip for slip in slips_of(case) if slip.severity != "notice"]
    if slips:
        click.echo("Likely slips of this case, which may be the reason:", err=True)
    for slip in slips:
        click.echo(f"  {slip.severity.upper()}: {slip.place}: {slip.message}; {slip.remedy}", err=True)


def _console() -> Console:
    from rich.console import Console

    return Console()


def _print_json(document: Any) -> None:
    import json

    click.echo(json.dumps(document, indent=2, allow_nan=False, ensure_ascii=False))


class _progress:
    """One line on the terminal that tells how far the mesh study is; nothing where nobody watches.

    The first grid takes a fraction of a second unless the solver is compiled for this machine, which happens once:
    where it takes longer, that is said, even where nobody watches.
    """

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet or not sys.stderr.isatty()
        self.timer = threading.Timer(COMPILES_AFTER_S, self._compiling)
        self.timer.daemon = True

    def __enter__(self) -> Any:
        self.timer.start()
        return self._tell

    def __exit__(self, *_: object) -> None:
        self.timer.cancel()
        if not self.quiet:
            click.echo("\r\x1b[K", nl=False, err=True)

    def say(self, text: str) -> None:
        if not self.quiet:
            click.echo(f"\r\x1b[K{text}", nl=False, err=True)

    def _compiling(self) -> None:
        click.echo("compiling the solver for this machine: at first use only, some 15 seconds", err=True)

    def _tell(self, step: Any, worst_K: float) -> None:
        self.timer.cancel()
        doubt = f", worst mesh doubt {worst_K:.3g} K" if worst_K < float("inf") else ""
        self.say(f"grid of {step.cells:,} cells done in {step.seconds:.1f} s{doubt}")

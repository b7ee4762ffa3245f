"""`thermsim step-response`: what a watt in each zone warms every zone by over time, as curves, chains and ladders."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    MEMORY,
    OPTION,
    SECONDS,
    ProgressLine,
    accuracy_option,
    case_of,
    console,
    needs_folder,
    out_option,
    print_json,
    replace_option,
    tell_files,
    tell_slips,
)
from thermsim.errors import HeatBalanceError, NotConvergedError, NoWayOutError, RunawayError, UnknownNameError


@click.command(name="step-response")
@CASE
@OPTION
@click.option(
    "--zone",
    "zones",
    metavar="NAME",
    multiple=True,
    help="Zone whose watt is shown in all zones, with its time constants, ladder and structure function; again for "
    "more. The one with the largest resistance unless given.",
)
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
@accuracy_option("Refine until the case at its own powers is known so well at all times.")
@MEMORY
@out_option("Write response, curves and pictures.")
@replace_option("Let DIR lose the step responses of another case or option.")
def step_response(
    case_file: Path,
    option: str | None,
    zones: tuple[str, ...],
    as_json: bool,
    from_s: float,
    until_s: float,
    accuracy: float | None,
    memory: float | None,
    folder: Path | None,
    replace: bool,
) -> None:
    """Tell Zth, the step response of every zone to a watt in every zone, with doubts, time constants and ladders."""
    needs_folder(folder, replace=replace)
    case = case_of(case_file, option)
    from thermsim.case.faults.wording import did_you_mean, listed
    from thermsim.case.geometry.zones import zones_of
    from thermsim.response.step_response import step_response as respond

    known = [zone.label for zone in zones_of(case)]
    shown = list(dict.fromkeys(zones))
    for zone in shown:
        if zone not in known:
            raise UnknownNameError(f"there is no zone {zone!r}{did_you_mean(zone, known)}", f"known: {listed(known)}")
    if folder is not None:
        from thermsim.report.files.response_export import check_response_target

        check_response_target(case, folder, replace)
    try:
        with ProgressLine(quiet=as_json) as progress:
            found = respond(case, from_s, until_s, accuracy_K=accuracy, memory_GB=memory, progress=progress)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files.response_export import write_response

        written = write_response(found, folder, zone=shown[0] if shown else None, replace=replace)
    if as_json:
        from thermsim.report.data.response_result import document

        print_json(document(found))
    else:
        from thermsim.report.text.response_table import response_blocks
        from thermsim.report.text.tables import show_blocks

        show_blocks(response_blocks(found, shown), console())
    if folder is not None:
        tell_files(written, folder, as_json)

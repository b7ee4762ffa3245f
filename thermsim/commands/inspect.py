"""`thermsim inspect`: what a case says before anything is solved."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import CASE, JSON, OPTION, case_of, console, print_json


@click.command()
@CASE
@OPTION
@JSON
@click.option(
    "--picture", type=click.Path(path_type=Path), help="Also draw the stack to scale into this PNG or SVG file."
)
def inspect(case_file: Path, option: str | None, as_json: bool, picture: Path | None) -> None:
    """Measure a case without solving it: heights, areas, masses, power, likely slips."""
    from thermsim.plausibility.measure import measure

    case = case_of(case_file, option)
    found = measure(case)
    if as_json:
        print_json(found.to_dict())
    else:
        from thermsim.report.drawing.text_stack import drawing
        from thermsim.report.text.shown import show

        there = console()
        there.print(drawing(case, there.width), markup=False, highlight=False)
        show(found, there)
    if picture is not None:
        from thermsim.report.files.export import write_stack

        write_stack(case, picture)

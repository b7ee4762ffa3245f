"""`thermsim prove`: this installation held against published references."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import JSON, ProgressLine, console, out_option, print_json, printing
from thermsim.errors import ProofError


@click.command()
@JSON
@out_option("Write the page and its figures.")
@click.option(
    "--honesty", "stacks", metavar="N", type=click.IntRange(min=1), help="Also judge the mesh doubt on N random stacks."
)
@click.option(
    "--cases", "cases", metavar="DIR", type=click.Path(path_type=Path), help="Folder of the cases, if not found."
)
def prove(as_json: bool, folder: Path | None, stacks: int | None, cases: Path | None) -> None:
    """Hold this installation against published references: one table, and with --out one page."""
    from thermsim.proof.run.document import document
    from thermsim.proof.run.honesty import judge
    from thermsim.proof.run.published import prove
    from thermsim.proof.table.shipped import cases_folder

    if folder is not None:
        from thermsim.report.files.delivery import try_out

        try_out(folder, lambda: None)  # nothing is computed for a folder that cannot be written
    honesty = None
    with ProgressLine(quiet=as_json) as progress:
        proof = prove(cases_folder(cases), progress)
        if stacks is not None:
            honesty = judge(stacks, progress=progress)
    found = document(proof, honesty)
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.page.proof_page import write

        written = write(found, folder)
    with printing():  # the exit code tells whether the proof holds, whoever reads
        if as_json:
            print_json(found)
        else:
            from thermsim.report.text.proof_table import proof_blocks
            from thermsim.report.text.tables import show_blocks

            show_blocks(proof_blocks(found), console())
    if folder is not None:
        click.echo(f"{len(written)} files in {folder}: open {written[0]}", err=as_json)
    if not found["holds"]:
        raise ProofError(
            f"{found['outside']} of {len(found['lines'])} published references are missed, or a gate does not hold",
            "do not trust this installation; run the tests, and report the table with its versions",
        )

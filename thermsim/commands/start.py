"""`thermsim start`: a commented case to begin from."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.errors import WriteError


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
def start(file: Path) -> None:
    """Write a commented case to FILE that runs as it is, to begin from."""
    from thermsim.case.vocabulary.starter import starter_text

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

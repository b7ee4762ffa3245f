"""`thermsim materials`: the catalogue of materials, joint classes and cooler classes."""

from __future__ import annotations

import click

from thermsim.commands.terminal import JSON, console, print_json


@click.command()
@click.argument("name", required=False)
@JSON
def materials(name: str | None, as_json: bool) -> None:
    """Show the catalogue of materials, joints and coolers, or one entry: value, range, source, how sure."""
    from thermsim.materials.catalogue import rows
    from thermsim.report.text.tables import show_materials

    found = rows(name)
    if as_json:
        print_json(found)
    else:
        show_materials(found, console(), whole=name is not None)

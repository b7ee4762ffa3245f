"""Blocks on a terminal (rich) or in a notebook (HTML)."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

from thermsim.report.text.blocks import Block
from thermsim.report.text.inspection import entry_blocks, material_blocks

if TYPE_CHECKING:
    from rich.console import Console


def show_materials(rows: list[dict[str, str]], console: Console, *, whole: bool = False) -> None:
    """Print lines of the catalogue (`thermsim.materials.catalogue.rows`), as a table or each entry in full."""
    show_blocks(entry_blocks(rows) if whole else material_blocks(rows), console)


def show_blocks(blocks: Iterable[Block], console: Console) -> None:
    """Print blocks; nothing in a name is taken for markup, and nothing but a word longer than a line is cut."""
    from rich.text import Text

    from thermsim.report.text.columns import paragraph, table_lines

    rule = "\N{BOX DRAWINGS LIGHT HORIZONTAL}" if console.encoding.startswith("utf") else "-"
    for number, block in enumerate(blocks):
        lines = [*([""] if number else []), *paragraph(block.title, console.width, 0)]
        under = len(lines)
        for line in block.lines:
            lines += paragraph(line, console.width, 2)
        if block.rows:
            lines += ["", *table_lines(block, console.width, rule), *([""] if block.notes else [])]
        for note in block.notes:
            lines += paragraph(note, console.width, 2)
        for at, line in enumerate(lines):
            console.print(Text(line, style="bold" if at < under else ""), soft_wrap=True)


def blocks_html(blocks: Iterable[Block]) -> str:
    """Blocks as HTML; every cell is escaped."""
    return "<div>" + "".join(_block_html(block) for block in blocks) + "</div>"


def _block_html(block: Block) -> str:
    lines = "".join(f"<p>{escape(line)}</p>" for line in block.lines)
    notes = "".join(f"<p><small>{escape(note)}</small></p>" for note in block.notes)
    return f"<h4>{escape(block.title)}</h4>{lines}{_table_html(block)}{notes}"


def _table_html(block: Block) -> str:
    if not block.rows:
        return ""
    sides = ["right" if column.right else "left" for column in block.columns]
    head = "".join(
        f'<th scope="col" style="text-align:{side}">{escape(column.heading)}</th>'
        for column, side in zip(block.columns, sides, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(f'<td style="text-align:{side}">{escape(cell)}</td>' for cell, side in zip(row, sides, strict=True))
        + "</tr>"
        for row in block.rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"

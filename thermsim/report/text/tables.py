"""Blocks on a terminal (rich) or in a notebook (HTML)."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING, Literal

from thermsim.report.text.blocks import Block
from thermsim.report.text.inspection import entry_blocks, material_blocks

if TYPE_CHECKING:
    from rich.console import Console


NARROWEST_NAMES = 10  # characters to which a column of names may shrink


def show_materials(rows: list[dict[str, str]], console: Console, *, whole: bool = False) -> None:
    """Print lines of the catalogue (`thermsim.materials.catalogue.rows`), as a table or each entry in full."""
    show_blocks(entry_blocks(rows) if whole else material_blocks(rows), console)


def show_blocks(blocks: Iterable[Block], console: Console) -> None:
    """Print blocks; nothing in a name is taken for markup."""
    from rich.text import Text

    for number, block in enumerate(blocks):
        if number:
            console.print()
        console.print(Text(block.title, style="bold"))
        for line in block.lines:
            console.print(_indented(line))
        if block.rows:
            console.print(_table(block, console.width))
        for note in block.notes:
            console.print(_indented(note))


def blocks_html(blocks: Iterable[Block]) -> str:
    """Blocks as HTML; every cell is escaped."""
    return "<div>" + "".join(_block_html(block) for block in blocks) + "</div>"


def _indented(line: str) -> object:
    """A line that keeps its indent where it has to be wrapped."""
    from rich.padding import Padding
    from rich.text import Text

    bare = line.lstrip()
    return Padding(Text(bare), (0, 0, 0, 2 + len(line) - len(bare)), expand=False)


def _table(block: Block, width: int) -> object:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    headed = any(column.heading for column in block.columns)
    table = Table(box=box.SIMPLE_HEAD if headed else None, show_header=headed, pad_edge=False, padding=(0, 1, 0, 0))
    widest = _widest(block)
    least = [
        full if column.right else min(full, NARROWEST_NAMES) for column, full in zip(block.columns, widest, strict=True)
    ]
    fits = sum(least) + 2 * len(least) <= width
    for column, full in zip(block.columns, widest, strict=True):
        side: Literal["left", "right"] = "right" if column.right else "left"
        keep = fits and (column.right or full <= NARROWEST_NAMES)
        table.add_column(Text(column.heading), justify=side, overflow="fold", no_wrap=keep)
    for row in block.rows:
        table.add_row(*(Text(cell) for cell in row))
    return table


def _widest(block: Block) -> list[int]:
    """Width of each column if nothing in it is broken."""
    headings = [max(map(len, column.heading.split("\n"))) for column in block.columns]
    return [max([heading, *(len(row[number]) for row in block.rows)]) for number, heading in enumerate(headings)]


def _block_html(block: Block) -> str:
    lines = "".join(f"<p>{escape(line)}</p>" for line in block.lines)
    notes = "".join(f"<p><small>{escape(note)}</small></p>" for note in block.notes)
    return f"<h4>{escape(block.title)}</h4>{lines}{_table_html(block)}{notes}"


def _table_html(block: Block) -> str:
    if not block.rows:
        return ""
    sides = ["right" if column.right else "left" for column in block.columns]
    head = "".join(
        f'<th scope="col" style="text-align:{side}">{escape(column.heading).replace(chr(10), " ")}</th>'
        for column, side in zip(block.columns, sides, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(f'<td style="text-align:{side}">{escape(cell)}</td>' for cell, side in zip(row, sides, strict=True))
        + "</tr>"
        for row in block.rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"

"""Tables and paragraphs as lines of text of any width: no number and no word is broken unless it alone is too long.

A table that is too wide has its headings in several lines, then its names; then it stands in pieces below one
another, each with the first column; and where not even that fits, as a list.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from rich.cells import cell_len, chop_cells

from thermsim.report.text.blocks import Block, Column

GAP = 2  # characters between two columns
SHORTEST_NAMES = 14  # characters below which names are not folded while the table can stand in pieces instead
INDENT = 1
# What stays on one line: a value and its doubt, a number and its unit.
BOUND = re.compile(r"(?<=\d) (?=\+- )|(?<=\+-) (?=\d)|(?<=\d) (?=(?:um|mm|mm2|K|C|W|GHz|GB|%|s)\b|%)")
KEPT = "\N{NO-BREAK SPACE}"  # a blank that is no place to break a line


def wrapped(text: str, width: int) -> list[str]:
    """Lines of at most `width` characters, broken at blanks; only a word that is longer than a line is cut."""
    lines = [""]
    for word in BOUND.sub(KEPT, text).split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if cell_len(longer) <= width:
            lines[-1] = longer
            continue
        pieces = [word] if cell_len(word) <= width else _cut(word, width)
        lines = [*lines, *pieces] if lines[-1] else pieces
    return [line.replace(KEPT, " ") for line in lines]


def _cut(word: str, width: int) -> list[str]:
    """A chain of bound numbers at its blanks, anything else wherever a line ends."""
    if KEPT not in word:
        return chop_cells(word, max(width, 1))
    return [piece for part in word.split(KEPT) for piece in chop_cells(part, max(width, 1))]


def paragraph(line: str, width: int, indent: int) -> Iterator[str]:
    """A line that keeps its own indent, and `indent` besides, wherever it is wrapped."""
    bare = line.lstrip(" ")
    before = min(indent + len(line) - len(bare), width // 3)
    yield from (f"{' ' * before}{each}".rstrip() for each in wrapped(bare, width - before))


def table_lines(block: Block, width: int, rule: str) -> Iterator[str]:
    """The table of a block in lines of at most `width` characters."""
    room = width - INDENT
    groups = _groups(block, room)
    if groups is None:
        yield from _list(block, width)
        return
    for number, group in enumerate(groups):
        if number:
            yield ""
        columns = [block.columns[at] for at in group]
        rows = [[row[at] for at in group] for row in block.rows]
        for line in _laid_out(columns, rows, room, rule):
            yield f"{' ' * INDENT}{line}".rstrip()


def _groups(block: Block, room: int) -> list[list[int]] | None:
    """Which columns stand abreast; None where a list is all that fits."""
    every = list(range(len(block.columns)))

    def fits(group: Sequence[int], shortest: int) -> bool:
        least = [_least(block.columns[at], [row[at] for row in block.rows], shortest) for at in group]
        return sum(least) + GAP * (len(least) - 1) <= room

    if fits(every, SHORTEST_NAMES):
        return [every]
    if len(every) == 1:
        return None
    groups: list[list[int]] = []
    for at in every[1:]:
        if groups and fits([*groups[-1], at], SHORTEST_NAMES):
            groups[-1].append(at)
        elif fits([0, at], 0):
            groups.append([0, at])
        else:
            return None
    return groups or None


def _least(column: Column, cells: Sequence[str], shortest: int) -> int:
    """Width below which a column does not go: its numbers, the words of its heading, the longest word of names."""
    heading = max((cell_len(word) for word in column.heading.split()), default=0)
    whole = max(map(cell_len, cells), default=0)
    if column.right:
        return max(heading, whole)
    words = (cell_len(word) for cell in cells for word in BOUND.sub(KEPT, cell).split(" "))
    return max(heading, max(words, default=0), min(whole, shortest))


def _laid_out(columns: Sequence[Column], rows: Sequence[Sequence[str]], room: int, rule: str) -> Iterator[str]:
    by_column = [[row[at] for row in rows] for at in range(len(columns))]
    widths, headings = _widths(columns, by_column, room)
    if any(column.heading for column in columns):
        yield from _abreast(headings, columns, widths, at_bottom=True)
        yield rule * (sum(widths) + GAP * (len(widths) - 1))
    for row in rows:
        yield from _abreast([wrapped(cell, width) for cell, width in zip(row, widths, strict=True)], columns, widths)


def _widths(
    columns: Sequence[Column], by_column: Sequence[Sequence[str]], room: int
) -> tuple[list[int], list[list[str]]]:
    """Widths of columns, and the lines of each heading: one line where all fit, else the units below the names."""
    whole = [max(map(cell_len, cells), default=0) for cells in by_column]
    names = [" ".join(column.heading.split()) for column in columns]
    free = room - GAP * (len(columns) - 1)
    flat = [max(cell_len(name), full) for name, full in zip(names, whole, strict=True)]
    if sum(flat) <= free:
        return flat, [[name] for name in names]
    split = [_name_and_unit(name) for name in names]
    wanted = [max(full, *map(cell_len, parts)) for full, parts in zip(whole, split, strict=True)]
    least = [_least(column, cells, 0) for column, cells in zip(columns, by_column, strict=True)]
    wide = [max(low, full) for low, full in zip(least, whole, strict=True)]
    # Cells stay whole where headings alone can give way; else the widest names are folded first.
    widths = wide if sum(wide) <= free else _narrowed(wide, least, free)
    for at in sorted(range(len(widths)), key=lambda at: wanted[at] - widths[at]):
        widths[at] += max(min(wanted[at] - widths[at], free - sum(widths)), 0)
    return widths, [
        [line for part in parts if part for line in wrapped(part, width)] or [""]
        for parts, width in zip(split, widths, strict=True)
    ]


def _name_and_unit(heading: str) -> tuple[str, str]:
    name, bracket, unit = heading.rpartition("[")
    return (name.strip(), bracket + unit) if bracket and unit.endswith("]") else (heading, "")


def _narrowed(widths: Sequence[int], least: Sequence[int], free: int) -> list[int]:
    found = list(widths)
    while sum(found) > free:
        loose = [at for at in range(len(found)) if found[at] > least[at]]
        if not loose:
            break
        found[max(loose, key=lambda at: found[at])] -= 1
    return found


def _abreast(
    cells: Sequence[Sequence[str]], columns: Sequence[Column], widths: Sequence[int], at_bottom: bool = False
) -> Iterator[str]:
    height = max(map(len, cells))
    filled = [[*[""] * (height - len(cell)), *cell] if at_bottom else [*cell, *[""] * (height - len(cell))]
              for cell in cells]  # fmt: skip
    for line in zip(*filled, strict=True):
        words = []
        for text, column, width in zip(line, columns, widths, strict=True):
            blank = " " * (width - cell_len(text))
            words.append(blank + text if column.right else text + blank)
        yield (" " * GAP).join(words).rstrip()


def _list(block: Block, width: int) -> Iterator[str]:
    """A row after the other: its name, and under it a line a value."""
    for row in block.rows:
        yield from paragraph(row[0], width, INDENT)
        for column, cell in zip(block.columns[1:], row[1:], strict=True):
            if cell.strip():
                heading = " ".join(column.heading.split())
                yield from paragraph(f"{heading}: {cell}" if heading else cell, width, INDENT + 2)

"""Tables and paragraphs at every width of a terminal: nothing breaks inside a number or a word."""

from __future__ import annotations

import io
import re

import pytest
from report_samples import prediction
from rich.console import Console

from thermsim.report.text.blocks import Block, Column
from thermsim.report.text.columns import table_lines, wrapped
from thermsim.report.text.shown import blocks_of, show


@pytest.mark.parametrize("width", [40, 60, 80, 120, 200])
@pytest.mark.parametrize("name", ["package", "slice", "bars"])
def test_every_number_and_word_stays_whole(name: str, width: int) -> None:
    made = prediction(name)
    console = Console(file=io.StringIO(), width=width, color_system=None)
    show(made, console)
    text = console.file.getvalue()
    assert max(map(len, text.splitlines())) <= width
    shown = set(re.split(r"\s+", text))
    for block in blocks_of(made):
        for cell in (cell for row in block.rows for cell in row):
            assert {word for word in cell.split() if len(word) < width - 4} <= shown
            if "+-" in cell:
                assert cell in text


def test_a_table_too_wide_stands_in_pieces_and_then_as_a_list() -> None:
    columns = (Column("zone", right=False), *(Column(f"mean {unit}") for unit in ("[C]", "[K]", "[W]")))
    block = Block("", columns=columns, rows=(("core", "70.93 +- 0.03", "12.00 +- 0.03", "20.14 +- 0.01"),))
    assert len(list(table_lines(block, 80, "-"))) == 3
    pieces = list(table_lines(block, 40, "-"))
    assert sum(line.lstrip().startswith("zone") for line in pieces) == 2
    assert next(iter(table_lines(block, 16, "-"))) == " core"


def test_a_value_and_its_doubt_stay_on_one_line() -> None:
    assert wrapped("it is 70.93 +- 0.03 here", 15) == ["it is", "70.93 +- 0.03", "here"]
    assert wrapped("all of x", 80) == ["all of x"]

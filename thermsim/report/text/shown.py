"""How each result is shown: on a terminal, by `print`, and in a notebook, all from the same blocks."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from thermsim.printable import Printable, as_html, as_text
from thermsim.report.text.tables import blocks_html, show_blocks

if TYPE_CHECKING:
    from rich.console import Console

    from thermsim.report.text.blocks import Block

TEXT_WIDTH = 100  # characters in a line of `print(result)`


# By the class of a result: the file beside this one that has its blocks, and the function that makes them. A file is
# loaded when its result is shown.
BLOCKS = {
    "Prediction": ("blocks", "prediction_blocks"),
    "Measurements": ("inspection", "measurement_blocks"),
    "Comparison": ("compare_table", "comparison_blocks"),
    "Sweep": ("sweep_table", "sweep_blocks"),
    "Affordance": ("afford_table", "affordance_blocks"),
    "Warmup": ("warmup_table", "warmup_blocks"),
    "WarmUps": ("warm_ups_table", "warm_ups_blocks"),
    "StepResponse": ("response_table", "response_blocks"),
    "Runs": ("judge_table", "runs_blocks"),
    "Judgement": ("judge_table", "judgement_blocks"),
}


def blocks_of(result: object) -> list[Block]:
    """What is shown of a result, the most important first.

    Raises TypeError for what has no tables.
    """
    for kind in type(result).__mro__:
        if kind.__name__ in BLOCKS:
            file, function = BLOCKS[kind.__name__]
            found: list[Block] = getattr(import_module(f"{__package__}.{file}"), function)(result)
            return found
    raise TypeError(f"a {type(result).__name__} has no tables")


def show(result: object, console: Console) -> None:
    """Print a result on a console."""
    show_blocks(blocks_of(result), console)


def _text(result: object) -> str:
    from io import StringIO

    from rich.console import Console

    console = Console(file=StringIO(), width=TEXT_WIDTH, color_system=None)
    with console.capture() as captured:
        show(result, console)
    return captured.get().rstrip()


as_text.register(Printable, _text)
as_html.register(Printable, lambda result: blocks_html(blocks_of(result)))

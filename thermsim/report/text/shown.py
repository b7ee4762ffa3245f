"""How each result is shown: on a terminal, by `print`, and in a notebook, all from the same blocks."""

from __future__ import annotations

from functools import singledispatch
from typing import TYPE_CHECKING

from thermsim.bench.runs import Runs
from thermsim.comparison.outcome import Comparison
from thermsim.comparison.warm_ups import WarmUps
from thermsim.judgement.outcome import Judgement
from thermsim.limits.affordance import Affordance
from thermsim.mesh.prediction import Prediction
from thermsim.plausibility.measure import Measurements
from thermsim.printable import as_html, as_text
from thermsim.report.text.afford_table import affordance_blocks
from thermsim.report.text.blocks import Block, prediction_blocks
from thermsim.report.text.compare_table import comparison_blocks
from thermsim.report.text.inspection import measurement_blocks
from thermsim.report.text.judge_table import judgement_blocks, runs_blocks
from thermsim.report.text.response_table import response_blocks
from thermsim.report.text.sweep_table import sweep_blocks
from thermsim.report.text.tables import blocks_html, show_blocks
from thermsim.report.text.warm_ups_table import warm_ups_blocks
from thermsim.report.text.warmup_table import warmup_blocks
from thermsim.response.step_response import StepResponse
from thermsim.sweeps.sweep import Sweep
from thermsim.warming.outcome import Warmup

if TYPE_CHECKING:
    from rich.console import Console

TEXT_WIDTH = 100  # characters in a line of `print(result)`


@singledispatch
def blocks_of(result: object) -> list[Block]:
    """What is shown of a result, the most important first."""
    raise TypeError(f"a {type(result).__name__} has no tables")


blocks_of.register(Prediction, prediction_blocks)
blocks_of.register(Measurements, measurement_blocks)
blocks_of.register(Comparison, comparison_blocks)
blocks_of.register(Sweep, sweep_blocks)
blocks_of.register(Affordance, affordance_blocks)
blocks_of.register(Warmup, warmup_blocks)
blocks_of.register(Runs, runs_blocks)
blocks_of.register(WarmUps, warm_ups_blocks)
blocks_of.register(StepResponse, response_blocks)
blocks_of.register(Judgement, judgement_blocks)


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


for _kind in (Prediction, Measurements, Comparison, Sweep, Affordance, Warmup, WarmUps, StepResponse, Runs, Judgement):
    as_text.register(_kind, _text)
    as_html.register(_kind, lambda result: blocks_html(blocks_of(result)))

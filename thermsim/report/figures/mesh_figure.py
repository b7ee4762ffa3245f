"""The staircase of the mesh study: what each grid said, what they tend to, and the band of doubt."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from thermsim.readout.observable import HOTTEST, Observable, temperatures
from thermsim.report.drawing.style import FAINT, INK, PALE, PAPER, SMALL, SOLID, TEXT, canvas, styled
from thermsim.report.words.numbers import order_in_words, with_doubt
from thermsim.report.words.titles import title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.mesh.prediction import Prediction

PANELS = 4
LEAST_RANGE_K = 0.004  # [K] least length of an axis: smaller differences between grids are not magnified


def chosen(prediction: Prediction) -> list[Observable]:
    """The hottest spot, and the temperatures with the widest doubt."""
    doubts = prediction.doubts
    worst = sorted(temperatures(doubts), key=lambda question: -doubts[question].half_width)
    first: list[Observable] = [HOTTEST]
    # A reading is its zone or probe plus an offset, and the hottest spot lies in a zone: stairs need no twin.
    answers = prediction.answers
    others = [
        question for question in worst if question.kind in ("zone", "probe") and answers[question] != answers[HOTTEST]
    ]
    return first + others[: PANELS - 1]


def mesh(prediction: Prediction, ax: Axes | None = None) -> Figure:
    """Stairs of the hottest spot and of the worst temperatures; on given axes, of the worst alone."""
    with styled():
        if ax is not None:
            stairs(ax, prediction, prediction.worst[0])
            return canvas(ax, 0.0, 0.0)[0]
        return _panels(prediction)


def stairs(ax: Axes, prediction: Prediction, question: Observable) -> None:
    """Answers of all grids over their cells, the value told, and its doubt."""
    doubt = prediction.doubts[question]
    cells = [step.cells for step in prediction.steps]
    values = [step.answers[question] for step in prediction.steps]
    ax.set_xscale("log")
    ax.fill_between(
        [cells[0] / 1.6, cells[-1] * 1.6],
        doubt.value - doubt.half_width,
        doubt.value + doubt.half_width,
        color=PALE,
        lw=0,
        zorder=1,
    )
    ax.plot(cells, values, drawstyle="steps-post", color=FAINT, lw=1.2, zorder=2)
    ax.plot(cells, values, marker="s", ms=5.5, mfc=SOLID, mec=INK, ls="none", zorder=4)
    if math.isfinite(doubt.value):
        ax.axhline(doubt.value, color=INK, lw=1.0, ls="--", zorder=3)
    ax.set_xlim(cells[0] / 1.6, cells[-1] * 1.6)
    shown = [*values, doubt.value - doubt.half_width, doubt.value + doubt.half_width]
    room = max(max(shown) - min(shown), LEAST_RANGE_K)
    middle = 0.5 * (max(shown) + min(shown))
    ax.set_ylim(middle - 0.58 * room, middle + 0.58 * room)
    ax.set_title(
        f"{question}\n{with_doubt(doubt.value, doubt.half_width)} C, {order_in_words(doubt.order)}",
        fontsize=TEXT,
        fontweight="normal",
    )
    _ticks(ax, cells)


def _ticks(ax: Axes, cells: list[int]) -> None:
    from matplotlib.ticker import MaxNLocator, NullLocator, ScalarFormatter

    apart = [cells[0]]
    for number in cells[1:]:
        if math.log(number / apart[-1]) > 0.22 * math.log(2.56 * cells[-1] / cells[0]):
            apart.append(number)
    ax.set_xticks(apart, [f"{number:,}".replace(",", " ") for number in apart])
    ax.xaxis.set_minor_locator(NullLocator())
    ax.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    plain = ScalarFormatter(useOffset=False)
    plain.set_scientific(False)
    ax.yaxis.set_major_formatter(plain)
    ax.set_xlabel("cells of the grid")
    ax.set_ylabel("temperature [C]")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


def _panels(prediction: Prediction) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    questions = chosen(prediction)
    columns = min(len(questions), 2)
    rows = math.ceil(len(questions) / columns)
    width = 4.6 * columns if columns > 1 else 6.6
    words = title_of(prediction.case, f"mesh study, {prediction.status}", int(9.5 * width))
    head = 0.75 + 0.2 * words.count("\n") + 0.2
    height = 2.75 * rows + head + 0.15
    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    for number, question in enumerate(questions, 1):
        stairs(figure.add_subplot(rows, columns, number), prediction, question)
    figure.subplots_adjust(0.115 if columns > 1 else 0.16, 0.95 / height, 0.975, 1.0 - head / height, 0.34, 0.62)
    figure.text(0.02, 1.0 - 0.12 / height, words, va="top", weight="bold", fontsize=TEXT + 1.5)
    key = [
        Line2D([], [], marker="s", ms=5.5, mfc=SOLID, mec=INK, color=FAINT, label="answer of a grid"),
        Line2D([], [], color=INK, lw=1.0, ls="--", label="told"),
        Patch(fc=PALE, label="its mesh doubt"),
    ]
    figure.legend(handles=key, loc="lower center", ncol=3, frameon=False, fontsize=SMALL, facecolor=PAPER)
    return figure

"""Bars: what each tolerance moves the hottest spot by, the largest first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thermsim.report.data.result import result
from thermsim.report.drawing.style import FAINT, INK, SMALL, SOLID, TEXT, canvas, styled
from thermsim.report.words.input_doubt import moved_words
from thermsim.report.words.numbers import significant
from thermsim.report.words.titles import CHARACTERS_PER_INCH, title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.mesh.prediction import Prediction

WIDTH_in, ROW_in, AROUND_in = 8.4, 0.3, 1.2
MOST, MOST_LETTERS = 12, 31


def moved(prediction: Prediction, ax: Axes | None = None) -> Figure:
    """A bar for each tolerance, from the change at its lower end to that at its upper end.

    Raises ValueError if no tolerance moves anything.
    """
    doubt = result(prediction)["input_doubt"]
    rows = [] if doubt is None else doubt["moved"][:MOST]
    if not rows:
        raise ValueError("no tolerance moves the hottest spot")
    with styled():
        is_own, height = ax is None, ROW_in * len(rows) + AROUND_in
        figure, ax = canvas(ax, WIDTH_in, height)
        if is_own:
            figure.subplots_adjust(left=0.27, right=0.63, bottom=0.65 / height, top=1.0 - 0.45 / height)
        for row, one in enumerate(rows):
            low, high = sorted((one["at_low_K"], one["at_high_K"]))
            ax.barh(row, high - low, left=low, height=0.62, fc=SOLID, ec=INK, lw=0.8)
            words = f"{significant(one['moves_K'], 2)} K by {moved_words(one)}"
            ax.annotate(words, (1.02, row), xycoords=("axes fraction", "data"), va="center", fontsize=SMALL,
                        annotation_clip=False)  # fmt: skip
        ax.axvline(0.0, color=INK, lw=0.8)
        ax.margins(x=0.05)
        ax.use_sticky_edges = False
        ax.set_yticks(range(len(rows)), [_broken(one["input"]) for one in rows])
        ax.set_ylim(len(rows) - 0.5, -0.5)
        ax.tick_params(axis="y", length=0)
        ax.grid(axis="x", color=FAINT, alpha=0.25, lw=0.6)
        ax.set_axisbelow(True)
        ax.set_xlabel("change of the hottest spot over one tolerance [K]")
        title = title_of(prediction.case, "what to measure first", int(CHARACTERS_PER_INCH * WIDTH_in))
        ax.set_title(title, loc="left", weight="bold", fontsize=TEXT + 1.5, x=-0.7 if is_own else 0.0)
    return figure


def _broken(path: str) -> str:
    """An address that is too long for its place, with its middle left out."""
    return path if len(path) <= MOST_LETTERS else f"{path[:13]} ... {path[-13:]}"

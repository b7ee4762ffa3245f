"""Ranked bars for each option: which input carries how much of the doubt of its gain."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from thermsim.report.drawing.style import FAINT, INK, SMALL, SOLID, TEXT, canvas, styled
from thermsim.report.words.comparison import (
    GRIDS,
    SEEN,
    grid_share,
    share_words,
    shown_contributions,
    tolerance_words,
    whose_words,
)
from thermsim.report.words.titles import CHARACTERS_PER_INCH, title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.comparison.outcome import Comparison, OptionResult

WIDTH_in, ROW_in, PANEL_in, TOP_in, BOTTOM_in = 9.6, 0.27, 0.52, 0.3, 0.55
MOST, BAR = 6, 0.62
REST = "all other inputs"


def shares(comparison: Comparison) -> Figure:
    """A panel for each option whose gain has a doubt from inputs, bars in falling order.

    Raises ValueError if no option has.
    """
    shown = [one for one in comparison.options if shown_contributions(one, MOST)]
    if not shown:
        raise ValueError("no input carries a doubt of a gain")
    with styled():
        return _draw(comparison, shown)


def _draw(comparison: Comparison, shown: list[OptionResult]) -> Figure:
    rows = [_rows(comparison, one) for one in shown]
    title = title_of(comparison.case, "what carries the doubt of each gain", int(CHARACTERS_PER_INCH * WIDTH_in))
    top = TOP_in + 0.17 * title.count("\n")
    names = [textwrap.wrap(one.option, 90) for one in shown]
    heads = [PANEL_in + 0.17 * (len(name) - 1) for name in names]
    height = top + BOTTOM_in + sum(ROW_in * len(lines) + head for lines, head in zip(rows, heads, strict=True))
    figure, first = canvas(None, WIDTH_in, height)
    figure.delaxes(first)
    figure.text(0.02, 1.0 - 0.12 / height, title, va="top", weight="bold", fontsize=TEXT + 1.5)
    below = top
    for number, (lines, name, head) in enumerate(zip(rows, names, heads, strict=True)):
        tall = ROW_in * len(lines)
        below += head + tall
        ax = figure.add_axes((0.31, 1.0 - below / height, 0.27, tall / height))
        _panel(ax, "\n".join(name), lines, last=number == len(shown) - 1)
    return figure


def _rows(comparison: Comparison, one: OptionResult) -> list[tuple[str, str, float]]:
    """Name of the input, its tolerance in words, its share; then all others together, and the grids."""
    rows = []
    for each in shown_contributions(one, MOST):
        rows.append((each.path, f"{tolerance_words(each)}; {whose_words(each)}", each.share))
    rest = sum(each.share for each in one.contributions) - sum(share for *_, share in rows)
    rows += [(REST, "", rest)] if rest >= SEEN else []
    grid = grid_share(one)
    return [*rows, (GRIDS, "", grid)] if grid >= SEEN else rows


def _panel(ax: Axes, name: str, rows: list[tuple[str, str, float]], last: bool) -> None:
    for row, (path, words, share) in enumerate(rows):
        hatch = {REST: "////", GRIDS: "...."}.get(path, "")
        ax.barh(row, 100.0 * share, height=BAR, fc="white" if hatch else SOLID, ec=INK, lw=0.8, hatch=hatch)
        ax.annotate(
            share_words(share),
            (100.0 * share, row),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=SMALL,
        )
        ax.annotate(words, (1.0, row), xycoords=("axes fraction", "data"), xytext=(42, 0), textcoords="offset points",
                    va="center", fontsize=SMALL, annotation_clip=False)  # fmt: skip
    ax.set_xlim(0.0, 100.0)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_yticks(range(len(rows)), [_broken(path) for path, *_ in rows])
    ax.tick_params(axis="y", length=0)
    ax.set_xticks([0, 25, 50, 75, 100], [""] * 5 if not last else ["0", "25", "50", "75", "100 %"])
    ax.tick_params(axis="x", length=0)
    if last:
        ax.set_xlabel("share of the variance of the gain")
    ax.grid(axis="x", color=FAINT, alpha=0.25, lw=0.6)
    ax.set_axisbelow(True)
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    ax.annotate(name, (0.02, 1.0), xycoords=("figure fraction", "axes fraction"), xytext=(0, 6), va="bottom",
                textcoords="offset points", fontsize=TEXT, weight="bold", annotation_clip=False)  # fmt: skip


def _broken(path: str) -> str:
    """An address that is too long for its place, with its middle left out."""
    return path if len(path) <= 42 else f"{path[:18]} ... {path[-19:]}"

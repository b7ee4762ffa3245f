"""How many more mounts settle a verdict: the chance of it over their number."""

from __future__ import annotations

from textwrap import shorten
from typing import TYPE_CHECKING

import numpy as np

from thermsim.judgement.outcome import Judgement
from thermsim.report.drawing.labels import spread
from thermsim.report.drawing.style import FAINT, INK, SMALL, canvas, srgb, styled
from thermsim.report.text.judge_table import change_name
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LONGEST_NAME = 34
MOST_CURVES = 8
LABEL = 5.5  # height of a name beside a curve, in percent


def chances_of_mounts(found: Judgement, ax: Axes | None = None) -> Figure:
    """One curve a change: the chance that so many more mounts of each settle it, if its gain is as it shows."""
    assert found.bought is not None  # without a change there is nothing to settle
    changes = found.bought.changes[:MOST_CURVES]
    with styled():
        figure, ax = canvas(ax, 8.6, 4.2)
        figure.subplots_adjust(0.09, 0.13, 0.70, 0.86)
        hues = np.linspace(20.0, 320.0, len(changes), endpoint=False)
        colours = np.clip(srgb(np.full(len(changes), 0.58), np.full(len(changes), 0.13), hues), 0.0, 1.0)
        ends = []
        for one, colour in zip(changes, colours, strict=True):
            more, chances = zip(*one.settling.chances.items(), strict=True)
            ax.plot(more, [100.0 * chance for chance in chances], "o-", color=colour, ms=4, lw=1.4)
            name = shorten(change_name(found, one), LONGEST_NAME, placeholder=" ...")
            ends.append((100.0 * chances[-1], f"{name}\n{one.kind} now", colour))
        for level in (80.0, 95.0):
            ax.axhline(level, color=FAINT, lw=0.8, ls=":")
        ax.set_ylim(0.0, 102.0)
        ax.set_xlabel("more mounts of each")
        ax.set_ylabel("chance that they settle it [%]")
        ax.grid(color=FAINT, alpha=0.22, lw=0.6)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        ends.sort(key=lambda end: end[0])
        places = spread([end[0] for end in ends], 2.6 * LABEL, 0.0, 102.0)
        for (value, name, colour), place in zip(ends, places, strict=True):
            across = ax.get_yaxis_transform()
            ax.annotate(name, (1.0, value), xycoords=across, xytext=(1.05, place), textcoords=across, va="center",
                        fontsize=SMALL, color=INK, annotation_clip=False,
                        arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.8})  # fmt: skip
        titled(ax, found.case, "how many mounts settle it", from_edge=True)
        return figure

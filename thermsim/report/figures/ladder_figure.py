"""The ladder as steps down from the hottest spot to the coolant; spreading is hatched."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from thermsim.readout.ladder import Ladder, Rung
from thermsim.report.drawing.style import FAINT, INK, PALE, SMALL, SOLID, canvas, styled
from thermsim.report.figures.face_figure import decimals
from thermsim.report.text.blocks import named_face
from thermsim.report.words.numbers import fixed
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.mesh.prediction import Prediction

BAR_HEIGHT = 0.66  # height of a bar; a row is 1
WORTH_SAYING = 0.05  # share of a rung's drop from which on its spreading part is written beside it


def ladder_steps(prediction: Prediction, ax: Axes | None = None) -> Figure:
    """Kelvin lost in each part and joint, from the hottest spot down to the coolant.

    Raises ValueError for a prediction without a ladder (no heat, or no film that takes it).
    """
    if prediction.ladder is None:
        raise ValueError("this prediction has no ladder: no part makes heat, or neither top nor bottom takes it")
    with styled():
        return _draw(prediction, prediction.ladder, ax)


def _draw(prediction: Prediction, ladder: Ladder, ax: Axes | None) -> Figure:
    count = len(ladder.rungs)
    figure, ax = canvas(ax, 9.2, 0.46 * count + 2.0)
    start = ladder.start_C
    end = start - sum(rung.drop_K for rung in ladder.rungs)
    figure.subplots_adjust(0.235, 0.9 / figure.get_figheight(), 0.97, 1.0 - 0.75 / figure.get_figheight())
    here = start
    places = [here]
    for row, rung in enumerate(ladder.rungs):
        there = here - rung.drop_K
        even = min(max(rung.even_K, 0.0), max(rung.drop_K, 0.0))
        ax.barh(row, -even, left=here, height=BAR_HEIGHT, fc=SOLID, ec=INK, lw=0.8)
        ax.barh(row, there - (here - even), left=here - even, height=BAR_HEIGHT, fc=PALE, ec=INK, lw=0.8, hatch="////")
        ax.plot([there, there], [row + BAR_HEIGHT / 2, row + 1 - BAR_HEIGHT / 2], color=FAINT, lw=0.9, ls=":")
        here = there
        places.append(here)
    low, high = min(places), max(places)
    room, digits = max(high - low, 1e-3), decimals(low, high) + 1
    ax.set_xlim(high + 0.02 * room, low - 0.36 * room)
    for row, (rung, there) in enumerate(zip(ladder.rungs, places[1:], strict=True)):
        label = ax.annotate(
            _in_words(rung, digits), (min(there, places[row]), row), xytext=(4, 0), textcoords="offset points"
        )
        label.set(va="center", ha="left", fontsize=SMALL)
    ax.set_ylim(count - 0.4, -0.6)
    ax.set_yticks(range(count), [textwrap.fill(rung.item, 24) for rung in ladder.rungs])
    ax.tick_params(axis="y", length=0)
    ends = f"{fixed(start, f'.{digits}f')} C down to the coolant at {fixed(end, f'.{digits}f')} C"
    ax.set_xlabel(f"temperature [C], from {ends}")
    _end_axis(ax, low, high)
    start_in_words = f"the hottest spot, in {ladder.label}," if ladder.starts_at == "hottest spot" else ladder.label
    way = f"ladder from {start_in_words} to {named_face(ladder.environment, ladder.face)}"
    titled(ax, prediction.case, way, from_edge=True)
    _key(ax)
    return figure


def _end_axis(ax: Axes, low: float, high: float) -> None:
    """Ticks and lines from the start to the coolant: what lies beyond is room for words, not a temperature."""
    ticks = [float(tick) for tick in ax.get_xticks() if low - 1e-9 <= tick <= high + 1e-9]
    ax.set_xticks(ticks)
    ax.spines["bottom"].set_bounds(low, high)
    ax.grid(axis="x", color=FAINT, alpha=0.25, lw=0.6)
    ax.set_axisbelow(True)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)


def _in_words(rung: Rung, digits: int) -> str:
    """`7.46 K, 6.40 K of it spreading`; the drop alone where spreading is a small part of it, or all of it."""
    drop = f"{fixed(rung.drop_K, f'.{digits}f')} K"
    if rung.even_K == 0.0 or rung.spreading_K < WORTH_SAYING * rung.drop_K:
        return drop
    return f"{drop}, {rung.spreading_K:.{digits}f} K of it spreading"


def _key(ax: Axes) -> None:
    from matplotlib.patches import Patch

    even = Patch(fc=SOLID, ec=INK, lw=0.8, label="lost even if the heat used the whole area")
    spreading = Patch(fc=PALE, ec=INK, lw=0.8, hatch="////", label="spreading")
    under = (0.4, -0.5 / _height_in(ax))
    ax.legend(
        handles=[even, spreading], loc="upper center", bbox_to_anchor=under, ncol=2, frameon=False, fontsize=SMALL
    )


def _height_in(ax: Axes) -> float:
    return float(ax.get_position().height * ax.figure.get_figheight())  # type: ignore[union-attr]

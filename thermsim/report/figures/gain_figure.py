"""The gain of each option as a bar with its interval, against what is worth it and the scatter between mounts."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from thermsim.report.drawing.style import FAINT, INK, PALE, PAPER, SMALL, SOLID, canvas, styled
from thermsim.report.words.comparison import (
    base_words,
    headline_question,
    interval_words,
    marks_of,
    name_of,
    often,
    scatter_K,
    value_words,
)
from thermsim.report.words.numbers import fixed
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.comparison.outcome import Comparison, OptionResult

WIDTH_in, ROW_in, HEAD_in, FOOT_in = 9.6, 0.58, 0.75, 0.9
BAR, NAME_CHARACTERS, MOST_NAME_LINES = 0.5, 30, 3
LEAST_RANGE_K = 0.1  # [K] least length of the axis: gains far below it are not magnified


def gains(comparison: Comparison, ax: Axes | None = None) -> Figure:
    """Bars of the headline gain, in the order of the case; numbers and verdict stand in words beside each.

    Raises ValueError for a comparison without options.
    """
    if not comparison.options:
        raise ValueError("this comparison has no options")
    with styled():
        return _draw(comparison, ax)


def _draw(comparison: Comparison, ax: Axes | None) -> Figure:
    count = len(comparison.options)
    head = HEAD_in if comparison.worth_K is not None else HEAD_in - 0.2
    figure, ax = canvas(ax, WIDTH_in, ROW_in * count + head + FOOT_in)
    height = figure.get_figheight()
    figure.subplots_adjust(0.265, FOOT_in / height, 0.70, 1.0 - head / height)
    low, high = _ends(comparison)
    ax.set_xlim(low, high)
    ax.set_ylim(count - 0.5, -0.5)
    _scatter(ax, comparison)
    for row, one in enumerate(comparison.options):
        _bar(ax, row, one)
        _words(ax, row, one, marks_of(comparison))
    ax.axvline(0.0, color=INK, lw=1.2, zorder=4)
    if comparison.worth_K is not None:
        ax.axvline(comparison.worth_K, color=INK, lw=1.3, ls=(0, (5, 2)), zorder=4)
        _over(ax, comparison.worth_K, f"worth it: {comparison.worth_K:g} K")
    ax.set_yticks(range(count), [_name(one.option) for one in comparison.options])
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("gain: base less option [K]")
    ax.grid(axis="x", color=FAINT, alpha=0.22, lw=0.6)
    ax.set_axisbelow(True)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    what = f"gain of the {name_of(headline_question(comparison))} against {base_words(comparison)}"
    titled(ax, comparison.case, what, pad=26.0 if comparison.worth_K is not None else 12.0, from_edge=True)
    _key(ax, comparison)
    return figure


def _ends(comparison: Comparison) -> tuple[float, float]:
    """The axis: zero, every interval and what is worth it; the band of the scatter may run out of it."""
    marks = [0.0, comparison.worth_K or 0.0]
    for one in comparison.options:
        marks += [one.headline.value_K, one.headline.interval.low, one.headline.interval.high]
    scatter = scatter_K(comparison)
    low, high = min(marks), max(marks)
    if scatter is not None and scatter < 2.0 * max(high, -low, LEAST_RANGE_K):
        low, high = min(low, -scatter), max(high, scatter)
    room, middle = max(high - low, LEAST_RANGE_K), 0.5 * (low + high)
    return middle - 0.56 * room, middle + 0.56 * room


def _scatter(ax: Axes, comparison: Comparison) -> None:
    scatter = scatter_K(comparison)
    if scatter is None or scatter == 0.0:
        return
    low, high = ax.get_xlim()
    ends = max(-scatter, low), min(scatter, high)
    ax.axvspan(*ends, fc="#eceef1", ec="#c3c8cf", hatch="....", lw=0.0, zorder=0)
    for end in (-scatter, scatter):
        if low < end < high:
            ax.axvline(end, color=FAINT, lw=0.8, ls=":", zorder=1)


def _bar(ax: Axes, row: int, one: OptionResult) -> None:
    gain = one.headline
    ax.barh(row, gain.value_K, height=BAR, fc=SOLID if gain.value_K >= 0.0 else PALE, ec=INK, lw=0.8, zorder=3,
            hatch="" if gain.value_K >= 0.0 else "\\\\\\\\")  # fmt: skip
    ends = [gain.interval.low, gain.interval.high]
    for width, colour in ((4.2, PAPER), (1.8, INK)):
        ax.plot(ends, [row, row], color=colour, lw=width, marker="|", ms=11, mew=width, zorder=5, solid_capstyle="butt")
    ax.plot([gain.value_K], [row], marker="o", ms=4.5, mfc=PAPER, mec=INK, mew=1.2, zorder=6)


def _words(ax: Axes, row: int, one: OptionResult, marks: tuple[float | None, ...]) -> None:
    """Beside the bar: the gain, its interval, and the verdict."""
    numbers = f"{value_words(one.headline, *marks)} K ({interval_words(one.headline, *marks)})"
    place: dict[str, Any] = {
        "xycoords": ("axes fraction", "data"),
        "textcoords": "offset points",
        "annotation_clip": False,
    }
    ax.annotate(numbers, (1.0, row), xytext=(12, 2), va="bottom", fontsize=SMALL + 1.0, weight="bold", **place)
    ax.annotate(one.kind, (1.0, row), xytext=(12, -2), va="top", fontsize=SMALL + 1.0, **place)


def _over(ax: Axes, at: float, words: str) -> None:
    """Words over the axes, kept between its ends."""
    low, high = ax.get_xlim()
    share = (at - low) / (high - low)
    side = "left" if share < 0.25 else "right" if share > 0.75 else "center"
    ax.annotate(words, (at, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 4), textcoords="offset points",
                ha=side, va="bottom", fontsize=SMALL, annotation_clip=False)  # fmt: skip


def _name(option: str) -> str:
    lines = textwrap.wrap(option, NAME_CHARACTERS)
    if len(lines) > MOST_NAME_LINES:
        lines = [*lines[: MOST_NAME_LINES - 1], f"{lines[MOST_NAME_LINES - 1][: NAME_CHARACTERS - 4]} ..."]
    return "\n".join(lines)


def _key(ax: Axes, comparison: Comparison) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Line2D | Patch] = [
        Line2D(
            [], [], color=INK, lw=1.8, marker="|", ms=9, mew=1.8, label=f"{often(comparison.coverage)} gains lie here"
        ),
    ]
    scatter = scatter_K(comparison)
    if scatter:
        words = f"two mounts of the same differ by up to {fixed(scatter, '.2g')} K"
        handles.append(Patch(fc="#eceef1", ec="#c3c8cf", hatch="....", lw=0.0, label=words))
    if any(one.headline.value_K < 0.0 for one in comparison.options):
        handles.append(Patch(fc=PALE, ec=INK, hatch="\\\\\\\\", lw=0.8, label="the option is warmer"))
    figure = ax.get_figure(root=True)
    assert figure is not None
    figure.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.02, 0.12 / figure.get_figheight()), ncol=3,
                  frameon=False, fontsize=SMALL, borderaxespad=0.0, columnspacing=1.4)  # fmt: skip

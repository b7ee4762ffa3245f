"""The strip of runs: where each run lies once it is put right, mount by mount, and what that leaves of each option."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from thermsim.bench.fates import Fate
from thermsim.judgement.outcome import Judgement
from thermsim.report.drawing.style import FAINT, INK, PALE, PAPER, SMALL, SOLID, canvas, styled
from thermsim.report.text.judge_table import gain_words, option_name
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_in, ROW_in, HEAD_in, FOOT_in, HIGHEST_in = 9.6, 0.24, 0.45, 1.05, 16.0
MOST_NAMED = 60  # rows that are named; more than that cannot be read
NAME_CHARACTERS = 26
MARK = 5.5  # [pt] size of a run
BETWEEN = 1.0  # rows between two options


def runs_strip(found: Judgement, ax: Axes | None = None) -> Figure:
    """One row a mount: filled marks for runs put right, a stroke from where they were noted, hollow ones refused.

    The band of an option is the scatter of one mount about its mean; the bar is where the mean of many mounts lies.
    """
    rows, options = _rows(found)
    readings = _readings(found)
    height = min(HEAD_in + FOOT_in + ROW_in * (max(rows.values(), default=0.0) + 1.5), HIGHEST_in)
    with styled():
        figure, ax = canvas(ax, WIDTH_in, height)
        figure.subplots_adjust(0.21, FOOT_in / height, 0.80, 1.0 - HEAD_in / height)
        for option in options:
            _option(ax, found, option, rows, readings)
        for one in found.fates.fates:
            _run(ax, one, rows[one.run.option, one.run.mount], readings)
        _axes(ax, found, rows, options)
        titled(ax, found.case, "measured runs, put to like coolant and load", from_edge=True)
        _key(figure, found)
        return figure


def _rows(found: Judgement) -> tuple[dict[tuple[str | None, str], float], list[str | None]]:
    """Row of each mount, from the top, and the options in that order."""
    options = list(dict.fromkeys(one.run.option for one in found.fates.fates))
    options.sort(key=lambda option: option is not None)
    rows: dict[tuple[str | None, str], float] = {}
    at = 0.0
    for option in options:
        for mount in dict.fromkeys(one.run.mount for one in found.fates.fates if one.run.option == option):
            rows[option, mount] = at
            at += 1.0
        at += BETWEEN
    return rows, options


def _readings(found: Judgement) -> tuple[str, ...]:
    """Over whose mean runs are drawn: those that all kept runs have, or as many as there are."""
    kept = [set(one.readings) for one in found.fates.kept] or [set(one.run.readings) for one in found.fates.fates]
    shared = set.intersection(*kept) if kept else set()
    return tuple(one.reading for one in found.case.readings if one.reading in shared)


def _mean(values: dict[str, float], readings: Sequence[str]) -> float:
    has = [values[name] for name in readings if name in values]
    return float(np.mean(has)) if has else float("nan")


def _run(ax: Axes, one: Fate, row: float, readings: Sequence[str]) -> None:
    noted = _mean(dict(one.run.readings), readings)
    if one.corrected is None:
        ax.plot([noted], [row], "o", ms=MARK, mfc=PAPER, mec=FAINT, mew=1.1, zorder=4)
        return
    right = _mean(dict(one.corrected.readings), readings)
    ax.plot([noted, right], [row, row], color=FAINT, lw=1.0, zorder=3, solid_capstyle="butt")
    ax.plot([right], [row], "o", ms=MARK, mfc=SOLID, mec=INK, mew=0.9, zorder=5)


def _option(
    ax: Axes,
    found: Judgement,
    option: str | None,
    rows: dict[tuple[str | None, str], float],
    readings: Sequence[str],
) -> None:
    """The band of one mount's scatter about the mean of an option, and where that mean lies."""
    mounts: dict[str, list[float]] = {}
    for one in found.fates.kept:
        if one.option == option:
            mounts.setdefault(one.mount, []).append(_mean(dict(one.readings), readings))
    if found.bought is None or not mounts:
        return
    from scipy import stats

    scatter = found.bought.scatter
    middle = float(np.mean([np.mean(values) for values in mounts.values()]))
    own = [row for (of, _), row in rows.items() if of == option]
    low, high = min(own) - 0.5, max(own) + 0.5
    ax.fill_betweenx([low, high], middle - scatter.sd_K, middle + scatter.sd_K, color=PALE, lw=0.0, zorder=1)
    half = float(stats.t.ppf(0.95, scatter.degrees)) * scatter.sd_K / len(mounts) ** 0.5
    ax.plot([middle, middle], [low, high], color=INK, lw=0.9, zorder=2)
    ax.plot([middle - half, middle + half], [high + 0.15] * 2, color=INK, lw=1.8, marker="|", ms=8, mew=1.6, zorder=4)


def _axes(ax: Axes, found: Judgement, rows: dict[tuple[str | None, str], float], options: Sequence[str | None]) -> None:
    ax.set_ylim(max(rows.values(), default=0.0) + 1.0, -1.0)
    low, high = ax.get_xlim()
    ax.set_xlim(low - 0.03 * (high - low), high + 0.03 * (high - low))
    if len(rows) <= MOST_NAMED:
        ax.set_yticks(list(rows.values()), [f"mount {mount}" for _, mount in rows])
    else:
        ax.set_yticks([])
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("mean of the readings [C]")
    ax.grid(axis="x", color=FAINT, alpha=0.22, lw=0.6)
    ax.set_axisbelow(True)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    for option in options:
        own = [row for (of, _), row in rows.items() if of == option]
        place = {"xycoords": ("axes fraction", "data"), "annotation_clip": False, "textcoords": "offset points"}
        name = "\n".join(textwrap.wrap(option_name(option), NAME_CHARACTERS)[:3])
        ax.annotate(name, (0.0, min(own) - 0.62), xytext=(-52, 0), va="bottom", ha="left", weight="bold",
                    fontsize=SMALL, **place)  # type: ignore[arg-type]  # fmt: skip
        words = _beside(found, option)
        ax.annotate(words, (1.0, 0.5 * (min(own) + max(own))), xytext=(10, 0), va="center", fontsize=SMALL,
                    **place)  # type: ignore[arg-type]  # fmt: skip


def _beside(found: Judgement, option: str | None) -> str:
    """The gain of an option over the base, and the verdict."""
    changes = () if found.bought is None else found.bought.changes
    for one in changes:
        if one.option == option and one.against is None:
            value, interval = gain_words(one)
            return f"gain {value} K\n({interval})\n{one.kind}"
    return ""


def _key(figure: Figure, found: Judgement) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Line2D | Patch] = [
        Line2D(
            [], [], color=FAINT, lw=1.0, marker="o", ms=MARK, mfc=SOLID, mec=INK, label="a run, put right by the stroke"
        ),
        Line2D([], [], lw=0.0, marker="o", ms=MARK, mfc=PAPER, mec=FAINT, label="not comparable, as noted"),
    ]
    if found.bought is not None:
        label = f"scatter of one mount ({found.bought.scatter.sd_K:.1f} K)"
        handles.append(Patch(fc=PALE, lw=0.0, label=label))
        handles.append(Line2D([], [], color=INK, lw=1.8, marker="|", ms=8, mew=1.6,
                              label="mean of many mounts, 9 times in 10"))  # fmt: skip
    figure.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.02, 0.08 / figure.get_figheight()), ncol=2,
                  frameon=False, fontsize=SMALL, borderaxespad=0.0, columnspacing=1.6)  # fmt: skip

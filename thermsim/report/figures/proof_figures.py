"""Figures of a proof: how the true error of each quantity falls with the cells, and how wide the mesh doubt is."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from thermsim.report.drawing.style import FAINT, INK, PALE, SMALL, SOLID, canvas, styled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARKERS = ("o", "s", "^", "D", "v")
INKS = (SOLID, INK, FAINT, "#8a4b2f", "#3c5a72")
WIDTH, HEIGHT, LINE = 4.0, 3.1, 0.17  # [in] of the axes; of each line of the key below them


def plottable(line: dict[str, Any]) -> bool:
    """Whether the error of a line falls with the cells at all: those of exact answers are round-off."""
    return line["order"] is not None and not line["at_round_off"]


def convergence(title: str, lines: list[dict[str, Any]]) -> Figure:
    """True errors of a case over the cell width, on logarithmic scales, with the slopes of order 1 and 2."""
    with styled():
        figure, ax = canvas(None, WIDTH, HEIGHT + LINE * len(lines))
        largest = max(abs(line["errors"][0]) for line in lines)
        sizes = max((line["sizes"] for line in lines), key=len)
        _slopes(ax, sizes, largest)
        for number, line in enumerate(lines):
            _series(ax, number, line["quantity"], line["sizes"], line["errors"], line["order"])
        units = sorted({line["unit"] for line in lines})
        _finish(ax, title, sizes, f"|thermsim - reference| [{', '.join(units)}]")
        return figure


def failing_control(control: dict[str, Any]) -> Figure:
    """The reading that must be refused, and the true one."""
    with styled():
        figure, ax = canvas(None, WIDTH, HEIGHT + 2 * LINE)
        for number, kind in enumerate(("", "true_")):
            name = "read at the face" if kind else "read at cell centres: must be refused"
            _slopes(ax, control["sizes"], abs(control[f"{kind}errors"][0]))
            _series(ax, number, name, control["sizes"], control[f"{kind}errors"], control[f"{kind}order"])
        _finish(ax, "Control: the same slab, read in two ways", control["sizes"], "|thermsim - reference| [K]")
        return figure


def honesty(found: dict[str, Any]) -> Figure:
    """How many doubts are how many true errors wide; left of 1 the doubt does not hold."""
    with styled():
        figure, ax = canvas(None, 2 * WIDTH, HEIGHT)
        ratio = np.array(found["doubt_K"]) / np.maximum(np.array(found["error_K"]), 1e-12)
        edges = np.logspace(-1, 3, 41)
        ax.hist(np.clip(ratio, edges[0], edges[-1]), edges.tolist(), color=PALE, edgecolor=SOLID, lw=0.8)
        median = float(np.median(ratio))
        ax.axvline(1.0, color=INK, lw=1.4)
        ax.axvline(median, color=INK, lw=1.0, ls="--")
        top = ax.get_ylim()[1]
        ax.text(0.93, 0.97 * top, "does not hold", ha="right", va="top", fontsize=SMALL)
        ax.text(1.07, 0.97 * top, "holds", ha="left", va="top", fontsize=SMALL)
        ax.text(1.07 * median, 0.85 * top, f"median {median:.1f}", ha="left", va="top", fontsize=SMALL)
        ax.set_xscale("log")
        ax.set_xlim(edges[0], edges[-1])
        ax.set_xticks([0.1, 1, 10, 100, 1000], ["0.1", "1", "10", "100", "1000"])
        ax.set_xlabel("mesh doubt over true error")
        ax.set_ylabel("zone temperatures")
        ax.spines[["top", "right"]].set_visible(False)
        figure.tight_layout()
        return figure


def _series(ax: Axes, number: int, name: str, sizes: list[float], errors: list[float], order: float | None) -> None:
    colour, marker = INKS[number % len(INKS)], MARKERS[number % len(MARKERS)]
    key = f"{name}: order {order:.2f}" if order is not None else f"{name}: no order"
    ax.plot(sizes, np.abs(errors), marker=marker, ms=5.0, lw=1.3, color=colour, label=key)


def _slopes(ax: Axes, sizes: list[float], start: float) -> None:
    """Lines of order 1 and 2 from above the coarsest error."""
    width = np.array([max(sizes), min(sizes)])
    for order, style in ((1, ":"), (2, "--")):
        ax.plot(width, 1.6 * start * (width / width[0]) ** order, color=FAINT, lw=0.9, ls=style, zorder=1)
        ax.annotate(f"{order}", (width[1], 1.6 * start * (width[1] / width[0]) ** order), (-4, 0),
                    textcoords="offset points", ha="right", va="center", fontsize=SMALL, color=FAINT)  # fmt: skip


def _finish(ax: Axes, title: str, sizes: list[float], label: str) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xticks(sizes, [f"1/{1 / size:.0f}" for size in sizes])
    ax.xaxis.set_minor_locator(NullLocator())
    low, high = ax.get_ylim()
    ax.set_ylim(low / 1.3, high * 1.3)
    steps = (1.0,) if high / low > 300.0 else (1.0, 2.0, 5.0)
    ax.yaxis.set_major_locator(LogLocator(10.0, steps))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.0e}"))
    ax.yaxis.set_minor_formatter(NullFormatter())
    ax.set_xlim(min(sizes) / 1.35, max(sizes) * 1.1)
    ax.set_xlabel("cell width, relative to the plan", fontsize=SMALL)
    ax.set_ylabel(label, fontsize=SMALL)
    ax.set_title("\n".join(textwrap.wrap(title, 42)), fontsize=SMALL + 1.0, loc="left")
    ax.grid(True, which="major", color="#e4e6ea", lw=0.6)
    ax.set_axisbelow(True)
    ax.spines[["top", "right"]].set_visible(False)
    ax.legend(fontsize=SMALL - 0.5, frameon=False, loc="upper left", bbox_to_anchor=(0.0, -0.17), borderaxespad=0.0)
    figure = ax.get_figure(root=True)
    assert figure is not None
    figure.tight_layout()

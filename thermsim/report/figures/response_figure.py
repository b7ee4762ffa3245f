"""Step responses of zones over the logarithm of time, and the structure function of one of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thermsim.report.drawing.style import FAINT, INK, SMALL, canvas, srgb, styled
from thermsim.report.figures.warmup_figure import MOST_CURVES, name_ends
from thermsim.report.words.titles import titled
from thermsim.response.structure import ALL_BUT

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.response.step_response import StepResponse

LEAST_STRETCH = 0.02  # share of the axis, from which on a stretch is named
BAR = "|-|,widthA=0.2,widthB=0.2"
ROWS = 3  # heights at which names of stretches stand in turn


def response_curves(found: StepResponse, ax: Axes | None = None, *, by: str | None = None) -> Figure:
    """Zth over time, both logarithmic, with both doubts as bands.

    by : a zone, whose watt is drawn in all zones and probes; each zone by its own watt unless given

    Raises
    ------
    UnknownNameError : no such zone
    """
    from matplotlib.ticker import LogLocator, NullFormatter

    network = found.network
    if by is None:
        pairs = [(at, at) for at in range(len(network.inputs))]
    else:
        column = network.input_at(by)
        pairs = [(at, column) for at in range(len(network.outputs))]
    largest = sorted(pairs, key=lambda pair: -found.resistance[pair])[:MOST_CURVES]
    what = "zones by their own watt" if by is None else f"by a watt in {by}"
    with styled():
        figure, ax = canvas(ax, 9.2, 5.4)
        figure.subplots_adjust(0.09, 0.11, 0.83, 0.88)
        hues = np.linspace(20.0, 320.0, len(largest), endpoint=False)
        colours = np.clip(srgb(np.full(len(largest), 0.58), np.full(len(largest), 0.13), hues), 0.0, 1.0)
        ends = []
        floor = 1e-4 * float(found.resistance[largest[0]])
        for pair, colour in zip(largest, colours, strict=True):
            value, width = (of[:, pair[0], pair[1]] for of in (found.zth, found.half_width))
            low, high = np.maximum(value - width, floor), np.maximum(value + width, floor)
            ax.fill_between(found.times_s, low, high, color=colour, alpha=0.2, lw=0.0)
            ax.plot(found.times_s, np.maximum(value, floor), color=colour, lw=1.4)
            ends.append((float(value[-1]), network.outputs[pair[0]], colour))
        ax.set_xscale("log")
        ax.set_yscale("log")
        ax.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        ax.yaxis.set_minor_formatter(NullFormatter())
        ax.set_xlim(float(found.times_s[0]), float(found.times_s[-1]))
        ax.set_xlabel("time after the watt came on [s]")
        ax.set_ylabel("Zth [K/W]")
        ax.grid(color=FAINT, alpha=0.25, lw=0.6)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        name_ends(ax, sorted(ends, key=lambda end: end[0]))
        titled(ax, found.case, f"step responses, {what}", from_edge=True)
    return figure


def structure_curve(found: StepResponse, zone: str | None = None, ax: Axes | None = None) -> Figure:
    """Cumulative capacitance over cumulative resistance of the ladder of a zone, from the zone to the coolants.

    Under it stands, by the steady temperatures, which part or joint each stretch of resistance is: in full ink where
    the bend over it is that of the part, faint where it is not (JEDEC JESD51-14, terms from memory).

    zone : the one with the largest resistance unless given

    Raises
    ------
    UnknownNameError : no such zone
    """
    way = found.structure(found.most_resistant if zone is None else zone)
    resistance, capacity = way.cumulative_K_W, way.cumulative_J_K
    with styled():
        figure, ax = canvas(ax, 9.2, 5.4)
        figure.subplots_adjust(0.09, 0.11, 0.97, 0.88)
        shown = np.concatenate([[True], resistance[:-1] < (1.0 - ALL_BUT) * resistance[-1]])
        steps = np.concatenate([[0.0], resistance[shown]])
        ax.stairs(capacity[shown], steps, baseline=None, color=INK, lw=1.4)
        ax.plot(steps[:-1], capacity[shown], "o", color=INK, ms=3)
        ax.set_yscale("log")
        low, high = float(capacity[0]), float(capacity[shown][-1])
        bottom = low * (low / high) ** 0.35  # room for names
        ax.set_ylim(bottom, high * (high / low) ** 0.1)
        ax.set_xlim(0.0, 1.02 * float(resistance[-1]))
        _name_stretches(ax, found, way.zone, bottom, low)
        ax.set_xlabel(f"cumulative thermal resistance from {way.zone} on [K/W]")
        ax.set_ylabel("cumulative thermal capacitance [J/K]")
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        titled(ax, found.case, f"structure function of {way.zone}", from_edge=True)
    return figure


def _name_stretches(ax: Axes, found: StepResponse, zone: str, bottom: float, top: float) -> None:
    """Each stretch by its ends, and its name under the curve, in one of a few rows."""
    way = found.structure(zone)
    wide = [one for one in way.stretches if one.to_K_W - one.from_K_W > LEAST_STRETCH * way.cumulative_K_W[-1]]
    for number, one in enumerate(wide):
        share = (1.0 + number % ROWS) / (ROWS + 1.5)
        height = bottom * (top / bottom) ** share
        colour = INK if one.is_bend or one.stores_J_K is None else FAINT
        ax.axvline(one.to_K_W, color=FAINT, lw=0.6, alpha=0.6)
        ax.annotate(
            "", (one.from_K_W, height), (one.to_K_W, height),
            arrowprops={"arrowstyle": BAR, "color": colour, "lw": 0.8, "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
        name = one.item if one.is_bend or one.stores_J_K is None else f"{one.item} (no bend of its own)"
        ax.annotate(
            name, (0.5 * (one.from_K_W + one.to_K_W), height), xytext=(0, 3), textcoords="offset points", ha="center",
            va="bottom", fontsize=SMALL, color=colour,
        )  # fmt: skip

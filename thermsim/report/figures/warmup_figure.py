"""What a stack does in time: temperatures with their doubts as bands."""

from __future__ import annotations

from collections.abc import Collection
from textwrap import shorten
from typing import TYPE_CHECKING

import numpy as np

from thermsim.readout.observable import COOLANT, Asked, Observable, find
from thermsim.report.drawing.labels import spread
from thermsim.report.drawing.style import FAINT, INK, SMALL, canvas, srgb, styled
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.case.vocabulary.schema import Case
    from thermsim.comparison.warm_ups import WarmUps
    from thermsim.warming.outcome import HeldBack, Warmup

MOST_CURVES = 12
LINE_POINTS = 10.0  # height of a label
LONGEST_NAME = 32  # characters beside a curve: what the margin holds
AFTER_SETTLED = 3.0  # times when all has settled, until which plain time is drawn: our own choice


def warmup_curves(
    found: Warmup, ax: Axes | None = None, *, log: bool = True, asked: Collection[Asked] | None = None
) -> Figure:
    """Curves of what is asked: readings, or else the highest temperatures of zones, probes, and the coolant of a loop,
    unless given. Of a chip that holds back, its limit, and below, on a figure of its own, the power that is left.

    log : over the logarithm of time

    Raises
    ------
    UnknownNameError : `asked` holds what the case does not have
    """
    with styled():
        drawn = [(str(one), found, one) for one in _chosen(found, asked)]
        figure = _draw(drawn, ax, log, found.case, "warming up")
        if found.held_back is not None and not found.held_back.is_never:
            _draw_held_back(figure, ax, found, found.held_back)
        return figure


def _chosen(found: Warmup, asked: Collection[Asked] | None) -> list[Observable]:
    if asked is not None:
        return [find(found.curves, one) for one in asked]
    kinds = [
        [one for one in found.curves if one.kind == "reading"],
        [one for one in found.curves if one.takes == "highest"],
    ]
    first = next((some for some in kinds if some), [])[: MOST_CURVES - 3]
    others = [one for one in found.curves if one.kind == "probe"][:3]
    return [*first, *others, *(one for one in found.curves if one == COOLANT)] or list(found.curves)[:1]


def side_by_side_curves(
    found: WarmUps, ax: Axes | None = None, *, log: bool = True, asked: Asked | None = None
) -> Figure:
    """One temperature of a base and its options: the first that `warmup_curves` would draw, unless asked.

    log : over the logarithm of time

    Raises
    ------
    UnknownNameError : the base does not have what is asked
    """
    one = _chosen(found.found[0], None if asked is None else [asked])[0]
    names = [shorten(name, LONGEST_NAME, placeholder=" ...") for name in found.names]
    drawn = [(name, of, one) for name, of in zip(names, found.found, strict=True) if one in of.curves]
    with styled():
        return _draw(drawn, ax, log, found.case, f"{one}, warming up")


def _draw(drawn: list[tuple[str, Warmup, Observable]], ax: Axes | None, log: bool, case: Case, what: str) -> Figure:
    """drawn : names, and of which warm-up they show what"""
    loaded = [(name, found) for name, found, _ in drawn if found.load is not None]
    beneath: Axes | None = None
    own = ax is None
    figure, ax = canvas(ax, 9.2, 6.6 if loaded and own else 5.4)
    figure.subplots_adjust(0.08, 0.11, 0.79, 0.88)
    if loaded and own:
        beneath = _beneath(figure, ax)
    times = drawn[0][1].times_s
    last = float(times[-1]) if log else max(_until(found, one) for _, found, one in drawn)
    hues = np.linspace(20.0, 320.0, len(drawn), endpoint=False)
    colours = np.clip(srgb(np.full(len(drawn), 0.58), np.full(len(drawn), 0.13), hues), 0.0, 1.0)
    ends = []
    for (name, found, one), colour in zip(drawn, colours, strict=True):
        curve = found.curves[one]
        low, high = curve.value - curve.half_width, curve.value + curve.half_width
        ax.fill_between(times, low, high, color=colour, alpha=0.2, lw=0.0)
        ax.plot(times, curve.value, color=colour, lw=1.4)
        ends.append((float(np.interp(last, times, curve.value)), name, colour))
    ax.set_xscale("log" if log else "linear")
    ax.set_xlim(float(times[0]) if log else 0.0, last)
    words = ("time [s]" if loaded else "time after the load came on [s]") + (", logarithm" if log else "")
    if beneath is None:
        ax.set_xlabel(words)
    else:
        _draw_load(beneath, loaded, ax.get_xlim(), log)
        beneath.set_xlabel(words)
        ax.tick_params(labelbottom=False)
    ax.set_ylabel("temperature [C]")
    ax.grid(color=FAINT, alpha=0.25, lw=0.6)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    name_ends(ax, sorted(ends, key=lambda end: end[0]))
    titled(ax, case, what, from_edge=True)
    return figure


def _draw_held_back(figure: Figure, given: Axes | None, found: Warmup, held: HeldBack) -> None:
    """The limit among the curves, and the power that is left in a strip below them; no strip on axes that are given."""
    above = given or figure.axes[0]
    above.axhline(held.limit_C, color=INK, lw=0.8, ls=(0, (4, 3)))
    above.annotate(
        f"limit {held.limit_C:g} C", (0.01, held.limit_C), xycoords=above.get_yaxis_transform(), xytext=(0.0, 2.0),
        textcoords="offset points", va="bottom", fontsize=SMALL, color=INK,
    )  # fmt: skip
    if given is not None:
        return
    box = above.get_position()
    above.set_position((box.x0, box.y0 + 0.26, box.width, box.height - 0.26))
    strip = figure.add_axes((box.x0, box.y0, box.width, 0.2), sharex=above)
    low, high = held.left_W - held.left_doubt_W, held.left_W + held.left_doubt_W
    strip.fill_between(found.times_s, low, high, color=INK, alpha=0.2, lw=0.0)
    strip.plot(found.times_s, held.left_W, color=INK, lw=1.2)
    strip.set_ylim(0.0, 1.1 * held.power_W)
    strip.set_ylabel("power left [W]")
    strip.set_xlabel(above.get_xlabel())
    above.set_xlabel("")
    above.tick_params(labelbottom=False)
    strip.grid(color=FAINT, alpha=0.25, lw=0.6)
    for side in ("top", "right"):
        strip.spines[side].set_visible(False)


def _beneath(figure: Figure, ax: Axes) -> Axes:
    """Axes for the power under those of the temperatures, which become less high."""
    place = ax.get_position()
    low = place.y0 + 0.27 * place.height
    ax.set_position((place.x0, low, place.width, place.y1 - low))
    return figure.add_axes((place.x0, place.y0, place.width, 0.22 * place.height))


def _draw_load(ax: Axes, loaded: list[tuple[str, Warmup]], limits: tuple[float, float], log: bool) -> None:
    """The power that is on; of one case once, of options where theirs differ."""
    told: list[bytes] = []
    for _, found in loaded:
        load = found.load
        if load is None or load.values.tobytes() + load.times_s.tobytes() in told:
            continue
        told.append(load.values.tobytes() + load.times_s.tobytes())
        last = limits[1] if load.lasts else min(load.ends_s, limits[1])
        inner = load.times_s[(load.times_s > limits[0]) & (load.times_s < last)]
        times = np.concatenate([[limits[0]], inner, [last]])
        watts = load.watts(found.case, times, "right")
        if load.between == "line":
            ax.plot(times, watts, color=INK, lw=1.0)
        else:
            ax.step(times, np.append(watts[:-1], watts[-2]), where="post", color=INK, lw=1.0)
    ax.set_xscale("log" if log else "linear")
    ax.set_xlim(*limits)
    ax.set_ylim(bottom=0.0)
    ax.set_ylabel("load [W]")
    ax.grid(color=FAINT, alpha=0.25, lw=0.6)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


def _until(found: Warmup, one: Observable) -> float:
    """Where an axis of plain time ends [s]: well after what is drawn has settled, as a round number."""
    last = float(found.times_s[-1])
    settled = found.curves[one].settled_s
    latest = last if settled is None or found.load is not None else settled[1]
    return min(float(f"{AFTER_SETTLED * latest:.1g}"), last)


def name_ends(ax: Axes, ends: list[tuple[float, str, np.ndarray[tuple[int, ...], np.dtype[np.float64]]]]) -> None:
    """Names at the right ends of curves, spread where they would lie on one another. ends : from the lowest up"""
    figure = ax.figure
    gap = LINE_POINTS / (ax.get_position().height * figure.get_figheight() * 72.0)  # type: ignore[union-attr]
    heights = [float((ax.transScale + ax.transLimits).transform((ax.get_xlim()[1], end[0]))[1]) for end in ends]
    across = ax.transAxes
    for (_, name, colour), height, place in zip(ends, heights, spread(heights, gap, 0.0, 1.0), strict=True):
        ax.annotate(
            "", (1.0, height), xycoords=across, xytext=(1.025, place), textcoords=across, annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.8, "shrinkA": 0.0, "shrinkB": 0.0},
        )  # fmt: skip
        ax.annotate(name, (1.03, place), xycoords=across, va="center", fontsize=SMALL, color=INK, annotation_clip=False)

"""How a change is spread over the die: what each core gained more or less than the mean, and whether it leans."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thermsim.case.geometry.places import part_box, zone_box
from thermsim.case.geometry.zones import zone_of
from thermsim.judgement.outcome import Judgement
from thermsim.judgement.pattern import Pattern
from thermsim.report.drawing.style import FAINT, INK, SMALL, SOLID, ink_with_halo, styled
from thermsim.report.text.judge_table import option_name
from thermsim.report.words.titles import title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_in, LEAST_HEIGHT_in = 7.6, 2.2
MOST_PANELS = 6
LEAST_SHADE_K = 1.0  # full colour at this at least: scatter is not painted as a pattern
DOT_MM = 0.03  # radius of a probe's mark, as a share of the width of the die


def change_patterns(found: Judgement) -> Figure:
    """A plan of the die for each change: the deeper the colour, the further from the mean; hatched where less was
    gained; an arrow where the change leans.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    shown = found.patterns[:MOST_PANELS]
    x0, y0, x1, y1 = _die(found)
    high = max((WIDTH_in - 1.0) * (y1 - y0) / (x1 - x0), 1.0)
    with styled():
        height = 0.5 + len(shown) * (high + 0.6)
        figure = Figure(figsize=(WIDTH_in, max(height, LEAST_HEIGHT_in)))
        FigureCanvasAgg(figure)
        axes = np.ravel(figure.subplots(len(shown), 1, squeeze=False))
        figure.subplots_adjust(0.05, 0.14 / height, 0.95, 1.0 - 0.7 / height, hspace=0.6 / high)
        strongest = max([abs(value) for one in shown for value in one.off_K.values()] + [LEAST_SHADE_K])
        for ax, one in zip(axes, shown, strict=True):
            _panel(ax, found, one, strongest)
        figure.suptitle(title_of(found.case, "gain of each core over the mean gain [K]", 78), x=0.05, ha="left",
                        fontsize=11.0, weight="bold")  # fmt: skip
        return figure


def _die(found: Judgement) -> tuple[float, float, float, float]:
    """The outline of the part with the first reading [mm]."""
    places = list(found.patterns[0].at_mm.values())
    named = {one.reading: one for one in found.case.readings}
    for name in found.patterns[0].at_mm:
        if named[name].zone is not None:
            known = zone_of(found.case, named[name])
            return part_box(found.case, next(part for part in found.case.parts if part.part == known.part))
    low, high = np.min(places, axis=0), np.max(places, axis=0)
    room = 0.1 * max(float((high - low).max()), 1.0)
    return float(low[0]) - room, float(low[1]) - room, float(high[0]) + room, float(high[1]) + room


def _panel(ax: Axes, found: Judgement, one: Pattern, strongest: float) -> None:
    from matplotlib.patches import Circle, Rectangle

    x0, y0, x1, y1 = _die(found)
    ax.add_patch(Rectangle((x0, y0), x1 - x0, y1 - y0, fc="none", ec=FAINT, lw=1.0))
    named = {reading.reading: reading for reading in found.case.readings}
    for name, value in one.off_K.items():
        share = min(abs(value) / strongest, 1.0)
        look = {
            "fc": (SOLID, 0.85 * share), "ec": INK, "lw": 0.8,
            "hatch": "" if value >= 0.0 or share < 0.15 else "\\\\\\",
        }  # fmt: skip
        if named[name].zone is not None:
            known = zone_of(found.case, named[name])
            part = next(part for part in found.case.parts if part.part == known.part)
            left, bottom, right, top = zone_box(found.case, part, known.given)
            ax.add_patch(Rectangle((left, bottom), right - left, top - bottom, **look))  # type: ignore[arg-type]
        else:
            ax.add_patch(Circle(one.at_mm[name], DOT_MM * (x1 - x0), **look))
        ink_with_halo(ax.text(*one.at_mm[name], f"{name}\n{value:+.1f}", ha="center", va="center", fontsize=SMALL))
    _arrow(ax, one, (x0, y0, x1, y1))
    ax.set_xlim(x0 - 0.02 * (x1 - x0), x1 + 0.02 * (x1 - x0))
    ax.set_ylim(y0 - 0.1 * (y1 - y0), y1 + 0.1 * (y1 - y0))
    ax.set_aspect("equal")
    ax.set_axis_off()
    against = "" if one.against is None else f" against {option_name(one.against)}"
    ax.set_title(
        f"{option_name(one.option)}{against}: each +- {one.doubt_K:.1f} K; hatched: less than the mean",
        fontsize=SMALL + 1.0,
    )


def _arrow(ax: Axes, one: Pattern, box: tuple[float, float, float, float]) -> None:
    """Along the edge of the die, from where most was gained to where least was."""
    x0, y0, x1, y1 = box
    for axis, lean in one.leans.items():
        if lean.low_K <= 0.0 <= lean.high_K:
            continue
        ends = (((x0, y1), (x1, y1)) if axis == "x" else ((x1, y0), (x1, y1)))[:: -1 if lean.value_K > 0.0 else 1]
        shift = (0.0, 0.05 * (y1 - y0)) if axis == "x" else (0.012 * (x1 - x0), 0.0)
        start, end = ((x + shift[0], y + shift[1]) for x, y in ends)
        ax.annotate(
            "", end, start, arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.3, "shrinkA": 2, "shrinkB": 2}
        )
        middle = (0.5 * (start[0] + end[0]), 0.5 * (start[1] + end[1]))
        words = f"{abs(lean.value_K):.1f} +- {lean.half_width_K:.1f} K less"
        ink_with_halo(ax.text(*middle, words, ha="center", va="center", fontsize=SMALL,
                              rotation=0 if axis == "x" else 90), 4.0)  # fmt: skip

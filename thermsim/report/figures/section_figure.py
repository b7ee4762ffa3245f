"""The x-z plane through the hottest spot: isotherms in every body, jumps at joints, names beside."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thermsim.report.data.result import hottest_at
from thermsim.report.data.views import Band, SectionView, section_view
from thermsim.report.drawing.labels import Labels, spread
from thermsim.report.drawing.style import FAINT, INK, SMALL, canvas, styled
from thermsim.report.figures.face_figure import (
    MARKER,
    colour_bar,
    decimals,
    draw_sheets,
    isotherms,
    label_isotherms,
    mark_spot,
    shades,
)
from thermsim.report.words.numbers import fixed
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.mesh.prediction import Prediction

WIDTH_IN = 7.0  # [in] drawn width of the stack
HEIGHT_OVER_WIDTH = 0.36  # flat stacks are stretched upwards until they have at least this height over width
STRETCHES = (1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 50, 100)


def stretch(width_mm: float, height_mm: float) -> int:
    """How many times heights are drawn the width's scale: a round number that makes a flat stack readable."""
    return next((n for n in STRETCHES if n * height_mm >= HEIGHT_OVER_WIDTH * width_mm), STRETCHES[-1])


def in_words(times: int) -> str:
    """How a section is drawn, for its title."""
    return "to scale" if times == 1 else f"drawn {times} times as high"


def section(prediction: Prediction, ax: Axes | None = None) -> Figure:
    """Section through the hottest spot, in the coordinates of the stack."""
    view = section_view(prediction)
    with styled():
        return _draw(prediction, view, ax)


def name_bands(ax: Axes, names: list[tuple[str, tuple[float, float]]], low: float, high: float) -> None:
    """Names to the right of a drawing, from the bottom up, each with a line to its place (x, z)."""
    px = ax.transData.transform([(0.0, low), (0.0, high)])[:, 1]
    gap = 1.55 * SMALL * ax.figure.dpi / 72.0 * (high - low) / abs(float(px[1] - px[0]))
    heights = spread([place[1] for _, place in names], gap, low, high)
    right = max(ax.get_xlim())
    width = right - min(ax.get_xlim())
    for (name, (x, z)), height in zip(names, heights, strict=True):
        elbow = [x, right + 0.012 * width, right + 0.03 * width]
        ax.plot(elbow, [z, height, height], color=FAINT, lw=0.7, clip_on=False, zorder=1.5)
        ax.plot(x, z, marker=".", ms=3.5, color=INK, clip_on=False, zorder=7)
        ax.text(right + 0.036 * width, height, name, ha="left", va="center", fontsize=SMALL, clip_on=False)


def _draw(prediction: Prediction, view: SectionView, ax: Axes | None) -> Figure:
    x0, x1 = min(float(sheet.x[0]) for sheet in view.sheets), max(float(sheet.x[-1]) for sheet in view.sheets)
    z1 = max(float(sheet.y[-1]) for sheet in view.sheets)
    times = stretch(x1 - x0, z1)
    drawn_in = WIDTH_IN * times * z1 / (x1 - x0)
    is_own_figure = ax is None
    figure, ax = canvas(ax, WIDTH_IN + 3.0, drawn_in + 1.9)
    ax.set_xlim(x0, x1)
    ax.set_ylim(0.0, z1)
    ax.set_aspect(times)
    if is_own_figure:
        w, h = figure.get_size_inches()
        ax.set_position((0.7 / w, 1.2 / h, WIDTH_IN / w, drawn_in / h))
    ax.apply_aspect()
    low = min(float(np.nanmin(sheet.temperature)) for sheet in view.sheets)
    levels, digits = isotherms(low, view.spot_C), decimals(low, view.spot_C)
    shade = shades(prediction)
    lines = draw_sheets(ax, view.sheets, levels, shade)
    _outlines(ax, view)
    place = ax.get_position()
    inch = 1.0 / figure.get_figheight()
    if is_own_figure:
        below = (place.x0, 0.42 * inch, place.width, 0.13 * inch)
        colour_bar(figure, shade, cax=figure.add_axes(below), orientation="horizontal")
    else:
        colour_bar(figure, shade, ax=ax, orientation="horizontal")
        ax.apply_aspect()
    ax.set_xlabel("x from the axis of the stack [mm]", labelpad=1)
    joints = " without joints" if any(band.is_joint for band in view.bands) else ""
    ax.set_ylabel(f"height{joints} [mm],\n{in_words(times)}")
    titled(ax, prediction.case, _where(prediction))
    for side in ax.spines.values():
        side.set_visible(False)
    labels = Labels(ax)
    labels.block(*view.spot, MARKER)
    inside = labels.pixels(x0, 0.0, x1, z1)
    mark_spot(labels, view.spot, f"hottest {fixed(view.spot_C, f'.{digits}f')} C", inside)
    label_isotherms(labels, lines, inside)
    name_bands(ax, [(_name(band), (band.box[2], 0.5 * (band.box[1] + band.box[3]))) for band in view.bands], 0.0, z1)
    return figure


def _where(prediction: Prediction) -> str:
    """Where the section lies, counted from the corner that the hottest spot is counted from."""
    case, field = prediction.case, prediction.field
    spot = hottest_at(case, field, field.hottest[1])
    if spot["y_mm"] is None:
        return "section through the hottest spot"
    y_mm = fixed(spot["y_mm"], ".2f")
    return f"section through the hottest spot, y\u00a0=\u00a0{y_mm}\u00a0mm from the lower left of {spot['part']}"


def _name(band: Band) -> str:
    return f"{band.name} (joint)" if band.is_joint else band.name


def _outlines(ax: Axes, view: SectionView) -> None:
    from matplotlib.patches import Rectangle

    for sheet in view.sheets:
        corner, size = (sheet.x[0], sheet.y[0]), (sheet.x[-1] - sheet.x[0], sheet.y[-1] - sheet.y[0])
        ax.add_patch(Rectangle(corner, *size, fill=False, ec=INK, lw=1.1, zorder=4, clip_on=False))
    for band in view.bands:
        if band.is_joint:
            x0, z0, x1, _ = band.box
            ax.plot([x0, x1], [z0, z0], color=INK, lw=2.8, solid_capstyle="butt", zorder=4)

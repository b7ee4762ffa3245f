"""The heated face as a contour map: zones named on the map, isotherms labelled, the hottest spot marked by a shape."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from thermsim.report.data.views import FaceView, Sheet, ZoneMark, face_view
from thermsim.report.drawing.labels import Labels, Rectangle, Spot, spread
from thermsim.report.drawing.style import (
    FAINT,
    INK,
    PAPER,
    SMALL,
    SMALLEST,
    TEXT,
    canvas,
    colour_range,
    heat_colours,
    styled,
)
from thermsim.report.words.numbers import fixed
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.mesh.prediction import Prediction

WIDEST_IN, HIGHEST_IN = 7.4, 5.6  # [in] largest size of the map itself
LEADER = 0.05  # length of the line from the map to a name beside it, as a share of the map's width
NAME_CHARACTERS = 22  # characters in a line of such a name
ISOTHERMS = 13
EVEN_K = 1e-3  # [K] a map whose temperatures differ by less is drawn in one colour
MARKER = 5.5  # [pt] half the width of the marker of the hottest spot


def active_face(prediction: Prediction, ax: Axes | None = None, ends_C: tuple[float, float] | None = None) -> Figure:
    """Contour map of the face with the hottest zone; in a slice its profile. Without heat, the hottest plane.

    ends_C : temperatures of the palest and the darkest shade, for maps to be held side by side; default: its own
    """
    view = face_view(prediction)
    with styled():
        if prediction.case.dimensions == 2:
            return _profile(prediction, view, ax)
        return _map(prediction, view, ax, ends_C)


def isotherms(low_C: float, high_C: float, most: int = ISOTHERMS) -> list[float]:
    """Round temperatures from just under the lowest to just over the highest; one pair where all is even."""
    from matplotlib.ticker import MaxNLocator

    if high_C - low_C < EVEN_K:
        middle = round(0.5 * (low_C + high_C), 2)
        return [middle - 0.5, middle + 0.5]
    hair = 1e-3 * (high_C - low_C)  # less than a pixel: no band of its own
    ticks = MaxNLocator(nbins=most, steps=[1, 2, 2.5, 5, 10]).tick_values(low_C + hair, high_C - hair)
    return [float(tick) for tick in ticks]


def decimals(low_C: float, high_C: float) -> int:
    """Decimals that tell temperatures of a range apart."""
    apart = high_C - low_C
    return 1 if apart < EVEN_K else int(np.clip(1 - np.floor(np.log10(apart)), 1, 4))


def shade_ends(prediction: Prediction) -> tuple[float, float]:
    """Temperatures [C] of the palest and the darkest shade of its maps: from the coolant to the hottest spot."""
    field = prediction.field
    return colour_range(float(np.nanmin(field.temperature)), field.coolant_C, field.hottest[0])


def shades(prediction: Prediction, ends_C: tuple[float, float] | None = None) -> Any:
    """The colours of all maps of a prediction, from the coolant to the hottest spot unless other ends are given."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    return ScalarMappable(Normalize(*(ends_C or shade_ends(prediction))), heat_colours())


def colour_bar(figure: Figure, shade: Any, **place: Any) -> None:
    """The whole range of colours, with its ends in words."""
    from matplotlib.ticker import MaxNLocator

    low, high = shade.norm.vmin, shade.norm.vmax
    bar = figure.colorbar(shade, **place)
    step = MaxNLocator(nbins=10, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    apart = 0.4 * (step[1] - step[0])
    bar.set_ticks([low, *(float(tick) for tick in step if low + apart < tick < high - apart), high])
    bar.ax.yaxis.set_major_formatter("{x:g}")
    bar.ax.xaxis.set_major_formatter("{x:g}")
    bar.set_label(f"temperature [C], colours from {low:g} to {high:g} C")
    bar.outline.set_linewidth(0.6)


def draw_sheets(ax: Axes, sheets: tuple[Sheet, ...], levels: list[float], shade: Any) -> list[tuple[float, Any]]:
    """Filled bands and lines; returns (temperature, points) of every line."""
    lines: list[tuple[float, Any]] = []
    for sheet in sheets:
        values = np.ma.masked_invalid(np.clip(sheet.temperature.T, levels[0], levels[-1]))
        ax.contourf(sheet.x, sheet.y, values, levels=levels, cmap=shade.cmap, norm=shade.norm, zorder=1)
        drawn = ax.contour(sheet.x, sheet.y, values, levels=levels, colors=INK, linewidths=0.6, alpha=0.75, zorder=2)
        lines += [
            (level, points)
            for level, pieces in zip(drawn.levels, drawn.allsegs, strict=True)
            for points in pieces
            if len(points) > 1
        ]
    return lines


def label_isotherms(labels: Labels, lines: list[tuple[float, Any]], inside: Rectangle | None, most: int = 14) -> None:
    """A temperature on the longest lines, along the line, wherever nothing else stands."""
    pixels = [labels.ax.transData.transform(points) for _, points in lines]
    lengths = [float(np.hypot(*np.diff(path, axis=0).T).sum()) for path in pixels]
    placed = 0
    for number in np.argsort(lengths)[::-1]:
        if placed == most or lengths[number] < 45.0:
            return
        level, points = lines[number]
        label = labels.place(f"{level:g}", _along(points, pixels[number]), inside, color=INK, zorder=6)
        placed += label is not None


def mark_spot(labels: Labels, spot: tuple[float, float], text: str, inside: Rectangle | None = None) -> None:
    """A diamond, and its label at the nearest free place with a line to it."""
    labels.ax.plot(*spot, marker="D", ms=6.5, mfc=PAPER, mec=INK, mew=1.3, ls="none", zorder=8, clip_on=False)
    spots = [
        Spot(*spot, SMALL, across=across, up=up, offset_points=(distance * dx, distance * dy))
        for distance in (9, 16, 26, 38, 54, 76)
        for dx, dy, across, up in (
            (0.7, 0.7, "left", "bottom"),
            (-0.7, 0.7, "right", "bottom"),
            (0, 1, "center", "bottom"),
            (0, -1, "center", "top"),
            (0.7, -0.7, "left", "top"),
            (-0.7, -0.7, "right", "top"),
            (1, 0, "left", "center"),
            (-1, 0, "right", "center"),
        )
    ]
    line = {"arrowstyle": "-", "color": INK, "lw": 0.7, "shrinkB": 4}
    labels.place(text, spots, inside, weight="bold", color=INK, zorder=9, arrowprops=line)


def scale_bar(ax: Axes, width_mm: float) -> None:
    """A bar of a round length over the right end of what is drawn."""
    from matplotlib.ticker import MaxNLocator
    from matplotlib.transforms import offset_copy

    length = float(MaxNLocator(nbins=5, steps=[1, 2, 5, 10]).tick_values(0.0, width_mm)[1])
    figure = ax.get_figure(root=True)
    raised = offset_copy(ax.get_xaxis_transform(), figure, 0.0, 7.0, units="points")
    ends = [width_mm - length, width_mm]
    ax.plot(ends, [1.0, 1.0], color=INK, lw=2.0, marker="|", ms=6, mew=1.2, clip_on=False, transform=raised)
    above = offset_copy(raised, figure, 0.0, 4.0, units="points")
    ax.text(width_mm - length / 2, 1.0, f"{length:g} mm", ha="center", va="bottom", fontsize=SMALL, transform=above)


def _map(prediction: Prediction, view: FaceView, ax: Axes | None, ends_C: tuple[float, float] | None) -> Figure:
    width, height = float(view.sheet.x[-1]), float(view.sheet.y[-1])
    is_own_figure = ax is None
    scale = min(WIDEST_IN / width, HIGHEST_IN / height)
    inches = (width * scale + 1.9, height * scale + 1.45)
    figure, ax = canvas(ax, *inches)
    scale_of_own = scale if is_own_figure else None
    sides = _fit(figure, ax, view, scale_of_own, (0.0, 0.0))
    if any(sides):
        if is_own_figure:
            figure.set_size_inches(inches[0] + sum(sides) * width * scale, inches[1])
        _fit(figure, ax, view, scale_of_own, sides)
    labels = Labels(ax)
    low, high = float(np.nanmin(view.sheet.temperature)), float(np.nanmax(view.sheet.temperature))
    levels, digits = isotherms(low, max(high, view.spot_C)), decimals(low, high)
    shade = shades(prediction, ends_C)
    lines = draw_sheets(ax, (view.sheet,), levels, shade)
    _outlines(ax, view, width, height)
    _colour_bar(figure, ax, shade, is_own_figure)
    means = "; zones: mean temperatures" if view.zones else ""
    titled(ax, prediction.case, view.what + means, pad=26)
    scale_bar(ax, width)
    map_pixels = labels.pixels(0.0, 0.0, width, height)
    even = view.is_hottest and view.is_even(prediction.doubts.get(("hottest",)))
    if not even:
        labels.block(*view.spot, MARKER)
    left_out = [zone for zone in view.zones if not _name_zone(labels, zone, digits)]
    _call_out(labels, left_out, width, height, digits)
    if even:
        alike = Spot(0.5 * width, 0.94 * height, SMALL)
        words = f"everywhere alike: {fixed(view.spot_C, f'.{digits}f')} C"
        labels.place(words, [alike], weight="bold", color=INK, zorder=9)
    else:
        word = "hottest" if view.is_hottest else "hottest here"
        mark_spot(labels, view.spot, f"{word} {fixed(view.spot_C, f'.{digits}f')} C", map_pixels)
        label_isotherms(labels, lines, map_pixels)
    return figure


def _fit(
    figure: Figure, ax: Axes, view: FaceView, scale: float | None, strips: tuple[float, float]
) -> tuple[float, float]:
    """Set limits and size; returns the strips that zones too small for their names need to the left and right."""
    width, height = float(view.sheet.x[-1]), float(view.sheet.y[-1])
    ax.set_xlim(-strips[0] * width, (1.0 + strips[1]) * width)
    ax.set_ylim(0.0, height)
    ax.set_aspect("equal")
    ax.set_xlabel(f"x from the left edge of {view.part} [mm]")
    ax.set_ylabel("y from its front edge [mm]")
    if scale is not None:
        w, h = figure.get_size_inches()
        ax.set_position((0.7 / w, 0.62 / h, (1.0 + sum(strips)) * width * scale / w, height * scale / h))
    ax.apply_aspect()
    labels = Labels(ax)
    labels.block(*view.spot, MARKER)
    small = [zone for zone in view.zones if not _name_zone(labels, zone, 1, keep=False)]
    x0, _, x1, _ = labels.pixels(0.0, 0.0, width, height)
    needed = [0.0, 0.0]
    for zone in small:
        side = int(_lies_right(zone, width))
        share = labels.size(_beside(zone, 2), SMALL)[0] / (x1 - x0)
        needed[side] = max(needed[side], LEADER + share)
    return needed[0], needed[1]


def _beside(zone: ZoneMark, digits: int) -> str:
    """What stands beside the map for a zone that is too small for it."""
    return f"{textwrap.fill(zone.zone, NAME_CHARACTERS)}\n{zone.mean_C:.{digits}f} C"


def _lies_right(zone: ZoneMark, width: float) -> bool:
    return zone.box[0] + zone.box[2] > width


def _outlines(ax: Axes, view: FaceView, width: float, height: float) -> None:
    from matplotlib.patches import Rectangle as Patch

    for zone in view.zones:
        x0, y0, x1, y1 = zone.box
        ax.add_patch(Patch((x0, y0), x1 - x0, y1 - y0, fill=False, ec=INK, lw=1.3, zorder=4))
    for x0, y0, x1, y1 in view.voids:
        ax.add_patch(Patch((x0, y0), x1 - x0, y1 - y0, fc=PAPER, ec=FAINT, hatch="xxxx", lw=0.9, zorder=3))
    ax.add_patch(Patch((0.0, 0.0), width, height, fill=False, ec=INK, lw=1.8, zorder=5, clip_on=False))
    for side in ax.spines.values():
        side.set_visible(False)
    ax.set_xticks([tick for tick in ax.get_xticks() if -1e-9 <= tick <= width * (1 + 1e-9)])


def _colour_bar(figure: Figure, ax: Axes, shade: Any, own: bool) -> None:
    if own:
        place = ax.get_position()
        inch = 1.0 / figure.get_figwidth()
        beside = (place.x1 + 0.2 * inch, place.y0, 0.16 * inch, place.height)
        colour_bar(figure, shade, cax=figure.add_axes(beside))
    else:
        colour_bar(figure, shade, ax=ax)
        ax.apply_aspect()


def _name_zone(labels: Labels, zone: ZoneMark, digits: int, keep: bool = True) -> bool:
    """Name and mean temperature inside a zone; False if that does not fit at any size."""
    x0, y0, x1, y1 = zone.box
    x, y = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
    two, one = f"{zone.zone}\n{zone.mean_C:.{digits}f} C", f"{zone.zone}  {zone.mean_C:.{digits}f} C"
    places = [(x, y), (x, y + 0.22 * (y1 - y0)), (x, y - 0.22 * (y1 - y0))]
    places += [(x + side * 0.25 * (x1 - x0), y) for side in (-1, 1)]
    spots = [
        Spot(px, py, size, turn, text=text)
        for size in (TEXT, SMALL, SMALLEST)
        for turn in (0.0, 90.0)
        for text in (two, one)
        for px, py in places
    ]
    label = labels.place(two, spots, labels.pixels(x0, y0, x1, y1), color=INK, zorder=7)
    if label is not None and not keep:
        label.remove()
    return label is not None


def _call_out(labels: Labels, zones: list[ZoneMark], width: float, height: float, digits: int) -> None:
    """Names of small zones beside the map, each with a line to its zone."""
    _, y0, _, y1 = labels.pixels(0.0, 0.0, width, height)
    for on_right in (False, True):
        own = [zone for zone in zones if _lies_right(zone, width) == on_right]
        own.sort(key=lambda zone: zone.box[1] + zone.box[3])
        tallest = max((labels.size(_beside(zone, digits), SMALL)[1] for zone in own), default=0.0)
        room = height / (y1 - y0)  # [mm/pixel]
        rim = 0.5 * tallest * room
        middles = [0.5 * (zone.box[1] + zone.box[3]) for zone in own]
        places = spread(middles, 1.15 * tallest * room, rim, height - rim)
        for zone, middle, place in zip(own, middles, places, strict=True):
            at = (0.5 * (zone.box[0] + zone.box[2]), middle)
            x = (1.0 + 0.8 * LEADER) * width if on_right else -0.8 * LEADER * width
            labels.ax.plot([at[0], x], [at[1], place], color=INK, lw=0.7, zorder=6, clip_on=False)
            labels.ax.plot(*at, marker="o", ms=2.2, color=INK, zorder=6)
            aside = (3.0 if on_right else -3.0, 0.0)
            spot = Spot(x, place, SMALL, across="left" if on_right else "right", offset_points=aside)
            labels.place(_beside(zone, digits), [spot], color=INK, zorder=7)


def _along(points: Any, pixels: Any) -> Iterator[Spot]:
    """Places on a line from its middle outwards, turned with it."""
    count = len(points)
    order = sorted(range(1, count), key=lambda n: abs(n - count // 2))
    for n in order[:: max(1, count // 40)]:
        dx, dy = pixels[n] - pixels[n - 1]
        turn = float(np.degrees(np.arctan2(dy, dx)))
        turn = turn - 180.0 if turn > 90.0 else turn + 180.0 if turn < -90.0 else turn
        yield Spot(float(points[n][0]), float(points[n][1]), SMALLEST + 0.5, turn)


def _profile(prediction: Prediction, view: FaceView, ax: Axes | None) -> Figure:
    """A slice has a line for a face: temperature over x, zones as spans."""
    figure, ax = canvas(ax, 8.6, 4.2)
    line = view.sheet.temperature[:, 0]
    ax.plot(view.sheet.x, line, color=INK, lw=1.8, zorder=3)
    low, high = float(np.nanmin(line)), max(float(np.nanmax(line)), view.spot_C)
    room, digits = max(high - low, 1e-3), decimals(low, high)
    ax.set_xlim(0.0, float(view.sheet.x[-1]))
    ax.set_ylim(low - 0.15 * room, high + 0.55 * room)
    ax.set_xlabel(f"x from the left edge of {view.part} [mm]")
    ax.set_ylabel("temperature [C]")
    titled(ax, prediction.case, view.what)
    figure.subplots_adjust(0.1, 0.14, 0.97, 0.86)
    labels = Labels(ax)
    labels.block(view.spot[0], view.spot_C, MARKER)
    for number, zone in enumerate(view.zones):
        x0, _, x1, _ = zone.box
        ax.axvspan(x0, x1, fc="#f0e4dc" if number % 2 else "#f8f1ec", ec=FAINT, lw=0.8, zorder=0)
        place = (0.5 * (x0 + x1), high + 0.42 * room)
        spots = [Spot(*place, size, turn) for size in (TEXT, SMALL, SMALLEST) for turn in (0.0, 90.0)]
        inside = labels.pixels(x0, ax.get_ylim()[0], x1, ax.get_ylim()[1])
        labels.place(f"{zone.zone}\n{zone.mean_C:.{digits}f} C", spots, inside, color=INK, zorder=7)
    for x0, _, x1, _ in view.voids:
        ax.axvspan(x0, x1, fc=PAPER, ec=FAINT, hatch="xxxx", lw=0.8, zorder=1)
    mark_spot(labels, (view.spot[0], view.spot_C), f"hottest {fixed(view.spot_C, f'.{digits}f')} C")
    return figure

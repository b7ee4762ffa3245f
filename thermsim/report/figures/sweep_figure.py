"""The picture of a sweep: curves with their mesh doubt over one quantity, a contour map over two."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from thermsim.readout.observable import Observable
from thermsim.report.drawing.labels import Labels, Spot, spread
from thermsim.report.drawing.style import (
    FAINT,
    INK,
    PALE,
    PAPER,
    SMALL,
    SMALLEST,
    SOLID,
    TEXT,
    canvas,
    heat_colours,
    ink_with_halo,
    styled,
)
from thermsim.report.text.sweep_table import title_words, within_words
from thermsim.report.words.input_doubt import band_cells
from thermsim.report.words.numbers import significant, with_doubt
from thermsim.report.words.titles import title_of
from thermsim.rounding import times_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.sweeps.lowest import Valley
    from thermsim.sweeps.points import Range
    from thermsim.sweeps.sweep import Point, Sweep

Array = NDArray[np.float64]

WIDTH_in, CURVES_in, MAP_in = 7.4, 4.8, 5.2
# Colour, line and marker of each curve: curves can be told apart without colour.
LINES: tuple[tuple[str, str, str], ...] = (
    (SOLID, "-", "o"),
    (INK, "--", "s"),
    (FAINT, "-.", "^"),
    (SOLID, ":", "D"),
    (INK, "-", "v"),
    (FAINT, "--", "P"),
)
LEVELS = 12
# Height of a curve's name, as a share of the height of the axes; of one with an interval.
NAME_SHARE, LONG_NAME_SHARE = 0.095, 0.13
LEAST_RANGE_K = 0.02  # [K] least length of an axis of temperature: smaller differences are not magnified


def sweep_figure(found: Sweep, ax: Axes | None = None) -> Figure:
    """The picture of a sweep; on given axes, of two quantities the first temperature watched alone."""
    with styled():
        if ax is not None:
            (_curves if len(found.ranges) == 1 else _map)(
                ax, found, *([] if len(found.ranges) == 1 else [found.questions[0]])
            )
            return canvas(ax, 0.0, 0.0)[0]
        return _curve_page(found) if len(found.ranges) == 1 else _map_page(found)


# ---- one quantity -----------------------------------------------------------------------------------------------


def _curve_page(found: Sweep) -> Figure:
    figure, axes = canvas(None, WIDTH_in, CURVES_in)
    words = title_of(found.case, title_words(found), 76)
    head = 0.42 + 0.19 * words.count("\n") + (0.42 if found.same_height else 0.0)
    figure.subplots_adjust(0.095, 0.62 / CURVES_in, 0.745, 1.0 - head / CURVES_in)
    figure.text(0.02, 1.0 - 0.1 / CURVES_in, words, va="top", weight="bold", fontsize=TEXT + 1.5)
    _curves(axes, found)
    if not found.all_exact:
        often = times_in(found.inputs.coverage)
        key = f"Pale: mesh doubt. Between the thin lines {often}, by mesh and tolerances of the inputs."
        figure.text(0.02, 0.05 / CURVES_in, key, va="bottom", fontsize=SMALLEST, color=FAINT)
    return figure


def _curves(ax: Axes, found: Sweep) -> None:
    """Temperatures with bands of mesh doubt and, between thin lines, of mesh and inputs; a gap where a point has no
    answer; the lowest point of each marked."""
    over = found.ranges[0]
    x = np.array(over.values)
    _scale(ax, over)
    for number, question in enumerate(found.questions):
        colour, line, marker = LINES[number % len(LINES)]
        y, half = found.values(question), found.half_widths(question)
        ax.fill_between(
            x,
            y - half,
            y + half,
            color=PALE if colour == SOLID else FAINT,
            alpha=0.9 if colour == SOLID else 0.3,
            lw=0,
            zorder=1,
        )
        for end in found.ends(question):
            ax.plot(x, np.where(np.isinf(end), np.nan, end), color=colour, ls=line, lw=0.6, alpha=0.8, zorder=2)
        ax.plot(x, y, color=colour, ls=line, lw=1.4, zorder=3, marker=marker, ms=3.6, mfc=colour, mec=colour)
    _limits(ax, found)
    _gaps(ax, found, x)
    _names(ax, found)
    for question in found.questions:
        low = found.lowest(question)
        value = found.points[low.number].doubts[question].value
        ax.plot(found.points[low.number].values, [value], marker="o", ms=9, mfc="none", mec=INK, mew=1.1, zorder=5)
        ax.plot(low.within[0], [value] * 2, color=INK, lw=3.2, alpha=0.35, solid_capstyle="butt", zorder=2)
        for valley in low.valleys:
            _valley_mark(ax, found, question, valley)
    if found.same_height is not None:
        _thickness_axis(ax, found)


def _valley_mark(ax: Axes, found: Sweep, question: Observable, valley: Valley) -> None:
    """A dashed bar below the lowest point of another valley, as wide as the range that is not resolved there."""
    value = found.points[valley.number].doubts[question].value
    ax.plot(valley.within[0], [value] * 2, color=INK, lw=1.1, ls=(0, (3, 2)), zorder=2)
    text = ax.annotate(
        "second valley:\nsweep there too",
        (found.points[valley.number].values[0], value),
        xytext=(0, -5),
        textcoords="offset points",
        ha="center",
        va="top",
        fontsize=SMALLEST,
        zorder=6,
    )
    ink_with_halo(text, 2.0)


def _corner(ax: Axes) -> tuple[float, float, float, float]:
    (x0, x1), (y0, y1) = ax.get_xlim(), ax.get_ylim()
    return x0, y0, x1, y1


def _scale(ax: Axes, over: Range, axis: str = "x") -> None:
    """Even or logarithmic axis with plain numbers."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    own = ax.xaxis if axis == "x" else ax.yaxis
    if over.is_log:
        (ax.set_xscale if axis == "x" else ax.set_yscale)("log")
        every = -(-len(over.values) // 7)
        own.set_major_locator(FixedLocator(list(over.values[::every])))
        own.set_minor_locator(NullLocator())
        own.set_major_formatter(FuncFormatter(lambda value, _: significant(value, 3)))
    (ax.set_xlabel if axis == "x" else ax.set_ylabel)(over.label)


def _limits(ax: Axes, found: Sweep) -> None:
    over = found.ranges[0]
    ax.set_xlim(*_room(over, 0.03))
    drawn = [found.values(q) + sign * found.half_widths(q) for q in found.questions for sign in (-1.0, 1.0)]
    drawn += [end for q in found.questions for end in found.ends(q)]
    seen = np.concatenate(drawn)[np.isfinite(np.concatenate(drawn))]
    low, high = float(seen.min()), float(seen.max())
    room, middle = max(high - low, LEAST_RANGE_K), 0.5 * (high + low)
    ax.set_ylim(middle - 0.66 * room, middle + 0.58 * room)
    from matplotlib.ticker import MaxNLocator, ScalarFormatter

    ax.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    plain = ScalarFormatter(useOffset=False)
    plain.set_scientific(False)
    ax.yaxis.set_major_formatter(plain)
    ax.set_ylabel("temperature [C]")
    ax.grid(axis="y", color=FAINT, alpha=0.2, lw=0.6)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


def _room(over: Range, share: float) -> tuple[float, float]:
    low, high = over.values[0], over.values[-1]
    if over.is_log:
        more = (high / low) ** share
        return low / more, high * more
    return low - share * (high - low), high + share * (high - low)


def _gaps(ax: Axes, found: Sweep, x: Array) -> None:
    """A hatched strip over points without an answer, with the reason in it."""
    gap = np.array([bool(point.failure) for point in found.points])
    edges = _edges(found.ranges[0], x)
    number = 0
    while number < len(gap):
        if not gap[number]:
            number += 1
            continue
        last = number
        while last + 1 < len(gap) and gap[last + 1] and found.points[last + 1].kind == found.points[number].kind:
            last += 1
        low, high = edges[number], edges[last + 1]
        ax.axvspan(low, high, fc=PAPER, ec=FAINT, hatch="///", alpha=0.5, lw=0, zorder=0)
        middle = float(np.sqrt(low * high)) if found.ranges[0].is_log else 0.5 * (low + high)
        words = f"no answer: {found.points[number].kind}"
        text = ax.text(middle, 0.5, words, transform=ax.get_xaxis_transform(), ha="center", va="center", fontsize=SMALL)
        text.set_rotation(90)
        ink_with_halo(text, 3.0)
        number = last + 1


def _edges(over: Range, x: Array) -> Array:
    """(n+1,) between the values, and as far beyond both ends."""
    own = np.log(x) if over.is_log else x
    middle = 0.5 * (own[1:] + own[:-1])
    edges = np.concatenate([[2 * own[0] - middle[0]], middle, [2 * own[-1] - middle[-1]]])
    return np.asarray(np.exp(edges) if over.is_log else edges)


def _names(ax: Axes, found: Sweep) -> None:
    """The name of each curve, and where it is lowest, beside its last point and apart from one another."""
    ends = []
    for question in found.questions:
        y = found.values(question)
        last = int(np.flatnonzero(~np.isnan(y))[-1])
        ends.append((float(y[last]), found.ranges[0].values[last], question))
    ends.sort(key=lambda one: one[0])
    low, high = ax.get_ylim()
    room = 0.05 * (high - low)
    share = NAME_SHARE if found.all_exact else LONG_NAME_SHARE
    places = spread([value for value, _, _ in ends], share * (high - low), low + room, high - room)
    for place, (value, x, question) in zip(places, ends, strict=True):
        up = (place - low) / (high - low)
        lead = {"arrowstyle": "-", "color": FAINT, "lw": 0.6, "alpha": 0.7, "shrinkA": 1, "shrinkB": 4}
        style: Any = {"textcoords": "axes fraction", "annotation_clip": False, "linespacing": 1.25}
        ax.annotate("", (x, value), xytext=(1.025, up), arrowprops=lead, **style)
        point = found.points[found.lowest(question).number]
        doubt = point.doubts[question]
        words = [f"lowest {with_doubt(doubt.value, doubt.half_width)} at {significant(point.values[0], 4)}"]
        words += [] if point.inputs is None else [_interval(found, point, question)]
        lines = [(str(question), 0.004, SMALL), *((text, -0.036 * n, SMALLEST) for n, text in enumerate(words, 1))]
        for text, offset, size in lines:
            ax.annotate(text, (1.03, up + offset), xycoords="axes fraction", va="bottom", fontsize=size, **style)


def _interval(found: Sweep, point: Point, question: Observable) -> str:
    """`9 times in 10: 71.9 to 75.8`"""
    assert point.inputs is not None
    _, words = band_cells(point.doubts[question].value, point.inputs.bands[question])
    return f"{times_in(found.inputs.coverage)}: {words}"


def _thickness_axis(ax: Axes, found: Sweep) -> None:
    """Above: the thickness of the part that keeps the height."""
    x = np.array(found.ranges[0].values)
    made_up = [point.made_up_mm for point in found.points]
    above = ax.twiny()
    if found.ranges[0].is_log:
        above.set_xscale("log")
    above.set_xlim(*ax.get_xlim())
    ticks = [tick for tick in ax.get_xticks() if x[0] * (1 - 1e-9) <= tick <= x[-1] * (1 + 1e-9)]
    words = [f"{np.interp(tick, x, np.array(made_up, dtype=float)):.4g}" for tick in ticks]
    from matplotlib.ticker import NullLocator

    above.xaxis.set_minor_locator(NullLocator())
    above.set_xticks(ticks, words)
    above.set_xlabel(f"{found.same_height}.thickness_mm, which keeps the height", fontsize=SMALL, color=FAINT)
    above.tick_params(colors=FAINT)
    above.spines["right"].set_visible(False)


# ---- two quantities ---------------------------------------------------------------------------------------------


def _map_page(found: Sweep) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    words = title_of(found.case, title_words(found), 72)
    head = 0.2 + 0.19 * (words.count("\n") + 1)
    panels = len(found.questions)
    height = head + MAP_in * panels
    figure = Figure(figsize=(WIDTH_in, height))
    FigureCanvasAgg(figure)
    for number, question in enumerate(found.questions):
        bottom = height - head - MAP_in * (number + 1)
        axes = figure.add_axes((0.125, (bottom + 0.85) / height, 0.845, (MAP_in - 1.15) / height))
        _map(axes, found, question)
    figure.text(0.02, 1.0 - 0.1 / height, words, va="top", weight="bold", fontsize=TEXT + 1.5)
    return figure


def _map(ax: Axes, found: Sweep, question: Observable) -> None:
    """Contours of a temperature, the valley, the lowest point, and what cannot be told apart from it."""
    across, up = found.ranges
    x, y = np.array(across.values), np.array(up.values)
    values = found.values(question).T
    _scale(ax, across)
    _scale(ax, up, "y")
    ax.set_xlim(*_room(across, 0.02))
    ax.set_ylim(*_room(up, 0.02))
    levels = _levels(values)
    if len(x) > 1 and len(y) > 1 and np.isfinite(values).sum() > 2:
        masked: Any = np.ma.masked_invalid(values)
        ax.contourf(x, y, masked, levels=levels, cmap=heat_colours(), extend="both", zorder=1)
        lines = ax.contour(x, y, masked, levels=levels, colors=INK, linewidths=0.7, zorder=2)
        step = float(levels[1] - levels[0])
        decimals = next((digits for digits in range(6) if abs(round(step, digits) - step) < 1e-6 * step), 6)
        for text in ax.clabel(lines, fontsize=SMALL, fmt=f"%.{decimals}f C", inline_spacing=3):
            ink_with_halo(text)
    low = found.lowest(question)
    point = found.points[low.number]
    doubt = point.doubts[question]
    alike = np.array([found.points[number].values for number in low.alike])
    ax.plot(alike[:, 0], alike[:, 1], ls="none", marker="o", ms=9, mfc="none", mec=INK, mew=1.1, zorder=5)
    is_gap = np.isnan(values)
    grid_x, grid_y = np.meshgrid(x, y)
    ax.plot(grid_x[~is_gap], grid_y[~is_gap], ls="none", marker=".", ms=2.2, color=INK, alpha=0.5, zorder=3)
    ax.plot(grid_x[is_gap], grid_y[is_gap], ls="none", marker="x", ms=5, color=FAINT, zorder=3)
    has_valley = _valley(ax, x, y, values)
    ax.plot(*point.values, marker="*", ms=13, mfc=PAPER, mec=INK, mew=1.0, zorder=6)
    at_x, at_y = point.values
    labels = Labels(ax)
    labels.block(at_x, at_y, 7.0)
    words = f"lowest: {with_doubt(doubt.value, doubt.half_width)} C"
    words += "" if point.inputs is None else f",\n{_interval(found, point, question)}"
    spots = [
        Spot(at_x, at_y, TEXT, across=side, up=level, offset_points=(dx, dy))
        for dx, dy, side, level in (
            (0.0, 10.0, "center", "bottom"),
            (0.0, -10.0, "center", "top"),
            (10.0, 0.0, "left", "center"),
            (-10.0, 0.0, "right", "center"),
            (-8.0, 10.0, "right", "bottom"),
            (8.0, 10.0, "left", "bottom"),
        )
    ]
    labels.place(words, spots, labels.pixels(*_corner(ax)), weight="bold", zorder=7)
    ax.set_title(f"{question} [C]", fontsize=TEXT, fontweight="normal", pad=6)
    key = ["star: lowest point"]
    key += ["dashed: lowest upwards (parabola between points)"] if has_valley else []
    key += [f"rings: the same {within_words(found).lower()}"] if len(alike) > 1 else []
    key += ["crosses: no answer"] if is_gap.any() else []
    for valley in low.valleys:
        (x0, x1), (y0, y1) = valley.within
        ax.plot([x0, x1, x1, x0, x0], [y0, y0, y1, y1, y0], color=INK, lw=1.1, ls=(0, (3, 2)), zorder=5)
    key += ["dashed box: a second valley, sweep there too"] if low.valleys else []
    ax.text(0.0, -0.55, "; ".join(key), transform=_below(ax), fontsize=SMALLEST + 1.0, color=FAINT, va="top")


def _below(ax: Axes) -> Any:
    """Axes fraction across, inches downwards from the lower edge of the axes."""
    from matplotlib.transforms import ScaledTranslation, blended_transform_factory

    figure = ax.get_figure(root=True)
    assert figure is not None
    bottom_in = ax.get_position().y0 * figure.get_figheight()
    inches = figure.dpi_scale_trans
    return blended_transform_factory(ax.transAxes, inches) + ScaledTranslation(0.0, bottom_in, inches)


def _levels(values: Array) -> Array:
    """Round temperatures, up to twelve between the lowest and the highest."""
    from matplotlib.ticker import MaxNLocator

    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if high - low < LEAST_RANGE_K:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * LEAST_RANGE_K, middle + 0.5 * LEAST_RANGE_K
    return np.asarray(MaxNLocator(LEVELS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))


def _valley(ax: Axes, x: Array, y: Array, values: Array) -> bool:
    """For each value across the lowest place upwards, where it lies inside the range; False where there is none."""
    floor = []
    for at, column in zip(x.tolist(), values.T, strict=True):
        if np.isnan(column).all():
            continue
        lowest = int(np.nanargmin(column))
        near = slice(lowest - 1, lowest + 2)
        if 0 < lowest < len(y) - 1 and not np.isnan(column[near]).any():
            bend, slope, _ = np.polyfit(y[near] - y[lowest], column[near], 2)
            floor.append((at, float(y[lowest] - 0.5 * slope / bend) if bend > 0.0 else float(y[lowest])))
    if len(floor) > 1:
        ax.plot(*zip(*floor, strict=True), color=INK, lw=1.3, ls=(0, (5, 3)), zorder=5)
    return len(floor) > 1

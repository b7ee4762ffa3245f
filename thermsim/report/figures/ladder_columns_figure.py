"""The ladders of base and options beside one another: one column a case, one row for each part and joint."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from thermsim.report.drawing.style import FAINT, INK, PALE, SMALL, SMALLEST, SOLID, TEXT, canvas, styled
from thermsim.report.words.comparison import predictions
from thermsim.report.words.numbers import fixed
from thermsim.report.words.titles import CHARACTERS_PER_INCH, title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.comparison.outcome import Comparison
    from thermsim.readout.ladder import Ladder, Rung

HEAD_LINES, HEAD_CHARACTERS = 4, 24
ABREAST = 4  # options beside the base in one band of columns; further ones stand in a band below
NAME_in, COLUMN_in, ROW_in, BAND_in, LINE_in, TOP_in, BOTTOM_in = 1.9, 1.75, 0.4, 0.42, 0.145, 0.3, 0.5
# Height of a bar, where a row is 1; share of a column that is left for the numbers beside the bars.
BAR, NUMBER = 0.6, 0.40
CHANGED_K = 0.005
Column = tuple[str, "Ladder | None"]


def ladders(comparison: Comparison) -> Figure:
    """Kelvin lost in each part and joint, for the base and every option, all bars on one scale.

    Raises ValueError where neither the base nor an option has a ladder (no heat, or no film that takes it).
    """
    columns: list[Column] = [(name, prediction.ladder) for name, prediction in predictions(comparison)]
    if all(ladder is None for _, ladder in columns):
        raise ValueError(
            "neither base nor options have a ladder: no part makes heat, or neither top nor bottom takes it"
        )
    with styled():
        return _draw(comparison, columns)


def items(columns: list[Column]) -> list[str]:
    """Names of all rungs from the source down; what only an option has stands where it is met."""
    found: list[str] = []
    for _, ladder in columns:
        place = 0
        for rung in ladder.rungs if ladder is not None else ():
            if rung.item in found:
                place = found.index(rung.item) + 1
            else:
                found.insert(place, rung.item)
                place += 1
    return found


def _draw(comparison: Comparison, columns: list[Column]) -> Figure:
    base, options = columns[0], columns[1:]
    bands = [[base, *options[start : start + ABREAST]] for start in range(0, len(options), ABREAST)] or [[base]]
    rows = items(columns)
    widest = max(len(band) for band in bands)
    width = max(NAME_in + COLUMN_in * widest + 0.3, 7.0)
    title = title_of(
        comparison.case, "kelvin lost from the hottest spot to the coolant", int(CHARACTERS_PER_INCH * width)
    )
    top = TOP_in + 0.17 * title.count("\n")
    tall = ROW_in * (len(rows) + 1)
    head = BAND_in + LINE_in * max(len(_head(name)) for name, _ in columns)
    height = top + BOTTOM_in + len(bands) * (head + tall)
    figure, first = canvas(None, width, height)
    figure.delaxes(first)
    figure.text(0.02, 1.0 - 0.12 / height, title, va="top", weight="bold", fontsize=TEXT + 1.5)
    ends = [rung.drop_K for _, ladder in columns if ladder is not None for rung in ladder.rungs]
    scale = min(0.0, *ends), max(*ends, 1e-9)
    for number, band in enumerate(bands):
        bottom = height - top - (number + 1) * (head + tall)
        for place, column in enumerate(band):
            box = (NAME_in + place * COLUMN_in) / width, bottom / height, 0.94 * COLUMN_in / width, tall / height
            _column(figure, box, column, rows, None if place == 0 else base[1], scale, named=place == 0)
    _key(figure)
    return figure


def _column(
    figure: Figure,
    box: tuple[float, float, float, float],
    column: Column,
    rows: list[str],
    base: Ladder | None,
    scale: tuple[float, float],
    named: bool,
) -> None:
    name, ladder = column
    ax = figure.add_axes(box)
    room = (scale[1] - scale[0]) / (1.0 - NUMBER)
    ax.set_xlim(scale[0], scale[0] + room)
    ax.set_ylim(len(rows) + 0.5, -0.5)
    ax.set_xticks([])
    ax.set_yticks(range(len(rows) + 1), [*(textwrap.fill(row, 24) for row in rows), "together"] if named else [])
    ax.tick_params(axis="y", length=0)
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    ax.axhline(len(rows) - 0.5, color=FAINT, lw=0.8)
    ax.annotate("\n".join(_head(name)), (0.0, 1.0), xycoords="axes fraction", xytext=(0, 17),
                textcoords="offset points", va="bottom", fontsize=SMALL, weight="bold", linespacing=1.05)  # fmt: skip
    if ladder is None:
        ax.annotate("no ladder", (0.05, 0.5), xycoords="axes fraction", fontsize=SMALL)
        return
    start = f"from {fixed(ladder.start_C, '.1f')} C in {ladder.label}"
    ax.annotate(_short(start, 26), (0.0, 1.0), xycoords="axes fraction", xytext=(0, 4), textcoords="offset points",
                va="bottom", fontsize=SMALL - 0.5)  # fmt: skip
    drops = {rung.item: rung for rung in ladder.rungs}
    before = None if base is None else {rung.item: rung.drop_K for rung in base.rungs}
    for row, item in enumerate(rows):
        rung = drops.get(item)
        if rung is not None:
            _rung(ax, row, rung)
        _number(ax, row, max(rung.drop_K, 0.0) if rung is not None else 0.0, None if rung is None else rung.drop_K,
                None if before is None else before.get(item, 0.0))  # fmt: skip
    total = sum(rung.drop_K for rung in ladder.rungs)
    _number(ax, len(rows), 0.0, total, None if before is None else sum(before.values()))


def _head(name: str) -> list[str]:
    lines = textwrap.wrap(name, HEAD_CHARACTERS)
    if len(lines) <= HEAD_LINES:
        return lines
    return [*lines[: HEAD_LINES - 1], f"{lines[HEAD_LINES - 1][: HEAD_CHARACTERS - 4]} ..."]


def _rung(ax: Axes, row: int, rung: Rung) -> None:
    even = min(max(rung.even_K, 0.0), max(rung.drop_K, 0.0))
    ax.barh(row, even, height=BAR, fc=SOLID, ec=INK, lw=0.7)
    ax.barh(row, rung.drop_K - even, left=even, height=BAR, fc=PALE, ec=INK, lw=0.7, hatch="////")


def _number(ax: Axes, row: int, at: float, drop_K: float | None, before_K: float | None) -> None:
    """The drop, and under it in small what it is more or less than in the base."""
    style: dict[str, Any] = {"textcoords": "offset points", "ha": "left"}
    change = 0.0 if before_K is None else (drop_K or 0.0) - before_K
    changed = abs(change) >= CHANGED_K
    words = "-" if drop_K is None else fixed(drop_K, ".2f")
    ax.annotate(words, (at, row), xytext=(4, 0.5 if changed else 0), va="bottom" if changed else "center",
                fontsize=SMALL, **style)  # fmt: skip
    if changed:
        ax.annotate(
            f"{change:+.2f}", (at, row), xytext=(4, 0), va="top", fontsize=SMALLEST + 0.5, style="italic", **style
        )


def _short(words: str, most: int) -> str:
    return words if len(words) <= most else f"{words[: most - 3]}..."


def _key(figure: Figure) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Patch(fc=SOLID, ec=INK, lw=0.7, label="lost even if the heat used the whole area"),
        Patch(fc=PALE, ec=INK, lw=0.7, hatch="////", label="spreading"),
        Line2D([], [], ls="none", label="in slanted digits: against the base"),
    ]
    figure.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.02, 0.08 / figure.get_figheight()), ncol=3,
                  frameon=False, fontsize=SMALL, borderaxespad=0.0)  # fmt: skip

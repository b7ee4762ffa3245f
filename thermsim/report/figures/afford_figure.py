"""Bars: the power at which a reading meets its limit, for the base and every option."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thermsim.report.drawing.style import FAINT, INK, PALE, SMALL, SOLID, TEXT, canvas, styled
from thermsim.report.text.afford_table import name_of
from thermsim.report.words.numbers import fixed, with_doubt
from thermsim.report.words.titles import CHARACTERS_PER_INCH, title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.limits.affordance import Affordance, Afforded

WIDTH_in, ROW_in, AROUND_in = 8.4, 0.45, 1.3
MOST_LETTERS = 28


def powers_at_limit(found: Affordance, ax: Axes | None = None) -> Figure:
    """A bar for each answer: solid to where the limit is kept with all doubts, pale from there to where it is met."""
    with styled():
        is_own, height = ax is None, ROW_in * len(found.answers) + AROUND_in
        figure, ax = canvas(ax, WIDTH_in, height)
        if is_own:
            figure.subplots_adjust(left=0.25, right=0.68, bottom=0.65 / height, top=1.0 - 0.5 / height)
        for row, one in enumerate(found.answers):
            if one.power is not None:
                ax.barh(row, one.power.value_W, height=0.62, fc=PALE, ec=INK, lw=0.8)
                ax.barh(row, one.power.least_W or 0.0, height=0.62, fc=SOLID, ec=INK, lw=0.8)
            ax.annotate(_words(one), (1.02, row), xycoords=("axes fraction", "data"), va="center", fontsize=SMALL,
                        annotation_clip=False)  # fmt: skip
        ax.set_xlim(left=0.0)
        ax.set_yticks(range(len(found.answers)), [_short(name_of(one)) for one in found.answers])
        ax.set_ylim(len(found.answers) - 0.5, -0.5)
        ax.tick_params(axis="y", length=0)
        ax.grid(axis="x", color=FAINT, alpha=0.25, lw=0.6)
        ax.set_axisbelow(True)
        ax.set_xlabel("power made where a reading meets its limit [W]; solid: kept with all doubts")
        limits = " and ".join(dict.fromkeys(f"{one.limit_C:g}" for one in found.answers))
        words = f"what readings of {limits} C allow"
        title = title_of(found.case, words, int(CHARACTERS_PER_INCH * WIDTH_in))
        ax.set_title(title, loc="left", weight="bold", fontsize=TEXT + 1.5, x=-0.55 if is_own else 0.0)
    return figure


def _words(one: Afforded) -> str:
    """The power with its doubts, and the clock where there is one."""
    if one.power is None:
        return "none: the limit is passed"
    power = f"{with_doubt(one.power.value_W, one.power.mesh_doubt_W, 1)} W"
    least = "nothing sure" if one.power.least_W is None else f"at least {fixed(one.power.least_W, '.1f')} W"
    clock = "" if one.affordable is None else f"; {one.affordable.frequency_GHz:g} GHz"
    return f"{power}\n{least}{clock}"


def _short(name: str) -> str:
    return name if len(name) <= MOST_LETTERS else f"{name[: MOST_LETTERS - 4]} ..."

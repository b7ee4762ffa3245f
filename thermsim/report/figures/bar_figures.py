"""Horizontal bars with words beside them: what each tolerance moves, and the power at which a limit is met."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from thermsim.report.data.result import result
from thermsim.report.drawing.style import FAINT, INK, PALE, SMALL, SOLID, TEXT, canvas, styled
from thermsim.report.text.afford_table import name_of
from thermsim.report.words.input_doubt import moved_words
from thermsim.report.words.numbers import fixed, significant, with_doubt
from thermsim.report.words.titles import CHARACTERS_PER_INCH, title_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.case.vocabulary.schema import Case
    from thermsim.limits.affordance import Affordance, Afforded
    from thermsim.mesh.prediction import Prediction

WIDTH_in, AROUND_in = 8.4, 1.2
LEFT, RIGHT = 0.27, 0.63  # of the width, between which the bars stand: names on the left, words on the right
ROW_in, TALL_ROW_in = 0.3, 0.45  # with words of one line, and of two
BAR = 0.62
MOST, MOST_LETTERS = 12, 31


def moved(prediction: Prediction, ax: Axes | None = None) -> Figure:
    """A bar for each tolerance, from the change at its lower end to that at its upper end.

    Raises ValueError if no tolerance moves anything.
    """
    doubt = result(prediction)["input_doubt"]
    rows = [] if doubt is None else doubt["moved"][:MOST]
    if not rows:
        raise ValueError("no tolerance moves the hottest spot")

    def draw(on: Axes) -> None:
        for row, one in enumerate(rows):
            low, high = sorted((one["at_low_K"], one["at_high_K"]))
            on.barh(row, high - low, left=low, height=BAR, fc=SOLID, ec=INK, lw=0.8)
        on.axvline(0.0, color=INK, lw=0.8)
        on.margins(x=0.05)
        on.use_sticky_edges = False

    words = [f"{significant(one['moves_K'], 2)} K by {moved_words(one)}" for one in rows]
    names = [one["input"] for one in rows]
    about = "change of the hottest spot over one tolerance [K]"
    return _bars(prediction.case, "what to measure first", about, names, words, draw, ax, ROW_in)


def powers_at_limit(found: Affordance, ax: Axes | None = None) -> Figure:
    """A bar for each answer: solid to where the limit is kept with all doubts, pale from there to where it is met."""

    def draw(on: Axes) -> None:
        for row, one in enumerate(found.answers):
            if one.power is not None:
                on.barh(row, one.power.value_W, height=BAR, fc=PALE, ec=INK, lw=0.8)
                on.barh(row, one.power.least_W or 0.0, height=BAR, fc=SOLID, ec=INK, lw=0.8)
        on.set_xlim(left=0.0)

    limits = " and ".join(dict.fromkeys(f"{one.limit_C:g}" for one in found.answers))
    names, words = zip(*((name_of(one), _power_words(one)) for one in found.answers), strict=True)
    about = "power made where a reading meets its limit [W]; solid: kept with all doubts"
    return _bars(found.case, f"what readings of {limits} C allow", about, names, words, draw, ax, TALL_ROW_in)


def _power_words(one: Afforded) -> str:
    """The power with its doubts, and the clock where there is one."""
    if one.power is None:
        return "none: the limit is passed"
    power = f"{with_doubt(one.power.value_W, one.power.mesh_doubt_W, 1)} W"
    least = "nothing sure" if one.power.least_W is None else f"at least {fixed(one.power.least_W, '.1f')} W"
    clock = "" if one.affordable is None else f"; {one.affordable.frequency_GHz:g} GHz"
    return f"{power}\n{least}{clock}"


def _bars(
    case: Case,
    title: str,
    about: str,
    names: Sequence[str],
    words: Sequence[str],
    draw: Callable[[Axes], None],
    ax: Axes | None,
    row_in: float,
) -> Figure:
    """Rows of bars that `draw` draws, from the top; their names on the left, their words on the right."""
    with styled():
        is_own, height = ax is None, row_in * len(names) + AROUND_in
        figure, ax = canvas(ax, WIDTH_in, height)
        if is_own:
            figure.subplots_adjust(left=LEFT, right=RIGHT, bottom=0.65 / height, top=1.0 - 0.45 / height)
        draw(ax)
        for row, said in enumerate(words):
            ax.annotate(said, (1.02, row), xycoords=("axes fraction", "data"), va="center", fontsize=SMALL,
                        annotation_clip=False)  # fmt: skip
        ax.set_yticks(range(len(names)), [_broken(name) for name in names])
        ax.set_ylim(len(names) - 0.5, -0.5)
        ax.tick_params(axis="y", length=0)
        ax.grid(axis="x", color=FAINT, alpha=0.25, lw=0.6)
        ax.set_axisbelow(True)
        ax.set_xlabel(about)
        headline = title_of(case, title, int(CHARACTERS_PER_INCH * WIDTH_in))
        ax.set_title(headline, loc="left", weight="bold", fontsize=TEXT + 1.5, x=-0.7 if is_own else 0.0)
    return figure


def _broken(name: str) -> str:
    """An address or a name that is too long for its place, with its middle left out."""
    return name if len(name) <= MOST_LETTERS else f"{name[:13]} ... {name[-13:]}"

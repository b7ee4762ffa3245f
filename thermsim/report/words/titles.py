"""Titles of figures: the case first, then what is shown."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from thermsim.case.vocabulary.schema import Case

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CHARACTERS_PER_INCH = 10.5
MARGIN = 0.02  # margin beside a title, as a share of the width of the figure


def title_of(case: Case, what: str, width: int = 80) -> str:
    """`Corncrake on Bench Four: bottom face of die`, in lines of at most `width` characters."""
    name = case.title if case.option is None else f"{case.title}, with {case.option}"
    whole = f"{name}: {what}"
    # Where one line is too short, the case has the first to itself.
    pieces = [whole] if len(whole) <= width else [f"{name}:", what]
    return "\n".join(line for piece in pieces for line in textwrap.wrap(piece, width))


def titled(ax: Axes, case: Case, what: str, pad: float = 10.0, from_edge: bool = False) -> None:
    """Put the title over axes, in as many lines as the room to the right edge of the figure asks for.

    from_edge : let it begin at the left edge of the figure instead of the axes'
    """
    place = ax.get_position()
    left = min(MARGIN, place.x0) if from_edge else place.x0
    inches = (1.0 - MARGIN - left) * ax.figure.get_figwidth()  # type: ignore[union-attr]
    title = ax.set_title(title_of(case, what, max(24, int(CHARACTERS_PER_INCH * inches))), pad=pad)
    title.set_x((left - place.x0) / place.width)

"""Titles of figures: the case first, then what is shown."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from thermsim.case.schema import Case

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CHARACTERS_PER_INCH = 10.5


def title_of(case: Case, what: str, width: int = 80) -> str:
    """`Corncrake on Bench Four: bottom face of die`, in lines of at most `width` characters."""
    name = case.title if case.option is None else f"{case.title}, with {case.option}"
    return "\n".join(textwrap.wrap(f"{name}: {what}", width))


def titled(ax: Axes, case: Case, what: str, pad: float = 10.0) -> None:
    """Put the title over axes, in as many lines as the room to the right edge of the figure asks for."""
    inches = (0.98 - ax.get_position().x0) * ax.figure.get_figwidth()  # type: ignore[union-attr]
    ax.set_title(title_of(case, what, max(24, int(CHARACTERS_PER_INCH * inches))), pad=pad)

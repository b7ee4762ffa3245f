"""Labels that do not lie on one another: each takes the first free place of those it could have."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from thermsim.report.drawing.style import ink_with_halo

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Text

Rectangle = tuple[float, float, float, float]  # x0, y0, x1, y1 in pixels


@dataclass(frozen=True)
class Spot:
    """A place for a label, in data coordinates, with size [pt], turn [degree], and how it is aligned there."""

    x: float
    y: float
    size: float
    turn: float = 0.0
    across: str = "center"
    up: str = "center"
    offset_points: tuple[float, float] = (0.0, 0.0)
    text: str | None = None


@dataclass
class Labels:
    """What is taken on one set of axes, in pixels; limits and size of the axes must be final."""

    ax: Axes
    gap: float = 2.0
    taken: list[Rectangle] = field(default_factory=list)

    def block(self, x: float, y: float, radius_points: float) -> None:
        """Keep labels off a marker."""
        px, py = self.ax.transData.transform((x, y))
        radius = radius_points * self.ax.figure.dpi / 72.0
        self.taken.append((px - radius, py - radius, px + radius, py + radius))

    def is_free(self, box: Rectangle) -> bool:
        """Whether a box overlaps no label that stands already, with a gap around each."""
        x0, y0, x1, y1 = box
        return not any(
            x0 < b1 + self.gap and b0 < x1 + self.gap and y0 < c1 + self.gap and c0 < y1 + self.gap
            for b0, c0, b1, c1 in self.taken
        )

    def place(self, text: str, spots: Iterable[Spot], inside: Rectangle | None = None, **style: Any) -> Text | None:
        """Put a label at the first spot where it is free (and inside a rectangle of pixels); None if there is none."""
        for spot in spots:
            label = self._draw(spot.text or text, spot, style)
            box = self.extent(label)
            if self.is_free(box) and (inside is None or _within(box, inside)):
                self.taken.append(box)
                return label
            label.remove()
        return None

    def pixels(self, x0: float, y0: float, x1: float, y1: float) -> Rectangle:
        """A rectangle of data coordinates in pixels."""
        (a, b), (c, d) = self.ax.transData.transform([(x0, y0), (x1, y1)])
        return min(a, c), min(b, d), max(a, c), max(b, d)

    def size(self, text: str, size: float) -> tuple[float, float]:
        """Width and height of words [pixels]."""
        label = self._draw(text, Spot(self.ax.get_xlim()[0], self.ax.get_ylim()[0], size), {})
        x0, y0, x1, y1 = self.extent(label)
        label.remove()
        return x1 - x0, y1 - y0

    def extent(self, label: Text) -> Rectangle:
        """Pixels that the words take; a line from an annotation to its place is not counted."""
        from matplotlib.text import Text

        label.get_window_extent()  # puts an annotation where it belongs
        box = Text.get_window_extent(label)
        return box.x0, box.y0, box.x1, box.y1

    def _draw(self, text: str, spot: Spot, style: dict[str, Any]) -> Text:
        label = self.ax.annotate(
            text,
            (spot.x, spot.y),
            xytext=spot.offset_points,
            textcoords="offset points",
            fontsize=spot.size,
            rotation=spot.turn,
            ha=spot.across,
            va=spot.up,
            annotation_clip=False,
            **style,
        )
        return ink_with_halo(label)  # type: ignore[no-any-return]


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places in rising order, at least `gap` apart where that fits between `low` and `high`, near those wanted."""
    if not wanted:
        return []
    step = min(gap, (high - low) / max(len(wanted) - 1, 1))
    places: list[float] = []
    for place in wanted:
        places.append(max(place, places[-1] + step) if places else max(place, low))
    ceiling = high
    for number in range(len(places) - 1, -1, -1):
        places[number] = min(places[number], ceiling)
        ceiling = places[number] - step
    return places


def _within(box: Rectangle, outer: Rectangle) -> bool:
    return box[0] >= outer[0] and box[1] >= outer[1] and box[2] <= outer[2] and box[3] <= outer[3]

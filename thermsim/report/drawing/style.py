"""How figures look: one hue with even steps of lightness, dark ink, sizes that can be read in print."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import ListedColormap
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

INK = "#1d1f24"
FAINT = "#6b7078"
PAPER = "#ffffff"
SOLID = "#d9744a"  # filled bars; the hue of the temperature maps
PALE = "#f6e3d8"
TEXT, SMALL, SMALLEST = 9.5, 8.0, 6.5  # [pt] sizes of letters
DOTS_PER_INCH = 160

HUE = 48.0  # [degree] of the maps in OKLCH
LIGHTEST, DARKEST = 0.975, 0.64  # lightness in OKLCH at the ends of the maps: dark ink can be read on both
MOST_CHROMA = 0.145
SHADES = 256
STEP_K = 5.0


def heat_colours() -> ListedColormap:
    """Pale to rust: lightness falls in even steps at one hue, so that equal steps of temperature look equal.

    OKLCH after B. Ottosson, "A perceptual color space for image processing" (2020).
    """
    from matplotlib.colors import ListedColormap

    share = np.linspace(0.0, 1.0, SHADES)
    lightness = LIGHTEST + (DARKEST - LIGHTEST) * share
    chroma = 0.012 + (MOST_CHROMA - 0.012) * share
    return ListedColormap(np.clip(srgb(lightness, chroma, np.full(SHADES, HUE)), 0.0, 1.0), name="heat")


def srgb(lightness: Array, chroma: Array, hue_degree: Array) -> Array:
    """OKLCH -> sRGB (n, 3), not clipped."""
    a, b = chroma * np.cos(np.radians(hue_degree)), chroma * np.sin(np.radians(hue_degree))
    lms = (
        np.stack(
            [
                lightness + 0.3963377774 * a + 0.2158037573 * b,
                lightness - 0.1055613458 * a - 0.0638541728 * b,
                lightness - 0.0894841775 * a - 1.2914855480 * b,
            ]
        )
        ** 3
    )
    to_linear = np.array(
        [
            [4.0767416621, -3.3077115913, 0.2309699292],
            [-1.2684380046, 2.6097574011, -0.3413193965],
            [-0.0041960863, -0.7034186147, 1.7076147010],
        ]
    )
    linear = (to_linear @ lms).T
    # Transfer function of sRGB (IEC 61966-2-1).
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.abs(linear) ** (1.0 / 2.4) - 0.055)


def colour_range(coldest_C: float, coolant_C: float, hottest_C: float) -> tuple[float, float]:
    """Temperatures of the palest and the darkest shade: the coolant, and the next 5 K over the hottest spot.

    Pictures of options of one case can then be held side by side. What is colder than the coolant moves the pale end
    down in steps of 5 K.
    """
    low = min(coolant_C, STEP_K * floor(coldest_C / STEP_K + 1e-6)) if coldest_C < coolant_C - 1e-6 else coolant_C
    high = STEP_K * ceil(hottest_C / STEP_K - 1e-6)
    return low, max(high, low + STEP_K)


@contextmanager
def styled() -> Iterator[None]:
    """Settings for everything drawn inside."""
    import matplotlib as mpl

    settings: Any = {
        "font.family": "DejaVu Sans",
        "font.size": TEXT,
        "axes.titlesize": TEXT + 1.5,
        "axes.titleweight": "bold",
        "axes.titlelocation": "left",
        "axes.labelsize": TEXT,
        "axes.edgecolor": FAINT,
        "axes.linewidth": 0.8,
        "text.color": INK,
        "axes.labelcolor": INK,
        "xtick.color": INK,
        "ytick.color": INK,
        "xtick.labelsize": SMALL,
        "ytick.labelsize": SMALL,
        "hatch.linewidth": 0.6,
        "text.parse_math": False,
        "savefig.dpi": DOTS_PER_INCH,
        "figure.dpi": 100.0,
    }
    with mpl.rc_context(settings):
        yield


def canvas(ax: Axes | None, width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """The axes given, or new ones on a figure of their own, without pyplot: no window, no global state."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    if ax is not None:
        figure = ax.get_figure(root=True)
        assert figure is not None
        return figure, ax
    new = Figure(figsize=(width_in, height_in))
    FigureCanvasAgg(new)
    return new, new.add_subplot()


def ink_with_halo(text: Any, width: float = 2.0) -> Any:
    """A light rim around text, so that a line under it does not cut it."""
    from matplotlib.patheffects import withStroke

    text.set_path_effects([withStroke(linewidth=width, foreground=PAPER, alpha=0.85)])
    return text

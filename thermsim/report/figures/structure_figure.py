"""The cumulative structure function of a zone: capacity over resistance along the way of its heat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thermsim.report.drawing.style import INK, canvas, styled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from thermsim.response.network import ModalNetwork

LARGEST_SHARE = 1e-3  # of the resistance: stages beyond all but this are the surroundings, whose capacity has no end


def structure_curve(network: ModalNetwork, zone: str, ax: Axes | None = None) -> Figure:
    """Cumulative capacity over cumulative resistance of the ladder of a zone, from the zone to the coolants.

    Each part shows as a rise, each joint and film as a stretch to the right (JEDEC JESD51-14, terms from memory).

    Raises
    ------
    UnknownNameError : no such zone
    """
    ladder = network.cauer(zone)
    with styled():
        figure, ax = canvas(ax, 7.4, 5.0)
        resistance, capacity = np.cumsum(ladder.resistance_K_W), np.cumsum(ladder.capacity_J_K)
        shown = np.concatenate([[True], resistance[:-1] < (1.0 - LARGEST_SHARE) * resistance[-1]])
        steps = np.concatenate([[0.0], resistance[shown][:-1], resistance[shown]])
        steps = np.sort(np.repeat(np.unique(steps), 2))[1:-1]
        heights = np.repeat(capacity[shown], 2)
        ax.plot(steps, heights, color=INK, lw=1.4)
        ax.plot(resistance[shown], capacity[shown], "o", color=INK, ms=3)
        ax.set_yscale("log")
        ax.set_xlim(0.0, 1.02 * resistance[-1])
        ax.set_xlabel(f"cumulative thermal resistance from {zone} on [K/W]")
        ax.set_ylabel("cumulative thermal capacitance [J/K]")
        ax.set_title(f"Structure function of {zone}")
    return figure

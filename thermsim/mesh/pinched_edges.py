"""Edges where two good conductors touch across two bad ones, beside which grids settle ever more slowly.

Around an edge of four right angles with conductivities k1, k2, k1, k2 the temperature goes with r^p and r^-p,
tan(pi p/4) = sqrt(least k/greatest k); cells of width h cut that off, and the heat across is tanh(p ln(L/h)) of what it
is at cells of no size. What lacks goes with h^(2 p) in the end, and is less than the slope over ln h divided by p on
every grid, since 1 - tanh < 1 - tanh^2: so the doubt is made with order p. Sources: Kellogg, On the Poisson equation
with intersecting interfaces, Applicable Analysis 4 (1975) 101, from memory; the rest follows as said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.model.build import Model

Array = NDArray[np.float64]

SLOW_ENOUGH = 0.25  # of p: with twice as much the grids settle as the doubts of three and four grids are made for


def slowest_order(model: Model) -> float | None:
    """The p of the worst such edge; None where none is below SLOW_ENOUGH.

    Of four materials, each pair across counts with its geometric mean. Voids carry no heat, so that nothing pinches
    beside them; neither does an edge that lies in a joint, whose resistance parts the levels.
    """
    if len(model.regions) < 2:
        return None
    parted = [joint.face for joint in model.joints if np.any(joint.resistance > 0.0)]
    found = [_order_along(model, axis, parted) for axis in range(3)]
    least = min(found)
    return least if least < SLOW_ENOUGH else None


def _order_along(model: Model, axis: int, parted: list[int]) -> float:
    """Of the edges along an axis."""
    across = [other for other in range(3) if other != axis]
    both = [[float(one.material.laws[other](model.coldest_C)) for one in model.regions] for other in across]
    k = np.append(np.sqrt(np.prod(both, axis=0)), np.nan)
    region = np.moveaxis(model.region, axis, 0)
    if min(region.shape[1:]) < 2:
        return 1.0
    low, high = slice(None, -1), slice(1, None)
    around = ((low, low), (high, low), (low, high), (high, high))
    one, beside, above, across_it = (k[region[:, first, second]] for first, second in around)
    pinched = np.maximum(
        np.minimum(one, across_it) / np.maximum(beside, above), np.minimum(beside, above) / np.maximum(one, across_it)
    )
    contrast = np.sqrt(one * across_it / (beside * above))
    contrast = np.where(pinched > 1.0, np.maximum(contrast, 1.0 / contrast), 1.0)
    if axis < 2:
        contrast[:, :, [face - 1 for face in parted if 0 < face <= contrast.shape[2]]] = 1.0
    worst = float(np.max(contrast, initial=1.0))
    return 4.0 / np.pi * float(np.arctan(worst**-0.5))

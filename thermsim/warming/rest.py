"""Whether a stack cools down no more slowly than it warms up, so that a warm-up tells how long it must rest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.readout.field import Field

PLACES = 65  # temperatures at which a property is looked at
ROUNDING = 1e-9  # relative


def why_no_bound(loaded: Field) -> str | None:
    """Why what is left of a loaded steady state may die away more slowly than a warm-up settles; None where it may not.

    Cooling must be linear, and conductivities must not fall, nor heat capacities rise, as the stack cools. Leakage
    is off during a rest, and grows least at the lower temperatures of a second run, for it bends upwards.
    """
    model = loaded.model
    slower = "so that the stack may cool down more slowly than it warms up"
    acting = [one.label for place in model.curved_planes for one, _ in model.coolings_at(*place) if not one.is_linear]
    if acting:
        return f"{acting[0]!r} cools the less the colder the stack gets, {slower}"
    at = np.linspace(model.coldest_C, float(np.nanmax(loaded.temperature)), PLACES)
    for region in model.regions:
        if any(_rises(law(at)) for law in region.material.laws):
            return f"{region.name!r} conducts worse when cold, {slower}"
        stores = region.material.heat_capacity
        if stores is not None and _rises(-stores(at)):
            return f"{region.name!r} stores more heat when cold, {slower}"
    return None


def _rises(values: NDArray[np.float64]) -> bool:
    return bool(np.any(np.diff(values) > ROUNDING * np.abs(values).max()))

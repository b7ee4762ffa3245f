"""What a reader of a prediction must be told beside its numbers, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from thermsim.case.schema import Case
from thermsim.field import Field
from thermsim.model.plan import BYTES_PER_CELL, MULTIPLIERS, plan_grid
from thermsim.study.slips import slips_of
from thermsim.units import GIGABYTE

if TYPE_CHECKING:
    from thermsim.study.predict import Prediction

# Where silicon parts throttle or stop, and where a prediction is rather a sign of a slip: common practice, no source.
SURVIVES_C = 125.0


def remarks(prediction: Prediction) -> tuple[str, ...]:
    """Accuracy not held, conductivities out of their range, temperatures no chip survives, likely slips."""
    return (
        *_accuracy(prediction),
        *_laws(prediction.field),
        *_too_hot(prediction),
        *_slips(prediction.case),
    )


def _accuracy(prediction: Prediction) -> list[str]:
    if prediction.status == "accuracy held":
        return []
    last = prediction.steps[-1].multiplier
    widest = prediction.worst[1].half_width
    text = f"The accuracy of {prediction.accuracy_K:g} K is not held: the widest mesh doubt is {widest:.2g} K"
    if last == MULTIPLIERS[-1]:
        return [f"{text} on the finest grid there is"]
    cells = plan_grid(prediction.case).cells(MULTIPLIERS[MULTIPLIERS.index(last) + 1])
    return [f"{text}, and the next grid would need {cells * BYTES_PER_CELL / GIGABYTE:.2g} GB, more than may be used"]


def _laws(field: Field) -> list[str]:
    found = []
    for number, region in enumerate(field.model.regions):
        here = field.model.region == number
        if region.material.is_constant or not here.any():
            continue
        cells = field.temperature[here]
        low, high = float(np.min(cells)), float(np.max(cells))
        for law in dict.fromkeys(region.material.laws):
            if low < law.valid_C[0] or high > law.valid_C[1]:
                found.append(
                    f"{region.name} reaches from {low:.0f} to {high:.0f} C; the conductivity of {region.material.name} "
                    f"is known from {law.valid_C[0]:.0f} to {law.valid_C[1]:.0f} C"
                )
    return found


def _too_hot(prediction: Prediction) -> list[str]:
    hottest = prediction.field.hottest[0]
    heated = prediction.field.heat_made_W > 0.0
    if not heated or hottest <= SURVIVES_C:
        return []
    return [f"{hottest:.0f} C is hotter than a processor lets itself become: check power, joints and films for a slip"]


def _slips(case: Case) -> list[str]:
    return [f"{slip.place}: {slip.message}; {slip.remedy}" for slip in slips_of(case) if slip.severity != "notice"]

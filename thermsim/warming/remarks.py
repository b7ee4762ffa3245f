"""What must be said beside the numbers of a warm-up."""

from __future__ import annotations

import numpy as np

from thermsim.mesh.prediction_remarks import grave_first, remarks_of_state, unseen_in_words
from thermsim.model.storage import left_out, little_left_out
from thermsim.readout.observable import HOTTEST
from thermsim.rounding import two_digits_up
from thermsim.warming.outcome import Warmup

MANY_CONSTANTS = 5.0  # after so many time constants less than a hundredth of an exponential is left


def remarks_of(found: Warmup, unseen_K: float) -> tuple[str, ...]:
    """The gravest first. unseen_K : what film maps hide within cells, at most"""
    loaded = found.curves[HOTTEST].loaded
    said = [] if loaded is None else remarks_of_state(found.case, found.field, loaded.value)
    worst, doubt = found.worst
    if found.status == "accuracy not held":
        said.append(
            f"accuracy not held: {worst} is known to {two_digits_up(doubt)} K at every time, "
            f"not to {found.accuracy_K:g} K"
        )
    temperatures = [curve for one, curve in found.curves.items() if not one.is_heat]
    enough_s = MANY_CONSTANTS * found.slowest_s
    heads_on = found.load is None or found.load.lasts
    if heads_on and found.times_s[-1] < enough_s and not any(curve.settled_s for curve in temperatures):
        said.append(
            f"no temperature is settled within the {found.times_s[-1]:g} s followed: follow it until about "
            f"{MANY_CONSTANTS:g} times the longest time constant, `--until {two_digits_up(enough_s)}`"
        )
    if found.held_back is not None and not found.held_back.is_enough:
        said.append(
            f"WARNING: {found.held_back.reading} passes its limit of {found.held_back.limit_C:g} C even with all power "
            "held back that may be: let more zones have a clock, or cool better"
        )
    held = max(float(np.max(curve.between_doubt)) for curve in temperatures)
    if found.held_K is not None:
        said.append(
            "conductivities, heat capacities and leakage follow their temperatures, by the whole model;"
            f" held still they would hold temperatures up to {two_digits_up(found.held_K)} K off on the way"
        )
    elif held > 0.0:
        said.append(
            "conductivities, heat capacities and leakage are held still between both ends: between them up to "
            f"{two_digits_up(held)} K off; both ends are exact"
        )
    said += [
        f"what the joint {name!r} stores is left out: nobody knows how thick it is" for name in left_out(found.case)
    ]
    said += [
        f"what the film of the joint {name!r} stores is left out, for its heat capacity is not known: at most "
        f"{two_digits_up(100.0 * share)} % of what a heated part stores"
        for name, share in little_left_out(found.case).items()
    ]
    return grave_first([*said, *unseen_in_words(found.case, unseen_K, found.accuracy_K)])

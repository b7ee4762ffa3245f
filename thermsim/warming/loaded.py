"""What a load that changes asks of a warm-up besides its curves: where it ends, when it is hottest, what to say."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.case.faults.wording import listed
from thermsim.case.geometry.zones import zones_of
from thermsim.case.vocabulary.schema import Case
from thermsim.loads.load import Load
from thermsim.model.build import Model
from thermsim.model.powers import beside_zones_W
from thermsim.readout.field import Field
from thermsim.rounding import two_digits_up
from thermsim.solver.steady import steady_state
from thermsim.transient.krylov import SmallModel
from thermsim.transient.under_load import LoadedReader, loaded_model

Array = NDArray[np.float64]


def end_of(load: Load | None, loaded: Field, resting: Field) -> Field | None:
    """The steady state that a load heads for, on the grid of the typed one; None where it has no end."""
    if load is None:
        return loaded
    if not load.lasts:
        return None
    if load.is_share and load.values[-1, 0] == 1.0:
        return loaded
    if not load.values[-1].any():
        return resting
    model = loaded_model(loaded.model, load, load.values[-1])
    return Field.of(model, steady_state(model, loaded.guess))


def with_peaks(reader: LoadedReader, small: SmallModel, times: Array) -> Array:
    """Times, and those at which weighted sums are highest and lowest under a load: no peak falls between."""
    ends = np.append(reader.load.changes_s, times[-1])
    ends = ends[(ends >= times[0]) & (ends <= times[-1])]
    if len(ends) == 0 or np.isin(ends, times).all():
        return times
    states = reader.states(small, ends)
    values = reader.linear_at(small, states, reader.given(ends))
    found = np.concatenate([ends[values.argmax(axis=0)], ends[values.argmin(axis=0)]])
    return np.unique(np.concatenate([times, found]))


def remarks_of_load(case: Case, load: Load | None, until_s: float, model: Model) -> list[str]:
    """What must be said beside the numbers of a load that is followed until some time [s].

    model : with the powers that the case types
    """
    if load is None:
        return []
    silent = [zone.label for zone in zones_of(case) if load.zones and zone.label not in load.zones]
    said = [f"the load tells nothing of {listed(silent)}: nothing is made there"] if silent else []
    beside_W = beside_zones_W(model) if load.zones else 0.0
    if beside_W > 0.0:
        said.append(
            f"the load tells watts of zones, and nothing of {two_digits_up(beside_W)} W that the case makes where no "
            "zone is: nothing is made there"
        )
    if load.zones and any(heat.map is not None for heat in case.heat):
        said.append("watts that a load tells of zones are spread evenly over each, whatever a map tells of them")
    if not load.is_share and any(heat.leakage is not None for heat in case.heat):
        said.append("watts of a load are all that is made: no leakage comes on top of them")
    if load.lasts and load.changes_s[-1] >= until_s:
        said.append(
            f"the load changes last at {load.changes_s[-1]:g} s, and is followed until {until_s:g} s: its end comes "
            "after that, and so does all that is settled"
        )
    return said

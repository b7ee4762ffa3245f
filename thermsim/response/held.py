"""How far properties that are held still may hold step responses off: on the way, and with other numbers of a loop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import Field
from thermsim.response.coolant_port import LoopNumbers
from thermsim.response.network import ModalNetwork, on_loop
from thermsim.transient.curves import Reader
from thermsim.transient.krylov import SmallModel
from thermsim.warming.held_still import held_doubts, model_of, reader_of

Array = NDArray[np.float64]

TIMES_BENT = 2.0  # margin on what leakage does to first order, for the next: our own choice
SAME_K = 1e-9  # change of temperatures that is none


@dataclass(frozen=True, eq=False)
class HeldStill:
    """on_the_way_K : how far the case's own load may be off between its ends [K]

    bends_W_K : (inputs,) by what leakage grows faster at the loaded state than its straight line from rest
    cold_K_K : what conductivities do to the loaded state for each kelvin that they are held off
    """

    on_the_way_K: float
    bends_W_K: Array
    cold_K_K: float

    def with_loop_K(self, network: ModalNetwork, case: Case) -> float:
        """The same, and what leakage and conductivities cost where the loop is not that of the case [K]."""
        if network.loop is None:
            return self.on_the_way_K
        own = on_loop(network.loop.stack, network.loop.port, LoopNumbers.of(case))
        moved = _ends_C(network) - _ends_C(own)
        if float(np.abs(moved).max()) < SAME_K:
            return self.on_the_way_K
        of_zones = moved[: len(network.inputs)]
        resistance = network.responses(np.array([np.inf]))[0]
        by_leakage = TIMES_BENT * np.abs(resistance @ (self.bends_W_K * of_zones)).max()
        return float(self.on_the_way_K + by_leakage + self.cold_K_K * np.abs(moved).max())


def _ends_C(network: ModalNetwork) -> Array:
    """(outputs,) what the case at its own powers ends at [C]."""
    return np.asarray(network.unheated_C + network.responses(np.array([np.inf]))[0] @ network.made_W)


def held_still(reader: Reader, small: SmallModel, field: Field, times: Array, multiplier: int) -> HeldStill:
    """From one grid. small : the model in time of the case's own load"""
    case, first = reader.case, float(times[0])
    held = held_doubts(reader, small, field, times, first, multiplier)
    asked = observables(case)
    on_the_way_K = float(held[[not one.is_heat for one in asked]].max(initial=0.0))
    bends, cold_K_K = np.zeros(len(reader.model.zones)), 0.0
    if reader.coolant is not None and on_the_way_K > 0.0:
        tangent = reader_of(case, field, first, multiplier, leakage="tangent")
        bends = np.array(
            [float((tangent.growth_in(zone) - reader.growth_in(zone)).sum()) for zone in reader.model.zones]
        )
        cold = reader_of(case, field, first, multiplier, cold=True)
        end = np.array([np.inf])
        curves, loaded = cold.curves(model_of(cold, small.shifts), end), answers(case, field)
        spans = [(abs(loaded[one] - reader.rest[one]), abs(float(curves[one][0]) - loaded[one])) for one in reader.rest
                 if not one.is_heat]  # fmt: skip
        cold_K_K = max((off / span for span, off in spans if span > 0.0), default=0.0)
    return HeldStill(on_the_way_K, bends, cold_K_K)

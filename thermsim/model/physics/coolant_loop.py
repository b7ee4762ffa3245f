"""The coolant of a loop: what all faces on it give it lifts its temperature, the same for all of them.

With Q the heat from all faces of the loop, UA the radiator's conductance, P the pump's heat and rho c V the heat
capacity that flows by in a second, the coolant leaves the radiator at T_l and faces feel the mean of a pass, T_w:

    C dT_l/dt  =  Q + P - UA (T_l - T_room),        T_w  =  T_l + Q / (2 rho c V),

so that the steady coolant is  T_w = T_room + P / UA + (1 / UA + 1 / (2 rho c V)) Q: no more than two numbers. Source:
the heat balance of one mixed body and of a pass, Incropera et al., Fundamentals of Heat and Mass Transfer, sections 5.1
and 8.3.1.
"""

from __future__ import annotations

from dataclasses import dataclass

from thermsim.case.vocabulary.schema import Case
from thermsim.materials import catalogue
from thermsim.units import L_MIN

COOLANT = "water"  # what flows unless a case says otherwise


def warmed_K_W(flow_l_min: float, coolant: str | None) -> float:
    """What a watt warms a flow by from where it comes in to where it leaves, 1 / (rho c V) [K/W]."""
    body = catalogue.material(coolant or COOLANT)
    assert body.density_kg_m3 is not None and body.heat_capacity_J_kgK is not None  # as the reader has seen to
    return 1.0 / (body.density_kg_m3 * body.heat_capacity_J_kgK * L_MIN * flow_l_min)


@dataclass(frozen=True)
class Loop:
    """The numbers of a loop.

    still_C : of the coolant that gets no heat from the stack, T_room + P / UA
    radiator_W_K : UA; pass_K_W : 1 / (2 rho c V), 0 without a flow; capacity_J_K : C, None where it is not given
    """

    still_C: float
    radiator_W_K: float
    pass_K_W: float
    capacity_J_K: float | None

    @classmethod
    def of(cls, case: Case) -> Loop | None:
        """None where no face is on one."""
        given = case.coolant_loop
        if given is None or not any(cooling.on_loop for cooling in case.cooling):
            return None
        radiator = given.radiator_W_K.value
        flow, capacity = given.flow_l_min, given.heat_capacity_J_K
        of_pass = 0.0 if flow is None else 0.5 * warmed_K_W(flow.value, given.coolant)
        still_C = given.room_C.value + given.pump_W.value / radiator
        return cls(still_C, radiator, of_pass, None if capacity is None else capacity.value)

    @property
    def per_watt_K(self) -> float:
        """What the steady mean coolant rises by for each watt from the stack [K/W]."""
        return 1.0 / self.radiator_W_K + self.pass_K_W

    def coolant_C(self, heat_W: float) -> float:
        """The steady mean coolant at a heat from the stack [C]."""
        return self.still_C + self.per_watt_K * heat_W

    def left_radiator_C(self, heat_W: float) -> float:
        """The steady coolant that leaves the radiator [C]."""
        return self.still_C + heat_W / self.radiator_W_K

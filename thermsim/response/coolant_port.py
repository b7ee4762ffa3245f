"""A coolant loop beside a step response: one body more, joined to the modes of a stack whose coolant was held.

In the symbols of `transient.loop`, with the modes y of the stack (rate y, all of capacity 1), f what a watt in a zone
is to them, g what a kelvin of the coolant is, G what the faces of the loop conduct to it with all cells held at zero,
d what of a watt goes to the coolant at once, b what a kelvin of the coolant adds to an answer at once, UA the
radiator, C_l the heat capacity of the loop, and n = 1 + rho G:

    y' + rate y - (rho / n) g g' y - g h / n  =  (f + (rho / n) d g) u,
    C_l h' + (UA + G / n) h - g' y / n        =  d u / n,
    coolant  w = (h + rho (g' y + d u)) / n,       answer  = l' y + D u + b w.

With sqrt(C_l) h for h the matrix is symmetric: modes again, all rates real and positive. So any numbers of the loop
are answered without another solve.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.model.physics.coolant_loop import Loop, warmed_K_W

Array = NDArray[np.float64]

LOOP_PART = "coolant loop"  # what stores beside the parts of the stack


@dataclass(frozen=True)
class LoopNumbers:
    """What a case says of its loop; `flow_l_min` None: the coolant is not warmed in a pass."""

    heat_capacity_J_K: float
    radiator_W_K: float
    room_C: float
    pump_W: float = 0.0
    flow_l_min: float | None = None
    coolant: str | None = None

    @classmethod
    def of(cls, case: Case) -> LoopNumbers:
        """Of a case whose loop has them all."""
        given = case.coolant_loop
        assert given is not None and given.heat_capacity_J_K is not None  # it was checked
        flow = None if given.flow_l_min is None else given.flow_l_min.value
        capacity, radiator = given.heat_capacity_J_K.value, given.radiator_W_K.value
        return cls(capacity, radiator, given.room_C.value, given.pump_W.value, flow, given.coolant)

    def changed(self, **numbers: float | None) -> LoopNumbers:
        """The same with some numbers changed; None leaves them.

        Raises
        ------
        ThermsimError : one that cannot be
        """
        given = {name: float(value) for name, value in numbers.items() if value is not None}
        for name, value in given.items():
            positive = name in ("heat_capacity_J_K", "radiator_W_K", "flow_l_min")
            if not np.isfinite(value) or (value < 0.0 and name == "pump_W") or (value <= 0.0 and positive):
                raise ThermsimError(
                    f"a coolant loop with {name} {value:g} cannot be",
                    "give heat capacity, radiator and flow above zero, and a pump of zero or more",
                )
        return replace(self, **given)  # type: ignore[arg-type]

    @property
    def loop(self) -> Loop:
        """The numbers that its heat balance needs."""
        of_pass = 0.0 if self.flow_l_min is None else 0.5 * warmed_K_W(self.flow_l_min, self.coolant)
        still_C = self.room_C + self.pump_W / self.radiator_W_K
        return Loop(still_C, self.radiator_W_K, of_pass, self.heat_capacity_J_K)


class Closed(NamedTuple):
    """Modes with the loop: as in `network.ModalNetwork`, the coolant last of the outputs.

    turn : (m + 1, m + 1) columns: what each mode is of the loop, first, and of the modes of the stack
    """

    rates: Array
    heat: Array
    seen: Array
    at_once: Array
    turn: Array


@dataclass(frozen=True, eq=False)
class Port:
    """What the coolant is to the modes of a stack, in the symbols above, and to the stack without load.

    gives : (m,) g; per_K : G [W/K]; at_once : (inputs,) d; by_coolant : (outputs,) b
    rest_C : coolant without load, at which `unheated_C` of the network was taken; heat_W : from the stack then
    heat_W_K : what that grows by per kelvin of coolant; rest_K_K : (outputs,) the same of each answer
    made_W_K : (inputs,) the same of the heat that each input makes then
    """

    gives: Array
    per_K: float
    at_once: Array
    by_coolant: Array
    rest_C: float
    heat_W: float
    heat_W_K: float
    rest_K_K: Array
    made_W_K: Array

    def closed(self, rates: Array, heat: Array, seen: Array, at_once: Array, loop: Loop) -> Closed:
        """The modes of stack and loop together."""
        assert loop.capacity_J_K is not None
        root, of_pass = np.sqrt(loop.capacity_J_K), loop.pass_K_W
        damped = 1.0 + of_pass * self.per_K
        size = len(rates) + 1
        matrix = np.empty((size, size))
        matrix[0, 0] = (loop.radiator_W_K + self.per_K / damped) / loop.capacity_J_K
        matrix[0, 1:] = matrix[1:, 0] = -self.gives / (damped * root)
        matrix[1:, 1:] = np.diag(rates) - of_pass / damped * np.outer(self.gives, self.gives)
        first = 1.0 / (damped * root)
        passed = of_pass / damped * self.gives
        coolant = np.concatenate([[first], passed])
        driven = np.concatenate([first * self.at_once[None], heat + np.outer(passed, self.at_once)])
        watched = np.concatenate([np.zeros((1, seen.shape[1])), seen]) + np.outer(coolant, self.by_coolant)
        watched = np.column_stack([watched, coolant])
        by_pass = of_pass / damped * self.at_once
        direct = np.concatenate([at_once + np.outer(self.by_coolant, by_pass), by_pass[None]])
        own, turn = np.linalg.eigh(matrix)
        own = np.maximum(own, np.finfo(float).tiny)
        return Closed(own, turn.T @ driven, turn.T @ watched, direct, turn)

    def at_rest_C(self, loop: Loop) -> float:
        """The coolant without load [C]."""
        per_watt = loop.per_watt_K
        return (loop.still_C + per_watt * (self.heat_W - self.heat_W_K * self.rest_C)) / (
            1.0 - per_watt * self.heat_W_K
        )

    def document(self) -> dict[str, Any]:
        """Itself as plain lists and numbers."""
        return {name: value.tolist() if isinstance(value, np.ndarray) else value for name, value in vars(self).items()}

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Port:
        """From what `document` made. Raises KeyError, TypeError, ValueError where it is no such document."""
        given = {one.name: document[one.name] for one in fields(cls)}
        arrays = {name: np.array(value, dtype=float) for name, value in given.items() if isinstance(value, list)}
        return cls(**{**given, **arrays})

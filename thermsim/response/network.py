"""The step response of a stack as modes: rises over rest of any load, without the stack.

    Z_oi(t) = D_oi + sum_m  l_mo f_mi (1 - exp(-rate_m t)) / rate_m       [K/W]

Each mode is a body of its own, y' + rate y = f u, so that a load that is constant or a straight line between its
samples is answered exactly, see `loads.stepping`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.loads.stepping import Between, stepped
from thermsim.readout.observable import COOLANT
from thermsim.response.coolant_port import LoopNumbers, Port
from thermsim.response.networks import Cauer, Foster, to_cauer

Array = NDArray[np.float64]

WITHIN = 1e-4  # share of the whole resistance by which a chain of few time constants may be off
LEAST_STAGES, MOST_STAGES, TIMES = 2, 40, 200
EARLIER = 10.0  # shifts of a chain go up to so many times 1 / from_s
LEAST_STAGE = 1e-8  # of the whole resistance: a stage with less is none
INDEPENDENT = 1e-8  # size of a direction, relative to the largest, from which on it is one
CHANGED = ("heat_capacity_J_K", "radiator_W_K", "room_C", "pump_W", "flow_l_min")  # numbers of a loop
KEYS = ("inputs", "outputs", "from_s", "rates_per_s", "heat", "seen", "at_once_K_W", "unheated_C", "made_W")


@dataclass(frozen=True, eq=False)
class ModalNetwork:
    """What is stored of a step response, and replayed.

    inputs : names of zones that make heat; outputs : names of what is read off
    from_s : first time [s] that it was made for
    rates : (m,) [1/s]; heat : (m, inputs); seen : (m, outputs)
    at_once : (outputs, inputs) D [K/W], what a heated face is warmer than the cells behind it
    unheated_C : (outputs,) without load; made_W : (inputs,) heat that the zones of the case make, before they warm up
    loop : of the coolant, where the case has one; its coolant is the last of the outputs
    """

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    from_s: float
    rates: Array
    heat: Array
    seen: Array
    at_once: Array
    unheated_C: Array
    made_W: Array
    loop: OnLoop | None = None

    def with_loop(
        self,
        *,
        heat_capacity_J_K: float | None = None,
        radiator_W_K: float | None = None,
        flow_l_min: float | None = None,
        room_C: float | None = None,
        pump_W: float | None = None,
    ) -> ModalNetwork:
        """The same stack on a loop with other numbers, without any solve; what is not given stays as it is.

        Exact where nothing depends on temperature. Conductivities, and the straight line that leakage follows, stay
        those of the case with its own loop: `StepResponse.with_loop` tells what that may cost.

        Raises
        ------
        ThermsimError : there is no loop, or one with such numbers cannot be
        """
        if self.loop is None:
            raise ThermsimError(
                "this step response is of a case without a coolant loop",
                "give the case a `coolant_loop`, and `fluid_C: loop` to the faces on it",
            )
        numbers = self.loop.numbers.changed(
            heat_capacity_J_K=heat_capacity_J_K, radiator_W_K=radiator_W_K, flow_l_min=flow_l_min, room_C=room_C,
            pump_W=pump_W,
        )  # fmt: skip
        return on_loop(self.loop.stack, self.loop.port, numbers)

    def responses(self, times_s: Array) -> Array:
        """(n, outputs, inputs) all step responses at times [s], which may be infinite [K/W]."""
        grown = -np.expm1(-np.outer(times_s, self.rates)) / self.rates
        return np.asarray(self.at_once + np.einsum("nm,mo,mi->noi", grown, self.seen, self.heat, optimize=True))

    def zth(self, times_s: ArrayLike, output: str, of: str) -> Array:
        """Rise of an output per watt in a zone from time 0 on [K/W], at times [s]; any shape.

        Raises
        ------
        UnknownNameError : no such output, or no such zone
        """
        row, column = self._output(output), self.input_at(of)
        grown = -np.expm1(-np.multiply.outer(np.asarray(times_s, float), self.rates)) / self.rates
        return np.asarray(self.at_once[row, column] + grown @ (self.seen[:, row] * self.heat[:, column]))

    def foster(self, zone: str, within: float = WITHIN) -> Foster:
        """The response of a zone to its own watt as a chain of few time constants, shortest first.

        within : share of the whole resistance by which the chain may be off from `from_s` on; at the end it is exact

        What comes at once joins the shortest. Every resistance is positive, by construction.
        """
        return self.chain_and_stages(zone, within)[0]

    def chain_and_stages(self, zone: str, within: float = WITHIN) -> tuple[Foster, Array]:
        """`foster`, and (m, stages) what each stage of it is of the modes: columns, orthonormal in capacity."""
        row, column = self._output(zone), self.input_at(zone)
        times = np.geomspace(self.from_s, max(10.0 / self.rates[0], 10.0 * self.from_s), TIMES)
        exact = self.zth(times, zone, zone)
        fastest = EARLIER / self.from_s
        for count in range(LEAST_STAGES, MOST_STAGES):
            chain, stages = _chain(self.rates, self.heat[:, column], fastest, count)
            chain.resistance_K_W[0] += self.at_once[row, column]
            if np.all(np.abs(chain.response(times) - exact) <= within * exact[-1]):
                break
        return chain, stages

    def cauer(self, zone: str, within: float = WITHIN) -> Cauer:
        """The same as a ladder: resistances and capacities along the way of the heat, from the zone on.

        Cumulative sums of both are the cumulative structure function of JEDEC JESD51-14 (terms from memory): what
        stores much bends it upwards, what resists much sidewards.
        """
        return to_cauer(self.foster(zone, within))

    def replay(
        self,
        times_s: ArrayLike,
        powers_W: ArrayLike | Mapping[str, ArrayLike],
        between: Between = "constant",
        coolant_C: ArrayLike | None = None,
    ) -> Array:
        """(n, outputs) temperatures [C] at times [s] under any load, at rest before the first time.

        powers_W : (n, inputs) heat made in each zone, or by name, the others making none
        between : samples hold until the next one, as averages of a log do, or are joined by straight lines
        coolant_C : (n,) of the coolant of the loop where it was noted [C], in the place of what the loop makes of it

        Raises
        ------
        ThermsimError : times that do not rise, powers or a coolant of another shape, or a coolant without a loop
        UnknownNameError : no such zone
        """
        times = np.asarray(times_s, dtype=np.float64)
        powers = self._powers(powers_W, len(times))
        if times.ndim != 1 or not np.all(np.diff(times) > 0.0):
            raise ThermsimError("times of a load must rise", "give each time once, in order, in seconds")
        if coolant_C is not None:
            return self._with_coolant(times, powers, between, np.asarray(coolant_C, dtype=np.float64))
        states = stepped(times, powers @ self.heat.T, self.rates, between)
        return np.asarray(self.unheated_C + states @ self.seen + powers @ self.at_once.T)

    def _with_coolant(self, times: Array, powers: Array, between: Between, coolant_C: Array) -> Array:
        """`replay` where the coolant is known: an input beside the zones."""
        if self.loop is None or coolant_C.shape != times.shape or not np.all(np.isfinite(coolant_C)):
            raise ThermsimError(
                f"a coolant of shape {coolant_C.shape} cannot be followed over {len(times)} times",
                "give a finite temperature [C] for each time, of a case whose faces hang on a `coolant_loop`",
            )
        stack, port = self.loop.stack, self.loop.port
        known = replace(
            stack, inputs=(*stack.inputs, str(COOLANT)), heat=np.column_stack([stack.heat, port.gives]),
            at_once=np.column_stack([stack.at_once, port.by_coolant]),
        )  # fmt: skip
        found = known.replay(times, np.column_stack([powers, coolant_C - port.rest_C]), between)
        return np.column_stack([found, coolant_C])

    def document(self) -> dict[str, Any]:
        """Itself as plain lists."""
        if self.loop is not None:
            loop = self.loop
            return {**loop.stack.document(), "loop": asdict(loop.numbers), "port": loop.port.document()}
        arrays = self.rates, self.heat, self.seen, self.at_once, self.unheated_C, self.made_W
        names = list(self.inputs), list(self.outputs), self.from_s
        return dict(zip(KEYS, (*names, *(one.tolist() for one in arrays)), strict=True))

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> ModalNetwork:
        """From what `document` made.

        Raises
        ------
        ThermsimError : it is no such document
        """
        try:
            inputs, outputs = (tuple(map(str, document[key])) for key in KEYS[:2])
            first = float(document["from_s"])
            rates, heat, seen, at_once, unheated, made = (np.array(document[key], dtype=float) for key in KEYS[3:])
            heat, seen = heat.reshape(len(rates), len(inputs)), seen.reshape(len(rates), len(outputs))
            at_once = at_once.reshape(len(outputs), len(inputs))
            whole = all(np.isfinite(one).all() for one in (rates, heat, seen, at_once, unheated, made))
            if not whole or not np.all(rates > 0.0) or len(unheated) != len(outputs) or len(made) != len(inputs):
                raise ValueError("numbers are missing")
            stack = cls(inputs, outputs, first, rates, heat, seen, at_once, unheated, made)
            if "loop" not in document:
                return stack
            port, numbers = Port.of(document["port"]), LoopNumbers(**document["loop"])
            if (
                len(port.gives) != len(rates)
                or len(port.at_once) != len(inputs)
                or len(port.by_coolant) != len(outputs)
            ):
                raise ValueError("numbers of the loop are missing")
            return on_loop(stack, port, numbers.changed(**{name: document["loop"][name] for name in CHANGED}))
        except (KeyError, TypeError, ValueError) as error:
            raise ThermsimError(
                f"this is no stored step response: {error}", "give a file that `write_response` has written"
            ) from error

    def _powers(self, given: ArrayLike | Mapping[str, ArrayLike], count: int) -> Array:
        if isinstance(given, Mapping):
            powers = np.zeros((count, len(self.inputs)))
            for zone, watts in given.items():
                powers[:, self.input_at(zone)] = watts
        else:
            powers = np.asarray(given, dtype=np.float64)
        if powers.shape != (count, len(self.inputs)) or not np.all(np.isfinite(powers)):
            raise ThermsimError(
                f"powers of shape {powers.shape} do not fit {count} times and {len(self.inputs)} zones",
                f"give a finite number of watts for each time and each of {', '.join(self.inputs)}",
            )
        return powers

    def _output(self, name: str) -> int:
        return index_of(self.outputs, name, "answer")

    def input_at(self, name: str) -> int:
        """Which of the inputs a zone is. Raises UnknownNameError."""
        return index_of(self.inputs, name, "zone")


@dataclass(frozen=True, eq=False)
class OnLoop:
    """How a network came to its loop. stack : with the coolant held; turn : see `coolant_port.Closed`"""

    stack: ModalNetwork
    port: Port
    numbers: LoopNumbers
    turn: Array


def on_loop(stack: ModalNetwork, port: Port, numbers: LoopNumbers) -> ModalNetwork:
    """A stack, whose coolant was held, on a loop with these numbers."""
    loop = numbers.loop
    closed = port.closed(stack.rates, stack.heat, stack.seen, stack.at_once, loop)
    warmer = port.at_rest_C(loop) - port.rest_C
    return ModalNetwork(
        stack.inputs, (*stack.outputs, str(COOLANT)), stack.from_s, closed.rates, closed.heat, closed.seen,
        closed.at_once, np.append(stack.unheated_C + warmer * port.rest_K_K, port.rest_C + warmer),
        stack.made_W + warmer * port.made_W_K, OnLoop(stack, port, numbers, closed.turn),
    )  # fmt: skip


def index_of(names: tuple[str, ...], name: str, what: str) -> int:
    """Which of the names it is. Raises UnknownNameError."""
    if name not in names:
        raise UnknownNameError(f"there is no {what} {name!r}{did_you_mean(name, names)}", f"known: {listed(names)}")
    return names.index(name)


def _chain(rates: Array, heat: Array, fastest: float, stages: int) -> tuple[Foster, Array]:
    """So many stages that answer like all modes: projected on solutions at shifts evenly in their logarithm, and 0.

    Gives them, and (m, stages) what they are of the modes.

    Galerkin in the modes: the chain answers as the whole does at these shifts, twice over (Grimme 1997, from memory).
    """
    shifts = [0.0, *np.geomspace(rates[0], max(fastest, 2.0 * rates[0]), stages - 1)]
    basis, sizes, _ = np.linalg.svd(_unit(heat[:, None] / (rates[:, None] + shifts)), full_matrices=False)
    basis = basis[:, sizes > INDEPENDENT * sizes[0]]
    reduced, turn = np.linalg.eigh(basis.T @ (rates[:, None] * basis))
    resistance = (turn.T @ (basis.T @ heat)) ** 2 / reduced
    kept = resistance > LEAST_STAGE * resistance.sum()
    return Foster(resistance[kept][::-1].copy(), 1.0 / reduced[kept][::-1]), (basis @ turn)[:, kept][:, ::-1]


def _unit(columns: Array) -> Array:
    return np.asarray(columns / np.linalg.norm(columns, axis=0))

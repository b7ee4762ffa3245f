"""A stack in time with the coolant loop that it warms up: one more row and column on a small model.

With g what a kelvin of the coolant brings each cell [W/K], G what the faces of the loop conduct to it with all cells
held at zero, d the heat made in these faces that goes to it at once, rho half of what a watt warms a pass by, and h the
rise of the coolant that leaves the radiator,

    C z' + A z = f + g w,      Q = g' z + d - G w,      w = h + rho Q,      C_l h' = Q - UA h .

Without w this is symmetric again: with n = 1 + rho G,

    C z' + (A - (rho / n) g g') z - (1 / n) g h  =  f + (rho / n) d g,
    C_l h' + (UA + G / n) h - (1 / n) g' z       =  d / n .

The vectors are those of heat and of g at the same shifts, so that other numbers of the loop need no further solve.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.model.physics.coolant_loop import Loop
from thermsim.transient.krylov import DROPPED, MOST_SHIFTS, Input, Projection, SmallModel, too_many
from thermsim.transient.system import System

Array = NDArray[np.float64]
DECADE = float(np.log(10.0))


@dataclass(frozen=True, eq=False)
class Coolant:
    """What the coolant of a loop is to a system, in the symbols above.

    warmer : the system with the coolant a kelvin warmer; gives : g, (cells,); per_K : G; at_once : d
    """

    loop: Loop
    warmer: System
    gives: Array
    per_K: float
    at_once: float

    @classmethod
    def of(cls, loop: Loop, system: System, warmer: System) -> Coolant:
        """From a system, and the same with the coolant a kelvin warmer."""
        entries = system.model.on_loop
        at_once = sum(system.outflow(number)[1] for number in entries)
        gives = (warmer.stencil.heat - system.stencil.heat).ravel()
        per_K = sum(system.to_known(number) - warmer.to_known(number) for number in entries)
        return cls(loop, warmer, gives, per_K, at_once)

    @property
    def damped(self) -> float:
        """n = 1 + rho G."""
        return 1.0 + self.loop.pass_K_W * self.per_K

    @property
    def rises_at_once(self) -> float:
        """Rise of the mean coolant by the heat that goes to it at once [K]."""
        return self.loop.pass_K_W * self.at_once / self.damped


def enough_shifts(shifts: Sequence[float], make: Callable[[Sequence[float]], float], wanted_K: float) -> list[float]:
    """Shifts that serve a stack at a known coolant, and more between them until they serve its loop too.

    None of them is farther from the next than a decade: a loop is slow where the stack has settled long before.
    make : the largest doubt [K] of a model with given shifts

    Raises
    ------
    NotConvergedError : MOST_SHIFTS are not enough
    """
    found = list(shifts)
    while len(found) <= MOST_SHIFTS:
        in_order = np.log(np.sort([shift for shift in found if shift > 0.0]))
        widest = int(np.argmax(np.diff(in_order)))
        gap = in_order[widest + 1] - in_order[widest]
        reached = np.inf
        if gap <= DECADE:
            reached = make(found)
            if reached <= wanted_K:
                return found
        found.append(float(np.exp(0.5 * (in_order[widest] + in_order[widest + 1]))))
    raise too_many(reached, wanted_K)


def bordered(system: System, coolant: Coolant, shifts: Sequence[float], inputs: Sequence[Input] = ()) -> SmallModel:
    """The small model of a stack and its loop, of solutions at given shifts; the loop comes first.

    inputs : that solutions are of besides what the coolant brings; the system's own heat unless given
    """
    own = list(inputs) or [Input(system, system.stencil.heat)]
    gives = coolant.gives.reshape(system.shape)
    own += [Input(one, gives) for one in {id(each.system): each.system for each in own}.values()]
    projection = Projection(system, len(own) * len(shifts) + 1)
    new = [sum(projection.add_shift(shift, given=one.heat, of=one.system) for one in own) for shift in shifts]
    stack = projection.model()
    by_coolant = stack.vectors @ coolant.gives
    stiffness, heat = with_loop(coolant, by_coolant, stack.heat, coolant.at_once, stack.stiffness)
    damped, of_pass = coolant.damped, coolant.loop.pass_K_W
    capacity = coolant.loop.capacity_J_K
    assert capacity is not None  # who follows a loop in time has seen to it
    rises = np.concatenate([[1.0 / (damped * np.sqrt(capacity))], of_pass / damped * by_coolant])
    vectors = np.concatenate([np.zeros((1, stack.vectors.shape[1])), stack.vectors])
    made = replace(stack, vectors=vectors, stiffness=stiffness, heat=heat, shifts=tuple(shifts))
    return replace(made, coolant=rises, dropped=sum(new[-DROPPED:]))


def with_loop(
    coolant: Coolant, by_coolant: Array, heat: Array, at_once: float, stiffness: Array | None = None
) -> tuple[Array, Array]:
    """Stiffness and heat of a small model of a stack with the loop before it, in the symbols above.

    by_coolant : (m,) what a kelvin of the coolant brings each vector; heat : (m,) of the load; at_once : d of it
    """
    capacity = coolant.loop.capacity_J_K
    assert capacity is not None  # who follows a loop in time has seen to it
    root, damped, of_pass = np.sqrt(capacity), coolant.damped, coolant.loop.pass_K_W
    size = len(heat) + 1
    whole, given = np.zeros((size, size)), np.empty(size)
    whole[0, 0] = (coolant.loop.radiator_W_K + coolant.per_K / damped) / capacity
    whole[0, 1:] = whole[1:, 0] = -by_coolant / (damped * root)
    whole[1:, 1:] = (0.0 if stiffness is None else stiffness) - of_pass / damped * np.outer(by_coolant, by_coolant)
    given[0] = at_once / (damped * root)
    given[1:] = heat + of_pass / damped * at_once * by_coolant
    return whole, given


def with_a_kelvin(small: SmallModel, coolant: Coolant) -> Array:
    """(2, m) the loaded steady state of a model with its loop, and the same with the coolant a kelvin warmer."""
    assert small.coolant is not None
    by_coolant = small.vectors[1:] @ coolant.gives
    of_pass = coolant.loop.pass_K_W / coolant.damped
    stack = np.linalg.solve(small.stiffness[1:, 1:] + of_pass * np.outer(by_coolant, by_coolant), by_coolant)
    of_loop = (1.0 - float(small.coolant[1:] @ stack)) / small.coolant[0]
    loaded = np.linalg.solve(small.stiffness, small.heat)
    return np.array([loaded, loaded + np.concatenate([[of_loop], stack])])

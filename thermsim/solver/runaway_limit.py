"""How much power has a steady state: followed by temperature, which passes the limit of thermal runaway smoothly.

Where leakage turns a stack, power has a maximum over temperature. So the temperature of the hottest cell c is given,
and the share p of all power that holds it there is what is asked for: with conductivities, and with what the sources
make, at the last temperatures,

    A T = b + p h(T_last),   T = T_b + p T_h,   p = (T_c - T_b,c) / T_h,c .

A has no leakage in it and is always positive definite, and the level of temperatures, which creeps next to a limit, is
held; so a few steps do. Source: continuation by a component of the solution, e.g. Seydel, Practical Bifurcation and
Stability Analysis, 3rd ed. (2010), section 4.5 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError
from thermsim.model.assemble import assemble
from thermsim.model.build import Guess, Model
from thermsim.model.powers import as_made, scaled_power
from thermsim.solver.guesses import guess_from
from thermsim.solver.linear import TOLERANCE, Solution, State, prepare, renew, solve
from thermsim.solver.mixing import Mixing
from thermsim.solver.outflow import to_loop_W

Array = NDArray[np.float64]

HOTTEST_C = 3000.0  # [C] beyond the melting point of every material here: no steady state is looked for above it
# [C] where the search ends if all leakage is linear: power then nears its limit as temperatures grow forever.
FARTHEST_C = 1e9
# The rise of the first state tried is this share of the rise that the full power would make from a cold start, between
# two bounds [K].
FIRST_SHARE, LEAST_RISE_K, MOST_RISE_K = 0.25, 1.0, 100.0
# Ratio of the rise of each state to that of the one before; the second holds above HOTTEST_C.
FURTHER, FURTHER_WHEN_HOT = 1.5, 10.0
PAST_MAXIMUM = 0.9  # share of the most power found, below which the power of a state shows that the maximum is passed
ROUGH_ACCURACY = 1e-6  # accuracy of temperatures relative to the rise, while power is followed towards its maximum
SEARCH_WIDTH = 0.03  # accuracy of one search for the maximum, relative to the range of temperature it is searched in
# The maximum is found when the powers of three neighbouring states differ by less than this share: a parabola through
# them then tells its height far better.
FLAT = 1e-3
NARROWEST_SHARE = 1e-7  # or when these states lie closer than this share of the rise, where round-off ends the search
# Share of the accuracy asked for that the iteration of a state may take; the search for its power takes the rest.
STATE_SHARE = 0.03
MOST_STEPS = 60
LOOSE_RESIDUAL = 1e-8  # relative residual of the linear solves while power is followed
# Relative doubt of the largest share of power that has a steady state on one grid: a tenth of FLAT, our own choice.
SHARE_DOUBT = 1e-4


@dataclass(frozen=True)
class Place:
    """A steady state by its temperature: the pinned cell [C], the share of the power that holds it, the guess, and the
    coolant of a loop [C].
    """

    at_C: float
    share: float
    guess: Guess
    coolant_C: float | None = None


@dataclass(frozen=True)
class Limit:
    """The most power that has a steady state, as a share; `doubt` of the share, on this grid

    is_hot : whether temperatures reach HOTTEST_C before power turns
    """

    share: float
    is_hot: bool
    rise: tuple[Place, ...]
    line: Line
    doubt: float = SHARE_DOUBT

    def at(self, share: float, accuracy_K: float) -> tuple[Place, float]:
        """The stable state at a share below the limit, and how far its temperature may be off [K]."""
        from scipy.optimize import brentq

        above = next(number for number, place in enumerate(self.rise) if place.share >= share)
        low, high = self.rise[above - 1 : above + 1]
        found = [low, high]

        def excess(at_C: float) -> float:
            if at_C == low.at_C:
                return low.share - share
            nearest = min(found, key=lambda place: abs(place.at_C - at_C))
            found.append(self.line.at(at_C, nearest.guess, STATE_SHARE * accuracy_K))
            return found[-1].share - share

        brentq(excess, low.at_C, high.at_C, xtol=0.1 * accuracy_K, rtol=1e-15)
        last, before = sorted(found, key=lambda place: abs(place.share - share))[:2]
        moved = abs(last.share - before.share)
        per_share = abs(last.at_C - before.at_C) / moved if moved > 0.0 else 0.0
        return last, 0.1 * accuracy_K + per_share * abs(last.share - share)


def limit_of(model: Model, up_to: float = np.inf) -> Limit:
    """Follow the states of a model to ever higher temperatures, until their power has passed its maximum.

    up_to : a share of the power that is enough: once a state has it, no higher one is looked at, and `share` is its own

    Raises
    ------
    NotConvergedError : a state on the way was not found
    """
    line = Line(model)
    rise_K = float(np.clip(FIRST_SHARE * line.per_share_K, LEAST_RISE_K, MOST_RISE_K))
    guess = line.start
    places, best = [Place(line.idle_C, 0.0, guess)], 0
    farthest = FARTHEST_C if line.is_linear else HOTTEST_C
    while line.idle_C + rise_K <= farthest:
        places.append(line.at(line.idle_C + rise_K, guess))
        guess = places[-1].guess
        best = max(range(len(places)), key=lambda number: places[number].share)
        if places[-1].share >= up_to or places[-1].share < PAST_MAXIMUM * places[best].share:
            break
        rise_K *= FURTHER if places[-1].at_C < HOTTEST_C else FURTHER_WHEN_HOT
    if best == len(places) - 1:
        is_hot = not line.is_linear and places[-1].share < up_to
        return Limit(places[-1].share, is_hot, tuple(places), line)
    top, before = _top(line, places[best - 1 : best + 2])
    rise = [place for place in places[:best] if place.at_C < before.at_C]
    return Limit(top.share, False, (*rise, before, top), line)


def _top(line: Line, around: list[Place]) -> tuple[Place, Place]:
    """The place with the most power, and one below it that is not far off; around : three, the middle one highest."""
    from scipy.optimize import minimize_scalar

    low, middle, high = around
    tried = [low, middle, high]

    def less(at_C: float) -> float:
        tried.append(line.at(at_C, min(tried, key=lambda place: abs(place.at_C - at_C)).guess))
        return -tried[-1].share

    while True:
        bounds = (low.at_C, high.at_C)
        minimize_scalar(less, bounds=bounds, method="bounded", options={"xatol": SEARCH_WIDTH * (high.at_C - low.at_C)})
        tried.sort(key=lambda place: place.at_C)
        top = max(range(1, len(tried) - 1), key=lambda number: tried[number].share)
        low, middle, high = tried[top - 1 : top + 2]
        is_flat = min(low.share, high.share) >= (1.0 - FLAT) * middle.share
        if is_flat or high.at_C - low.at_C <= NARROWEST_SHARE * (middle.at_C - line.idle_C):
            return middle, low


class Line:
    """Steady states of a model by the temperature of one pinned cell, the hottest one at little power.

    idle_C : of that cell without power; per_share_K : its rise with all of the power, from a cold start
    """

    def __init__(self, model: Model) -> None:
        self.model, self.idle = model, scaled_power(model, 0.0)
        self.state: State | None = None
        self.steps = 0
        self.cold: Array | None = None
        cold, heated, _, _ = self._parts(self._warm())
        self.start = self._warm()
        self.cell = np.unravel_index(int(np.nanargmax(heated)), heated.shape)
        self.idle_C, self.per_share_K = float(cold[self.cell]), float(heated[self.cell])
        laws = [source.leakage for source in model.sources if source.leakage is not None]
        self.is_linear = all(law.is_linear for law in laws) and bool(laws)

    def _warm(self) -> Guess:
        """Everything at the temperature that powers are typed for, where leakage makes no less than nothing."""
        typed = [source.leakage.at_C for source in self.model.sources if source.leakage is not None]
        at_C = max([self.model.coldest_C, *typed])
        return self.model.guess(np.full(self.model.grid.shape, at_C), (at_C,) * len(self.model.face_sources))

    def at(self, at_C: float, guess: Guess, enough_K: float | None = None) -> Place:
        """The state with the pinned cell at a temperature [C].

        guess : of a state not far from it; enough_K : that temperatures are found to, roughly unless given

        Raises
        ------
        NotConvergedError
        """
        enough = ROUGH_ACCURACY * abs(at_C - self.idle_C) if enough_K is None else enough_K
        tolerance, change, mixing = LOOSE_RESIDUAL if enough_K is None else TOLERANCE, np.inf, Mixing()
        for _ in range(MOST_STEPS):
            cold, heated, grown, coolant = self._parts(guess, tolerance)
            of_heated = (at_C - float(cold[self.cell])) / float(heated[self.cell])
            share = of_heated / grown
            temperature = cold + of_heated * heated
            made = scaled_power(as_made(self.model, guess.temperature, guess.heated_face), share)
            coolant_C = None if coolant is None else coolant[0] + of_heated * coolant[1]
            made = made if coolant_C is None else made.at_coolant(coolant_C)
            after = guess_from(made, temperature, guess)
            before, change = change, float(np.nanmax(np.abs(temperature - guess.temperature)))
            if change * (mixing.times_change or 1.0) <= enough:
                return Place(at_C, share, after, coolant_C)
            guess = mixing.next(self.model, guess, after, change / before)
        raise NotConvergedError(
            f"the power that holds {at_C:.4g} C was not found: temperatures still move by {change:.1e} K",
            "smooth conductivities that jump with temperature",
        )

    def _parts(
        self, guess: Guess, tolerance: float = LOOSE_RESIDUAL
    ) -> tuple[Array, Array, float, tuple[float, float] | None]:
        """Temperatures without power [C], the rise with as much heat as is typed [K], spread as it is made at a guess;
        how many times as much is made there; and what the coolant of a loop is, and rises by, with both.
        """
        made = as_made(self.model, guess.temperature, guess.heated_face)
        grown = _watts(made) / _watts(self.model)
        idle, heat = assemble(self.idle, guess), assemble(scaled_power(made, 1.0 / grown), guess).heat
        self.state = prepare(idle, self.model.may_have_islands) if self.state is None else renew(self.state, idle)
        self.steps += 1
        cold = solve(self.state, idle.heat, self.cold, tolerance, self.model.coldest_C).checked().temperature
        heated = solve(self.state, heat - idle.heat, None, tolerance).checked().temperature
        self.cold = cold
        if self.model.loop is None:
            return cold, heated, grown, None
        cold, heated, coolant = self._closed(scaled_power(made, 1.0 / grown), guess, cold, heated, tolerance)
        return cold, heated, grown, coolant

    def _closed(
        self, made: Model, guess: Guess, cold: Array, heated: Array, tolerance: float
    ) -> tuple[Array, Array, tuple[float, float]]:
        """Both with the coolant of the loop as warm as the heat makes it: by one solve more, for a kelvin of it."""
        loop, warmer = self.model.loop, self.idle.at_coolant(1.0 + (self.idle.coolant_C or 0.0))
        assert loop is not None and self.state is not None
        more = assemble(warmer, guess).heat - assemble(self.idle, guess).heat
        by_kelvin = solve(self.state, more, None, tolerance).checked().temperature
        idle_W = to_loop_W(self.idle, guess, cold)
        lost_W = idle_W - to_loop_W(warmer, guess, cold + by_kelvin)
        rises = [
            loop.per_watt_K * heat / (1.0 + loop.per_watt_K * lost_W)
            for heat in (idle_W, to_loop_W(made, guess, cold + heated) - idle_W)
        ]
        coolant = loop.still_C + rises[0], rises[1]
        return cold + rises[0] * by_kelvin, heated + rises[1] * by_kelvin, coolant

    def solved(self, place: Place, share: float) -> tuple[Solution, State]:
        """The temperatures at a share of the power; place : that state already, for coefficients and sources."""
        guess, model = place.guess, self.model
        model = model if place.coolant_C is None else model.at_coolant(place.coolant_C)
        made = assemble(as_made(scaled_power(model, share), guess.temperature, guess.heated_face), guess)
        self.state = prepare(made, self.model.may_have_islands) if self.state is None else renew(self.state, made)
        return solve(self.state, made.heat, guess.temperature, TOLERANCE, self.model.coldest_C).checked(), self.state


def _watts(model: Model) -> float:
    return sum(float(np.abs(source.watts).sum()) for source in model.sources)

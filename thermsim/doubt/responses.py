"""How answers follow each uncertain input, from a few solves on the coarsest grid of a prediction.

Each input is moved by its standard uncertainty, alone; one that carries much of the variance of the hottest spot is
moved to the other side too, which tells its curvature: as slope s / (1 + c s) where the answer goes one way, which is
what any resistance in series with others, or conductance beside others, makes of it, and as slope s + bend s^2 where it
turns round. The answers are then the sum of these curves. What that leaves
out, inputs acting together, is measured once, where the hottest spot rises most likely: all inputs are moved there at
once. What differs from the sum is taken to grow with the products of what every two inputs do to the hottest spot, by
their own curves: exact for a power and a resistance, on both sides and at every corner. Where one input does nearly
all, it has no partner, and most of what differs is what its curve misses: that grows with the square of the way to the
hot end, and stays on that side, since it was not seen on the other.
Where a move parts outlines that were one, the moved state stands on other cells than the nominal one: what it changes
is then twice what the second half of the way changes, so that the error of the cells falls out.
The sum of curves of one input each is the univariate dimension reduction of Rahman and Xu, Probabilistic Engineering
Mechanics 19 (2004) 393; the direction is that of the design point of the first-order reliability method (Hasofer and
Lind, J. Eng. Mech. 100 (1974) 111). Both from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.spread import Spread
from thermsim.errors import NotConvergedError, RunawayError, ThermsimError
from thermsim.nearby.uncertain_inputs import UncertainInput

Array = NDArray[np.float64]
Answer = Callable[[Mapping[str, float]], Array]
KeepsCells = Callable[[Mapping[str, float]], bool]

STRONG_SHARE = 0.1  # share of the variance of the hottest spot from which on an input is moved to both sides
SMALLEST_MOVE = 0.2  # standard uncertainties that a bound must leave for a move to tell a slope
LEAST_BESIDE_POLE = 0.05  # least denominator of a curve at the ends of a tolerance: nearer to its pole it is no curve
PAIRED_SHARE = 0.1  # share of pairs in the square of the rise at the hot end from which on they are all that is beyond
FAR = 1.645  # standard uncertainties: the quantile of the normal distribution at 0.95, JCGM 100 table G.1


@dataclass(frozen=True, eq=False)
class Responses:
    """Deviations of answers from the nominal state as curves of the inputs, in their standard uncertainties.

    slopes, curls, bends : (inputs, answers) of  slope s / (1 + curl s) + bend s^2, one of curl and bend being zero
    direction : (inputs,) of unit length, zeros where none
    hottest : place of the hottest spot among the answers
    together : (answers,) what all inputs at once add to the sum of their curves at the hot end
    per_product, per_square : shares of it, per product of what two inputs do to the hottest spot, summed over all
        pairs, and per square of the way along the direction
    runs_away : whether there is no steady state at the hot end; left_out : inputs that could not be moved, and why
    solves : that it took
    """

    slopes: Array
    curls: Array
    bends: Array
    direction: Array
    hottest: int
    together: Array
    per_product: float
    per_square: float
    runs_away: bool
    left_out: dict[str, str]
    solves: int

    def deviation(self, moves: Array) -> Array:
        """(samples, answers) of moves (samples, inputs)."""
        alone = moves @ self.slopes + moves**2 @ self.bends + self.jointly(moves)[:, None] * self.together
        for number in np.flatnonzero(self.curls.any(axis=1)).tolist():
            alone += self.of_one(number, moves[:, number]) - moves[:, number, None] * self.slopes[number]
        return np.asarray(alone)

    def jointly(self, moves: Array) -> Array:
        """(samples,) shares of `together` that moves (samples, inputs) bring: 1 at the hot end."""
        way = np.maximum(moves @ self.direction, 0.0)
        return np.asarray(self.per_product * self.products(moves) + self.per_square * way**2)

    def products(self, moves: Array) -> Array:
        """(samples,) of what every two inputs do to the hottest spot, summed over the pairs."""
        slopes, curls, bends = (one[:, self.hottest] for one in (self.slopes, self.curls, self.bends))
        alone = moves * slopes / (1.0 + curls * moves) + moves**2 * bends
        return np.asarray(0.5 * (alone.sum(axis=1) ** 2 - (alone**2).sum(axis=1)))

    def of_one(self, number: int, moves: Array) -> Array:
        """(samples, answers) of moves (samples,) of one input, but for what it does together with others."""
        at = moves[:, None]
        curve = at * self.slopes[number] / (1.0 + self.curls[number] * at) + at**2 * self.bends[number]
        return np.asarray(curve)


def moves_of(spread: Spread, values: Array) -> Array:
    """Values of an input as moves from its nominal value, in standard uncertainties."""
    return (values - spread.value) / spread.uncertainty


def responses(
    answer: Answer,
    varied: Sequence[UncertainInput],
    nominal: Array,
    hottest: int,
    keeps_cells: KeepsCells = lambda _: True,
) -> Responses:
    """Find the curves of inputs that act on temperatures (`varied`).

    answer : of some numbers of the case by path, (answers,); nominal : with none changed; hottest : its place there
    keeps_cells : whether such numbers leave the grid its cells
    """
    return _Finder(answer, varied, nominal, hottest, keeps_cells).found()


class _Finder:
    def __init__(
        self, answer: Answer, varied: Sequence[UncertainInput], nominal: Array, hottest: int, keeps_cells: KeepsCells
    ) -> None:
        self.answer, self.varied, self.nominal, self.hottest = answer, varied, nominal, hottest
        self.keeps_cells = keeps_cells
        self.spreads = [one.spread for one in varied]
        self.solves, self.runs_away = 0, False
        self.left_out: dict[str, str] = {}

    def found(self) -> Responses:
        count = len(self.varied)
        slopes, curls, bends = np.zeros((3, count, len(self.nominal)))
        firsts: dict[int, tuple[float, Array]] = {}
        for number in range(count):
            first = self._moved(number, 1.0) or self._moved(number, -1.0)
            if first is not None:
                firsts[number] = first
                slopes[number] = first[1] / first[0]
        total = float(np.sum(slopes[:, self.hottest] ** 2))
        for number, (way, change) in firsts.items():
            if slopes[number, self.hottest] ** 2 >= STRONG_SHARE * total > 0.0:
                other = self._moved(number, -1.0 if way > 0.0 else 1.0)
                if other is not None:
                    reach = self._reach(number)
                    slopes[number], curls[number], bends[number] = _through((way, change), other, reach)
        self.left_out = {path: why for path, why in self.left_out.items() if path not in self._paths(firsts)}
        direction = slopes[:, self.hottest] / np.sqrt(total) if total > 0.0 else np.zeros(count)
        if norm := float(np.linalg.norm(direction)):
            direction = direction / norm
        nothing = np.zeros(len(self.nominal))
        curves = Responses(slopes, curls, bends, direction, self.hottest, nothing, 0.0, 0.0, False, {}, 0)
        if np.count_nonzero(direction) > 1:
            curves = self._with_together(curves)
        return replace(curves, runs_away=self.runs_away, left_out=self.left_out, solves=self.solves)

    def _reach(self, number: int) -> tuple[float, float]:
        """How far an input may go to either side [standard uncertainties]: all but a part in a million."""
        spread = self.spreads[number]
        low, high = moves_of(spread, spread.quantile([5e-7, 1.0 - 5e-7])).tolist()
        return low, high

    def _paths(self, numbers: Mapping[int, object]) -> set[str]:
        return {self.varied[number].input.path for number in numbers}

    def _value(self, number: int, way: float) -> tuple[float, float]:
        """The value of an input so many standard uncertainties away, within its bounds, and how far that is."""
        spread = self.spreads[number]
        value = min(max(spread.value + way * spread.uncertainty, spread.low), spread.high)
        return value, (value - spread.value) / spread.uncertainty

    def _moved(self, number: int, way: float) -> tuple[float, Array] | None:
        """How far an input was moved, and what that changed; None where it cannot be."""
        value, moved = self._value(number, way)
        if abs(moved) < SMALLEST_MOVE:
            return None
        path = self.varied[number].input.path
        change = self._change({path: value}, path)
        if change is not None and not self.keeps_cells({path: value}):
            half = self._change({path: 0.5 * (value + self.spreads[number].value)}, path)
            change = None if half is None else 2.0 * (change - half)
        return None if change is None else (moved, change)

    def _change(self, values: Mapping[str, float], path: str = "") -> Array | None:
        self.solves += 1
        try:
            return self.answer(values) - self.nominal
        except (RunawayError, NotConvergedError):
            self.runs_away = True
        except ThermsimError as error:
            if path:
                self.left_out[path] = error.what
        return None

    def _with_together(self, curves: Responses) -> Responses:
        """The same with what all inputs at once change at the hot end beyond their curves."""
        at = [self._value(number, FAR * float(part)) for number, part in enumerate(curves.direction)]
        moves = np.array([[move for _, move in at]])
        values = {one.input.path: value for one, (value, move) in zip(self.varied, at, strict=True) if move}
        way, change = float(moves[0] @ curves.direction), self._change(values)
        if change is None or way < SMALLEST_MOVE:
            return curves
        beyond, share = change - curves.deviation(moves)[0], _share_of_pairs(curves, moves)
        per_product = share / float(curves.products(moves)[0]) if share else 0.0
        shared = replace(curves, per_product=per_product, per_square=(1.0 - share) / way**2)
        if not self.keeps_cells(values):
            middle = {
                one.input.path: 0.5 * (values[one.input.path] + spread.value)
                for one, spread in zip(self.varied, self.spreads, strict=True)
                if one.input.path in values
            }
            half = self._change(middle)
            if half is None:
                return curves
            beyond -= half - curves.deviation(0.5 * moves)[0]
            beyond /= 1.0 - float(shared.jointly(0.5 * moves)[0])
        return replace(shared, together=beyond)


def _share_of_pairs(curves: Responses, moves: Array) -> float:
    """Of what inputs at the hot end, moves (1, inputs), do beyond their curves: the share laid to pairs of them.

    All but where one input does nearly all there, whose curve's own miss would be blown up by its slight partners.
    """
    pairs = float(curves.products(moves)[0])
    rise = float(curves.deviation(moves)[0, curves.hottest])
    return min(max(2.0 * pairs / (PAIRED_SHARE * rise**2), 0.0), 1.0) if rise > 0.0 else 0.0


def _through(one: tuple[float, Array], other: tuple[float, Array], reach: tuple[float, float]) -> Array:
    """Slopes, curls and bends (3, answers) of curves through nothing and two moves with what they changed.

    reach : lowest and highest move; a curve with a pole there, or near, is none
    """
    (s, change), (t, changed) = one, other
    first, second = change / s, changed / t
    with np.errstate(divide="ignore", invalid="ignore"):
        curls = (second - first) / (change - changed)
        least = 1.0 + np.minimum(curls * reach[0], curls * reach[1])
    fits = (first * second > 0.0) & (least > LEAST_BESIDE_POLE)
    curls = np.where(fits, curls, 0.0)
    bends = np.where(fits, 0.0, (first - second) / (s - t))
    return np.array([np.where(fits, first * (1.0 + curls * s), first - bends * s), curls, bends])

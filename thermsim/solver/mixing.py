"""Extrapolation of an iteration that creeps, or swings: Anderson's mixing of a few steps.

With guesses x and what the iteration makes of them, g(x), f = g - x, and differences dg, df from step to step, the
coefficients c make |f - sum c df| least, and the next guess is

    g - sum c dg - (1 - b) (f - sum c df),

with b = 1, halved each time that f has grown. Source: Walker and Ni, SIAM J. Numer. Anal. 49 (2011) 1715, algorithm AA
(from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.model.build import Guess, Model
from thermsim.units import ABSOLUTE_ZERO_C

Array = NDArray[np.float64]

# An iteration whose changes shrink to less than this share of the one before, step by step, needs no mixing.
SLOW_RATIO = 0.3
DEPTH = 3  # differences between steps that are kept, the depth m of Anderson's method
LEAST_DAMPING = 0.1  # smallest b of the formula above, however often f has grown
Parts = tuple[Array, ...]  # of cells, what they reach, and of each heated face and curved surface


def _parts(guess: Guess) -> Parts:
    of_planes = (*guess.heated_face, *guess.surface.values())
    return guess.temperature, *(guess.reach or ()), *(np.asarray(plane, dtype=float) for plane in of_planes)


def _guess(model: Model, parts: Parts, like: Guess) -> Guess:
    """What `_parts` took apart of a guess, with other numbers."""
    temperature, *rest = parts
    reach = None
    if like.reach is not None:
        of_x, of_y, of_z = (np.maximum(part, 0.0) for part in rest[:3])
        reach, rest = (of_x, of_y, of_z), rest[3:]
    faces = len(like.heated_face)
    surfaces = (np.maximum(part, ABSOLUTE_ZERO_C) for part in rest[faces:])
    return model.guess(temperature, tuple(rest[:faces]), dict(zip(like.surface, surfaces, strict=True)), reach)


def _dot(one: Parts, other: Parts, count: int) -> float:
    return sum(float(np.vdot(a, b)) for a, b in zip(one[:count], other[:count], strict=True))


def _minus(one: Parts, other: Parts) -> Parts:
    return tuple(a - b for a, b in zip(one, other, strict=True))


class Mixing:
    """The last steps of one iteration, in the symbols above.

    times_change : the error of a step's result over its f, estimated from the kept differences as |dx| / |df|; None
        where nothing was mixed
    """

    def __init__(self) -> None:
        self.times_change: float | None = None
        self._last: tuple[Guess, Guess] | None = None
        self._df: list[Parts] = []
        self._dg: list[Parts] = []
        self._amplified: list[float] = []
        self._b = 1.0
        self._is_off = False

    @property
    def is_idle(self) -> bool:
        """Whether the guess of the step to come is what the last step gave."""
        return self._is_off or self.times_change is None

    def given_up(self) -> Guess:
        """What the last step gave; from here on nothing is mixed."""
        assert self._last is not None
        self.times_change, self._is_off = None, True
        self._df, self._dg = [], []
        return self._last[1]

    def next(self, model: Model, guess: Guess, after: Guess, ratio: float) -> Guess:
        """The guess to go on from. after : what a step gave; ratio : of its change to the one before"""
        if self._is_off or (ratio < SLOW_RATIO and not self._df):
            self._last = (guess, after)
            return after
        before, self._last = self._last, (guess, after)
        if before is None or len({one.reach is None for one in (*before, guess, after)}) > 1:
            self._df, self._dg, self._amplified = [], [], []
            return after
        cells = 1 if after.reach is None else 4
        f, g = _minus(_parts(after), _parts(guess)), _parts(after)
        self._keep(before, f, g)
        if ratio > 1.0:
            self._b = max(0.5 * self._b, LEAST_DAMPING)
        gram = np.array([[_dot(one, other, cells) for other in self._df] for one in self._df])
        right_side = np.array([_dot(one, f, cells) for one in self._df])
        coefficients = np.linalg.lstsq(gram, right_side, rcond=1e-12)[0].tolist()
        for c, df, dg in zip(coefficients, self._df, self._dg, strict=True):
            f = _minus(f, tuple(c * part for part in df))
            g = _minus(g, tuple(c * part for part in dg))
        stays = 1.0 - self._b
        mixed = _minus(g, tuple(stays * part for part in f)) if stays > 0.0 else g
        self.times_change = max(1.0, *self._amplified)
        return _guess(model, mixed, after)

    def _keep(self, before: tuple[Guess, Guess], f: Parts, g: Parts) -> None:
        dg = _minus(g, _parts(before[1]))
        df = _minus(f, _minus(_parts(before[1]), _parts(before[0])))
        moved = float(np.abs(df[0]).max())
        start = float(np.abs(dg[0] - df[0]).max())
        self._df.append(df)
        self._dg.append(dg)
        self._amplified.append(start / moved if moved > 0.0 else 1.0)
        for history in (self._df, self._dg, self._amplified):
            del history[:-DEPTH]

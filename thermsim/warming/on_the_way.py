"""What properties that change with temperature do between both ends of a warm-up: held still, or followed.

A small model holds them between the unheated and the loaded state, so that both ends are exact. Where that may cost
more than a share of the accuracy on the way, the whole model is followed on the first grid, and on more where one is
not enough; what it does otherwise is a correction, smooth in time and small, which is added to the curves of all grids.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.loads.load import Load
from thermsim.readout.answers import observables
from thermsim.readout.field import Field
from thermsim.transient.grid import films_of
from thermsim.transient.whole import WholeCurves, carried, some_of, whole_curves

Array = NDArray[np.float64]

HELD_SHARE = 0.2  # of the accuracy that properties held still may take: beyond it the whole model is followed too
FOLLOWED_SHARE = 0.5  # of the accuracy that a correction on the first grid may take: beyond it more are taken
LEFT_SHARE = 0.05  # of the accuracy: from where on properties held still take no more, nothing is followed any further
FEWEST_TIMES = 9  # that are followed anyhow
TIMES_GRID = 2.0  # margin on the share of a rise that a grid holds off, for the correction on that grid
LEAST_OF_GRID = 0.03  # share of a correction that one grid may hold it off by anyhow, our own practice
MOST_CHANGES = 24  # of a load that the whole model is followed through: each costs as much as a warm-up
TIMES_SETTLING = 1.5  # margin on what the difference of two grids leaves, in the second order


class OnTheWay:
    """What is known so far of one warm-up. times : (n,) [s]; accuracy_K : of all curves; load : None for all at once

    held : (answers, n) how far properties held still may hold each answer off, on the first grid
    goes_beyond : whether the load goes beyond the typed one, of which `held` says nothing; then the model is followed
    unheated : (answers,) before the load comes on
    correction : (answers, n) what the whole model does otherwise; zero where it was not followed
    """

    def __init__(self, case: Case, times: Array, accuracy_K: float, load: Load | None = None) -> None:
        self.case, self.times, self.accuracy_K, self.load = case, times, accuracy_K, load
        self.asked = observables(case)
        self.held = np.zeros((len(self.asked), len(times)))
        self.goes_beyond = False
        self.unheated = np.zeros(len(self.asked))
        self.correction = np.zeros_like(self.held)
        self._doubt = np.zeros_like(self.held)
        self._whole: WholeCurves | None = None
        self._found: list[tuple[int, Array]] = []  # by multiplier of grids, at sparse times

    @property
    def held_K(self) -> float | None:
        """By how much properties held still would hold temperatures off; None where they are."""
        return None if self._whole is None else self._widest_K(np.abs(self.correction))

    def climb(self, field: Field, from_s: float, multiplier: int, tables: list[Array]) -> None:
        """Follow the whole model on a grid, where that is wanted.

        field : the end on this grid; tables : (answers, n + 1) held still, of all grids so far, this one the last
        """
        if not self.may_be_followed or not self._is_wanted(tables):
            return
        films = films_of(self.case, field.model, from_s, multiplier)
        followed = self.times[: self._followed()]
        # Under a load that changes nothing is smooth over the logarithm of time.
        some = some_of(followed) if self.load is None else np.arange(len(self.times))
        at, left = self.times[some], None if self._whole is None else self._whole.left
        self._whole = whole_curves(
            self.case, field.model, films, field.guess, at, self.accuracy_K, left, load=self.load
        )
        self._found.append((multiplier, self._whole.values - tables[-1][:, some]))
        told, of_grids = self._settled()
        told = told + np.nan_to_num(self._whole.left)
        off = of_grids + self._whole.time_doubt
        if self.load is None:
            told, of_reading = carried(at, told, followed)
            off = of_reading + carried(at, off, followed)[0]
        later = self.held[:, len(followed) :]
        self.correction = np.concatenate((told, np.zeros_like(later)), axis=1)
        self._doubt = np.concatenate((off, later), axis=1)

    def doubt(self, tables: list[Array], limits: Array) -> Array:
        """(answers, n) how far answers may be off on the way. limits : (answers, n + 1) that the grids head for"""
        if not self._found:
            return self.held
        return self._of_first_grid(tables, limits) if len(self._found) == 1 else self._doubt

    @property
    def may_be_followed(self) -> bool:
        """Whether the whole model bears the load: it changes seldom, and is constant in between."""
        load = self.load
        if load is None:
            return True
        return load.between == "constant" and int((load.changes_s < self.times[-1]).sum()) <= MOST_CHANGES

    def _followed(self) -> int:
        """How many times are followed: all until properties held still take next to nothing of the accuracy.

        Under a load that goes beyond the typed one they say nothing of that: all are followed.
        """
        if self.load is not None:
            return len(self.times)
        of_temperatures = self.held[[not one.is_heat for one in self.asked]].max(axis=0)
        matters = np.flatnonzero(of_temperatures > LEFT_SHARE * self.accuracy_K)
        return min(max(int(matters[-1]) + 1 if len(matters) else 0, FEWEST_TIMES), len(self.times))

    def _is_wanted(self, tables: list[Array]) -> bool:
        if len(tables) == 1:
            return self.goes_beyond or self._widest_K(self.held) > HELD_SHARE * self.accuracy_K
        return bool(self._found) and self._widest_K(self.doubt(tables, tables[-1])) > FOLLOWED_SHARE * self.accuracy_K

    def _settled(self) -> tuple[Array, Array]:
        """(answers, k) the correction at sparse times, and how far the grids may hold that off.

        It is taken to settle in the second order, with a margin; one grid alone tells nothing, see `_of_first_grid`.
        """
        at, finest = self._found[-1]
        finest = np.nan_to_num(finest)
        if len(self._found) == 1:
            return finest, np.zeros_like(finest)
        before, coarser = self._found[-2]
        return finest, TIMES_SETTLING * np.abs(finest - np.nan_to_num(coarser)) * before**2 / (at**2 - before**2)

    def _of_first_grid(self, tables: list[Array], limits: Array) -> Array:
        """A correction of the first grid alone is taken to err as the rise that it belongs to, and by a little more."""
        off, size = np.abs(limits - tables[0])[:, :-1], np.abs(limits[:, :-1] - self.unheated[:, None])
        share = np.divide(off, size, out=np.ones_like(off), where=size > 0.0)
        of_grid = np.minimum(TIMES_GRID * np.nan_to_num(share, nan=1.0) + LEAST_OF_GRID, 1.0) * np.abs(self.correction)
        return np.asarray(np.nan_to_num(self._doubt + of_grid))

    def _widest_K(self, widths: Array) -> float:
        """The widest of all temperatures at all times."""
        return float(np.max(widths[[not one.is_heat for one in self.asked]], initial=0.0))

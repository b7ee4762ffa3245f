"""What a case makes over time: shares of its power, watts of the package, or watts of its zones, at samples."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.geometry.zones import zones_of
from thermsim.case.vocabulary.schema import Case
from thermsim.case.vocabulary.warm_up import GIVEN_AS, LoadStep
from thermsim.loads.stepping import Between
from thermsim.plausibility.dimensions import heat_W

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Load:
    """A load over time.

    times_s : (n,) [s], rising, the first 0
    values : (n, inputs) from each of these on: shares of all power of the case, or watts, leakage in them
    zones : names of the zones that the inputs are; empty where there is one input, which the whole case shares
    is_share : whether values are shares; watts otherwise
    between : whether a value holds until the next one, or values are joined by straight lines
    ends_s : until when it is known [s]; inf where the last value lasts
    source : where it comes from, in words
    clock_s : what was taken off the times of a log, so that they begin at 0 [s]
    """

    times_s: Array
    values: Array
    zones: tuple[str, ...]
    is_share: bool
    between: Between = "constant"
    ends_s: float = float("inf")
    source: str = ""
    clock_s: float = 0.0

    @property
    def lasts(self) -> bool:
        """Whether the last value lasts, so that there is a steady state at the end."""
        return self.ends_s == float("inf")

    @property
    def is_plain(self) -> bool:
        """Whether it is just all power of the case from 0 on."""
        return self.is_share and self.lasts and bool(np.all(self.values == 1.0))

    @property
    def changes_s(self) -> Array:
        """Times [s] from which on another constant holds, the first being 0; all samples where lines join them."""
        if self.between == "line":
            return self.times_s
        differs = np.any(np.diff(self.values, axis=0) != 0.0, axis=1)
        return np.asarray(self.times_s[np.concatenate([[True], differs])])

    def before(self, times: ArrayLike) -> Array:
        """(k, inputs) what is on at times [s]: of two values that meet there the earlier one."""
        return self._at(np.asarray(times, dtype=np.float64), "left")

    def after(self, times: ArrayLike) -> Array:
        """(k, inputs) the same; of two values that meet there the later one."""
        return self._at(np.asarray(times, dtype=np.float64), "right")

    def _at(self, times: Array, side: str) -> Array:
        if self.between == "line":
            return np.column_stack([np.interp(times, self.times_s, column) for column in self.values.T])
        place = np.searchsorted(self.times_s, times, side="left" if side == "left" else "right") - 1
        return np.asarray(self.values[np.clip(place, 0, len(self.values) - 1)])

    def watts(self, case: Case, times: ArrayLike, side: str = "left") -> Array:
        """(k,) watts of the whole package at times [s]: typed ones where they are shares, without what more leaks."""
        values = self._at(np.asarray(times, dtype=np.float64), side).sum(axis=1)
        return np.asarray(values * sum(heat_W(case, one) for one in case.heat) if self.is_share else values)

    def case_of(self, case: Case) -> Case:
        """The case that it drives: watts hold what leaks, so that nothing comes on top of them."""
        if self.is_share:
            return case
        heat = [one.model_copy(update={"leakage": None}) for one in case.heat]
        return case.model_copy(update={"heat": heat})


def load_of_steps(case: Case, steps: Iterable[LoadStep], source: str = "steps of the case") -> Load | None:
    """The load that steps make; None where it is all power of the case from 0 on. The case has them checked."""
    steps = list(steps)
    key = next(key for key in GIVEN_AS if getattr(steps[0], key) is not None)
    zones: tuple[str, ...] = ()
    if key == "zones_W":
        zones = tuple(
            zone.label for zone in zones_of(case) if any(zone.label in (step.zones_W or {}) for step in steps)
        )
        values = np.array([[(step.zones_W or {}).get(zone, 0.0) for zone in zones] for step in steps])
    else:
        values = np.array([[getattr(step, key)] for step in steps])
    load = Load(np.array([step.at_s for step in steps]), values, zones, key == "share", source=source)
    return None if load.is_plain else load


def without_repeats(load: Load) -> Load:
    """The same load, with samples left out that change nothing."""
    if load.between == "line":
        return load
    kept = np.isin(load.times_s, load.changes_s)
    return replace(load, times_s=load.times_s[kept], values=load.values[kept])

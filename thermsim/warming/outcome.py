"""What a warm-up found: data only, for tables, pictures and files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.loads.load import Load
from thermsim.mesh.convergence import Doubt
from thermsim.printable import Printable
from thermsim.readout.field import Field
from thermsim.readout.observable import Answers, Observable

Array = NDArray[np.float64]

HIGHEST_K = 1e-3  # by which a temperature may rise on without being told as higher


@dataclass(frozen=True, eq=False)
class Curve:
    """One answer over time, told at the times of the warm-up.

    value : (n,) temperature [C], or heat [W]
    mesh_doubt : (n,) how far the grids may hold it off; time_doubt : how far the small model in time may
    between_doubt : (n,) how far conductivities, heat capacities and leakage may, which are exact at both ends only:
        held still in between, or by what is left after following them
    unheated : before the load came on; loaded : the steady state that it ends at, None under a log, which has none
    settled_s : earliest and latest time [s], as the doubts allow, from which on it stays within `settled_K` of its end;
        None if that is later than the last time, or the doubts are wider than `settled_K` until then
    """

    value: Array
    mesh_doubt: Array
    time_doubt: float
    between_doubt: Array
    unheated: float
    loaded: Doubt | None
    settled_s: tuple[float, float] | None

    @property
    def half_width(self) -> Array:
        """(n,) all doubts together."""
        return np.asarray(self.mesh_doubt + self.time_doubt + self.between_doubt)

    @property
    def loaded_C(self) -> float:
        """The steady state that it ends at; NaN without one."""
        return float("nan") if self.loaded is None else self.loaded.value

    @property
    def loaded_doubt(self) -> float:
        """Mesh doubt of that; NaN without one."""
        return float("nan") if self.loaded is None else self.loaded.half_width

    @property
    def highest(self) -> int:
        """At which of the times it is highest: of times at which it is so to within HIGHEST_K the first."""
        value = np.nan_to_num(self.value, nan=-np.inf)
        return int(np.argmax(value >= value.max() - HIGHEST_K))


@dataclass(frozen=True)
class Rest:
    """How long a stack must rest, switched off from its loaded state, until a second run repeats the first.

    What a run finds of the one before only adds to its rises, and dies away no more slowly than these settle; so a rest
    of so long holds whenever a reading is taken. That is so of a stack whose properties are constant or carry heat
    better, and store less of it, when cold, and of leakage, which is off during a rest.

    within_K : what repeats; seconds : earliest and latest such rest [s], as doubts allow; None where it is after the
        last time, or doubts are wider until then, or there is a reason `why` it is not known
    noted_s : the same where the coolant of the loop is noted at both runs, and each reading put to the same coolant by
        what a kelvin of it does to the reading; None without a loop too
    per_kelvin : the largest of these [K/K], of the loaded steady state or just after switching on, before leakage
        answers: the noted rest holds for both; 0 without a loop
    last : what takes longest
    why : why a warm-up tells no rest of this stack, in words
    """

    within_K: float
    seconds: tuple[float, float] | None
    noted_s: tuple[float, float] | None
    per_kelvin: float
    last: Observable
    why: str | None = None


@dataclass(frozen=True, eq=False)
class HeldBack:
    """What a chip that holds back has left of its power: as much as keeps its hottest reading at the limit.

    limit_C : that no reading passes; reading : the first to meet it
    power_W : that may be held back, as typed: of the zones with a clock, or of all
    left_W : (n,) what is left of it, with how far mesh and time may hold that off, left_doubt_W
    end_W : at the steady state; from_s : from when on it is held back, None if not until the last time
    lost_J : energy that was held back until the last time
    is_never : whether the limit is not met at all; is_enough : False where a reading passes it without that power too
    runs_away : whether there is no steady state without holding back
    """

    limit_C: float
    reading: Observable
    power_W: float
    left_W: Array
    left_doubt_W: Array
    end_W: WithDoubt
    from_s: WithDoubt | None
    lost_J: WithDoubt
    is_never: bool = False
    is_enough: bool = True
    runs_away: bool = False


class WithDoubt(NamedTuple):
    """A number and the half width of its doubt."""

    value: float
    half_width: float


@dataclass(frozen=True)
class TimeStep:
    """One grid of the study. levels : of its cells and those of films; solves, iterations : of the linear solver"""

    multiplier: int
    cells: int
    levels: int
    seconds: float
    solves: int
    iterations: int
    imbalance: float


@dataclass(frozen=True, eq=False)
class Warmup(Printable):
    """Every answer over time after a load comes on at once on a stack at rest, with its doubts.

    times_s : (n,) [s], rising
    field : of the finest grid, at the steady state
    films : joints whose film stores heat as cells
    rest : how long to wait before a second run, of readings, or of all temperatures of the stack without any
    certain : where it was asked for, the bound of the time doubt that never fails, of what has one: weighted sums, by a
        small model without a coolant loop
    held_back : of a chip that holds back: the whole model was followed, and there are no `shifts` and no `rates`
    held_K : by how much properties held still would hold temperatures off on the way; None where they are
    load : over time; None for all power of the case from 0 on
    remarks : what must be said beside the numbers
    """

    case: Case
    times_s: Array
    curves: Answers[Curve]
    settled_K: float
    accuracy_K: float
    status: Literal["accuracy held", "accuracy not held"]
    steps: tuple[TimeStep, ...]
    shifts: tuple[float, ...]
    rates: Array
    films: tuple[str, ...]
    field: Field
    rest: Rest
    held_K: float | None = None
    load: Load | None = None
    remarks: tuple[str, ...] = ()
    held_back: HeldBack | None = None
    certain: Answers[float] | None = None

    @property
    def worst(self) -> tuple[Observable, float]:
        """The temperature whose doubt is widest at any time, and that doubt [K]: without what is held still."""

        def wide(curve: Curve) -> Array:
            return curve.half_width - (curve.between_doubt if self.held_K is None else 0.0)

        return max(
            ((one, float(np.max(wide(curve)))) for one, curve in self.curves.items() if not one.is_heat),
            key=lambda pair: pair[1],
        )

    @property
    def slowest_s(self) -> float:
        """The longest time constant of the small model [s], NaN without one; slower ones count less than time doubt."""
        return 1.0 / float(self.rates[0]) if len(self.rates) else float("nan")

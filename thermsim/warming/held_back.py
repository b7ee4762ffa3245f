"""A chip that holds back: its power falls so that no reading passes the limit, and is followed with all else.

The whole model is followed on three grids: what holds back bends every curve, so that no small model serves. What falls
is all power of the zones with a clock, leakage too, by one factor: that of `afford`, so that what is left at the end is
what it tells. Without `clock`, or with one that names no zones, that is all heat.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.clock import driven, proportional
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import HeatBalanceError, RunawayError
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.predict import FEWEST_GRIDS, OUTER_K, solve_on
from thermsim.mesh.settling import OnGrid, judged, settled_alone
from thermsim.model.build import Model, build_model
from thermsim.model.grid.axes import Grid, GridPlan
from thermsim.model.physics.heat import FaceSource, VolumeSource
from thermsim.model.powers import scaled_power
from thermsim.model.storage import storing_joints
from thermsim.progress import Progress
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import Field
from thermsim.readout.observable import Answers, Observable
from thermsim.readout.weights import Weights
from thermsim.transient.balance import Balance, Holding
from thermsim.transient.grid import films_of
from thermsim.transient.whole import NEIGHBOURS, TIMES_ALONE, WholeCurves, whole_curves
from thermsim.warming.outcome import Curve, HeldBack, Rest, TimeStep, Warmup, WithDoubt
from thermsim.warming.settled import settled_between

Array = NDArray[np.float64]

LARGEST_IMBALANCE = 1e-3  # of steps of the whole model, at their ends, whose coefficients are those of their stages
SURELY_BELOW = 0.1  # of its rise, by which the first grid must have the hottest reading below its limit


def must_hold_back(case: Case, grid: Grid) -> bool:
    """Whether a reading may meet its limit, as a first grid has it, or there is no steady state at all."""
    limit_C = case.limits.reading_C
    assert limit_C is not None  # the reader has seen to it
    try:
        field, _ = solve_on(case, grid, None, OUTER_K)
    except RunawayError:
        return True
    hottest = max(answers(case, field, _readings(case)).values())
    return hottest + SURELY_BELOW * (hottest - field.coolant_C) > limit_C


def holding_of(case: Case, model: Model) -> Holding:
    """How the chip of a case holds back on a grid."""
    assert case.limits.reading_C is not None
    readings, sums = _readings(case), dict[Observable, Weights | None]()

    def highest_C(field: Field) -> float:
        return max(answers(case, field, readings, sums=sums).values())

    return Holding(_without_clocked(case, model), case.limits.reading_C, highest_C)


class HoldingFamily:
    """The grids climbed so far, and what each answer, and the power that is left, are over time on each."""

    def __init__(self, case: Case, times: Array, wanted: float) -> None:
        self.case, self.times, self.wanted = case, times, wanted
        self.asked = observables(case)
        self.tables: list[Array] = []
        self.seen: list[OnGrid] = []
        self.steps: list[TimeStep] = []
        self.multipliers: list[int] = []
        self.whole: WholeCurves | None = None

    def climb(self, plan: GridPlan, multiplier: int, from_s: float) -> None:
        """Follow it on one grid more."""
        begin, case = time.perf_counter(), self.case
        model = build_model(case, plan.grid(multiplier))
        films, guess, holding = films_of(case, model, from_s, multiplier), model.first_guess(), holding_of(case, model)
        left = None if self.whole is None else self.whole.left
        self.whole = whole_curves(case, model, films, guess, self.times, self.wanted, left, holding)
        if not self.whole.imbalance <= LARGEST_IMBALANCE:
            raise HeatBalanceError(
                f"heat made, stored and let out differ by {self.whole.imbalance:.1e} of the heat",
                "this is a fault of the solver or of a coefficient range: keep the case file and report it",
            )
        balance = Balance(model, films, guess, holding)
        end = balance.settled()
        self.field = balance.field(end.state, end.near, end.inputs)
        self.is_enough = balance.excess_K(end) < self.wanted
        told = answers(case, self.field)
        self.first = max(_readings(case), key=lambda one: told[one])
        at_rest = Balance(scaled_power(model, 0.0), films, guess)
        rest = at_rest.settled()
        self.unheated = answers(case, at_rest.field(rest.state, rest.near, rest.inputs))
        self.power_W = _watts(model) - _watts(holding.without)
        values = self.whole.values + np.nan_to_num(self.whole.left)
        ends = np.array([*told.values(), end.inputs.share, values[-2, -1], values[-1, -1]])
        self.tables.append(np.column_stack([values, ends]))
        self.multipliers.append(multiplier)
        seen = OnGrid.of(case, self.field, multiplier, self.seen[0] if self.seen else None)
        self.seen.append(replace(seen, unseen=_widest(seen)))
        shape = self.field.moment.shape
        cells, seconds = shape[0] * shape[1] * shape[2], time.perf_counter() - begin
        counts = self.whole.solves, self.whole.iterations, self.whole.imbalance
        self.steps.append(TimeStep(multiplier, cells, shape[2], seconds, *counts))

    def outcome(self, settled_K: float, runs_away: bool) -> Warmup:
        """What was found on all grids together."""
        table, case = np.array(self.tables), self.case
        curves: Answers[Curve] = Answers()
        assert self.whole is not None
        for number, one in enumerate(self.asked):
            told = self._judged(table[:, number], one.is_heat)
            value, mesh = _of(told[:-1])
            time_doubt = float(self.whole.time_doubt[number].max())
            settled = None
            if not one.is_heat:
                off, width = _of(self._judged(table[:, number, :-1] - table[:, number, -1:], False))
                settled = settled_between(self.times, np.abs(off), width + time_doubt, settled_K)
            unheated = 0.0 if one.takes == "power" else self.unheated[one]
            nothing = np.zeros(len(self.times))
            curves[one] = Curve(value, mesh, time_doubt, nothing, unheated, told[-1], settled)
        widest = max(float(curve.half_width.max()) for one, curve in curves.items() if not one.is_heat)
        films = tuple(joint.joint for joint, _ in storing_joints(case))
        why = "the chip holds back, so that its warm-up does not tell how it cools down"
        return Warmup(
            case, self.times, curves, settled_K, self.wanted,
            "accuracy held" if widest <= self.wanted else "accuracy not held",
            tuple(self.steps), (), np.zeros(0), films, self.field,
            Rest(settled_K, None, None, 0.0, self.first, why), held_back=self._held_back(table, runs_away),
        )  # fmt: skip

    def _held_back(self, table: Array, runs_away: bool) -> HeldBack:
        assert self.whole is not None and self.case.limits.reading_C is not None
        share, mesh = _of(self._judged(table[:, -3], False))
        in_time = np.append(self.whole.time_doubt[-3], 0.0)
        left, doubt = np.clip(share, 0.0, 1.0) * self.power_W, (mesh + in_time) * self.power_W
        held_s = settled_alone(table[:, -2, -2], self.multipliers)
        begins = table[:, -1, 0]
        from_s = None
        if np.isfinite(begins).all():
            at = settled_alone(begins, self.multipliers)
            from_s = WithDoubt(at.value, at.half_width + TIMES_ALONE * float(self.whole.time_doubt[-1].max()))
        lost = WithDoubt(
            held_s.value * self.power_W, (held_s.half_width + float(self.whole.time_doubt[-2, -1])) * self.power_W
        )
        end = WithDoubt(float(left[-1]), float(doubt[-1]))
        return HeldBack(
            self.case.limits.reading_C, self.first, self.power_W, left[:-1], doubt[:-1], end, from_s, lost,
            is_never=bool((table[:, -3] >= 1.0).all()), is_enough=self.is_enough, runs_away=runs_away,
        )  # fmt: skip

    def _judged(self, table: Array, is_heat: bool) -> list[Doubt]:
        """(n,) doubts of (grids, n) values; where a curve bends, that of its neighbours in time counts too."""
        from scipy.ndimage import maximum_filter1d

        found = judged(table, self.seen, is_heat)
        widths = np.array([one.half_width for one in found])
        over = len(self.times)
        widths[:over] = maximum_filter1d(widths[:over], NEIGHBOURS)
        return [replace(one, half_width=float(width)) for one, width in zip(found, widths, strict=True)]


def _widest(seen: OnGrid) -> dict[str, Array]:
    """What film maps hide at the end is taken to be hidden at all times."""
    return {film: np.asarray(float(np.max(row))) for film, row in seen.unseen.items()}


def _of(told: Sequence[Doubt]) -> tuple[Array, Array]:
    """(n,) values and half widths."""
    return np.array([one.value for one in told]), np.array([one.half_width for one in told])


def never_held_back(found: Warmup) -> Warmup:
    """A warm-up of a chip that need not hold back, which says so."""
    case = found.case
    assert case.limits.reading_C is not None
    model, readings = found.field.model, _readings(case)
    first = max(readings, key=lambda one: found.curves[one].loaded_C)
    power_W = _watts(model) - _watts(_without_clocked(case, model))
    whole, nothing = WithDoubt(power_W, 0.0), WithDoubt(0.0, 0.0)
    left = np.full(len(found.times_s), power_W)
    held = HeldBack(case.limits.reading_C, first, power_W, left, 0.0 * left, whole, None, nothing, is_never=True)
    return replace(found, held_back=held)


def is_surely_below(found: Warmup) -> bool:
    """Whether all readings stay below their limit at all times, whatever the doubts of mesh and time."""
    limit_C = found.case.limits.reading_C
    assert limit_C is not None
    curves = [found.curves[one] for one in _readings(found.case)]
    return all(
        float(np.max(one.value + one.half_width)) <= limit_C and one.loaded_C + one.loaded_doubt <= limit_C
        for one in curves
    )


def follow(
    case: Case,
    plan: GridPlan,
    times: Array,
    wanted: float,
    settled_K: float,
    grids: int | None,
    runs_away: bool,
    progress: Progress | None,
) -> Warmup:
    """A chip that holds back, on three grids unless another number is asked for."""
    family = HoldingFamily(case, times, wanted)
    for multiplier in plan.multipliers[: grids or FEWEST_GRIDS]:
        family.climb(plan, multiplier, float(times[0]))
        if progress is not None:
            step = family.steps[-1]
            progress(f"a chip that holds back: grid of {step.cells:,} cells done in {step.seconds:.1f} s")
    return family.outcome(settled_K, runs_away)


def _readings(case: Case) -> list[Observable]:
    return [one for one in observables(case) if one.kind == "reading"]


def _watts(model: Model) -> float:
    return sum(float(source.watts.sum()) for source in model.sources)


def _without_clocked(case: Case, model: Model) -> Model:
    """The model without the power of the clocked zones.

    A heat of which a part is clocked may have become two sources of one law: what stays is with the first alike.
    """
    left = build_model(driven(case, proportional(0.0)), model.grid).sources

    def without(source: FaceSource | VolumeSource) -> Array:
        stays = np.zeros(source.watts.shape)
        if source is next(one for one in model.sources if _law(one) == _law(source)):
            stays += sum(one.watts for one in left if _law(one) == _law(source))
        return stays

    return replace(
        model,
        face_sources=tuple(replace(one, watts=without(one)) for one in model.face_sources),
        volume_sources=tuple(replace(one, watts=without(one)) for one in model.volume_sources),
    )


def _law(source: FaceSource | VolumeSource) -> tuple[object, ...]:
    """What sources must have in common to be one."""
    place = (source.face, source.side) if isinstance(source, FaceSource) else (source.levels.start,)
    return (source.part, *place, source.leakage)

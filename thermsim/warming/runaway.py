"""A load that no steady state belongs to: how long a stack at rest takes until it is too hot."""

from __future__ import annotations

import numpy as np

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import RunawayError
from thermsim.mesh.convergence import doubts
from thermsim.mesh.predict import FEWEST_GRIDS
from thermsim.model.build import build_model
from thermsim.model.grid.axes import GridPlan
from thermsim.progress import Progress
from thermsim.rounding import two_digits_up
from thermsim.transient.grid import films_of
from thermsim.transient.whole import passes_s

USUAL_LIMIT_C = 100.0  # that is told where a case has no limit of its own: most chips hold back about there


def without_steady_state(
    case: Case,
    plan: GridPlan,
    span_s: tuple[float, float],
    accuracy_K: float,
    failure: RunawayError,
    progress: Progress | None = None,
) -> RunawayError:
    """The same failure with the time that is left: when the limit of the case is passed, on three grids.

    span_s : first time of interest, and the last that is followed
    """
    if case.coolant_loop is not None:
        return failure  # the whole model holds its coolants
    limit_C = case.limits.reading_C if case.limits is not None and case.limits.reading_C is not None else USUAL_LIMIT_C
    found = []
    for multiplier in plan.multipliers[:FEWEST_GRIDS]:
        model = build_model(case, plan.grid(multiplier))
        films = films_of(case, model, span_s[0], multiplier)
        found.append(passes_s(case, model, films, model.first_guess(), span_s, limit_C, accuracy_K))
        if progress is not None:
            progress(f"no steady state: {limit_C:g} C passed after {found[-1][0]:.4g} s on grid {multiplier}")
    times = np.array([time for time, _ in found])
    message, remedy = failure.what, failure.remedy
    if not np.isfinite(times).all():
        told = f"from rest it stays below {limit_C:g} C until {span_s[1]:g} s"
        return _told(failure, f"{message}; {told}", remedy, limit_C, np.inf, np.inf)
    sizes = [1.0 / multiplier for multiplier in plan.multipliers[:FEWEST_GRIDS]]
    judged = doubts(times[:, None], sizes, 0.0)[0]
    doubt = judged.half_width + max(doubt for _, doubt in found)
    told = f"from rest it passes {limit_C:g} C after {judged.value:.4g} +- {two_digits_up(doubt)} s"
    return _told(failure, f"{message}; {told}", remedy, limit_C, judged.value, doubt)


def _told(
    failure: RunawayError, message: str, remedy: str, limit_C: float, after_s: float, doubt_s: float
) -> RunawayError:
    error = RunawayError(message, remedy)
    error.share, error.share_doubt = failure.share, failure.share_doubt
    error.passes_C, error.passes_s, error.passes_doubt_s = limit_C, after_s, doubt_s
    return error

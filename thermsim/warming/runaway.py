"""A load that no steady state belongs to: how long a stack at rest takes until it is too hot."""

from __future__ import annotations

import numpy as np

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import RunawayError
from thermsim.mesh.predict import FEWEST_GRIDS
from thermsim.mesh.settling import settled_alone
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
    limit_C = case.limits.reading_C if case.limits is not None and case.limits.reading_C is not None else USUAL_LIMIT_C
    found = []
    for multiplier in plan.multipliers[:FEWEST_GRIDS]:
        model = build_model(case, plan.grid(multiplier))
        films = films_of(case, model, span_s[0], multiplier)
        found.append(passes_s(case, model, films, model.first_guess(), span_s, limit_C, accuracy_K))
        if progress is not None:
            progress(f"no steady state: too hot after {found[-1].after_s:.4g} s on grid {multiplier}")
    times = np.array([one.after_s for one in found])
    message, remedy = failure.what, failure.remedy
    if not np.isfinite(times).all():
        told = f"from rest it stays below {limit_C:g} C until {span_s[1]:g} s"
        if np.isfinite(times).any():
            told = f"from rest it passes {limit_C:g} C at about {span_s[1]:g} s, on some grids a little later"
        return _told(failure, f"{message}; {told}", remedy, limit_C, np.inf, np.inf)
    judged = settled_alone(times, plan.multipliers[:FEWEST_GRIDS])
    doubt = judged.half_width + max(one.doubt_s for one in found)
    after = f"after {judged.value:.4g} +- {two_digits_up(doubt)} s"
    told = f"from rest it passes {limit_C:g} C {after}"
    if not all(one.by_limit for one in found):
        told = f"from rest the hottest spot runs away {after}, with all readings below {limit_C:g} C until then"
    return _told(failure, f"{message}; {told}", remedy, limit_C, judged.value, doubt)


def _told(
    failure: RunawayError, message: str, remedy: str, limit_C: float, after_s: float, doubt_s: float
) -> RunawayError:
    error = RunawayError(message, remedy)
    error.share, error.share_doubt = failure.share, failure.share_doubt
    error.passes_C, error.passes_s, error.passes_doubt_s = limit_C, after_s, doubt_s
    return error

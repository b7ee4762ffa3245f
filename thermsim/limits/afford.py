"""Which clock a case can afford: where a reading meets its limit, for the base and every option.

Readings at another clock or power are found on one grid that is quick. How far that grid is off, and what mesh and
tolerances leave open, is found for two states: the case as typed, which is the one that `predict` tells, and the power
at which the limit is met. Between them and beyond it goes in a straight line, see `thermsim.limits.corrected_readings`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import partial

from thermsim.case.clock import drive_at, driven, proportional
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case, Clock
from thermsim.doubt.inputs import with_input_doubt
from thermsim.errors import CaseError, Fault, RunawayError
from thermsim.limits.affordance import Affordance, Afforded
from thermsim.limits.corrected_readings import Studied
from thermsim.limits.limit_search import SEARCH_GRID, LimitSearch
from thermsim.limits.states import Crossing, States
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.model.grid.plan import MULTIPLIERS, plan_grid
from thermsim.progress import Progress
from thermsim.readout.observable import Observable, of_reading

# share of the smallest tolerance of an offset that the mesh doubt may have: sensors then decide, not the mesh
MESH_SHARE_OF_TOLERANCE = 0.1
# Shares of the power at the edge of runaway at which the mesh is studied, in this order, if the limit is not met before
# that edge.
BEFORE_RUNAWAY, FAR_FROM_RUNAWAY = 0.9, 0.5
Study = Callable[..., "Studied | None"]  # `_study` with the settings of a search
SAME_SHARE = 1e-6  # of the power typed: nearer than that, the case as typed is the state at the limit


def afford(
    case: Case,
    *,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    progress: Progress | None = None,
) -> Affordance:
    """The power and clock at which a reading meets its limit, for the base and every option.

    Parameters
    ----------
    accuracy_K : of the readings at the limit [K]; unless given the case's own, or a tenth of the smallest tolerance of
    an offset where that is wider
    memory_GB, progress : see `predict`

    Raises
    ------
    CaseError : no limit, no readings, or a clock that drives no heat, with the place
    ThermsimError : as `predict`
    """
    cases = [case, *(with_option(case, option.option) for option in case.options_to_take)]
    for one in cases:
        _check(one)
    wanted = _needed_K(case) if accuracy_K is None else accuracy_K
    own = case.accuracy_K if accuracy_K is None else accuracy_K
    study = partial(_study, memory_GB=memory_GB, progress=progress)
    return Affordance(case, wanted, tuple(_afford(one, own, wanted, study) for one in cases))


def _needed_K(case: Case) -> float:
    """Mesh doubt that changes no verdict by much: far below what the sensors leave open anyway."""
    tolerance = min((one.offset_K.plus_minus for one in case.readings), default=0.0)
    return max(case.accuracy_K, MESH_SHARE_OF_TOLERANCE * tolerance)


def _check(case: Case) -> None:
    lacks = []
    if case.limits.reading_C is None:
        lacks.append((("limits",), "what a reading may reach is not given; add `limits: {reading_C: 95}`"))
    if not case.readings:
        lacks.append((("readings",), "nothing is read; add `readings: [{reading: name, zone: name}]`"))
    grid = plan_grid(case).grid(MULTIPLIERS[0])
    typed, idle = (
        sum(float(source.watts.sum()) for source in build_model(driven(case, proportional(share)), grid).sources)
        for share in (1.0, 0.0)
    )
    if typed <= idle:
        path = ("heat",) if case.clock is None else ("clock",)
        lacks.append((path, "no heat is made that could be changed; give zones a `power_W`"))
    if lacks:
        option = "" if case.option is None else f"option {case.option!r}: "
        raise CaseError([Fault(case.file, *case.mark(*path), f"{option}{what}") for path, what in lacks])


# ---- one case ---------------------------------------------------------------------------------------------------


def _afford(case: Case, own_K: float, accuracy_K: float, study: Study) -> Afforded:
    """own_K : accuracy of the case as typed; accuracy_K : of readings at their limit"""
    limit_C = case.limits.reading_C
    assert limit_C is not None  # as just checked
    plan = plan_grid(case)
    rough_search = LimitSearch(case, States(case, plan, MULTIPLIERS[0]))
    met = rough_search.power_at(limit_C, "expected")
    search, is_accuracy_held = _studied(States(case, plan, MULTIPLIERS[SEARCH_GRID]), met, own_K, accuracy_K, study)
    clock = case.clock
    steps = () if clock is None else tuple(search.step(clock, limit_C, *pair) for pair in _pairs(clock))
    between, beyond = (None, None) if clock is None else search.between(clock, limit_C)
    least_GHz = None if clock is None else search.least_GHz(clock, limit_C, between)
    power = search.power(limit_C)
    drives = [drive_at(clock, step.frequency_GHz, step.voltage_V) for step in steps] if clock is not None else []
    drives += [] if power is None else [proportional(power.share)]
    not_held = search.not_held(drives)
    inputs = search.studies[0].inputs
    return Afforded(
        case.option, case, limit_C, power, steps, between, beyond, least_GHz, is_accuracy_held, inputs, not_held
    )


def _pairs(clock: Clock) -> list[tuple[float, float, bool]]:
    """Clock [GHz], voltage [V], and whether it is the one typed; by rising frequency."""
    steps = [(step.frequency_GHz, step.voltage_V, False) for step in clock.steps]
    typed = (clock.frequency_GHz, clock.voltage_V, True)
    return sorted([*(step for step in steps if step[:2] != typed[:2]), typed])


def _studied(
    states: States, met: Crossing | None, own_K: float, accuracy_K: float, study: Study
) -> tuple[LimitSearch, bool]:
    """The states with studies of that at the limit, or short of a runaway, and of that as typed where it is steady."""
    case = states.case
    share = 1.0 if met is None else met.at
    at_limit = met is not None and met.ends_by == "limit"
    asked = frozenset(of_reading(one.reading) for one in case.readings)
    for share_there in [*[share] * at_limit, BEFORE_RUNAWAY * share, FAR_FROM_RUNAWAY * share]:
        there = study(states, share_there, accuracy_K, asked)
        if there is not None:
            break
    else:
        raise RunawayError(
            f"leakage outruns the cooling at {100 * FAR_FROM_RUNAWAY * share:.3g} % of the clocked power already",
            "lower the power or the leakage, or cool better",
        )
    typed = study(states, 1.0, own_K) if abs(share_there - 1.0) > SAME_SHARE else None
    studies = (there,) if typed is None else (there, typed)
    ends_early = not (at_limit and share_there == share) and not there.inputs.all_exact
    reach_W = max(one.state.made_W for one in studies) if ends_early else None
    is_held = max(one.mesh_K for one in there.readings.values()) <= accuracy_K
    return LimitSearch(case, states, studies, reach_W), is_held


def _study(
    states: States,
    share: float,
    accuracy_K: float,
    asked: Collection[Observable] | None = None,
    memory_GB: float | None = None,
    progress: Progress | None = None,
) -> Studied | None:
    """The state at a share of the clocked power with its doubts; None where it has none, if only on finer grids."""
    state = states.at(proportional(share))
    if state is None:
        return None
    case = states.case if share == 1.0 else driven(states.case, state.drive)
    try:
        found = predict(case, accuracy_K=accuracy_K, memory_GB=memory_GB, progress=progress, asked=asked)
    except RunawayError:
        return None
    return Studied.of(state, with_input_doubt(found, progress=progress))

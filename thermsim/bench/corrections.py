"""Runs put to like circumstances: at which coolant and load each was read, and what its readings would have been.

Where the coolant was noted, it is known but for its lag; where it was not, but the case has a `coolant_loop`, room and
time on load tell it: the loop nears its steady end along  rise exp(-t / tau),

    tau  =  C / (UA - q / (1 - rho q)),

with q what the heat to the loop grows by for each kelvin of coolant (leakage), and rho half of what a watt warms a pass
by: the heat balance of `model/physics/coolant_loop.py`, for a stack that is quick beside its loop.

The load, by which all typed powers are multiplied, follows from the package power: leakage is taken off at the
temperatures that were read, not at those of the model. So an option that does less than the case says does not pass
for one that was loaded more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, hypot, isfinite

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.corrected import Corrected
from thermsim.bench.responses import Response
from thermsim.bench.runs import BenchSettings, Run
from thermsim.case.inputs.values import inputs
from thermsim.case.typed.coverage import half_widths_per_uncertainty
from thermsim.case.vocabulary.schema import Case
from thermsim.model.physics.coolant_loop import Loop

Array = NDArray[np.float64]

# Shares of a correction that are not known: what slopes are off by on a case whose tolerances are usual. They make nine
# intervals in ten hold on simulated benches; 3 and 5 % held 85 in 100 of the largest corrections.
COOLANT_SLOPE, LOAD_SLOPE = 0.04, 0.06
UNNOTED_LOAD = 0.01  # one standard uncertainty of a load whose package power was not noted; our own choice
RADIATOR = 0.10  # the same of a radiator whose conductance has no tolerance
LAG_KNOWN = 0.6  # of the lag, one standard uncertainty: an even spread from none to twice the lag
USUAL_RISE_K, USUAL_LOOP_S = 10.0, 210.0  # of a loop that the case does not tell; common practice, no source
UNNOTED_REST_S = 300.0  # on load, of a run that does not note it, for its lag; our own choice
FANS_K = 0.05  # what other fans do to heat that leaves by the board, of readings at a noted coolant
MORE_IS_HOTTER = (0.7, 1.4)  # how far a measured rise may scale the slope of the load
ROUNDS = 4  # of load against leakage: each leaves a hundredth


@dataclass(frozen=True)
class Warming:
    """How the coolant of a bench warms up after the load comes on.

    rise_K : from start to end; constant_s : of its exponential; is_of_case : whether the case tells it
    """

    rise_K: float
    constant_s: float
    is_of_case: bool

    @classmethod
    def of(cls, case: Case, base: Response) -> Warming:
        """Of the loop of the case with its heat capacity, else as loops usually are."""
        loop = Loop.of(case)
        if loop is None or loop.capacity_J_K is None:
            return cls(USUAL_RISE_K, USUAL_LOOP_S, False)
        to_loop = float(base.at(base.coolant_C, base.load)[-1])
        slope = float(base.by_coolant(base.coolant_C, base.load)[-1])
        loses = loop.radiator_W_K - slope / (1.0 - loop.pass_K_W * slope)
        return cls(to_loop / loop.radiator_W_K, loop.capacity_J_K / loses, True)

    def left(self, on_load_s: float | None) -> float:
        """Share of the rise that is still to go."""
        return exp(-(UNNOTED_REST_S if on_load_s is None else on_load_s) / self.constant_s)

    def rate_K_s(self, on_load_s: float | None) -> float:
        """How fast the coolant still warms [K/s]."""
        return self.rise_K * self.left(on_load_s) / self.constant_s


@dataclass(frozen=True)
class Circumstances:
    """What held when a run was read.

    coolant_C : then; coolant_doubt_K : standard uncertainty for reasons of this run alone
    radiator_K : what one standard uncertainty of the radiator moves a coolant by that the loop tells; 0 where noted
    load, load_doubt : see the module; is_load_noted : whether the package power was noted
    why : in words, what was not simply read off the table
    """

    coolant_C: float
    coolant_doubt_K: float
    radiator_K: float
    load: float
    load_doubt: float
    is_load_noted: bool
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class PutRight:
    """A run put right.

    correction_K : what was added to its mean reading, of which `coolant_K` for the coolant and `load_K` for the load
    doubt_K : standard uncertainty of that, all causes together; extra_doubt_K : what is in it beyond how closely
        coolant and power are noted
    """

    corrected: Corrected
    correction_K: float
    coolant_K: float
    load_K: float
    doubt_K: float
    circumstances: Circumstances
    extra_doubt_K: float


def coolant_of(run: Run, case: Case, base: Response, warming: Warming, settings: BenchSettings) -> Circumstances | None:
    """The coolant of a run, at a load of one; None where neither it nor what the loop makes it is noted."""
    lag_s = settings.noted_to.lag_s
    rate = warming.rate_K_s(run.on_load_s)
    if run.coolant_C is not None:
        lag_K = rate * lag_s
        noted = settings.noted_to.coolant_K
        if not warming.is_of_case:
            return Circumstances(run.coolant_C, hypot(noted, lag_K * LAG_KNOWN), 0.0, 1.0, 0.0, False)
        why = (
            (f"the loop had {100 * warming.left(run.on_load_s):.0f} % of its rise still to go: a lag of {lag_s:g} s of "
             f"the noted coolant leaves {lag_K:.2f} K",)
            if lag_K > noted else ()
        )  # fmt: skip
        return Circumstances(run.coolant_C + lag_K, hypot(noted, lag_K * LAG_KNOWN), 0.0, 1.0, 0.0, False, why)
    loop, given = Loop.of(case), case.coolant_loop
    if loop is None or given is None or run.room_C is None or run.on_load_s is None:
        return None
    column = base.at(base.coolant_C, base.load)
    to_loop_W = float(column[-1] if run.package_W is None else run.package_W * column[-1] / column[-2])
    still = run.room_C + given.pump_W.value / loop.radiator_W_K
    rise, left = loop.per_watt_K * to_loop_W, warming.left(run.on_load_s)
    unsure = _radiator_doubt(case)
    why = (f"the coolant was not noted: {still + rise * (1 - 0.5 * left):.1f} C by room, loop and time on load",)
    began = rise * left / 12.0**0.5  # from a loop as cold as the room, to one that was warm from before
    coolant_C = still + rise * (1.0 - 0.5 * left)
    return Circumstances(coolant_C, hypot(began, settings.noted_to.coolant_K), unsure * rise, 1.0, 0.0, False, why)


def load_of(
    run: Run, at: Circumstances, response: Response, reference: float, settings: BenchSettings
) -> Circumstances:
    """The same with the load that the package power tells; without one, that of the other runs."""
    if run.package_W is None:
        return Circumstances(
            at.coolant_C, at.coolant_doubt_K, at.radiator_K, reference, UNNOTED_LOAD * reference, False,
            (*at.why, "the package power was not noted: taken for that of the others"),
        )  # fmt: skip
    read = _own(run, response)
    of_mean = float(np.mean([run.readings[name] for name in read])) if read else None
    where = [response.readings.index(name) for name in read]
    load = reference
    for _ in range(ROUNDS):
        found, slope = response.at(at.coolant_C, load), response.by_coolant(at.coolant_C, load)
        made = float(found[-2])
        if of_mean is not None:
            made += float(slope[-2] / slope[where].mean()) * (of_mean - float(found[where].mean()))
        load *= run.package_W / made
    unsure = settings.noted_to.power_percent / 100.0 * load
    return Circumstances(at.coolant_C, at.coolant_doubt_K, at.radiator_K, load, unsure, True, at.why)


def put_right(
    run: Run, at: Circumstances, response: Response, coolant_C: float, load: float, settings: BenchSettings
) -> PutRight:
    """A run put to a coolant [C] and a load."""
    read = _own(run, response)
    where = [response.readings.index(name) for name in read]
    here, same_coolant, there = (
        response.at(*place)[where] for place in ((at.coolant_C, at.load), (at.coolant_C, load), (coolant_C, load))
    )
    values = np.array([run.readings[name] for name in read])
    hotter = float((values.mean() - at.coolant_C) / (here.mean() - at.coolant_C))
    hotter = float(np.clip(hotter, *MORE_IS_HOTTER)) if isfinite(hotter) else 1.0
    for_load, for_coolant = hotter * (same_coolant - here), there - same_coolant
    by_coolant = float(response.by_coolant(at.coolant_C, load)[where].mean())
    by_load = hotter * float(response.by_load(at.coolant_C, load)[where].mean())
    coolant_K, load_K = float(for_coolant.mean()), float(for_load.mean())
    fans = settings.usual.fans_rpm is not None and run.fans_rpm not in (None, settings.usual.fans_rpm)
    own = [by_coolant * at.coolant_doubt_K, by_load * at.load_doubt, FANS_K if fans else 0.0]
    shared: dict[str, float] = {
        "slope of the coolant": COOLANT_SLOPE * coolant_K,
        "slope of the load": LOAD_SLOPE * load_K,
    }
    made_W, to_coolant_W = response.at(at.coolant_C, load)[-2:]
    elsewhere = max(0.0, 1.0 - float(to_coolant_W / made_W))
    # Whether board and air warmed as the coolant did is not known: an even spread from not at all to as much.
    shared["other fluids"] = by_coolant * elsewhere * (coolant_C - at.coolant_C) / 3.0**0.5
    if at.radiator_K:
        shared["radiator"] = by_coolant * at.radiator_K
    own_K = hypot(*own)
    usual = hypot(by_coolant * settings.noted_to.coolant_K, by_load * settings.noted_to.power_percent / 100.0 * load)
    doubt_K = hypot(own_K, *shared.values())
    readings: Mapping[str, float] = dict(zip(read, (values + for_load + for_coolant).tolist(), strict=True))
    return PutRight(
        Corrected(run, readings, own_K, shared),
        coolant_K + load_K,
        coolant_K,
        load_K,
        doubt_K,
        at,
        max(0.0, doubt_K**2 - usual**2) ** 0.5,
    )


def _radiator_doubt(case: Case) -> float:
    """Standard uncertainty of the radiator's conductance, as a share of it."""
    one = next(one for one in inputs(case) if one.steps == ("coolant_loop", "radiator_W_K"))
    return one.plus_minus / half_widths_per_uncertainty(one.shape, one.freedom) / one.value or RADIATOR


def _own(run: Run, response: Response) -> list[str]:
    """Readings that the run notes and the option has, in the order of the case."""
    return [name for name in response.readings if name in run.readings]

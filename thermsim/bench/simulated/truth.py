"""What is really so on a simulated bench: every tolerance of the case and its options drawn once, and solved.

Numbers that base and option share are drawn once for both; what an option gives itself is drawn by itself, as in a
comparison. What each state reads over coolant and load is a surface through full solves (`responses`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.responses import Bed, Response
from thermsim.case.geometry.zones import zones_of
from thermsim.case.inputs.values import with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.nearby.uncertain_inputs import sample_of, variables

Array = NDArray[np.float64]
Option = str | None

COOLANT_REACH_K = 6.0  # how far from the middle states are solved


@dataclass(frozen=True, eq=False)
class Truth:
    """The hidden state of a bench.

    case : as the practitioner has it, which is not what is so
    options : that were run, the base first; readings : names that all of them have
    responses : what each really reads, what its sensors are off by in it
    drawn : numbers that are not what the case says, by option and path
    coolant_C : in the middle, as the case has it; seed : of what was drawn, None where nothing was
    """

    case: Case
    options: tuple[Option, ...]
    readings: tuple[str, ...]
    responses: Mapping[Option, Response]
    drawn: Mapping[Option, Mapping[str, float]]
    coolant_C: float
    seed: int | None

    def shows(self, option: Option, coolant_C: float, load: float) -> Array:
        """(readings,) what the sensors would show of many mounts, unrounded [C]."""
        response = self.responses[option]
        return np.asarray(response.at(coolant_C, load)[[response.readings.index(name) for name in self.readings]])

    def makes_W(self, option: Option, coolant_C: float, load: float) -> float:
        """All heat of the chip [W]."""
        return float(self.responses[option].at(coolant_C, load)[-2])

    def gain_K(self, option: Option, against: Option = None) -> float:
        """What an option really lowers the mean of the readings by, at the coolant in the middle."""
        return float(np.mean(self.shows(against, self.coolant_C, 1.0) - self.shows(option, self.coolant_C, 1.0)))


def hidden_truth(
    case: Case,
    options: Sequence[str] | None = None,
    seed: int | None = None,
    given: Mapping[Option, Mapping[str, float]] | None = None,
    really: Mapping[Option, Case] | None = None,
) -> Truth:
    """Draw what is so on a bench, and solve it: six times for the base and every option, on a coarse grid.

    Parameters
    ----------
    case : with `readings`
    options : that are run after the base; all of the case unless given
    seed : of the draw; None leaves every number as the case says
    given : numbers that are as told instead, by option (None: the base) and path of `thermsim.inputs`
    really : cases that stand for an option as it really is, whatever the case says of it; nothing of them is drawn

    Raises
    ------
    UnknownNameError : an option or a path that the case does not have
    ThermsimError : the case has no readings or no coolant; a value that a number cannot have; no steady state
    """
    names: list[Option] = [None, *([one.option for one in case.options] if options is None else options)]
    cases = [case if name is None else with_option(case, name) for name in names]
    drawn: dict[Option, dict[str, float]] = {name: {} for name in names}
    varied = variables(cases, [name or "base" for name in names]) if seed is not None else ()
    if varied:
        levels = np.random.default_rng(seed).uniform(size=len(varied))
        values = [float(one.spread.quantile(level)) for one, level in zip(varied, levels, strict=True)]
        for name, sample in zip(names, sample_of(varied, values), strict=True):
            drawn[name] |= sample or {}
    beds, responses = {}, {}
    for name, state in zip(names, cases, strict=True):
        drawn[name] |= (given or {}).get(name, {})
        so = (really or {}).get(name) or (with_inputs(state, drawn[name]) if drawn[name] else state)
        beds[name] = Bed.of(so)
    coolant_C = Bed.of(case).coolant_C()
    for name, bed in beds.items():
        responses[name] = bed.response(None, coolant_C, COOLANT_REACH_K, 1.0)
    held = [name for name in responses[None].readings if all(name in one.readings for one in responses.values())]
    return Truth(case, tuple(names), tuple(held), responses, drawn, coolant_C, seed)


def places(case: Case, readings: Sequence[str]) -> Array:
    """(readings, 2) where sensors sit on their part, from -1 to 1 in x and y; of those at a probe, nothing is known."""
    zones = {zone.zone: zone.given for zone in zones_of(case)}
    found = np.zeros((len(readings), 2))
    for row, name in zip(found, readings, strict=True):
        asked = next(one for one in case.readings if one.reading == name)
        zone = None if asked.zone is None else zones.get(asked.zone)
        if zone is not None and zone.corner_mm is not None and zone.size_mm is not None:
            middle = [at.value + 0.5 * size.value for at, size in zip(zone.corner_mm, zone.size_mm, strict=True)]
            row[: len(middle)] = middle  # one of a slice
    least, reach = found.min(axis=0), np.ptp(found, axis=0)
    return np.where(reach > 0.0, 2.0 * (found - least) / np.where(reach > 0.0, reach, 1.0) - 1.0, 0.0)

"""What a clock, and a load over time, need of the rest of a case, and what their steps need of one another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from pydantic import ValidationError

from thermsim.case.faults.examination import Look
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.geometry.zones import zones_of
from thermsim.case.source.marked_values import Source
from thermsim.case.vocabulary.schema import Case
from thermsim.case.vocabulary.warm_up import GIVEN_AS, LoadStep, WarmUp
from thermsim.errors import CaseError, ThermsimError

LARGEST_RATIO = 10.0  # of a step's clock or voltage to the typed one; beyond it a unit was mixed up (MHz, mV)


def check_clock(look: Look) -> None:
    """Zones that exist, once each; steps that rise, with voltages that do not fall; no mixed units."""
    if look.case.clock is None:
        return
    if look.knows_all("heat"):
        _check_zones(look)
    _check_steps(look)


def _check_zones(look: Look) -> None:
    assert look.case.clock is not None
    known = [zone.zone for heat in look.case.heat for zone in heat.zones]
    named = look.case.clock.zones
    for place, name in enumerate(named):
        path = ("clock", "zones", place)
        if name not in known:
            there = f"there is: {listed(known)}" if known else "the case has no zone at all"
            look.add(path, f"there is no zone {name!r}{did_you_mean(name, known, there)}")
        elif name in named[:place]:
            look.add(path, f"the zone {name!r} stands twice in `zones`; once is enough")


def _check_steps(look: Look) -> None:
    clock = look.case.clock
    assert clock is not None
    for place, step in enumerate(clock.steps):
        for key in ("frequency_GHz", "voltage_V"):
            given, typed = getattr(step, key), getattr(clock, key)
            if not 1.0 / LARGEST_RATIO < given / typed < LARGEST_RATIO:
                what = f"`{key}` {given:g} of a step is {given / typed:.3g} times that of the clock ({typed:g})"
                look.add(("clock", "steps", place, key), f"{what}; frequencies are in GHz, voltages in V")
    if look.knows_all("clock"):
        for place, (before, step) in enumerate(pairwise(clock.steps), start=1):
            if step.frequency_GHz <= before.frequency_GHz:
                what = f"steps rise in frequency: {step.frequency_GHz:g} GHz stands after {before.frequency_GHz:g} GHz"
                look.add(("clock", "steps", place, "frequency_GHz"), f"{what}; put them in order, each once")
            elif step.voltage_V < before.voltage_V:
                what = f"{step.frequency_GHz:g} GHz at {step.voltage_V:g} V: a faster step with less voltage than"
                what += f" {before.frequency_GHz:g} GHz ({before.voltage_V:g} V) is likely a slip"
                look.add(("clock", "steps", place, "voltage_V"), f"{what}; the voltage of steps must not fall")


def check_load(look: Look) -> None:
    """Times of a load that rise from 0, power that is told in one way, zones that exist; times in their order."""
    given = look.case.warmup
    if given is None:
        return
    if given.from_s is not None and given.until_s is not None and given.from_s >= given.until_s:
        what = f"`from_s` {given.from_s:g} is not before `until_s` {given.until_s:g}"
        look.add(("warmup", "from_s"), f"{what}: give the first time first, both in seconds")
    for place, step in enumerate(given.load or []):
        path = ("warmup", "load", place)
        in_order = look.knows_all("warmup")
        if in_order and place == 0 and step.at_s != 0.0:
            what = f"a load begins at 0, and its first step at {step.at_s:g} s"
            look.add((*path, "at_s"), f"{what}: what is on before? Put `{{at_s: 0, share: 0}}` before it for nothing")
        if in_order and place > 0 and given.load is not None and step.at_s <= given.load[place - 1].at_s:
            what = f"steps rise in time: {step.at_s:g} s stands after {given.load[place - 1].at_s:g} s"
            look.add((*path, "at_s"), f"{what}; put them in order, each time once")
        if look.knows_all("heat"):
            _check_zones_of(look, place, step)
    ways = {key: place for place, step in reversed(list(enumerate(given.load or []))) for key in _way(step)}
    if len(ways) > 1:
        later = max(ways, key=lambda key: ways[key])
        others = " and ".join(f"`{key}`" for key in ways if key != later)
        what = f"`{later}` stands here, and {others} in other steps: tell all steps of a load in one way"
        look.add(("warmup", "load", ways[later], later), what)


def _way(step: LoadStep) -> list[str]:
    return [key for key in GIVEN_AS if getattr(step, key) is not None]


def _check_zones_of(look: Look, place: int, step: LoadStep) -> None:
    known = list(dict.fromkeys(zone.label for zone in zones_of(look.case)))
    for name in step.zones_W or {}:
        if name not in known:
            near = did_you_mean(name, known, f"there is: {listed(known)}" if known else "the case has no zone at all")
            path = ("warmup", "load", place, "zones_W", name)
            look.add(path, f"`zones_W`: there is no zone {name!r}{near}", at_key=True)


def steps_given(case: Case, given: Sequence[LoadStep | Mapping[str, Any]]) -> list[LoadStep]:
    """Steps of a load that do not stand in a case, checked as those that do.

    Raises ThermsimError, CaseError.
    """
    values = [one.model_dump(exclude_none=True) if isinstance(one, LoadStep) else dict(one) for one in given]
    source = Source("load", "", None, {"warmup": {"load": values}}, {(): (1, 1)}, {})
    try:
        own = WarmUp.model_validate({"load": values})
    except ValidationError as refused:
        first = refused.errors(include_url=False)[0]
        place = " ".join(str(step) for step in first["loc"])
        raise ThermsimError(
            f"the load cannot be used: {place}: {first['msg']}",
            "give steps as in a case, such as [{'at_s': 0, 'share': 1.0}, {'at_s': 60, 'share': 0.25}]",
        ) from None
    look = Look(case.model_copy(update={"warmup": own}), source, source, frozenset())
    check_load(look)
    if look.faults:
        raise CaseError(look.faults)
    assert own.load is not None
    return own.load

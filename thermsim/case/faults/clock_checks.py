"""What a clock needs of the rest of a case, and what its steps need of one another."""

from __future__ import annotations

from itertools import pairwise

from thermsim.case.faults.examination import Look
from thermsim.case.faults.wording import did_you_mean, listed

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

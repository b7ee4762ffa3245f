"""Likely slips in powers: watts and areas of zones and maps, gaps between zones, leakage."""

from __future__ import annotations

from collections.abc import Iterator
from math import log

import numpy as np

from thermsim.case.geometry.places import part_box, zone_box
from thermsim.case.geometry.zones import heated_boxes, powers_of, zones_in
from thermsim.case.vocabulary.schema import Case, Clock, Heat
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.coverage import area_mm2, cover, thin_strips
from thermsim.plausibility.dimensions import heat_W, map_W_mm2, part_called
from thermsim.plausibility.slip import Slip
from thermsim.plausibility.usual_ranges import outside

MOST = "silicon rarely makes more than 5, nothing more than 20"
LARGEST_SWAP = 1.6  # ratio to every step within which an exchanged clock is likely meant; our own choice
MOST_NAMED = 4  # zones that are named where many share one slip; the others are counted


def total_power(case: Case) -> Iterator[Slip]:
    """Power of the whole stack that no chip makes."""
    if case.dimensions == 3 and case.heat:
        watts = sum(heat_W(case, heat) for heat in case.heat)
        if watts > 0.0:
            yield from outside(watts, usual.TOTAL_POWER, usual.POWER_UNITS, "total power", "heat")


def clock_typed(case: Case) -> Iterator[Slip]:
    """A clock that needs more voltage than a faster step, or less than a slower one: the reader sees to the steps."""
    clock = case.clock
    if clock is None:
        return
    typed = f"the clock typed, {clock.frequency_GHz:g} GHz at {clock.voltage_V:g} V"
    for step in clock.steps:
        faster = step.frequency_GHz - clock.frequency_GHz
        if faster * (step.voltage_V - clock.voltage_V) < 0.0:
            how = "a faster step needs less voltage" if faster > 0.0 else "a slower step needs more voltage"
            message = f"{how} ({step.frequency_GHz:g} GHz at {step.voltage_V:g} V) than {typed}"
            yield Slip("warning", "clock", message, _clock_remedy(clock))
            return


def _clock_remedy(clock: Clock) -> str:
    """Exchange both numbers, where that puts the clock among its steps."""
    alike = [
        abs(log(one / other))
        for step in clock.steps
        for one, other in ((clock.voltage_V, step.frequency_GHz), (clock.frequency_GHz, step.voltage_V))
    ]
    if max(alike) < log(LARGEST_SWAP):
        return f"were both exchanged? `frequency_GHz: {clock.voltage_V:g}` and `voltage_V: {clock.frequency_GHz:g}`"
    return "check `frequency_GHz` and `voltage_V` of the clock, and those of the step"


def heat_slips(case: Case, heat: Heat) -> Iterator[Slip]:
    """Powers of one entry of `heat`, and its leakage."""
    part = part_called(case, heat.in_)
    yield from _zones(case, heat)
    if heat.map is not None:
        yield from _map(case, heat)
    law = heat.leakage
    if law is not None and law.per_K is not None and not usual.LEAKAGE_PER_K.holds(law.per_K):
        remedy = f"did you mean {law.per_K / 100:g} (per cent written as a fraction)?"
        message = f"leakage that grows by {100 * law.per_K:.3g} % a kelvin is out of the usual 0.1 to 1 %"
        yield Slip("warning", f"heat in {part.part}, leakage.per_K", message, remedy)


def _zones(case: Case, heat: Heat) -> Iterator[Slip]:
    """Zones that make too much for their size; in one line where there are several."""
    hot = {}
    part = part_called(case, heat.in_)
    for zone, power in zip(zones_in(heat), powers_of(case, heat).zones, strict=True):
        flux = power / area_mm2(zone_box(case, part, zone))
        if not usual.ZONE_FLUX.holds(flux):
            hot[zone.zone] = (flux, power)
    if not hot:
        return
    fluxes, watts = [flux for flux, _ in hot.values()], [power for _, power in hot.values()]
    remedy = "check power and size"
    if usual.ZONE_FLUX.holds(max(fluxes) / 1000):
        remedy = f"did you mean {_span([power / 1000 for power in watts])} W (milliwatts written as W)?"
    names = list(hot)
    if len(names) == 1:
        place = f"{names[0]}.power_W" if heat.power_W is None else f"heat.{heat.in_}.power_W"
        yield Slip("warning", place, f"{names[0]} makes {fluxes[0]:.3g} W/mm2; {MOST}", remedy)
        return
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    message = f"{len(names)} zones ({', '.join(names[:MOST_NAMED])}{more}) make {_span(fluxes)} W/mm2; {MOST}"
    yield Slip("warning", f"heat in {heat.in_}", message, remedy)


def _span(values: list[float]) -> str:
    low, high = f"{min(values):.3g}", f"{max(values):.3g}"
    return low if low == high else f"{low} to {high}"


def _map(case: Case, heat: Heat) -> Iterator[Slip]:
    """Cells of a power map that make too much for their size."""
    assert heat.map is not None
    table = map_W_mm2(case, heat)
    hot = int((table > usual.ZONE_FLUX.high).sum())
    if not hot:
        return
    line, column = np.unravel_index(int(table.argmax()), table.shape)
    cells = f"{hot} of {table.size} cells of {heat.map.file} make" if hot > 1 else f"one cell of {heat.map.file} makes"
    message = f"{cells} up to {table.max():.3g} W/mm2 (row {line + 1}, column {column + 1}); {MOST}"
    remedy = "check the cell, and `holds` (W in each cell, or W/mm2)"
    if hot == table.size and usual.ZONE_FLUX.holds(float(table.max()) / 1000):
        remedy = "did you mean a thousandth of each (milliwatts written as W)?"
    yield Slip("warning", f"heat in {heat.in_}, map", message, remedy)


def zone_gaps(case: Case, heat: Heat) -> Iterator[Slip]:
    """What the zones of a part leave free, where it looks as if nothing should be."""
    if heat.map is not None:
        return
    part = part_called(case, heat.in_)
    holder = part_box(case, part)
    made = heated_boxes(case, heat)
    place = f"heat in {part.part}"
    for strip in thin_strips(holder, made, usual.WIDEST_STRIP_mm):
        first, second = strip.between
        size = f"{strip.width_mm:.3g} x {strip.length_mm:.3g} mm"
        message = f"a strip of {size} between {first} and {second} makes no heat"
        yield Slip("warning", place, message, "close the gap, if it is one: compare corners and sizes")
    coverage = cover(holder, list(made.values()))
    free = coverage.free_mm2 / area_mm2(holder)
    if 1e-9 < free < 0.1:
        message = f"the zones leave {coverage.free_mm2:.3g} mm2 ({100 * free:.2g} %) of {part.part} without heat"
        yield Slip("notice", place, message, "give it to a zone, if it makes heat")

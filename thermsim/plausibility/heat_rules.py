"""Likely slips in powers: watts and areas of zones and maps, gaps between zones, leakage."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import log

import numpy as np

from thermsim.case.geometry.places import Box, part_box, zone_box
from thermsim.case.geometry.zones import heated_boxes, powers_of, zones_in
from thermsim.case.vocabulary.schema import Case, Clock, Heat
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.coverage import area_mm2, cover, thin_strips
from thermsim.plausibility.dimensions import heat_W, map_W_mm2, part_called
from thermsim.plausibility.slip import Severity, Slip
from thermsim.plausibility.usual_ranges import outside

MOST = "silicon rarely makes more than 5, nothing more than 20"
LARGEST_SWAP = 1.6  # ratio to every step within which an exchanged clock is likely meant; our own choice
FAR = 5.0  # ratio to its equals from which on a zone was probably mistyped; our own choice
ALIKE = 3.0  # ratio within which zones are equals; our own choice
SAME_AREA = 0.02  # by how much areas differ, of themselves, that are as large
LIVELY_W_mm2 = 5.0  # silicon rarely makes more (common practice, no source)
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
    boxes = {zone.zone: zone_box(case, part, zone) for zone in zones_in(heat)}
    powers = {zone.zone: power for zone, power in zip(zones_in(heat), powers_of(case, heat).zones, strict=True)}
    unlike = list(_unlike_its_equals(powers, boxes)) if case.dimensions == 3 and heat.power_W is None else []
    yield from unlike
    told = {slip.place.rpartition(".")[0] for slip in unlike if slip.severity == "warning"}
    boxes = {name: box for name, box in boxes.items() if name not in told}
    yield from _zones(heat, powers, boxes, part_box(case, part))
    if heat.map is not None:
        yield from _map(case, heat)
    law = heat.leakage
    if law is not None and law.per_K is not None and not usual.LEAKAGE_PER_K.holds(law.per_K):
        remedy = f"did you mean {law.per_K / 100:g} (per cent written as a fraction)?"
        message = f"leakage that grows by {100 * law.per_K:.3g} % a kelvin is out of the usual 0.1 to 1 %"
        yield Slip("warning", f"heat in {part.part}, leakage.per_K", message, remedy)


def _unlike_its_equals(powers: dict[str, float], boxes: dict[str, Box]) -> Iterator[Slip]:
    """A zone whose power, or whose size, is far from that of zones that are called as it is, or that are as large."""
    powers = {name: power for name, power in powers.items() if power > 0.0}
    for name, power in powers.items():
        others = [other for other in powers if other != name and _stem(other) == _stem(name)]
        others = others or [other for other in powers if other != name and _is_as_large(boxes[other], boxes[name])]
        if not others:
            continue
        watts, areas = [powers[other] for other in others], [area_mm2(boxes[other]) for other in others]
        area, middle_W, middle_mm2 = area_mm2(boxes[name]), float(np.median(watts)), float(np.median(areas))
        equals = others[0] if len(others) == 1 else f"its {len(others)} equals"
        if max(areas) < ALIKE * min(areas) and _is_far(area, middle_mm2) and not _is_far(power, middle_W, ALIKE):
            if len(others) == 1 and area > middle_mm2:
                continue  # of two, the one that makes more on each mm2 is told
            size, usual_size = _size(boxes[name]), _size(boxes[others[0]])
            message = f"{name} is {size} mm and makes {power:.3g} W; {equals}, with like power: {usual_size} mm"
            yield Slip("warning", f"{name}.size_mm", message, f"did you mean {usual_size} mm? check its size")
        elif max(watts) < ALIKE * min(watts) and _is_far(power, middle_W) and not _is_far(area, middle_mm2, ALIKE):
            if len(others) == 1 and power < middle_W:
                continue
            usual_here = usual.Usual(min(watts) / ALIKE, max(watts) * ALIKE, "W")
            remedy = usual.meant(power, usual_here, (*usual.DECIMALS[:4], *usual.POWER_UNITS))
            message = f"{name} makes {power:.3g} W, {equals} {_span(watts)} W"
            severity: Severity = "warning" if power / area > LIVELY_W_mm2 else "notice"
            yield Slip(severity, f"{name}.power_W", message, remedy or "check its power, unless it is at work alone")


def _stem(name: str) -> str:
    """What zones of one kind share in their names: without numbers, the last word."""
    words = re.sub(r"[\d.]+", "#", name.lower()).split()
    return words[-1] if words and ("#" in words[-1] or len(words) > 1) else name


def _is_as_large(box: Box, other: Box) -> bool:
    return abs(log(area_mm2(box) / area_mm2(other))) < SAME_AREA


def _is_far(value: float, other: float, factor: float = FAR) -> bool:
    return not 1.0 / factor < value / other < factor


def _size(box: Box, times: float = 1.0) -> str:
    return f"{times * (box[2] - box[0]):.4g} x {times * (box[3] - box[1]):.4g}"


def _zones(heat: Heat, powers: dict[str, float], boxes: dict[str, Box], holder: Box) -> Iterator[Slip]:
    """Zones that make too much for their size; in one line where there are several."""
    hot = {}
    for name, box in boxes.items():
        flux = powers[name] / area_mm2(box)
        if not usual.ZONE_FLUX.holds(flux):
            hot[name] = (flux, powers[name])
    if not hot:
        return
    fluxes, watts = [flux for flux, _ in hot.values()], [power for _, power in hot.values()]
    names = list(hot)
    remedy = "check power and size"
    if usual.ZONE_FLUX.holds(max(fluxes) / 1000):
        remedy = f"did you mean {_span([power / 1000 for power in watts])} W ({usual.MILLIWATTS})?"
    if len(names) == 1:
        box = boxes[names[0]]
        usual_W = [power for name, power in powers.items() if name != names[0] and power > 0.0]
        is_usual_W = bool(usual_W) and not _is_far(watts[0], float(np.median(usual_W)))
        fits = all(10.0 * (box[end + 2] - box[end]) <= holder[end + 2] - holder[end] for end in (0, 1))
        if fits and fluxes[0] / 100.0 <= LIVELY_W_mm2:
            size = f"did you mean a size of {_size(box, 10.0)} mm (cm written as mm)"
            remedy = f"{size}?" if is_usual_W else f"{size}, or {remedy.removeprefix('did you mean ')}"
        elif is_usual_W:
            remedy = f"check its size, {_size(box)} mm; its power is like that of the others"
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
        remedy = f"did you mean a thousandth of each ({usual.MILLIWATTS})?"
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

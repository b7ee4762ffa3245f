"""Everything that is asked of a solved model, as one flat mapping: what a mesh study judges and results are made of."""

from __future__ import annotations

from collections.abc import Iterable

from thermsim.case.places import probe_point
from thermsim.case.schema import Case, Reading
from thermsim.field import Field
from thermsim.units import MM

# ("hottest",), ("zone", name, "mean" | "highest" | "power"), ("reading", name), ("probe", name), ("flow", number)
Question = tuple[str, ...]


def answers(case: Case, field: Field) -> dict[Question, float]:
    """Every answer of a case: temperatures [C], and heat [W] for flows and zone powers."""
    found: dict[Question, float] = {("hottest",): field.hottest[0]}
    for zone in field.zones:
        found["zone", zone.zone, "mean"] = zone.mean_C
        found["zone", zone.zone, "highest"] = zone.highest_C
        found["zone", zone.zone, "power"] = zone.power_W
    for probe in case.probes:
        x, y, z = probe_point(case, probe)
        found["probe", probe.probe] = field.at((MM * x, MM * y, MM * z), probe.in_)
    for reading in case.readings:
        found["reading", reading.reading] = found[place_of(reading)] + reading.offset_K.value
    for number, flow in enumerate(field.flows):
        found["flow", str(number)] = flow.heat_W
    return found


def place_of(reading: Reading) -> Question:
    """What a sensor sits on."""
    return ("zone", str(reading.zone), reading.takes) if reading.probe is None else ("probe", reading.probe)


def asked(question: Question) -> str:
    """`zone C5, mean`, `reading C0`, `the hottest spot`: what a doubt belongs to."""
    if question == ("hottest",):
        return "the hottest spot"
    kind, name, *which = question
    return f"{kind} {name}" + "".join(f", {word}" for word in which)


def temperatures(questions: Iterable[Question]) -> list[Question]:
    """Those that are temperatures: what `accuracy_K` is asked of."""
    return [question for question in questions if question[0] != "flow" and question[-1] != "power"]

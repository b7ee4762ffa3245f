"""Everything that is asked of a solved model, as one flat mapping: what a mesh study judges and results are made of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from thermsim.case.geometry.places import probe_point
from thermsim.case.vocabulary.schema import Case, Reading
from thermsim.readout.field import Field
from thermsim.units import MM

# ("hottest",), ("zone", name, "mean" | "highest" | "power"), ("reading", name), ("probe", name), ("flow", number)
Question = tuple[str, ...]
HOTTEST: Question = ("hottest",)


def answers(case: Case, field: Field) -> dict[Question, float]:
    """Every answer of a case: temperatures [C], and heat [W] for flows and zone powers."""
    found: dict[Question, float] = {HOTTEST: field.hottest[0], **zone_answers(field)}
    for zone in field.zones:
        found["zone", zone.zone, "power"] = zone.power_W
    found |= probe_answers(case, field)
    found |= reading_answers(case, found)
    for number, flow in enumerate(field.flows):
        found["flow", str(number)] = flow.heat_W
    return found


def zone_answers(field: Field) -> dict[Question, float]:
    """Mean and highest temperatures of all zones [C]."""
    found: dict[Question, float] = {}
    for zone in field.zones:
        found["zone", zone.zone, "mean"] = zone.mean_C
        found["zone", zone.zone, "highest"] = zone.highest_C
    return found


def probe_answers(case: Case, field: Field) -> dict[Question, float]:
    """Temperatures at all probes [C], NaN in voids."""
    found: dict[Question, float] = {}
    for probe in case.probes:
        x, y, z = probe_point(case, probe)
        found["probe", probe.probe] = field.at((MM * x, MM * y, MM * z), probe.in_)
    return found


def reading_answers(case: Case, found: Mapping[Question, float]) -> dict[Question, float]:
    """What the sensors show [C], of those whose place is among the answers found."""
    return {
        ("reading", reading.reading): found[place_of(reading)] + reading.offset_K.value
        for reading in case.readings
        if place_of(reading) in found
    }


def place_of(reading: Reading) -> Question:
    """What a sensor sits on."""
    return ("zone", str(reading.zone), reading.takes) if reading.probe is None else ("probe", reading.probe)


def asked(question: Question) -> str:
    """`zone C5, mean`, `reading C0`, `the hottest spot`: what a doubt belongs to."""
    if question == HOTTEST:
        return "the hottest spot"
    kind, name, *which = question
    return f"{kind} {name}" + "".join(f", {word}" for word in which)


def temperatures(questions: Iterable[Question]) -> list[Question]:
    """Those that are temperatures: what `accuracy_K` is asked of."""
    return [question for question in questions if question[0] != "flow" and question[-1] != "power"]

"""The one gate of cases with numbers changed: what the reader refuses of a file is refused of them."""

from __future__ import annotations

from collections.abc import Collection

from thermsim.case.faults.checks import check_leakage, check_wedges
from thermsim.case.faults.examination import Look
from thermsim.case.faults.outlines import (
    check_lengths,
    check_outlines,
    check_patches,
    check_probes,
    check_thicknesses,
    outside,
)
from thermsim.case.faults.zones import check_powers
from thermsim.case.geometry.floor_plan import with_number
from thermsim.case.geometry.places import insert_box, part_box, zone_box
from thermsim.case.source.marked_values import Source
from thermsim.case.vocabulary.numbers import Input, Steps, numbers
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.rounding import tolerance, value_told

# Lengths with a tolerance times zones and inserts up to which it is tried in advance whether they can collide; beyond
# it, each drawn sample is checked instead.
MOST_REACHED = 20_000
MOST_TOLD = 3  # faults of one changed case that are told: they mostly have one cause
MOST_NAMED = 3  # numbers changed that a remedy names: with more, as in a sample of all tolerances, no one is meant


def check_held(case: Case) -> None:
    """Parts hold what keeps its place on them.

    Raises ThermsimError that says from which size on they do.
    """
    parts = {part.part: part for part in case.parts}
    boxes = [
        (part, f"its insert {number}", insert_box(case, part, insert))
        for part in case.parts
        for number, insert in enumerate(part.inserts, 1)
    ]
    boxes += [
        (parts[heat.in_], f"zone {zone.zone!r}", zone_box(case, parts[heat.in_], zone))
        for heat in case.heat
        for zone in heat.zones
    ]
    for part, what, box in boxes:
        holder = part_box(case, part)
        if out := outside(box, holder):
            needed = [
                f"{2.0 * max(middle - box[axis], box[axis + 2] - middle):g} mm along {'xy'[axis]}"
                for axis in range(2)
                for middle in [(holder[axis] + holder[axis + 2]) / 2]
                if box[axis] < holder[axis] or box[axis + 2] > holder[axis + 2]
            ]
            raise ThermsimError(
                f"{part.part!r} of that size no longer holds {what}, which keeps its place: it sticks out {out}",
                f"{part.part!r} needs {' and '.join(needed)} at least",
            )


def check_changed(case: Case, changed: Collection[Input]) -> None:
    """Refuse a case that the reader would refuse for its numbers.

    changed : which of them differ from a case that was checked, so that nothing is looked at in vain

    Raises ThermsimError with the faults in words.
    """
    faults = faults_of(case, changed)
    if faults:
        more = f" (and {len(faults) - MOST_TOLD} more)" if len(faults) > MOST_TOLD else ""
        what = "; ".join(faults[:MOST_TOLD]) + more
        paths = [one.path for one in changed]
        which = " or ".join(paths) if len(paths) <= MOST_NAMED else f"some of the {len(paths)} numbers that differ"
        raise ThermsimError(what, f"change {which} so that the stack can be")


def faults_of(case: Case, changed: Collection[Input]) -> list[str]:
    """What is wrong with a case in which some numbers differ from one that was checked, in words."""
    source = Source(case.file, "", None, {}, {}, {}) if case._origin is None else case._origin.source
    look = Look(case, source, source, frozenset(), tables=dict(case.tables))
    moved = {one.acts_on for one in changed}
    if "plan" in moved:
        check_lengths(look)
        check_outlines(look)
    elif "heights" in moved:
        check_thicknesses(look)
        check_probes(look)
        if any(cooling.face not in ("top", "bottom", "exposed") for cooling in case.cooling):
            check_patches(look)
    if any(one.key in ("low", "high", "low_C", "high_C") for one in changed):
        check_wedges(look)
    if "plan" in moved or any(one.steps[0] == "heat" and one.key in ("power_W", "share") for one in changed):
        check_powers(look, with_tolerances=False)
    if any(one.unit == "C" or "leakage" in one.steps for one in changed):
        check_leakage(look)
    return [fault.message for fault in look.faults]


def check_reach(look: Look) -> None:
    """Both ends of the tolerance of every length leave a stack that can be built."""
    lengths = [one for one in numbers(look.case) if one.is_length and one.plus_minus > 0.0]
    drawn = sum(len(heat.zones) for heat in look.case.heat) + sum(len(part.inserts) for part in look.case.parts)
    if len(lengths) * drawn > MOST_REACHED:
        return
    for one in lengths:
        for end in (one.value - one.plus_minus, one.value + one.plus_minus):
            changed = with_number(look.case, one, end)
            changed._origin = look.case._origin
            here = Look(changed, look.source, look.original, look.dropped, tables=look.tables)
            check_lengths(here)
            check_outlines(here)
            if here.faults:
                half = tolerance(one.plus_minus)
                what = f"`{one.key}` {value_told(one.value, one.plus_minus)} with plus_minus {half}"
                what += f" reaches {end:g}, and then"
                look.add(_written(one), f"{what} {here.faults[0].message}; narrow it, or leave room")
                break


def _written(one: Input) -> Steps:
    """Where its tolerance stands in the file."""
    return (*one.steps, "plus_minus")

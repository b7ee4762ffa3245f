"""What needs several values of a case at once: dimensions, materials, the order of the stack, sense of the cooling."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from thermsim.case.faults import outlines
from thermsim.case.faults.clock_and_load import check_clock, check_load
from thermsim.case.faults.examination import Look, entries
from thermsim.case.faults.names import check_names, check_references
from thermsim.case.faults.tables import check_tables
from thermsim.case.faults.wording import context
from thermsim.case.faults.zones import check_powers
from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.case.vocabulary.cooling import LOOP, USUAL_COOLANT_C
from thermsim.case.vocabulary.schema import (
    Case,
    Celsius,
    Conductivity,
    Film,
    Fraction,
    Heat,
    Joint,
    MaterialGiven,
    NonNegative,
    Part,
    Positive,
    Quantity,
)
from thermsim.errors import Fault
from thermsim.materials import catalogue
from thermsim.rounding import tolerance, value_told
from thermsim.units import ZERO_CELSIUS_K

LEAST_ACCURACY_K = 1e-4  # [K] finer than this, round-off and the tolerance of the solver decide, not the mesh
LARGEST_STEP_K = 50.0
LARGEST_EXPONENT = 10.0


def check_everything(look: Look) -> None:
    """Every check; faults are collected in the look."""
    check_names(look)
    check_references(look)
    check_materials(look)
    check_order(look)
    outlines.check_lengths(look)
    check_tolerances(look)
    check_wedge_tolerances(look)
    check_slice(look)
    check_heat(look)
    check_cooling(look)
    check_limits(look)
    check_clock(look)
    check_load(look)
    check_tables(look)
    outlines.check_outlines(look)
    check_powers(look, with_tolerances=True)


# ------------------------------------------------------------------------------------------- dimensions


def check_dimensions(case: Case, source: Source) -> tuple[list[KeyPath], list[Fault]]:
    """Lengths that do not fit `dimensions`: their paths and faults. Nothing else can be checked before."""
    in_plan = 2 if case.dimensions == 3 else 1
    wrong: list[tuple[KeyPath, int, int]] = []
    right = 0
    for path, lengths, needed in _lengths(case, in_plan):
        if len(lengths) == needed:
            right += 1
        else:
            wrong.append((path, len(lengths), needed))
    if len(wrong) > 2 and not right:
        other = 5 - case.dimensions
        kind, form = ("full stack", "one length") if in_plan == 2 else ("slice", "[x, y]")
        what = f"`dimensions: {case.dimensions}` is a {kind}, but every size is {form}, as for `dimensions: {other}`"
        what += "; change one or the other"
        return [("dimensions",)], [source.fault(("dimensions",), what)]
    faults = []
    for path, given, needed in wrong:
        form = {1: "one length", 2: "[x, y]", 3: "[x, y, z]"}[needed]
        if needed == 2 and path[-1] == "at_mm":
            form = "[x, z]"
        kind = "a stack with `dimensions: 3`" if in_plan == 2 else "a slice (`dimensions: 2`)"
        what = f"`{path[-1]}` of {kind} is {form}, found {given} {'number' if given == 1 else 'numbers'}"
        faults.append(source.fault(path, context(source, path) + what))
    return [path for path, _, _ in wrong], faults


def _lengths(case: Case, in_plan: int) -> Iterator[tuple[KeyPath, tuple[Any, ...], int]]:
    for path, entry in entries(case):
        for key in ("size_mm", "corner_mm", "centre_mm", "wetted_mm"):
            if getattr(entry, key, None) is not None:
                yield (*path, key), getattr(entry, key), in_plan
        if hasattr(entry, "at_mm"):
            yield (*path, "at_mm"), entry.at_mm, in_plan + 1


# ------------------------------------------------------------------------------------- materials, joints


def check_materials(look: Look) -> None:
    """Materials and joint classes stand in the catalogue; a part is not void; laws stay within sense."""
    for path, entry in entries(look.case):
        if isinstance(entry, MaterialGiven):
            _check_material(look, path, entry)
        elif isinstance(entry, Joint):
            _check_joint_class(look, path, entry)
        elif isinstance(entry, Conductivity) and abs(entry.exponent or 0.0) > LARGEST_EXPONENT:
            look.add(
                (*path, "exponent"), f"`exponent` must lie within +-{LARGEST_EXPONENT:g}, found {entry.exponent:g}"
            )


def _check_material(look: Look, path: KeyPath, given: MaterialGiven) -> None:
    if given.name is None:
        return
    if given.name == catalogue.VOID:
        if path[-2] not in ("around",) and "inserts" not in path:
            look.add(path, "a part cannot be `void`; an insert, or what stands around a part, can")
        elif len(given.model_fields_set) > 1:
            look.add(path, "`void` has no properties: leave out what stands beside it")


def _check_joint_class(look: Look, path: KeyPath, joint: Joint) -> None:
    if joint.material not in catalogue.joint_names():
        return
    kind = catalogue.joint(joint.material)
    ways = (joint.film_um, joint.conductivity_W_mK, joint.boundary_mm2K_W)
    whole = joint.resistance_mm2K_W is not None or (kind.resistance_mm2K_W is not None and ways == (None, None, None))
    if whole:
        return
    for key, given, usual in (
        ("film_um", joint.film_um, kind.film_um),
        ("conductivity_W_mK", joint.conductivity_W_mK, kind.conductivity_W_mK),
    ):
        if given is None and usual is None:
            look.add(path, f"the joint class {joint.material!r} has no `{key}`; give it, or `resistance_mm2K_W` alone")


# ------------------------------------------------------------------------------------------ the stack


def check_order(look: Look) -> None:
    """A joint lies between two parts."""
    if not look.knows_all("layers"):
        return
    layers = look.case.layers
    for place, layer in enumerate(layers):
        path: KeyPath = ("layers", place)
        if not isinstance(layer, Joint):
            continue
        if place in (0, len(layers) - 1):
            end = "bottom" if place == 0 else "top"
            look.add(
                path,
                f"the {end} layer must be a part; a joint lies between two parts: put a part beyond it, or take it "
                f"out (in an option: `{layer.joint}: remove`)",
            )
        elif isinstance(layers[place - 1], Joint):
            other = layers[place - 1].joint  # type: ignore[union-attr]  # a joint, as just seen
            look.add(
                path,
                f"two joints in a row ({other!r} and {layer.joint!r}): put a part between them, or take one out "
                f"(in an option: `{layer.joint}: remove` or `{other}: remove`)",
            )


def check_tolerances(look: Look) -> None:
    """What `plus_minus` reaches stays within what the value may be."""
    for path, entry in entries(look.case):
        if not isinstance(entry, (Quantity, Film, Conductivity)) or not entry.plus_minus:
            continue
        place = (*path, "plus_minus")
        if isinstance(entry, (Film, Conductivity)) and entry.value is None:
            what = f"`plus_minus` of `{path[-1]}` needs `value` beside it"
            if isinstance(entry, Film):
                what += (
                    "; a wedge or a dome has a tolerance at each end, `low: {value: 30, plus_minus: 5}`; a map has none"
                )
            look.add(place, what)
            continue
        assert entry.value is not None
        low, high = entry.value - entry.plus_minus, entry.value + entry.plus_minus
        half = tolerance(entry.plus_minus)
        what = f"`{_key(path)}` {value_told(entry.value, entry.plus_minus)} with plus_minus {half}"
        if isinstance(entry, (Positive, Fraction, Film, Conductivity)) and low <= 0.0:
            look.add(place, f"{what} reaches down to {low:g}; it must stay above 0")
        elif isinstance(entry, NonNegative) and low < 0.0:
            look.add(place, f"{what} reaches down to {low:g}; it must not fall below 0")
        elif isinstance(entry, Fraction) and high > 1.0 + 1e-9:
            look.add(place, f"{what} reaches up to {high:g}; a fraction is at most 1")
        elif isinstance(entry, Celsius) and low <= -273.15:
            look.add(place, f"{what} reaches below absolute zero")


def _key(path: KeyPath) -> str:
    return next((step for step in reversed(path) if isinstance(step, str)), "")


def check_slice(look: Look) -> None:
    """What a slice cannot have, and what only a slice has."""
    case = look.case
    if case.dimensions == 3:
        if case.depth_mm is not None:
            look.add(("depth_mm",), "`depth_mm` belongs to a slice (`dimensions: 2`); leave it out", at_key=True)
        return
    for place, layer in enumerate(case.layers):
        if isinstance(layer, Joint) and layer.film_um is not None and layer.film_um.towards in ("+y", "-y"):
            path = ("layers", place, "film_um", "towards")
            look.add(path, f"a slice has no y: `towards` is `+x` or `-x`, found `{layer.film_um.towards}`")
        if (
            isinstance(layer, Part)
            and isinstance(layer.material.in_plane_W_mK, tuple)
            and len(layer.material.in_plane_W_mK) == 2
        ):
            look.add(("layers", place, "material", "in_plane_W_mK"), "a slice has no y: `in_plane_W_mK` is one value")
    for place, cooling in enumerate(case.cooling):
        if cooling.face in ("front", "back"):
            what = f"a slice has no face `{cooling.face}`: allowed are `top`, `bottom`, `left`, `right`, `exposed`"
            look.add(("cooling", place, "face"), what)
        for key in ("towards", "looking"):
            if getattr(cooling, key) in ("+y", "-y"):
                look.add(("cooling", place, key), f"a slice has no y: `{key}` is along x or z")


# -------------------------------------------------------------------------------------- heat and cooling


def check_heat(look: Look) -> None:
    """One entry for each place of heat, and power that stays power."""
    first: dict[tuple[str, str], int] = {}
    for place, heat in enumerate(look.case.heat):
        where = (heat.in_, heat.at)
        if where in first:
            line = look.source.mark(("heat", first[where]))[0]
            what = (
                f"heat at the {heat.at} of {heat.in_!r} is given already in line {line}; put the zones into one entry"
            )
            look.add(("heat", place), what)
        first.setdefault(where, place)
    check_leakage(look)


def check_leakage(look: Look) -> None:
    """Power stays power at the coldest temperature around."""
    coldest = _coldest_C(look.case)
    for place, heat in enumerate(look.case.heat):
        if heat.leakage is not None and coldest is not None:
            _check_leakage(look, ("heat", place, "leakage"), heat, coldest)


def check_wedges(look: Look) -> None:
    """What rises from `low` to `high` still does after either was changed; of a file the vocabulary sees to it."""
    for path, low, high, key, unit in _wedges(look.case):
        if low.value > high.value:
            look.add(path, f"`low{key}` is above `high{key}` ({low.told}, {high.told} {unit})")


def check_wedge_tolerances(look: Look) -> None:
    """Within their tolerances, `low` stays below `high`: what leans the other way is another shape."""
    for path, low, high, key, unit in _wedges(look.case):
        most, least = low.value + low.plus_minus, high.value - high.plus_minus
        if most > least and low.plus_minus + high.plus_minus > 0.0:
            what = f"`low{key}` reaches up to {most:g} {unit} and `high{key}` down to {least:g} {unit}"
            look.add(path, f"{what}; narrow their `plus_minus`, or write an option for each shape it may have")


def _wedges(case: Case) -> Iterator[tuple[KeyPath, Quantity, Quantity, str, str]]:
    """What rises from `low` to `high`: its place, both ends, what their keys end with, and their unit."""
    for place, layer in enumerate(case.layers):
        film = layer.film_um if isinstance(layer, Joint) else None
        if film is not None and film.low is not None and film.high is not None:
            yield ("layers", place, "film_um"), film.low, film.high, "", "um"
    for place, cooling in enumerate(case.cooling):
        if cooling.low_C is not None and cooling.high_C is not None:
            yield ("cooling", place), cooling.low_C, cooling.high_C, "_C", "C"


def _if_in_kelvin(coldest_C: float, limit_C: float) -> str:
    """What to write where the temperatures of coolants look like kelvin."""
    meant_C = coldest_C - ZERO_CELSIUS_K
    if not USUAL_COOLANT_C[0] <= meant_C < min(USUAL_COOLANT_C[1], limit_C):
        return ""
    return f"; if the coolants were typed in kelvin, write them so: `{coldest_C:g} K` is {meant_C:.6g} C"


def _coldest_C(case: Case) -> float | None:
    known = [value for cooling in case.cooling for value in cooling.known_C]
    if case.coolant_loop is not None and any(cooling.on_loop for cooling in case.cooling):
        known.append(case.coolant_loop.room_C.value)
    return min(known, default=None)


def _check_leakage(look: Look, path: KeyPath, heat: Heat, coldest_C: float) -> None:
    assert heat.leakage is not None
    law = heat.leakage.law
    zero_C = law.negative_below_C
    if zero_C is not None and coldest_C < zero_C:
        key = law.given_as()[0]
        what = f"`{key}` {getattr(law, key):g} from {law.at_C:g} C makes the power negative below {zero_C:.1f} C"
        what += f", and the coolant is at {coldest_C:g} C"
        look.add((*path, key), f"{what}; give a smaller `{key}`, or `at_C` where the power was measured")


def check_cooling(look: Look) -> None:
    """Heat can leave; each face has at most one entry for all that its patches leave free."""
    case = look.case
    on_loop = any(cooling.on_loop for cooling in case.cooling)  # of a loop that is at fault itself, that is told alone
    if look.knows_all("cooling") and not on_loop and _coldest_C(case) is None:
        what = "no entry has a film or a temperature, so heat cannot leave and no steady state exists"
        look.add(("cooling",), f"{what}; give a face `film_W_m2K` with `fluid_C`, or `temperature_C`", at_key=True)
    _check_loop(look)
    first: dict[tuple[str | None, ...], int] = {}
    labels: dict[str, int] = {}
    for place, cooling in enumerate(case.cooling):
        if cooling.wetted_mm is None and cooling.size_mm is None:
            whole = (cooling.face, cooling.of, cooling.looking)
            if whole in first:
                line = look.source.mark(("cooling", first[whole]))[0]
                remedy = (
                    "leave one out, or limit it to a part (`of`) or to faces that look one way (`looking`)"
                    if cooling.face == "exposed"
                    else "limit one to a patch (`wetted_mm`, or `corner_mm` with `size_mm`)"
                )
                look.add(
                    ("cooling", place, "face"),
                    f"the face `{cooling.face}` is taken as a whole in line {line}; {remedy}",
                )
            first.setdefault(whole, place)
        label = cooling.label
        if label in labels and (cooling.environment is not None or case.cooling[labels[label]].environment is not None):
            line = look.source.mark(("cooling", labels[label]))[0]
            if cooling.environment is None or case.cooling[labels[label]].environment is None:
                look.add(
                    ("cooling", place),
                    f"{label!r} is the name of the environment or face in line {line}; give another name",
                )
        labels.setdefault(label, place)


def _check_loop(look: Look) -> None:
    """Faces whose coolant is that of the loop need one."""
    if look.case.coolant_loop is None and look.knows_all("coolant_loop"):
        remedy = "give `coolant_loop: {radiator_W_K: ..., room_C: ...}`, or a number for `fluid_C`"
        for place, cooling in enumerate(look.case.cooling):
            if cooling.on_loop:
                what = f"`{LOOP}` is the coolant of a loop that the case lacks; {remedy}"
                look.add(("cooling", place, "fluid_C"), what)


def check_limits(look: Look) -> None:
    """Accuracies finer than a grid can keep, and steps of readings as large as what they read."""
    case = look.case
    if case.accuracy_K < LEAST_ACCURACY_K:
        what = f"`accuracy_K` below {LEAST_ACCURACY_K:g} cannot be kept, found {case.accuracy_K:g}"
        look.add(("accuracy_K",), what)
    for place, reading in enumerate(case.readings):
        if reading.step_K is not None and reading.step_K > LARGEST_STEP_K:
            look.add(
                ("readings", place, "step_K"), f"`step_K` must be at most {LARGEST_STEP_K:g}, found {reading.step_K:g}"
            )
    if case.limits.holds_back and look.knows_all("limits", "readings", "heat"):
        needs = {"limits.reading_C": case.limits.reading_C is not None, "readings": case.readings, "heat": case.heat}
        lacking = " and ".join(f"`{key}`" for key, given in needs.items() if not given)
        if lacking:
            look.add(("limits", "holds_back"), f"power is held back where a reading meets a limit: give {lacking}")
    coldest = _coldest_C(case)
    limit = case.limits.reading_C
    if look.knows_all("cooling", "coolant_loop") and limit is not None and coldest is not None and limit <= coldest:
        look.add(
            ("limits", "reading_C"),
            f"the limit {limit:g} C is not above the coldest coolant ({coldest:g} C): no power at all keeps it"
            + _if_in_kelvin(coldest, limit),
        )

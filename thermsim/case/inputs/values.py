"""All numbers of a case, also those that the catalogue fills in, and the case with some of them changed.

Addresses are those that options use: `die.thickness_mm`, `solder.film_um`, `water.film_W_m2K`, `zones.C0.power_W`, see
`thermsim.case.vocabulary.addresses`. What the case leaves to the catalogue is listed too: a joint by what its class
fills in, a material by a factor on its conductivity (`material copper`), which all parts of that material share.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf
from typing import Any

from thermsim.case.faults.changed import check_changed, check_held
from thermsim.case.geometry.floor_plan import FloorPlan, kept, put, stretches, with_number
from thermsim.case.typed.number_text import NotUnderstoodError, value_in
from thermsim.case.vocabulary.addresses import called
from thermsim.case.vocabulary.numbers import POSITIVE, Input, Steps, bounds_of, materials, numbers, unit_of
from thermsim.case.vocabulary.schema import (
    Case,
    Conductivity,
    Directions,
    Film,
    Fraction,
    Joint,
    MaterialGiven,
    NonNegative,
    Positive,
    Quantity,
)
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.model.physics.properties import Bounded, is_void, joint_of, material_of
from thermsim.units import MM2K_W, UM

FACTOR = "conductivity factor"
# Keys that a joint class fills in, with the SI value of their unit and the type of their field.
OF_CLASS: dict[str, tuple[float, type[Quantity] | type[Film]]] = {
    "resistance_mm2K_W": (MM2K_W, NonNegative),
    "film_um": (UM, Film),
    "conductivity_W_mK": (1.0, Positive),
    "boundary_mm2K_W": (MM2K_W, NonNegative),
    "wetted_fraction": (1.0, Fraction),
}


def inputs(case: Case) -> tuple[Input, ...]:
    """Every number of a case, with or without a tolerance; see `thermsim.case.vocabulary.numbers`."""
    return (*numbers(case), *_joints(case), *_factors(case))


def with_inputs(
    case: Case,
    values: Mapping[str, float | str],
    known: Mapping[str, Input] | None = None,
    floor_plan: FloorPlan = "stretched",
) -> Case:
    """The case with some numbers changed.

    Parameters
    ----------
    values : in the units of the paths, or as text with a unit, as in a case file ("780 um")
    known : inputs of the case by path, where they are at hand
    floor_plan : whether a part that changes its size takes its zones and inserts along (right for a tolerance), or
        they are kept where they are on the stack, with probes and patches (right for another part in its place)

    Raises
    ------
    UnknownNameError : a path that the case does not have
    ThermsimError : a value that the number cannot have (a thickness of zero, a wetted fraction above 1), a part
        that no longer holds what is kept in its place, or a stack that the reader would refuse
    """
    known = {one.path: one for one in inputs(case)} if known is None else known
    changed = case
    waiting: dict[Steps, Any] = {}  # numbers that change nothing else: all are put in their places together
    for path, value in as_numbers(values, known).items():
        one = known[path]
        if not one.allows(value):
            raise ThermsimError(f"{path} cannot be {value:g}", f"it must be {one.bounds}")
        if one.steps[0] == FACTOR or stretches(one) is not None:
            changed = _with(put(changed, waiting), one, value, floor_plan)
            waiting.clear()
        else:
            waiting[one.steps] = OF_CLASS[one.key][1](value=value) if one.is_filled_in else value
    changed = put(changed, waiting)
    if floor_plan == "kept":
        changed = kept(case, changed)
    varied = [known[path] for path in values]
    if floor_plan == "kept" and any(one.key == "size_mm" and one.steps[0] == "layers" for one in varied):
        check_held(changed)
    check_changed(changed, varied)
    return changed


def as_numbers(values: Mapping[str, float | str], known: Mapping[str, Input]) -> dict[str, float]:
    """Values of inputs in their units.

    Raises
    ------
    UnknownNameError : a path that the case does not have
    ThermsimError : text that is no number of its kind
    """
    for path in values:
        if path not in known:
            raise UnknownNameError(f"the case has no number {path!r}", "see `thermsim.inputs(case)` for what it has")
    return {path: number_of(known[path], value) for path, value in values.items()}


def number_of(one: Input, given: float | str) -> float:
    """A number, or text with or without a unit, in the unit of an input.

    Raises ThermsimError where text is no number of its kind.
    """
    if not isinstance(given, str):
        return given
    try:
        return value_in(given, one.key, one.unit)
    except NotUnderstoodError as told:
        remedy = told.reason or f"write a number{f' in {one.unit}' if one.unit else ''}"
        raise ThermsimError(f"{one.path} cannot be {given!r}", remedy) from None


# ---- what the catalogue fills in --------------------------------------------------------------------------------


def _joints(case: Case) -> Iterator[Input]:
    for one in called(case):
        if isinstance(one.entry, Joint):
            for key, bounded in _filled_in(one.entry):
                unit, kind = OF_CLASS[key]
                yield Input(
                    f"{one.address}.{key}", bounded.value / unit, unit_of(key), bounded.plus_minus / unit, "even", inf,
                    bounded.basis, one.name, bounds_of(kind, "value"), "balance", (*one.path, key), is_filled_in=True,
                )  # fmt: skip


def _filled_in(joint: Joint) -> Iterator[tuple[str, Bounded]]:
    """What the class of a joint fills in, by key."""
    known = joint_of(joint)
    filled: dict[str, Bounded | None] = {"wetted_fraction": known.wetted}
    if known.way == "resistance":
        filled["resistance_mm2K_W"] = known.resistance
    else:
        filled["film_um"] = known.film
        filled["conductivity_W_mK"] = known.conductivity
        filled["boundary_mm2K_W"] = known.boundary
    for key, bounded in filled.items():
        if bounded is not None and getattr(joint, key) is None:
            yield key, bounded


def _factors(case: Case) -> Iterator[Input]:
    """A factor for each material of the catalogue, whose value of 1 stands for the catalogue's conductivity."""
    for name in dict.fromkeys(str(given.name) for _, given in materials(case) if _from_catalogue(given)):
        spread = material_of(MaterialGiven(name=name)).k_spread
        yield Input(
            f"material {name}", 1.0, "", spread, "even", inf, "published", name, POSITIVE, "balance", (FACTOR, name),
            is_filled_in=True,
        )  # fmt: skip


# ---- changes ----------------------------------------------------------------------------------------------------


def _with(case: Case, one: Input, value: float, floor_plan: FloorPlan) -> Case:
    if one.steps[0] == FACTOR:
        return _with_factor(case, str(one.steps[1]), value)
    return with_number(case, one, value, floor_plan)


def _from_catalogue(given: MaterialGiven) -> bool:
    own = (given.conductivity_W_mK, given.in_plane_W_mK, given.through_W_mK)
    return given.name is not None and not is_void(given) and all(value is None for value in own)


def _with_factor(case: Case, name: str, factor: float) -> Case:
    scaled = {
        steps: _scaled(given, factor)
        for steps, given in materials(case)
        if given.name == name and _from_catalogue(given)
    }
    changed: Case = put(case, scaled)
    return changed


def _scaled(given: MaterialGiven, factor: float) -> MaterialGiven:
    """The material with its catalogue conductivity times a factor, said in the words of a case."""
    x, y, z = (law.scaled(factor) for law in material_of(given).laws)
    if x == y == z:
        return given.model_copy(update={"conductivity_W_mK": Conductivity(**x.given)})
    if not (x.is_constant and y.is_constant and z.is_constant):
        raise ThermsimError(
            f"{given.name}: a conductivity that differs by direction and falls with temperature cannot be varied",
            "give its values in the case",
        )
    plan: Directions = (Positive(value=float(x(0.0))), Positive(value=float(y(0.0))))
    return given.model_copy(update={"in_plane_W_mK": plan, "through_W_mK": Positive(value=float(z(0.0)))})

"""The part that takes up what an option does to the height of the stack: `same_height_by`.

Its thickness is a new value like one that is given, without the tolerance of the old. Options that build on this one
keep the height by it too, unless they name another part, give its thickness themselves, take it out, or add layers.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from thermsim.case.faults.tables import read_table
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.geometry.heights import height_mm, made_up_mm
from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.case.vocabulary.schema import Case, Option
from thermsim.errors import CaseError, Fault, UnknownNameError


@dataclass(frozen=True)
class Keeper:
    """The part that keeps the height, and the option that names it."""

    part: str
    option: str


def keeper_of(option: Option, before: Keeper | None, now: Case, set_in: dict[KeyPath, str]) -> Keeper | None:
    """What keeps the height with one more option. before : what kept it until then; others : as `with_same_height`

    Who puts layers into the stack means to build higher, unless the option says that the height stays.
    """
    if option.same_height_by is not None:
        return Keeper(option.same_height_by, option.option)
    if before is None or option.adds or _given_by(now, before.part, set_in) is not None:
        return None
    return before


def _given_by(now: Case, name: str, set_in: dict[KeyPath, str]) -> str | None:
    """The change that gives the thickness of a part of the case before it; None where none does."""
    places = [n for n, layer in enumerate(now.layers) if getattr(layer, "part", None) == name]  # none if it is added
    return next((key for at, key in set_in.items() if at[:3] in [("layers", n, "thickness_mm") for n in places]), None)


def with_same_height(
    case: Case, now: Case, changed: Source, base: Source, path: KeyPath, set_in: dict[KeyPath, str], keeper: Keeper
) -> tuple[Source, list[Fault]]:
    """The changed source with the thickness of the part that keeps the height, or the fault that forbids it.

    case : the base, whose height is kept; now : what the option changes, in which `set_in` tells places
    path : of the option, in `base`; keeper : its own, or that of one it builds on, whose part may be gone by now
    """
    is_own = base.at((*path, "option")) == keeper.option
    place = (*path, "same_height_by" if is_own else "with")
    name = keeper.part
    try:
        after = Case.model_validate(changed.values)
        tables = _film_tables(case, after)
        height_mm(after, tables)
    except (ValidationError, CaseError, OSError, UnknownNameError):
        return changed, []  # whoever looks at the whole changed case tells it better

    def refused(what: str) -> tuple[Source, list[Fault]]:
        whose = "" if is_own else f" of {keeper.option!r}"
        return changed, [base.fault(place, f"`same_height_by`{whose}: {what}")]

    part = next((part for part in after.parts if part.part == name), None)
    names = [part.part for part in after.parts]
    if part is None and not is_own:
        return changed, []
    if part is None and any(joint.joint == name for joint in after.joints):
        return refused(f"{name!r} is a joint; a part makes up for the height: {listed(names)}")
    if part is None and any(part.part == name for part in now.parts):
        return refused(f"{name!r} is removed by the option itself; left are: {listed(names)}")
    if part is None:
        near = did_you_mean(name, names, f"it has: {listed(names)}")
        return refused(f"the changed case has no part {name!r}{near}")
    given = _given_by(now, name, set_in)
    if given is not None:
        return refused(f"`{given}` gives the thickness of {name!r} already; leave one of both out")
    thickness_mm = made_up_mm(case, after, part, tables)
    if thickness_mm <= 0.0:
        by = part.thickness_mm.value - thickness_mm
        return refused(
            f"the changes add {by:g} mm to the height, more than the {part.thickness_mm.value:g} mm of {name!r}"
        )
    if thickness_mm == part.thickness_mm.value:
        return changed, []
    at: KeyPath = ("layers", after.layers.index(part), "thickness_mm")
    return changed.with_value(at, thickness_mm, base, place), []


def _film_tables(case: Case, after: Case) -> dict[str, NDArray[np.float64]]:
    """The tables of all films of a changed case by their names; those of the base are at hand."""
    names = [joint.map_file for joint in after.joints if joint.map_file is not None]
    folder = case.folder or Path()
    return {
        name: case.tables[name] if name in case.tables else read_table(folder, name, zero_allowed=False)
        for name in names
    }

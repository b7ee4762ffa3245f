"""Base case + named changes -> case.

How changes are written and what they take away stands in `option_changes.py`. A value that is given varies by itself,
unless `same_as_base` names it. With `same_height_by` a part takes up what the changes do to the height of the stack.
An option that builds on others is worked into what those made of the base, one after the other; what they give stays
theirs, and is the same thing in all options that build on them. What keeps the height there keeps it in these too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from itertools import combinations

from pydantic import ValidationError

from thermsim.case.faults.validation import valid_case
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.option_changes import OptionChanges
from thermsim.case.same_height import Keeper, keeper_of, with_same_height
from thermsim.case.source.file_origin import Origin, Own
from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.case.vocabulary.addresses import address_of
from thermsim.case.vocabulary.numbers import numbers
from thermsim.case.vocabulary.schema import Case, Option
from thermsim.errors import MOST_FAULTS, CaseError, Fault, ThermsimError, UnknownNameError, enough


def with_option(case: Case, name: str) -> Case:
    """The case with the changes of one of its options.

    Raises
    ------
    UnknownNameError : the case has no such option
    CaseError : the changed case is at fault; each fault names the option and its place
    """
    names = [option.option for option in case.options]
    if name not in names:
        hint = did_you_mean(name, names)
        there = f"the case has: {listed(names)}" if names else "the case has no options"
        raise UnknownNameError(f"there is no option {name!r}{hint}", there)
    if case.option is not None:
        what = f"the option {case.option!r} is taken already, and options are changes of the base"
        raise ThermsimError(what, f"take {name!r} of the case as it was read")
    if case._origin is None:
        raise ThermsimError("this case was not read from a file, so that its options cannot be worked out")
    base = case._origin.source
    if dict(Case.model_validate(base.values)) != dict(case):
        what = "this case was changed after it was read, and its options are worked out from what was read"
        raise ThermsimError(what, "take the option first, and change values after that")
    own, now, changed = None, case, base
    made_by: dict[str, Own] = {}
    keeper: Keeper | None = None
    for option in case.built_from(name):
        if own is not None:
            now = _as_case(changed, name)
        changed, own, keeper = _worked_in(case, now, changed, option, own, keeper)
        made_by[option.option] = own
    assert own is not None  # it has at least itself
    if odd := list(_at_odds(case, name, made_by)):
        raise CaseError([_named(name, base.fault(("options", names.index(name), "with"), what)) for what in odd])
    made = _read(changed, name)
    assert made._origin is not None
    made._origin = replace(made._origin, own=own)
    common, faults = _in_common(case, made, base, own)
    if faults:
        raise CaseError([_named(name, fault) for fault in faults])
    made._origin = replace(made._origin, own=replace(own, common=common))
    return made


def _at_odds(case: Case, name: str, made_by: dict[str, Own]) -> Iterator[str]:
    """What two options change, of which neither builds on the other, and the one that builds on both leaves open.

    What keeps the height of one counts where the other gives it: in either order one of both thicknesses would be lost.
    """
    for (one, its), (other, others) in combinations(list(made_by.items())[:-1], 2):
        if one in (before.option for before in case.built_from(other)):
            continue
        settled = _settled(case, {one, other}, made_by)
        twice = [(a, b) for a in its.changed_in_base() for b in others.changed_in_base() if _meet(a, b)]
        left_open = {max(pair, key=len) for pair in twice if not any(_meet(path, c) for path in pair for c in settled)}
        if left_open:
            what = listed(sorted(address_of(case, path) for path in left_open))
            yield f"{one!r} and {other!r} both change {what}: give it in `changes`, or leave one of them out"
        for keeps, whose, gives, theirs in ((one, its, other, others), (other, others, one, its)):
            kept = whose.kept_in_base()
            if kept is not None and kept in theirs.changed_in_base() and kept not in settled:
                what = listed([address_of(case, kept)])
                remedy = "give it in `changes`, or leave one of them out"
                yield f"{gives!r} changes {what}, which `same_height_by` of {keeps!r} works out: {remedy}"


def _settled(case: Case, both: set[str], made_by: dict[str, Own]) -> set[KeyPath]:
    """Where, in the base, stands what options that build on both of two give, take out or work out themselves."""
    found: set[KeyPath] = set()
    for later, own in made_by.items():
        if both < {before.option for before in case.built_from(later)}:
            found |= own.changed_in_base()
            kept = own.kept_in_base()
            if kept is not None:
                found.add(kept)
    return found


def _meet(one: KeyPath, other: KeyPath) -> bool:
    """Whether one place lies in the other."""
    return one[: len(other)] == other or other[: len(one)] == one


def _worked_in(
    case: Case, now: Case, source: Source, option: Option, before: Own | None, keeper: Keeper | None
) -> tuple[Source, Own, Keeper | None]:
    """A state of the case with one more option worked in, what that changed, and what keeps the height."""
    path: KeyPath = ("options", [one.option for one in case.options].index(option.option))
    changes = OptionChanges(now, source, path)
    changed = changes.apply()
    if not changes.faults:
        keeper = keeper_of(option, keeper, now, changes.set_in)
        if keeper is not None:
            changed, told = with_same_height(case, now, changed, source, path, changes.set_in, keeper)
            changes.faults += told
    if changes.faults:
        raise CaseError([_named(option.option, fault) for fault in changes.faults])
    given, removed = changes.given(), frozenset(changes.removed)
    kept: KeyPath | None = None
    if option.same_height_by is not None:
        names = [layer.get("part") for layer in changed.values["layers"]]
        if option.same_height_by in names:
            kept = ("layers", changes.layers[names.index(option.same_height_by)], "thickness_mm")
    return changed, Own(option.option, given, removed, tuple(changes.layers), before, kept=kept), keeper


def _as_case(source: Source, name: str) -> Case:
    """What the next option changes."""
    try:
        return Case.model_validate(source.values)
    except ValidationError:
        return _read(source, name)


def _read(source: Source, name: str) -> Case:
    try:
        return valid_case(source)
    except CaseError as error:
        path: KeyPath = ("options", [option["option"] for option in source.values["options"]].index(name))
        raise CaseError([_placed(name, source, path, fault) for fault in error.faults]) from None


def _in_common(case: Case, made: Case, base: Source, own: Own) -> tuple[frozenset[KeyPath], list[Fault]]:
    """Where the numbers stand, in the base, that an option gives and yet has in common with it, by `same_as_base`."""
    before = {one.steps: one for one in numbers(case)}
    after = {one.path: one for one in numbers(made)}
    places = {option.option: number for number, option in enumerate(case.options)}
    found: set[KeyPath] = set()
    faults = []
    for option in case.built_from(own.option):
        for number, address in enumerate(option.same_as_base):
            one = after.get(address)
            if one is None:
                near = did_you_mean(address, after)
                what = f"no number of the changed case is called {address!r}{near}"
            elif (other := before.get(own.in_base(one.steps))) is None:
                what = f"the base has no number {address!r}"
            elif own.giver(one.steps) is None:
                what = f"this option does not change {address!r}, so that it is the base's already; leave it out here"
            elif one.spread != other.spread:
                what = f"{address!r} differs from the base's ({other.said}): give the same, or leave it out here"
            else:
                found.add(other.steps)
                continue
            if option.option == own.option:  # what holds no longer for one that it builds on is no fault
                path: KeyPath = ("options", places[own.option], "same_as_base", number)
                faults.append(base.fault(path, f"`same_as_base`: {what}"))
    return frozenset(found), faults


def check_options(case: Case) -> None:
    """Work out every option once.

    Raises CaseError with the faults of all options.
    """
    faults: list[Fault] = []
    if case._origin is None:
        return
    tables = case._origin.tables
    places = {option.option: number for number, option in enumerate(case.options)}
    steps = [case.built_from(option.option) for option in case.options]
    # Each option alone, with those that it builds on: else each would read all others once more.
    sources = case._origin.source.with_options([[places[one.option] for one in built] for built in steps])
    refused: set[str] = set()
    for built, source in zip(steps, sources, strict=True):
        name = built[-1].option
        if any(one.option in refused for one in built):
            refused.add(name)  # its fault is told where it stands
            continue
        alone = case.model_copy(update={"options": built})
        alone._origin = Origin(source, tables)
        try:
            with_option(alone, name)
        except CaseError as error:
            refused.add(name)
            faults += error.faults
        if len(faults) >= MOST_FAULTS:
            break
    if faults:
        raise CaseError(enough(faults))


def faults_of_changes(case: Case, source: Source, lost: Collection[str] = ()) -> list[Fault]:
    """What is wrong inside the changes of options of a case that is at fault itself.

    lost : names that the case had before what was refused was left out; whoever reaches for them is not judged
    """
    places = {option.option: number for number, option in enumerate(case.options)}
    faults: list[Fault] = []
    for last in case.options:
        now, changed = case, source
        built = case.built_from(last.option)
        reached = [word for option in built for word in (*option.changes, *(str(added) for added in option.adds))]
        if any(name in word for word in reached for name in lost):
            continue
        if any(name not in places for option in built for name in option.builds_on):
            continue  # what it builds on is not known
        for option in built:
            changes = OptionChanges(now, changed, ("options", places[option.option]))
            changed = changes.apply()
            if option is last:
                own = [_named(last.option, fault) for fault in changes.faults]
                faults += own or _inside(changed, last.option, ("options", places[last.option], "option"))
            if changes.faults:
                break
            try:
                now = Case.model_validate(changed.values)
            except ValidationError:
                break
    return faults


def _inside(changed: Source, name: str, place: KeyPath) -> list[Fault]:
    """Faults of a changed case that stand inside its option, whose name stands at a place."""
    try:
        _read(changed, name)
    except CaseError as error:
        outside = changed.mark(place)  # what lies elsewhere is told at the name
        return [fault for fault in error.faults if fault.file == changed.name and (fault.line, fault.column) != outside]
    return []


def _named(name: str, fault: Fault) -> Fault:
    return Fault(fault.file, fault.line, fault.column, f"option {name!r}: {fault.message}")


def _placed(name: str, base: Source, path: KeyPath, fault: Fault) -> Fault:
    """A fault of the changed case at the place of the option, unless it lies inside the option or in a table."""
    marks = [*base.marks.items(), *base.key_marks.items()]
    inside = {mark for place, mark in marks if place[: len(path)] == path}
    if fault.file != base.name or (fault.line, fault.column) in inside:
        return _named(name, fault)
    line, column = base.mark((*path, "option"))
    return Fault(base.name, line, column, f"option {name!r}: {fault.message} (at line {fault.line})")

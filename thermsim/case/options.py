"""Base case + named changes -> case.

How changes are written and what they take away stands in `option_changes.py`. A value that is given varies by itself,
unless `same_as_base` names it. With `same_height_by` a part takes up what the changes do to the height of the stack.
"""

from __future__ import annotations

from dataclasses import replace

from thermsim.case.faults.validation import valid_case
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.option_changes import OptionChanges
from thermsim.case.same_height import with_same_height
from thermsim.case.source.file_origin import Origin, Own
from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.case.vocabulary.numbers import numbers
from thermsim.case.vocabulary.schema import Case
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
    path: KeyPath = ("options", names.index(name))
    changes = OptionChanges(case, base, path)
    changed = changes.apply()
    if not changes.faults and base.at((*path, "same_height_by")) is not None:
        changed, told = with_same_height(case, changed, base, path, changes.set_in)
        changes.faults += told
    if changes.faults:
        raise CaseError([_named(name, fault) for fault in changes.faults])
    try:
        made = valid_case(changed)
    except CaseError as error:
        raise CaseError([_placed(name, base, path, fault) for fault in error.faults]) from None
    own = Own(name, changes.given(), frozenset(changes.removed))
    assert made._origin is not None
    made._origin = replace(made._origin, own=own)
    common, faults = _in_common(case, made, base, path, own)
    if faults:
        raise CaseError([_named(name, fault) for fault in faults])
    made._origin = replace(made._origin, own=replace(own, common=common))
    return made


def _in_common(case: Case, made: Case, base: Source, path: KeyPath, own: Own) -> tuple[frozenset[KeyPath], list[Fault]]:
    """Where the numbers stand, in the base, that an option gives and yet has in common with it, by `same_as_base`."""
    named = base.at((*path, "same_as_base"))
    if not named:
        return frozenset(), []
    before = {one.steps: one for one in numbers(case)}
    after = {one.path: one for one in numbers(made)}
    found: set[KeyPath] = set()
    faults = []
    for number, address in enumerate(named):
        one = after.get(address)
        if one is None:
            near = did_you_mean(address, after)
            what = f"no number of the changed case is called {address!r}{near}"
        elif (other := before.get(own.in_base(one.steps))) is None:
            what = f"the base has no number {address!r}"
        elif not own.gives(one.steps):
            what = f"this option does not change {address!r}, so that it is the base's already; leave it out here"
        elif one.spread != other.spread:
            what = f"{address!r} differs from the base's ({other.said}): give the same, or leave it out here"
        else:
            found.add(other.steps)
            continue
        faults.append(base.fault((*path, "same_as_base", number), f"`same_as_base`: {what}"))
    return frozenset(found), faults


def check_options(case: Case) -> None:
    """Work out every option once.

    Raises CaseError with the faults of all options.
    """
    faults: list[Fault] = []
    if case._origin is None:
        return
    tables = case._origin.tables
    for option, source in zip(case.options, case._origin.source.with_one_option(), strict=True):
        alone = case.model_copy(update={"options": [option]})  # else each option would read all others once more
        alone._origin = Origin(source, tables)
        try:
            with_option(alone, option.option)
        except CaseError as error:
            faults += error.faults
        if len(faults) >= MOST_FAULTS:
            break
    if faults:
        raise CaseError(enough(faults))


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

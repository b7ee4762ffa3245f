"""Source -> Case, or every fault of it at once.

Where the vocabulary refuses a value, the rest is still checked: another value stands in for it, or its entry is left
out, and only such checks follow as cannot be set right by what was refused.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from thermsim.case.faults.changed import check_reach
from thermsim.case.faults.checks import check_dimensions, check_everything
from thermsim.case.faults.examination import Look
from thermsim.case.faults.material_names import check_names_of_materials
from thermsim.case.faults.names import names_in
from thermsim.case.faults.wording import Problem, problems_of
from thermsim.case.source.file_origin import Origin
from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.case.typed.typed import typed
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import MOST_FAULTS, CaseError, Fault, enough

# Lists whose faulty entries are left out in the next round, so that the faults of all others are found as well.
ENTRY_LISTS = ("layers", "heat", "zones", "inserts", "cooling", "probes", "readings", "options", "load")
# What stands in for a refused value, by the list that its entry is in: any that the vocabulary allows, at keys that
# decide neither names nor outlines nor powers.
STAND_INS: dict[str, dict[str, object]] = {
    "layers": {
        "thickness_mm": 1.0, "film_um": 100.0, "conductivity_W_mK": 10.0, "resistance_mm2K_W": 10.0,
        "boundary_mm2K_W": 1.0, "wetted_fraction": 1.0, "weighed_g": 1.0,
    },
    "cooling": {
        "film_W_m2K": 1000.0, "fluid_C": 25.0, "cooler_K_W": 0.1, "flow_l_min": 1.0, "inlet_C": 25.0,
        "temperature_C": 25.0, "flux_W_mm2": 0.1, "emissivity": 0.5, "room_C": 25.0,
    },
    "readings": {"takes": "mean", "offset_K": 0.0, "step_K": 1.0},
}  # fmt: skip
# What stands in for the only entry of a list that a case cannot do without; for a heat, in the part that is said.
ONLY_ENTRIES: dict[str, dict[str, object]] = {
    "cooling": {"face": "top", "film_W_m2K": 1000.0, "fluid_C": 25.0},
    "heat": {"at": "bottom", "power_W": 1.0},
}
MOST_ROUNDS = 4
MOST_SET_ASIDE = 50  # faulty entries that a round leaves out; with more, the search ends until they are mended
MOST_ENTRIES = 1000  # entries of one list: every zone is compared with every other one
MOST_WORK = 200_000  # options times values of the case: each option makes and checks a case of its own


@dataclass(frozen=True, eq=False)
class Examined:
    """What was found of a source.

    case : None where it is at fault
    rest, rest_source : what is left of one that is; None where that makes no case
    lost : names, and faces of coolings, that stand in what was left out of the rest
    """

    case: Case | None
    faults: list[Fault]
    rest: Case | None = None
    rest_source: Source | None = None
    lost: frozenset[str] = frozenset()


def valid_case(source: Source) -> Case:
    """The case that a source describes, with its tables read.

    Raises
    ------
    CaseError : with every fault that can be told
    """
    found = examined(source)
    if found.case is None:
        raise CaseError(enough(found.faults))
    return found.case


def examined(source: Source) -> Examined:
    """The case that a source describes, or every fault that can be told, consequences left out.

    Raises
    ------
    CaseError : where there is too much to look at
    """
    _refuse_long_lists(source)
    faults = [fault for _, fault in source.faults] + check_names_of_materials(source)
    refused = [path for path, _ in source.faults]
    rest, written, dropped = source, source, {str(path[0]) for path in refused if path}
    stand_ins: set[KeyPath] = set()
    meant: set[KeyPath] = set()
    for number in range(MOST_ROUNDS):
        case, problems = _attempt(rest)
        if number == 0:
            written = _with_meant(source, problems)
            faults += [problem.fault for problem in problems if not _follows_from(problem, refused)]
        faults += [problem.fault for problem in problems if problem.path in meant]
        if case is not None:
            wrong_sizes, told = check_dimensions(case, rest)
            faults += told
            if not wrong_sizes:
                unsure = dropped | {str(path[0]) for path in stand_ins if path[0] == "cooling"}
                look = Look(case, rest, written, frozenset(unsure), stand_ins=frozenset(stand_ins))
                with suppress(CaseError):  # where there are too many: they are in `look.faults`
                    check_everything(look)
                    if not look.faults and not faults:
                        check_reach(look)
                told_at = {(fault.file, fault.line, fault.column) for fault in faults}
                faults += [fault for fault in look.faults if (fault.file, fault.line, fault.column) not in told_at]
                if not faults:
                    case._origin = Origin(source, look.tables)
                    return Examined(case, [])
                return Examined(None, list(dict.fromkeys(faults)), case, rest, _called(source) - _called(rest))
            paths = wrong_sizes
        else:
            paths = [problem.path for problem in problems]
        meant |= {(*one.path[:-1], one.meant_key) for one in problems if one.meant_key is not None}
        smaller = _without(rest, problems, paths, dropped, stand_ins)
        if smaller is None:
            break
        rest = smaller
    return Examined(None, list(dict.fromkeys(faults)))


def _refuse_long_lists(source: Source) -> None:
    """Raises CaseError where the work of a check could grow beyond patience."""
    faults = []
    waiting: list[tuple[KeyPath, Any]] = [((), source.values)]
    count = 0
    while waiting:
        path, value = waiting.pop()
        count += 1
        if isinstance(value, list) and len(value) > MOST_ENTRIES:
            what = f"a list of {len(value)}, more than the {MOST_ENTRIES} that a case may have in one place"
            faults.append(source.fault(path, f"{what}; join or leave out some"))
        elif isinstance(value, list):
            waiting += [((*path, place), item) for place, item in enumerate(value)]
        elif isinstance(value, dict):
            waiting += [((*path, key), item) for key, item in value.items() if path or key != "options"]
    options = source.values.get("options")
    if isinstance(options, list) and len(options) * count > MOST_WORK:
        what = f"{len(options)} options of a case of {count} values take too long to check"
        remedy = f"keep {max(1, MOST_WORK // count)} of them, and write the others into another case"
        faults.append(source.fault(("options",), f"{what}; {remedy}"))
    if faults:
        raise CaseError(faults)


def _attempt(source: Source) -> tuple[Case | None, list[Problem]]:
    try:
        return Case.model_validate(source.values), []
    except ValidationError as error:
        if error.error_count() > MOST_FAULTS:
            raise CaseError(enough([problem.fault for problem in problems_of(error, source)], cut=True)) from None
        return None, problems_of(error, source)


def _follows_from(problem: Problem, refused: list[KeyPath]) -> bool:
    """Whether a refusal only repeats what the reader of the text has refused already."""
    return any(
        path[: len(problem.path)] == problem.path and (len(path) == len(problem.path) or problem.whole_entry)
        for path in refused
    )


def _without(
    source: Source, problems: list[Problem], paths: list[KeyPath], dropped: set[str], stand_ins: set[KeyPath]
) -> Source | None:
    """The source without what was refused, or with what stands in for it; None if too little would be left to check."""
    unknown = {problem.path for problem in problems if problem.unknown_key is not None}
    replaced = {place for path in paths if path not in unknown and (place := _stood_in_for(path, stand_ins))}
    targets: set[KeyPath] = set()
    for path in paths:
        if any(path[: len(place)] == place for place in replaced):
            continue
        target = path if path in unknown else _entry_around(path)
        if target is not None and any(target[: len(other)] == other for other in targets):
            continue
        if target is None or target[0] == "dimensions":
            return None
        targets.add(target)
        if path not in unknown:
            dropped.add(str(target[0]))
    if len(targets) > MOST_SET_ASIDE:
        return None
    if ("title",) in targets or any(problem.missing_key == "title" for problem in problems):
        return None
    for place in sorted(replaced, key=_order):
        source = source.with_value(place, STAND_INS[str(place[0])][str(place[-1])], source, place)
        stand_ins.add(place)
    # From the end towards the beginning, so that places in lists stay right.
    for target in sorted(targets, key=_order, reverse=True):
        source = _with_meant(source, [problem for problem in problems if problem.path == target])
        only = _instead_of_the_only(source, target)
        source = source.without(target) if only is None else source.with_value(target, only, source, target)
    return source


def _instead_of_the_only(source: Source, entry: KeyPath) -> dict[str, object] | None:
    """What stands in for an entry that its list cannot do without; None where it can be left out, or does already."""
    name = str(entry[0])
    if len(entry) != 2 or name not in ONLY_ENTRIES or len(source.values[name]) != 1:
        return None
    written = source.at(entry)
    where = {"in": written["in"]} if name == "heat" and isinstance(written, dict) and "in" in written else {}
    other = where | ONLY_ENTRIES[name]
    return None if written == other else other


def _called(source: Source) -> frozenset[str]:
    """All names that a source gives, and the faces it cools."""
    named = {name for found in names_in(source.values).values() for name, _ in found}
    cooled = source.values.get("cooling")
    return frozenset(named | {str(one.get("face")) for one in cooled or [] if isinstance(one, dict)})


def _stood_in_for(path: KeyPath, taken: set[KeyPath]) -> KeyPath | None:
    """The place of a refused value that another can stand in for; None where none can, or one does already."""
    keys = STAND_INS.get(str(path[0]), {}) if path else {}
    place = next((path[: length + 1] for length in range(2, len(path)) if path[length] in keys), None)
    return place if place not in taken else None


def _with_meant(source: Source, problems: list[Problem]) -> Source:
    """The source with what stands at misspelt keys also at those that they stand for, where these are free, and read
    as theirs: `250 +- 40` is a number only at a key that takes one."""
    for problem in problems:
        path = (*problem.path[:-1], str(problem.meant_key))
        if problem.meant_key is not None and source.at(path) is None:
            source = typed(source.with_value(path, problem.meant_value, source, problem.path))
    return source


def _order(path: KeyPath) -> list[tuple[int, str]]:
    return [(step, "") if isinstance(step, int) else (-1, step) for step in path]


def _entry_around(path: KeyPath) -> KeyPath | None:
    """The smallest entry of a list that holds a value; the top-level key if it stands in none."""
    for length in range(len(path), 1, -1):
        if isinstance(path[length - 1], int) and path[length - 2] in ENTRY_LISTS:
            return path[:length]
    return path[:1] or None

"""Which cases a comparison holds against one another: the base, then its options."""

from __future__ import annotations

from collections.abc import Sequence

from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError

AS_IN_FILE = "as in the file"


def chosen(case: Case, base: str | None, options: Sequence[str] | None) -> tuple[tuple[str, ...], tuple[Case, ...]]:
    """Names and cases of a comparison, the base first. base : an option that is built already, instead of the file's"""
    known = [option.option for option in case.options]
    if not known:
        part = case.parts[0]
        one = f"{{option: thinner, changes: {{{part.part}.thickness_mm: {part.thickness_mm.value / 2:g}}}}}"
        raise ThermsimError("the case has no options to compare", f"add them, such as `options: [{one}]`")
    if case.option is not None:
        what = f"the option {case.option!r} is taken already, and options are changes of the base"
        raise ThermsimError(what, f"compare the case as it was read, with {case.option!r} as the base")
    names = [AS_IN_FILE, *known] if options is None else [AS_IN_FILE, *options]
    first = AS_IN_FILE if base is None else base
    names = [first, *(name for name in names if name != first)]
    return tuple(names), tuple(case if name == AS_IN_FILE else with_option(case, name) for name in names)

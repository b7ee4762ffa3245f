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
        raise ThermsimError("the case has no options to compare", "add `options:` to it, see the README")
    names = [AS_IN_FILE, *known] if options is None else [AS_IN_FILE, *options]
    first = AS_IN_FILE if base is None else base
    names = [first, *(name for name in names if name != first)]
    return tuple(names), tuple(case if name == AS_IN_FILE else with_option(case, name) for name in names)

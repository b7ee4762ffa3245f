"""A case file -> Case: everything wrong with it at once, each fault as file:line:column."""

from __future__ import annotations

from pathlib import Path

from thermsim.case.faults.validation import examined
from thermsim.case.options import check_options, faults_of_changes
from thermsim.case.source.yaml_source import parse, read_text
from thermsim.case.typed.typed import typed
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError, enough


def read_case(path: Path | str) -> Case:
    """Read, check and return a case; tables that it names are read beside it.

    Parameters
    ----------
    path : the case file, UTF-8

    Raises
    ------
    CaseError : every fault of the file, of its options and of its tables, in the order of the file
    """
    path = Path(path)
    return parse_case(read_text(path, str(path)), str(path), path.parent)


def parse_case(text: str, name: str = "case", folder: Path | None = None) -> Case:
    """As `read_case`, from text.

    Parameters
    ----------
    name : stands in messages as the name of the file
    folder : where tables are looked for; without it a case that names a table is at fault

    Raises
    ------
    CaseError : every fault
    """
    found = examined(typed(parse(text, name, folder)))
    if found.case is None:
        faults = found.faults
        if found.rest is not None and found.rest_source is not None:
            told_at = {(fault.file, fault.line, fault.column) for fault in faults}
            of_options = faults_of_changes(found.rest, found.rest_source, found.lost)
            faults += [fault for fault in of_options if (fault.file, fault.line, fault.column) not in told_at]
        raise CaseError(enough(faults))
    check_options(found.case)
    return found.case

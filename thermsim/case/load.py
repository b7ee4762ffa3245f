"""A case file -> Case: everything wrong with it at once, each fault as file:line:column."""

from __future__ import annotations

from pathlib import Path

from thermsim.case.faults.validation import valid_case
from thermsim.case.options import check_options
from thermsim.case.source.yaml_source import parse, read_text
from thermsim.case.typed.typed import typed
from thermsim.case.vocabulary.schema import Case


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
    case = valid_case(typed(parse(text, name, folder)))
    check_options(case)
    return case

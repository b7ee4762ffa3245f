"""What the folder of a sweep, a warm-up or the like holds: a document, a table, and no other study than this one."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import WriteError
from thermsim.report.files import delivery, export


def refuse_other(
    folder: Path,
    case: Case,
    own: tuple[str, ...],
    study: Sequence[Any],
    study_of: Callable[[dict[str, Any]], Sequence[Any]],
    what: str,
    replace: bool,
) -> None:
    """No file is replaced that thermsim did not write, none that the case is read from, and no other study.

    own : files that such a study writes, its document first; study : what makes two of them the same;
    study_of : the same of a document that is there; what : such a study in a word
    Raises WriteError.
    """
    export.refuse(folder, case, replace)
    delivery.refuse_foreign(folder, case, own)
    document = folder / own[0]
    if document.exists() and not replace:
        try:
            there = list(study_of(json.loads(document.read_text(encoding="utf-8"))))
        except (OSError, ValueError, TypeError, KeyError):
            there = None
        if there != list(study):
            raise WriteError(f"{folder} holds another {what}", "choose another folder, or add --replace")
        delivery.refuse_edited(folder, case)


def write_data(folder: Path, document: tuple[str, Any], table: tuple[str, Iterable[Sequence[str]]]) -> None:
    """The document as JSON and the table as CSV, each with its name."""
    text = json.dumps(document[1], indent=2, allow_nan=False, ensure_ascii=False)
    (folder / document[0]).write_text(text + "\n", encoding="utf-8")
    with (folder / table[0]).open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(table[1])

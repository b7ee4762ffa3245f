"""A comparison as files in a folder: all of them appear, or none does and what stood there before still stands."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import WriteError
from thermsim.report.data.compare_result import csv_lines, document
from thermsim.report.data.result import as_json
from thermsim.report.drawing.style import DOTS_PER_INCH
from thermsim.report.files import delivery, export
from thermsim.report.page.report_page import html, pictures

if TYPE_CHECKING:
    from thermsim.comparison.outcome import Comparison

PAGE, GAINS = "report.html", "gains.csv"
RESULT, OWN = export.RESULT, export.OWN


def write(comparison: Comparison, folder: Path | str, *, replace: bool = False) -> list[Path]:
    """Write report.html, result.json, gains.csv, the pictures, versions.json, and case/ with the case.

    folder : made if it is not there; foreign files in it stay, an earlier comparison of the same options goes
    replace : also replace a prediction, or a comparison of something else

    Returns the paths of all files. Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    names = [one.option for one in comparison.options]
    return delivery.deliver(
        folder,
        OWN,
        lambda: _refuse(folder, comparison.case, comparison.base_name, names, replace),
        lambda new: _write_all(comparison, new),
    )


def check_target(
    case: Case,
    folder: Path | str,
    *,
    base: str | None = None,
    options: Sequence[str] | None = None,
    replace: bool = False,
) -> None:
    """Whether a comparison may be written there; leaves nothing behind.

    base, options : as `thermsim.comparison.compare.compare` takes them

    Raises WriteError, as `write` would.
    """
    from thermsim.comparison.choice import chosen

    names, _ = chosen(case, base, options)
    delivery.try_out(Path(folder), lambda: _refuse(Path(folder), case, names[0], names[1:], replace))


def _write_all(comparison: Comparison, folder: Path) -> None:
    drawn = pictures(comparison)
    (folder / PAGE).write_text(html(comparison, drawn), encoding="utf-8", newline="\n")
    (folder / RESULT).write_text(as_json(document(comparison)), encoding="utf-8", newline="\n")
    with (folder / GAINS).open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(csv_lines(comparison))
    for name, figure in drawn.items():
        figure.savefig(folder / name, dpi=DOTS_PER_INCH)
    delivery.write_case(comparison.case, folder)


def _refuse(folder: Path, case: Case, base: str, options: Sequence[str], replace: bool) -> None:
    """No file is replaced that thermsim did not write, none that the case is read from, and no other study."""
    delivery.refuse_foreign(folder, case, OWN)
    if (folder / RESULT).exists() and not replace:
        whose = _whose(folder / RESULT, [case.title, base, list(options)])
        if whose is not None:
            raise WriteError(f"{folder} holds {whose}", "choose another folder, or add --replace")
        delivery.refuse_edited(folder, case)


def _whose(path: Path, kind: list[Any]) -> str | None:
    """What result stands there, None where it is that of the same case, base and options."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        if "options" not in found:
            return f"a prediction of {found['title']}"
        there = [found["title"], found["base"], [one["option"] for one in found["options"]]]
    except (OSError, ValueError, TypeError, KeyError):
        return "a result that cannot be read"
    return None if there == kind else f"another comparison, of {there[0]}"

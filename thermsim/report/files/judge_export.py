"""A judgement of measured runs as files in a folder: all appear, or none does and what stood there still stands."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from thermsim.case.vocabulary.schema import Case
from thermsim.report.data.judge_result import csv_lines, document
from thermsim.report.drawing.style import DOTS_PER_INCH
from thermsim.report.files import delivery
from thermsim.report.files.same_study import refuse_other, write_data
from thermsim.report.page.judge_page import MOUNTS, PATTERN, STRIP, html, pictures

if TYPE_CHECKING:
    from thermsim.judgement.outcome import Judgement

RESULT, PAGE, RUNS = "judgement.json", "judgement.html", "judged-runs.csv"
OWN = (RESULT, PAGE, RUNS, STRIP, PATTERN, MOUNTS)


def write_judgement(found: Judgement, folder: Path | str, *, replace: bool = False) -> list[Path]:
    """Write judgement.html, judgement.json, judged-runs.csv, the pictures, versions.json, and case/ with the case.

    folder : made if it is not there; foreign files in it stay, an earlier judgement of the same case and table goes
    replace : also replace a judgement of something else

    Returns the paths of all files. Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    source = Path(found.runs.source).name
    return delivery.deliver(
        folder, OWN, lambda: _refuse(folder, found.case, source, replace), lambda new: _write_all(found, new)
    )


def check_judgement_target(case: Case, folder: Path | str, source: str, replace: bool) -> None:
    """Whether a judgement may be written there; leaves nothing behind. Raises WriteError, as writing would.

    source : name of the table of runs
    """
    delivery.try_out(Path(folder), lambda: _refuse(Path(folder), case, source, replace))


def _write_all(found: Judgement, folder: Path) -> None:
    drawn = pictures(found)
    (folder / PAGE).write_text(html(found, drawn), encoding="utf-8", newline="\n")
    write_data(folder, (RESULT, document(found)), (RUNS, csv_lines(found)))
    for name, figure in drawn.items():
        figure.savefig(folder / name, dpi=DOTS_PER_INCH)
    delivery.write_case(found.case, folder)


def _refuse(folder: Path, case: Case, source: str, replace: bool) -> None:
    study = (case.title, source)
    refuse_other(folder, case, OWN, study, lambda there: (there["title"], there["source"]), "judgement", replace)

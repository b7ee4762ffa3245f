"""A warm-up as files in a folder: all of them appear, or none does and what stood there before still stands."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from thermsim.case.vocabulary.schema import Case
from thermsim.report.data.warmup_result import csv_lines, document
from thermsim.report.figures.warmup_figure import warmup_curves
from thermsim.report.files import delivery
from thermsim.report.files.same_study import refuse_other, write_data

if TYPE_CHECKING:
    from thermsim.warming.outcome import Warmup

RESULT, CURVES, PICTURE, PICTURE_PLAIN = "warmup.json", "warmup.csv", "warmup-log.png", "warmup.png"
OWN = (RESULT, CURVES, PICTURE, PICTURE_PLAIN)


def write_warmup(found: Warmup, folder: Path | str, *, replace: bool = False) -> list[Path]:
    """Write warmup.json, warmup.csv, both pictures, versions.json, and case/ with the case; returns their paths.

    folder : made if it is not there; foreign files in it stay, an earlier warm-up of the same case and option goes
    replace : also replace a warm-up of something else

    Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    return delivery.deliver(
        folder, OWN, lambda: _refuse(folder, found.case, replace), lambda new: _write_all(found, new)
    )


def check_warmup_target(case: Case, folder: Path | str, replace: bool) -> None:
    """Whether a warm-up may be written there; leaves nothing behind. Raises WriteError, as `write_warmup` would."""
    delivery.try_out(Path(folder), lambda: _refuse(Path(folder), case, replace))


def _write_all(found: Warmup, folder: Path) -> None:
    write_data(folder, (RESULT, document(found)), (CURVES, csv_lines(found)))
    for name, log in ((PICTURE, True), (PICTURE_PLAIN, False)):
        warmup_curves(found, log=log).savefig(folder / name)
    delivery.write_case(found.case, folder)


def _refuse(folder: Path, case: Case, replace: bool) -> None:
    study = (case.title, case.option)
    refuse_other(folder, case, OWN, study, lambda there: (there["title"], there["option"]), "warm-up", replace)

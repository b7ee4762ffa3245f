"""What a case can afford as files in a folder: all of them appear, or none does and what stood there still stands."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermsim.case.vocabulary.schema import Case
from thermsim.report.figures.bar_figures import powers_at_limit
from thermsim.report.files import delivery
from thermsim.report.files.same_study import refuse_other, write_data
from thermsim.report.text.afford_table import csv_lines, document

if TYPE_CHECKING:
    from thermsim.limits.affordance import Affordance

RESULT, STEPS, PICTURE = "afford.json", "afford.csv", "afford.png"
OWN = (RESULT, STEPS, PICTURE)


def write_afford(found: Affordance, folder: Path | str, *, replace: bool = False) -> list[Path]:
    """Write afford.json, afford.csv, afford.png, versions.json, and case/ with the case; returns their paths.

    folder : made if it is not there; foreign files in it stay, an earlier answer for the same case and options goes
    replace : also replace an answer for something else

    Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    return delivery.deliver(
        folder, OWN, lambda: _refuse(folder, found.case, replace), lambda new: _write_all(found, new)
    )


def check_afford_target(case: Case, folder: Path | str, replace: bool) -> None:
    """Whether an answer may be written there; leaves nothing behind. Raises WriteError, as `write_afford` would."""
    delivery.try_out(Path(folder), lambda: _refuse(Path(folder), case, replace))


def _write_all(found: Affordance, folder: Path) -> None:
    write_data(folder, (RESULT, document(found)), (STEPS, csv_lines(found)))
    powers_at_limit(found).savefig(folder / PICTURE)
    delivery.write_case(found.case, folder)


def _refuse(folder: Path, case: Case, replace: bool) -> None:
    # An option of the case that is asked for alone is a study of its own.
    refuse_other(folder, case, OWN, (case.title, case.option), _study_of, "answer of `afford`", replace)


def _study_of(there: dict[str, Any]) -> tuple[str, str | None]:
    return there["title"], there["afford"][0]["option"]

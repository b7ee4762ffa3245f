"""A sweep as files in a folder: all of them appear, or none does and what stood there before still stands."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermsim.case.vocabulary.schema import Case
from thermsim.report.figures.sweep_figure import sweep_figure
from thermsim.report.files import delivery
from thermsim.report.files.same_study import refuse_other, write_data
from thermsim.report.text.sweep_table import csv_lines, document

if TYPE_CHECKING:
    from thermsim.sweeps.sweep import Sweep

RESULT, POINTS, PICTURE = "sweep.json", "sweep.csv", "sweep.png"
OWN = (RESULT, POINTS, PICTURE)


def write_sweep(found: Sweep, folder: Path | str, *, replace: bool = False) -> list[Path]:
    """Write sweep.json, sweep.csv, sweep.png, versions.json, and case/ with the case; returns their paths.

    folder : made if it is not there; foreign files in it stay, an earlier sweep of the same quantities goes
    replace : also replace a sweep of something else

    Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    kind = kind_of(found.case, [one.path for one in found.ranges], found.same_height)
    return delivery.deliver(
        folder, OWN, lambda: _refuse(folder, found.case, kind, replace), lambda new: _write_all(found, new)
    )


def check_sweep_target(
    case: Case, paths: list[str], same_height: str | None, folder: Path | str, replace: bool
) -> None:
    """Whether a sweep may be written there; leaves nothing behind. Raises WriteError, as `write_sweep` would."""
    kind = kind_of(case, paths, same_height)
    delivery.try_out(Path(folder), lambda: _refuse(Path(folder), case, kind, replace))


def kind_of(case: Case, paths: list[str], same_height: str | None) -> list[Any]:
    """What makes two sweeps the same study: case, option, quantities, and who keeps the height."""
    return [case.title, case.option, paths, same_height]


def _write_all(found: Sweep, folder: Path) -> None:
    write_data(folder, (RESULT, document(found)), (POINTS, csv_lines(found)))
    sweep_figure(found).savefig(folder / PICTURE)
    delivery.write_case(found.case, folder)


def _refuse(folder: Path, case: Case, kind: list[Any], replace: bool) -> None:
    refuse_other(folder, case, OWN, kind, _kind_there, "sweep", replace)


def _kind_there(found: dict[str, Any]) -> list[Any]:
    return [found["title"], found["option"], [one["path"] for one in found["varied"]], found["same_height_by"]]

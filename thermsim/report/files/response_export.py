"""A step response as files in a folder, and read back to be replayed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.report.data.response_result import csv_lines, document
from thermsim.report.files import delivery
from thermsim.report.files.same_study import refuse_other, write_data
from thermsim.response.network import ModalNetwork

if TYPE_CHECKING:
    from thermsim.response.step_response import StepResponse

RESULT, CURVES, PICTURE, STRUCTURE = "response.json", "zth.csv", "zth.png", "structure.png"
OWN = (RESULT, CURVES, PICTURE, STRUCTURE)


def write_response(
    found: StepResponse, folder: Path | str, *, zone: str | None = None, replace: bool = False
) -> list[Path]:
    """Write response.json, zth.csv, zth.png, structure.png, versions.json, and case/; returns their paths.

    folder : made if it is not there; foreign files in it stay, step responses of the same case and option go
    zone : whose structure is drawn; the one with the largest resistance unless given
    replace : also replace step responses of something else

    Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    return delivery.deliver(
        folder, OWN, lambda: _refuse(folder, found.case, replace), lambda new: _write_all(found, new, zone)
    )


def read_network(path: Path | str) -> ModalNetwork:
    """The network of a stored response.json, or of the folder that it lies in, to be replayed.

    Raises
    ------
    ThermsimError : there is no such file, or it holds something else
    """
    path = Path(path)
    path = path / RESULT if path.is_dir() else path
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))["network"]
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise ThermsimError(f"{path} holds no step response", "give what `write_response` has written") from error
    return ModalNetwork.of(stored)


def check_response_target(case: Case, folder: Path | str, replace: bool) -> None:
    """Whether step responses may be written there; leaves nothing behind. Raises WriteError, as writing would."""
    delivery.try_out(Path(folder), lambda: _refuse(Path(folder), case, replace))


def _write_all(found: StepResponse, folder: Path, zone: str | None) -> None:
    from thermsim.report.figures.response_figure import response_curves, structure_curve

    write_data(folder, (RESULT, document(found)), (CURVES, csv_lines(found)))
    response_curves(found).savefig(folder / PICTURE)
    structure_curve(found, zone).savefig(folder / STRUCTURE)
    delivery.write_case(found.case, folder)


def _refuse(folder: Path, case: Case, replace: bool) -> None:
    study = (case.title, case.option)
    refuse_other(folder, case, OWN, study, lambda there: (there["title"], there["option"]), "step response", replace)

"""A prediction as files in a folder: all of them appear, or none does and what stood there before still stands."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import WriteError
from thermsim.readout.field import Field
from thermsim.report import figures
from thermsim.report.data.keys import KEYS
from thermsim.report.data.result import as_json, result
from thermsim.report.files import delivery
from thermsim.units import MM

if TYPE_CHECKING:
    from thermsim.mesh.prediction import Prediction
    from thermsim.nearby.superposition import Resistances

RESULT, ZONES, ARRAYS, VOLUME = "result.json", "zones.csv", "field.npz", "field.vtr"
RESISTANCES = "resistances.csv"
# Files that only a comparison writes: they are removed when a prediction is delivered into the folder of a comparison.
OF_COMPARISON = ("report.html", "gains.csv", "gains.png", "shares.png", "ladders.png")
OWN = (RESULT, ZONES, RESISTANCES, ARRAYS, VOLUME, delivery.VERSIONS, *figures.FILES, *OF_COMPARISON)
PICTURES = ("png", "svg")
MOST_VOLUME_CELLS = 2_000_000  # cells beyond which a VTK file is written only on request
HIDDEN_CELL = 32  # value that hides a cell in a viewer: `vtkDataSetAttributes::HIDDENCELL` of VTK


def write(
    prediction: Prediction,
    folder: Path | str,
    source_text: str | None = None,
    *,
    resistances: Resistances | None = None,
    replace: bool = False,
    volume: bool | None = None,
) -> list[Path]:
    """Write result.json, zones.csv, field.npz, field.vtr, the figures, versions.json, and case/ with the case.

    Parameters
    ----------
    folder : made if it is not there; foreign files in it stay, an earlier result of just this case and option goes
    source_text : text of the case file; the case's own if not given
    resistances : of its zones, for resistances.csv, see `thermsim.nearby.superposition.with_resistances`
    replace : also replace the result of another case or option
    volume : whether field.vtr is written; if not given, up to MOST_VOLUME_CELLS

    Returns the paths of all files.

    Raises
    ------
    WriteError : the folder cannot be written, holds the result of another case or option, or a file of the same
        name that thermsim did not write
    """
    folder = Path(folder)
    text = prediction.case.source_text if source_text is None else source_text
    volume = prediction.field.model.grid.cells <= MOST_VOLUME_CELLS if volume is None else volume
    return delivery.deliver(
        folder,
        OWN,
        lambda: refuse(folder, prediction.case, replace),
        lambda new: _write_all(prediction, resistances, new, text, volume),
    )


def check_target(case: Case, folder: Path | str, *, replace: bool = False) -> None:
    """Whether a result of this case may be written there; leaves nothing behind.

    Raises WriteError, as `write` would.
    """
    delivery.try_out(Path(folder), lambda: refuse(Path(folder), case, replace))


def write_stack(case: Case, path: Path | str) -> None:
    """Draw the stack to scale into one PNG or SVG file; what stood there before stands until the new one is whole.

    Raises WriteError: the file cannot be written, or its name ends neither in .png nor in .svg.
    """
    path = Path(path)
    kind = path.suffix.lower().removeprefix(".")
    if kind not in PICTURES:
        raise WriteError(f"{path} is neither a PNG nor an SVG file by its name", "let the name end in .png or .svg")
    figure = figures.stack(case)
    with delivery.as_write_error(path), delivery.made(path.parent), delivery.work_folder(path.parent) as work:
        new = work / path.name
        figure.savefig(new, format=kind)
        new.replace(path)


def write_zones(document: dict[str, Any], path: Path) -> None:
    """The zones of a result as CSV (RFC 4180), one a line, full digits; an empty cell where there is no number."""
    keys = [key.removeprefix("zones[].") for key in KEYS if key.startswith("zones[].")]
    keys = [key for key in keys if not any(other.startswith(f"{key}.") for other in keys)]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, keys)
        writer.writeheader()
        writer.writerows(_flat(zone) for zone in document["zones"])


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    """An entry in an entry by both keys with a point between; nothing of one that is null."""
    found: dict[str, Any] = {}
    for key, value in row.items():
        if isinstance(value, dict):
            found |= {f"{key}.{own}": number for own, number in value.items()}
        elif value is not None or not key.endswith("inputs"):
            found[key] = value
    return found


def write_resistances(found: Resistances, path: Path) -> None:
    """The thermal resistance matrix of the zones as CSV, one entry with its mesh doubt a line."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["temperature", "watt_in_zone", "K_per_W", "mesh_doubt_K_per_W"])
        for question, row, widths in zip(found.finest.questions, found.resistance, found.half_width, strict=True):
            for zone, value, width in zip(found.finest.zones, row, widths, strict=True):
                writer.writerow([str(question), zone.label or zone.name, repr(float(value)), repr(float(width))])


def write_arrays(field: Field, path: Path) -> None:
    """The field as numpy arrays.

    x_faces_mm, y_faces_mm, z_faces_mm : (n+1,) [mm] in the coordinates of the stack
    temperature_C : (nx, ny, nz) float32 [C] at cell centres, NaN in voids
    region : (nx, ny, nz) int16, index into region_names, -1 in a void
    region_names, region_parts : what the body is, and the part it belongs to
    """
    grid = field.model.grid
    faces: dict[str, Any] = {f"{axis}_faces_mm": own.faces / MM for axis, own in zip("xyz", grid.axes, strict=True)}
    with path.open("wb") as file:
        np.savez_compressed(
            file,
            temperature_C=field.temperature.astype(np.float32),
            region=field.model.region,
            region_names=np.array([region.name for region in field.model.regions], dtype=np.str_),
            region_parts=np.array([region.part for region in field.model.regions], dtype=np.str_),
            **faces,
        )


def write_volume(field: Field, path: Path) -> None:
    """The field as a VTK rectilinear grid in mm; voids are NaN, and hidden by the ghost array that viewers know."""
    from pyevtk.hl import gridToVTK

    grid = field.model.grid
    x, y, z = (own.faces / MM for own in grid.axes)
    data = {
        "temperature_C": np.ascontiguousarray(field.temperature, dtype=np.float32),
        "region": np.ascontiguousarray(field.model.region, dtype=np.int16),
        "vtkGhostType": np.where(field.model.region < 0, HIDDEN_CELL, 0).astype(np.uint8),
    }
    gridToVTK(str(path.with_suffix("")), x, y, z, cellData=data)


def _write_all(prediction: Prediction, resistances: Resistances | None, folder: Path, text: str, volume: bool) -> None:
    document = result(prediction)
    (folder / RESULT).write_text(as_json(document), encoding="utf-8")
    write_zones(document, folder / ZONES)
    if resistances is not None:
        write_resistances(resistances, folder / RESISTANCES)
    write_arrays(prediction.field, folder / ARRAYS)
    if volume:
        write_volume(prediction.field, folder / VOLUME)
    figures.save_all(prediction, folder)
    delivery.write_case(prediction.case, folder, text)


def refuse(folder: Path, case: Case, replace: bool) -> None:
    """Raises WriteError where a prediction must not be written: foreign files, files of the case, another result."""
    delivery.refuse_foreign(folder, case, OWN)
    _refuse_other_result(folder, case, replace)


def _refuse_other_result(folder: Path, case: Case, replace: bool) -> None:
    """A result is replaced by one of the same case, word for word, and option alone, unless the user says so."""
    if replace or not (folder / RESULT).exists():
        return
    try:
        there = json.loads((folder / RESULT).read_text(encoding="utf-8"))
        title, option, compares = there["title"], there["option"], "options" in there
    except (OSError, ValueError, TypeError, KeyError):
        whose = "a result that cannot be read"
    else:
        if (title, option, compares) == (case.title, case.option, False):
            delivery.refuse_edited(folder, case)
            return
        whose = f"the result of {title}, " + ("as written" if option is None else f"with {option}")
        whose = f"a comparison of options of {title}" if compares else whose
    raise WriteError(f"{folder} holds {whose}", "choose another folder, or add --replace")

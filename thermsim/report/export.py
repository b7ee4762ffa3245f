"""A prediction as files in a folder: all of them appear, or none does and what stood there before still stands."""

from __future__ import annotations

import csv
import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from thermsim.case.schema import Case
from thermsim.errors import WriteError
from thermsim.field import Field
from thermsim.report import figures
from thermsim.report.keys import KEYS
from thermsim.report.result import as_json, result
from thermsim.report.versions import versions
from thermsim.study.answers import asked
from thermsim.study.superposition import resistances
from thermsim.units import MM

if TYPE_CHECKING:
    from thermsim.study.predict import Prediction

RESULT, ZONES, ARRAYS, VOLUME, VERSIONS = "result.json", "zones.csv", "field.npz", "field.vtr", "versions.json"
RESISTANCES = "resistances.csv"
MOST_ZONES = 100  # each costs a solve on three grids
CASE_FOLDER = "case"  # the case and its tables stand apart: a table may be called zones.csv
# What a comparison writes beside the same result.json: it goes when a prediction replaces the comparison.
OF_COMPARISON = ("report.html", "gains.csv", "gains.png", "shares.png", "ladders.png")
OWN = (RESULT, ZONES, RESISTANCES, ARRAYS, VOLUME, VERSIONS, *figures.FILES, *OF_COMPARISON)
PICTURES = ("png", "svg")
MOST_VOLUME_CELLS = 2_000_000  # beyond it a VTK file is written only if it is asked for
HIDDEN_CELL = 32  # VTK, vtkDataSetAttributes::HIDDENCELL


def write(
    prediction: Prediction,
    folder: Path | str,
    source_text: str | None = None,
    *,
    replace: bool = False,
    volume: bool | None = None,
) -> list[Path]:
    """Write result.json, zones.csv, field.npz, field.vtr, the figures, versions.json, and case/ with the case.

    Parameters
    ----------
    folder : made if it is not there; foreign files in it stay, an earlier result of this case and option goes
    source_text : text of the case file; the case's own if not given
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
    with _as_write_error(folder):
        _refuse_foreign(folder, prediction.case, replace)
        with _made(folder), _work_folder(folder) as work:
            new = work / "new"
            new.mkdir()
            _write_all(prediction, new, text, volume)
            return _move_in(new, folder, work / "old")


def check_target(case: Case, folder: Path | str, *, replace: bool = False) -> None:
    """Whether a result of this case may be written there; leaves nothing behind.

    Raises WriteError, as `write` would.
    """
    folder = Path(folder)
    with _as_write_error(folder):
        _refuse_foreign(folder, case, replace)
        with _made_for_a_moment(folder), _work_folder(folder):
            pass


def write_stack(case: Case, path: Path | str) -> None:
    """Draw the stack to scale into one PNG or SVG file; what stood there before stands until the new one is whole.

    Raises WriteError: the file cannot be written, or its name ends neither in .png nor in .svg.
    """
    path = Path(path)
    kind = path.suffix.lower().removeprefix(".")
    if kind not in PICTURES:
        raise WriteError(f"{path} is neither a PNG nor an SVG file by its name", "let the name end in .png or .svg")
    figure = figures.stack(case)
    with _as_write_error(path), _made(path.parent), _work_folder(path.parent) as work:
        new = work / path.name
        figure.savefig(new, format=kind)
        new.replace(path)


def write_zones(document: dict[str, Any], path: Path) -> None:
    """The zones of a result as CSV (RFC 4180), one a line, full digits; an empty cell where there is no number."""
    keys = [key.removeprefix("zones[].") for key in KEYS if key.startswith("zones[].")]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, keys)
        writer.writeheader()
        writer.writerows(document["zones"])


def write_resistances(prediction: Prediction, path: Path) -> None:
    """The thermal resistance matrix of the zones as CSV, one entry a line: see `thermsim.study.superposition`.

    It is found on the first three grids of the prediction, each entry with the mesh doubt that they leave.
    """
    multipliers = [step.multiplier for step in prediction.steps[:3]]
    found = resistances(prediction.case, prediction.plan, multipliers)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["temperature", "watt_in_zone", "K_per_W", "mesh_doubt_K_per_W"])
        for question, row, widths in zip(
            found.finest.questions, found.finest.resistance, found.half_width, strict=True
        ):
            for zone, value, width in zip(found.finest.zones, row, widths, strict=True):
                writer.writerow([asked(question), zone, repr(float(value)), repr(float(width))])


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


def _write_all(prediction: Prediction, folder: Path, text: str, volume: bool) -> None:
    document = result(prediction)
    (folder / RESULT).write_text(as_json(document), encoding="utf-8")
    write_zones(document, folder / ZONES)
    if 0 < len(prediction.field.model.zones) <= MOST_ZONES:
        write_resistances(prediction, folder / RESISTANCES)
    write_arrays(prediction.field, folder / ARRAYS)
    if volume:
        write_volume(prediction.field, folder / VOLUME)
    figures.save_all(prediction, folder)
    _write_case(prediction.case, folder / CASE_FOLDER, text)
    (folder / VERSIONS).write_text(json.dumps(versions(), indent=2) + "\n", encoding="utf-8")


def _write_case(case: Case, folder: Path, text: str) -> None:
    """The text of the case and its tables under the names that the text gives them."""
    folder.mkdir()
    if text:
        (folder / "case.yaml").write_text(text, encoding="utf-8", newline="")
    for name, table in case.tables.items():
        path = (folder / name).resolve()
        if not path.is_relative_to(folder.resolve()):
            path = folder / Path(name).name  # written with `..` or as an absolute path: kept beside the case
        path.parent.mkdir(parents=True, exist_ok=True)
        original = None if case.folder is None else case.folder / name
        if original is not None and original.is_file():
            shutil.copyfile(original, path)
        else:
            np.savetxt(path, table, fmt="%.17g", delimiter=",")


def _refuse_foreign(folder: Path, case: Case, replace: bool) -> None:
    """No file is replaced that thermsim did not write, none that the case is read from, and no other result."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise WriteError(f"{folder} is a file", "name a folder")
    there = [name for name in (*OWN, f"{CASE_FOLDER}/case.yaml") if (folder / name).exists()]
    if there and not _is_ours(folder):
        raise WriteError(
            f"{folder} holds {there[0]}, which thermsim did not write", "choose another folder, or move the file away"
        )
    _refuse_other_result(folder, case, replace)
    if case.folder is None:
        return
    own = {(folder / name).resolve() for name in OWN} | {(folder / CASE_FOLDER / "case.yaml").resolve()}
    for name in (*case.tables, Path(case.file).name):
        if (case.folder / name).resolve() in own:
            raise WriteError(f"the case itself reads {case.folder / name}", "choose another folder")


def _refuse_other_result(folder: Path, case: Case, replace: bool) -> None:
    """A result is replaced by one of the same case and option alone, unless the user says so."""
    if replace or not (folder / RESULT).exists():
        return
    try:
        there = json.loads((folder / RESULT).read_text(encoding="utf-8"))
        title, option, compares = there["title"], there["option"], "options" in there
    except (OSError, ValueError, TypeError, KeyError):
        whose = "a result that cannot be read"
    else:
        if (title, option, compares) == (case.title, case.option, False):
            return
        whose = f"the result of {title}, " + ("as written" if option is None else f"with {option}")
        whose = f"a comparison of options of {title}" if compares else whose
    raise WriteError(f"{folder} holds {whose}", "choose another folder, or add --replace")


def _is_ours(folder: Path) -> bool:
    try:
        made_with = json.loads((folder / VERSIONS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(made_with, dict) and "thermsim" in made_with


def _move_in(new: Path, folder: Path, old: Path, own: tuple[str, ...] = OWN) -> list[Path]:
    """Move every file into its place; what stood there is set aside first and comes back if a move fails.

    own : names of an earlier result; those that the new one does not have go
    """
    names = sorted(path.relative_to(new) for path in new.rglob("*") if path.is_file())
    stale = [Path(name) for name in own if (folder / name).is_file() and Path(name) not in names]
    done: list[tuple[Path, Path]] = []
    with _made(*(folder / name.parent for name in names)):
        try:
            for name in (*names, *stale):
                if (folder / name).exists():
                    (old / name).parent.mkdir(parents=True, exist_ok=True)
                    _move(folder / name, old / name, done)
            for name in names:
                _move(new / name, folder / name, done)
        except BaseException:  # Ctrl-C as well: the folder must not stay half old, half new
            for source, target in reversed(done):
                if target.exists():
                    target.replace(source)
            raise
    return [folder / name for name in names]


def _move(source: Path, target: Path, done: list[tuple[Path, Path]]) -> None:
    done.append((source, target))  # noted before: if Ctrl-C falls between, `target.exists()` tells
    source.replace(target)


@contextmanager
def _made(*folders: Path) -> Iterator[None]:
    """Folders that are there inside; those that were made for it go again if it fails."""
    missing = [path for folder in folders for path in (folder, *folder.parents) if not path.exists()]
    missing = sorted(set(missing), key=lambda path: len(path.parts))
    try:
        for path in missing:
            path.mkdir(exist_ok=True)
        yield
    except BaseException:
        for path in reversed(missing):
            if path.is_dir() and not any(path.iterdir()):
                path.rmdir()
        raise


@contextmanager
def _made_for_a_moment(folder: Path) -> Iterator[None]:
    """A folder that is there inside, and is gone again afterwards if it was not there before."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    with _made(folder):
        yield
    for path in missing:
        path.rmdir()


@contextmanager
def _work_folder(folder: Path) -> Iterator[Path]:
    """A hidden folder in the target: there a move is a rename, even where the target is a mount of its own."""
    work = Path(tempfile.mkdtemp(prefix=".thermsim-", dir=folder))
    try:
        yield work
    finally:
        shutil.rmtree(work, ignore_errors=True)


@contextmanager
def _as_write_error(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as reason:
        said = reason.strerror or str(reason)
        raise WriteError(
            f"{folder} cannot be written: {said}", "choose another folder, or free space and rights there"
        ) from None

"""Export: files read back to the same numbers, all of them or none, and nothing of the user's is touched."""

from __future__ import annotations

import csv
import dataclasses
import json
import shutil
import struct
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from report_samples import PACKAGE, prediction, resistances_of

from thermsim.case.load import parse_case, read_case
from thermsim.case.options import with_option
from thermsim.errors import WriteError
from thermsim.mesh.predict import predict
from thermsim.report import figures
from thermsim.report.data.result import result
from thermsim.report.files import export

PICTURES = {"stack.png", "active-face.png", "section.png", "ladder.png", "mesh.png", "moved.png"}
FILES = {
    "result.json",
    "zones.csv",
    "resistances.csv",
    "field.npz",
    "field.vtr",
    "versions.json",
    "case/case.yaml",
    *PICTURES,
}


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("export") / "new" / "out"
    found = prediction("package")
    paths = export.write(found, folder, PACKAGE, resistances=resistances_of(found))
    assert {path.relative_to(folder).as_posix() for path in paths} == FILES
    return folder


@pytest.fixture
def drawn_before(written: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The pictures of one result for all: drawing takes longest, and only their names matter where this is used."""

    def copied(_: object, into: Path | str) -> list[Path]:
        return [Path(shutil.copy(written / name, Path(into) / name)) for name in sorted(PICTURES)]

    monkeypatch.setattr(figures, "save_all", copied)


def test_all_files_and_nothing_else(written: Path) -> None:
    assert set(files_in(written)) == FILES
    assert sorted(path.name for path in written.parent.iterdir()) == ["out"]


def test_result_and_versions(written: Path) -> None:
    assert json.loads((written / "result.json").read_text(encoding="utf-8")) == result(prediction("package"))
    versions = json.loads((written / "versions.json").read_text(encoding="utf-8"))
    assert set(versions) == {"thermsim", "python", "numpy", "scipy", "numba", "matplotlib", "platform", "machine"}
    assert versions["numpy"] == np.__version__


def test_zones_read_back(written: Path) -> None:
    with (written / "zones.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    zones = result(prediction("package"))["zones"]
    assert [line["zone"] for line in lines] == [zone["zone"] for zone in zones]
    for line, zone in zip(lines, zones, strict=True):
        bands = {f"{key}.{end}": at for key, band in zone.items() if isinstance(band, dict) for end, at in band.items()}
        assert len(bands) == 8
        for key, value in {**zone, **bands}.items():
            if isinstance(value, dict):
                continue
            assert line[key] == ("" if value is None else value if isinstance(value, str) else repr(value))


def test_arrays_read_back(written: Path) -> None:
    field = prediction("package").field
    with np.load(written / "field.npz", allow_pickle=False) as arrays:
        np.testing.assert_array_equal(arrays["temperature_C"], field.temperature.astype(np.float32))
        np.testing.assert_array_equal(arrays["region"], field.model.region)
        np.testing.assert_allclose(arrays["x_faces_mm"][[0, -1]], [-10.0, 10.0])  # the board is 20 x 20 mm
        np.testing.assert_allclose(arrays["z_faces_mm"][[0, -1]], [0.0, 2.9])
        assert list(arrays["region_names"]) == ["board", "around die", "die", "lid"]
        assert list(arrays["region_parts"]) == ["board", "die", "die", "lid"]


def read_vtr(path: Path) -> dict[str, Any]:
    """A VTK XML file with raw appended data, read by its published layout (VTK file formats, docs.vtk.org)."""
    data = path.read_bytes()
    start = data.index(b'<AppendedData encoding="raw">')
    head = data[:start] + b"</VTKFile>"
    raw = data.index(b"_", start) + 1
    root = ElementTree.fromstring(head)
    assert (root.get("type"), root.get("byte_order")) == ("RectilinearGrid", "LittleEndian")
    width = {"UInt32": "<I", "UInt64": "<Q"}[root.get("header_type", "UInt32")]
    piece = root.find("RectilinearGrid/Piece")
    assert piece is not None
    found: dict[str, Any] = {"extent": [int(n) for n in piece.get("Extent", "").split()]}
    for array in [*piece.findall("Coordinates/DataArray"), *piece.findall("CellData/DataArray")]:
        kind = {"Float64": "<f8", "Float32": "<f4", "Int16": "<i2", "UInt8": "u1"}[array.get("type", "")]
        at = raw + int(array.get("offset", ""))
        (size,) = struct.unpack_from(width, data, at)
        first = at + struct.calcsize(width)
        found[array.get("Name", "")] = np.frombuffer(data[first : first + size], kind)
    return found


def test_volume_reads_back(written: Path) -> None:
    field = prediction("package").field
    shape = field.model.grid.shape
    volume = read_vtr(written / "field.vtr")
    assert volume["extent"] == [0, shape[0], 0, shape[1], 0, shape[2]]
    np.testing.assert_allclose(volume["x_coordinates"], 1e3 * field.model.grid.x.faces)
    np.testing.assert_allclose(volume["z_coordinates"], 1e3 * field.model.grid.z.faces)
    # x runs fastest in a VTK structured grid.
    single = field.temperature.astype(np.float32)
    np.testing.assert_array_equal(volume["temperature_C"].reshape(shape, order="F"), single)
    np.testing.assert_array_equal(volume["region"].reshape(shape, order="F"), field.model.region)
    ghost = volume["vtkGhostType"].reshape(shape, order="F")
    np.testing.assert_array_equal(ghost == 32, field.model.region < 0)  # 32: HIDDENCELL


@pytest.mark.usefixtures("drawn_before")
def test_the_case_comes_along_and_reads_again(tmp_path: Path) -> None:
    text = PACKAGE.replace("{low: 20, high: 140, towards: +x}", "{file: tables/film.csv}")
    source = tmp_path / "source"
    (source / "tables").mkdir(parents=True)
    (source / "tables" / "film.csv").write_text("# measured\n20, 30\n40, 50\n", encoding="utf-8")
    (source / "my case.yaml").write_text(text, encoding="utf-8")
    case = read_case(source / "my case.yaml")
    export.write(predict(case, accuracy_K=50.0, first_cells=500), tmp_path / "out")
    assert read_case(tmp_path / "out" / "case" / "case.yaml") == case
    assert (tmp_path / "out/case/tables/film.csv").read_bytes() == (source / "tables/film.csv").read_bytes()


@pytest.mark.usefixtures("drawn_before")
def test_a_table_from_elsewhere_is_kept_beside_the_case(tmp_path: Path) -> None:
    text = PACKAGE.replace("{low: 20, high: 140, towards: +x}", "{file: ../film.csv}")
    source = tmp_path / "source"
    source.mkdir()
    (tmp_path / "film.csv").write_text("20\n", encoding="utf-8")
    made = predict(parse_case(text, "case.yaml", source), accuracy_K=50.0, first_cells=500)
    export.write(made, tmp_path / "a" / "out")
    assert (tmp_path / "a/out/case/film.csv").read_text(encoding="utf-8") == "20\n"
    assert not (tmp_path / "a/film.csv").exists()
    assert not (tmp_path / "a/out/film.csv").exists()


@pytest.mark.usefixtures("drawn_before")
@pytest.mark.parametrize("stop", [OSError(28, "No space left on device"), KeyboardInterrupt(), RuntimeError("a bug")])
@pytest.mark.parametrize("where", ["figures", "first move", "late move"])
@pytest.mark.parametrize("before", [False, True])
def test_all_or_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: Path, stop: BaseException, where: str, before: bool
) -> None:
    folder = tmp_path / "deep" / "out"
    if before:
        shutil.copytree(written, folder)
        (folder / "notes.txt").write_text("mine", encoding="utf-8")
    stood = files_in(tmp_path)
    count = 0
    move = Path.replace

    def failing_move(self: Path, target: Path) -> Path:
        nonlocal count
        count += 1
        if count == (1 if where == "first move" else 8):
            raise stop
        return move(self, target)

    def failing_figures(*_: object) -> None:
        raise stop

    if where == "figures":
        monkeypatch.setattr(figures, "save_all", failing_figures)
    else:
        monkeypatch.setattr(Path, "replace", failing_move)
    with pytest.raises(WriteError if isinstance(stop, OSError) else type(stop)):
        export.write(prediction("slice"), folder, "another", replace=True)
    assert files_in(tmp_path) == stood
    assert (tmp_path / "deep").exists() == before
    assert not list(tmp_path.rglob(".thermsim-*"))


def test_a_second_prediction_replaces_the_first_and_leaves_foreign_files(tmp_path: Path) -> None:
    found = prediction("package")
    export.write(found, tmp_path, PACKAGE, resistances=resistances_of(found))
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    export.write(prediction("bars"), tmp_path, "title: another\n", replace=True)
    there = files_in(tmp_path)
    assert there["notes.txt"] == b"mine"
    assert json.loads(there["result.json"])["title"] == prediction("bars").case.title
    assert there["case/case.yaml"] == b"title: another\n"
    assert set(there) == (FILES - {"ladder.png", "moved.png", "resistances.csv"}) | {
        "notes.txt"
    }  # nothing is left of the first


@pytest.mark.usefixtures("drawn_before")
def test_the_result_of_another_case_or_option_stays_unless_told(tmp_path: Path) -> None:
    made = prediction("package")
    export.write(made, tmp_path, PACKAGE)
    stood = files_in(tmp_path)
    options = parse_case(PACKAGE + "options:\n  - {option: thick lid, changes: {lid.thickness_mm: 2}}\n")
    other = dataclasses.replace(made, case=with_option(options, "thick lid"))
    for write in (export.write, lambda its, folder: export.check_target(its.case, folder)):
        for its in (prediction("bars"), other):
            with pytest.raises(WriteError, match=r"result of A small package .*, as written") as no:
                write(its, tmp_path)
            assert "--replace" in no.value.remedy
    assert files_in(tmp_path) == stood
    export.write(made, tmp_path, PACKAGE)  # the same case again
    export.write(other, tmp_path, PACKAGE, replace=True)
    with pytest.raises(WriteError, match="with thick lid"):
        export.check_target(made.case, tmp_path)
    (tmp_path / "result.json").write_text("{", encoding="utf-8")
    with pytest.raises(WriteError, match="cannot be read"):
        export.check_target(made.case, tmp_path)


def test_a_target_is_tried_before_anything_is_solved_and_nothing_is_left(tmp_path: Path) -> None:
    case = prediction("bars").case
    export.check_target(case, tmp_path / "deep" / "out")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    for folder in (tmp_path / "out", tmp_path / "out" / "below"):
        with pytest.raises(WriteError):
            export.check_target(case, folder)
    assert files_in(tmp_path) == {"out": b"mine"}


@pytest.mark.usefixtures("drawn_before")
def test_a_large_volume_is_left_out_unless_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(export, "MOST_VOLUME_CELLS", 10)
    assert tmp_path / "field.vtr" not in export.write(prediction("bars"), tmp_path)
    assert tmp_path / "field.vtr" in export.write(prediction("bars"), tmp_path, volume=True)
    assert tmp_path / "field.vtr" not in export.write(prediction("bars"), tmp_path)
    assert not (tmp_path / "field.vtr").exists()  # none of an earlier grid is left beside the new result


def test_files_that_others_wrote_are_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "zones.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(WriteError, match=r"zones\.csv, which thermsim did not write"):
        export.write(prediction("bars"), tmp_path, "")
    assert files_in(tmp_path) == {"zones.csv": b"mine"}


@pytest.mark.usefixtures("drawn_before")
def test_a_table_of_the_case_is_not_replaced(tmp_path: Path) -> None:
    export.write(prediction("bars"), tmp_path, "")
    text = PACKAGE.replace("{low: 20, high: 140, towards: +x}", "{file: zones.csv}")
    (tmp_path / "zones.csv").write_text("20\n", encoding="utf-8")
    made = predict(parse_case(text, "case.yaml", tmp_path), accuracy_K=50.0, first_cells=500)
    with pytest.raises(WriteError, match="the case itself reads"):
        export.write(made, tmp_path, text, replace=True)
    assert (tmp_path / "zones.csv").read_text(encoding="utf-8") == "20\n"


def test_a_file_in_the_way_is_told_with_a_remedy(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    for folder in (tmp_path / "out", tmp_path / "out" / "below"):
        with pytest.raises(WriteError) as caught:
            export.write(prediction("bars"), folder, "")
        assert caught.value.remedy
        assert caught.value.exit_code == 9
    assert files_in(tmp_path) == {"out": b"mine"}


def test_a_picture_of_the_stack(tmp_path: Path) -> None:
    case = prediction("package").case
    export.write_stack(case, tmp_path / "stack.png")
    assert (tmp_path / "stack.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"  # PNG signature, RFC 2083
    export.write_stack(case, tmp_path / "new" / "stack.SVG")
    root = ElementTree.fromstring((tmp_path / "new" / "stack.SVG").read_bytes())
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["new", "stack.SVG", "stack.png"]
    with pytest.raises(WriteError, match="neither a PNG nor an SVG"):
        export.write_stack(case, tmp_path / "stack.doc")
    with pytest.raises(WriteError):
        export.write_stack(case, tmp_path / "stack.png" / "below.png")


@pytest.mark.usefixtures("drawn_before")
def test_the_current_folder_can_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    export.write(prediction("bars"), ".", "")
    assert (tmp_path / "result.json").is_file()

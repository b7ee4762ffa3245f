"""The files of a study in a folder: all of them appear, or none does and what stood there before still stands.

That holds for a killed process too, as far as nobody else can do it: what it was moving is moved to the end, or its
hidden folder is taken away, when thermsim next writes into the same folder.
"""

from __future__ import annotations

import json
import platform
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import psutil

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import WriteError
from thermsim.report.data.versions import versions

VERSIONS = "versions.json"
HIDDEN = ".thermsim-"  # beginning of the name of a hidden folder; machine, process and the start of the process follow
# In a hidden folder: the folder of new files, and the list of old files to remove. The list appears once all new files
# are written, and shows that the delivery can be finished.
NEW, WHOLE = "new", "whole.json"
# [s] by which two readings of one process's start may differ: some hundredths of a second, at worst a second.
SAME_START_S = 2.0
CASE_FOLDER = "case"  # own folder of the case and its tables, one of which may be called as a result is, e.g. zones.csv


def deliver(
    folder: Path, own: tuple[str, ...], refuse: Callable[[], None], write: Callable[[Path], None]
) -> list[Path]:
    """Write into a hidden folder first, then move every file into its place; returns their paths.

    folder : made if it is not there; foreign files in it stay
    own : names of an earlier study; those that the new one does not have go
    refuse : raises WriteError if the folder must not be written; write : puts the files into a folder

    Raises WriteError: refused, or it cannot be written.
    """
    with as_write_error(folder):
        _take_over(folder)
        refuse()
        with made(folder), work_folder(folder) as work:
            new = work / NEW
            new.mkdir()
            write(new)
            return _move_in(new, folder, work, own)


def try_out(folder: Path, refuse: Callable[[], None]) -> None:
    """Whether `deliver` may write there; leaves nothing behind. Raises WriteError, as it would."""
    with as_write_error(folder):
        _take_over(folder)
        refuse()
        missing = [path for path in (folder, *folder.parents) if not path.exists()]
        with made(folder), work_folder(folder):
            pass
        for path in missing:
            path.rmdir()


def refuse_foreign(folder: Path, case: Case, own: tuple[str, ...]) -> None:
    """No file is replaced that thermsim did not write, and none that the case is read from."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise WriteError(f"{folder} is a file", "name a folder")
    names = (*own, f"{CASE_FOLDER}/case.yaml")
    there = [name for name in names if (folder / name).exists()]
    if there and not _is_ours(folder):
        raise WriteError(
            f"{folder} holds {there[0]}, which thermsim did not write", "choose another folder, or move the file away"
        )
    if case.folder is None:
        return
    written = {(folder / name).resolve() for name in names}
    for name in (*case.tables, Path(case.file).name):
        if (case.folder / name).resolve() in written:
            raise WriteError(f"the case itself reads {case.folder / name}", "choose another folder")


def refuse_edited(folder: Path, case: Case) -> None:
    """A study is replaced unasked by one of the same case only, word for word: a title does not make it the same."""
    kept = folder / CASE_FOLDER / "case.yaml"
    if kept.exists() and case.source_text and kept.read_bytes() != case.source_text.encode("utf-8"):
        raise WriteError(
            f"{folder} holds the result of {case.title} as its file was before, with other numbers or words",
            "choose another folder to hold both side by side, or add --replace",
        )


def write_case(case: Case, folder: Path, text: str | None = None) -> None:
    """case/ with the text of the case (its own unless given), its tables and the log of its load under the names that
    the text gives them, and the versions beside it."""
    there = folder / CASE_FOLDER
    there.mkdir()
    text = case.source_text if text is None else text
    if text:
        (there / "case.yaml").write_text(text, encoding="utf-8", newline="")
    for name, table in case.tables.items():
        path = _beside(there, name)
        original = None if case.folder is None else case.folder / name
        if original is not None and original.is_file():
            shutil.copyfile(original, path)
        else:
            np.savetxt(path, table, fmt="%.17g", delimiter=",")
    log = None if case.warmup is None else case.warmup.log
    if log is not None and case.folder is not None and (case.folder / log).is_file():
        shutil.copyfile(case.folder / log, _beside(there, log))
    (folder / VERSIONS).write_text(json.dumps(versions(), indent=2) + "\n", encoding="utf-8")


def _beside(there: Path, name: str) -> Path:
    """Where a file that the text of a case names is kept."""
    path = (there / name).resolve()
    if not path.is_relative_to(there.resolve()):
        path = there / Path(name).name  # written with `..` or as an absolute path: kept beside the case
    path.parent.mkdir(parents=True, exist_ok=True)
    return path


def _is_ours(folder: Path) -> bool:
    try:
        made_with = json.loads((folder / VERSIONS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(made_with, dict) and "thermsim" in made_with


def _move_in(new: Path, folder: Path, work: Path, own: tuple[str, ...]) -> list[Path]:
    """Move every file into its place; what stood there is set aside first and comes back if a move fails.

    own : names of an earlier result; those that the new one does not have go
    """
    names, old = _names(new), work / "old"
    stale = [Path(name) for name in own if (folder / name).is_file() and Path(name) not in names]
    (work / "noted").write_text(json.dumps([path.as_posix() for path in stale]), encoding="utf-8")
    (work / "noted").replace(work / WHOLE)
    done: list[tuple[Path, Path]] = []
    with made(*(folder / name.parent for name in names)):
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


def _names(new: Path) -> list[Path]:
    return sorted(path.relative_to(new) for path in new.rglob("*") if path.is_file())


def _take_over(folder: Path) -> None:
    """Mend what killed processes have left in a folder: files that were whole get to their places, others go."""
    for work in folder.glob(f"{HIDDEN}*"):
        if not _is_left_over(work.name):
            continue
        if (work / WHOLE).is_file():
            for name in json.loads((work / WHOLE).read_text(encoding="utf-8")):
                (folder / name).unlink(missing_ok=True)
            for path in _names(work / NEW):
                (folder / path).parent.mkdir(parents=True, exist_ok=True)
                (work / NEW / path).replace(folder / path)
        shutil.rmtree(work, ignore_errors=True)


def _owner() -> str:
    """This process, told apart from those of other machines and from a later one that gets the same number."""
    own = psutil.Process()
    return f"{_machine()}-{own.pid}-{round(own.create_time())}"


def _machine() -> str:
    return re.sub(r"[^\w.]", "_", platform.node())


def _is_left_over(name: str) -> bool:
    """Whether the process that a hidden folder is named after has ended; False where that cannot be told."""
    found = re.fullmatch(re.escape(HIDDEN) + r"([\w.]+)-(\d+)-(\d+)-\w+", name)
    if found is None or found[1] != _machine():
        return False
    try:
        return bool(abs(psutil.Process(int(found[2])).create_time() - int(found[3])) > SAME_START_S)
    except psutil.NoSuchProcess:
        return True
    except (psutil.Error, OverflowError):
        return False


def _move(source: Path, target: Path, done: list[tuple[Path, Path]]) -> None:
    done.append((source, target))  # noted before: if Ctrl-C falls between, `target.exists()` tells
    source.replace(target)


@contextmanager
def made(*folders: Path) -> Iterator[None]:
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
def work_folder(folder: Path) -> Iterator[Path]:
    """A hidden folder in the target: there a move is a rename, even where the target is a mount of its own."""
    work = Path(tempfile.mkdtemp(prefix=f"{HIDDEN}{_owner()}-", dir=folder))
    try:
        yield work
    finally:
        shutil.rmtree(work, ignore_errors=True)


@contextmanager
def as_write_error(folder: Path) -> Iterator[None]:
    """What the system refuses is a WriteError with its remedy."""
    try:
        yield
    except OSError as reason:
        said = reason.strerror or str(reason)
        raise WriteError(
            f"{folder} cannot be written: {said}", "choose another folder, or free space and rights there"
        ) from None

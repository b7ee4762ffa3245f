"""Where the case files of the proof lie: beside the sources, or where an installation put them."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

from thermsim.errors import ThermsimError

MARKER = Path("published") / "spreading-quarter.yaml"


def cases_folder(given: Path | None = None) -> Path:
    """The folder that holds `published/`: the one given, else beside the sources, else of the installation.

    Raises ThermsimError where there is none.
    """
    beside = Path(__file__).parents[3] / "cases"
    for folder in [given] if given is not None else [beside, *_installed()]:
        if (folder / MARKER).is_file():
            return folder
    raise ThermsimError(
        f"no case files of the proof in {given or beside}",
        "name the folder `cases` of the sources with --cases",
    )


def _installed() -> list[Path]:
    """Folders of the installation's own list of files that end in the marker."""
    try:
        listed = files("thermsim") or []
    except PackageNotFoundError:
        return []
    ends = MARKER.as_posix()
    return [Path(str(entry.locate())).resolve().parents[1] for entry in listed if entry.as_posix().endswith(ends)]

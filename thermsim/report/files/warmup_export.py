"""A warm-up as files in a folder: all of them appear, or none does and what stood there before still stands."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from thermsim.case.vocabulary.schema import Case
from thermsim.report.data.warmup_result import csv_lines, document, side_by_side, side_by_side_lines
from thermsim.report.figures.warmup_figure import side_by_side_curves, warmup_curves
from thermsim.report.files import delivery
from thermsim.report.files.same_study import refuse_other, write_data

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from typing import Any

    from matplotlib.figure import Figure

    from thermsim.comparison.warm_ups import WarmUps
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
        folder,
        OWN,
        lambda: _refuse(folder, found.case, replace),
        lambda new: _write_all(new, found.case, document(found), csv_lines(found), partial(warmup_curves, found)),
    )


def write_warm_ups(found: WarmUps, folder: Path | str, *, replace: bool = False) -> list[Path]:
    """Write options side by side under the same names as `write_warmup` a single one; returns the paths.

    folder : made if it is not there; foreign files in it stay, an earlier study of the same case and options goes
    replace : also replace a warm-up of something else

    Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    data, lines, draw = side_by_side(found), side_by_side_lines(found), partial(side_by_side_curves, found)
    return delivery.deliver(
        folder,
        OWN,
        lambda: _refuse(folder, found.case, replace, found.names),
        lambda new: _write_all(new, found.case, data, lines, draw),
    )


def check_warmup_target(case: Case, folder: Path | str, replace: bool, names: Sequence[str] = ()) -> None:
    """Whether a warm-up may be written there; leaves nothing behind. Raises WriteError, as writing would.

    names : of base and options where they stand side by side
    """
    delivery.try_out(Path(folder), lambda: _refuse(Path(folder), case, replace, names))


def _write_all(
    folder: Path, case: Case, data: dict[str, Any], lines: Iterable[Sequence[str]], draw: Callable[..., Figure]
) -> None:
    write_data(folder, (RESULT, data), (CURVES, lines))
    for name, log in ((PICTURE, True), (PICTURE_PLAIN, False)):
        draw(log=log).savefig(folder / name)
    delivery.write_case(case, folder)


def _refuse(folder: Path, case: Case, replace: bool, names: Sequence[str] = ()) -> None:
    study = (case.title, list(names) or case.option)
    kind = "names" if names else "option"
    refuse_other(folder, case, OWN, study, lambda there: (there["title"], there[kind]), "warm-up", replace)

"""`thermsim warmup`: how the temperatures of a case rise after its load comes on, and when they have settled."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    MEMORY,
    SECONDS,
    FiniteRange,
    ProgressLine,
    accuracy_option,
    case_of,
    needs_folder,
    out_option,
    replace_option,
    tell,
    tell_files,
    tell_slips,
)
from thermsim.errors import HeatBalanceError, NotConvergedError, NoWayOutError, RunawayError

if TYPE_CHECKING:
    from thermsim.comparison.warm_ups import WarmUps
    from thermsim.warming.outcome import Warmup


@click.command()
@CASE
@click.option(
    "--option",
    "options",
    metavar="NAME",
    multiple=True,
    help="Take this option of the case instead of its base; again for more, side by side with the base.",
)
@click.option("--all-options", is_flag=True, help="All options of the case, side by side with its base.")
@JSON
@click.option(
    "--from",
    "from_s",
    metavar="SECONDS",
    type=SECONDS,
    help="First time; a unit may stand behind it, such as 5ms. (1 ms, or as the case says)",
)
@click.option(
    "--until",
    "until_s",
    metavar="SECONDS",
    type=SECONDS,
    help="Last time, such as 5min. (1000 s, the end of the log, or as the case says)",
)
@click.option(
    "--settled", metavar="KELVIN", type=FiniteRange(min=1e-4, unit="K"),
    help="How near to its end an answer is called settled. (1 K, or as the case says)",
)  # fmt: skip
@click.option("--certain", is_flag=True, help="Tell the bound of the time doubt too that never fails.")
@click.option(
    "--load", "log", metavar="FILE", type=click.Path(path_type=Path),
    help="Log of power over time (CSV): `time_s`, and `package_W` or a column of watts for each zone; instead of the "
    "load of the case.",
)  # fmt: skip
@click.option("--points", is_flag=True, help="Lines of the log are points that straight lines join, and no averages.")
@accuracy_option("Refine until mesh and time doubt are below, at all times.")
@MEMORY
@out_option("Write curves, result and pictures.")
@replace_option("Let DIR lose the warm-up of another case or option.")
def warmup(
    case_file: Path,
    options: tuple[str, ...],
    all_options: bool,
    as_json: bool,
    from_s: float | None,
    until_s: float | None,
    settled: float | None,
    certain: bool,
    log: Path | None,
    points: bool,
    accuracy: float | None,
    memory: float | None,
    folder: Path | None,
    replace: bool,
) -> None:
    """Follow the temperatures of a case after its heat comes on at once, or under a load, each with its doubts."""
    needs_folder(folder, replace=replace)
    if all_options and options:
        raise click.UsageError("--all-options takes every option: leave out --option, or name the few you want")
    wanted = list(dict.fromkeys(options))
    many = all_options or len(wanted) > 1
    case = case_of(case_file, wanted[0] if wanted and not many else None)
    names: tuple[str, ...] = ()
    if many:
        from thermsim.comparison.choice import chosen

        names, _ = chosen(case, None, wanted or None)
    if folder is not None:
        from thermsim.report.files.warmup_export import check_warmup_target

        check_warmup_target(case, folder, replace, names)
    if points and log is None and (case.warmup is None or case.warmup.log is None):
        raise click.UsageError("--points says what the lines of a log are: give --load, or `log` in the case")
    given: dict[str, Any] = {"settled_K": settled, "accuracy_K": accuracy, "memory_GB": memory, "certain": certain}
    given |= {"load": log, "points": True if points else None}
    found: Warmup | WarmUps
    try:
        with ProgressLine(quiet=as_json) as progress:
            if many:
                from thermsim.comparison.warm_ups import warm_ups

                found = warm_ups(case, from_s, until_s, options=names[1:], progress=progress, **given)
            else:
                from thermsim.warming.warmup import warmup

                found = warmup(case, from_s, until_s, progress=progress, **given)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files import warmup_export

        write: Callable[..., list[Path]] = warmup_export.write_warm_ups if many else warmup_export.write_warmup
        written = write(found, folder, replace=replace)
    from thermsim.report.data import warmup_result

    tell(found, warmup_result.side_by_side if many else warmup_result.document, as_json)
    if folder is not None:
        tell_files(written, folder, as_json)

"""`thermsim predict`: the temperatures of one case, each with its doubts of mesh and inputs."""

from __future__ import annotations

from pathlib import Path

import click

from thermsim.commands.terminal import (
    CASE,
    JSON,
    MEMORY,
    OPTION,
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


@click.command()
@CASE
@OPTION
@JSON
@out_option("Write results, field and pictures.")
@accuracy_option("Refine until the mesh doubt is below.")
@MEMORY
@click.option(
    "--samples", metavar="COUNT", type=click.IntRange(min=1), help="Solve so many samples of the tolerances in full."
)
@replace_option("Let DIR lose the result of another case or option.")
@click.option("--volume", is_flag=True, help="Write field.vtr however large it is.")
def predict(
    case_file: Path,
    option: str | None,
    as_json: bool,
    folder: Path | None,
    accuracy: float | None,
    memory: float | None,
    samples: int | None,
    replace: bool,
    volume: bool,
) -> None:
    """Predict the temperatures of a case, each with its doubt of mesh and of inputs, and the heat balance."""
    from thermsim.doubt.inputs import with_input_doubt
    from thermsim.mesh.predict import predict

    resistances = None
    needs_folder(folder, replace=replace, volume=volume)
    case = case_of(case_file, option)
    if folder is not None:
        from thermsim.report.files.export import check_target

        check_target(case, folder, replace=replace)
    try:
        with ProgressLine(quiet=as_json) as progress:
            if folder is None:
                prediction = predict(case, accuracy_K=accuracy, memory_GB=memory, progress=progress)
            else:
                from thermsim.nearby.superposition import with_resistances

                prediction, resistances = with_resistances(
                    case, accuracy_K=accuracy, memory_GB=memory, progress=progress
                )
            prediction = with_input_doubt(prediction, samples=samples, progress=progress)
    except (NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError):
        tell_slips(case)
        raise
    written: list[Path] = []
    if folder is not None:  # before a line is printed: whoever reads a pipe may leave early
        from thermsim.report.files.export import VOLUME, write

        written = write(prediction, folder, resistances=resistances, replace=replace, volume=True if volume else None)
    from thermsim.report.data.result import result

    tell(prediction, result, as_json)
    if folder is not None:
        if resistances is None and prediction.field.model.zones:
            click.echo(
                "resistances.csv is left out: too many zones, or no room for them in the memory allowed", err=True
            )
        tell_files(written, folder, as_json)
        if folder / VOLUME not in written:
            click.echo(f"{VOLUME} is left out: {prediction.steps[-1].cells:,} cells; --volume writes it", err=as_json)

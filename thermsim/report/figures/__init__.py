"""The figures of a prediction, by name; each works without a display and takes axes to draw on if it is given any."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from thermsim.errors import WriteError
from thermsim.report.figures.bar_figures import moved
from thermsim.report.figures.face_figure import active_face
from thermsim.report.figures.ladder_figure import ladder_steps
from thermsim.report.figures.mesh_figure import mesh
from thermsim.report.figures.section_figure import section
from thermsim.report.figures.stack_figure import stack

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from thermsim.mesh.prediction import Prediction

__all__ = ["FILES", "active_face", "all_figures", "ladder_steps", "mesh", "moved", "save_all", "section", "stack"]

FILES = ("stack.png", "active-face.png", "section.png", "ladder.png", "mesh.png", "moved.png")


def all_figures(prediction: Prediction) -> dict[str, Figure]:
    """Every figure that a prediction has, by its file name; without heat there is no ladder, without
    tolerances nothing that they move."""
    figures = {
        "stack.png": stack(prediction.case),
        "active-face.png": active_face(prediction),
        "section.png": section(prediction),
    }
    if prediction.ladder is not None:
        figures["ladder.png"] = ladder_steps(prediction)
    figures["mesh.png"] = mesh(prediction)
    if prediction.inputs is not None and prediction.inputs.moved:
        figures["moved.png"] = moved(prediction)
    return figures


def save_all(prediction: Prediction, folder: Path | str) -> list[Path]:
    """Draw every figure into an existing folder as PNG and return their paths.

    Raises WriteError if a file cannot be written.
    """
    from thermsim.report.drawing.style import DOTS_PER_INCH

    paths = []
    for name, figure in all_figures(prediction).items():
        path = Path(folder) / name
        try:
            figure.savefig(path, dpi=DOTS_PER_INCH)
        except OSError as reason:
            said = reason.strerror or str(reason)
            raise WriteError(f"{path} cannot be written: {said}", "choose another folder") from None
        paths.append(path)
    return paths

"""thermsim held against what is published, by the same way as a user's case: file, `predict`, result document.

`prove` runs every case of `references.CASES` (see there for the data), the samples of statistics, and a
control that has to fail: a reading of first order must not pass the gate for the second.
"""

from __future__ import annotations

import math
import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from thermsim.case.load import read_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import RunawayError, ThermsimError
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.progress import Progress
from thermsim.proof.run.compared_row import Line, observed_order
from thermsim.proof.run.control import Control, control
from thermsim.proof.run.samples import SAMPLES
from thermsim.proof.run.scatter import SCATTER
from thermsim.proof.table.references import CASES
from thermsim.proof.table.row import EXACT, Published, Row, value_of
from thermsim.readout.observable import find
from thermsim.report.data.result import result
from thermsim.response.step_response import step_response
from thermsim.warming.warmup import warmup

CELLS_IN_TIME = 400  # of the first grid: heat of these cases goes one way
REPLAYED, FINEST = 4001, 0.01  # times of a replay; share of the first time asked that its step response begins at
# What a refusal tells, with its number.
POWER_TOLD, TIME_TOLD = r"up to about ([0-9.]+) W", r"passes [0-9.]+ C after ([0-9.]+)"


@dataclass(frozen=True)
class Proof:
    """All lines, the control, and how long it took [s]."""

    lines: tuple[Line, ...]
    control: Control
    seconds: float

    @property
    def holds(self) -> bool:
        """Every line within its tolerance, and the control refused as it must be."""
        return all(line.verdict != "OUTSIDE" for line in self.lines) and self.control.works


def prove(folder: Path, progress: Progress | None = None) -> Proof:
    """Hold this installation against every published reference.

    Parameters
    ----------
    folder : of the cases, see `shipped.cases_folder`
    progress : called with a line of words before each case

    Raises
    ------
    ThermsimError : a case that cannot be read or solved at all
    """
    start = time.perf_counter()
    lines: list[Line] = []
    for number, published in enumerate(CASES):
        if progress is not None:
            progress(f"{100 * number / len(CASES):.0f} %, {published.title}")
        lines += lines_of(published, folder)
    return Proof((*lines, *_samples()), control(folder), time.perf_counter() - start)


def lines_of(published: Published, folder: Path) -> list[Line]:
    """Run one case file and read its rows off the result."""
    case = read_case(folder / published.file)
    if published.option is not None:
        case = with_option(case, published.option)
    if published.expects == "runaway":
        until = max((row.at_s for row in published.rows if row.at_s is not None), default=None)
        told = _refusal(lambda: predict(case) if until is None else _warmed(case, [FINEST * until, until]))
        return [_refused(published, row, told) for row in published.rows]
    if published.rows[0].at_s is not None:
        return _followed(published, case)
    prediction = predict(case)
    document = result(prediction)
    return [_line(published, row, prediction, document) for row in published.rows]


def _followed(published: Published, case: Case) -> list[Line]:
    """The lines of a case in time, all from one warm-up, or from one step response that is replayed."""
    times = sorted({row.at_s for row in published.rows if row.at_s is not None})
    read = _replayed(case, times, published.coolant_C) if published.coolant_C else _warmed(case, times)
    lines = []
    for row in published.rows:
        assert row.at_s is not None  # in time all rows are
        value, doubt, held = read(row.asked, row.at_s)
        reference = value_of(row.reference)
        lines.append(
            Line(
                published.title, published.file, published.option, published.source, row.known, row.quantity, row.unit,
                reference, _scaled(row, value), row.width(row.within, reference),
                None if row.excellent is None else row.width(row.excellent, reference),
                doubt / abs(row.per), note=row.note, differs=row.differs, accuracy_held=held,
            )
        )  # fmt: skip
    return lines


Read = Callable[[tuple[str, ...], float], tuple[float, float, bool]]  # value, doubt, and whether the accuracy is held


def _warmed(case: Case, times: list[float]) -> Read:
    """By a warm-up."""
    found = warmup(case, times[0], times[-1], also_s=times[1:-1], first_cells=CELLS_IN_TIME)

    def read(asked: tuple[str, ...], at_s: float) -> tuple[float, float, bool]:
        curve = found.curves[find(found.curves, asked)]
        at = int(np.argmin(np.abs(found.times_s - at_s)))
        return float(curve.value[at]), float(curve.half_width[at]), found.status == "accuracy held"

    return read


def _replayed(case: Case, times: list[float], coolant_C: Callable[[float], float]) -> Read:
    """By a step response, replayed with the coolant as it is over time and no load."""
    found = step_response(case, FINEST * times[0], times[-1], first_cells=CELLS_IN_TIME)
    spread = np.linspace(0.0, times[-1], REPLAYED)
    steps = np.unique(np.concatenate([spread, times]))
    coolant = [coolant_C(float(time)) for time in steps]
    none = np.zeros((len(steps), len(found.inputs)))
    values, doubts = found.replay(steps, none, "line", coolant)

    def read(asked: tuple[str, ...], at_s: float) -> tuple[float, float, bool]:
        one, at = find(found.outputs, asked), int(np.searchsorted(steps, at_s))
        column = found.outputs.index(one)
        return float(values[at, column]), float(doubts[at, column]), True

    return read


def told(document: dict[str, Any], asked: tuple[str, ...]) -> tuple[float, float | None]:
    """An answer of a result document and its mesh doubt."""
    kind, name, *which = asked
    if kind == "bounds":
        return document["bounds"][name], None
    if kind == "probe":
        probe = _named(document["probes"], "probe", name)
        return probe["temperature_C"], probe["mesh_doubt_K"]
    if kind == "flow":
        flow = _named(document["flows"], "environment", name)
        return flow["heat_W"], flow["mesh_doubt_W"]
    zone = _named(document["zones"], "zone", name)
    keys = {"mean": ("mean_C", "mesh_doubt_K"), "highest": ("highest_C", "highest_mesh_doubt_K")}
    value, doubt = keys.get(which[0], ("power_W", ""))
    return zone[value], zone.get(doubt)


def _named(entries: list[dict[str, Any]], key: str, name: str) -> dict[str, Any]:
    return next(entry for entry in entries if entry[key] == name)


def _line(published: Published, row: Row, prediction: Prediction, document: dict[str, Any]) -> Line:
    asked, reference = row.asked, value_of(row.reference)
    if row.points:
        asked, reference = max(
            ((question, value_of(at)) for question, at in row.points),
            key=lambda pair: abs(_scaled(row, told(document, pair[0])[0]) - pair[1]),
        )
    value, doubt = told(document, asked)
    sizes, errors, noise = _errors(row, asked, reference, prediction)
    where = f" ({asked[1]})" if row.points else ""
    found = _scaled(row, value)
    return Line(
        published.title, published.file, published.option, published.source, row.known, row.quantity + where, row.unit,
        reference, found,
        row.width(row.within, reference), None if row.excellent is None else row.width(row.excellent, reference),
        None if doubt is None else doubt / abs(row.per), sizes, errors, noise, observed_order(sizes, errors, noise),
        row.order, row.note, row.differs, prediction.status == "accuracy held",
    )  # fmt: skip


def _scaled(row: Row, value: float) -> float:
    return (value - row.less) / row.per


def _errors(
    row: Row, asked: tuple[str, ...], reference: float, prediction: Prediction
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Cell widths, true errors and the solver's own of every grid; empty if only the last is known, or no true error.

    The algebraic error of a flow is taken to have in W the size that it has in K.
    """
    if asked[0] == "bounds" or row.known not in EXACT or row.differs:
        return (), (), ()
    question = asked
    if asked[0] == "flow":
        labels = [cooling.environment or cooling.face for cooling in prediction.case.cooling]
        question = ("flow", str(labels.index(asked[1])))
    steps = prediction.steps
    return (
        tuple(step.size for step in steps),
        tuple(_scaled(row, step.answers[question]) - reference for step in steps),
        tuple(step.error_K / abs(row.per) for step in steps),
    )


def _refusal(attempt: Callable[[], object]) -> str:
    """The message of a runaway; empty if an answer was given."""
    try:
        attempt()
    except RunawayError as refused:
        return str(refused)
    return ""


def _refused(published: Published, row: Row, message: str) -> Line:
    """A refusal, with the power that it says still stands, or when it is too hot; nan, outside every tolerance, if
    there was none."""
    limit = re.search(POWER_TOLD if row.at_s is None else TIME_TOLD, message)
    reference = value_of(row.reference)
    return Line(
        published.title, published.file, published.option, published.source, row.known, row.quantity, row.unit,
        reference, float(limit.group(1)) if limit else math.nan, row.width(row.within, reference),
        None, note=row.note, differs=row.differs, is_refusal=True,
    )  # fmt: skip


def _samples() -> list[Line]:
    lines = []
    for sample in (*SAMPLES, *SCATTER):
        try:
            found = sample.found()
        except ThermsimError:
            found = math.nan
        lines.append(
            Line(sample.title, "", None, sample.source, sample.known, sample.quantity, sample.unit,
                 sample.reference, found, sample.within, sample.excellent)
        )  # fmt: skip
    return lines

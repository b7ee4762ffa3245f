"""A sweep as blocks of text, as a document for programs, and as lines of a CSV file."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from thermsim.readout.materials_held import worst_of
from thermsim.readout.observable import Observable
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.numbers import UNKNOWN, fixed, with_doubt
from thermsim.rounding import decimals_for, doubt_in_words

if TYPE_CHECKING:
    from thermsim.sweeps.lowest import Valley
    from thermsim.sweeps.sweep import Point, Sweep

FINER, FINER_OF_TWO = 9, 5  # values of each range that a sweep of a second valley is told with
MOST_COLUMNS = 9  # values of one range in a table on a terminal; the CSV file has every point
MESH_ONLY = "+- is the mesh doubt. Tolerances of the inputs are not in it."
DIFFERENCES = (
    "What can be told apart is judged by the doubt of the difference: on grids of one topology most of the mesh "
    "error is the same at every point, and cancels."
)


def title_words(found: Sweep) -> str:
    """`die.thickness_mm from 0.3 to 0.8, height kept by lid`."""
    over = " and ".join(f"{one.path} from {one.values[0]:.6g} to {one.values[-1]:.6g}" for one in found.ranges)
    return over if found.same_height is None else f"{over}, height kept by {found.same_height}"


def lowest_words(found: Sweep, question: Observable) -> str:
    """Where a temperature is lowest, what cannot be told apart from that, and whether the range may be too short."""
    low = found.lowest(question)
    point = found.points[low.number]
    doubt = point.doubts[question]
    at = " and ".join(one.at(value) for one, value in zip(found.ranges, point.values, strict=True))
    words = [f"{question} is lowest at {at}: {with_doubt(doubt.value, doubt.half_width)} C."]
    solved = sum(1 for one in found.points if one.doubts)
    if solved == 1:
        words.append("No other point has an answer.")
    elif len(low.alike) == solved:
        words.append("No point can be told apart from it: what is varied does less than the mesh doubt.")
    elif len(low.alike) > 1:
        spans = zip(found.ranges, low.within, strict=True)
        parts = [f"{one.path} {_span(*span)}" for one, span in spans]
        words.append(f"Within mesh doubt the same: {', '.join(parts)}.")
    if low.between is not None and None not in low.between:
        start = "In this valley" if low.valleys else "So"
        words.append(f"{start} the optimum lies between {low.between[0]:.6g} and {low.between[1]:.6g}.")
    words += [_valley_words(found, one, number) for number, one in enumerate(low.valleys)]
    words += list(_end_words(found, question))
    if low.beside_gap and solved > 1:
        words.append("A point beside it has no answer.")
    return " ".join(words)


def _span(low: float, high: float) -> str:
    return f"{low:.6g}" if low == high else f"{low:.6g} to {high:.6g}"


def _valley_words(found: Sweep, valley: Valley, number: int) -> str:
    """`A second valley lies between 3 and 7 and may be lower: sweep there too, ...`."""
    several = len(found.ranges) > 1
    spans = zip(found.ranges, valley.within, strict=True)
    lies = " and ".join(f"{f'{one.path} ' * several}between {low:.6g} and {high:.6g}" for one, (low, high) in spans)
    which = "A second" if number == 0 else "Another"
    return f"{which} valley lies {lies} and may be lower: sweep there too, `{there(found, valley)}`."


def there(found: Sweep, valley: Valley) -> str:
    """The options of a sweep of one valley, as they are typed."""
    count = FINER if len(found.ranges) == 1 else FINER_OF_TWO
    spans = zip(found.ranges, valley.within, strict=True)
    options = [f"--vary {shlex.quote(one.path)} {low:.6g} {high:.6g} {count}" for one, (low, high) in spans]
    return " ".join([*options, *["--log"] * any(one.is_log for one in found.ranges)])


def _end_words(found: Sweep, question: Observable) -> Iterator[str]:
    low = found.lowest(question)
    at_end = [one.path for one, is_there in zip(found.ranges, low.at_end, strict=True) if is_there]
    if at_end:
        yield f"That is at the end of the range of {' and '.join(at_end)}: it may be lower beyond."
    for one, end, is_there in zip(found.ranges, low.ends, low.at_end, strict=True):
        if end in ("lowest", "highest") and not is_there:
            value = one.values[0] if end == "lowest" else one.values[-1]
            yield f"These reach the end of the range of {one.path} ({value:.6g}): the optimum may lie beyond."


def sweep_blocks(found: Sweep) -> list[Block]:
    """What is lowest, the points as a list or as one table a temperature, what failed, and remarks."""
    name = found.case.title if found.case.option is None else f"{found.case.title}, with: {found.case.option}"
    head = Block(f"{name}: {title_words(found)}", lines=tuple(lowest_words(found, one) for one in found.questions))
    tables = [_list(found)] if len(found.ranges) == 1 else [_square(found, one) for one in found.questions]
    remarks = [*remarks_of(found), *failure_words(found)]
    return [head, *tables, Block("Remarks", notes=(MESH_ONLY, DIFFERENCES, *remarks, _grids(found)))]


def _list(found: Sweep) -> Block:
    columns = [Column(_heading(found.ranges[0].path))]
    if found.same_height is not None:
        columns.append(Column(_heading(f"{found.same_height}.thickness_mm")))
    columns += [Column(f"{question} [C]") for question in found.questions]
    rows = tuple(tuple(_cells(found, point)) for point in found.points)
    return Block("Points", columns=tuple(columns), rows=rows)


def _cells(found: Sweep, point: Point) -> Iterator[str]:
    yield f"{point.values[0]:.6g}"
    if found.same_height is not None:
        yield UNKNOWN if point.made_up_mm is None else f"{point.made_up_mm:.6g}"
    for question in found.questions:
        doubt = point.doubts.get(question)
        yield UNKNOWN if doubt is None else with_doubt(doubt.value, doubt.half_width)


def _heading(path: str) -> str:
    """The owner and its number as two words; `size_mm.0` stays together."""
    end = path.find(".size_mm") if ".size_mm" in path else path.rfind(".")
    return path if end < 0 else f"{path[:end]} {path[end + 1 :]}"


def _square(found: Sweep, question: Observable) -> Block:
    """One temperature over both ranges, the longer one downwards."""
    values, halves = found.values(question), found.half_widths(question)
    down, across = found.ranges
    if len(across.values) > len(down.values):
        down, across, values, halves = across, down, values.T, halves.T
    every = -(-len(across.values) // MOST_COLUMNS)
    columns = [Column(_heading(down.path)), *(Column(f"{value:.6g}") for value in across.values[::every])]
    decimals = decimals_for(found.widest_K)
    rows = []
    for value, line in zip(down.values, values, strict=True):
        cells = [UNKNOWN if number != number else fixed(number, f".{decimals}f") for number in line[::every]]
        rows.append((f"{value:.6g}", *cells))
    widest = max(half for half in halves.ravel().tolist() if half == half)
    notes = [f"Across: {across.path}. Mesh doubt of each +- {doubt_in_words(widest)} K at most."]
    if every > 1:
        notes.append(f"Every {every}. value of {across.path} is shown; all are in the CSV file (--out) and in --json.")
    return Block(f"{question} [C]", columns=tuple(columns), rows=tuple(rows), notes=tuple(notes))


def failure_words(found: Sweep) -> list[str]:
    """Points without an answer, by reason."""
    first = {point.kind: point.failure for point in reversed(found.points) if point.kind is not None}
    lines = []
    for kind, reason in first.items():
        failed = [point.values for point in found.points if point.kind == kind]
        spans = [
            f"{one.path} {_span(min(values), max(values))}"
            for one, values in zip(found.ranges, zip(*failed, strict=True), strict=True)
        ]
        share = f"{len(failed)} of {len(found.points)} points"
        lines.append(f"No answer at {share}, {kind} ({', '.join(spans)}); the first: {reason}.")
    return lines


def remarks_of(found: Sweep) -> list[str]:
    """What must be said beside the numbers."""
    lines = []
    if not found.accuracy_held:
        over = sum(
            1 for one in found.points if any(doubt.half_width > found.accuracy_K for doubt in one.doubts.values())
        )
        lines.append(
            f"Accuracy not held: at {over} of {len(found.points)} points a mesh doubt is above the "
            f"{found.accuracy_K:g} K asked for, +- {doubt_in_words(found.widest_K)} K at most."
        )
    for worst in worst_of(one for point in found.points for one in point.not_held):
        count = sum(any(one.key == worst.key for one in point.not_held) for point in found.points)
        lines.append(f"WARNING: at {count} of {len(found.points)} points {worst.words}.")
    sized = {one.path.split(".size_mm")[0].removeprefix("layers.") for one in found.ranges if ".size_mm" in one.path}
    for heat in found.case.heat:
        if heat.in_ in sized:
            sized_with_it = [f"zone {zone.zone!r}" for zone in heat.zones if zone.corner_mm is None]
            sized_with_it += ["its power map"] if heat.map is not None else []
            lines += [f"{what} is the whole of {heat.in_!r} and changes its size with it." for what in sized_with_it]
    return lines


def _grids(found: Sweep) -> str:
    cells = f"{found.cells:,}".replace(",", " ")
    return (
        f"{len(found.points)} points, each on {found.grids} grids of up to about {cells} cells, {found.seconds:.0f} s."
    )


def document(found: Sweep) -> dict[str, Any]:
    """Everything as plain mappings and lists, ready for JSON; null stands in gaps."""
    return {
        "title": found.case.title,
        "option": found.case.option,
        "varied": [
            {
                "path": one.path,
                "unit": one.unit,
                "typed": one.typed,
                "spacing": "even ratios" if one.is_log else "even steps",
                "values": list(one.values),
            }
            for one in found.ranges
        ],
        "same_height_by": found.same_height,
        "watched": [str(question) for question in found.questions],
        "points": [_point(found, point) for point in found.points],
        "lowest": [_lowest(found, question) for question in found.questions],
        "accuracy_K": found.accuracy_K,
        "accuracy_held": found.accuracy_held,
        "widest_mesh_doubt_K": found.widest_K,
        "cells": found.cells,
        "grids": found.grids,
        "remarks": [MESH_ONLY, DIFFERENCES, *remarks_of(found), *failure_words(found)],
    }


def _point(found: Sweep, point: Point) -> dict[str, Any]:
    return {
        "at": dict(zip((one.path for one in found.ranges), point.values, strict=True)),
        "made_up_mm": point.made_up_mm,
        "temperatures": [
            {"of": str(question), "temperature_C": doubt.value, "mesh_doubt_K": doubt.half_width}
            for question, doubt in point.doubts.items()
        ],
        "failure": point.failure,
        "kind_of_failure": point.kind,
        "not_held": [one.words for one in point.not_held],
    }


def _lowest(found: Sweep, question: Observable) -> dict[str, Any]:
    low = found.lowest(question)
    point = found.points[low.number]
    paths = [one.path for one in found.ranges]
    return {
        "of": str(question),
        "at": dict(zip(paths, point.values, strict=True)),
        "temperature_C": point.doubts[question].value,
        "mesh_doubt_K": point.doubts[question].half_width,
        "within": {path: list(span) for path, span in zip(paths, low.within, strict=True)},
        "between": None if low.between is None else list(low.between),
        "points_alike": len(low.alike),
        "at_end": [path for path, is_there in zip(paths, low.at_end, strict=True) if is_there],
        "beside_gap": low.beside_gap,
        "other_valleys": [
            {
                "at": dict(zip(paths, found.points[one.number].values, strict=True)),
                "within": {path: list(span) for path, span in zip(paths, one.within, strict=True)},
                "sweep_there": there(found, one),
            }
            for one in low.valleys
        ],
        "words": lowest_words(found, question),
    }


def csv_lines(found: Sweep) -> Iterator[list[str]]:
    """A heading and one line a point, with all digits; empty cells in gaps."""
    heading = [one.path for one in found.ranges]
    if found.same_height is not None:
        heading.append(f"{found.same_height}.thickness_mm")
    for question in found.questions:
        heading += [f"{question}: temperature_C", f"{question}: mesh_doubt_K"]
    yield [*heading, "failure"]
    for point in found.points:
        line = [repr(value) for value in point.values]
        if found.same_height is not None:
            line.append("" if point.made_up_mm is None else repr(point.made_up_mm))
        for question in found.questions:
            doubt = point.doubts.get(question)
            line += ["", ""] if doubt is None else [repr(doubt.value), repr(doubt.half_width)]
        yield [*line, point.failure or ""]

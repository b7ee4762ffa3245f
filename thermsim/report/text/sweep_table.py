"""A sweep as blocks of text, as a document for programs, and as lines of a CSV file."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from thermsim.mesh.input_doubt import Band
from thermsim.readout.materials_held import worst_of
from thermsim.readout.observable import Observable
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.input_doubt import AS_IF_EXACT, band_cells, between, ends_of, exact_words, swing
from thermsim.report.words.numbers import UNKNOWN, fixed, with_doubt
from thermsim.rounding import decimals_for, doubt_in_words, times_in

if TYPE_CHECKING:
    from thermsim.sweeps.lowest import Valley
    from thermsim.sweeps.sweep import Point, Sweep

FINER, FINER_OF_TWO = 9, 5  # values of each range that a sweep of a second valley is told with
MOST_COLUMNS = 9  # values of one range in a table on a terminal; the CSV file has every point
INPUTS_K = "inputs [K]"
ENDS = ("low", "high", "both_low", "both_high")  # of a band: by the inputs, and by inputs and mesh together
BANDS = ("inputs_low_C", "inputs_high_C", "both_low_C", "both_high_C")
MESH = "+- is the mesh doubt: what finer grids may still change."
MESH_DIFFERENCES = (
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
    at = " and ".join(one.at(value) for one, value in zip(found.ranges, point.values, strict=True))
    words = [f"{question} is lowest at {at}: {_told(found, point, question)}."]
    solved = sum(1 for one in found.points if one.doubts)
    if solved == 1:
        words.append("No other point has an answer.")
    elif len(low.alike) == solved:
        does = "does less than the mesh doubt" if found.all_exact else "does less than mesh and tolerances leave open"
        words.append(f"No point can be told apart from it: what is varied {does}.")
    elif len(low.alike) > 1:
        spans = zip(found.ranges, low.within, strict=True)
        parts = [f"{one.path} {_span(*span)}" for one, span in spans]
        words.append(f"{within_words(found)} the same: {', '.join(parts)}.")
    if low.between is not None and None not in low.between:
        start = "In this valley" if low.valleys else "So"
        words.append(f"{start} the optimum lies between {low.between[0]:.6g} and {low.between[1]:.6g}.")
    words += [_valley_words(found, one, number) for number, one in enumerate(low.valleys)]
    words += list(_end_words(found, question))
    if low.beside_gap and solved > 1:
        words.append("A point beside it has no answer.")
    return " ".join(words)


def within_words(found: Sweep) -> str:
    """Within what points are the same as the lowest."""
    return "Within mesh doubt" if found.all_exact else "Within the doubts of mesh and inputs"


def _told(found: Sweep, point: Point, question: Observable) -> str:
    """`89.2 +- 0.3 C by the mesh, 9 times in 10 between 84 and 95 C`"""
    doubt = point.doubts[question]
    told = f"{with_doubt(doubt.value, doubt.half_width)} C"
    if point.inputs is None:
        return f"{told} {AS_IF_EXACT}"
    words, _ = between(doubt.value, ends_of(point.inputs.bands[question]), found.inputs.coverage)
    return f"{told} by the mesh, {words} C"


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
    if len(found.ranges) > 1:
        tables = [_square(found, one) for one in found.questions]
    elif found.all_exact:
        tables = [_list(found, found.questions)]
    else:
        tables = [_list(found, [one]) for one in found.questions]
    remarks = (*doubt_words(found), *remarks_of(found), *failure_words(found), _grids(found))
    return [head, *tables, Block("Remarks", notes=remarks)]


def doubt_words(found: Sweep) -> list[str]:
    """What the doubts hold, how points are told apart, and what is taken as exact."""
    exact = [words for words in [exact_words(list(found.inputs.exact))] if words]
    if found.all_exact:
        return [MESH, MESH_DIFFERENCES, *exact]
    often = times_in(found.inputs.coverage)
    lines = [
        f"{MESH} Inputs: what the tolerances of the case leave, {often}.",
        f"A point is told apart from the lowest where it is warmer {times_in(0.5 * (1.0 + found.inputs.coverage))} by "
        "mesh and tolerances together. Inputs that both have in common move both, and on grids of one topology most "
        "of the mesh error is the same at both: that cancels.",
    ]
    if found.inputs.own:
        lines.append(f"Every point has its own, and shares no part of its tolerance: {', '.join(found.inputs.own)}.")
    together = max((one.inputs.together_K or 0.0 for one in found.points if one.inputs is not None), default=0.0)
    if together:
        lines.append(
            "The inputs act on one another: all at once they move the hottest spot by up to "
            f"{doubt_in_words(together)} K more or less than each for itself, which is counted in roughly."
        )
    return [*lines, *exact]


def _list(found: Sweep, questions: Sequence[Observable]) -> Block:
    columns = [Column(_heading(found.ranges[0].path))]
    if found.same_height is not None:
        columns.append(Column(_heading(f"{found.same_height}.thickness_mm")))
    for question in questions:
        columns.append(Column(f"{question} [C]"))
        if not found.all_exact:
            columns += [Column(INPUTS_K), Column(f"{times_in(found.inputs.coverage)} between [C]")]
    rows = tuple(tuple(_cells(found, point, questions)) for point in found.points)
    return Block("Points", columns=tuple(columns), rows=rows)


def _cells(found: Sweep, point: Point, questions: Sequence[Observable]) -> Iterator[str]:
    yield f"{point.values[0]:.6g}"
    if found.same_height is not None:
        yield UNKNOWN if point.made_up_mm is None else f"{point.made_up_mm:.6g}"
    for question in questions:
        doubt = point.doubts.get(question)
        yield UNKNOWN if doubt is None else with_doubt(doubt.value, doubt.half_width)
        if doubt is not None and point.inputs is not None:
            yield from band_cells(doubt.value, point.inputs.bands[question])
        elif not found.all_exact:
            yield from (UNKNOWN, UNKNOWN)


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
    notes = [
        f"Across: {across.path}. Mesh doubt of each +- {doubt_in_words(widest)} K at most.{_leave(found, question)}"
    ]
    if every > 1:
        notes.append(f"Every {every}. value of {across.path} is shown; all are in the CSV file (--out) and in --json.")
    return Block(f"{question} [C]", columns=tuple(columns), rows=tuple(rows), notes=tuple(notes))


def _leave(found: Sweep, question: Observable) -> str:
    """` Inputs leave -1.9 +2.6 K at most.`"""
    pairs = [(one.doubts[question].value, one.inputs.bands[question]) for one in found.points if one.inputs is not None]
    if not pairs:
        return ""
    ends = (min(band.low - value for value, band in pairs), max(band.high - value for value, band in pairs))
    widest = ends_of(Band(*ends, *ends))
    return f" Inputs leave {swing(0.0, widest)} K at most, {times_in(found.inputs.coverage)}."


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
    lines = list(_tolerance_remarks(found))
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


def _tolerance_remarks(found: Sweep) -> Iterator[str]:
    """What no interval holds."""
    inputs = [one.inputs for one in found.points if one.inputs is not None]
    if running := sum(one.runs_away for one in inputs):
        yield (
            f"WARNING: at {running} of {len(found.points)} points there is no steady state at the hot end of the "
            "tolerances (thermal runaway): no highest temperature can be told there. Narrow the tolerances, lower the "
            "power, or cool better"
        )
    yield from dict.fromkeys(one.left_out for one in inputs if one.left_out)


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
        "coverage": None if found.all_exact else found.inputs.coverage,
        "tolerances_of_each_point": list(found.inputs.own),
        "taken_as_exact": list(found.inputs.exact),
        "cells": found.cells,
        "grids": found.grids,
        "remarks": [*doubt_words(found), *remarks_of(found), *failure_words(found)],
    }


def _point(found: Sweep, point: Point) -> dict[str, Any]:
    return {
        "at": dict(zip((one.path for one in found.ranges), point.values, strict=True)),
        "made_up_mm": point.made_up_mm,
        "temperatures": [_temperature(point, question) for question in point.doubts],
        "failure": point.failure,
        "kind_of_failure": point.kind,
        "not_held": [one.words for one in point.not_held],
    }


def _temperature(point: Point, question: Observable) -> dict[str, Any]:
    doubt = point.doubts[question]
    return {
        "of": str(question),
        "temperature_C": doubt.value,
        "mesh_doubt_K": doubt.half_width,
        "inputs": None if point.inputs is None else ends_of(point.inputs.bands[question]),
    }


def _lowest(found: Sweep, question: Observable) -> dict[str, Any]:
    low = found.lowest(question)
    point = found.points[low.number]
    paths = [one.path for one in found.ranges]
    return {
        **_temperature(point, question),
        "at": dict(zip(paths, point.values, strict=True)),
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
        ends = [] if found.all_exact else BANDS
        heading += [f"{question}: {key}" for key in ("temperature_C", "mesh_doubt_K", *ends)]
    yield [*heading, "failure"]
    for point in found.points:
        line = [repr(value) for value in point.values]
        if found.same_height is not None:
            line.append("" if point.made_up_mm is None else repr(point.made_up_mm))
        for question in found.questions:
            doubt = point.doubts.get(question)
            line += ["", ""] if doubt is None else [repr(doubt.value), repr(doubt.half_width)]
            if not found.all_exact:
                band = {} if point.inputs is None else ends_of(point.inputs.bands[question])
                line += ["" if end is None else repr(end) for end in (band.get(key) for key in ENDS)]
        yield [*line, point.failure or ""]

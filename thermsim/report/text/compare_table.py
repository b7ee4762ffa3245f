"""A comparison as blocks of text for terminal and notebook: verdicts first, then gains, then what to measure next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from thermsim.readout.observable import HOTTEST, WARMEST
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.comparison import (
    BEFORE_OPENING,
    CONTRIBUTIONS_NOTE,
    GRIDS,
    SEEN,
    base_words,
    exact_words,
    grid_share,
    headline_question,
    interval_words,
    is_small_print,
    marks_of,
    mesh_note,
    mesh_words,
    name_of,
    often,
    opens_the_package,
    percent,
    remarks_of,
    scatter_note,
    scatter_words,
    sensitivity_words,
    share_words,
    shown_contributions,
    temperature_cells,
    temperature_heads,
    temperature_words,
    temperatures_note,
    temperatures_of,
    tolerance_words,
    value_words,
    verdict_words,
    warmest_words,
    way_words,
    whose_words,
    worth_note,
    worth_words,
)
from thermsim.report.words.numbers import UNKNOWN, fixed

if TYPE_CHECKING:
    from thermsim.comparison.outcome import Comparison, Gain, OptionResult
    from thermsim.readout.observable import Observable

MOST_INPUTS = 5  # inputs of each option in the table of contributions; result.json has all
ABREAST = 3  # options beside one another in a table of readings; further ones stand in a table below


def comparison_blocks(comparison: Comparison) -> list[Block]:
    """Verdicts, what is not fit, gains, the next measurement, flux bounds, cautions, contributions, readings, grids."""
    blocks = [_verdicts(comparison), *_read_first(comparison), _gains(comparison)]
    blocks += [*_next(comparison), *_flux(comparison), *_cautions(comparison)]
    blocks += [*_contributions(comparison), *_readings(comparison), *_temperatures(comparison)]
    return [*blocks, _made(comparison), *_remarks(comparison)]


def _verdicts(comparison: Comparison) -> Block:
    lines = tuple(line for one in comparison.options for line in (one.option, f"    {verdict_words(one)}"))
    return Block(f"{comparison.case.title}: {_count(len(comparison.options))} against {base_words(comparison)}", lines)


def _count(options: int) -> str:
    return "1 option" if options == 1 else f"{options} options"


def _read_first(comparison: Comparison) -> list[Block]:
    """What makes the verdicts weaker than they look."""
    notes = remarks_of(comparison, grave=True)
    notes += [f"{one.option}: {words}" for one in comparison.options for words in one.unfit]
    notes += [f"{one.option}: {one.ways}" for one in comparison.options if not is_small_print(one)]
    return [Block("Read first", notes=tuple(notes))] if notes else []


def _gains(comparison: Comparison) -> Block:
    question = headline_question(comparison)
    rows = tuple(_gain_row(comparison, one) for one in comparison.options)
    columns = [Column("option", right=False), Column("gain [K]"), Column(f"{often(comparison.coverage)} lie in [K]")]
    columns += [Column(worth_words(comparison)), Column("mesh [K]"), Column("option [C]")]
    columns += [Column("scatter between mounts", right=False)] if comparison.one_mount_K is not None else []
    notes = [
        "Gain: base less option; below zero the option is warmer. Tolerances of inputs and the mesh doubt are in the "
        f"interval. {worth_note(comparison)}",
        scatter_note(comparison),
    ]
    if question == WARMEST:
        moved = [
            f"{one.option}: {words}" for one in comparison.options if "," in (words := warmest_words(comparison, one))
        ]
        notes += [f"The warmest reading moves. {line}." for line in moved]
    at = f", {temperature_words(comparison.options[0].headline.base)} C in the base" if comparison.options else ""
    which = f" ({warmest_words(comparison, comparison.options[0]).split(',')[0]})" if question == WARMEST else ""
    return Block(f"Gain of the {name_of(question)}{which}{at}", (), tuple(columns), rows, tuple(notes))


def _gain_row(comparison: Comparison, one: OptionResult) -> tuple[str, ...]:
    gain, marks = one.headline, marks_of(comparison)
    cells = (
        one.option,
        value_words(gain, *marks),
        interval_words(gain, *marks),
        percent(gain.probability, comparison.samples),
        mesh_words(gain),
        temperature_words(gain.option),
    )
    return cells if comparison.one_mount_K is None else (*cells, scatter_words(comparison, one))


def _next(comparison: Comparison) -> list[Block]:
    """What to measure, for the options that wait for it."""
    lines = tuple(
        f"{one.option}: {one.next_measurement.words}" for one in comparison.options if one.next_measurement is not None
    )
    return [Block("Measure next", lines=lines)] if lines else []


def _flux(comparison: Comparison) -> list[Block]:
    """The check by hand, where it applies; elsewhere one line."""
    held = [one for one in comparison.options if one.flux.low_K is not None and one.flux.high_K is not None]
    rows = tuple(
        (one.option, f"{fixed(one.flux.low_K or 0.0, '.2f')} to {fixed(one.flux.high_K or 0.0, '.2f')}",
         fixed(one.headline.value_K, ".2f"))
        for one in held
    )  # fmt: skip
    notes = tuple(f"{one.option}: {one.flux.words}" for one in comparison.options)
    columns = (Column("option", right=False), Column("by hand [K]"), Column("gain [K]"))
    return [Block("Sanity: change of joint resistance times heat flux", columns=columns, rows=rows, notes=notes)]


def _cautions(comparison: Comparison) -> list[Block]:
    lines = [f"{one.option}: {words}" for one in comparison.options for words in one.cautions]
    if opens_the_package(comparison):
        lines += BEFORE_OPENING
    return [Block("Before a step that cannot be undone", lines=tuple(lines))] if lines else []


def _contributions(comparison: Comparison) -> Iterator[Block]:
    rows: list[tuple[str, ...]] = []
    for one in comparison.options:
        shown = shown_contributions(one, MOST_INPUTS)
        rows += [(one.option, "", "", "", "")] if shown else []
        for each in shown:
            rows.append(
                (
                    f"  {each.path}",
                    share_words(each.share),
                    whose_words(each),
                    tolerance_words(each),
                    sensitivity_words(each),
                )
            )
        if shown and (grid := grid_share(one)) >= SEEN:
            rows.append((f"  {GRIDS}", share_words(grid), "", "", ""))
    if rows:
        columns = (
            Column("input", right=False),
            Column("share"),
            Column("whose", right=False),
            Column("as it is", right=False),
            Column("moves gain by [K]"),
        )
        notes = tuple(filter(None, (CONTRIBUTIONS_NOTE, exact_words(comparison))))
        yield Block("What carries the doubt", columns=columns, rows=tuple(rows), notes=notes)


def _readings(comparison: Comparison) -> Iterator[Block]:
    """Gains of every reading and the hottest spot, a few options beside one another; zones are in the result."""
    for start in range(0, len(comparison.options), ABREAST):
        yield from _readings_of(comparison.options[start : start + ABREAST], comparison)


def _readings_of(options: Sequence[OptionResult], comparison: Comparison) -> Iterator[Block]:
    tables = [{gain.question: gain for gain in one.gains} for one in options]
    headline = headline_question(comparison)
    asked = [
        question
        for question in dict.fromkeys(question for table in tables for question in table)
        if question.kind in ("hottest", "reading") and question != headline
    ]
    if asked:
        rows = tuple(_reading_row(question, tables) for question in asked)
        columns = [
            Column("temperature", right=False),
            Column("base [C]"),
            *(Column(f"{one.option} [K]") for one in options),
        ]
        note = f"In brackets: where {often(comparison.coverage)} gains lie."
        yield Block("Gain of other temperatures", columns=tuple(columns), rows=rows, notes=(note,))


def _reading_row(question: Observable, tables: list[dict[Observable, Gain]]) -> tuple[str, ...]:
    base = next(table[question].base for table in tables if question in table)
    cells = [f"{value_words(table[question])} ({interval_words(table[question])})" if question in table else UNKNOWN
             for table in tables]  # fmt: skip
    return (name_of(question), temperature_words(base), *cells)


def _temperatures(comparison: Comparison) -> Iterator[Block]:
    """The headline temperature and the hottest spot of base and options, with all doubts; the page has all others."""
    asked = dict.fromkeys((headline_question(comparison), HOTTEST))
    rows: list[tuple[str, ...]] = []
    for name, own in temperatures_of(comparison):
        held = [question for question in asked if question in own]
        rows += [(name, "", "", "")] if held else []
        rows += [(f"  {name_of(question)}", *temperature_cells(own[question])) for question in held]
    if rows:
        columns = (Column("temperature", right=False), *map(Column, temperature_heads(comparison.coverage)))
        notes = (temperatures_note(comparison.coverage),)
        yield Block("Temperatures with all their doubts", columns=columns, rows=tuple(rows), notes=notes)


def _made(comparison: Comparison) -> Block:
    agree = [one for one in comparison.options if is_small_print(one)]
    same = ("Sensitivities and samples give the same interval, for every option.",)
    return Block(
        "How it was found",
        notes=(way_words(comparison), *same * (len(agree) == len(comparison.options)), mesh_note(comparison)),
    )


def _remarks(comparison: Comparison) -> Iterator[Block]:
    notes = remarks_of(comparison, grave=False)
    if notes:
        yield Block("Remarks", notes=tuple(notes))

"""Tables of the page of a comparison: a head and rows of plain text; the first cell of a row names it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thermsim.nearby.uncertain_inputs import variables
from thermsim.readout.observable import WARMEST
from thermsim.report.figures.ladder_columns_figure import items
from thermsim.report.words import comparison as words
from thermsim.report.words.comparison import headline_question, name_of, predictions
from thermsim.report.words.input_doubt import NO_BASIS
from thermsim.report.words.numbers import UNKNOWN, fixed, order_in_words
from thermsim.rounding import tolerance, value_told

if TYPE_CHECKING:
    from thermsim.comparison.outcome import Comparison, Gain
    from thermsim.mesh.prediction import MeshStep
    from thermsim.readout.observable import Observable

ABREAST = 4  # options beside one another in a table; further ones stand in a table below
MOST_INPUTS = 8
SHAPES = {"normal": "bell", "even": "even", "triangle": "triangle", "t": "repeats"}


@dataclass(frozen=True)
class Table:
    """head : of every column; rows : cells; left : columns of words, which stand at the left"""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: tuple[int, ...] = (0,)
    name: str = ""


def headline(comparison: Comparison) -> Table:
    """The gain of each option in the temperature that verdicts are about."""
    marks = words.marks_of(comparison)
    head = (
        "option", "verdict", "gain [K]", f"{words.often(comparison.coverage)} lie in [K]",
        f"chance of a gain {words.worth_words(comparison)}", "mesh doubt of the gain [K]", "with the option [C]",
        "against the scatter between mounts",
    )  # fmt: skip
    rows = tuple(
        (
            one.option,
            one.kind,
            words.value_words(one.headline, *marks),
            words.interval_words(one.headline, *marks),
            words.percent(one.headline.probability, comparison.samples),
            words.mesh_words(one.headline),
            words.temperature_words(one.headline.option),
            words.scatter_words(comparison, one),
        )
        for one in comparison.options
    )
    return Table(head, rows, (0, 1, 7))


def flux(comparison: Comparison) -> Table:
    """The gain by hand, from resistances in series, beside the gain told [K]."""
    rows = []
    for one in comparison.options:
        low, high = one.flux.low_K, one.flux.high_K
        by_hand = UNKNOWN if low is None or high is None else f"{fixed(low, '.2f')} to {fixed(high, '.2f')}"
        rows.append((one.option, by_hand, fixed(one.headline.value_K, ".2f"), one.flux.words))
    return Table(("option", "by hand [K]", "gain [K]", "what was taken"), tuple(rows), (0, 3))


def contributions(comparison: Comparison) -> list[Table]:
    """A table for each option whose gain has a doubt from inputs."""
    found = []
    for one in comparison.options:
        rows = [
            (
                each.path,
                words.whose_words(each),
                words.tolerance_words(each),
                words.share_words(each.share),
                words.sensitivity_words(each),
            )
            for each in words.shown_contributions(one, MOST_INPUTS)
        ]
        if rows and (grid := words.grid_share(one)) >= words.SEEN:
            rows.append((words.GRIDS, "", "", words.share_words(grid), ""))
        head = ("input", "whose", "as it is", "share", "moves gain by [K]")
        found += [Table(head, tuple(rows), (0, 1, 2), one.option)] if rows else []
    return found


def others(comparison: Comparison) -> list[Table]:
    """Gains of all other temperatures, a few options beside one another."""
    skipped = headline_question(comparison)
    found = []
    for start in range(0, len(comparison.options), ABREAST):
        options = comparison.options[start : start + ABREAST]
        held = [{gain.question: gain for gain in one.gains} for one in options]
        asked = [question for question in dict.fromkeys(q for own in held for q in own) if question != skipped]
        rows = tuple((name_of(question), *_gains_of(question, held)) for question in asked)
        found += [Table(("temperature", "base [C]", *(f"{one.option} [K]" for one in options)), rows)] if rows else []
    return found


def _gains_of(question: Observable, held: list[dict[Observable, Gain]]) -> list[str]:
    base = next(own[question].base for own in held if question in own)
    cells = [
        f"{words.value_words(own[question])} ({words.interval_words(own[question])})" if question in own else UNKNOWN
        for own in held
    ]
    return [words.temperature_words(base), *cells]


def temperatures(comparison: Comparison) -> list[Table]:
    """Every temperature of the base and of each option with its doubts."""
    head = ("temperature", *words.temperature_heads(comparison.coverage))
    return [
        Table(head, tuple((name_of(one), *words.temperature_cells(told)) for one, told in own.items()), name=name)
        for name, own in words.temperatures_of(comparison)
        if own
    ]


def ladder(comparison: Comparison) -> list[Table]:
    """The numbers of the ladders, the base with a few options beside it; none where there is no ladder."""
    columns = [(name, prediction.ladder) for name, prediction in predictions(comparison)]
    if all(own is None for _, own in columns):
        return []
    rungs = items(columns)
    found = []
    for start in range(1, len(columns), ABREAST):
        shown = [columns[0], *columns[start : start + ABREAST]]
        drops = [{rung.item: rung.drop_K for rung in own.rungs} if own is not None else {} for _, own in shown]
        rows = [(item, *(fixed(own[item], ".2f") if item in own else UNKNOWN for own in drops)) for item in rungs]
        rows.append(("together", *(fixed(sum(own.values()), ".2f") if own else UNKNOWN for own in drops)))
        found.append(Table(("lost in [K]", *(name for name, _ in shown)), tuple(rows)))
    return found


def grids(comparison: Comparison) -> list[Table]:
    """The headline temperature of the base and the gains on every grid, a few options beside one another."""
    question = headline_question(comparison)
    found = []
    for start in range(0, len(comparison.options), ABREAST):
        options = comparison.options[start : start + ABREAST]
        rows = []
        for number, step in enumerate(comparison.base.steps):
            base_C = _on(step, question)
            gains = [base_C - _on(one.prediction.steps[number], question) for one in options]
            cells = f"{step.cells:,}".replace(",", " ")
            rows.append((cells, fixed(base_C, ".3f"), *(fixed(gain, ".3f") for gain in gains)))
        named = [f"gain, {one.option} [K]" for one in options]
        head = ("cells of the base", f"{name_of(question)} of the base [C]", *named)
        found.append(Table(head, tuple(rows)))
    return found


def _on(step: MeshStep, question: Observable) -> float:
    if question != WARMEST:
        return step.answers[question]
    return max(value for one, value in step.answers.items() if one.kind == "reading")


def meshes(comparison: Comparison) -> Table:
    """What the mesh study says of each gain."""
    rows = tuple(
        (one.option, words.mesh_words(one.headline), order_in_words(one.headline.mesh.order),
         one.headline.mesh.note or UNKNOWN, one.prediction.status)
        for one in comparison.options
    )  # fmt: skip
    return Table(("option", "mesh doubt of the gain [K]", "order", "what the grids do", "status"), rows, (0, 2, 3, 4))


def uncertain(comparison: Comparison) -> Table:
    """Every input with a tolerance, of base and options."""
    named = predictions(comparison)
    rows = []
    for one in variables([prediction.case for _, prediction in named], [name for name, _ in named]):
        holders = [name for (name, _), acts in zip(named, one.acts_on, strict=True) if acts]
        holders = ["base" if name == named[0][0] else name for name in holders]
        whose = "all" if len(holders) == len(named) and len(named) > 1 else "; ".join(holders)
        own = one.input
        unit = "times the catalogue" if own.path.startswith("material ") else own.unit
        rows.append(
            (
                own.path,
                whose,
                value_told(own.value, own.plus_minus),
                tolerance(own.plus_minus),
                unit,
                SHAPES[own.shape],
                own.basis or NO_BASIS,
            )
        )
    head = ("input", "held by", "value", "+-", "unit", "how it is spread", "basis")
    return Table(head, tuple(rows), (0, 1, 4, 5, 6))

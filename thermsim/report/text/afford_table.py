"""What a case can afford, as tables for a terminal and as the JSON document of `afford --json`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from thermsim.report.data.versions import thermsim_version
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.input_doubt import AS_IF_EXACT, NO_END, exact_of, exact_words
from thermsim.report.words.numbers import UNKNOWN, fixed, with_doubt
from thermsim.rounding import times_in

if TYPE_CHECKING:
    from thermsim.limits.affordance import Affordance, Afforded, Step

CAUTIONS = (
    "A prediction is no safety limit, and never a reason to bypass thermal shutdown. A raised voltage can damage or "
    "age a chip at any temperature: limits of voltage are the maker's, and none is known here.",
)
NO_CLOCK = (
    "The case gives no clock, so that all power is taken in proportion. For clocks add "
    "`clock: {frequency_GHz: 4.6, voltage_V: 1.18, zones: [names], steps: [{frequency_GHz: 4.7, voltage_V: 1.22}]}`: "
    "powers of these zones (of all, without `zones`) hold at that clock and voltage."
)
RUNS_AWAY = (
    "at the hot end of the tolerances leakage runs away: nothing is told at least from there on. Narrow the "
    "tolerances, or cool better."
)
NO_STEPS = "The clock has no steps, and none are invented: add `steps: [{frequency_GHz: 4.7, voltage_V: 1.22}]` to it."
DYNAMIC = (
    "Power of the clocked zones goes with V^2 f; with an exponential leakage, its share with V alone (common practice, "
    "no source)."
)


def document(found: Affordance) -> dict[str, Any]:
    """Plain mappings, lists, text and finite numbers; null where a number does not exist."""
    clock = found.case.clock
    return {
        "title": found.case.title,
        "thermsim": thermsim_version(),
        "status": "accuracy held" if all(one.accuracy_held for one in found.answers) else "accuracy not held",
        "accuracy_K": found.accuracy_K,
        "clock": None if clock is None else {"frequency_GHz": clock.frequency_GHz, "voltage_V": clock.voltage_V},
        "coverage": found.coverage,
        "taken_as_exact": exact_of([(name_of(one), one.case) for one in found.answers]),
        "remarks": [*_remarks(found), *CAUTIONS],
        "afford": [_answer(one) for one in found.answers],
    }


def _answer(one: Afforded) -> dict[str, Any]:
    power, between = one.power, one.between
    return {
        "option": one.option,
        "limit_C": one.limit_C,
        "power_at_limit_W": None
        if power is None
        else {"value": power.value_W, "mesh_doubt_W": power.mesh_doubt_W, "least_W": power.least_W},
        "share_of_typed": None if power is None else power.share,
        "ends_by": None if power is None else power.ends_by,
        "first_reading": None if power is None else power.reading,
        "steps": [asdict(step) for step in one.steps],
        "affordable": None if one.affordable is None else asdict(one.affordable),
        "between": None if between is None else asdict(between),
        "beyond": one.beyond,
        "least_GHz": one.least_GHz,
        "accuracy_held": one.accuracy_held,
    }


def csv_lines(found: Affordance) -> Iterator[list[str]]:
    """A heading, and for each answer a line of its power at the limit, then one a clock; all digits."""
    yield ["option", "clock_GHz", "voltage_V", "power_W", "mesh_doubt_W", "least_W", "reading", "reading_C",
           "mesh_doubt_K", "reading_low_C", "reading_high_C", "margin_K", "margin_least_K", "verdict"]  # fmt: skip
    for one in found.answers:
        power = one.power
        at_limit = (None,) * 3 if power is None else (power.value_W, power.mesh_doubt_W, power.least_W)
        met = ("", None) if power is None or power.reading is None else (power.reading, one.limit_C)
        ends = "none" if power is None else power.ends_by
        yield [name_of(one), "", "", *map(_digits, at_limit), met[0], _digits(met[1]), *[""] * 5, ends]
        for step in one.steps:
            told = (step.highest_reading_C, step.mesh_doubt_K, step.reading_low_C, step.reading_high_C)
            margins = (step.margin_K, step.margin_least_K)
            clock = (step.frequency_GHz, step.voltage_V, step.power_W)
            yield [name_of(one), *map(_digits, clock), "", "", step.reading or "", *map(_digits, (*told, *margins)),
                   step.verdict]  # fmt: skip


def _digits(value: float | None) -> str:
    return "" if value is None else repr(value)


def affordance_blocks(found: Affordance) -> list[Block]:
    """The power and clock at the limit of every option, the steps of each, and what must be said beside them."""
    blocks = [_powers(found), *([_clocks(found)] if found.case.clock is not None else [])]
    blocks += [_steps(one) for one in found.answers if one.steps]
    return [*blocks, Block("Remarks", notes=(*_remarks(found), *CAUTIONS))]


def name_of(one: Afforded) -> str:
    """An answer by its option, or as the case is without one."""
    return "as it is" if one.option is None else one.option


def _powers(found: Affordance) -> Block:
    limits = dict.fromkeys(f"{one.limit_C:g}" for one in found.answers)
    of_typed = "of clocked power" if found.case.clock is not None and found.case.clock.zones else "of power typed"
    columns = [Column("option", right=False), Column("made at limit [W]"), Column(of_typed)]
    columns += [Column("at least [W]"), Column("first to meet it", right=False)]
    rows = tuple(_power_cells(one) for one in found.answers)
    notes = [f"+- is the mesh doubt; at least: {_left(found)}"]
    made = "Made: all power that is made, leakage at the temperatures found among it. "
    whose = "what is typed of the clocked zones alone; all else keeps its power, and is made too."
    share = (
        f"how much of it meets the limit (the first number): of {whose}"
        if of_typed == "of clocked power"
        else ("how much of all of it meets the limit (the first number).")
    )
    notes.append(f"{made}{of_typed.capitalize()}: {share}")
    notes += [words] if (words := exact_words(exact_of([(name_of(one), one.case) for one in found.answers]))) else []
    title = f"{found.case.title}: what readings of {' and '.join(limits)} C allow"
    return Block(title, columns=tuple(columns), rows=rows, notes=tuple(notes))


def _left(found: Affordance) -> str:
    """What the numbers under `at least` hold."""
    if found.all_exact:
        return f"what the mesh doubt leaves, {AS_IF_EXACT}."
    often = times_in(0.5 * (1.0 + found.coverage))
    return f"what all tolerances and the mesh doubt leave, {often}."


def _clocks(found: Affordance) -> Block:
    headings = ("affordable [GHz]", "limit met at [GHz]", "at least [GHz]")
    rows = tuple((name_of(one), *_clock_cells(one)) for one in found.answers)
    notes = (
        "Affordable: the fastest step, or the clock typed, whose margin is above zero at least. Limit met: along "
        "straight lines of voltage between the steps.",
    )
    return Block("Clock", columns=(Column("option", right=False), *map(Column, headings)), rows=rows, notes=notes)


def _power_cells(one: Afforded) -> tuple[str, ...]:
    power = one.power
    if power is None:
        return (name_of(one), "none", UNKNOWN, UNKNOWN, UNKNOWN)
    least = UNKNOWN if power.least_W is None else fixed(power.least_W, ".1f")
    first = "runaway" if power.reading is None else power.reading
    return (name_of(one), with_doubt(power.value_W, power.mesh_doubt_W, 1), f"{100 * power.share:.1f} %", least, first)


def _clock_cells(one: Afforded) -> tuple[str, ...]:
    best, between = one.affordable, one.between
    affordable = "none" if best is None else f"{best.frequency_GHz:g}"
    least = UNKNOWN if one.least_GHz is None else f"{one.least_GHz:.3f}"
    if between is None:
        only_one = len(one.steps) < 2
        where = {"below the slowest": "below", "above the fastest": "above"}.get(one.beyond or "", "")
        edge = f"{(one.steps[0] if where == 'below' else one.steps[-1]).frequency_GHz:g}"
        return (affordable, UNKNOWN if only_one else f"{where} {edge}", least)
    met = with_doubt(between.frequency_GHz, between.mesh_doubt_GHz)
    return (affordable, f"runaway at {met}" if between.ends_by == "runaway" else met, least)


def _steps(one: Afforded) -> Block:
    headings = ("[GHz]", "[V]", "power [W]", "highest reading [C]")
    columns = [*map(Column, headings), Column("of", right=False), Column("margin [K]"), Column("at least [K]")]
    rows = tuple(_step_row(step) for step in one.steps)
    return Block(
        f"Clocks, {name_of(one)}", columns=(*columns, Column("affordable", right=False)), rows=rows, notes=_notes(one)
    )


def _step_row(step: Step) -> tuple[str, ...]:
    clock = (f"{step.frequency_GHz:g}", f"{step.voltage_V:g}")
    verdict = f"{step.verdict} (typed)" if step.is_typed else step.verdict
    if step.power_W is None or step.highest_reading_C is None or step.margin_K is None:
        return (*clock, *[UNKNOWN] * 5, verdict)
    margins = (
        fixed(step.margin_K, ".1f"),
        NO_END if step.margin_least_K is None else fixed(step.margin_least_K, ".1f"),
    )
    highest = with_doubt(step.highest_reading_C, step.mesh_doubt_K, 2)
    return (*clock, f"{step.power_W:.1f}", highest, step.reading or UNKNOWN, *margins, verdict)


def _notes(one: Afforded) -> tuple[str, ...]:
    notes = []
    if one.affordable is None:
        notes.append("None of these clocks is affordable.")
    if any(step.verdict == "runaway" for step in one.steps):
        notes.append("Runaway: leakage outruns the cooling, no steady state exists; the chip heats up without end.")
    if one.between is not None:
        met = "the edge of runaway is" if one.between.ends_by == "runaway" else "the limit is met"
        clock = with_doubt(one.between.frequency_GHz, one.between.mesh_doubt_GHz)
        notes.append(f"Between: {met} at {clock} GHz, {one.between.voltage_V:.3f} V, {one.between.power_W:.1f} W.")
    elif one.beyond is not None and len(one.steps) > 1:
        end = one.steps[0 if one.beyond == "below the slowest" else -1]
        notes.append(f"The limit is met {one.beyond} ({end.frequency_GHz:g} GHz): nothing is told beyond the steps.")
    return tuple(notes)


def _remarks(found: Affordance) -> list[str]:
    clock, remarks = found.case.clock, []
    for one in found.answers:
        if one.power is None:
            remarks.append(f"{name_of(one)}: the limit is passed even where the clocked zones make nothing.")
        elif one.power.ends_by == "runaway":
            remarks.append(
                f"{name_of(one)}: leakage runs away before a reading meets the limit; the power is that at its edge, "
                f"beyond which no steady state exists."
            )
        remarks += [f"WARNING: {name_of(one)}: {each.words}." for each in one.not_held]
        remarks += [f"WARNING: {name_of(one)}: {RUNS_AWAY}"] if one.runs_away else []
        if not one.accuracy_held:
            remarks.append(
                f"{name_of(one)}: accuracy not held, a mesh doubt is above the {found.accuracy_K:g} K asked."
            )
    remarks.append(NO_CLOCK if clock is None else DYNAMIC)
    if clock is not None and not clock.steps:
        remarks.append(NO_STEPS)
    return remarks

"""Measured runs as blocks of text: as they were noted, and judged, what changes bought first and then every run."""

from __future__ import annotations

from pathlib import Path

from thermsim.bench.bought import Change
from thermsim.bench.fates import Fate
from thermsim.bench.runs import Run, Runs, Settled
from thermsim.comparison.choice import AS_IN_FILE
from thermsim.judgement.outcome import Judgement
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.numbers import UNKNOWN, fixed
from thermsim.rounding import celsius, decimals_apart, times_in

NORMAL_90 = 1.6448536269514722  # half widths of nine times in ten, in standard deviations of a normal distribution
WHO = "mean of the readings that all runs of both have"

NOTED = (
    Column("run", right=False), Column("option", right=False), Column("mount", right=False), Column("on load [min]"),
    Column("coolant [C]"), Column("room [C]"), Column("package [W]"), Column("score"), Column("fans [1/min]"),
    Column("pump [%]"), Column("readings"), Column("highest [C]"), Column("lowest [C]"),
    Column("settled after [min]"),
)  # fmt: skip


def judgement_blocks(found: Judgement) -> list[Block]:
    """Verdicts, gains beside what was predicted, fates of the runs, the pattern over the readings, mounts, remarks."""
    blocks = [_head(found)]
    if found.bought is not None:
        blocks += [_gains(found), _patterns(found), _chances(found)]
    blocks.append(_fates(found))
    again = [f"{one.run.name}: {words}" for one in found.fates.fates for words in one.next_time]
    blocks += [Block("Next time", notes=tuple(again))] if again else []
    return [*blocks, Block("Remarks", notes=found.remarks)] if found.remarks else blocks


def option_name(option: str | None) -> str:
    """What an option is called; the base as in the table of runs."""
    return option or AS_IN_FILE


def change_name(found: Judgement, one: Change) -> str:
    """`gallium film`, and against what where that is not the base."""
    name = option_name(one.option)
    return name if one.against is None else f"{name} against {option_name(one.against)}"


def runs_in_words(found: Judgement) -> str:
    """How many runs became what: `7 runs: 3 comparable, 2 corrected, 2 not comparable`."""
    verdicts = [one.verdict for one in found.fates.fates]
    counts = [f"{verdicts.count(kind)} {kind}" for kind in dict.fromkeys(sorted(verdicts, key=_rank))]
    return f"{len(verdicts)} run{'s' if len(verdicts) != 1 else ''}: {', '.join(counts)}"


def put_to(found: Judgement) -> str:
    """What all runs are put to."""
    at = found.fates
    return f"as at {celsius(at.coolant_C)} C of {at.coolant} and a load at which the base makes {at.package_W:.1f} W"


def gain_words(one: Change) -> tuple[str, str]:
    """A gain, and the ends of its interval, with decimals that tell both apart."""
    decimals = max(1, decimals_apart(one.gain.low_K, one.gain.high_K, ()))
    value, low, high = (
        fixed(number, f".{decimals}f") for number in (one.gain.value_K, one.gain.low_K, one.gain.high_K)
    )
    return value, f"{low} to {high}"


def predicted_words(one: Change) -> str:
    """What the case says of the same: `5.8 (4.1 to 7.4)`."""
    if one.predicted is None:
        return UNKNOWN
    value, low, high = (
        fixed(number, ".1f") for number in (one.predicted.value_K, one.predicted.low_K, one.predicted.high_K)
    )
    return f"{value} ({low} to {high})"


def correction_words(fate: Fate) -> str:
    """What was added to the mean reading of a run, with its doubt nine times in ten."""
    if fate.correction_K is None or fate.doubt_K is None:
        return UNKNOWN
    return f"{_signed(fate.correction_K)} +- {NORMAL_90 * fate.doubt_K:.1f}"


def _rank(verdict: str) -> int:
    return ("comparable", "corrected", "not comparable", "to be made").index(verdict)


def _signed(value: float) -> str:
    text = f"{value:+.1f}"
    return "0.0" if float(text) == 0.0 else text


def _head(found: Judgement) -> Block:
    lines = [runs_in_words(found)]
    if found.bought is None:
        lines.append(found.why_not)
        return Block(f"{found.case.title}: what the runs show", tuple(lines))
    for one in found.bought.changes:
        lines += [change_name(found, one), f"    {one.words}"]
        lines += [f"    {one.agreement_words}"] if one.agreement_words else []
    return Block(f"{found.case.title}: what the runs show", tuple(lines))


def _gains(found: Judgement) -> Block:
    assert found.bought is not None
    rows = []
    for one in found.bought.changes:
        value, interval = gain_words(one)
        mounts = f"{one.gain.mounts} against {one.gain.against}"
        rows.append((change_name(found, one), mounts, value, interval, predicted_words(one), one.kind))
    often = times_in(found.bought.changes[0].gain.coverage) if found.bought.changes else ""
    columns = (
        Column("change", right=False), Column("mounts"), Column("gain [K]"), Column(f"{often} in [K]"),
        Column("predicted [K]"), Column("verdict", right=False),
    )  # fmt: skip
    scatter = found.bought.scatter.words
    notes = [f"{scatter[0].upper()}{scatter[1:]}."]
    notes += [
        f"{change_name(found, one)}: without {', '.join(one.left_out)}, which not all runs of both have."
        for one in found.bought.changes
        if one.left_out
    ]
    notes.append("Predicted: by the case, to first order on one coarse grid; `thermsim compare` tells more.")
    return Block(f"What each change bought, {WHO}", (), columns, tuple(rows), tuple(notes))


def _patterns(found: Judgement) -> Block:
    names = list(dict.fromkeys(name for one in found.patterns for name in one.off_K))
    columns = (Column("more than the mean [K]", right=False), *map(Column, names), Column("+-"))
    rows = tuple(
        (
            change_name(found, change),
            *(_signed(one.off_K[name]) if name in one.off_K else UNKNOWN for name in names),
            f"{one.doubt_K:.1f}",
        )
        for change, one in zip(_changes(found), found.patterns, strict=True)
    )
    notes = tuple(
        f"{change_name(found, change)}: {one.words}"
        for change, one in zip(_changes(found), found.patterns, strict=True)
    )
    return Block("How the change is spread over the readings", (), columns, rows, notes)


def _changes(found: Judgement) -> tuple[Change, ...]:
    return () if found.bought is None else found.bought.changes


def _chances(found: Judgement) -> Block:
    """What more mounts would tell, of changes that are not settled."""
    changes = _changes(found)
    counts = list(changes[0].settling.chances) if changes else []
    rows = tuple(
        (change_name(found, one), *(f"{100 * one.settling.chances[count]:.0f} %" for count in counts))
        for one in changes
    )
    columns = (Column("change", right=False), *(Column(f"{count} more") for count in counts))
    notes = ("Chance that so many more mounts of each settle the verdict, if the gain is as large as it shows.",)
    return Block("How many mounts settle it", (), columns, rows, notes)


def _fates(found: Judgement) -> Block:
    columns = (
        Column("run", right=False), Column("option", right=False), Column("mount"), Column("fate", right=False),
        Column("correction [K]"), Column("why", right=False),
    )  # fmt: skip
    rows = tuple(
        (
            one.run.name, option_name(one.run.option), one.run.mount, one.verdict, correction_words(one),
            "; ".join(one.why),
        )
        for one in found.fates.fates
    )  # fmt: skip
    notes = ("Correction: of the mean reading, with its doubt 9 times in 10.",)
    return Block(f"Runs, {put_to(found)}", (), columns, rows, notes)


def runs_blocks(found: Runs) -> list[Block]:
    """One line a run, and what was noticed in reading them; columns that no run fills in are left out."""
    rows = [_cells(run) for run in found.runs]
    filled = [place for place in range(len(NOTED)) if any(row[place] != UNKNOWN for row in rows)]
    table = Block(
        f"Runs of {Path(found.source).name}",
        columns=tuple(NOTED[place] for place in filled),
        rows=tuple(tuple(row[place] for place in filled) for row in rows),
    )
    return [table, Block("Remarks", notes=found.remarks)] if found.remarks else [table]


def _cells(run: Run) -> tuple[str, ...]:
    on_load_min = None if run.on_load_s is None else run.on_load_s / 60.0
    noted = (on_load_min, run.coolant_C, run.room_C, run.package_W, run.score, run.fans_rpm, run.pump_percent)
    values = list(run.readings.values())
    ends = (max(values), min(values)) if values else (None, None)
    last = UNKNOWN if run.settled is None else _settled(run.settled)
    return (
        run.name, run.option or AS_IN_FILE, run.mount, *map(_number, noted), str(len(values)), *map(_number, ends), last
    )  # fmt: skip


def _settled(of_log: Settled) -> str:
    return "not" if of_log.after_s is None else f"{of_log.after_s / 60.0:.3g}"


def _number(value: float | None) -> str:
    return UNKNOWN if value is None else f"{value:.5g}"

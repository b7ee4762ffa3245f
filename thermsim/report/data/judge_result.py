"""A judgement of measured runs as plain documents: JSON and lines of CSV, with the meaning of every key."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Any

from thermsim.bench.bought import Change
from thermsim.bench.fates import Fate
from thermsim.bench.statistics.gain import MeasuredGain
from thermsim.bench.verdicts.verdict import Explanation
from thermsim.comparison.choice import AS_IN_FILE
from thermsim.judgement.outcome import Judgement
from thermsim.judgement.pattern import Pattern
from thermsim.report.data.versions import thermsim_version

NORMAL_90 = 1.6448536269514722  # half widths of nine times in ten, in standard deviations of a normal distribution

# `runs[].verdict` is the key `verdict` of each item of the list `runs`. Null stands where a number does not exist.
JUDGE_KEYS: dict[str, str] = {
    "title": "title of the case",
    "thermsim": "version that made the result",
    "source": "name of the table of runs",
    "remarks": "what must be said beside the numbers",
    "why_not": "why nothing is told of any change; empty where something is",
    "put_to": "what all runs are put to",
    "put_to.coolant": "what the coolant is called",
    "put_to.coolant_C": "its temperature [C]",
    "put_to.load": "what the powers of the case are multiplied by",
    "put_to.package_W": "heat that the base makes then [W]",
    "runs": "every run of the table, in its order",
    "runs[].run": "its name",
    "runs[].option": "what was in place; null for the base",
    "runs[].mount": "what its mount is called",
    "runs[].line": "of the table",
    "runs[].verdict": "`comparable`, `corrected`, `not comparable`, or `to be made` where no reading is noted",
    "runs[].correction_K": "what was added to its mean reading [K]; null where it is not comparable",
    "runs[].correction_doubt_K": "half width of that, 9 times in 10 [K]",
    "runs[].why": "in words",
    "runs[].next_time": "what to note or do, where it is not comparable",
    "runs[].coolant_C": "at which it was read, as noted or as the loop tells it [C]; null where it is not known",
    "runs[].load": "at which it was read, in those of the case; null where it is not known",
    "runs[].readings_C": "its readings put right, by name [C]; null where it is not comparable",
    "one_mount_K": "standard deviation of the mean reading of one mount [K]",
    "one_mount_K.value": "by the mounts of this bench and what is usual together",
    "one_mount_K.own": "by the mounts of this bench alone; null where no option has two",
    "one_mount_K.usual": "what was taken as usual",
    "one_mount_K.usual_mounts": "how many mounts that counts as",
    "gains": "of every pair of options",
    "gains[].option": "its name; null for the base",
    "gains[].against": "what it is held against; null for the base",
    "gains[].is_step": "whether the option is the next after what it is held against",
    "gains[].readings": "over whose mean the gain is told",
    "gains[].mounts": "of the option, and of what it is held against",
    "gains[].gain_K": "the gain",
    "gains[].gain_K.value": "mean of the mounts held against, less that of the option [K]",
    "gains[].gain_K.low": "lower end of the interval that holds it 9 times in 10 [K]",
    "gains[].gain_K.high": "upper end [K]",
    "gains[].verdict": "`worth it`, `not worth it` or `undecided`, held against `worth_K` of the case",
    "gains[].words": "the verdict in a sentence",
    "gains[].predicted_K": "what the case says of the same, to first order on one coarse grid; null where it cannot",
    "gains[].predicted_K.value": "the gain [K]",
    "gains[].predicted_K.low": "lower end of the interval that holds it 9 times in 10 [K]",
    "gains[].predicted_K.high": "upper end [K]",
    "gains[].agreement": "`they agree`, `too unsure to say`, `less than predicted`, `more than predicted`; null "
    "without a prediction",
    "gains[].agreement_words": "the same in a sentence",
    "gains[].explained": "single inputs that would explain what is missing: path, unit, value, half_width, what would "
    "be needed, and how many half widths lie between",
    "gains[].mounts_to_settle": "more mounts of each that would settle the verdict, if the gain is as it shows",
    "gains[].mounts_to_settle.in_80_of_100": "for a chance of 80 %; null for more than a hundred",
    "gains[].mounts_to_settle.in_95_of_100": "for a chance of 95 %",
    "gains[].chances": "chance of that, by the number of more mounts of each",
    "gains[].pattern": "how the change is spread over the readings",
    "gains[].pattern.more_than_mean_K": "by reading: what it gained more than the mean of all [K]",
    "gains[].pattern.doubt_K": "half width of each, 9 times in 10 [K]",
    "gains[].pattern.leans_K": "by axis (`x`, `y`): gain at the far end of the readings less that at the near end, "
    "with the interval that holds it 98 times in 100 [K]",
    "gains[].pattern.thicker_towards": "sides towards which a film would be thicker that leans so; empty where it "
    "does not",
    "gains[].pattern.words": "the same in a sentence",
    "sensors": "faults of sensors that were found",
    "sensors[].reading": "its name",
    "sensors[].runs": "in which",
    "sensors[].what": "in words",
    "sensors[].left_out": "whether these readings are left out",
}


def document(found: Judgement) -> dict[str, Any]:
    """The whole result for programs; numbers as they are, null where there is none."""
    at, told = found.fates, found.bought
    scatter = None if told is None else told.scatter
    changes = () if told is None else told.changes
    return {
        "title": found.case.title,
        "thermsim": thermsim_version(),
        "source": Path(found.runs.source).name,
        "remarks": list(found.remarks),
        "why_not": found.why_not,
        "put_to": {
            "coolant": at.coolant, "coolant_C": at.coolant_C, "load": at.load, "package_W": at.package_W,
        },
        "runs": [_run(one) for one in at.fates],
        "one_mount_K": None
        if scatter is None
        else {
            "value": scatter.sd_K, "own": scatter.own_sd_K, "usual": scatter.prior.sd_K,
            "usual_mounts": scatter.prior_mounts,
        },
        "gains": [
            _gain(one, shape, found.explained.get((one.option, one.against), ()))
            for one, shape in zip(changes, found.patterns, strict=True)
        ],
        "sensors": [
            {"reading": one.reading, "runs": list(one.runs), "what": one.what, "left_out": one.left_out}
            for one in at.sensors
        ],
    }  # fmt: skip


def csv_lines(found: Judgement) -> Iterator[list[str]]:
    """A line a run: its fate, what was added, and its readings put right; full digits."""
    names = list(dict.fromkeys(name for one in found.fates.kept for name in one.readings))
    yield [
        "run",
        "option",
        "mount",
        "verdict",
        "correction_K",
        "correction_doubt_K",
        "why",
        *(f"{name}_C" for name in names),
    ]
    for one in found.fates.fates:
        run = _run(one)
        readings = run["readings_C"] or {}
        yield [
            one.run.name, one.run.option or AS_IN_FILE, one.run.mount, one.verdict, _text(run["correction_K"]),
            _text(run["correction_doubt_K"]), "; ".join(one.why), *(_text(readings.get(name)) for name in names),
        ]  # fmt: skip


def _run(one: Fate) -> dict[str, Any]:
    at = one.circumstances
    return {
        "run": one.run.name,
        "option": one.run.option,
        "mount": one.run.mount,
        "line": one.run.line,
        "verdict": one.verdict,
        "correction_K": one.correction_K,
        "correction_doubt_K": None if one.doubt_K is None else NORMAL_90 * one.doubt_K,
        "why": list(one.why),
        "next_time": list(one.next_time),
        "coolant_C": None if at is None else at.coolant_C,
        "load": None if at is None else at.load,
        "readings_C": None if one.corrected is None else dict(one.corrected.readings),
    }


def _gain(one: Change, shape: Pattern, explained: tuple[Explanation, ...]) -> dict[str, Any]:
    predicted, settling = one.predicted, one.settling
    return {
        "option": one.option,
        "against": one.against,
        "is_step": one.is_step,
        "readings": list(one.readings),
        "mounts": [one.gain.mounts, one.gain.against],
        "gain_K": _interval(one.gain),
        "verdict": one.kind,
        "words": one.words,
        "predicted_K": None
        if predicted is None
        else {"value": predicted.value_K, "low": predicted.low_K, "high": predicted.high_K},
        "agreement": one.agreement,
        "agreement_words": one.agreement_words,
        "explained": [{key: _number(value) for key, value in asdict(reason).items()} for reason in explained],
        "mounts_to_settle": {"in_80_of_100": settling.likely, "in_95_of_100": settling.sure},
        "chances": {str(more): chance for more, chance in settling.chances.items()},
        "pattern": {
            "more_than_mean_K": dict(shape.off_K),
            "doubt_K": shape.doubt_K,
            "leans_K": {axis: _interval(lean) for axis, lean in shape.leans.items()},
            "thicker_towards": list(shape.towards),
            "words": shape.words,
        },
    }


def _interval(gain: MeasuredGain) -> dict[str, float]:
    return {"value": gain.value_K, "low": gain.low_K, "high": gain.high_K}


def _number(value: Any) -> Any:
    return None if isinstance(value, float) and not isfinite(value) else value


def _text(value: float | None) -> str:
    return "" if value is None else repr(value)

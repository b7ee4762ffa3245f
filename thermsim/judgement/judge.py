"""From a table of measured runs to what every change bought."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from thermsim.bench.bought import BASE, Bought, Change, bought
from thermsim.bench.corrected import Corrected
from thermsim.bench.fates import fates
from thermsim.bench.read_runs import read_runs
from thermsim.bench.responses import Bed
from thermsim.bench.runs import Runs
from thermsim.bench.statistics.mounts import USUAL, Prior
from thermsim.bench.verdicts.verdict import Explanation, agreement_words, explanations
from thermsim.case.vocabulary.schema import Case
from thermsim.judgement.outcome import Judgement, Pair
from thermsim.judgement.pattern import pattern
from thermsim.judgement.predicted import Predictions, predictions
from thermsim.progress import Progress

ONE_COOLANT = "All runs are put to one coolant: what the change makes of the coolant itself is no part of that"


def judge(
    case: Case,
    runs: Runs | None = None,
    *,
    bed: Bed | None = None,
    predict: bool = True,
    progress: Progress | None = None,
) -> Judgement:
    """Judge measured runs: which may be compared, what was corrected, what each change bought, and how sure that is.

    Parameters
    ----------
    case : of the chip that was measured
    runs : as `read_runs` gives them; default: the table that the case names (`bench: {runs: runs.csv}`)
    bed : of the same case, for whoever judges many benches of it
    predict : whether to hold gains against what the case says of them
    progress : called with a line of words before each step

    Raises
    ------
    CaseError : a table or log at fault, every fault at once
    ThermsimError : the case has no readings, or no coolant
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError : see `thermsim.errors`; of an option that was run
    """
    say = progress or (lambda words: None)
    runs = read_runs(case) if runs is None else runs
    say("how readings follow coolant and load")
    bed = Bed.of(case) if bed is None else bed
    found = fates(case, runs, bed)
    kept = _in_order(found.kept)
    why_not = _why_not(len(kept), len({one.option for one in kept}))
    if why_not:
        return Judgement(case, runs, found, None, (), {}, why_not, found.remarks)
    options = list(dict.fromkeys(one.option for one in kept))
    predicted = None
    if predict:
        say("what the case says of the changes")
        predicted = predictions(bed, found.responses, found.coolant_C, found.load, options)
    steps = {one.reading: one.step_K for one in case.readings if one.step_K is not None}
    own = runs.settings.one_mount_K
    prior = USUAL if own is None else Prior(own, USUAL.mounts)

    def missing(pair: Pair) -> str | None:
        return f"{ONE_COOLANT} ({found.coolant})." if len(set(found.cooled).intersection(pair)) == 1 else None

    told = bought(kept, worth_K=case.worth_K, prior=prior, steps_K=steps, predict=predicted, missing=missing)
    told, explained = (told, {}) if predicted is None else _explained(told, predicted)
    patterns = tuple(pattern(case, kept, (one.option, one.against), one.readings) for one in told.changes)
    remarks = (*found.remarks, *_remarks(told, own))
    return Judgement(case, runs, found, told, patterns, explained, "", remarks)


def _in_order(kept: Sequence[Corrected]) -> list[Corrected]:
    """The base first, then options by their first mount, so that the order of lines in a table does not matter."""

    def number(one: Corrected) -> tuple[int, str]:
        digits = re.search(r"\d+", one.mount)
        return (int(digits[0]) if digits else 0, one.mount)

    first = {
        option: min(number(one) for one in kept if one.option == option) for option in {one.option for one in kept}
    }
    return sorted(
        kept,
        key=lambda one: (one.option is not None, first[one.option], one.option or "", number(one), one.run.name),
    )


def _why_not(kept: int, options: int) -> str:
    if kept == 0:
        return "No run can be compared: what each lacks stands beside it."
    if kept == 1:
        return "One run alone can be compared: it has nothing to be held against."
    return "All runs that can be compared are of one option: no change shows." if options == 1 else ""


def _explained(told: Bought, predicted: Predictions) -> tuple[Bought, dict[Pair, tuple[Explanation, ...]]]:
    """With what would explain gains that are not as predicted."""
    changes: list[Change] = []
    found: dict[Pair, tuple[Explanation, ...]] = {}
    for one in told.changes:
        if one.predicted is not None and one.agreement in ("less than predicted", "more than predicted"):
            pair = one.option, one.against
            reasons = explanations(
                predicted.contributions(pair, one.readings), one.gain.value_K - one.predicted.value_K
            )
            found[pair] = reasons
            words = agreement_words(one.option or BASE, one.gain, one.predicted, reasons)
            one = replace(one, agreement_words=words)
        changes.append(one)
    return replace(told, changes=tuple(changes)), found


def _remarks(told: Bought, own_K: float | None) -> list[str]:
    found = [
        f"{option or BASE} against {against or BASE} is not told: {why}."
        for (option, against), why in told.not_told.items()
    ]
    if own_K is None:
        found.append(
            f"How far mounts scatter here is not said: taken for {told.scatter.prior.words}. Your own: `one_mount_K`."
        )
    return found

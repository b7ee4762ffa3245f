"""Options against a base: each gain with its interval, what carries its doubt, and a verdict.

The mesh doubt is that of the difference: what both stacks have in common of the grid's error cancels. The tolerances
are carried through twice, by sensitivities and by samples, and what base and option share varies together.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from math import hypot, inf

import numpy as np
from numpy.typing import NDArray

from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.inputs.spread import REPLICATES, enough, rounded_words
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison import decision, ranking
from thermsim.comparison.choice import AS_IN_FILE, chosen
from thermsim.comparison.family import Family, family, warmest
from thermsim.comparison.hand_check import flux_bounds
from thermsim.comparison.limit import base_limit_remark, limit_of, limit_words
from thermsim.comparison.outcome import Comparison, Contribution, Gain, Holder, Interval, OptionResult
from thermsim.comparison.temperatures import temperature
from thermsim.comparison.tolerances import Samples, sampled
from thermsim.comparison.uncertainty import Estimate, FirstOrder, Summary, compare_ways, first_order, summarise
from thermsim.errors import RunawayError, ThermsimError, UnknownNameError
from thermsim.mesh.prediction_remarks import grave_remarks
from thermsim.nearby.sample_solver import NO_ANSWER
from thermsim.plausibility.cautions import gallium_cautions, option_of
from thermsim.plausibility.slip import Slip
from thermsim.progress import Progress
from thermsim.readout.observable import WARMEST, Observable
from thermsim.run.journal import Identity, Journal
from thermsim.run.run_tasks import run

Array = NDArray[np.float64]

SAMPLES, SEED, COVERAGE = 1024, 20_267, 0.90
MOST_SAMPLES = 2**17  # samples: with twenty inputs they take some hundred megabytes


@dataclass(frozen=True, eq=False)
class _Judged:
    """A gain both ways. samples : of those with a steady state, gains [K] without the doubts of mesh and short cut"""

    gain: Gain
    samples: Array
    straight: FirstOrder
    summary: Summary
    estimate: Estimate


def _judge(
    whole: Family, taken: Samples, number: int, question: Observable, coverage: float, worth_K: float, seed: int
) -> _Judged:
    """One temperature of one option: the samples deviate from the gain that is told, at its limit where it has one.

    The interval holds the told gain also where all tolerances push it one way, such as two zones equally warm.
    """
    told_C = whole.told_C
    at = whole.questions.index(question)
    mesh = whole.gain(number, question)
    if question == WARMEST:
        sampled_C = told_C[:, :at] + taken.deviation
        pair = [warmest(sampled_C[:, case], whole.questions[:at]) - told_C[case, at] for case in (0, number)]
        slopes = [taken.slopes[:, case, whole.warmest_of(case)] for case in (0, number)]
        shortcut = float(taken.shortcut_K[number, whole.readings].max())
    else:
        pair = [taken.deviation[:, case, at] for case in (0, number)]
        slopes = [taken.slopes[:, case, at] for case in (0, number)]
        shortcut = float(taken.shortcut_K[number, at])
    samples = mesh.value + pair[0] - pair[1]
    other_K = decision.independent_K(hypot(mesh.half_width, shortcut))
    spreads = [one.spread for one in taken.varied]
    straight = first_order(
        [*(slopes[0] - slopes[1]), 1.0],
        [*(one.uncertainty for one in spreads), other_K],
        [*(one.freedom for one in spreads), inf],
    )
    estimate = straight.estimate(mesh.value, coverage)
    has_deviation = all(one.has_deviation for one in spreads)
    summary = summarise(
        samples, coverage, [worth_K], other_K, REPLICATES, has_deviation, shortest=False, of_the_rest=True
    )
    low, high = min(summary.low.value, mesh.value), max(summary.high.value, mesh.value)
    gain = Gain(
        question=question,
        base=temperature(whole, taken, 0, question, pair[0], coverage, seed),
        option=temperature(whole, taken, number, question, pair[1], coverage, seed),
        mesh=mesh,
        interval=Interval(low, high, max(summary.low.error, summary.high.error)),
        first_order=Interval(estimate.low, estimate.high),
        uncertainty_K=summary.deviation.value if summary.deviation is not None else estimate.uncertainty,
        probability=summary.exceeds[0].value,
    )
    return _Judged(gain, samples[np.isfinite(samples)], straight, summary, estimate)


def lost_of(taken: Samples, number: int, name: str) -> decision.Lost:
    """Samples in which base or option have no steady state.

    Raises RunawayError where most are such, ThermsimError where most have no answer.
    """
    lost = taken.lost[:, [0, number]]
    count, base, option, either = len(lost), *(int(one.sum()) for one in (*lost.T, lost.any(axis=1)))
    if 2 * either > count:
        raise RunawayError(
            f"{name}: {either} of {count} samples have no steady state: the tolerances reach far into thermal runaway",
            "narrow the tolerances (measure them), or lower the power or the leakage: no gain can be told",
        )
    none = int((lost | taken.refused[:, [0, number]]).any(axis=1).sum())
    if 2 * none > count:
        raise ThermsimError(f"{name}: {none} of {count} {NO_ANSWER} {taken.why_refused}", "narrow the tolerances")
    return decision.Lost(count, base, option, either)


def _contributions(taken: Samples, number: int, judged: _Judged) -> list[Contribution]:
    """Inputs by their share in the doubt of a gain, the largest first."""
    shares, slopes = judged.straight.shares[0], judged.straight.parts[0]
    found = []
    for one, share, part in zip(taken.varied, shares, slopes, strict=False):  # the last one is no input
        if one.acts_on[0] or one.acts_on[number]:
            given, uncertainty = one.input, one.spread.uncertainty
            slope = float(part / uncertainty) if uncertainty > 0.0 else 0.0
            found.append(
                Contribution(
                    given.path,
                    _holder(one.acts_on[0], one.acts_on[number]),
                    given.value,
                    given.unit,
                    given.plus_minus,
                    given.basis,
                    slope,
                    float(share),
                    is_measurable=not given.is_offset,
                    is_ratio=given.is_ratio,
                )
            )
    return sorted(found, key=lambda one: -one.share)


def _holder(in_base: bool, in_option: bool) -> Holder:
    """Whose an input is in this pair: an option's own may also be held by others that build on it."""
    if in_base and in_option:
        return "both"
    return "base" if in_base else "option"


def _as_shares(
    contributions: Sequence[Contribution], base: str, option: str, uncertainty_K: float
) -> list[ranking.InputShare]:
    owner = {"both": "", "base": f" ({base})", "option": f" ({option})"}
    return [
        ranking.InputShare(
            name=one.path + owner[one.held_by],
            value=one.value,
            half_width=one.half_width,
            unit=one.unit,
            sensitivity=one.sensitivity,
            uncertainty_K=uncertainty_K * one.share**0.5,
            share=one.share,
            measurable=one.is_measurable,
            is_ratio=one.is_ratio,
        )
        for one in contributions
    ]


def _option(
    whole: Family, taken: Samples, number: int, coverage: float, seed: int, accept_danger: Sequence[str]
) -> OptionResult:
    case, name = whole.cases[0], whole.names[number]
    worth = case.worth_K or 0.0
    lost = lost_of(taken, number, name)
    judged = [_judge(whole, taken, number, question, coverage, worth, seed) for question in whole.in_common(number)]
    headline = next(one for one in judged if one.gain.question == whole.headline)
    gain = headline.gain
    contributions = _contributions(taken, number, headline)
    shares = _as_shares(contributions, whole.names[0], name, headline.estimate.uncertainty)
    slips = list(gallium_cautions(whole.cases[number], option_of(whole.cases[number])))
    dangers = [] if name in accept_danger else [slip.message for slip in slips if slip.severity == "danger"]
    base_limit = limit_of(case, gain.question, gain.base, coverage)
    limit = limit_of(whole.cases[number], gain.question, gain.option, coverage)
    found = decision.verdict(
        gain.value_K,
        gain.interval.low,
        gain.interval.high,
        coverage,
        worth_K=case.worth_K,
        one_mount_K=case.one_mount_K,
        probability=gain.probability,
        shares=shares,
        uncertainty_K=gain.uncertainty_K,
        error_K=gain.interval.error_K,
        refused=dangers[0] if dangers else None,
        lost=lost,
        grave=_grave(whole, number, slips),
        all_exact=not any(one.acts_on[0] or one.acts_on[number] for one in taken.varied),
        limit=limit_words(limit, base_limit),
        limit_kept=limit is None or limit.kept == "yes",
    )
    told = [ranking.unfit(one, gain.value_K, worth) for one in shares]
    return OptionResult(
        option=name,
        case=whole.cases[number],
        prediction=whole.predictions[number],
        gains=tuple(one.gain for one in judged),
        headline=gain,
        contributions=tuple(contributions),
        next_measurement=found.next_measurement,
        unfit=_merged([one.name for one, words in zip(shares, told, strict=True) if words], told),
        ways=compare_ways(headline.estimate, headline.summary).words,
        flux=flux_bounds(case, whole.cases[number], whole.predictions[0].field, gain.value_K),
        kind=found.kind,
        words=found.words + (f" On temperature only: {slips[0].message}." if name in accept_danger and slips else ""),
        cautions=tuple(f"{slip.message}; {slip.remedy}" for slip in slips),
        samples=headline.samples,
        lost=lost,
        limit_kept=None if limit is None else limit.kept,
    )


def _grave(whole: Family, number: int, cautions: Sequence[Slip]) -> list[str]:
    """Warnings on base and option that no interval holds; cautions of gallium have their own place."""
    told = dict.fromkeys(remark for at in (0, number) for remark in grave_remarks(whole.predictions[at]))
    elsewhere = tuple(f"{one.message}; {one.remedy}" for one in cautions)
    return [remark for remark in told if not remark.endswith(elsewhere)]


def _merged(names: list[str], told: Sequence[str | None]) -> tuple[str, ...]:
    """What makes inputs unfit, each by itself; of more than two one sentence for all."""
    if len(names) <= 2:
        return tuple(words for words in told if words is not None)
    return (
        f"{len(names)} inputs are known so little that each alone moves the gain across what it is held against: "
        f"{', '.join(names)}. Find them in a better way first, the first of them before all.",
    )


def compare(
    case: Case,
    *,
    base: str | None = None,
    options: Sequence[str] | None = None,
    coverage: float = COVERAGE,
    samples: int = SAMPLES,
    seed: int = SEED,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    accept_danger: Sequence[str] = (),
    workers: int | None = 1,
    cluster: str | None = None,
    journal: Journal | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare options with the base, each gain with its interval and a verdict.

    Parameters
    ----------
    base : the option that is built; default: the case as its file has it
    options : names; default: all
    coverage : of the intervals, 0 to 1
    samples : of the Monte Carlo, rounded up to blocks of a power of two, and to 256
    accept_danger : options that are judged although gallium meets aluminium in them
    workers, cluster, journal : where samples are solved and kept, see `thermsim.run.run_tasks.run`;
        in this process unless given
    progress : called with a line of words after each grid, and now and then while samples are solved

    Raises
    ------
    ThermsimError : the case has no options, or more than MOST_SAMPLES samples are asked for
    UnknownNameError, CaseError : an option that does not exist or does not fit
    and what `predict` raises
    """
    start = time.perf_counter()
    count = _count(samples)
    names, cases = chosen(case, base, options)
    for name in accept_danger:
        if name not in names[1:]:
            hint = did_you_mean(name, names[1:])
            what = f"no option {name!r} is judged, so that its danger cannot be accepted{hint}"
            raise UnknownNameError(what, f"judged are: {listed(names[1:])}")
    whole = family(names, cases, accuracy_K, memory_GB, progress)
    solve_all = partial(run, workers=workers, cluster=cluster, journal=journal, progress=progress)
    taken = sampled(whole, count, seed, solve_all)
    found = tuple(_option(whole, taken, number, coverage, seed, accept_danger) for number in range(1, len(names)))
    limit = limit_of(cases[0], found[0].headline.question, found[0].headline.base, coverage)
    return Comparison(
        case=case,
        base_name=names[0],
        base=whole.predictions[0],
        options=found,
        coverage=coverage,
        worth_K=case.worth_K,
        one_mount_K=case.one_mount_K,
        samples=count,
        seed=seed,
        way=_way(whole, taken),
        seconds=time.perf_counter() - start,
        remarks=(*rounded_words(samples, count), *base_limit_remark(limit), *_remarks(whole, taken)),
        limit_kept=None if limit is None else limit.kept,
    )


def _count(samples: int) -> int:
    """Samples that are taken where so many are asked for. Raises ThermsimError for more than can be held."""
    if samples > MOST_SAMPLES:
        raise ThermsimError(
            f"{samples:g} samples are more than the {MOST_SAMPLES} that a comparison holds",
            "ask for fewer: four times as many halve what chance leaves of an interval, and 1024 leave some percent",
        )
    return enough(samples)


def identity(
    case: Case,
    *,
    base: str | None = None,
    options: Sequence[str] | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    coverage: float = COVERAGE,
) -> Identity:
    """What the samples of a comparison are, for their journal; `coverage` changes none of them."""
    names, _ = chosen(case, base, options)
    wanted = case.accuracy_K if accuracy_K is None else accuracy_K
    count = _count(samples)
    words = f"{count} samples of {', '.join(names)} at {wanted!r} K"
    if memory_GB is not None:
        words += f" with {memory_GB!r} GB"
    return Identity.of(words, seed, case.source_text, *(table.tobytes() for table in case.tables.values()))


def _way(whole: Family, taken: Samples) -> str:
    if not taken.varied:
        return "no input has a tolerance, so the interval holds the mesh doubt alone"
    moved = [one for one in taken.ways if one.small or one.full]
    if not any(one.small for one in moved):
        reasons = dict.fromkeys(one.words for one in moved)
        how = f"full solves on {taken.cells:,} cells ({'; '.join(reasons)})"
    else:
        each = ", ".join(
            f"{one.name} {one.small:,}" + (f" and {one.full:,} in full" if one.full else "") for one in moved
        )
        lacking = [f"{one.name}: {one.words}" for one in moved if not one.small]
        doubt = max(one.doubt_K for one in moved)
        told = "; ".join([each, *lacking, f"readings within {doubt:.1g} K of such solves"])
        how = f"small models made from full solves on {taken.cells:,} cells ({told})"
    left, widest, by_model = (
        float(one.max(initial=0.0))
        for one in (taken.shortcut_K[:, whole.judged], taken.shortcut_K, taken.model_K[:, whole.judged])
    )
    part = f", up to {by_model:.2g} K of it by small models" if by_model > 0.0 else ""
    others = f" ({widest:.2g} K in other places)" if widest > 1.05 * left else ""
    return (
        f"{how}, each as a deviation from the nominal answer; that may leave "
        f"{left:.2g} K of a gain{part}{others}, which the intervals hold"
    )


def _remarks(whole: Family, taken: Samples) -> list[str]:
    found = []
    if whole.names[0] != AS_IN_FILE:
        found.append(
            f"every option changes the case as its file has it, not {whole.names[0]}: what it does not repeat of that, "
            "it takes back; for a step beyond, write an option with both changes"
        )
    if not taken.varied:
        found.append("no input of base or options has a tolerance (`plus_minus`): the intervals are of the grid only")
    if lost := int(taken.lost.any(axis=1).sum()):
        share = 100.0 * lost / len(taken.lost)
        found.append(
            f"WARNING: in {lost} of {len(taken.lost)} samples of the tolerances ({share:.1f} %) the base or an option "
            "has no steady state (thermal runaway): gains, intervals and chances are those of the other samples"
        )
    if refused := int(taken.refused.any(axis=1).sum()):
        found.append(
            f"WARNING: {refused} of {len(taken.refused)} {NO_ANSWER} {taken.why_refused}. Gains, intervals and chances "
            "are those of the other samples; narrow the tolerances of what it names"
        )
    return found

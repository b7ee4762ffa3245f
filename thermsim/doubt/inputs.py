"""The doubt of the inputs in every answer of a prediction: by curves of a few solves, or by samples in full.

The curves (`responses`) are followed by a Latin hypercube of all tolerances, in their true shapes: propagation of
distributions as in JCGM 101:2008, clause 7, with the model replaced by its curves. For a sum of curves such samples
leave next to no error of their own (McKay, Beckman and Conover, Technometrics 21 (1979) 239, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.spread import REPLICATES, enough, rounded_words, table
from thermsim.case.inputs.without_tolerance import exact_inputs, exact_lines
from thermsim.doubt.bands import normal
from thermsim.doubt.responses import moves_of
from thermsim.doubt.study import COVERAGE, POINTS, SEED, VISIBLE_SHARE, Levels, Points, Study, left_out_words
from thermsim.errors import ThermsimError
from thermsim.mesh.input_doubt import Band, InputDoubt, Moved
from thermsim.mesh.prediction import Prediction
from thermsim.nearby.sample_solver import NO_ANSWER, NO_STEADY_STATE, SampleWork, what_of
from thermsim.nearby.uncertain_inputs import sample_of, variables
from thermsim.progress import Progress
from thermsim.readout.observable import HOTTEST, Answers
from thermsim.rounding import doubt_in_words
from thermsim.run.run_tasks import run
from thermsim.run.tasks import Failure, Task

Array = NDArray[np.float64]

MOST_SAMPLES = 2**14
SEEN_SHARE = 1e-3  # share of the largest move below which an input moves nothing


def with_input_doubt(
    prediction: Prediction,
    *,
    coverage: float = COVERAGE,
    samples: int | None = None,
    seed: int = SEED,
    workers: int | None = 1,
    progress: Progress | None = None,
) -> Prediction:
    """The prediction with the doubt that the tolerances of its case leave in every answer.

    All is solved on the coarsest grid of the prediction: a deviation from the nominal state needs no finer one.

    Parameters
    ----------
    coverage : of the bands, 0 to 1
    samples : solve so many samples of the tolerances in full, rounded up to blocks of a power of two and to 256, and
        tell what they say; by curves of a few solves unless given
    seed : of the samples; workers : as in `thermsim.run.run_tasks.run`
    progress : called with a line of words now and then

    Raises ThermsimError for a coverage that is none, or more samples than can be held.
    """
    if not 0.5 <= coverage <= 0.999:
        raise ThermsimError(f"a coverage of {coverage:g} cannot be told", "give a share from 0.5 to 0.999, such as 0.9")
    if samples is not None and samples > MOST_SAMPLES:
        raise ThermsimError(f"{samples:g} samples are more than the {MOST_SAMPLES} that are held", "ask for fewer")
    case = prediction.case
    exact = tuple(exact_lines(exact_inputs(case)))
    varied = variables((case,), ("",))
    if not varied:
        nothing = InputDoubt(coverage, Answers(), (), exact, "no input has a tolerance")
        return replace(prediction, inputs=nothing)
    assert prediction.plan is not None
    step = prediction.steps[0]
    levels = Levels.drawn(varied, seed)
    study = Study((case,), prediction.plan, step.multiplier, prediction.doubts, varied, coverage, levels)
    told = _Told(prediction, study, step.cells, seed)
    if progress is not None:
        progress(f"what {len(varied)} tolerances make of it")
    bands = study.own_bands
    way = (
        f"curves of {len(varied)} inputs from {study.curves.solves} solves on {step.cells:,} cells, followed by "
        f"{POINTS:,} points of a Latin hypercube"
    )
    remarks, error_K = told.remarks(), None
    if samples is not None:
        count = enough(samples)
        sampled, error_K, said = told.sampled(count, workers, progress)
        remarks = [*(one for one in remarks if "`--samples" not in one), *rounded_words(samples, count), *said]
        remarks += told.disagreement(bands[HOTTEST], sampled[HOTTEST], count)
        bands, way = sampled, f"{count:,} samples, each solved in full on {step.cells:,} cells"
    found = InputDoubt(coverage, bands, told.moved(), exact, way, tuple(remarks), error_K)
    return replace(prediction, inputs=found)


@dataclass(frozen=True)
class _Told:
    """What is told of a prediction by its study."""

    prediction: Prediction
    study: Study
    cells: int
    seed: int

    def sampled(
        self, count: int, workers: int | None, progress: Progress | None
    ) -> tuple[Answers[Band], float | None, list[str]]:
        """Bands by full solves of samples, the sampling error of the hottest spot's, and what must be said of them."""
        study, places = self.study, tuple(self.study.places)
        values = table([one.spread for one in study.varied], count, self.seed)
        tasks = [Task("nominal", ({},))]
        tasks += [Task(f"sample {n}", sample_of(study.varied, row)) for n, row in enumerate(values.tolist())]
        work = SampleWork(study.cases, study.plan, study.multiplier, places)
        nominal, *results = run(work, tasks, workers=workers, progress=progress)
        if isinstance(nominal, Failure):
            raise ThermsimError(nominal.message, "ask without `--samples`")
        failures = [one for one in results if isinstance(one, Failure)]
        others = [one for one in failures if one.kind not in NO_STEADY_STATE]
        if 2 * len(others) > count:
            raise ThermsimError(f"{len(others)} of {count} {NO_ANSWER} {what_of(others[0])}", "narrow the tolerances")
        rows = [np.full(len(places), inf) if isinstance(one, Failure) else (np.asarray(one) - nominal)[0]
                for one in results]  # fmt: skip
        random = np.random.default_rng(self.seed)
        points = Points(values, normal((random.permutation(count) + 0.5) / count))
        said = []
        if lost := len(failures) - len(others):
            said.append(f"WARNING: {lost} of {count} samples of the tolerances have no steady state (thermal runaway)")
        if others:
            said.append(
                f"WARNING: {len(others)} of {count} {NO_ANSWER} {what_of(others[0])}. The intervals are those of the "
                "other samples; narrow the tolerances of what it names"
            )
        deviation = np.stack(rows)
        answered = np.array(
            [not isinstance(one, Failure) or one.kind in NO_STEADY_STATE for one in results], dtype=bool
        )
        kept = Points(points.values[answered], points.normal[answered])
        bands = study.bands(study.deviations(deviation[answered], kept), kept, runs_away=False)
        error_K = self.sampling_K(deviation, points, answered)
        if error_K is not None:
            said.append(
                f"with another {count:,} samples an end of the interval of the hottest spot might lie up to "
                f"{doubt_in_words(2.0 * error_K)} K elsewhere"
            )
        return bands, error_K, said

    def sampling_K(self, deviation: Array, points: Points, answered: NDArray[np.bool_]) -> float | None:
        """Standard error [K] of the ends of the hottest spot's band, by their scatter between the blocks of samples.

        deviation : (samples, places), of which those `answered` (samples,) count; as
            `thermsim.comparison.uncertainty.summarise` has it. None where an end is inf.
        """
        ends = []
        for whole in np.split(np.arange(len(deviation)), REPLICATES):
            block = whole[answered[whole]]
            own = Points(points.values[block], points.normal[block])
            band = self.study.bands(self.study.deviations(deviation[block], own), own, runs_away=False)[HOTTEST]
            ends.append((band.both_low, band.both_high))
        if not np.isfinite(ends).all():
            return None
        return float((np.std(ends, axis=0, ddof=1) / sqrt(REPLICATES)).max())

    def moved(self) -> tuple[Moved, ...]:
        curves, at, found = self.study.curves, self.study.places[HOTTEST], []
        for number, one in enumerate(self.study.acting):
            spread, given = one.spread, one.input
            ends = np.clip(
                [spread.value - spread.half_width, spread.value + spread.half_width], spread.low, spread.high
            )
            moves = moves_of(spread, ends)
            low, high = curves.of_one(number, moves)[:, at].tolist()
            found.append(Moved(given.path, given.value, given.plus_minus, given.unit, given.basis, low, high))
        largest = max((one.kelvin for one in found), default=0.0)
        kept = [one for one in found if one.kelvin > SEEN_SHARE * largest]
        return tuple(sorted(kept, key=lambda one: -one.kelvin))

    def remarks(self) -> list[str]:
        found = []
        if self.study.curves.runs_away:
            found.append(
                "WARNING: at the hot end of the tolerances there is no steady state (thermal runaway): no highest "
                "temperature can be told. Narrow the tolerances, lower the power, or cool better"
            )
        if left_out := left_out_words(self.study.curves):
            found.append(left_out)
        if miss := self.study.together_K:
            found.append(
                f"the inputs act on one another: all at once they move the hottest spot by {doubt_in_words(miss)} K "
                "more or less than each for itself, which is counted in roughly; `--samples 256` follows it"
            )
        return found

    def disagreement(self, curves: Band, sampled: Band, count: int) -> list[str]:
        """Where both ways visibly disagree, in words."""
        width = sampled.both_high - sampled.both_low
        # An end of a 90 % interval from n samples scatters by about 0.7 of the width over the root of n (normal).
        allowed = VISIBLE_SHARE * width + 2.0 * 0.7 * width / sqrt(count)
        pairs = ((curves.both_low, sampled.both_low), (curves.both_high, sampled.both_high))
        if all(one == other or abs(one - other) <= allowed for one, other in pairs):
            return [f"the curves of single inputs and {count:,} samples tell the same interval"]
        by_curves, by_samples = (_range(band) for band in (curves, sampled))
        return [
            f"the curves of single inputs and {count:,} samples disagree: {by_curves} C by the first, {by_samples} C "
            "by the second. The samples are told: they follow all inputs at once"
        ]


def _range(band: Band) -> str:
    return f"{band.both_low:.2f} to {band.both_high:.2f}"

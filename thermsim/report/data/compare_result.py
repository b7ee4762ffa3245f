"""A comparison as the stable JSON document of `--json` and result.json, and as lines of gains.csv.

It extends the document of a prediction (`result.py`), which is that of the base; `COMPARE_KEYS` says what is added.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from thermsim.report.data.keys import band_keys
from thermsim.report.data.result import _finite as finite
from thermsim.report.data.result import result
from thermsim.report.words.comparison import headline_question, is_within_scatter, name_of, scatter_K

if TYPE_CHECKING:
    from thermsim.comparison.outcome import Comparison, Contribution, Gain, OptionResult, Temperature


def _temperature(whose: str, where: str) -> dict[str, str]:
    """Keys of the doubts of one temperature by itself."""
    key = f"options[].gains[].{whose}"
    return {
        f"{key}_mesh_doubt_K": f"mesh doubt of it {where}: half width [K]",
        **band_keys(f"{key}_inputs", f"it {where}", "C", "coverage"),
    }


COMPARE_KEYS: dict[str, str] = {
    "base": "what the options are held against: `as in the file`, or the option that was taken as the base; all keys "
    "of a prediction are those of the base",
    "gain_of": "the temperature that verdicts are about: `warmest reading` (of all readings, of the base and of the "
    "option each for itself), or `hottest spot` where the case has no readings",
    "coverage": "how often a gain lies in its interval, 0 to 1",
    "worth_K": "gain that is worth the step [K]; null where the case does not say (0 is taken)",
    "one_mount_K": "standard deviation of the mean reading of one mount [K]; null where the case does not say",
    "scatter_between_mounts_K": "how far two mounts of the same may differ [K]: that times the root of 2",
    "samples": "samples of the tolerances",
    "seed": "of the samples",
    "way": "how the samples were answered",
    "seconds": "time the comparison took [s]",
    "limit_kept": "whether the warmest reading of the base keeps `limits.reading_C` by all its doubts: `yes`, `within "
    "doubt` or `no`; null where no limit is given",
    "comparison_remarks": "what must be said of the comparison",
    "options": "every option, in the order of the case",
    "options[].option": "its name",
    "options[].verdict": "`worth it`, `undecided`, `not worth it` or `not to be had`",
    "options[].verdict_in_words": "the same with its reasons",
    "options[].limit_kept": "the same with the option: it is never `worth it` without `yes`",
    "options[].gain_K": "what the option lowers the temperature `gain_of` by, below zero where it is warmer",
    "options[].gain_K.value": "base less option, at its limit at cells of no size where it settles [K]",
    "options[].gain_K.low": "lower end of its interval [K]",
    "options[].gain_K.high": "upper end [K]",
    "options[].gain_K.mesh_doubt": "mesh doubt of the difference: half width, held by the interval [K]",
    "options[].gain_K.uncertainty": "standard uncertainty [K]",
    "options[].gain_K.sampling_error": "standard error of the ends of the interval, for there are only so many samples",
    "options[].gain_K.first_order_low": "lower end of the interval by sensitivities alone [K]",
    "options[].gain_K.first_order_high": "upper end [K]",
    "options[].probability": "that the gain exceeds `worth_K`",
    "options[].no_steady_state": "samples of the tolerances without a steady state (thermal runaway), of "
    "`samples`: gains, intervals and probabilities are those of the others",
    "options[].no_steady_state.base": "in how many the base has none",
    "options[].no_steady_state.option": "in how many the option has none",
    "options[].no_steady_state.either": "in how many either of them has none",
    "options[].within_scatter": "whether two mounts of the same may differ by as much as the gain; null if unknown",
    "options[].gains": "the same for every temperature that base and option have",
    "options[].gains[].temperature": "which",
    "options[].gains[].base_C": "in the base [C]",
    "options[].gains[].option_C": "with the option [C]",
    **_temperature("base", "in the base"),
    **_temperature("option", "with the option"),
    "options[].gains[].gain_K": "as above",
    "options[].gains[].probability": "as above",
    "options[].contributions": "inputs by their part in the doubt of the gain, the largest first",
    "options[].contributions[].input": "its address in the case",
    "options[].contributions[].held_by": "`both` (base and option share it, it varies together), `base` or `option`",
    "options[].contributions[].value": "as the case has it",
    "options[].contributions[].unit": "of value, tolerance and sensitivity; empty for a plain number",
    "options[].contributions[].plus_minus": "tolerance: half width",
    "options[].contributions[].basis": "`measured`, `published` or `assumed`; null where the case does not say",
    "options[].contributions[].sensitivity": "change of the gain per unit of the input [K per unit]",
    "options[].contributions[].share": "of the variance of the gain, 0 to 1; the grids have what all inputs leave",
    "options[].next_measurement": "what to measure so that the verdict falls; null where it has fallen",
    "options[].next_measurement.input": "its address; null where no single measurement settles it",
    "options[].next_measurement.within": "half width to measure it to; null likewise",
    "options[].next_measurement.unit": "of `within`",
    "options[].next_measurement.words": "the same in words",
    "options[].flux_bounds_K": "sanity check of an exchanged joint: its change of resistance times heat flux",
    "options[].flux_bounds_K.low": "times the average flux [K]; null where the bounds do not apply",
    "options[].flux_bounds_K.high": "times the flux of the hottest zone [K]; null likewise",
    "options[].flux_bounds_K.words": "what was taken, or why not",
    "options[].ways": "whether sensitivities and samples lead to the same interval",
    "options[].unfit": "inputs that are not fit for the question",
    "options[].cautions": "what must be said before the step",
    "options[].prediction": "the prediction with the option: all keys of a prediction",
}
CSV_HEAD = (
    "option", "temperature", "base_C", "option_C", "gain_K", "low_K", "high_K", "coverage", "mesh_doubt_K",
    "uncertainty_K", "probability", "no_steady_state", "base_mesh_doubt_K", "base_low_C", "base_high_C",
    "option_mesh_doubt_K", "option_low_C", "option_high_C",
)  # fmt: skip


def document(comparison: Comparison) -> dict[str, Any]:
    """Plain mappings, lists, text and finite numbers; null where a number does not exist."""
    found: dict[str, Any] = finite(
        {
            **result(comparison.base),
            "base": comparison.base_name,
            "gain_of": name_of(headline_question(comparison)),
            "coverage": comparison.coverage,
            "worth_K": comparison.worth_K,
            "one_mount_K": comparison.one_mount_K,
            "scatter_between_mounts_K": scatter_K(comparison),
            "samples": comparison.samples,
            "seed": comparison.seed,
            "way": comparison.way,
            "seconds": comparison.seconds,
            "limit_kept": comparison.limit_kept,
            "comparison_remarks": list(comparison.remarks),
            "options": [_option(comparison, one) for one in comparison.options],
        }
    )
    return found


def csv_lines(comparison: Comparison) -> Iterator[tuple[object, ...]]:
    """A head, then every gain of every option; full digits, an empty cell where there is no number."""
    yield CSV_HEAD
    for option in document(comparison)["options"]:
        for one in option["gains"]:
            gain = one["gain_K"]
            cells = (
                option["option"], one["temperature"], one["base_C"], one["option_C"], gain["value"], gain["low"],
                gain["high"], comparison.coverage, gain["mesh_doubt"], gain["uncertainty"], one["probability"],
                option["no_steady_state"]["either"],
                *(cell for whose in ("base", "option") for cell in _ends(one, whose)),
            )  # fmt: skip
            yield tuple("" if cell is None else cell for cell in cells)


def _ends(gain: dict[str, Any], whose: str) -> tuple[float | None, ...]:
    """Mesh doubt of one temperature, and the ends of where it lies by all its doubts."""
    band = gain[f"{whose}_inputs"] or {}
    return gain[f"{whose}_mesh_doubt_K"], band.get("both_low"), band.get("both_high")


def _option(comparison: Comparison, one: OptionResult) -> dict[str, Any]:
    step = one.next_measurement
    return {
        "option": one.option,
        "verdict": one.kind,
        "verdict_in_words": one.words,
        "limit_kept": one.limit_kept,
        "gain_K": _gain(one.headline),
        "probability": one.headline.probability,
        "no_steady_state": {"base": one.lost.base, "option": one.lost.option, "either": one.lost.either},
        "within_scatter": is_within_scatter(comparison, one),
        "gains": [
            {
                "temperature": name_of(gain.question),
                "base_C": gain.base_C,
                "option_C": gain.option_C,
                **_doubts("base", gain.base),
                **_doubts("option", gain.option),
                "gain_K": _gain(gain),
                "probability": gain.probability,
            }
            for gain in one.gains
        ],
        "contributions": [_contribution(each) for each in one.contributions],
        "next_measurement": None
        if step is None
        else {"input": step.name, "within": step.half_width, "unit": step.unit, "words": step.words},
        "flux_bounds_K": {"low": one.flux.low_K, "high": one.flux.high_K, "words": one.flux.words},
        "ways": one.ways,
        "unfit": list(one.unfit),
        "cautions": list(one.cautions),
        "prediction": result(one.prediction),
    }


def _doubts(whose: str, one: Temperature) -> dict[str, Any]:
    return {
        f"{whose}_mesh_doubt_K": one.mesh_K,
        f"{whose}_inputs": None if one.inputs is None else asdict(one.inputs),
    }


def _gain(gain: Gain) -> dict[str, float]:
    return {
        "value": gain.value_K,
        "low": gain.interval.low,
        "high": gain.interval.high,
        "mesh_doubt": gain.mesh.half_width,
        "uncertainty": gain.uncertainty_K,
        "sampling_error": gain.interval.error_K,
        "first_order_low": gain.first_order.low,
        "first_order_high": gain.first_order.high,
    }


def _contribution(one: Contribution) -> dict[str, Any]:
    return {
        "input": one.path,
        "held_by": one.held_by,
        "value": one.value,
        "unit": one.unit,
        "plus_minus": one.half_width,
        "basis": one.basis,
        "sensitivity": one.sensitivity,
        "share": one.share,
    }

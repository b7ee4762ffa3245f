"""What a comparison found, in words and rounded numbers: the same on the terminal, on the page and in pictures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import floor, isfinite
from typing import TYPE_CHECKING, Any

from thermsim.comparison.decision import scatter_of_comparison
from thermsim.mesh.prediction_remarks import is_grave
from thermsim.readout.observable import HOTTEST, Observable
from thermsim.report.words.input_doubt import NO_BASIS, band_cells, exact_by_case, exact_of
from thermsim.report.words.input_doubt import exact_words as words_of_exact
from thermsim.report.words.numbers import UNKNOWN, fixed, plain, with_doubt
from thermsim.rounding import decimals_apart, doubt_in_words, with_tolerance

if TYPE_CHECKING:
    from thermsim.case.vocabulary.schema import Case, Option
    from thermsim.comparison.outcome import Comparison, Contribution, Gain, OptionResult, Temperature
    from thermsim.mesh.prediction import Prediction

AGREES = "Sensitivities and samples give the same interval."
GRIDS, SEEN = "the grids", 0.005  # share from which on a part of the doubt is told
CONTRIBUTIONS_NOTE = (
    "Share: of the variance of the gain; the grids have what the inputs leave. Moves gain by: if the input rises by "
    "its whole tolerance. Shared: base and option have it in common and it varies together, so most of it cancels."
)
# Said before a step that cannot be undone, whatever the numbers are.
BEFORE_OPENING = (
    "Opening a package cannot be undone. While the verdict is not `worth it`, leave it closed.",
    "A prediction is no safety limit, and never a reason to bypass thermal shutdown: watch the readings of the first "
    "start, and keep the shutdown as it was.",
    "Blades cut hands and chip edges: guide the blade, cut away from hands, keep it off die edges and components.",
    "Dust of silicon, solder and copper does not belong into lungs: grind and lap wet, wear a mask, wipe up wet.",
    "Coolant leaks over live boards: test every loop for leaks with the board unpowered.",
    "Mains, refrigerant and waste (solder, gallium, coolant) are for licensed people and local rules.",
)


def sentence(words: str) -> str:
    """The words with a full stop at their end, if they have none."""
    return words if words.endswith((".", "!", "?")) else f"{words}."


def verdict_words(one: OptionResult) -> str:
    """The verdict with its reasons, without the next measurement, which stands by itself."""
    after = one.next_measurement
    return one.words if after is None else one.words.replace(f" {after.words}", "")


def reasons(one: OptionResult) -> str:
    """The same without the verdict itself."""
    said, kind = verdict_words(one), len(one.kind)
    rest = said[kind:].lstrip(" :,") if said[:kind].lower() == one.kind else said
    return f"{rest[:1].upper()}{rest[1:]}"


def percent(share: float, samples: int) -> str:
    """`63 %`, and never 0 or 100 % of what was only sampled."""
    least = max(1.0 / max(samples, 1), 0.005)
    if share > 1.0 - least:
        return f"over {floor(100.0 * (1.0 - least))} %"
    if share < least:
        return f"under {1 + floor(100.0 * least - 1e-9)} %"
    return f"{100.0 * share:.0f} %"


def share_words(share: float) -> str:
    """A share of the doubt, in tables and in pictures: `63 %`, `1 %`, `under 1 %`."""
    return f"{100.0 * share:.0f} %" if share >= SEEN else "under 1 %"


def often(coverage: float) -> str:
    """`9 of 10`, `19 of 20`, `97.5 of 100`: how often a gain lies in its interval."""
    for whole in (10, 20):
        if abs(whole * coverage - round(whole * coverage)) < 1e-9:
            return f"{round(whole * coverage)} of {whole}"
    return f"{100.0 * coverage:g} of 100"


def name_of(question: Observable) -> str:
    """`warmest reading`, `hottest spot`, `reading C0`, `zone C0, mean`."""
    return str(question).removeprefix("the ")


def headline_question(comparison: Comparison) -> Observable:
    """The temperature that verdicts are about."""
    return comparison.options[0].headline.question if comparison.options else HOTTEST


def warmest_of(prediction: Prediction) -> str | None:
    """The reading that is expected to show most."""
    found = {question.name: value for question, value in prediction.answers.items() if question.kind == "reading"}
    return max(found, key=lambda name: found[name]) if found else None


def warmest_words(comparison: Comparison, one: OptionResult) -> str:
    """`C5`, or `C5, with the option C1`: which reading is the warmest."""
    before, after = warmest_of(comparison.base), warmest_of(one.prediction)
    return f"{before}" if before == after else f"{before}, with the option {after}"


def marks_of(comparison: Comparison) -> tuple[float | None, float | None]:
    """What gains are held against [K]: worth and scatter, as the verdict has them."""
    return comparison.worth_K, scatter_K(comparison)


def decimals_of(gain: Gain, *marks: float | None) -> int:
    """Decimals of a gain, the same as in its verdict."""
    low, high = gain.interval.low, gain.interval.high
    return decimals_apart(low, high, marks) if isfinite(high - low) else 1


def value_words(gain: Gain, *marks: float | None) -> str:
    """The gain [K] with no more digits than its doubts leave."""
    return fixed(gain.value_K, f".{decimals_of(gain, *marks)}f") if isfinite(gain.value_K) else UNKNOWN


def interval_words(gain: Gain, *marks: float | None) -> str:
    """`4.3 to 7.9`"""
    ends = (gain.interval.low, gain.interval.high)
    if not all(map(isfinite, ends)):
        return "unknown"
    decimals = decimals_of(gain, *marks)
    return " to ".join(fixed(end, f".{decimals}f") for end in ends)


def temperature_heads(coverage: float) -> tuple[str, str, str]:
    """Headings of the cells of one temperature."""
    return "expected [C]", "inputs [K]", f"{often(coverage)} times between [C]"


def temperature_words(one: Temperature) -> str:
    """One temperature with the digits that its mesh doubt leaves: as a prediction tells it."""
    return plain(one.value_C, one.mesh_K)


def temperature_cells(one: Temperature) -> tuple[str, str, str]:
    """`73.21 +- 0.05`, what the inputs leave of it, and where it lies by both."""
    told = with_doubt(one.value_C, one.mesh_K)
    if one.inputs is None:
        return told, UNKNOWN, UNKNOWN
    return told, *band_cells(one.value_C, one.inputs)


def temperatures_of(comparison: Comparison) -> list[tuple[str, dict[Observable, Temperature]]]:
    """Every temperature that has a gain, of the base and of each option."""
    base = {gain.question: gain.base for one in comparison.options for gain in one.gains}
    own = [(one.option, {gain.question: gain.option for gain in one.gains}) for one in comparison.options]
    return [(f"base, {comparison.base_name}", base), *own]


def temperatures_note(coverage: float) -> str:
    """Why two temperatures that overlap may still differ for sure."""
    return (
        "Each by itself: +- is the mesh doubt, the interval holds the tolerances of its inputs too. What base and "
        f"option share moves both alike: that {often(coverage)} gains lie elsewhere is no contradiction."
    )


def mesh_words(gain: Gain) -> str:
    """The mesh doubt of the gain [K]."""
    return f"+- {doubt_in_words(gain.mesh.half_width)}"


def scatter_K(comparison: Comparison) -> float | None:
    """How far two mounts of the same may differ [K], 19 times in 20; as the verdict has it."""
    one = comparison.one_mount_K
    return None if one is None else scatter_of_comparison(one)


def is_within_scatter(comparison: Comparison, one: OptionResult) -> bool | None:
    """Whether two mounts of the same may differ by as much as the headline gain; None where the case does not say."""
    scatter = scatter_K(comparison)
    return None if scatter is None else abs(one.headline.value_K) <= scatter


def scatter_words(comparison: Comparison, one: OptionResult) -> str:
    """Where the gain and its interval lie against the scatter between mounts."""
    scatter = scatter_K(comparison)
    if scatter is None:
        return "not said"
    ends = (one.headline.interval.low, one.headline.interval.high)
    if is_within_scatter(comparison, one):
        return "within it" if max(map(abs, ends)) <= scatter else "within it, maybe beyond"
    return "beyond it" if min(map(abs, ends)) > scatter and ends[0] * ends[1] > 0.0 else "beyond it, maybe within"


def scatter_note(comparison: Comparison) -> str:
    """How far two mounts of one chip differ, and who says so."""
    scatter = scatter_K(comparison)
    if scatter is None:
        return "How far two mounts of the same chip differ is not said: give `one_mount_K`, from mounts of your own."
    return (
        f"Scatter: two mounts of the same chip differ by up to {scatter:.2g} K, 19 times in 20, as one has a standard "
        f"deviation of {comparison.one_mount_K:g} K. A gain within it may not show on the bench."
    )


def worth_words(comparison: Comparison) -> str:
    """`over 2 K`, `over 0 K`: what a gain is held against."""
    return f"over {comparison.worth_K or 0.0:g} K"


def worth_note(comparison: Comparison) -> str:
    """What the column of worth means, and what is missing for it."""
    return " ".join([f"`{worth_words(comparison)}`: how likely a gain over that is.", *worth_missing(comparison)])


def worth_missing(comparison: Comparison) -> list[str]:
    """What to give so that a gain can be called worth it; nothing where it is given."""
    if comparison.worth_K is not None:
        return []
    return ["What gain is worth the step the case does not say: give `worth_K`. Until then none is called worth it."]


def way_words(comparison: Comparison) -> str:
    """How the tolerances were sampled, and how long that took."""
    return (
        f"{comparison.samples} samples of the tolerances, seed {comparison.seed}: {comparison.way}. "
        f"{comparison.seconds:.0f} s."
    )


def mesh_note(comparison: Comparison) -> str:
    """On what grids the base and its options were compared, and whether the accuracy held."""
    cells = [f"{step.cells:,}".replace(",", " ") for step in comparison.base.steps]
    note = f"Base and options on {len(cells)} grids that are alike, of {', '.join(cells)} cells in the base. "
    missed = [
        name for name, prediction in predictions(comparison) if prediction.status != "accuracy held"
    ]  # fmt: skip
    if missed:
        return f"{note}ACCURACY NOT HELD, {comparison.base.accuracy_K:g} K was asked for: {', '.join(missed)}."
    return f"{note}No mesh doubt of a temperature is above the {comparison.base.accuracy_K:g} K asked for."


def predictions(comparison: Comparison) -> list[tuple[str, Prediction]]:
    """Base and options by name."""
    return [
        (f"base, {comparison.base_name}", comparison.base),
        *((one.option, one.prediction) for one in comparison.options),
    ]


def base_words(comparison: Comparison) -> str:
    """What the options are compared with."""
    return f"the base ({comparison.base_name})"


def is_small_print(one: OptionResult) -> bool:
    """Whether both ways of propagation agree, so that it need not be said aloud."""
    return one.ways == AGREES


def remarks_of(comparison: Comparison, grave: bool) -> list[str]:
    """Remarks on the comparison, the base and each option, every one once; no caution that is told as such.

    grave : those that must be read before the numbers, or the others
    """
    cautions = tuple(words for one in comparison.options for words in one.cautions)
    told = (*comparison.remarks, *comparison.base.remarks)
    found = [(remark, remark) for remark in told]
    for one in comparison.options:
        own = [remark for remark in one.prediction.remarks if remark not in told]
        found += [(remark, f"{one.option}: {remark}") for remark in own]
    kept = [words for remark, words in found if is_grave(remark) == grave and not remark.endswith(cautions)]
    return list(dict.fromkeys(kept))


def whose_words(one: Contribution) -> str:
    """Whether an input belongs to both cases or to one of them."""
    return {"both": "shared", "base": "of the base", "option": "of the option"}[one.held_by]


def tolerance_words(one: Contribution) -> str:
    """`240 +- 30 um, measured`"""
    if one.path.startswith("material "):  # a factor on its conductivity
        return f"conductivity +- {100.0 * one.half_width / one.value:.0f} %, {one.basis or NO_BASIS}"
    words = f"{with_tolerance(one.value, one.half_width)} {one.unit}".rstrip()
    return f"{words}, {one.basis or NO_BASIS}"


def sensitivity_words(one: Contribution) -> str:
    """Kelvin of gain if the input rises by its whole half width: its unit drops out."""
    return fixed(one.sensitivity * one.half_width, "+.2g") if one.sensitivity else "0"


def shown_contributions(one: OptionResult, most: int, least: float = SEEN) -> list[Contribution]:
    """The largest contributions, those that can be seen at all."""
    ranked = sorted(one.contributions, key=lambda each: -each.share)
    return [each for each in ranked[:most] if each.share >= least]


def grid_share(one: OptionResult) -> float:
    """What the grids have of the variance of the gain: what the inputs leave."""
    return max(1.0 - sum(each.share for each in one.contributions), 0.0)


def opens_the_package(comparison: Comparison) -> list[str]:
    """Options that can be had and touch a layer or change one: they may ask for a step that cannot be undone."""
    before = comparison.base.case.layers
    return [one.option for one in comparison.options if one.case.layers != before and one.kind != "not to be had"]


def changes_of(comparison: Comparison, name: str) -> list[str]:
    """What an option of the file changes, as `solder.film_um: 30 +- 15`; nothing for the case as written."""
    option = next((option for option in comparison.case.options if option.option == name), None)
    return [] if option is None else list(_changes(option))


def _changes(option: Option) -> Iterator[str]:
    from thermsim.case.vocabulary.schema import Part

    if option.builds_on:
        yield f"with: {', '.join(option.builds_on)}"
    for added in option.adds:
        names = ", ".join(layer.part if isinstance(layer, Part) else layer.joint for layer in added.layers)
        where = f"above {added.above}" if added.above else f"below {added.below}" if added.below else None
        yield f"{names} {where or f'in place of {added.in_place_of}'}"
    for path, value in _flat(option.changes.items()):
        yield f"{path}: {value}"
    if option.same_height_by is not None:
        yield f"height kept by {option.same_height_by}"


def _flat(items: Iterable[tuple[str, Any]], before: str = "") -> Iterator[tuple[str, str]]:
    for key, value in items:
        path = f"{before}{key}"
        if not isinstance(value, dict):
            yield path, _plainly(value)
        elif "value" in value:
            words = _plainly(value["value"])
            words += f" +- {_plainly(value['plus_minus'])}" if "plus_minus" in value else ""
            yield path, words + (f", {value['basis']}" if "basis" in value else "")
        else:
            yield from _flat(value.items(), f"{path}.")


def _plainly(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return " x ".join(_plainly(one) for one in value) if isinstance(value, (list, tuple)) else str(value)


def exact(comparison: Comparison) -> list[tuple[str, list[str]]]:
    """What is taken as exact: inputs of the base without a tolerance, and those of options that differ from it.

    Where things are drawn on parts, and where probes are, is many numbers: it is said in one.
    """
    return [one for one in exact_by_case(_cases(comparison)) if one[1]]


def exact_words(comparison: Comparison) -> str:
    """As of one case, each input with the case it is of; the base first."""
    return words_of_exact(exact_of(_cases(comparison)))


def _cases(comparison: Comparison) -> list[tuple[str, Case]]:
    return [(name, prediction.case) for name, prediction in predictions(comparison)]

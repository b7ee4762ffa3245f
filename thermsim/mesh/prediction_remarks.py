"""What a reader of a prediction must be told beside its numbers, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf, isfinite

import numpy as np

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.prediction import Prediction
from thermsim.model.grid.plan import needed_GB
from thermsim.nearest_words import listed
from thermsim.plausibility.cautions import gallium_cautions, option_of
from thermsim.plausibility.likely_slips import slips_of
from thermsim.readout.field import Field
from thermsim.readout.materials_held import materials_not_held
from thermsim.readout.observable import HOTTEST, of_reading, temperatures
from thermsim.rounding import doubt_in_words, two_digits_up

# [C] above it silicon parts throttle or stop, so that a prediction points at a slip: common practice, no source.
SURVIVES_C = 125.0
# [C] hotter than solders, boards and polymers of any package hold: common practice, no source.
NOTHING_SURVIVES_C = 400.0
GRAVE = ("DANGER", "WARNING")
NOT_HELD = "WARNING: the accuracy of"
KINDS = {"hottest": "the hottest spot", "reading": "all readings", "zone": "all zones", "probe": "all probes"}
# Order in the width of cells by which a doubt is expected to fall: less than the second order of what is smooth, more
# than the first of what is not; our own choice.
FALLS = 1.5
SHARE_TOLD = 0.1  # of the accuracy, from which what film maps hide in cells is told: our own choice
MOST_NAMED = 3  # temperatures beyond the accuracy that are named; the others are counted


def remarks(prediction: Prediction) -> tuple[str, ...]:
    """Likely slips, temperatures no chip or material survives, accuracy not held, conductivities out of their range.

    What may make the numbers worthless begins with DANGER or WARNING.
    """
    hottest = prediction.answers[HOTTEST]
    return grave_first(
        [
            *remarks_of_state(prediction.case, prediction.field, hottest),
            *_holds_back(prediction),
            *_accuracy(prediction),
            *_flow_accuracy(prediction),
            *unseen_in_words(prediction.case, float(prediction.steps[-1].seen.unseen_sum), prediction.accuracy_K),
        ]
    )


def remarks_of_state(case: Case, field: Field, hottest_C: float) -> list[str]:
    """What must be told beside a steady state, and beside what ends there, whatever is known of its accuracy."""
    return [
        *slips_in_words(case),
        *_too_hot(field, hottest_C),
        *(f"WARNING: {one.words}" for one in materials_not_held(case, field)),
        *_touching(field),
        *_laws(field),
    ]


def grave_first(told: Iterable[str]) -> tuple[str, ...]:
    """Dangers, then warnings, then the others, each in the order they came in."""
    return tuple(sorted(told, key=lambda text: [text.startswith(word) for word in GRAVE], reverse=True))


def is_grave(remark: str) -> bool:
    """Whether a remark must be read before the numbers."""
    return remark.startswith(GRAVE)


def grave_remarks(prediction: Prediction) -> list[str]:
    """Those that no doubt holds: an accuracy that is not held is in the doubt of every answer."""
    return [remark for remark in prediction.remarks if is_grave(remark) and not remark.startswith(NOT_HELD)]


def _holds_back(prediction: Prediction) -> list[str]:
    """That a chip which holds back would not make all the power that a prediction takes."""
    case = prediction.case
    limit_C = case.limits.reading_C
    if not case.limits.holds_back or limit_C is None:
        return []
    over = [one.reading for one in case.readings if prediction.answers[of_reading(one.reading)] > limit_C]
    if not over:
        return []
    return [
        f"with all power as typed {listed(over)} would pass the limit of {limit_C:g} C, and this chip holds "
        "back: `warmup` and `afford` tell what is left"
    ]


def _accuracy(prediction: Prediction) -> list[str]:
    if prediction.status == "accuracy held":
        return []
    wanted, doubts = prediction.accuracy_K, prediction.doubts
    asked_of = temperatures(doubts)
    if prediction.accuracy_W is not None and all(doubts[question].half_width <= wanted for question in asked_of):
        return []
    beyond = sorted(
        (question for question in asked_of if not doubts[question].half_width <= wanted),
        key=lambda question: -doubts[question].half_width,
    )
    kinds = {question.kind for question in asked_of} - {question.kind for question in beyond}
    hold = [words for kind, words in KINDS.items() if kind in kinds]
    fail = [f"{question} ({doubt_in_words(doubts[question].half_width)} K)" for question in beyond[:MOST_NAMED]]
    fail += [f"{len(beyond) - MOST_NAMED} more"] if len(beyond) > MOST_NAMED else []
    text = f"{NOT_HELD} {wanted:g} K is not held"
    if fail:
        text += f": it is by {_listed(hold)}, but not by {_listed(fail)}" if hold else f" by {_listed(fail)}"
    return [f"{text}. {_remedy(prediction)}"]


def _flow_accuracy(prediction: Prediction) -> list[str]:
    wanted = prediction.accuracy_W
    if wanted is None or prediction.status == "accuracy held":
        return []
    flows = [(one, doubt.half_width) for one, doubt in prediction.doubts.items() if one.kind == "flow"]
    fail = [(one, width) for one, width in flows if wanted < width < inf]
    if not fail:
        return []
    labels = [flow.label for flow in prediction.field.flows]
    listed = _listed([f"{labels[int(one.name)]} ({doubt_in_words(width)} W)" for one, width in fail[:MOST_NAMED]])
    widest = doubt_in_words(max(width for _, width in fail))
    return [
        f"{NOT_HELD} {wanted:g} W is not held by the heat through {listed}. Ask for less, `accuracy_W: "
        f"{widest}`, or for more of the temperatures, which makes finer grids"
    ]


def _touching(field: Field) -> list[str]:
    """What has no number: heat between faces held at different temperatures that touch."""
    found = []
    for pair in field.touching:
        one, other = (field.model.coolings[number] for number in pair)
        found.append(
            f"WARNING: {one.label} ({one.words}) and {other.label} ({other.words}) touch: the heat that flows between "
            "them, and so through each, has no finite value. Leave a gap between them, give one a film, or hold what "
            "lies between at a temperature that falls along it (`low_C`, `high_C`, `towards`)"
        )
    return found


def unseen_in_words(case: Case, unseen_K: float, accuracy_K: float) -> list[str]:
    """Film maps finer than the cells of the finest grid, where that counts beside the accuracy asked for."""
    if unseen_K <= SHARE_TOLD * accuracy_K:
        return []
    names = _listed([joint.joint for joint in case.joints if joint.map_file is not None])
    return [
        f"the film map of {names} changes within a cell of the finest grid, which takes its mean there; that heat must "
        f"gather to the thin places may add {doubt_in_words(unseen_K)} K, which the mesh doubts hold"
    ]


def _remedy(prediction: Prediction) -> str:
    """Options that help: a doubt that is held as it is, or the memory of the grid that should hold what was asked."""
    widest, last = prediction.worst[1].half_width, prediction.steps[-1].multiplier
    remedies = [f"ask for less: `--accuracy {doubt_in_words(widest)}`"] if isfinite(widest) else []
    plan = prediction.plan
    finer = [multiplier for multiplier in plan.multipliers if multiplier > last]
    enough = [one for one in finer if widest * (last / one) ** FALLS <= prediction.accuracy_K]
    if enough:
        needed = needed_GB(plan.cells(enough[0]))
        remedies.append(f"allow the grid that should hold it: `--memory {two_digits_up(needed)}`")
    elif finer:
        remedies.append("do with it: no grid that a study may take is expected to hold it")
    else:
        remedies.append("there is no finer grid")
    text = ", or ".join(remedies)
    return text[0].upper() + text[1:]


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _laws(field: Field) -> list[str]:
    found = []
    for number, region in enumerate(field.model.regions):
        here = field.model.region == number
        if region.material.is_constant or not here.any():
            continue
        cells = field.temperature[here]
        low, high = float(np.min(cells)), float(np.max(cells))
        for law in dict.fromkeys(region.material.laws):
            if low < law.valid_C[0] or high > law.valid_C[1]:
                found.append(
                    f"{region.name} reaches from {low:.0f} to {high:.0f} C; the conductivity of {region.material.name} "
                    f"is known from {law.valid_C[0]:.0f} to {law.valid_C[1]:.0f} C"
                )
    return found


def _too_hot(field: Field, hottest: float) -> list[str]:
    heated = field.heat_made_W > 0.0
    if not heated and hottest > NOTHING_SURVIVES_C:
        return [f"WARNING: {hottest:.0f} C is hotter than any package: check temperatures, fluxes and films for a slip"]
    if not heated or hottest <= SURVIVES_C:
        return []
    return [
        f"WARNING: {hottest:.0f} C is hotter than a processor lets itself become: "
        "check power, joints and coolant films for a slip"
    ]


def slips_in_words(case: Case) -> list[str]:
    """Dangers and warnings of the case, and what gallium does to copper: that cannot be undone either."""
    told = [slip for slip in slips_of(case) if slip.severity != "notice"]
    told += [slip for slip in gallium_cautions(case, option_of(case)) if slip.severity == "notice"]
    return [f"{slip.severity.upper()}: {slip.place}: {slip.message}; {slip.remedy}" for slip in dict.fromkeys(told)]

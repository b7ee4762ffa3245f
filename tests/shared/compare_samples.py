"""A small comparison with gains made up, so that every text, cell and key can be told beforehand.

The predictions in it are real, on coarse grids.
"""

from __future__ import annotations

from functools import cache
from math import inf
from typing import Any

import numpy as np
from report_samples import PACKAGE

from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.comparison.decision import Kind, Lost
from thermsim.comparison.outcome import (
    Comparison,
    Contribution,
    FluxBounds,
    Gain,
    Interval,
    OptionResult,
    Temperature,
)
from thermsim.comparison.ranking import NextMeasurement
from thermsim.mesh.convergence import Doubt
from thermsim.mesh.input_doubt import Band
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.readout.observable import HOTTEST, WARMEST, of_reading

OPTIONS = """\
worth_K: 1
one_mount_K: 0.76532
options:
  - option: thicker lid
    changes: {lid.thickness_mm: {value: 3.0, plus_minus: 0.1, basis: measured}}
  - option: "no film <at> all"
    changes: {film: remove}
"""
AGREE = "Sensitivities and samples give the same interval."
NEXT = "Measure big.power_W next, to within 0.4 W (now 1 W)."
BOTH, OWN = "big.power_W", "lid.thickness_mm"


@cache
def base_and_options() -> tuple[Prediction, ...]:
    text = PACKAGE.replace("power_W: 9", "power_W: {value: 9, plus_minus: 1, basis: assumed}")
    case = parse_case(text + OPTIONS, "package.yaml")
    cases = [case, *(with_option(case, option.option) for option in case.options)]
    return tuple(predict(one, accuracy_K=50.0, first_cells=500) for one in cases)


def gain(question: tuple[str, ...], value: float, low: float, high: float, probability: float = 0.7) -> Gain:
    mesh = Doubt(value, value, 2.0, 0.02, "settles")
    interval = Interval(low, high, 0.01)
    base = Temperature(60.0, 0.03, Band(58.1, 62.3, 58.0, 62.4))
    return Gain(
        question,
        base,
        Temperature(60.0 - value, 0.04, Band(50.0, inf, 49.0, inf)),
        mesh,
        interval,
        interval,
        0.3 * (high - low),
        probability,
    )


def option(number: int, name: str, headline: Gain, kind: Kind, **more: Any) -> OptionResult:
    made = base_and_options()[number]
    power = Contribution(BOTH, "both", 9.0, "W", 1.0, "assumed", 0.25, 0.75)
    given: dict[str, Any] = {
        "gains": (headline, gain(of_reading("R big"), 1.234, 0.9, 1.6), gain(HOTTEST, 1.1, 0.8, 1.4)),
        "contributions": (power, Contribution(OWN, "option", 3.0, "mm", 0.1, "measured", -2.0, 0.25)),
        "next_measurement": None,
        "unfit": (),
        "ways": AGREE,
        "flux": FluxBounds(0.5, 1.75, "change of R'' times flux"),
        "words": f"{kind.capitalize()}: the gain is so much.",
        "cautions": (),
        "samples": np.array([1.0, 2.0]),
        "lost": Lost(1024, 0, 0, 0),
    }
    return OptionResult(option=name, case=made.case, prediction=made, headline=headline, kind=kind, **(given | more))


def comparison(*options: OptionResult, **more: Any) -> Comparison:
    base = base_and_options()[0]
    shown = options or (
        option(1, "thicker lid", gain(WARMEST, 4.27, 2.91, 5.58), "worth it"),
        option(
            2, "no film <at> all", gain(WARMEST, 0.4, -0.6, 1.3, 0.2), "undecided",
            next_measurement=NextMeasurement(BOTH, 0.4, "W", None, NEXT),
            words=f"Undecided: the gain is so much. {NEXT}",
            unfit=("big.power_W is known as 9 +- 1 W.",),
            cautions=("film brings a gallium alloy to lid",),
        ),
    )  # fmt: skip
    given: dict[str, Any] = {
        "coverage": 0.9, "worth_K": 1.0, "one_mount_K": 0.76532, "samples": 1024, "seed": 20_267,
        "way": "full solves on 500 cells", "seconds": 3.2, "remarks": ("the first remark", "WARNING: mind this"),
    }  # fmt: skip
    return Comparison(case=base.case, base_name="as in the file", base=base, options=tuple(shown), **(given | more))

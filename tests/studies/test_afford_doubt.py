"""What tolerances leave of clocks and powers, against closed forms and against `predict` of the same case."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq
from stacks import case_of, part

import thermsim
from thermsim.case.clock import Drive, driven
from thermsim.case.vocabulary.schema import Case
from thermsim.limits.afford import afford
from thermsim.limits.affordance import Affordance
from thermsim.report.text.afford_table import affordance_blocks, document

CLOCK = {"frequency_GHz": 4.0, "voltage_V": 1.0, "steps": [{"frequency_GHz": 5.0, "voltage_V": 1.2}]}


def slab(film: Any = 5000, power: Any = 50, fluid: Any = 25, limit_C: float = 95, **more: Any) -> Case:
    """20 x 20 x 5 mm of 400 W/mK: T = fluid + P (1/(film A) + t/(k A)), as in `test_afford`."""
    heat = [{"in": "slab", "zones": [{"zone": "core", "power_W": power}], **more.pop("law", {})}]
    top = [{"face": "top", "film_W_m2K": film, "fluid_C": fluid}]
    given = {"readings": [{"reading": "R", "zone": "core"}], "limits": {"reading_C": limit_C}, "clock": CLOCK, **more}
    return case_of([part("slab", [20, 20], 5, 400)], heat, top, **given)


TOLERANT = slab({"value": 5000, "plus_minus": 1000}, {"value": 50, "plus_minus": 5}, {"value": 25, "plus_minus": 1})


@pytest.fixture(scope="module")
def found() -> Affordance:
    return afford(TOLERANT)


def test_power_at_least_is_that_of_the_closed_form(found: Affordance) -> None:
    """19 times in 20 below 95 C: film 4000 to 6000 W/m2K, power +- 10 %, coolant +- 1 K, sampled with scipy.stats."""
    random = np.random.default_rng(31_337)
    film, scale, fluid = (
        stats.uniform(low, width).rvs(200_000, random_state=random)
        for low, width in ((4000, 2000), (0.9, 0.2), (24, 2))
    )
    resistance = 1.0 / (film * 4e-4) + 0.005 / (400 * 4e-4)

    def over(power_W: float) -> float:
        return float(np.quantile(fluid + power_W * scale * resistance, 0.95)) - 95.0

    power = found.answers[0].power
    assert power is not None
    assert power.value_W == pytest.approx(70 / 0.53125, rel=1e-3)
    assert power.least_W == pytest.approx(brentq(over, 50, 150), rel=0.01)


def test_clock_as_typed_is_that_of_predict(found: Affordance) -> None:
    alone = thermsim.with_input_doubt(thermsim.predict(TOLERANT))
    assert alone.inputs is not None
    band, step = alone.inputs.bands["reading", "R"], found.answers[0].steps[0]
    assert step.is_typed
    assert step.highest_reading_C == pytest.approx(alone.answers["reading", "R"], abs=1e-9)
    assert (step.reading_low_C, step.reading_high_C) == pytest.approx((band.both_low, band.both_high), abs=1e-9)
    assert step.margin_least_K == pytest.approx(95 - band.both_high, abs=1e-9)


def test_no_clock_is_safe_within_the_doubt_of_inputs(found: Affordance) -> None:
    """90 W: 25 + 90 x 0.53125 = 72.8 C, below 95 C; with a limit of 76 C only the mesh would call it safe."""
    assert [step.verdict for step in found.answers[0].steps] == ["yes", "yes"]
    tight = afford(slab({"value": 5000, "plus_minus": 1000}, limit_C=76)).answers[0]
    assert [step.verdict for step in tight.steps] == ["yes", "within doubt"]
    assert tight.affordable == tight.steps[0]
    assert [step.verdict for step in afford(slab(limit_C=76)).answers[0].steps] == ["yes", "yes"]


def test_tolerances_are_told_and_what_is_exact(found: Affordance) -> None:
    told = words(found)
    assert "at least: what all tolerances and the mesh doubt leave, 19 times in 20." in told
    assert "Taken as exact, for no tolerance is given: " in told
    assert "slab.thickness_mm 5 mm" in document(found)["taken_as_exact"]
    assert document(found)["coverage"] == 0.9
    exact = afford(slab())
    assert "what the mesh doubt leaves, as if everything were exact: no input has a tolerance." in words(exact)
    assert "top.film_W_m2K 5000 W/m2K" in document(exact)["taken_as_exact"]


@pytest.mark.slow
def test_nothing_is_safe_where_tolerances_reach_runaway() -> None:
    """R = 1/(hA) + t/(kA): doubling within 15 K runs away at a film of 4000 W/m2K long before the 150 C asked for."""
    law = {"law": {"leakage": {"share": 0.2, "doubling_K": 15, "at_C": 60}}}
    case = slab({"value": 5000, "plus_minus": 2500}, limit_C=150, **law)
    runs = afford(case)
    answer = runs.answers[0]
    assert answer.power is not None
    assert answer.power.least_W is None or answer.power.least_W < 0.9 * answer.power.value_W
    assert all(step.verdict != "yes" for step in answer.steps[1:])
    assert all(step["margin_least_K"] is None or step["verdict"] for step in document(runs)["afford"][0]["steps"])


def test_tolerances_of_powers_are_driven_with_them() -> None:
    """(1.2)^2 5/4 = 1.8: 50 +- 5 W become 90 +- 9 W."""
    power = driven(TOLERANT, Drive(1.8, 1.2)).heat[0].zones[0].power_W
    assert (power.value, power.plus_minus) == pytest.approx((90.0, 9.0), rel=1e-12)


def words(found: Affordance) -> str:
    parts = []
    for block in affordance_blocks(found):
        parts += [block.title, *block.lines, *block.notes]
    return "\n".join(parts)

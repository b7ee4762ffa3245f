"""Power that grows with temperature: closed forms, the limit, and refusal beyond it.

Closed forms: T = Ta + R Pd - s W0(-A), A = (R P0/s) exp((Ta + R Pd - T0)/s), with Lambert's function (Corless et al.,
Adv. Comput. Math. 5 (1996) 329); an exponential law over 20 to 85 C: De Vogeleer et al., arXiv:1404.3381.
"""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest
from scipy.special import lambertw
from stacks import case_of, even_grid, film, joint, part, rise, solve_case, solve_on

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import RunawayError
from thermsim.model.build import build_model
from thermsim.proof.closed_form.nonlinear import Leakage, leakage_balance, leakage_limit
from thermsim.readout.field import Field
from thermsim.solver.runaway_limit import limit_of
from thermsim.solver.steady import steady_state

COOLANT, DYNAMIC, AT_SET, SET = 30.0, 150.0, 20.0, 60.0
DOUBLING = 20.0
AREA = 1e-4  # [m2]
EXPONENTIAL = {"at_C": SET, "share": AT_SET / (DYNAMIC + AT_SET), "doubling_K": DOUBLING}


def uniform_stack(
    resistance: float, leakage: dict[str, Any], watts: float = DYNAMIC + AT_SET, at: str = "bottom"
) -> Case:
    """A die of 100 mm2 whose path to the coolant has this resistance [K/W], three quarters of it in the film."""
    die = 0.7e-3 / 120 / AREA if at == "bottom" else 0.0
    k = 120.0 if at == "bottom" else 1e6
    jointed = 0.25 * resistance - 0.1 * die
    outer = resistance - jointed - die - 2e-3 / 400 / AREA
    layers = [part("die", [10, 10], 0.7, k), joint("film", 1e6 * jointed * AREA), part("lid", [10, 10], 2, 400)]
    heat = [{"in": "die", "at": at, "leakage": leakage, "zones": [{"zone": "die", "power_W": watts}]}]
    return case_of(layers, heat, [film("top", 1 / (outer * AREA), COOLANT)])


def solved(case: Case, widest: float = 5.0) -> Field:
    return solve_on(case, even_grid(case, [widest, widest, 0.2]))


def test_exponential_law_against_lambert() -> None:
    """76.294952 C and 35.179808 W of leakage, to 1e-6 K."""
    leakage = Leakage.doubling(AT_SET, SET, DOUBLING)
    exact = leakage_balance(COOLANT, 0.25, DYNAMIC, leakage)
    assert exact.stable_C == pytest.approx(76.294952, abs=1e-6)
    field = solved(uniform_stack(0.25, EXPONENTIAL))
    assert rise(field, "die") == pytest.approx(exact.stable_C, abs=1e-6)
    assert field.zones[0].power_W - DYNAMIC == pytest.approx(35.179808, abs=1e-5)
    assert field.heat_balance_relative < 1e-9


@pytest.mark.parametrize("resistance", [0.16, 0.2, 0.25, 0.29, 0.303, 0.3055])
def test_exponential_law_up_to_the_limit(resistance: float) -> None:
    """The stable branch all the way to R_crit = 0.30595643 K/W, from the principal branch itself."""
    slope = DOUBLING / math.log(2.0)
    base = COOLANT + resistance * DYNAMIC
    a = resistance * AT_SET / slope * math.exp((base - SET) / slope)
    exact = base - slope * float(lambertw(-a, 0).real)
    field = solved(uniform_stack(resistance, EXPONENTIAL))
    # Next to the fold a small error of the balance becomes a large one of temperature.
    room = 1.0 - resistance * AT_SET / slope * math.exp((exact - SET) / slope)
    assert rise(field, "die") == pytest.approx(exact, abs=1e-7 / room)


def test_heat_in_the_volume_leaks_alike() -> None:
    """Volume heat in a die of all but infinite conductivity: the lumped answer again."""
    field = solved(uniform_stack(0.25, EXPONENTIAL, at="volume"))
    assert rise(field, "die") == pytest.approx(76.294952, abs=1e-3)


def test_linear_law() -> None:
    """T = [Ta + R (Pd + P0 (1 - b T0))]/(1 - R b P0) = 75.120117 C with b = ln 2/20, in one linear solve."""
    growth = math.log(2.0) / 20 * AT_SET / (DYNAMIC + AT_SET)
    case = uniform_stack(0.25, {"at_C": SET, "per_K": growth})
    field = solved(case)
    assert rise(field, "die") == pytest.approx(75.120117, abs=1e-6)
    assert field.model.is_linear
    assert field.heat_balance_relative < 1e-9


@pytest.mark.parametrize("widest", [10.0, 5.0, 1.0])
@pytest.mark.parametrize("resistance", [0.3065, 0.32, 0.5, 2.0])
def test_runaway_is_reported_with_the_limit(resistance: float, widest: float) -> None:
    """Beyond R_crit: an error, never a last iterate; the share of the power that still stands is right to 0.2 %."""
    slope = DOUBLING / math.log(2.0)
    assert leakage_limit(COOLANT, DYNAMIC, Leakage.doubling(AT_SET, SET, DOUBLING)).resistance_K_W == pytest.approx(
        0.30595643, abs=1e-8
    )

    def distance(share: float) -> float:
        """ln A + 1 with both kinds of power scaled: zero at the limit, rising with the share."""
        base = COOLANT + resistance * share * DYNAMIC
        return math.log(resistance * share * AT_SET / slope) + (base - SET) / slope + 1.0

    low, high = 1e-6, 1.0
    for _ in range(60):
        low, high = (0.5 * (low + high), high) if distance(0.5 * (low + high)) < 0 else (low, 0.5 * (low + high))
    with pytest.raises(RunawayError) as told:
        solved(uniform_stack(resistance, EXPONENTIAL), widest)
    found = re.search(r"up to about ([0-9.]+) W", str(told.value))
    assert found is not None
    assert f"{found.group()} typed" in str(told.value)  # leakage at the temperatures found comes to it
    assert float(found.group(1)) == pytest.approx(low * (DYNAMIC + AT_SET), rel=2e-3, abs=0.2)


@pytest.mark.parametrize("watts", [1.5, 5.0, 50.0])
def test_linear_law_beyond_its_limit(watts: float) -> None:
    """R b P >= 1 has no stable state at any coolant temperature; the formula would give a negative rise."""
    resistance, growth = 0.9, 1.0
    assert resistance * growth * watts > 1.0
    with pytest.raises(RunawayError):
        solved(uniform_stack(resistance, {"at_C": COOLANT, "per_K": growth}, watts))


def test_limit_of_a_stack_that_spreads() -> None:
    """Just below the limit a steady state is found, just above it is refused; the hot zone runs away first."""

    def stack(watts: float) -> Case:
        zones = [
            {"zone": "hot", "corner_mm": [1, 1], "size_mm": [3, 3], "power_W": 0.7 * watts},
            {"zone": "rest", "corner_mm": [5, 1], "size_mm": [4, 8], "power_W": 0.3 * watts},
        ]
        leakage = {"at_C": 60, "share": 0.3, "doubling_K": 18}
        heat = [{"in": "die", "at": "bottom", "leakage": leakage, "zones": zones}]
        layers = [part("die", [10, 10], 0.7, "silicon"), joint("film", 10), part("lid", [25, 25], 2, "copper")]
        return case_of(layers, heat, [film("top", 8000, 30)])

    case = stack(400.0)
    grid = even_grid(case, [1, 1, 0.35])
    limit = limit_of(build_model(case, grid)).share
    assert 0.01 < limit < 1.0
    below, above = stack(400.0 * limit * 0.999), stack(400.0 * limit * 1.005)
    assert np.isfinite(solve_on(below, grid).hottest[0])
    with pytest.raises(RunawayError):
        solve_on(above, grid)


def test_conductivity_that_rises_is_not_taken_for_runaway() -> None:
    """A slab whose k rises from 20 to 200 W/mK: cold, it conducts so badly that a first guess overshoots.

    Exact, by Kirchhoff's transform in one dimension: the film first, then the integral of k over the slab.
    """
    points = [(20.0, 20.0), (100.0, 200.0)]
    flux_of_leak = {"at_C": 60.0, "share": 0.1, "doubling_K": 25.0}
    watts, strength, thickness = 120.0, 50_000.0, 2e-3

    def power(hot: float) -> float:
        return watts * (0.9 + 0.1 * 2.0 ** ((hot - 60.0) / 25.0))

    def integral(t: float) -> float:
        """Of k from 20 C to t, with k constant above 100 C."""
        inside = min(t, 100.0) - 20.0
        return 20.0 * inside + 0.5 * (180.0 / 80.0) * inside**2 + 200.0 * max(t - 100.0, 0.0)

    def missing(hot: float) -> float:
        flux = power(hot) / AREA
        cool = 20.0 + flux / strength
        return integral(hot) - integral(cool) - flux * thickness

    low, high = 20.0, 95.0
    assert missing(low) < 0.0 < missing(high)
    for _ in range(80):
        low, high = (0.5 * (low + high), high) if missing(0.5 * (low + high)) < 0 else (low, 0.5 * (low + high))
    heat = [{"in": "slab", "at": "bottom", "leakage": flux_of_leak, "zones": [{"zone": "z", "power_W": watts}]}]
    material = {"conductivity_W_mK": {"table": [list(point) for point in points]}}
    case = case_of([part("slab", [10, 10], 2, material)], heat, [film("top", strength, 20)])
    field = solve_on(case, even_grid(case, [10, 10, 0.02]))
    assert rise(field, "z") == pytest.approx(low, abs=5e-3)


def test_study_with_leakage_and_silicon_settles() -> None:
    """Leakage (Newton) and k(T) (Picard) together: heat made, heat out and the law agree on the answer itself."""
    zones = [{"zone": "hot", "corner_mm": [1, 1], "size_mm": [9, 7], "power_W": 120.0}]
    heat = [{"in": "die", "at": "bottom", "leakage": {"at_C": 70, "share": 0.25, "doubling_K": 25}, "zones": zones}]
    layers = [part("die", [12, 9], 0.7, "silicon"), joint("film", 8), part("lid", [30, 30], 2.5, "copper")]
    case = case_of(layers, heat, [film("top", 12_000, 30)])
    field = solve_case(case, 6000)
    source = field.model.face_sources[0]
    face = field.heated_face[0]
    made = float((source.watts * (0.75 + 0.25 * 2.0 ** ((face - 70) / 25))).sum())
    assert field.zones[0].power_W == pytest.approx(made, rel=1e-12)
    assert field.flows[0].heat_W == pytest.approx(made, rel=1e-8)
    model = build_model(case, field.model.grid)
    again = steady_state(model, field.guess)
    assert np.nanmax(np.abs(again.solution.temperature - field.temperature)) < 1e-6

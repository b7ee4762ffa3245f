"""Superposition of zones against full solves, reciprocity and the closed form of a slab."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from stacks import case_of, film, joint, part, solve_case, solve_on

from thermsim.case.inputs.values import with_inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.mesh.predict import predict
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.superposition import resistances, superposition, with_resistances
from thermsim.readout.answers import answers

SEED = 7_311

ZONES = [
    {"zone": "A", "corner_mm": [0.0, 0.0], "size_mm": [3.0, 4.0], "power_W": 5.0},
    {"zone": "B", "corner_mm": [3.0, 0.0], "size_mm": [5.0, 2.0], "power_W": 9.0},
    {"zone": "C", "corner_mm": [5.0, 3.0], "size_mm": [2.0, 2.0], "power_W": 0.0},
]


def stack(at: str = "bottom", k_die: Any = 130.0, **heat: Any) -> Case:
    """A die with an insert of void and one of another material, under a lid; fluxes and films on its faces."""
    void = {"material": {"name": "void"}, "corner_mm": [0.5, 5.2], "size_mm": [1.0, 0.5]}
    slug = {"material": {"conductivity_W_mK": 400.0}, "corner_mm": [6.0, 4.0], "size_mm": [1.5, 1.0]}
    layers = [
        part("board", [12.0, 10.0], 1.0, [8.0, 0.5]),
        part("die", [8.0, 6.0], 0.5, k_die, inserts=[void, slug]),
        joint("solder", 6.0),
        part("lid", [11.0, 9.0], 2.0, 390.0),
    ]
    cooling = [
        film("top", 9000.0, 31.0),
        film("bottom", 15.0, 27.0),
        film("exposed", 11.0, 25.0),
        {"face": "left", "flux_W_mm2": 0.002},
    ]
    probes = [
        {"probe": "deep", "in": "die", "at_mm": [3.7, 1.3, 0.21]},
        {"probe": "on a line", "in": "die", "at_mm": [3.0, 2.0, 0.0]},
    ]
    readings = [
        {"reading": "mean", "zone": "B", "takes": "mean", "offset_K": 1.5},
        {"reading": "point", "probe": "deep", "offset_K": -0.5},
        {"reading": "top", "zone": "A", "takes": "highest"},
    ]
    entry = {"in": "die", "at": at, "zones": ZONES, **heat}
    return case_of(layers, [entry], cooling, probes=probes, readings=readings)


@pytest.mark.parametrize("at", ["bottom", "top", "volume"])
def test_a_linear_case_agrees_with_full_solves_for_any_power_map(at: str) -> None:
    """Source: linearity; the full solve is the independent answer."""
    case = stack(at)
    grid = plan_grid(case, 4000).grid(1)
    found = superposition(case, solve_on(case, grid))
    powers = np.random.default_rng(SEED).uniform(0.0, 40.0, (3, 3))
    for row, answer in zip(powers, found.temperatures(powers), strict=True):
        changed = with_inputs(
            case, {f"{zone.name}.power_W": float(p) for zone, p in zip(found.zones, row, strict=True)}
        )
        whole = answers(changed, solve_on(changed, grid))
        expected = np.array([whole[question] for question in found.questions])
        assert np.abs(answer - expected).max() < 1e-9 * (expected.max() - 25.0)
    assert [one.name for one in found.questions if one.kind == "reading"] == ["mean", "point"]


@pytest.mark.parametrize("at", ["bottom", "volume"])
def test_the_matrix_of_zones_is_symmetric(at: str) -> None:
    """Source: reciprocity of heat conduction (Carslaw and Jaeger 1959, section 14.3, from memory)."""
    case = stack(at)
    matrix = superposition(case, solve_case(case)).matrix
    assert np.abs(matrix - matrix.T).max() < 1e-9 * matrix.max()
    assert np.all(np.linalg.eigvalsh(0.5 * (matrix + matrix.T)) > 0.0)


def test_reciprocity_holds_with_conductivity_and_leakage_that_depend_on_temperature() -> None:
    case = stack(k_die={"conductivity_W_mK": {"value": 148.0, "at_C": 25.0, "exponent": 1.3}},
                 leakage={"per_K": 0.004, "at_C": 60.0})  # fmt: skip
    field = solve_case(case)
    found = superposition(case, field)
    assert np.abs(found.matrix - found.matrix.T).max() < 1e-9 * found.matrix.max()
    whole = answers(case, field)
    at_base = found.temperatures(found.base_W)[0]
    assert np.abs(at_base - [whole[question] for question in found.questions]).max() == 0.0
    assert found.base_W == pytest.approx([whole["zone", zone.name, "power"] for zone in found.zones], rel=1e-12)


def test_a_slab_has_the_resistance_of_its_layers_in_series() -> None:
    """Source: one-dimensional conduction, R = (t/k + 1/h)/A; a whole face is heated and cooled."""
    case = case_of(
        [part("slab", [10.0, 10.0], 2.0, 50.0)],
        [{"in": "slab", "at": "bottom", "zones": [{"zone": "all", "power_W": 3.0}]}],
        [film("top", 4000.0, 20.0)],
    )
    found = superposition(case, solve_case(case))
    assert found.matrix[0, 0] == pytest.approx((2e-3 / 50.0 + 1.0 / 4000.0) / 1e-4, rel=1e-9)


def test_a_slice() -> None:
    case = case_of(
        [part("base", [20.0], 1.0, 20.0), part("bar", [6.0], 1.0, 100.0)],
        [{"in": "bar", "at": "top", "zones": [{"zone": "L", "corner_mm": [0.0], "size_mm": [2.0], "power_W": 30.0},
                                              {"zone": "R", "corner_mm": [3.0], "size_mm": [3.0], "power_W": 10.0}]}],
        [film("bottom", 2000.0, 20.0)],
        dimensions=2,
    )  # fmt: skip
    grid = plan_grid(case, 1000).grid(2)
    found = superposition(case, solve_on(case, grid))
    changed = with_inputs(case, {"L.power_W": 4.0, "R.power_W": 70.0})
    whole = answers(changed, solve_on(changed, grid))
    expected = [whole[question] for question in found.questions]
    assert found.temperatures([4.0, 70.0])[0] == pytest.approx(expected, abs=1e-9 * max(expected))


def test_off_the_base_the_error_is_within_the_change_of_conductivity() -> None:
    """Source: |dT| <= max|dk/k| times the rise that the changed heat makes, for a resistance that is inverse in k."""
    law = {"value": 148.0, "at_C": 25.0, "exponent": 1.3}
    case = stack(k_die={"conductivity_W_mK": law})
    grid = plan_grid(case, 4000).grid(1)
    base = solve_on(case, grid)
    found = superposition(case, base)
    powers = 1.2 * found.base_W
    changed = with_inputs(case, {f"{zone.name}.power_W": float(p) for zone, p in zip(found.zones, powers, strict=True)})
    field = solve_on(changed, grid)
    whole = answers(changed, field)
    error = found.temperatures(powers)[0] - [whole[question] for question in found.questions]
    kelvin = 273.15 + np.array([np.nanmax(one.temperature) for one in (base, field)])
    change = (kelvin[1] / kelvin[0]) ** 1.3 - 1.0
    assert 1e-3 < np.abs(error).max() < change * (kelvin[1] - 273.15 - 25.0)


def test_resistances_carry_mesh_doubts_that_hold_a_finer_grid() -> None:
    case = stack()
    plan = plan_grid(case, 1500)
    found = resistances(case, plan)
    off = np.abs(found.resistance - resistances(case, plan, (3, 4, 6, 8)).resistance)
    assert found.half_width.shape == off.shape
    assert np.all(off < found.half_width)


def test_a_prediction_brings_its_resistances_from_the_same_grids(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same as on those grids by themselves; told before each; left out where memory has no room for all zones."""
    case = stack()
    told: list[str] = []
    prediction, found = with_resistances(case, accuracy_K=1.0, progress=told.append)
    assert found is not None and prediction.answers == predict(case, accuracy_K=1.0).answers
    first = prediction.steps[:4]
    alone = resistances(case, prediction.plan, [step.multiplier for step in first])
    assert found.resistance == pytest.approx(alone.resistance, rel=1e-6)
    of_zones = [line for line in told if line.startswith("thermal")]
    assert of_zones == [f"thermal resistances of 3 zones on {step.cells:,} cells" for step in first]
    monkeypatch.setattr("thermsim.nearby.superposition.BYTES_PER_ZONE", 1e6)  # as if there were a thousand zones
    assert with_resistances(case, accuracy_K=1.0)[1] is None


def test_a_map_of_the_wrong_length_is_refused() -> None:
    case = stack()
    found = superposition(case, solve_case(case, 1500, 1))
    with pytest.raises(ThermsimError, match="3 zones"):
        found.temperatures([1.0, 2.0])
    with pytest.raises(ThermsimError, match="no number"):
        found.temperatures([1.0, 2.0, float("nan")])

"""The small model against full solves it has not seen, and each of its formulas against a slow, dense twin."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from stacks import case_of, film, joint, part, solve_on
from test_gradients import filled
from test_superposition import stack

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.model.assemble import Stencil, assemble
from thermsim.model.build import build_model
from thermsim.model.coefficients.entries import Layout, entries_at
from thermsim.model.coefficients.groups import check_varies, numbers, topology
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.nearby.small_model import Reduced
from thermsim.nearby.small_model_training import reduce
from thermsim.readout.answers import answers
from thermsim.solver.reduced import energy_basis, groups, interpolation, small_model, sum_of_terms, times

Array = NDArray[np.float64]

SEED = 6_421
CASES = Path(__file__).parents[2] / "cases"
FALLING = {"conductivity_W_mK": {"value": 148.0, "at_C": 25.0, "exponent": 1.3}}
LEAKAGE = {"per_K": 0.004, "at_C": 60.0}


def varied_case(case: Case, rng: np.random.Generator, spread: float = 0.3) -> Case:
    """Every number changed that a small model lets pass."""
    values = {}
    for one in inputs(case):
        try:
            check_varies(case, [one])
        except ThermsimError:
            continue
        value = one.value * rng.uniform(1.0 - spread, 1.0 + spread) + (0.1 if one.value == 0.0 else 0.0)
        values[one.path] = min(value, one.bounds.high)
    return with_inputs(case, values)


def dense(stencil: Stencil) -> Array:
    """The matrix of a heat balance, cell by cell: the slow twin of every product with it."""
    cells = np.arange(stencil.ground.size).reshape(stencil.ground.shape)
    matrix = np.diag(stencil.ground.ravel())
    for axis, conductance in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
        low, high = (np.delete(cells, end, axis=axis) for end in (cells.shape[axis] - 1, 0))
        for one, other, link in zip(low.ravel(), high.ravel(), conductance.ravel(), strict=True):
            matrix[one, one] += link
            matrix[other, other] += link
            matrix[one, other] -= link
            matrix[other, one] -= link
    return matrix


@pytest.mark.parametrize("at", ["bottom", "top", "volume"])
def test_single_entries_are_those_of_the_whole_balance(at: str) -> None:
    """Twin: `assemble` of the changed case on its own grid, for random cell temperatures."""
    rng = np.random.default_rng(SEED)
    check_entries(stack(at, FALLING, leakage=LEAKAGE), rng)


def test_single_entries_where_fills_reach_into_gaps() -> None:
    check_entries(filled(), np.random.default_rng(SEED))


def check_entries(case: Case, rng: np.random.Generator) -> None:
    plan = plan_grid(case, 900)
    base = topology(case, build_model(case, plan.grid(1)))
    changed = varied_case(case, rng)
    model = build_model(changed, alike(plan, case, changed).grid(1))
    cells = rng.uniform(20.0, 90.0, model.grid.shape)
    faces = tuple(rng.uniform(20.0, 90.0, model.grid.shape[:2]) for _ in model.face_sources)
    whole = Layout(model.grid.shape).vector(assemble(model, model.guess(cells, faces)))
    chosen = rng.choice(np.flatnonzero(whole), 600, replace=False)
    entries = entries_at(base, chosen)
    below, above = (cells.ravel()[None, side.cell] for side in (entries.faces.lower, entries.faces.upper))
    found = entries.values(numbers(base, [changed]), numbers(base, [case]), below, above)[0]
    assert np.abs(found / whole[chosen] - 1.0).max() < 1e-12


def test_the_small_balance_is_the_projection_of_the_whole_one() -> None:
    """Twin: V' A V and V' (f - T_ref g) of dense matrices; affine in the groups, so exact for a case never seen."""
    rng = np.random.default_rng(SEED + 1)
    case = stack(leakage=LEAKAGE)
    plan = plan_grid(case, 500)
    base = topology(case, build_model(case, plan.grid(1)))

    def stencil_of(one: Case) -> Stencil:
        model = build_model(one, alike(plan, case, one).grid(1))
        return assemble(model, model.first_guess())

    layout = Layout(base.model.grid.shape)
    probes = np.array([layout.vector(stencil_of(one)) for one in [case, *(varied_case(case, rng) for _ in range(3))]])
    parts = groups(base, probes)
    vectors = rng.normal(size=(base.model.grid.cells, 5)) * (base.model.region.ravel() >= 0)[:, None]
    small = small_model(base, sum_of_terms(parts, probes[:, parts.uneven], 1e-9), vectors, numbers(base, [case]), 25.0)
    assert len(parts.uneven) == 0 and len(parts.alike) < 200
    unseen = varied_case(case, rng)
    stencil = stencil_of(unseen)
    nowhere = np.zeros((1, len(small.below)))
    factors = small.entries.values(numbers(base, [unseen]), small.base, nowhere, nowhere)[0] @ small.mix
    matrix, right = np.tensordot(factors, small.matrices, 1), factors @ small.vectors
    expected = vectors.T @ dense(stencil) @ vectors
    assert np.abs(matrix - expected).max() < 1e-11 * np.abs(expected).max()
    wanted = vectors.T @ (stencil.heat - 25.0 * stencil.ground).ravel()
    assert np.abs(right - wanted).max() < 1e-10 * np.abs(wanted).max()


def test_a_basis_is_orthonormal_in_the_energy_and_holds_its_fields() -> None:
    rng = np.random.default_rng(SEED + 2)
    case = stack()
    model = build_model(case, plan_grid(case, 500).grid(1))
    stencil = assemble(model, model.first_guess())
    matrix = dense(stencil)
    fields = rng.normal(size=(6, model.grid.cells)) * (model.region.ravel() >= 0)
    assert times(stencil, fields) == pytest.approx(fields @ matrix, abs=1e-12 * np.abs(matrix).max())
    vectors, energies = energy_basis(stencil, fields, 6)
    assert vectors.T @ matrix @ vectors == pytest.approx(np.eye(6), abs=1e-10)
    assert np.all(np.diff(energies) < 0.0)
    assert vectors @ (vectors.T @ matrix @ fields.T) == pytest.approx(fields.T, abs=1e-10)


def test_interpolation_is_exact_for_what_a_few_courses_span() -> None:
    rng = np.random.default_rng(SEED + 3)
    seen = rng.normal(size=(20, 3)) @ rng.normal(size=(3, 200))
    courses, points = interpolation(seen, 1e-9)
    assert len(courses) == 3 and len(points) == len(set(points.tolist())) == 6
    unseen = np.array([0.3, -1.0, 2.0]) @ seen[:3]
    shares = np.linalg.lstsq(courses[:, points].T, unseen[points], rcond=None)[0]
    assert shares @ courses == pytest.approx(unseen, abs=1e-10)
    assert np.linalg.svd(courses[:, points], compute_uv=False)[-1] > np.sqrt(3 / 200)  # no worse than even places


def held_against_full_solves(model: Reduced, case: Case, plan: Any, count: int) -> tuple[Array, Array]:
    """Misses and doubts (count, questions) [K] at random cases within the ranges."""
    rng = np.random.default_rng(SEED + 4)
    table = model.low + (model.high - model.low) * rng.random((count, len(model.low)))
    found = model.answers(table)
    truth = []
    for row in table.tolist():
        changed = with_inputs(case, dict(zip([one.path for one in model.varied], row, strict=True)))
        whole = answers(changed, solve_on(changed, alike(plan, case, changed).grid(1)))
        truth.append([whole[question] for question in model.questions])
    assert np.all(found.inside)
    return np.abs(found.values - np.array(truth)), found.doubts


def some_inputs(case: Case, paths: list[str]) -> list[Any]:
    """Inputs with a tolerance of a tenth, so that ranges reach 30 % to either side."""
    from dataclasses import replace

    known = {one.path: one for one in inputs(case)}
    return [replace(known[path], plus_minus=0.1 * known[path].value) for path in paths]


@pytest.mark.parametrize(("at", "k"), [("bottom", 130.0), ("top", FALLING), ("volume", FALLING)])
def test_doubts_cover_full_solves_never_seen(at: str, k: Any) -> None:
    case = stack(at, k, leakage=LEAKAGE)
    plan = plan_grid(case, 900)
    varied = some_inputs(case, ["die.thickness_mm", "solder.resistance_mm2K_W", "cooling.top.film_W_m2K", "A.power_W"])
    model = reduce(case, varied=varied, plan=plan, solved=20, held_out=12)
    misses, doubts = held_against_full_solves(model, case, plan, 10)
    assert np.all(misses <= doubts + 1e-6)
    exact = [column for column, question in enumerate(model.questions) if question.kind in ("zone", "hottest")]
    assert misses[:, exact].max() < 0.05


@pytest.mark.slow
def test_doubts_of_the_demo_cover_and_are_small() -> None:
    """All its tolerances at three times their width: silicon that conducts less when hot, leakage, sensors."""
    case = read_case(CASES / "crooked-film.yaml")
    plan = plan_grid(case, 4000)
    model = reduce(case, plan=plan)
    assert len(model.varied) == 19
    misses, doubts = held_against_full_solves(model, case, plan, 20)
    assert np.all(misses <= doubts)
    readings = [column for column, question in enumerate(model.questions) if question.kind == "reading"]
    assert len(readings) == 8
    assert np.quantile(misses[:, readings], 0.9) < 2e-3
    assert np.median(doubts[:, readings]) < 5e-3
    assert np.median(doubts / np.maximum(misses, 1e-9)) < 50.0


def wedge() -> Case:
    uneven = {"low": 20.0, "high": 90.0, "towards": "+x"}
    return case_of(
        [
            part("die", [8.0, 6.0], 0.5, 120.0),
            {"joint": "film", "film_um": uneven, "conductivity_W_mK": 4.0, "boundary_mm2K_W": 1.0},
            part("lid", [10.0, 9.0], 2.0, 390.0),
        ],
        [{"in": "die", "zones": [{"zone": "all", "power_W": 60.0}]}],
        [film("top", 9000.0, 31.0)],
    )


def test_an_uneven_film_may_stand_but_not_vary() -> None:
    case = wedge()
    plan = plan_grid(case, 800)
    varied = some_inputs(case, ["lid.thickness_mm", "die.thickness_mm"])
    model = reduce(case, varied=varied, plan=plan, solved=12, held_out=8)
    misses, doubts = held_against_full_solves(model, case, plan, 8)
    assert np.all(misses <= doubts + 1e-6) and misses.max() < 0.01
    with pytest.raises(ThermsimError, match="cannot vary"):
        check_varies(case, [one for one in inputs(case) if one.path == "film.boundary_mm2K_W"])


def test_what_a_small_model_cannot_follow_is_refused() -> None:
    case = stack()
    with pytest.raises(ThermsimError, match=r"cannot vary die\.size_mm\.0"):
        check_varies(case, [one for one in inputs(case) if one.path == "die.size_mm.0"])
    hot = stack(leakage={"share": 0.3, "doubling_K": 25.0, "at_C": 60.0})
    with pytest.raises(ThermsimError, match="linear in temperature only"):
        topology(hot, build_model(hot, plan_grid(hot, 500).grid(1)))


def test_whole_fields_on_demand() -> None:
    case = stack()
    plan = plan_grid(case, 800)
    varied = some_inputs(case, ["B.power_W", "solder.resistance_mm2K_W"])
    model = reduce(case, varied=varied, plan=plan, solved=12, held_out=6)
    row = 0.3 * model.low + 0.7 * model.high
    changed = with_inputs(case, {"B.power_W": float(row[0]), "solder.resistance_mm2K_W": float(row[1])})
    expected = solve_on(changed, plan.grid(1)).temperature
    found = model.temperature(row)
    assert np.array_equal(np.isnan(found), np.isnan(expected))
    assert np.nanmax(np.abs(found - expected)) < 2e-3


def test_a_joint_that_touches_nothing_else_changes_one_group() -> None:
    """Two slabs and a joint: conductances within the slabs stay, and the faces of the joint move alike."""
    case = case_of(
        [part("low", [4.0, 4.0], 1.0, 10.0), joint("film", 20.0), part("high", [4.0, 4.0], 1.0, 30.0)],
        [{"in": "low", "zones": [{"zone": "all", "power_W": 1.0}]}],
        [film("top", 500.0)],
    )
    plan = plan_grid(case, 300)
    base = topology(case, build_model(case, plan.grid(1)))
    layout = Layout(base.model.grid.shape)
    probes = []
    for resistance in (20.0, 31.0, 47.0, 55.0):
        changed = with_inputs(case, {"film.resistance_mm2K_W": resistance})
        model = build_model(changed, plan.grid(1))
        probes.append(layout.vector(assemble(model, model.first_guess())))
    assert len(groups(base, np.array(probes)).alike) == 2


def test_questions_and_inputs_that_a_small_model_was_not_made_for() -> None:
    case = stack()
    plan = plan_grid(case, 800)
    model = reduce(case, varied=some_inputs(case, ["B.power_W", "lid.thickness_mm"]), plan=plan, solved=12, held_out=6)
    with pytest.raises(ThermsimError, match="2 inputs vary"):
        model.answers([[1.0, 2.0, 3.0]])
    outside = model.answers([model.high * 1.01])
    assert not outside.inside[0] and not outside.sure(100.0)[0]
    middle = model.answers([0.5 * (model.low + model.high)])
    assert middle.sure(0.1, of=[("zone", "A", "mean"), ("zone", "B", "mean")])[0]

"""The solver as a whole, against SciPy's direct solver on the same heat balance, and against its own promises."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.sparse.linalg import spsolve
from test_kernels import bench_stacks, random_stencil

from thermsim.solver import linear
from thermsim.solver.multigrid import coarsening as planning
from thermsim.solver.multigrid import multigrid
from thermsim.solver.multigrid.conjugate_gradients import Run, conjugate_gradients

SEED = 27183
ODD_SHAPES = [
    (1, 1, 1), (1, 1, 9), (2, 1, 1), (1, 2, 3), (9, 1, 4), (1, 9, 4), (301, 1, 5), (1, 301, 5), (5, 40, 1), (40, 5, 2),
    (3, 3, 3), (17, 33, 3), (34, 16, 7), (31, 65, 18), (64, 32, 16),
]  # fmt: skip


def direct(stencil: Any) -> Any:
    """Reference: sparse LU of SciPy (SuperLU), independent of everything here."""
    matrix, heat = bench_stacks.matrix(stencil)
    full = np.zeros(stencil.solid.shape)
    full[stencil.solid] = np.atleast_1d(spsolve(matrix.tocsc(), heat))
    return full


def solve(stencil: Any, threads: int = 1, **more: Any) -> Run:
    return conjugate_gradients(multigrid.build(stencil, threads), stencil.heat, **more)


def worst(stencil: Any, run: Run, reference: Any) -> float:
    return float(np.abs(run.temperature - reference)[stencil.solid].max())


@pytest.mark.parametrize("shape", ODD_SHAPES)
@pytest.mark.parametrize("void", [0.0, 0.25])
def test_any_shape_matches_a_direct_solver(shape: tuple[int, int, int], void: float) -> None:
    stencil = random_stencil(shape, SEED, void)
    run, reference = solve(stencil, tolerance=1e-10), direct(stencil)
    assert run.status == "converged"
    assert run.residual <= 1e-10
    # the residual bounds the error through the smallest eigenvalue, at least the smallest ground
    bound = 1e-10 * np.linalg.norm(stencil.heat) / stencil.ground[stencil.solid].min()
    assert worst(stencil, run, reference) <= bound + 1e-9 * np.abs(reference).max()


@pytest.mark.parametrize("variant", [v for v in bench_stacks.VARIANTS if not v.startswith("lognormal_2")])
def test_stacks_converge_in_few_iterations(variant: str) -> None:
    stencil = bench_stacks.stack(*bench_stacks.SIZES["0.1 M"], variant)
    run = solve(stencil)
    assert run.status == "converged"
    assert run.iterations <= (20 if variant == "anisotropic" else 17)
    assert run.residual <= 1e-8


@pytest.mark.parametrize("variant", ["demo", "anisotropic", "small_cells", "nearly_insulated"])
def test_stack_and_its_stated_error_match_a_direct_solver(variant: str) -> None:
    stencil = bench_stacks.stack(21, 19, 12, variant)
    reference = direct(stencil)
    for tolerance in (1e-5, 1e-8, 1e-11):
        run = solve(stencil, tolerance=tolerance)
        assert run.status == "converged" or (tolerance < 1e-9 and run.status == "rounding")
        assert worst(stencil, run, reference) <= run.error_K + 1e-9 * np.abs(reference).max()
        assert run.residual <= max(tolerance, 1e-9)


def test_several_bodies_each_find_their_own_temperature() -> None:
    """Four blocks that touch nowhere, each with its own heat and film: T = heat / film + fluid, exactly."""
    shape = (18, 14, 4)
    stencil = random_stencil(shape, SEED, 0.0)
    part = (np.arange(18) // 9)[:, None] * 2 + np.arange(14) // 7
    apart_x, apart_y = part[1:] == part[:-1], part[:, 1:] == part[:, :-1]
    flat = np.broadcast_to(part[:, :, None], shape)
    ground, heat = np.zeros(shape), np.zeros(shape)
    for body in range(4):
        i, j = np.argwhere(part == body)[3]
        ground[i, j, 0] = 0.1 * (body + 1)
        heat[i, j, 0] = 5.0 + 3.0 * body
    stencil = replace(
        stencil, conductance_x=stencil.conductance_x * apart_x[:, :, None],
        conductance_y=stencil.conductance_y * apart_y[:, :, None], ground=ground, heat=heat, box=flat.astype(np.int16),
    )  # fmt: skip
    run = solve(stencil, tolerance=1e-11)
    assert run.status == "converged"
    for body in range(4):
        np.testing.assert_allclose(run.temperature[flat == body], (5.0 + 3.0 * body) / (0.1 * (body + 1)), rtol=1e-8)


def test_fixed_temperature_and_pure_flux() -> None:
    """One bar: 2 W in at the right end, left end held at 20 C by a link of 1e9 W/K; T rises by 2 W / G a face."""
    n, g = 50, 0.5
    one = (1, 1)
    ground, heat = np.zeros((n, *one)), np.zeros((n, *one))
    ground[0], heat[0], heat[-1] = 1e9, 1e9 * 20.0, 2.0
    stencil = bench_stacks.Stencil(
        np.full((n - 1, *one), g), np.zeros((n, 0, 1)), np.zeros((n, 1, 0)), ground, heat,
        np.ones((n, *one), dtype=bool), np.ones(n), np.ones(1), np.ones(1), np.zeros((n, *one), dtype=np.int16),
    )  # fmt: skip
    run = solve(stencil, tolerance=1e-14)
    np.testing.assert_allclose(run.temperature[:, 0, 0], 20.0 + 4.0 * np.arange(n), rtol=1e-6)


def test_a_joint_without_resistance_is_just_a_large_link() -> None:
    stencil = random_stencil((12, 11, 6), SEED, 0.1)
    stiff = stencil.conductance_z.copy()
    stiff[:, :, 2] *= 1e3
    stencil = replace(stencil, conductance_z=stiff)
    run, reference = solve(stencil, tolerance=1e-10), direct(stencil)
    assert run.status == "converged"
    assert worst(stencil, run, reference) <= 1e-5 * np.abs(reference).max()


def leaking(factor: float) -> Any:
    """A stack whose leakage slope, spread over the die, takes `factor` of the films' conductance."""
    stencil = bench_stacks.stack(21, 19, 12)
    die = (stencil.box == 1) & (np.arange(stencil.ground.shape[2]) == np.flatnonzero((stencil.box == 1).any((0, 1)))[0])
    slope = factor * stencil.ground.sum() / die.sum()
    return replace(stencil, ground=stencil.ground - slope * die)


def test_leakage_below_the_limit_is_solved() -> None:
    stencil = leaking(0.05)
    assert (stencil.ground < 0).any()
    run, reference = solve(stencil, tolerance=1e-10), direct(stencil)
    assert run.status == "converged"
    assert worst(stencil, run, reference) <= 1e-5


def test_runaway_is_found_where_the_smallest_eigenvalue_is_negative() -> None:
    """Reference: the sign of the smallest eigenvalue, from SciPy's Lanczos iteration (ARPACK).

    It is the one next to a bound below all: rows add up to `ground`, so none is smaller than the least of that
    (Gershgorin's circles, Golub and Van Loan, Matrix Computations, section 7.2).
    """
    from scipy.sparse.linalg import eigsh

    for factor in (0.1, 0.2, 0.4, 0.8, 1.5):
        stencil = leaking(factor)
        below = 1.01 * stencil.ground.min()
        (lowest,) = eigsh(bench_stacks.matrix(stencil)[0].tocsc(), k=1, sigma=below, return_eigenvectors=False)
        assert below < 0.0 and lowest > below
        run = solve(stencil)
        assert run.status == ("runaway" if lowest < 0 else "converged"), (factor, lowest)


def test_a_field_that_is_not_converged_says_so() -> None:
    stencil = bench_stacks.stack(21, 19, 12)
    short = solve(stencil, limit=3)
    assert short.status == "limit"
    assert short.residual > 1e-8
    assert solve(stencil, tolerance=1e-30).status == "rounding"


def test_same_bits_on_any_number_of_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(multigrid, "SERIAL_CELLS", 200)
    stencil = bench_stacks.stack(66, 62, 12)
    first = solve(stencil, 1)
    for threads in (1, 2, 3, 5):
        hierarchy = multigrid.build(stencil, threads)
        assert hierarchy.threads == threads
        for _ in range(2):
            again = conjugate_gradients(hierarchy, stencil.heat)
            assert np.array_equal(again.temperature, first.temperature)
            assert np.array_equal(again.history, first.history)


def test_new_heat_and_new_coefficients_on_the_same_hierarchy() -> None:
    old, new = (random_stencil((23, 14, 5), seed, 0.1) for seed in (SEED, SEED))
    new = replace(new, conductance_x=2.0 * new.conductance_x, ground=3.0 * new.ground)
    hierarchy = multigrid.build(old, 1)
    conjugate_gradients(hierarchy, old.heat)
    other = np.random.default_rng(SEED).standard_normal(old.heat.shape) * old.solid
    assert worst(old, conjugate_gradients(hierarchy, other), direct(replace(old, heat=other))) < 1e-3
    fresh = solve(new)
    renewed = conjugate_gradients(multigrid.refresh(hierarchy, new), new.heat)
    np.testing.assert_allclose(renewed.temperature[new.solid], fresh.temperature[new.solid], rtol=1e-5, atol=1e-6)
    with pytest.raises(ValueError, match="shape"):
        multigrid.refresh(hierarchy, random_stencil((22, 14, 5)))


def test_a_good_guess_saves_iterations() -> None:
    stencil = bench_stacks.stack(40, 36, 12)
    run = solve(stencil)
    again = solve(stencil, guess=run.temperature + 1e-3)
    assert again.iterations < run.iterations - 3
    assert solve(stencil, guess=run.temperature).iterations == 0


def test_memory_is_forecast() -> None:
    stencil = bench_stacks.stack(*bench_stacks.SIZES["0.1 M"])
    hierarchy = multigrid.build(stencil, 1)
    assert multigrid.forecast(stencil) == pytest.approx(hierarchy.bytes, rel=0.02)


def test_pairs_respect_size_and_parts() -> None:
    width = np.array([1.0, 1.0, 1.0, 1.0, 9.0, 9.0])
    edge = np.array([False, True, False, False, False])
    first = planning.pairs(planning.Axis(width, edge), 4.0)
    assert first.tolist() == [0, 2, 4, 5, 6]


def test_every_plan_ends_in_one_column() -> None:
    rng = np.random.default_rng(SEED)
    for nx, ny, nz in ((1, 1, 3), (2, 7, 1), (100, 3, 9), (65, 64, 20)):
        x, y, z = (planning.Axis(rng.uniform(0.1, 3.0, n), rng.random(n - 1) < 0.2) for n in (nx, ny, nz))
        steps = planning.plan(x, y, z)
        assert not steps or (len(steps[-1].x), len(steps[-1].y)) == (2, 2)


@pytest.mark.slow
def test_kernels_stay_inside_their_arrays(tmp_path: Path) -> None:
    """The kernel tests once more with numba's bounds checks, which the lane loads and stores take part in."""
    environment = {**os.environ, "NUMBA_BOUNDSCHECK": "1", "NUMBA_CACHE_DIR": str(tmp_path)}
    tests = Path(__file__).parent
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        str(tests / "test_kernels.py"),
        str(tests / "test_multigrid.py"),
        "-k",
        "not iterations",
    ]
    result = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stdout[-3000:]


def test_many_heats_at_once_give_the_bits_of_one_at_a_time() -> None:
    stencil = bench_stacks.stack(66, 62, 24)
    state = linear.State(stencil.solid, multigrid.build(stencil, 2))
    rng = np.random.default_rng(SEED)
    heats = [rng.standard_normal(stencil.heat.shape) * stencil.solid for _ in range(5)]
    alone = [linear.solve(state, heat, tolerance=1e-8) for heat in heats]
    together = linear.solve_many(state, heats, tolerance=1e-8)
    for one, other in zip(alone, together, strict=True):
        assert np.array_equal(one.temperature, other.temperature, equal_nan=True)


def test_a_state_is_renewed_for_new_coefficients() -> None:
    stencil = bench_stacks.stack(40, 36, 12)
    warmer = replace(stencil, conductance_z=1.1 * stencil.conductance_z, ground=1.2 * stencil.ground)
    fresh = linear.solve(linear.prepare(warmer), warmer.heat)
    renewed = linear.solve(linear.renew(linear.prepare(stencil), warmer), warmer.heat)
    np.testing.assert_allclose(renewed.temperature, fresh.temperature, rtol=1e-9)


def test_a_body_that_is_all_but_cut_off_is_solved_as_well_as_the_others() -> None:
    """Two bodies, one with a ground of a millionth of the other's: its level is far from what a residual shows.

    Referee: SuperLU with its round-off (1e-16 of 1e-6 W/K and 300 W leaves 1e-7 K).
    """
    shape = (9, 9, 4)
    solid = np.ones(shape, dtype=bool)
    solid[4] = False
    stencil = random_stencil(shape)
    links = []
    for axis, count in enumerate(shape):
        lower, upper = (np.take(solid, range(start, start + count - 1), axis=axis) for start in (0, 1))
        links.append(1.0 * (lower & upper))
    ground, heat = np.zeros(shape), np.zeros(shape)
    ground[0, 0, 0], ground[8, 8, 0] = 1.0, 1e-6
    heat[0, 0, 0], heat[2, 5, 2], heat[8, 8, 0] = 20.0, 300.0, 60e-6
    box = np.where(solid, 0, -1).astype(np.int16)
    stencil = replace(
        stencil, conductance_x=links[0], conductance_y=links[1], conductance_z=links[2], ground=ground, heat=heat,
        solid=solid, box=box,
    )  # fmt: skip
    found = linear.solve(linear.prepare(stencil), heat, reference_C=20.0).checked()
    error = np.nanmax(np.abs(found.temperature - np.where(solid, direct(stencil), np.nan)))
    assert error < 1e-5
    assert error <= found.error_K + 1e-5


def test_no_heat_is_no_error() -> None:
    stencil = random_stencil((8, 7, 5))
    found = linear.solve(linear.prepare(stencil), np.zeros(stencil.heat.shape))
    assert found.status == "converged"
    assert found.error_K == 0.0
    assert not np.nanmax(np.abs(found.temperature)) > 0.0


def test_a_solution_serves_as_a_guess_with_its_voids() -> None:
    stencil = bench_stacks.stack(30, 26, 10)
    state = linear.prepare(stencil)
    found = linear.solve(state, stencil.heat)
    again = linear.solve(state, stencil.heat, found.temperature)
    assert again.status in ("converged", "rounding")

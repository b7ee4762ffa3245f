"""Every compiled kernel against a slow, obvious twin in NumPy, in double precision, cell by cell.

The twins use arrays (nx, ny, nz) and dense line matrices; `offsets` is the only thing they share with the kernels.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from thermsim.solver.multigrid import conjugate_gradients as conjugate
from thermsim.solver.multigrid import double_precision_kernels as exact
from thermsim.solver.multigrid import kernels, multigrid, storage
from thermsim.solver.multigrid.coarsening import Step
from thermsim.solver.multigrid.vector_registers import LANES

SEED = 61807
_spec = importlib.util.spec_from_file_location(
    "bench_stacks", Path(__file__).parents[2] / "benchmarks" / "bench_stacks.py"
)
assert _spec is not None and _spec.loader is not None
bench_stacks = importlib.util.module_from_spec(_spec)
sys.modules["bench_stacks"] = bench_stacks
_spec.loader.exec_module(bench_stacks)

SHAPES = [(1, 1, 5), (2, 3, 1), (9, 7, 4), (5, 40, 3), (7, 66, 6), (33, 1, 4)]


def random_stencil(shape: tuple[int, int, int], seed: int = SEED, void: float = 0.15) -> Any:
    """Random links over four decades, random void cells but one, ground on some cells; always solvable."""
    rng = np.random.default_rng(seed)
    solid = rng.random(shape) > void
    solid.flat[0] |= not solid.any()
    links = []
    for axis in range(3):
        low, high = bench_pair(axis)
        g = 10.0 ** rng.uniform(-2, 2, solid[low].shape) * (10.0 if axis == 2 else 1.0)
        links.append(g * (solid[low] & solid[high]))
    ground = np.where(rng.random(shape) < 0.2, rng.uniform(0.1, 1.0, shape), 1e-4) * solid
    heat = rng.standard_normal(shape) * solid
    widths = [rng.uniform(0.5, 2.0, n) for n in shape]
    box = np.where(solid, (np.arange(shape[0]) > shape[0] // 2)[:, None, None] * 1, -1).astype(np.int16)
    return bench_stacks.Stencil(*links, ground, heat, solid, *widths, box)


def bench_pair(axis: int) -> tuple[Any, Any]:
    low, high = [slice(None)] * 3, [slice(None)] * 3
    low[axis], high[axis] = slice(None, -1), slice(1, None)
    return tuple(low), tuple(high)


def offsets(level: Any) -> Any:
    """Flat offset of every cell (i, j, k) of a level, from the formula in `kernels`."""
    i, j, k = np.indices([int(level[c]) for c in (storage.NX, storage.NY, storage.NZ)])
    m, p, b = j // 2, j % 2, int(level[storage.B_])
    return (
        level[storage.CELL]
        + i * level[storage.S_]
        + p * level[storage.H_]
        + m % b * level[storage.D_]
        + k * LANES
        + m // b
    )


def black(shape: tuple[int, ...]) -> Any:
    i, j, _ = np.indices(shape)
    return (i + j) % 2 == 1


def half_offsets(level: Any) -> Any:
    """Offsets in the arrays that hold one half of each slab (either colour has its own arrays)."""
    i, j, k = np.indices([int(level[c]) for c in (storage.NX, storage.NY, storage.NZ)])
    m, b = j // 2, int(level[storage.B_])
    return level[storage.HALF] + i * level[storage.H_] + m % b * level[storage.D_] + k * LANES + m // b


class Twin:
    """One level: links to the lower neighbour in x, y, z, and ground, in the axes of the kernels."""

    def __init__(self, gx: Any, gy: Any, gz: Any, ground: Any) -> None:
        self.gx, self.gy, self.gz, self.ground = gx, gy, gz, ground
        self.shape = gx.shape

    @classmethod
    def of(cls, stencil: Any, swapped: bool) -> Twin:
        x, y, z, ground = stencil.conductance_x, stencil.conductance_y, stencil.conductance_z, stencil.ground
        if swapped:
            x, y, z, ground = y.swapaxes(0, 1), x.swapaxes(0, 1), z.swapaxes(0, 1), ground.swapaxes(0, 1)
        pad = lambda g, axis: np.insert(g, 0, 0.0, axis=axis)  # noqa: E731
        return cls(pad(x, 0), pad(y, 1), pad(z, 2), ground.copy())

    def apply(self, t: Any) -> Any:
        """A t, face by face."""
        out = self.ground * t
        for axis, g in enumerate((self.gx, self.gy, self.gz)):
            low, high = bench_pair(axis)
            flow = g[high] * (t[high] - t[low])
            out[high] += flow
            out[low] -= flow
        return out

    def lines(self, rhs: Any, z: Any, where: Any) -> Any:
        """z with the columns `where` replaced by the exact solution of their lines, their neighbours held."""
        out, nz = z.copy(), self.shape[2]
        fixed = np.where(where, 0.0, z)
        coupled = rhs - self.apply(fixed)
        for i, j in np.ndindex(self.shape[:2]):
            if not where[i, j, 0]:
                continue
            unit = np.zeros(self.shape)
            matrix = np.zeros((nz, nz))
            for k in range(nz):
                unit[i, j, k] = 1.0
                matrix[:, k] = self.apply(unit)[i, j]
                unit[i, j, k] = 0.0
            out[i, j] = np.linalg.lstsq(matrix, coupled[i, j], rcond=1e-13)[0]
        return out

    def coarse(self, step: Step) -> Twin:
        """Coarse links by the rule in `building.coarsen`, link by link."""
        n = (len(step.x) - 1, len(step.y) - 1, len(step.z) - 1)
        out = Twin(np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n))
        first = (step.x, step.y, step.z)
        for cell in np.ndindex(n):
            members = [range(first[a][cell[a]], first[a][cell[a] + 1]) for a in range(3)]
            out.ground[cell] = sum(
                max(self.ground[i, j, k], 0.0) for i in members[0] for j in members[1] for k in members[2]
            )
            for axis, (g, target) in enumerate(((self.gx, out.gx), (self.gy, out.gy), (self.gz, out.gz))):
                chosen = list(members)
                chosen[axis] = range(members[axis][0], members[axis][0] + 1)
                series, plain = 0.0, 0.0
                for place in np.ndindex(*(len(c) for c in chosen)):
                    at = [chosen[a][place[a]] for a in range(3)]
                    if g[tuple(at)] <= 0.0:
                        continue
                    resistance = 1.0 / g[tuple(at)]
                    before = cell[axis] > 0 and first[axis][cell[axis]] - first[axis][cell[axis] - 1] == 2
                    for there, shift in ((len(members[axis]) == 2, 1), (before, -1)):
                        beside = list(at)
                        beside[axis] += shift
                        if there and g[tuple(beside)] > 0.0:
                            resistance += 0.5 / g[tuple(beside)]
                    series += 1.0 / resistance
                    plain += g[tuple(at)]
                target[cell] = max(series, 0.5 * plain)
        return out

    def weight(self, axis: int, step: Step, cell: tuple[int, ...]) -> tuple[float, int]:
        """Weight of the next coarse column at a cell, and its coarse index along the axis."""
        first, g, at = (step.x, step.y)[axis], (self.gx, self.gy)[axis], cell[axis]
        owner = int(np.searchsorted(first, at, side="right") - 1)
        if first[owner + 1] - first[owner] == 1:
            return 0.0, owner
        low = at == first[owner]
        face, inner, other, target = (at, at + 1, at - 1, owner - 1) if low else (at + 1, at, at + 2, owner + 1)
        if not 0 <= target < len(first) - 1:
            return 0.0, owner

        def link(n: int) -> float:
            place = list(cell)
            place[axis] = n
            return float(g[tuple(place)])

        if link(face) <= 0.0 or link(inner) <= 0.0:
            return 0.0, target
        rest = 1.0 / link(face)
        if first[target + 1] - first[target] == 2 and link(other) > 0.0:
            rest += 0.5 / link(other)
        own = 0.5 / link(inner)
        return float(np.floor(min(own / (own + rest), 0.5) * 510.0 + 1e-4) / 510.0), target

    def transfer(self, step: Step) -> Any:
        """(fine cells, coarse cells) matrix of the prolongation onto red cells."""
        n = (len(step.x) - 1, len(step.y) - 1, len(step.z) - 1)
        matrix = np.zeros((self.gx.size, int(np.prod(n))))
        first = (step.x, step.y, step.z)
        for cell in np.ndindex(self.shape):
            if (cell[0] + cell[1]) % 2:
                continue
            row = np.ravel_multi_index(cell, self.shape)
            owner = [int(np.searchsorted(first[a], cell[a], side="right") - 1) for a in range(3)]
            matrix[row, np.ravel_multi_index(owner, n)] += 1.0
            for axis in (0, 1):
                weight, target = self.weight(axis, step, cell)
                beside = list(owner)
                beside[axis] = target
                matrix[row, np.ravel_multi_index(owner, n)] -= weight
                matrix[row, np.ravel_multi_index(beside, n)] += weight
        return matrix


def cycle(twins: list[Twin], steps: tuple[Step, ...], rhs: Any, depth: int = 0) -> Any:
    """One V-cycle from zero: red lines, black lines, coarse correction of red cells, black lines, red lines."""
    twin = twins[depth]
    red = ~black(twin.shape)
    z = twin.lines(rhs, np.zeros(twin.shape), red)
    z = twin.lines(rhs, z, ~red)
    if depth < len(steps):
        residual = np.where(red, rhs - twin.apply(z), 0.0)
        transfer = twin.transfer(steps[depth])
        correction = cycle(twins, steps, (transfer.T @ residual.ravel()).reshape(twins[depth + 1].shape), depth + 1)
        z = z + (transfer @ correction.ravel()).reshape(twin.shape)
    z = twin.lines(rhs, z, ~red)
    return twin.lines(rhs, z, red)


def levels_of(stencil: Any, hierarchy: Any) -> list[Twin]:
    twins = [Twin.of(stencil, hierarchy.swapped)]
    for step in hierarchy.steps:
        twins.append(twins[-1].coarse(step))
    return twins


@pytest.mark.parametrize("shape", SHAPES)
def test_set_up_matches_its_twin(shape: tuple[int, int, int]) -> None:
    stencil = random_stencil(shape)
    hierarchy = multigrid.build(stencil, 1)
    gx, gy, gz, inv, _ground, _z, wx, wy = hierarchy.fields[:8]
    for depth, twin in enumerate(levels_of(stencil, hierarchy)):
        level = hierarchy.levels[depth]
        at = offsets(level)
        for field, expected in ((gx, twin.gx), (gy, twin.gy), (gz, twin.gz)):
            np.testing.assert_allclose(field[at], expected, rtol=2e-5, err_msg=f"level {depth}")
        pivot = np.zeros(twin.shape)
        sides = twin.gx + twin.gy + twin.gz
        for axis, g in enumerate((twin.gx, twin.gy, twin.gz)):
            low, high = bench_pair(axis)
            sides[low] += g[high]
        diagonal = sides + (twin.ground if depth == 0 else np.maximum(twin.ground, 0.0))
        for k in range(twin.shape[2]):
            pivot[..., k] = diagonal[..., k]
            if k:
                with np.errstate(divide="ignore", invalid="ignore"):
                    pivot[..., k] -= np.nan_to_num(twin.gz[..., k] ** 2 / pivot[..., k - 1], posinf=0.0)
        with np.errstate(divide="ignore"):
            expected = np.where(diagonal > 0, 1.0 / pivot, 0.0)
        np.testing.assert_allclose(inv[at], expected, rtol=2e-3, err_msg=f"level {depth}")
        if depth < len(hierarchy.steps):
            half = half_offsets(level)
            for cell in np.ndindex(twin.shape):
                if (cell[0] + cell[1]) % 2 == 0:
                    for axis, weights in ((0, wx), (1, wy)):
                        expected_w = twin.weight(axis, hierarchy.steps[depth], cell)[0] * 510.0
                        assert abs(int(weights[half[cell]]) - expected_w) < 1.01, (depth, cell, axis)


@pytest.mark.parametrize("shape", SHAPES)
def test_cycle_and_image_match_their_twins(shape: tuple[int, int, int]) -> None:
    stencil = random_stencil(shape, void=0.1)
    hierarchy = multigrid.build(stencil, 1)
    twins = levels_of(stencil, hierarchy)
    twin, level = twins[0], hierarchy.levels[0]
    dark, at, half = black(twin.shape), offsets(level), half_offsets(level)
    solid = stencil.solid.swapaxes(0, 1) if hierarchy.swapped else stencil.solid
    r = np.where(dark & solid, np.random.default_rng(SEED + 1).standard_normal(twin.shape), 0.0)
    _x, _p, _q, residual, w, _change = hierarchy.vectors
    residual[half[dark]] = r[dark]
    work = conjugate._Work(hierarchy, np.zeros(0), np.zeros(0), 1e-8, 1)
    scratch, _ = work._scratch()
    args = (hierarchy.fields, hierarchy.vectors, work.tables)
    kernels.down_finest(*args, hierarchy.sync, 0, 1, scratch, work.of_square, 0.0, 0.0, False)
    kernels.cycle(*args, hierarchy.sync, 0, 1, 1, scratch, work.of_cycle)
    z = cycle(twins, hierarchy.steps, r)
    scale = np.abs(z).max(initial=1e-30)
    # 1/510 is the step of the stored weights; the twin rounds them alike, up to single precision
    np.testing.assert_allclose(hierarchy.fields[5][at][dark], z[dark], atol=6e-3 * scale)
    given_z = np.where(dark, hierarchy.fields[5][at].astype(float), 0.0)
    full = twin.lines(np.zeros(twin.shape), given_z, ~dark)  # the red lines that belong to the black ones of the kernel
    image = twin.apply(full)
    np.testing.assert_allclose(w[half[dark]], image[dark], atol=2e-5 * np.abs(image).max(initial=1e-30))
    assert work.of_cycle[::2].sum() == pytest.approx((r * given_z).sum(), rel=1e-5, abs=1e-12)
    assert work.of_cycle[1::2].sum() == pytest.approx((image * given_z).sum(), rel=1e-5, abs=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_update_matches_its_twin(shape: tuple[int, int, int]) -> None:
    hierarchy = multigrid.build(random_stencil(shape), 1)
    level = hierarchy.levels[0]
    rng = np.random.default_rng(SEED + 2)
    x, p, q, r, w, _ = hierarchy.vectors
    z = hierarchy.fields[5]
    dims = tuple(int(level[c]) for c in (storage.NX, storage.NY, storage.NZ))
    dark, at, half = black(dims), offsets(level), half_offsets(level)
    start = {}
    for name, vector in (("x", x), ("p", p), ("q", q), ("r", r), ("w", w)):
        vector[half[dark]] = rng.standard_normal(int(dark.sum()))
        start[name] = vector[half[dark]].astype(float)
    z[at[dark]] = rng.standard_normal(int(dark.sum()))
    start["z"] = z[at[dark]].astype(float)
    work = conjugate._Work(hierarchy, np.zeros(0), np.zeros(0), 1e-8, 1)
    scratch, _ = work._scratch()
    kernels.down_finest(
        hierarchy.fields, hierarchy.vectors, work.tables, hierarchy.sync, 0, 1, scratch, work.of_square, 0.25, 0.5, True
    )
    direction, image = start["z"] + 0.5 * start["p"], start["w"] + 0.5 * start["q"]
    rest = start["r"] - 0.25 * image
    np.testing.assert_allclose(p[half[dark]], direction, rtol=1e-12)
    np.testing.assert_allclose(x[half[dark]], start["x"] + 0.25 * direction, rtol=1e-12)
    np.testing.assert_allclose(q[half[dark]], image, rtol=1e-5, atol=1e-6)
    np.testing.assert_allclose(r[half[dark]], rest, rtol=1e-5, atol=1e-6)
    assert work.of_square.sum() == pytest.approx((rest**2).sum(), rel=1e-5)


@pytest.mark.parametrize("shape", [*SHAPES, (4, 3, 21)])
def test_measure_matches_its_twin(shape: tuple[int, int, int]) -> None:
    stencil = random_stencil(shape)
    hierarchy = multigrid.build(stencil, 1)
    twin, level = Twin.of(stencil, hierarchy.swapped), hierarchy.levels[0]
    t = np.random.default_rng(SEED + 3).standard_normal(shape)
    work = conjugate._Work(hierarchy, stencil.heat.reshape(-1), t.reshape(-1), 1e-8, 1)
    _, buffer = work._scratch()
    exact.measure(
        hierarchy.fields, hierarchy.vectors, work.tables, work.given, work.heat, work.temperature, hierarchy.sizes,
        hierarchy.sync, 0, 1, buffer, work.of_rest, 2.0, False,
    )  # fmt: skip
    turn = (lambda a: a.swapaxes(0, 1)) if hierarchy.swapped else (lambda a: a)
    expected = 2.0 * (turn(stencil.heat) - twin.apply(turn(t)))
    dark, at, half = black(twin.shape), offsets(level), half_offsets(level)
    scale = np.abs(expected).max()
    np.testing.assert_allclose(hierarchy.vectors[3][half[dark]], expected[dark], atol=1e-6 * scale)
    np.testing.assert_allclose(hierarchy.fields[5][at[~dark]], expected[~dark], atol=1e-6 * scale)
    assert work.of_rest.sum() == pytest.approx((expected**2).sum(), rel=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
def test_exchange_eliminates_and_restores_red_columns(shape: tuple[int, int, int]) -> None:
    """Twin: dense lines of the red columns."""
    stencil = random_stencil(shape)
    hierarchy = multigrid.build(stencil, 1)
    twin, level = Twin.of(stencil, hierarchy.swapped), hierarchy.levels[0]
    dark, at, half = black(twin.shape), offsets(level), half_offsets(level)
    solid = stencil.solid.swapaxes(0, 1) if hierarchy.swapped else stencil.solid
    rhs = np.where(solid, np.random.default_rng(SEED + 4).standard_normal(twin.shape), 0.0)
    hierarchy.fields[5][at[~dark]] = rhs[~dark]
    hierarchy.vectors[3][half[dark]] = rhs[dark]
    t = np.zeros(shape)
    work = conjugate._Work(hierarchy, np.zeros(0), t.reshape(-1), 1e-8, 1)
    _, buffer = work._scratch()
    args = (
        hierarchy.fields,
        hierarchy.vectors,
        work.tables,
        work.temperature,
        hierarchy.sizes,
        hierarchy.sync,
        0,
        1,
        buffer,
    )
    exact.exchange(*args, 3.0, False)
    turn = (lambda a: a.swapaxes(0, 1)) if hierarchy.swapped else (lambda a: a)
    alone = twin.lines(rhs, np.zeros(twin.shape), ~dark)
    scale = np.abs(alone).max()
    np.testing.assert_allclose(turn(t), 3.0 * np.where(dark, 0.0, alone), atol=3e-5 * scale)
    reduced = rhs - twin.apply(np.where(dark, 0.0, alone))
    np.testing.assert_allclose(hierarchy.vectors[3][half[dark]], reduced[dark], atol=1e-5 * np.abs(reduced).max())
    x = np.where(dark & solid, np.random.default_rng(SEED + 5).standard_normal(twin.shape), 0.0)
    hierarchy.vectors[0][half[dark]] = x[dark]
    t[:] = 0.0
    exact.exchange(*args, 1.0, True)
    np.testing.assert_allclose(turn(t), twin.lines(np.zeros(twin.shape), x, ~dark), atol=3e-5)
    assert not hierarchy.vectors[0].any()


def test_begin_balances_heat_and_ground() -> None:
    stencil = random_stencil((9, 7, 4))
    hierarchy = multigrid.build(stencil, 1)
    t = np.full(stencil.heat.size, np.nan)
    work = conjugate._Work(hierarchy, stencil.heat.reshape(-1), t, 1e-8, 1)
    exact.begin(
        work.given,
        work.heat,
        t,
        hierarchy.vectors,
        work.tables,
        hierarchy.sizes,
        hierarchy.sync,
        0,
        1,
        work.of_start,
        True,
    )
    np.testing.assert_allclose(t, stencil.heat.sum() / stencil.ground.sum(), rtol=1e-12)
    assert work.of_start[::3].sum() == pytest.approx((stencil.heat**2).sum(), rel=1e-13)


def test_negative_ground_stays_out_of_coarse_levels() -> None:
    """The preconditioner must stay positive definite while conjugate gradients look for negative curvature."""
    stencil = random_stencil((9, 7, 4))
    stencil = replace(stencil, ground=np.where(stencil.ground > 1e-3, stencil.ground, -1e-5) * stencil.solid)
    hierarchy = multigrid.build(stencil, 1)
    assert hierarchy.least_pivot >= 0.0
    for depth in range(1, len(hierarchy.levels)):
        assert (hierarchy.fields[3][offsets(hierarchy.levels[depth])] >= 0.0).all()

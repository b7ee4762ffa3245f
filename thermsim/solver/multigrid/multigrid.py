"""The multigrid hierarchy of a stencil: memory, index tables, set-up and the threads that work on it.

`build` is the set-up (a few iterations' worth of time), `conjugate.conjugate_gradients` the solution. A hierarchy
can be given new coefficients of the same grid (`refresh`) and any number of right-hand sides.
"""

from __future__ import annotations

import ctypes
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from thermsim.solver.multigrid import setup_kernels as building
from thermsim.solver.multigrid import storage
from thermsim.solver.multigrid.coarsening import Ints, Step, axes, columns, plan, swap_axes
from thermsim.solver.multigrid.threads import available
from thermsim.solver.multigrid.vector_registers import LANES

SERIAL_CELLS = 20_000  # levels with fewer cells are not worth sharing among threads
LEAST_SLABS = 8  # slabs of cells that each thread needs, so that sweeps can follow one another through the grid


@dataclass(frozen=True, eq=False)
class Hierarchy:
    """All levels of one stencil, ready to solve. Not to be used by two solutions at the same time."""

    stencil: Any
    swapped: bool
    threads: int
    parallel_levels: int
    levels: Ints
    maps: Ints
    fields: tuple[npt.NDArray[Any], ...]
    vectors: tuple[npt.NDArray[Any], ...]
    sizes: tuple[int, ...]
    sync: Ints
    least_pivot: float
    steps: tuple[Step, ...]

    @property
    def bytes(self) -> int:
        """Memory of the hierarchy [byte], without the stencil (the last field shares the memory of another)."""
        return sum(array.nbytes for array in (*self.fields[:-1], *self.vectors, self.levels, self.maps))


def build(stencil: Any, threads: int | None = None) -> Hierarchy:
    """Set the hierarchy of a stencil up.

    Parameters
    ----------
    stencil : Stencil; conductances and ground [W/K], widths [m]
    threads : at most so many threads work on it (default: the processors this process may use); no result depends on it
    """
    nx, ny, nz = stencil.ground.shape
    swapped = swap_axes(nx, ny)
    steps = plan(*axes(stencil, swapped))
    levels, maps, parallel, team = _tables((ny, nx, nz) if swapped else (nx, ny, nz), steps, threads or available())
    hierarchy = Hierarchy(
        stencil, swapped, team, parallel, levels, maps, _fields(levels), _vectors(levels),
        _sizes(nx, ny, nz, swapped), _sync(), 0.0, tuple(steps),
    )  # fmt: skip
    _set_up(hierarchy)
    return hierarchy


def forecast(stencil: Any) -> int:
    """Memory that `build` will take [byte], from widths, parts and a sample of conductances; nothing large is
    allocated.
    """
    nx, ny, nz = stencil.ground.shape
    swapped = swap_axes(nx, ny)
    steps = plan(*axes(stencil, swapped))
    levels = _tables((ny, nx, nz) if swapped else (nx, ny, nz), steps, 1)[0]
    cells, halves, rhs, count = _counts(levels)
    return 24 * cells + 2 * halves + 8 * rhs + 32 * count


def refresh(hierarchy: Hierarchy, stencil: Any) -> Hierarchy:
    """The same hierarchy with new coefficients on the same grid; memory is taken over from the old one."""
    if stencil.ground.shape != hierarchy.stencil.ground.shape:
        raise ValueError(f"the stencil has shape {stencil.ground.shape}, not {hierarchy.stencil.ground.shape}")
    hierarchy = Hierarchy(**{**vars(hierarchy), "stencil": stencil})
    _set_up(hierarchy)
    return hierarchy


def companion(hierarchy: Hierarchy) -> Hierarchy:
    """The same coefficients with vectors of their own and one thread, for a solution beside others.

    It holds until the hierarchy gets new coefficients.
    """
    gx, gy, gz, inv, ground, z, up, down, own, lower, spare = hierarchy.fields
    own, lower, spare = (np.zeros_like(array) for array in (own, lower, spare))
    fields = (gx, gy, gz, inv, ground, np.zeros_like(z), up, down, own, lower, spare)
    nx, ny, nz = hierarchy.sizes[:3]
    levels, maps, parallel, team = _tables((nx, ny, nz), list(hierarchy.steps), 1)
    return replace(
        hierarchy, threads=team, parallel_levels=parallel, levels=levels, maps=maps,
        fields=fields, vectors=_vectors(levels), sync=_sync(),
    )  # fmt: skip


def _set_up(hierarchy: Hierarchy) -> None:
    sums = np.zeros(int(hierarchy.levels[0][storage.NX]))
    masks, width = (
        _masks(hierarchy.levels, list(hierarchy.steps)),
        7 * (2 * int(hierarchy.levels[0][storage.M_]) + LANES),
    )

    def work(me: int, team: int) -> None:
        building.build(
            hierarchy.fields, (hierarchy.levels, hierarchy.maps), masks, given(hierarchy.stencil, hierarchy.swapped),
            hierarchy.sizes, sums, hierarchy.sync, me, team, hierarchy.parallel_levels, np.zeros(width,
            dtype=np.float32), np.zeros(hierarchy.sizes[1] * hierarchy.sizes[2]),
        )  # fmt: skip

    together(work, hierarchy.threads, hierarchy.sync)
    if len(hierarchy.levels) > 1:
        hierarchy.fields[-1][LANES:] = 0.0
    object.__setattr__(hierarchy, "least_pivot", float(sums.min()))


def given(stencil: Any, swapped: bool) -> tuple[npt.NDArray[np.float64], ...]:
    """Coefficients as flat arrays, the axis of slabs first."""
    x, y = stencil.conductance_x, stencil.conductance_y
    arrays = (y, x) if swapped else (x, y)
    ground = _flat(stencil.ground)
    # an axis of one cell has no faces; kernels then read a place of `ground` and count it as nothing
    return (*(_flat(array) if array.size else ground for array in (*arrays, stencil.conductance_z)), ground)


def _flat(array: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
    return np.ascontiguousarray(array, dtype=np.float64).reshape(-1)


def _sizes(nx: int, ny: int, nz: int, swapped: bool) -> tuple[int, ...]:
    """nx, ny, nz and the strides (slab, lane) of cells, x faces, y faces and z faces in the C order of the stencil."""
    strides = ((ny * nz, nz), (ny * nz, nz), ((ny - 1) * nz, nz), (ny * (nz - 1), nz - 1))
    if not swapped:
        return (nx, ny, nz, *(s for pair in strides for s in pair))
    cells, x_faces, y_faces, z_faces = (pair[::-1] for pair in strides)
    return (ny, nx, nz, *cells, *y_faces, *x_faces, *z_faces)


# ---- tables -----------------------------------------------------------------------------------------------------


def _tables(shape: tuple[int, int, int], steps: list[Step], threads: int) -> tuple[Ints, Ints, int, int]:
    """Level table and index lists for `kernels`, the number of shared levels and the number of threads."""
    shapes = [shape]
    for step in steps:
        shapes.append((len(step.x) - 1, len(step.y) - 1, len(step.z) - 1))
    shared = [n[0] * n[1] * n[2] >= SERIAL_CELLS for n in shapes]
    team = max(1, min(threads, shape[0] // LEAST_SLABS)) if shared[0] else 1
    parallel = 0
    while team > 1 and parallel < len(shapes) and shared[parallel] and shapes[parallel][0] >= team * LEAST_SLABS:
        parallel += 1
    levels = np.zeros((len(shapes), storage.LEVEL_COLUMNS), dtype=np.int64)
    maps: list[Ints] = []
    cell, half, rhs = LANES, LANES, LANES
    for depth, (nx, ny, nz) in enumerate(shapes):
        row = columns(ny)
        blocks, d = row // LANES, (nz + 1) * LANES
        h = blocks * d
        levels[depth, : storage.XMAP] = (cell, half, rhs, nx, ny, nz, row, h, 2 * h)
        levels[depth, [storage.B_, storage.D_]] = blocks, d
        cell += 2 * h * nx
        if depth < len(steps):
            half += h * nx
        if depth > 0:
            rhs += 2 * h * nx
    levels[:-1, storage.MASK] = np.cumsum([0, *(8 * levels[:-2, storage.M_])]) if len(steps) else 0
    at = 0

    def keep(depth: int, column: int, values: Ints) -> None:
        nonlocal at
        levels[depth, column] = at
        maps.append(values.astype(np.int64))
        at += len(values)

    for depth, step in enumerate(steps):
        fine, coarse = levels[depth], levels[depth + 1]
        for column, values in _step_lists(fine, coarse, step).items():
            keep(depth, column, values)
    for depth in range(len(shapes)):
        nx = shapes[depth][0]
        cuts = np.array([round(nx * t / team) for t in range(team + 1)])
        if depth < len(steps):  # whole coarse slabs only
            first = steps[depth].x
            cuts = first[np.searchsorted(first, cuts)]
        keep(depth, storage.CUTS, cuts)
    return levels, np.concatenate(maps), max(parallel, 1 if team == 1 else parallel), team


def _step_lists(fine: Ints, coarse: Ints, step: Step) -> dict[int, Ints]:
    """The index lists of one step, by column of the level table."""
    ny, row = int(fine[storage.NY]), int(fine[storage.M_])
    nyc, row_c, half_c = int(coarse[storage.NY]), int(coarse[storage.M_]), int(coarse[storage.H_])
    size = np.diff(step.y)
    owner = np.repeat(np.arange(nyc), size)
    j = np.arange(ny)
    pair = size[owner] == 2
    beside = np.clip(np.where(pair, owner + np.where(j == step.y[owner], -1, 1), owner), 0, nyc - 1)
    blocks, blocks_c = row // LANES, row_c // LANES
    line, line_c = _line(ny, blocks), _line(nyc, blocks_c)
    start_c = (
        np.arange(nyc) % 2 * half_c
        + np.arange(nyc) // 2 % blocks_c * int(coarse[storage.D_])
        + np.arange(nyc) // 2 // blocks_c
    )
    column, column_y = np.zeros((2, row), dtype=np.int64), np.zeros((2, row), dtype=np.int64)
    column[j % 2, line], column_y[j % 2, line] = start_c[owner], start_c[beside]
    member = np.full((2, 2, 3, row_c), row, dtype=np.int64)  # `row` is a place that holds zero

    def place(table: Ints, target: Ints, kind: int, values: Ints) -> None:
        table[target % 2, kind, line_c[target]] = values

    for p in range(2):
        red = j % 2 == p
        place(member[p], owner[red], 0, line[red])
        low = red & pair & (j == step.y[owner]) & (owner > 0)  # gives its y share to the coarse column below
        place(member[p], owner[low] - 1, 2, line[low])
        high = red & pair & (j != step.y[owner]) & (owner < nyc - 1)
        place(member[p], owner[high] + 1, 1, line[high])
    paired = np.full((2, 2, row_c), 2 * row, dtype=np.int64)  # places of the members of a coarse column in fine rows
    place(paired, np.arange(nyc), 0, (j % 2 * row + line)[step.y[:-1]])
    second = np.flatnonzero(size == 2)
    place(paired, second, 1, (j % 2 * row + line)[step.y[second] + 1])
    return {
        storage.PAIRED: paired.ravel(),
        storage.XMAP: np.repeat(np.arange(len(step.x) - 1), np.diff(step.x)),
        storage.XFIRST: step.x,
        storage.YFIRST: step.y,
        storage.ZFIRST: step.z,
        storage.COLUMN: column.ravel(),
        storage.COLUMN_Y: column_y.ravel(),
        storage.MEMBER: member.ravel(),
    }


def _masks(levels: Ints, steps: list[Step]) -> npt.NDArray[np.float32]:
    """By fine column: 1 where it opens a pair, where it opens a coarse column that follows a pair, closes a pair,
    leads to one.
    """
    parts = []
    for fine, step in zip(levels, steps, strict=False):
        row, first, size = int(fine[storage.M_]), step.y[:-1], np.diff(step.y)
        mask = np.zeros((4, 2, row), dtype=np.float32)
        line = _line(int(fine[storage.NY]), row // LANES)
        mask[0, first % 2, line[first]] = size == 2
        mask[1, first[1:] % 2, line[first[1:]]] = size[:-1] == 2
        last = step.y[1:] - 1
        mask[2, last % 2, line[last]] = size == 2
        mask[3, last[:-1] % 2, line[last[:-1]]] = size[1:] == 2
        parts.append(mask.ravel())
    return np.concatenate([*parts, np.zeros(LANES, dtype=np.float32)])


def _line(count: int, blocks: int) -> Ints:
    """Where column j stands in a row of lanes, block after block."""
    m = np.arange(count) // 2
    return m % blocks * LANES + m // blocks


def _counts(levels: Ints) -> tuple[int, int, int, int]:
    """Numbers of one array of cells, of weights, of a coarse right-hand side, of a vector of black columns."""
    last, finest = levels[-1], levels[0]
    cells = int(last[storage.CELL] + last[storage.S_] * last[storage.NX]) + LANES
    rhs = int(last[storage.RHS] + (last[storage.S_] * last[storage.NX] if len(levels) > 1 else 0)) + LANES
    return cells, int(last[storage.HALF]) + LANES, rhs, int(finest[storage.H_] * finest[storage.NX]) + 2 * LANES


def _fields(levels: Ints) -> tuple[npt.NDArray[Any], ...]:
    """Links, inverse pivots, ground, z; transfer weights; the three coarse right-hand sides."""
    cells, halves, rhs, _ = _counts(levels)
    gx, gy, gz, inv, ground, z = (np.zeros(cells, dtype=np.float32) for _ in range(6))
    weights = (np.zeros(halves, dtype=np.uint8) for _ in range(2))
    own, lower = (np.zeros(rhs, dtype=np.float32) for _ in range(2))
    return gx, gy, gz, inv, ground, z, *weights, own, lower, _spare_ground(levels, ground)


def _spare_ground(levels: Ints, ground: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Coarse ground is needed during set-up only; its place then holds the third right-hand side."""
    start = int(levels[1][storage.CELL]) if len(levels) > 1 else ground.size - LANES
    return ground[start - LANES :] if len(levels) > 1 else ground[start:]


def _vectors(levels: Ints) -> tuple[npt.NDArray[Any], ...]:
    """x, p (double), q, r, w, change (single), all of the black columns."""
    count = _counts(levels)[3]
    return (
        *(np.zeros(count) for _ in range(2)),
        *(np.zeros(count, dtype=np.float32) for _ in range(4)),
    )


# ---- threads ----------------------------------------------------------------------------------------------------


def _sync() -> Ints:
    """What the threads of one solution tell one another by."""
    sync = np.zeros(24, dtype=np.int64)
    sync[2] = _yield_address()
    return sync


def _yield_address() -> int:
    """Address of the system call that gives the processor away, or 0."""
    try:
        if sys.platform == "win32":
            function = ctypes.WinDLL("kernel32").SwitchToThread
        else:
            function = ctypes.CDLL(None).sched_yield
        return ctypes.cast(function, ctypes.c_void_p).value or 0
    except (OSError, AttributeError):
        return 0


def together(work: Callable[[int, int], None], team: int, sync: Ints) -> None:
    """Call work(me, team) on `team` threads at once; the kernels release the interpreter lock.

    If one thread fails, the others are let out of their barriers, and its error is raised.
    """
    if team == 1:
        work(0, 1)
        return
    sync[[0, 3]] = 0
    failed: list[BaseException] = []

    def guarded(me: int) -> None:
        try:
            work(me, team)
        except BaseException as error:  # the interrupt key too: the other threads must not wait for ever
            sync[3] = 1
            failed.append(error)

    others = [threading.Thread(target=guarded, args=(me,), daemon=True) for me in range(1, team)]
    for thread in others:
        thread.start()
    guarded(0)
    for thread in others:
        thread.join()
    if failed:
        raise failed[0]

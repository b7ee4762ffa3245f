"""Which cells become one on the next coarser level: index lists from widths and parts alone, no coefficients.

Coarsening is by index: pairs of neighbours in x, in y and in z, chosen once for the whole level. The rules, each of
which was measured to save iterations on stacks of parts:

- by size: two neighbours pair only if their joint width is at most `PAIR_WIDTH` times the smallest width of their level
  over x and y, so that coarse cells grow isotropic;
- never across the edge of a part, until nothing else is left to pair;
- in z only inside a part, and only where the pair is flatter than it is wide, measured in the metric of its
  conductivities;
- where conduction in the plane depends on direction, widths count by a power of k_y / k_x.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from thermsim.solver.multigrid.vector_registers import LANES

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

PAIR_WIDTH = 3.0  # joint width of a lateral pair, over the smallest width that has a neighbour to pair with, at first
PAIR_HEIGHT = 2.0  # the same of a pair in z, over the smallest lateral width
# Exponent of k_y / k_x in the scale of x, measured (1/2 would be right if all parts had the same ratio)
STRETCH_EXPONENT = 0.325
COLUMNS_LEFT = 0.6  # the limit on joint widths is raised until at most this share of the columns is left
COLUMNS_LEFT_AT_EDGES = 0.7  # pairs may cross the edges of parts when more than this share of the columns would be left
# Columns along an axis that are searched for edges and ratios: they guide the pairing, and change no result.
SAMPLED_COLUMNS = 48


@dataclass(frozen=True, eq=False)
class Axis:
    """Cells of one level along one axis: widths in the metric that counts, and gaps (n - 1) that no pair should
    cross.
    """

    width: Floats
    edge: Flags

    def coarse(self, first: Ints) -> Axis:
        """The axis whose cells each join those from one number of `first` up to the next."""
        return Axis(np.add.reduceat(self.width, first[:-1]), self.edge[first[1:-1] - 1])


@dataclass(frozen=True, eq=False)
class Step:
    """From one level to the next: `first[I]` is the first member of coarse index I (one more entry than coarse
    cells).
    """

    x: Ints
    y: Ints
    z: Ints


def pairs(axis: Axis, limit: float) -> Ints:
    """First members after pairing neighbours, from the low end, of at most `limit` joint width, across no edge."""
    n = len(axis.width)
    allowed = (axis.width[:-1] + axis.width[1:] <= limit * (1 + 1e-9)) & ~axis.edge
    gap = np.arange(n - 1)
    start = np.maximum.accumulate(np.where(allowed, -1, gap)) + 1  # of the run of allowed gaps that a gap belongs to
    closed = allowed & ((gap - start) % 2 == 0)
    opens = np.ones(n + 1, dtype=bool)
    opens[1:n] = ~closed
    first: Ints = np.flatnonzero(opens)
    return first


def plan(x: Axis, y: Axis, z: Axis) -> list[Step]:
    """Steps down to a single column. `z.width` is scaled to the lateral metric."""
    steps = []
    while len(x.width) * len(y.width) > 1:
        smallest = min(float(_pairable(a).min(initial=np.inf)) for a in (x, y))
        first_x, first_y = _halved(x, y, PAIR_WIDTH * smallest)
        if len(first_x) * len(first_y) > COLUMNS_LEFT_AT_EDGES * (len(x.width) + 1) * (len(y.width) + 1) and (
            x.edge.any() or y.edge.any()
        ):
            x, y = (Axis(a.width, np.zeros_like(a.edge)) for a in (x, y))
            continue
        step = Step(first_x, first_y, pairs(z, PAIR_HEIGHT * smallest))
        steps.append(step)
        x, y, z = x.coarse(step.x), y.coarse(step.y), z.coarse(step.z)
    return steps


def _halved(x: Axis, y: Axis, limit: float) -> tuple[Ints, Ints]:
    """Pairs of x and y by size; the limit is raised until few enough columns are left, or no pair is."""
    largest = max(float((a.width[:-1] + a.width[1:]).max(initial=0.0)) for a in (x, y))
    aim = COLUMNS_LEFT * len(x.width) * len(y.width)
    while True:
        first = pairs(x, limit), pairs(y, limit)
        if (len(first[0]) - 1) * (len(first[1]) - 1) <= aim or limit >= largest:
            return first
        limit = min(1.25 * limit, largest)


def _pairable(axis: Axis) -> Floats:
    """Widths of the cells that have a neighbour to pair with."""
    free = ~axis.edge
    if not free.any():
        return axis.width[:0]
    either = np.concatenate([free, [False]]) | np.concatenate([[False], free])
    chosen: Floats = axis.width[either]
    return chosen


def axes(stencil: Any, swapped: bool) -> tuple[Axis, Axis, Axis]:
    """Axes of the finest level from widths, parts and conductances (a sample of columns is looked at)."""
    box = stencil.box
    nx, ny, _ = box.shape
    i, j = (np.unique(np.linspace(0, n - 1, min(n, SAMPLED_COLUMNS)).astype(int)) for n in (nx, ny))
    along_x, along_y, columns = box[:, j], box[i], box[np.ix_(i, j)]
    edge_x = (along_x[1:] != along_x[:-1]).any(axis=(1, 2))
    edge_y = (along_y[:, 1:] != along_y[:, :-1]).any(axis=(0, 2))
    edge_z = (columns[:, :, 1:] != columns[:, :, :-1]).any(axis=(0, 1))
    ratio_xy, ratio_z = _ratios(stencil, i[i < nx - 1][::2], j[j < ny - 1][::2])
    stretch = ratio_xy**STRETCH_EXPONENT
    x = Axis(stencil.width_x * stretch, edge_x)
    y = Axis(np.asarray(stencil.width_y, dtype=float), edge_y)
    z = Axis(stencil.width_z * np.sqrt(ratio_z), edge_z)
    return (y, x, z) if swapped else (x, y, z)


def _ratios(stencil: Any, i: Ints, j: Ints) -> tuple[float, Floats]:
    """k_y / k_x of the layer where it is farthest from 1, and k_lateral / k_z by layer; 1 where nothing can be read
    off.
    """
    dx, dy, dz, box = stencil.width_x, stencil.width_y, stencil.width_z, stencil.box
    nz = len(dz)
    if not len(i) or not len(j):
        return 1.0, np.ones(nz)
    here = np.ix_(i, j)
    same = (box[here] >= 0) & (box[np.ix_(i + 1, j)] == box[here]) & (box[np.ix_(i, j + 1)] == box[here])
    area = dx[i, None, None] * dy[None, j, None]
    k_x = stencil.conductance_x[here] * (0.5 * (dx[i] + dx[i + 1]))[:, None, None] / (dy[j][:, None] * dz)
    k_y = stencil.conductance_y[here] * (0.5 * (dy[j] + dy[j + 1]))[:, None] / (dx[i][:, None, None] * dz)
    k_z = np.zeros_like(k_x)
    if nz > 1:
        upward = (
            stencil.conductance_z[here] * 0.5 * (dz[1:] + dz[:-1]) / area * (box[here][..., 1:] == box[here][..., :-1])
        )
        k_z[..., 1:] = upward
        k_z[..., :-1] = np.maximum(k_z[..., :-1], upward)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_xy = _mean_by_layer(np.log(k_y / k_x), same & (k_x > 0) & (k_y > 0))
        log_z = _mean_by_layer(np.log(np.sqrt(k_x * k_y) / k_z), same & (k_x > 0) & (k_y > 0) & (k_z > 0))
    return float(np.exp(max(log_xy.max(), 0.0) + min(log_xy.min(), 0.0))), np.exp(log_z)


def _mean_by_layer(values: Floats, where: Flags) -> Floats:
    """Mean over x and y of the values that count; 0 where none does."""
    total = np.where(where, values, 0.0).sum(axis=(0, 1))
    mean: Floats = total / np.maximum(where.sum(axis=(0, 1)), 1)
    return mean


def columns(count: int) -> int:
    """Columns of one half row: half of `count`, rounded up to whole lanes."""
    return -(-((count + 1) // 2) // LANES) * LANES


def swap_axes(nx: int, ny: int) -> bool:
    """Whether lanes should run along x: padding counts first, then the number of slabs (work for threads)."""
    as_given, swapped = nx * 2 * columns(ny), ny * 2 * columns(nx)
    if max(as_given, swapped) > 1.08 * min(as_given, swapped):
        return swapped < as_given
    return ny > nx

"""Stacks for the solver benchmark: any number of cells, jumps of 1e4 in conductivity, cells up to 500 times wider than
high.

Substrate, die, solder (a joint), lid, paste (a joint), plate; void around the die and above the narrower parts; ten
power zones; grids graded towards every outline. Invented, like the demo, and independent of the case reader and of
`thermsim.model`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
MM = 1e-3
SEED = 20257


@dataclass(frozen=True)
class Stencil:
    """Heat balance of every solid cell: sum of G (T_n - T) - ground T + heat = 0 (the fields `thermsim.solver`
    reads).
    """

    conductance_x: Floats
    conductance_y: Floats
    conductance_z: Floats
    ground: Floats
    heat: Floats
    solid: npt.NDArray[np.bool_]
    width_x: Floats
    width_y: Floats
    width_z: Floats
    box: npt.NDArray[np.int16]


@dataclass(frozen=True)
class Part:
    name: str
    size: tuple[float, float]  # [m]
    thickness: float  # [m]
    k: tuple[float, float, float]  # x, y, z [W/mK]
    joint_below: float = 0.0  # [m2 K/W]


def parts(variant: str) -> list[Part]:
    """The stack of a variant, from the bottom up."""
    solder, board, film = 3.0e-6 + 240e-6 / 70, (0.5, 0.5, 0.4), 7.8e-6
    if variant in ("film_10um", "small_cells"):
        solder = 10e-6 / 28
    if variant == "ratio_1e5":
        board = (4e-3, 4e-3, 4e-3)
    if variant == "anisotropic":
        board = (20.0, 0.5, 0.4)
    stack = [
        Part("substrate", (42 * MM, 38 * MM), 1.36 * MM, board),
        Part("die", (24.8 * MM, 10.4 * MM), 0.66 * MM, (120.0,) * 3),
        Part("lid", (36 * MM, 32 * MM), 2.45 * MM, (390.0,) * 3, solder),
        Part("plate", (44 * MM, 44 * MM), 3.0 * MM, (390.0,) * 3, film),
    ]
    if variant == "no_lid":
        stack = [stack[0], stack[1], Part("plate", (44 * MM, 44 * MM), 3.0 * MM, (390.0,) * 3, film)]
    return stack


def axis(outlines: list[float], count: int, grading: float = 0.3) -> Floats:
    """About `count` cells with a line on every outline, finer near them. Returns the lines."""
    marks = np.unique(np.round(outlines, 9))
    span = marks[-1] - marks[0]
    places = np.linspace(marks[0], marks[-1], 20001)
    distance = np.abs(places[:, None] - marks).min(axis=1)
    size = 0.4 * span / count + grading * distance / max(1.0, np.log2(max(count, 2)) / 5)
    lines = [marks[:1]]
    total = np.trapezoid(1 / size, places)
    for a, b in pairwise(marks):
        inside = np.linspace(a, b, 2001)
        local = np.interp(inside, places, size)
        steps = np.concatenate([[0.0], np.cumsum(0.5 * (1 / local[1:] + 1 / local[:-1]) * np.diff(inside))])
        n = max(1, round(count * steps[-1] / total))
        lines.append(np.interp(np.linspace(0, steps[-1], n + 1)[1:], steps, inside))
    return np.concatenate(lines)


def stack(nx: int, ny: int, nz: int, variant: str = "demo") -> Stencil:
    """A stack with about nx x ny x nz cells. Variants: see `VARIANTS`."""
    chosen = parts(variant)
    die = chosen[1]
    zone_x = [-12.4, -8.4, -4.2, 0.0, 4.2, 8.4, 12.4]
    zone_y = [-5.2, -0.8, 0.8, 5.2]
    x = axis(
        [s * part.size[0] / 2 for part in chosen for s in (-1, 1)] + [v * MM for v in zone_x] + [-17 * MM, 17 * MM], nx
    )
    y = axis(
        [s * part.size[1] / 2 for part in chosen for s in (-1, 1)] + [v * MM for v in zone_y] + [-17 * MM, 17 * MM], ny
    )
    if variant == "small_cells":  # 20 um, uniform
        x, y = np.arange(nx + 1) * 20e-6, np.arange(ny + 1) * 20e-6
        x, y = x - x.mean(), y - y.mean()
    share = np.sqrt([part.thickness for part in chosen])
    layers = np.maximum(1, np.round(nz * share / share.sum()).astype(int))
    layers[-1] += max(nz - layers.sum(), 1 - layers[-1])
    dz = np.concatenate([np.full(n, part.thickness / n) for n, part in zip(layers, chosen, strict=True)])
    level = np.repeat(np.arange(len(chosen)), layers)
    dx, dy = np.diff(x), np.diff(y)
    xc, yc = 0.5 * (x[1:] + x[:-1]), 0.5 * (y[1:] + y[:-1])
    shape = (len(dx), len(dy), len(dz))
    box = np.full(shape, -1, dtype=np.int16)
    for number, part in enumerate(chosen):
        inside = (np.abs(xc)[:, None] < part.size[0] / 2) & (np.abs(yc) < part.size[1] / 2)
        box[:, :, level == number] = np.where(inside, number, -1)[:, :, None]
    solid = box >= 0
    k = np.array([part.k for part in chosen])[level]  # (nz, 3)
    scale = np.ones(shape)
    if variant.startswith("lognormal"):
        scale = np.exp(float(variant.split("_")[1]) * np.random.default_rng(SEED).standard_normal(shape))
    joint = np.array([chosen[b].joint_below if a != b else 0.0 for a, b in pairwise(level)])
    with np.errstate(divide="ignore", invalid="ignore"):
        half = dx[:, None, None] / (2 * k[:, 0] * scale)
        g_x = (dy[:, None] * dz) / (half[1:] + half[:-1]) * (solid[1:] & solid[:-1])
        half = dy[None, :, None] / (2 * k[:, 1] * scale)
        g_y = (dx[:, None, None] * dz) / (half[:, 1:] + half[:, :-1]) * (solid[:, 1:] & solid[:, :-1])
        half = dz / (2 * k[:, 2] * scale)
        area = dx[:, None] * dy
        g_z = area[:, :, None] / (half[:, :, 1:] + half[:, :, :-1] + joint) * (solid[:, :, 1:] & solid[:, :, :-1])
    ground, heat = np.zeros(shape), np.zeros(shape)
    film = 1e-3 if variant == "nearly_insulated" else 14000.0
    wetted = (np.abs(xc)[:, None] < 17 * MM) & (np.abs(yc) < 17 * MM)
    for at, h, fluid, where in ((-1, film, 31.0, wetted), (0, 12.0, 30.0, True)):
        g = area * solid[:, :, at] * where / (1 / h + half[:, :, at])
        ground[:, :, at] += g
        heat[:, :, at] += g * fluid
    bottom = int(layers[0])
    watts = np.array(
        [[3.4, 21.4, 23.1, 22.3, 20.2, 9.2], [3.4, 4.0, 4.0, 4.0, 4.0, 9.2], [3.4, 21.0, 22.3, 21.8, 20.6, 6.7]]
    )
    inside_die = (np.abs(xc)[:, None] < die.size[0] / 2) & (np.abs(yc) < die.size[1] / 2)
    zi = np.clip(np.searchsorted(np.array(zone_x) * MM, xc) - 1, 0, 5)
    zj = np.clip(np.searchsorted(np.array(zone_y) * MM, yc) - 1, 0, 2)
    density = watts / (np.diff(zone_x) * np.diff(zone_y)[:, None]) / MM**2
    heat[:, :, bottom] += area * density[zj[None, :], zi[:, None]] * inside_die * solid[:, :, bottom]
    return Stencil(g_x, g_y, g_z, ground, heat, solid, dx, dy, dz, box)


VARIANTS = (
    "demo", "no_lid", "film_10um", "ratio_1e5", "nearly_insulated", "small_cells", "anisotropic", "lognormal_1",
    "lognormal_2",
)  # fmt: skip

SIZES = {"0.1 M": (66, 62, 24), "1 M": (170, 150, 40), "8 M": (420, 380, 50), "16 M": (530, 480, 64)}


def matrix(stencil: Stencil):
    """The same heat balance as a SciPy CSR matrix over the solid cells, and its right-hand side."""
    import scipy.sparse as sparse

    number = np.full(stencil.solid.shape, -1, dtype=np.int32)
    number[stencil.solid] = np.arange(np.count_nonzero(stencil.solid), dtype=np.int32)
    count = int(np.count_nonzero(stencil.solid))
    rows, cols, values = [], [], []
    diagonal = stencil.ground.astype(float).copy()
    for ax, g in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
        low = tuple(slice(None, -1) if a == ax else slice(None) for a in range(3))
        high = tuple(slice(1, None) if a == ax else slice(None) for a in range(3))
        diagonal[low] += g
        diagonal[high] += g
        linked = g > 0
        a, b, v = number[low][linked], number[high][linked], -g[linked]
        rows += [a, b]
        cols += [b, a]
        values += [v, v]
    own = np.arange(count, dtype=np.int32)
    rows.append(own)
    cols.append(own)
    values.append(diagonal[stencil.solid])
    shape = (count, count)
    whole = sparse.coo_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))), shape=shape
    ).tocsr()
    return whole, stencil.heat[stencil.solid]

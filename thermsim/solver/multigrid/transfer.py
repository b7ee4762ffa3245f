"""From a level to the coarser one and back: residuals gathered, corrections handed down.

Storage and names as in `storage.py`.
"""

# mypy: ignore-errors
# (numba infers the types of kernels; their twins in the tests pin them)

from __future__ import annotations

import numpy as np

from thermsim.solver.multigrid.storage import (
    B_,
    CELL,
    COLUMN,
    COLUMN_Y,
    D_,
    H_,
    HALF,
    M_,
    MEMBER,
    NX,
    NZ,
    RHS,
    S_,
    XFIRST,
    XMAP,
    ZFIRST,
    beside,
    lateral,
)
from thermsim.solver.multigrid.vector_registers import LANES, fma, gather, helper, load, load_bytes, splat, store


@helper
def restrict(gx, gy, z, wx, wy, own, lower, upper, level, coarse, maps, scratch, ci):
    """Residual of the red columns in the fine slabs of coarse slab ci, gathered into the three coarse right-hand sides.

    The share of a fine cell that belongs to the next coarse column in x goes to `lower` or `upper` of its own
    coarse slab: slab ci-1 or ci+1 adds it later, so that no two threads ever write one number.
    """
    nx, M, H, S = level[NX], level[M_], level[H_], level[S_]
    Mc = coarse[M_]
    first, last = maps[level[XFIRST] + ci], maps[level[XFIRST] + ci + 1]
    zero = splat(np.float32(0.0))
    b_own, b_y, b_x = 0, M + LANES, 2 * (M + LANES)
    for place in (b_own, b_y, b_x):
        scratch[place + M] = np.float32(0.0)
    for i in range(first, last):
        p = i % 2
        c, h = level[CELL] + i * S + p * H, level[HALF] + i * H
        left = S if i > 0 else 0
        right, link = (S, S) if i < nx - 1 else (0, -i * S)
        member = level[MEMBER] + p * 6 * Mc
        for K in range(coarse[NZ]):
            k0, k1 = maps[level[ZFIRST] + K], maps[level[ZFIRST] + K + 1]
            for block in range(level[B_]):
                m = block * level[D_]
                y0, y1 = beside(level, p, block)
                s_own, s_y, s_x = zero, zero, zero
                for k in range(k0, k1):
                    o = c + k * LANES + m
                    b = o + y1
                    r = lateral(gx, gy, z, o, left, right, link, o + y0, b)
                    x_share = load_bytes(wx, h + k * LANES + m) * r
                    y_share = load_bytes(wy, h + k * LANES + m) * r
                    s_x, s_y = s_x + x_share, s_y + y_share
                    s_own = s_own + ((r - x_share) - y_share)
                store(scratch, b_own + block * LANES, s_own)
                store(scratch, b_y + block * LANES, s_y)
                store(scratch, b_x + block * LANES, s_x)
            for q in range(2):
                table = member + q * 3 * Mc
                for block in range(coarse[B_]):
                    n = block * LANES
                    o = coarse[RHS] + ci * coarse[S_] + q * coarse[H_] + block * coarse[D_] + K * LANES
                    sides = gather(scratch, b_y, maps, table + Mc + n) + gather(scratch, b_y, maps, table + 2 * Mc + n)
                    sum_ = gather(scratch, b_own, maps, table + n) + sides
                    if i > first:
                        store(own, o, load(own, o) + sum_)
                        store(upper, o, gather(scratch, b_x, maps, table + n))
                    else:
                        store(own, o, sum_)
                        if last - first == 2:
                            store(lower, o, gather(scratch, b_x, maps, table + n))


@helper
def gather_heat(own, lower, upper, level, i):
    """Add to coarse slab i what its two neighbours hold for it."""
    S, nx = level[S_], level[NX]
    r0 = level[RHS] + i * S
    for o in range(r0, r0 + S, LANES):
        total = load(own, o)
        if i > 0:
            total = total + load(upper, o - S)
        if i < nx - 1:
            total = total + load(lower, o + S)
        store(own, o, total)


@helper
def prolong(z, wx, wy, level, coarse, maps, i, fresh):
    """Correct the red columns of slab i from the coarse level: z (+)= e + wx (e_x - e) + wy (e_y - e)."""
    M, H = level[M_], level[H_]
    p = i % 2
    c, h = level[CELL] + i * level[S_] + p * H, level[HALF] + i * H
    ci = maps[level[XMAP] + i]
    side = ci
    if maps[level[XFIRST] + ci + 1] - maps[level[XFIRST] + ci] == 2:
        side = ci - 1 if i == maps[level[XFIRST] + ci] else ci + 1
        side = min(max(side, 0), coarse[NX] - 1)
    column, column_y = level[COLUMN] + p * M, level[COLUMN_Y] + p * M
    for K in range(coarse[NZ]):
        here = coarse[CELL] + ci * coarse[S_] + K * LANES
        there = coarse[CELL] + side * coarse[S_] + K * LANES
        k0, k1 = maps[level[ZFIRST] + K], maps[level[ZFIRST] + K + 1]
        for block in range(level[B_]):
            m = block * level[D_]
            base = gather(z, here, maps, column + block * LANES)
            step_x = gather(z, there, maps, column + block * LANES) - base
            step_y = gather(z, here, maps, column_y + block * LANES) - base
            for k in range(k0, k1):
                o, n = c + k * LANES + m, h + k * LANES + m
                e = fma(load_bytes(wx, n), step_x, base)
                e = fma(load_bytes(wy, n), step_y, e)
                if not fresh:
                    e = e + load(z, o)
                store(z, o, e)

"""Compiled kernels that set a hierarchy up: from given coefficients to line pivots, coarse links and transfer weights.

Storage and names as in `kernels.py`.
"""

from __future__ import annotations

import numpy as np

from thermsim.solver.kernels import (
    CELL,
    CUTS,
    HALF,
    LANES,
    XFIRST,
    YFIRST,
    ZFIRST,
    H_,
    M_,
    NX,
    NY,
    NZ,
    S_,
    XMAP,
)
from thermsim.solver.lanes import barrier, compiled, fma, inverse, lane_sum, least, load, splat, store

REVISION = 1


@compiled
def convert(ax, ay, az, ag, gx, gy, gz, ground, sizes, level, i):
    """Slab i of the given coefficients (double, C order) in single precision, by lanes."""
    nx, ny, nz, sx, sy, xx, xy, yx, yy, zx, zy = sizes
    M, H = level[M_], level[H_]
    for p in range(2):
        start = level[CELL] + i * level[S_] + p * H
        for m in range(0, (ny - p + 1) // 2, LANES):
            width = min(LANES, (ny - p + 1) // 2 - m)
            c = i * sx + (2 * m + p) * sy
            z0 = i * zx + (2 * m + p) * zy
            for k in range(nz):
                for s in range(width):
                    ground[start + k * M + m + s] = ag[c + 2 * s * sy + k]
            for k in range(1, nz):
                for s in range(width):
                    gz[start + k * M + m + s] = az[z0 + 2 * s * zy + k - 1]
            if i > 0:
                x0 = (i - 1) * xx + (2 * m + p) * xy
                for k in range(nz):
                    for s in range(width):
                        gx[start + k * M + m + s] = ax[x0 + 2 * s * xy + k]
            y0 = i * yx + (2 * m + p - 1) * yy
            first = 1 if m + p == 0 else 0
            for k in range(nz):
                for s in range(first, width):
                    gy[start + k * M + m + s] = ay[y0 + 2 * s * yy + k]


@compiled
def factor(gx, gy, gz, ground, inv, level, i):
    """Inverse pivots of all lines of slab i. Returns the least pivot (at most 0 where a line has no way out or runs away).

    The pivot is link above + leak; the leak is a sum of positive terms, so nothing cancels, however thin the cells are.
    """
    nz, M, H, S = level[NZ], level[M_], level[H_], level[S_]
    link = S if i < level[NX] - 1 else -i * S
    zero = splat(np.float32(0.0))
    worst = zero
    for p in range(2):
        c = level[CELL] + i * S + p * H
        shift = (1 - 2 * p) * H + p
        for m in range(0, M, LANES):
            kept = zero
            for k in range(nz):
                o = c + k * M + m
                sides = (load(gx, o) + load(gx, o + link)) + (load(gy, o) + load(gy, o + shift))
                leak = fma(load(gz, o), kept, sides) + load(ground, o)
                pivot = leak
                if k < nz - 1:
                    pivot = pivot + load(gz, o + M)
                worst = least(worst, pivot)
                pivot = inverse(pivot)
                store(inv, o, pivot)
                kept = leak * pivot
    return lane_sum(worst)


@compiled
def series(face, inner, other):
    """Link over half a pair, a face and half a pair; an inner link of zero or less means that there is no pair."""
    resistance = 1.0 / face
    if inner > 0.0:
        resistance += 0.5 / inner
    if other > 0.0:
        resistance += 0.5 / other
    return 1.0 / resistance


@compiled
def coarsen(gx, gy, gz, ground, level, coarse, maps, I):
    """Links and ground of coarse slab I.

    A coarse link is half an inner link + the face + half an inner link in series, summed over its parallel fine links, and at
    least half of their plain sum (the Galerkin value of piecewise constant transfer).
    """
    M, H, S = level[M_], level[H_], level[S_]
    i0, i1 = maps[level[XFIRST] + I], maps[level[XFIRST] + I + 1]
    wide_before = I > 0 and i0 - maps[level[XFIRST] + I - 1] == 2
    for K in range(coarse[NZ]):
        k0, k1 = maps[level[ZFIRST] + K], maps[level[ZFIRST] + K + 1]
        tall_before = K > 0 and k0 - maps[level[ZFIRST] + K - 1] == 2
        for J in range(coarse[NY]):
            j0, j1 = maps[level[YFIRST] + J], maps[level[YFIRST] + J + 1]
            deep_before = J > 0 and j0 - maps[level[YFIRST] + J - 1] == 2
            x_link, x_sum, y_link, y_sum, z_link, z_sum, leak = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
            for i in range(i0, i1):
                for j in range(j0, j1):
                    o0 = level[CELL] + i * S + j % 2 * H + j // 2
                    for k in range(k0, k1):
                        leak += max(ground[o0 + k * M], 0.0)
                    g = gz[o0 + k0 * M]
                    if g > 0.0:
                        z_sum += g
                        z_link += series(
                            g,
                            gz[o0 + (k0 + 1) * M] if k1 - k0 == 2 else 0.0,
                            gz[o0 + (k0 - 1) * M] if tall_before else 0.0,
                        )
            for k in range(k0, k1):
                for j in range(j0, j1):
                    o = level[CELL] + i0 * S + j % 2 * H + j // 2 + k * M
                    g = gx[o]
                    if g > 0.0:
                        x_sum += g
                        x_link += series(g, gx[o + S] if i1 - i0 == 2 else 0.0, gx[o - S] if wide_before else 0.0)
                for i in range(i0, i1):
                    o = level[CELL] + i * S + k * M
                    g = gy[o + j0 % 2 * H + j0 // 2]
                    if g > 0.0:
                        after = gy[o + (j0 + 1) % 2 * H + (j0 + 1) // 2] if j1 - j0 == 2 else 0.0
                        before = gy[o + (j0 - 1) % 2 * H + (j0 - 1) // 2] if deep_before else 0.0
                        y_sum += g
                        y_link += series(g, after, before)
            o = coarse[CELL] + I * coarse[S_] + J % 2 * coarse[H_] + J // 2 + K * coarse[M_]
            gx[o], gy[o], gz[o] = max(x_link, 0.5 * x_sum), max(y_link, 0.5 * y_sum), max(z_link, 0.5 * z_sum)
            ground[o] = leak


@compiled
def share(face, inner, other):
    """Weight of the next coarse column at a member of a pair, as a byte (255 is one half): linear along resistances."""
    if not (face > 0.0 and inner > 0.0):
        return 0
    own = 0.5 / inner
    rest = 1.0 / face
    if other > 0.0:
        rest += 0.5 / other
    return int(min(own / (own + rest), 0.5) * 510.0)


@compiled
def weigh(gx, gy, wx, wy, level, maps, coarse, i):
    """Transfer weights of the red cells of slab i, in x and in y."""
    nx, ny, nz, M, H, S = level[NX], level[NY], level[NZ], level[M_], level[H_], level[S_]
    p = i % 2
    c, h = level[CELL] + i * S, level[HALF] + i * H
    xf, yf = level[XFIRST], level[YFIRST]
    I = maps[level[XMAP] + i]
    x_pair = maps[xf + I + 1] - maps[xf + I] == 2
    low_x = i == maps[xf + I]
    if low_x:
        x_inner, x_face, x_other = S, 0, -S
        x_next = I > 0 and maps[xf + I] - maps[xf + I - 1] == 2
        x_inside = i > 0
    else:
        x_inner, x_face, x_other = 0, S, 2 * S
        x_next = I + 1 < coarse[NX] and maps[xf + I + 2] - maps[xf + I + 1] == 2
        x_inside = i < nx - 1
    for J in range(coarse[NY]):
        j0, j1 = maps[yf + J], maps[yf + J + 1]
        for j in range(j0, j1):
            if j % 2 != p:
                continue
            o0 = c + p * H + j // 2
            low_y = j == j0
            y_pair = j1 - j0 == 2
            if low_y:
                ji, jf, jo = j + 1, j, j - 1
                y_next = J > 0 and j0 - maps[yf + J - 1] == 2
                y_inside = j > 0
            else:
                ji, jf, jo = j, j + 1, j + 2
                y_next = J + 1 < coarse[NY] and maps[yf + J + 2] - maps[yf + J + 1] == 2
                y_inside = j < ny - 1
            for k in range(nz):
                o = o0 + k * M
                weight = 0
                if x_pair and x_inside:
                    weight = share(gx[o + x_face], gx[o + x_inner], gx[o + x_other] if x_next else 0.0)
                wx[h + k * M + j // 2] = weight
                weight = 0
                if y_pair and y_inside:
                    weight = share(
                        gy[c + jf % 2 * H + jf // 2 + k * M],
                        gy[c + ji % 2 * H + ji // 2 + k * M],
                        gy[c + jo % 2 * H + jo // 2 + k * M] if y_next else 0.0,
                    )
                wy[h + k * M + j // 2] = weight


@compiled
def build(f, tables, given, sizes, sums, sync, me, team, parallel):
    """The whole hierarchy from the given coefficients; sums[i] is the least pivot of slab i (below zero: runaway)."""
    gx, gy, gz, inv, ground, z, wx, wy, own, lower, upper = f
    levels, maps = tables
    ax, ay, az, ag = given
    depth = levels.shape[0]
    for l in range(depth):
        level = levels[l]
        many = team if l < parallel else 1
        if me > 0 and many == 1:
            break
        a, b = (maps[level[CUTS] + me], maps[level[CUTS] + me + 1]) if many > 1 else (0, level[NX])
        if l == 0:
            for i in range(a, b):
                convert(ax, ay, az, ag, gx, gy, gz, ground, sizes, level, i)
        else:
            for i in range(a, b):
                coarsen(gx, gy, gz, ground, levels[l - 1], level, maps, i)
        barrier(sync, many)
        for i in range(a, b):
            worst = factor(gx, gy, gz, ground, inv, level, i)
            if l == 0:
                sums[i] = worst
            if l + 1 < depth:
                weigh(gx, gy, wx, wy, level, maps, levels[l + 1], i)
    barrier(sync, team)

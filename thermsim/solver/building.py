"""Compiled kernels that set a hierarchy up: from given coefficients to line pivots, coarse links and transfer weights.

Storage and names as in `kernels.py`.
"""

from __future__ import annotations

import numpy as np

from thermsim.solver.kernels import (
    B_,
    CELL,
    CUTS,
    HALF,
    MASK,
    PAIRED,
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
    D_,
    beside,
    columns_of,
)
from thermsim.solver.lanes import (
    barrier,
    collect,
    compiled,
    fma,
    gather,
    inverse,
    lane_sum,
    least,
    load,
    most,
    positive,
    splat,
    store,
)

REVISION = 1


@compiled
def copy_lines(source, start, stride, target, row, count, first, width):
    """target rows := `width` lines of `count` numbers each, `stride` apart in the source; lanes below `first` are left alone."""
    if width == LANES and first == 0:
        for k in range(count):
            store(target, row + k * LANES, collect(source, start + k, stride))
    else:
        for s in range(first, width):
            for k in range(count):
                target[row + k * LANES + s] = source[start + s * stride + k]


@compiled
def convert(ax, ay, az, ag, gx, gy, gz, ground, sizes, level, i):
    """Slab i of the given coefficients (double, C order) in single precision, by lanes."""
    ny, nz, sx, sy, xx, xy, yx, yy, zx, zy = sizes[1:]
    B = level[B_]
    for p in range(2):
        for block in range(B):
            width = columns_of(level, (ny - p + 1) // 2, block)
            j, o = 2 * block + p, level[CELL] + i * level[S_] + p * level[H_] + block * level[D_]
            copy_lines(ag, i * sx + j * sy, 2 * B * sy, ground, o, nz, 0, width)
            copy_lines(az, i * zx + j * zy, 2 * B * zy, gz, o + LANES, nz - 1, 0, width)
            if i > 0:
                copy_lines(ax, (i - 1) * xx + j * xy, 2 * B * xy, gx, o, nz, 0, width)
            copy_lines(ay, i * yx + (j - 1) * yy, 2 * B * yy, gy, o, nz, 1 if j == 0 else 0, width)


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
        for block in range(level[B_]):
            m = block * level[D_]
            y0, y1 = beside(level, p, block)
            kept = zero
            for k in range(nz):
                o = c + k * LANES + m
                sides = (load(gx, o) + load(gx, o + link)) + (load(gy, o) + load(gy, o + y1))
                leak = fma(load(gz, o), kept, sides) + load(ground, o)
                pivot = leak
                if k < nz - 1:
                    pivot = pivot + load(gz, o + LANES)
                worst = least(worst, pivot)
                pivot = inverse(pivot)
                store(inv, o, pivot)
                kept = leak * pivot
    return lane_sum(worst)


@compiled
def fine_links(gx, gy, gz, ground, masks, level, maps, i0, i1, before_x, k0, k1, before_z, p, block, scratch, step):
    """Sums over the members in x and z of a coarse row, by fine column, into seven rows of scratch.

    Rows: x links in series, x links, z links in series, z links, y links in series, y links, ground. A link in series is
    g / (1 + g R), with R half an inner link on either side, where there is a pair.
    """
    M, H, S = level[M_], level[H_], level[S_]
    one, zero, half = splat(np.float32(1.0)), splat(np.float32(0.0)), splat(np.float32(0.5))
    m = block * level[D_]
    y0, y1 = beside(level, p, block)
    n = p * M + block * LANES
    opens, follows = load(masks, level[MASK] + n), load(masks, level[MASK] + 2 * M + n)
    x_link, x_sum, z_link, z_sum, y_link, y_sum, leak = zero, zero, zero, zero, zero, zero, zero
    for k in range(k0, k1):
        o = level[CELL] + i0 * S + p * H + k * LANES + m
        g, rest = load(gx, o), zero
        if i1 - i0 == 2:
            rest = inverse(load(gx, o + S))
        if before_x:
            rest = rest + inverse(load(gx, o - S))
        x_sum = x_sum + g
        x_link = x_link + g * inverse(fma(g, half * rest, one))
        for i in range(i0, i1):
            o = level[CELL] + i * S + p * H + k * LANES + m
            b = o + y1
            g = load(gy, o)
            rest = opens * inverse(load(gy, b)) + follows * inverse(load(gy, o + y0))
            y_sum = y_sum + g
            y_link = y_link + g * inverse(fma(g, half * rest, one))
            leak = leak + positive(load(ground, o))
    for i in range(i0, i1):
        o = level[CELL] + i * S + p * H + k0 * LANES + m
        g, rest = load(gz, o), zero
        if k1 - k0 == 2:
            rest = inverse(load(gz, o + LANES))
        if before_z:
            rest = rest + inverse(load(gz, o - LANES))
        z_sum = z_sum + g
        z_link = z_link + g * inverse(fma(g, half * rest, one))
    store(scratch, n, x_link)
    store(scratch, step + n, x_sum)
    store(scratch, 2 * step + n, z_link)
    store(scratch, 3 * step + n, z_sum)
    store(scratch, 4 * step + n, y_link)
    store(scratch, 5 * step + n, y_sum)
    store(scratch, 6 * step + n, leak)


@compiled
def coarsen(gx, gy, gz, ground, masks, level, coarse, maps, scratch, I):
    """Links and ground of coarse slab I.

    A coarse link is half an inner link + the face + half an inner link in series, summed over its parallel fine links, and at
    least half of their plain sum (the Galerkin value of piecewise constant transfer).
    """
    M, xf, zf = level[M_], level[XFIRST], level[ZFIRST]
    i0, i1 = maps[xf + I], maps[xf + I + 1]
    before_x = I > 0 and i0 - maps[xf + I - 1] == 2
    step = 2 * M + LANES
    zero, half = splat(np.float32(0.0)), splat(np.float32(0.5))
    for row in range(7):
        store(scratch, row * step + 2 * M, zero)
    for K in range(coarse[NZ]):
        k0, k1 = maps[zf + K], maps[zf + K + 1]
        before_z = K > 0 and k0 - maps[zf + K - 1] == 2
        for p in range(2):
            for block in range(level[B_]):
                fine_links(gx, gy, gz, ground, masks, level, maps, i0, i1, before_x, k0, k1, before_z, p, block, scratch, step)
        for q in range(2):
            one, two = level[PAIRED] + 2 * q * coarse[M_], level[PAIRED] + (2 * q + 1) * coarse[M_]
            for block in range(coarse[B_]):
                n = block * LANES
                o = coarse[CELL] + I * coarse[S_] + q * coarse[H_] + block * coarse[D_] + K * LANES
                link = gather(scratch, 0, maps, one + n) + gather(scratch, 0, maps, two + n)
                plain = gather(scratch, step, maps, one + n) + gather(scratch, step, maps, two + n)
                store(gx, o, most(link, half * plain))
                link = gather(scratch, 2 * step, maps, one + n) + gather(scratch, 2 * step, maps, two + n)
                plain = gather(scratch, 3 * step, maps, one + n) + gather(scratch, 3 * step, maps, two + n)
                store(gz, o, most(link, half * plain))
                link, plain = gather(scratch, 4 * step, maps, one + n), gather(scratch, 5 * step, maps, one + n)
                store(gy, o, most(link, half * plain))
                store(ground, o, gather(scratch, 6 * step, maps, one + n) + gather(scratch, 6 * step, maps, two + n))


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
def place(level, j):
    """Offset of column j in its slab."""
    m = j // 2
    return j % 2 * level[H_] + m % level[B_] * level[D_] + m // level[B_]


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
            o0, h0 = c + place(level, j), h + place(level, j) - p * H
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
                o = o0 + k * LANES
                weight = 0
                if x_pair and x_inside:
                    weight = share(gx[o + x_face], gx[o + x_inner], gx[o + x_other] if x_next else 0.0)
                wx[h0 + k * LANES] = weight
                weight = 0
                if y_pair and y_inside:
                    weight = share(
                        gy[c + place(level, jf) + k * LANES],
                        gy[c + place(level, ji) + k * LANES],
                        gy[c + place(level, jo) + k * LANES] if y_next else 0.0,
                    )
                wy[h0 + k * LANES] = weight


@compiled
def build(f, tables, masks, given, sizes, sums, sync, me, team, parallel, scratch):
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
                coarsen(gx, gy, gz, ground, masks, levels[l - 1], level, maps, scratch, i)
        barrier(sync, many)
        for i in range(a, b):
            worst = factor(gx, gy, gz, ground, inv, level, i)
            if l == 0:
                sums[i] = worst
            if l + 1 < depth:
                weigh(gx, gy, wx, wy, level, maps, levels[l + 1], i)
    barrier(sync, team)

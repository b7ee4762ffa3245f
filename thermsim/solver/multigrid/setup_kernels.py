"""Compiled kernels that set a hierarchy up: from given coefficients to line pivots, coarse links and transfer weights.

Storage and names as in `storage.py`.
"""

# mypy: ignore-errors
# (numba infers the types of kernels; their twins in the tests pin them)

from __future__ import annotations

import numpy as np

from thermsim.solver.multigrid.storage import (
    B_,
    CELL,
    CUTS,
    D_,
    H_,
    HALF,
    M_,
    MASK,
    NX,
    NZ,
    PAIRED,
    S_,
    XFIRST,
    XMAP,
    ZFIRST,
    beside,
    columns_of,
)
from thermsim.solver.multigrid.vector_registers import (
    LANES,
    barrier,
    collect,
    compiled,
    fma,
    gather,
    helper,
    inverse,
    lane_sum,
    least,
    load,
    most,
    positive,
    splat,
    store,
    store_bytes,
)


@helper
def copy_lines(source, start, stride, lines, count, target, o, level, p, above, buffer):
    """Half p of a slab of the target := `lines` lines of `count` numbers in the source; line j goes to column j +
    above.

    By way of `buffer`, so that source and target are both passed over in the order of memory.
    """
    B, D = level[B_], level[D_]
    if p == 0:
        for j in range(lines):
            for k in range(count):
                buffer[j * count + k] = source[start + j * stride + k]
    columns = (lines + above - p + 1) // 2
    for block in range(B):
        width = columns_of(level, columns, block)
        row = o + block * D
        first = (2 * block + p - above) * count
        if width == LANES and first >= 0:
            for k in range(count):
                store(target, row + k * LANES, collect(buffer, first + k, 2 * B * count))
        else:
            for s in range(1 if first < 0 else 0, width):
                for k in range(count):
                    target[row + k * LANES + s] = buffer[first + 2 * B * s * count + k]


@helper
def convert(ax, ay, az, ag, gx, gy, gz, ground, sizes, level, buffer, i):
    """Slab i of the given coefficients (double, C order) in single precision, by lanes. buffer : float64 (ny nz)."""
    ny, nz, sx, sy, xx, xy, yx, yy, zx, zy = sizes[1:]
    for kind in range(4):
        above = (
            kind // 3
        )  # 1 for y faces; computed, because numba compiles a kernel anew for every constant it is given
        for p in range(2):
            o = level[CELL] + i * level[S_] + p * level[H_]
            if kind == 0:
                copy_lines(ag, i * sx, sy, ny, nz, ground, o, level, p, above, buffer)
            elif kind == 1:
                copy_lines(az, i * zx, zy, ny, nz - 1, gz, o + LANES, level, p, above, buffer)
            elif kind == 2 and i > 0:
                copy_lines(ax, (i - 1) * xx, xy, ny, nz, gx, o, level, p, above, buffer)
            elif kind == 3:
                copy_lines(ay, i * yx, yy, ny - 1, nz, gy, o, level, p, above, buffer)


@helper
def factor(gx, gy, gz, ground, inv, level, i):
    """Inverse pivots of all lines of slab i. Returns the least pivot (at most 0 where a line has no way out or runs
    away).

    The pivot is link above + leak; the leak is a sum of positive terms, so nothing cancels, however thin the cells are.
    """
    nz, H, S = level[NZ], level[H_], level[S_]
    link = S if i < level[NX] - 1 else -i * S
    zero = splat(np.float32(0.0))
    worst = zero
    for p in range(2):
        c = level[CELL] + i * S + p * H
        for block in range(level[B_]):
            m = block * level[D_]
            _below, y1 = beside(level, p, block)
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


@helper
def fine_links(gx, gy, gz, ground, masks, level, maps, i0, i1, before_x, k0, k1, before_z, p, block, scratch, step):
    """Sums over the members in x and z of a coarse row, by fine column, into seven rows of scratch.

    Rows: x links in series, x links, z links in series, z links, y links in series, y links, ground. A link in
    series is g / (1 + g R), with R half an inner link on either side, where there is a pair.
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


@helper
def coarsen(gx, gy, gz, ground, masks, level, coarse, maps, scratch, ci):
    """Links and ground of coarse slab ci.

    A coarse link is half an inner link + the face + half an inner link in series, summed over its parallel fine
    links, and at least half of their plain sum (the Galerkin value of piecewise constant transfer).
    """
    M, xf, zf = level[M_], level[XFIRST], level[ZFIRST]
    i0, i1 = maps[xf + ci], maps[xf + ci + 1]
    before_x = ci > 0 and i0 - maps[xf + ci - 1] == 2
    step = 2 * M + LANES
    zero, half = splat(np.float32(0.0)), splat(np.float32(0.5))
    for row in range(7):
        store(scratch, row * step + 2 * M, zero)
    for K in range(coarse[NZ]):
        k0, k1 = maps[zf + K], maps[zf + K + 1]
        before_z = K > 0 and k0 - maps[zf + K - 1] == 2
        for p in range(2):
            for block in range(level[B_]):
                fine_links(
                    gx, gy, gz, ground, masks, level, maps, i0, i1, before_x, k0, k1, before_z, p, block, scratch, step
                )
        for q in range(2):
            one, two = level[PAIRED] + 2 * q * coarse[M_], level[PAIRED] + (2 * q + 1) * coarse[M_]
            for block in range(coarse[B_]):
                n = block * LANES
                o = coarse[CELL] + ci * coarse[S_] + q * coarse[H_] + block * coarse[D_] + K * LANES
                link = gather(scratch, 0, maps, one + n) + gather(scratch, 0, maps, two + n)
                plain = gather(scratch, step, maps, one + n) + gather(scratch, step, maps, two + n)
                store(gx, o, most(link, half * plain))
                link = gather(scratch, 2 * step, maps, one + n) + gather(scratch, 2 * step, maps, two + n)
                plain = gather(scratch, 3 * step, maps, one + n) + gather(scratch, 3 * step, maps, two + n)
                store(gz, o, most(link, half * plain))
                link, plain = gather(scratch, 4 * step, maps, one + n), gather(scratch, 5 * step, maps, one + n)
                store(gy, o, most(link, half * plain))
                store(ground, o, gather(scratch, 6 * step, maps, one + n) + gather(scratch, 6 * step, maps, two + n))


@helper
def share(face, inner, other):
    """Weight of the next coarse column at a member of a pair: linear along resistances, at most one half.

    R_own / (R_own + 1 / face + R_other), with half an inner link (none: zero) on either side.
    """
    half, one = splat(np.float32(0.5)), splat(np.float32(1.0))
    own = face * (half * inverse(inner))
    return least(own * inverse(own + fma(face, half * inverse(other), one)), half)


@helper
def weigh(gx, gy, wx, wy, masks, level, maps, coarse, i):
    """Transfer weights of the red cells of slab i, in x and in y."""
    nx, nz, M, H, S = level[NX], level[NZ], level[M_], level[H_], level[S_]
    p = i % 2
    c, h = level[CELL] + i * S + p * H, level[HALF] + i * H
    xf = level[XFIRST]
    coarse_i = maps[level[XMAP] + i]
    x_pair = maps[xf + coarse_i + 1] - maps[xf + coarse_i] == 2
    if i == maps[xf + coarse_i]:
        x_inner, x_face, x_other = S, 0, -S
        x_next = coarse_i > 0 and maps[xf + coarse_i] - maps[xf + coarse_i - 1] == 2
        x_pair = x_pair and i > 0
    else:
        x_inner, x_face, x_other = 0, S, 2 * S
        x_next = coarse_i + 1 < coarse[NX] and maps[xf + coarse_i + 2] - maps[xf + coarse_i + 1] == 2
        x_pair = x_pair and i < nx - 1
    zero = splat(np.float32(0.0))
    for block in range(level[B_]):
        y0, y1 = beside(level, p, block)
        n = level[MASK] + p * M + block * LANES
        opens, follows, closes, leads = (
            load(masks, n),
            load(masks, n + 2 * M),
            load(masks, n + 4 * M),
            load(masks, n + 6 * M),
        )
        # two columns on: the same half, one block on (or the first block, one lane on)
        y2 = level[D_] if block < level[B_] - 1 else 1 - (level[B_] - 1) * level[D_]
        for k in range(nz):
            o = c + block * level[D_] + k * LANES
            n = h + block * level[D_] + k * LANES
            if x_pair:
                store_bytes(
                    wx, n, share(load(gx, o + x_face), load(gx, o + x_inner), load(gx, o + x_other) if x_next else zero)
                )
            here, above = load(gy, o), load(gy, o + y1)
            low = share(here, above, follows * load(gy, o + y0))
            high = share(above, here, leads * load(gy, o + y2))
            store_bytes(wy, n, opens * low + closes * high)


@compiled
def build(f, tables, masks, given, sizes, sums, sync, me, team, parallel, scratch, buffer):
    """The whole hierarchy from the given coefficients; sums[i] is the least pivot of slab i (below zero: runaway)."""
    gx, gy, gz, inv, ground, _z, wx, wy, _own, _lower, _upper = f
    levels, maps = tables
    ax, ay, az, ag = given
    depth = levels.shape[0]
    for lv in range(depth):
        level = levels[lv]
        many = team if lv < parallel else 1
        if me > 0 and many == 1:
            break
        a, b = (maps[level[CUTS] + me], maps[level[CUTS] + me + 1]) if many > 1 else (0, level[NX])
        if lv == 0:
            for i in range(a, b):
                convert(ax, ay, az, ag, gx, gy, gz, ground, sizes, level, buffer, i)
        else:
            for i in range(a, b):
                coarsen(gx, gy, gz, ground, masks, levels[lv - 1], level, maps, scratch, i)
        barrier(sync, many)
        for i in range(a, b):
            worst = factor(gx, gy, gz, ground, inv, level, i)
            if lv == 0:
                sums[i] = worst
            if lv + 1 < depth:
                weigh(gx, gy, wx, wy, masks, level, maps, levels[lv + 1], i)
    barrier(sync, team)

"""Compiled kernels in double precision, on the coefficients as given: start, measure, leave out and put back red
columns.

Storage and names as in `storage.py`. Arrays of the user are flat, in C order; `sizes` holds nx, ny, nz and the
strides (slab, lane) of cells, x faces, y faces and z faces.
"""

# mypy: ignore-errors
# (numba infers the types of kernels; their twins in the tests pin them)

from __future__ import annotations

import numpy as np

from thermsim.solver.multigrid.kernels import lateral
from thermsim.solver.multigrid.storage import B_, CELL, CUTS, D_, H_, HALF, NX, NZ, S_, beside, columns_of
from thermsim.solver.multigrid.vector_registers import (
    LANES,
    barrier,
    collect,
    compiled,
    fma,
    helper,
    inverse,
    lane_sum,
    load,
    splat,
    store,
    widen,
)


@helper
def residual_column(gx, gy, gz, ground, heat, t, sizes, i, j, row, buffer):
    """buffer[row : row + nz] := heat - A t of one column.

    A face that does not exist is read at a place that does, and counts nothing: no branch in the loop.
    """
    nx, ny, nz, sx, sy, xx, xy, yx, yy, zx, zy = sizes
    c, cz = i * sx + j * sy, i * zx + j * zy
    x0, x1, y0, y1 = i * xx + j * xy - xx, i * xx + j * xy, i * yx + j * yy - yy, i * yx + j * yy
    c_x0, c_x1, c_y0, c_y1 = c - sx, c + sx, c - sy, c + sy
    f_x0, f_x1, f_y0, f_y1 = 1.0, 1.0, 1.0, 1.0
    if i == nx - 1:
        x1, c_x1, f_x1 = (x0 if i > 0 else 0), c, 0.0
    if i == 0:
        x0, c_x0, f_x0 = (x1 if nx > 1 else 0), c, 0.0
    if j == ny - 1:
        y1, c_y1, f_y1 = (y0 if j > 0 else 0), c, 0.0
    if j == 0:
        y0, c_y0, f_y0 = (y1 if ny > 1 else 0), c, 0.0
    if nz >= LANES:
        v_x0, v_x1, v_y0, v_y1 = splat(f_x0), splat(f_x1), splat(f_y0), splat(f_y1)
        k = 0
        while True:  # the last lanes overlap those before
            here = load(t, c + k)
            flow = v_x0 * load(gx, x0 + k) * (load(t, c_x0 + k) - here) + v_x1 * load(gx, x1 + k) * (
                load(t, c_x1 + k) - here
            )
            flow = flow + v_y0 * load(gy, y0 + k) * (load(t, c_y0 + k) - here)
            flow = flow + v_y1 * load(gy, y1 + k) * (load(t, c_y1 + k) - here)
            store(buffer, row + k, (load(heat, c + k) - load(ground, c + k) * here) + flow)
            if k == nz - LANES:
                break
            k = min(k + LANES, nz - LANES)
    else:
        for k in range(nz):
            at = t[c + k]
            side = f_x0 * gx[x0 + k] * (t[c_x0 + k] - at) + f_x1 * gx[x1 + k] * (t[c_x1 + k] - at)
            side += f_y0 * gy[y0 + k] * (t[c_y0 + k] - at) + f_y1 * gy[y1 + k] * (t[c_y1 + k] - at)
            buffer[row + k] = heat[c + k] - ground[c + k] * at + side
    below = 0.0
    for k in range(nz - 1):
        upward = gz[cz + k] * (t[c + k + 1] - t[c + k])
        buffer[row + k] += upward - below
        below = upward
    buffer[row + nz - 1] -= below


@helper
def residual(gx, gy, gz, ground, heat, t, r, z, sizes, level, buffer, i, scale, flat):
    """r := scale * (heat - A t) of slab i from the given double-precision coefficients (C order); red part into z.

    buffer : float64 (ny nz + LANES nz), the slab column by column. flat : t is the same everywhere. Returns the sum
    of squares, scaled.
    """
    ny, nz, sx, sy = sizes[1], sizes[2], sizes[3], sizes[4]
    H, B = level[H_], level[B_]
    for j in range(ny):
        if flat:
            c, row = i * sx + j * sy, j * nz
            for k in range(nz):
                buffer[row + k] = heat[c + k] - ground[c + k] * t[c + k]
        else:
            residual_column(gx, gy, gz, ground, heat, t, sizes, i, j, j * nz, buffer)
    total_ = 0.0
    factor = splat(np.float32(scale))
    spare = ny * nz
    for p in range(2):
        black = (i + p) % 2 == 1
        start = level[HALF] + i * H if black else level[CELL] + i * level[S_] + p * H
        for block in range(B):
            o, row, step = start + block * level[D_], (2 * block + p) * nz, 2 * B * nz
            width = columns_of(level, (ny - p + 1) // 2, block)
            if width < LANES:  # a copy with zeros for the columns that do not exist
                for s in range(width):
                    for k in range(nz):
                        buffer[spare + s * nz + k] = buffer[row + s * step + k]
                for k in range(width * nz, LANES * nz):
                    buffer[spare + k] = 0.0
                row, step = spare, nz
            square = splat(0.0)
            for k in range(nz):
                value = factor * collect(buffer, row + k, step)
                wide = widen(value)
                square = fma(wide, wide, square)
                if black:
                    store(r, o + k * LANES, value)
                else:
                    store(z, o + k * LANES, value)
            total_ += lane_sum(square)
    return total_


@helper
def red_lines(f, x, t, sizes, level, buffer, i, norm, from_x):
    """Red lines of slab i in double precision: t += norm T^-1 b with b = links x (from_x), else b = z, which becomes
    T^-1 b.

    buffer : float64 (ny nz + 2 LANES nz). With from_x the black columns of t are advanced by x as well. The pivot
    is link above + leak, the leak a sum of positive terms: no cancellation, however thin the cells are.
    """
    gx, gy, gz, ground, z = f[0], f[1], f[2], f[4], f[5]
    nx, ny, nz, sx, sy = sizes[0], sizes[1], sizes[2], sizes[3], sizes[4]
    H, S = level[H_], level[S_]
    p = i % 2
    c = level[CELL] + i * S + p * H
    link = S if i < nx - 1 else -i * S
    left, right = (H if i > 0 else 0), (H if i < nx - 1 else 0)
    own_half = (1 - 2 * p) * H
    zero = splat(0.0)
    work = ny * nz
    for block in range(level[B_]):
        m = block * level[D_]
        y0, y1 = beside(level, p, block)
        y, kept = zero, zero
        for k in range(nz):
            o = c + k * LANES + m
            h = level[HALF] + i * H + k * LANES + m
            b = o + y1
            gl, gr, gd, gu = widen(load(gx, o)), widen(load(gx, o + link)), widen(load(gy, o)), widen(load(gy, b))
            g = widen(load(gz, o))
            above = widen(load(gz, o + LANES)) if k < nz - 1 else zero
            leak = fma(g, kept, (gl + gr) + (gd + gu)) + widen(load(ground, o))
            pivot = inverse(leak + above)
            kept = leak * pivot
            if from_x:
                rhs = fma(gd, load(x, h + y0 - own_half), gu * load(x, h + y1 - own_half))
                rhs = fma(gl, load(x, h - left), fma(gr, load(x, h + right), rhs))
            else:
                rhs = widen(load(z, o))
            y = fma(g, y, rhs) * pivot
            store(buffer, work + 2 * LANES * k, y)
            store(buffer, work + 2 * LANES * k + LANES, above * pivot)
        for k in range(nz - 2, -1, -1):
            y = fma(load(buffer, work + 2 * LANES * k + LANES), y, load(buffer, work + 2 * LANES * k))
            store(buffer, work + 2 * LANES * k, y)
        for s in range(columns_of(level, (ny - p + 1) // 2, block)):
            row = (2 * (s * level[B_] + block) + p) * nz
            for k in range(nz):
                buffer[row + k] = buffer[work + 2 * LANES * k + s]
        if from_x:
            for s in range(columns_of(level, (ny + p) // 2, block)):
                row = (2 * (s * level[B_] + block) + 1 - p) * nz
                h = level[HALF] + i * H + m + s
                for k in range(nz):
                    buffer[row + k] = x[h + k * LANES]
        else:
            for k in range(nz):
                for s in range(LANES):
                    z[c + k * LANES + m + s] = np.float32(buffer[work + 2 * LANES * k + s])
    for j in range(0 if from_x else p, ny, 1 if from_x else 2):
        start, row = i * sx + j * sy, j * nz
        for k in range(nz):
            t[start + k] += norm * buffer[row + k]


@helper
def reduce_heat(f, r, level, i):
    """r += links z on black half i: what the eliminated red columns pass on."""
    gx, gy, z = f[0], f[1], f[5]
    nz, H, S = level[NZ], level[H_], level[S_]
    p = 1 - i % 2
    c = level[CELL] + i * S + p * H
    left = S if i > 0 else 0
    right, link = (S, S) if i < level[NX] - 1 else (0, -i * S)
    for block in range(level[B_]):
        m = block * level[D_]
        y0, y1 = beside(level, p, block)
        for k in range(nz):
            o, h = c + k * LANES + m, level[HALF] + i * H + k * LANES + m
            b = o + y1
            store(r, h, load(r, h) + lateral(gx, gy, z, o, left, right, link, o + y0, b))


# ---- steps of conjugate gradients, entered by every thread -------------------------------------------------------


@compiled
def begin(given, heat, t, v, tables, sizes, sync, me, team, sums, uniform):
    """Sums by slab of heat^2, heat and ground; with `uniform` t := the one temperature that balances them. x, p, q :=
    0.
    """
    x, p, q, ground = v[0], v[1], v[2], given[3]
    level = tables[0][0]
    nx, ny, nz, sx, sy = sizes[0], sizes[1], sizes[2], sizes[3], sizes[4]
    a, b = tables[1][level[CUTS] + me], tables[1][level[CUTS] + me + 1]
    for i in range(a, b):
        square, heat_sum, ground_sum = 0.0, 0.0, 0.0
        for j in range(ny):
            for c in range(i * sx + j * sy, i * sx + j * sy + nz):
                square += heat[c] * heat[c]
                heat_sum += heat[c]
                ground_sum += ground[c]
        sums[3 * i], sums[3 * i + 1], sums[3 * i + 2] = square, heat_sum, ground_sum
        for h in range(level[HALF] + i * level[H_], level[HALF] + (i + 1) * level[H_]):
            x[h], p[h], q[h] = 0.0, 0.0, np.float32(0.0)
    barrier(sync, team)
    if uniform:
        heat_sum, ground_sum = 0.0, 0.0
        for i in range(nx):
            heat_sum += sums[3 * i + 1]
            ground_sum += sums[3 * i + 2]
        for i in range(a, b):
            for j in range(ny):
                for c in range(i * sx + j * sy, i * sx + j * sy + nz):
                    t[c] = heat_sum / ground_sum
    barrier(sync, team)


@compiled
def measure(f, v, tables, given, heat, t, sizes, sync, me, team, buffer, sums, scale, flat):
    """r and the red part of z := scale (heat - A t); sums : shares of its square by slab."""
    ax, ay, az, ground = given
    level = tables[0][0]
    for i in range(tables[1][level[CUTS] + me], tables[1][level[CUTS] + me + 1]):
        sums[i] = residual(ax, ay, az, ground, heat, t, v[3], f[5], sizes, level, buffer, i, scale, flat)
    barrier(sync, team)


@compiled
def exchange(f, v, tables, t, sizes, sync, me, team, buffer, norm, finish):
    """Before (finish = False) the red columns leave the system, after it (True) t takes up x and its red columns."""
    level = tables[0][0]
    a, b = tables[1][level[CUTS] + me], tables[1][level[CUTS] + me + 1]
    for i in range(a, b):
        red_lines(f, v[0], t, sizes, level, buffer, i, norm, finish)
    barrier(sync, team)
    for i in range(a, b):
        if finish:
            for h in range(level[HALF] + i * level[H_], level[HALF] + (i + 1) * level[H_]):
                v[0][h] = 0.0
        else:
            reduce_heat(f, v[3], level, i)
    barrier(sync, team)


@compiled
def largest_step(p, z, tables, sync, me, team, sums, turn, beta):
    """sums : the largest |p| by slab; with `turn` p := z + beta p first."""
    level = tables[0][0]
    for i in range(tables[1][level[CUTS] + me], tables[1][level[CUTS] + me + 1]):
        c, h = level[CELL] + i * level[S_] + (1 - i % 2) * level[H_], level[HALF] + i * level[H_]
        largest = 0.0
        for n in range(level[H_]):
            if turn:
                p[h + n] = z[c + n] + beta * p[h + n]
            largest = max(largest, abs(p[h + n]))
        sums[i] = largest
    barrier(sync, team)

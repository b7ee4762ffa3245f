"""Every compiled kernel of the solution itself (set-up: `building.py`); nothing else.

Storage. A level of the grid is cut into slabs (one per i), a slab into its even and odd columns (two halves, p = j % 2), a
half into rows (one per k) of `M` neighbouring columns, j = 2 m + p. `M` is a multiple of `LANES`, so that a vertical line solve
runs on LANES columns at once, and all four lateral neighbours of LANES cells lie side by side:

    offset(i, j, k) = CELL + i S + p H + k M + m,      H = nz M + LANES,  S = 2 H

Columns are coloured by (i + j) % 2: red 0, black 1, so the red half of slab i is p = i % 2. Links belong to the upper of their
two cells: `gx[c]` joins c to slab i-1, `gy[c]` to column j-1, `gz[c]` to k-1, and all three are zero at index 0. Padding and void
cells have zero links and a zero inverse pivot, hence stay at zero. All levels lie one behind the other in the same flat arrays.

Method. Red columns are eliminated exactly (each is a line of its own once the black ones are known), conjugate gradients run
on the black ones; the preconditioner is one V(1,1) cycle with red/black line relaxation. It ends with red lines solved, so the
red part of every residual is zero and only black halves of the vectors are kept (arrays "by half": i H + k M + m).
Matrix and preconditioner are in single precision; the iterate and its direction in double; `residual` measures what was reached
on the given coefficients in double precision, and conjugate gradients go on from there.

Threads. A kernel that runs on several threads is entered once by each (`me` of `team`), works on its own slabs and meets the
others in `barrier`. Sums over cells are kept by slab and added in the order of slabs: no result depends on the thread count.

Y. Saad, "Iterative Methods for Sparse Linear Systems", 2nd ed., SIAM 2003, ch. 9, 12, 13; Chronopoulos and Gear, "s-step
iterative methods for symmetric linear systems", J. Comput. Appl. Math. 25 (1989) 153-168 (one sweep for both inner products).
"""

from __future__ import annotations

import numpy as np

from thermsim.solver.lanes import (
    LANES,
    barrier,
    compiled,
    fma,
    inverse,
    lane,
    lane_sum,
    load,
    load_bytes,
    splat,
    store,
    widen,
)

REVISION = 1

# columns of the level table (int64): starts in the arrays, sizes, strides, starts of index lists in `maps`
CELL, HALF, RHS, NX, NY, NZ, M_, H_, S_, XMAP, XFIRST, YFIRST, ZFIRST, COLUMN, COLUMN_Y, MEMBER, CUTS = range(17)
LEVEL_COLUMNS = 17


@compiled
def lateral(gx, gy, z, o, left, right, link, a, b):
    """Sum of link * neighbour over the four lateral faces of LANES cells at `o`."""
    inner = fma(load(gy, o), load(z, a), load(gy, b) * load(z, b))
    return fma(load(gx, o), load(z, o - left), fma(load(gx, o + link), load(z, o + right), inner))


@compiled
def relax(gx, gy, gz, inv, z, rhs, r0, level, i, p):
    """Solve the lines of half (i, p) with their neighbours held: z := T^-1 (rhs + links z). r0 < 0: rhs is zero."""
    nx, nz, M, H, S = level[NX], level[NZ], level[M_], level[H_], level[S_]
    c = level[CELL] + i * S + p * H
    shift = (1 - 2 * p) * H + p
    left = S if i > 0 else 0
    right, link = (S, S) if i < nx - 1 else (0, -i * S)
    for m in range(0, M, LANES):
        y = splat(np.float32(0.0))
        for k in range(nz):
            o = c + k * M + m
            b = o + shift
            sides = lateral(gx, gy, z, o, left, right, link, b - 1, b)
            if r0 >= 0:
                sides = sides + load(rhs, r0 + k * M + m)
            y = fma(load(gz, o), y, sides) * load(inv, o)
            store(z, o, y)
        back_substitute(gz, inv, z, c + m, nz, M)


@compiled
def back_substitute(gz, inv, z, c, nz, M):
    y = load(z, c + (nz - 1) * M)
    for k in range(nz - 2, -1, -1):
        o = c + k * M
        y = fma(load(gz, o + M) * load(inv, o), y, load(z, o))
        store(z, o, y)


@compiled
def relax_from_zero(gz, inv, z, rhs, r0, level, i, p):
    """Solve the lines of half (i, p) with zero neighbours: z := T^-1 rhs."""
    nz, M = level[NZ], level[M_]
    c = level[CELL] + i * level[S_] + p * level[H_]
    for m in range(0, M, LANES):
        y = splat(np.float32(0.0))
        for k in range(nz):
            o = c + k * M + m
            y = fma(load(gz, o), y, load(rhs, r0 + k * M + m)) * load(inv, o)
            store(z, o, y)
        back_substitute(gz, inv, z, c + m, nz, M)


@compiled
def restrict(gx, gy, z, wx, wy, own, lower, upper, level, coarse, maps, scratch, I):
    """Residual of the red columns in the fine slabs of coarse slab I, gathered into the three coarse right-hand sides.

    The share of a fine cell that belongs to the next coarse column in x goes to `lower` or `upper` of its own coarse slab: slab I-1
    or I+1 adds it later, so that no two threads ever write one number.
    """
    nx, M, H, S = level[NX], level[M_], level[H_], level[S_]
    Mc, Hc = coarse[M_], coarse[H_]
    first, last = maps[level[XFIRST] + I], maps[level[XFIRST] + I + 1]
    zero = splat(np.float32(0.0))
    b_own, b_y, b_x = 0, M + LANES, 2 * (M + LANES)
    for place in (b_own, b_y, b_x):
        scratch[place + M] = np.float32(0.0)
    for i in range(first, last):
        p = i % 2
        c, h = level[CELL] + i * S + p * H, level[HALF] + i * H
        shift = (1 - 2 * p) * H + p
        left = S if i > 0 else 0
        right, link = (S, S) if i < nx - 1 else (0, -i * S)
        member = level[MEMBER] + p * 3 * coarse[NY]
        for K in range(coarse[NZ]):
            k0, k1 = maps[level[ZFIRST] + K], maps[level[ZFIRST] + K + 1]
            for m in range(0, M, LANES):
                s_own, s_y, s_x = zero, zero, zero
                for k in range(k0, k1):
                    o = c + k * M + m
                    b = o + shift
                    r = lateral(gx, gy, z, o, left, right, link, b - 1, b)
                    x_share = load_bytes(wx, h + k * M + m) * r
                    y_share = load_bytes(wy, h + k * M + m) * r
                    s_x, s_y = s_x + x_share, s_y + y_share
                    s_own = s_own + ((r - x_share) - y_share)
                store(scratch, b_own + m, s_own)
                store(scratch, b_y + m, s_y)
                store(scratch, b_x + m, s_x)
            for q in range(2):
                row = coarse[RHS] + I * coarse[S_] + q * Hc + K * Mc
                for n in range((coarse[NY] - q + 1) // 2):
                    J = 3 * (2 * n + q)
                    mine = maps[member + J]
                    total = scratch[b_own + mine] + (
                        scratch[b_y + maps[member + J + 1]] + scratch[b_y + maps[member + J + 2]]
                    )
                    if i > first:
                        own[row + n] += total
                        upper[row + n] = scratch[b_x + mine]
                    else:
                        own[row + n] = total
                        if last - first == 2:
                            lower[row + n] = scratch[b_x + mine]


@compiled
def prolong(z, wx, wy, level, coarse, maps, scratch, i, fresh):
    """Correct the red columns of slab i from the coarse level: z (+)= e + wx (e_x - e) + wy (e_y - e)."""
    M, H = level[M_], level[H_]
    p = i % 2
    c, h = level[CELL] + i * level[S_] + p * H, level[HALF] + i * H
    I = maps[level[XMAP] + i]
    side = I
    if maps[level[XFIRST] + I + 1] - maps[level[XFIRST] + I] == 2:
        side = I - 1 if i == maps[level[XFIRST] + I] else I + 1
        side = min(max(side, 0), coarse[NX] - 1)
    column, column_y = level[COLUMN] + p * M, level[COLUMN_Y] + p * M
    b_x, b_y = M + LANES, 2 * (M + LANES)
    for K in range(coarse[NZ]):
        here = coarse[CELL] + I * coarse[S_] + K * coarse[M_]
        there = coarse[CELL] + side * coarse[S_] + K * coarse[M_]
        for m in range(M):
            e = z[here + maps[column + m]]
            scratch[m] = e
            scratch[b_x + m] = z[there + maps[column + m]] - e
            scratch[b_y + m] = z[here + maps[column_y + m]] - e
        for k in range(maps[level[ZFIRST] + K], maps[level[ZFIRST] + K + 1]):
            for m in range(0, M, LANES):
                o, w = c + k * M + m, h + k * M + m
                e = fma(load_bytes(wx, w), load(scratch, b_x + m), load(scratch, m))
                e = fma(load_bytes(wy, w), load(scratch, b_y + m), e)
                if not fresh:
                    e = e + load(z, o)
                store(z, o, e)


# ---- sweeps of one level ----------------------------------------------------------------------------------------


@compiled
def advance(gz, inv, z, w, x, p, q, r, level, i, alpha, beta):
    """Conjugate-gradient update of black half i, then its lines from zero. Returns the half's share of r.r."""
    nz, M = level[NZ], level[M_]
    colour = 1 - i % 2
    c, h = level[CELL] + i * level[S_] + colour * level[H_], i * level[H_]
    beta4, minus_alpha4 = splat(np.float32(beta)), splat(np.float32(-alpha))
    beta8, alpha8 = splat(beta), splat(alpha)
    total = 0.0
    for m in range(0, M, LANES):
        y = splat(np.float32(0.0))
        square = splat(np.float32(0.0))
        for k in range(nz):
            o, n = c + k * M + m, h + k * M + m
            direction = fma(beta8, load(p, n), widen(load(z, o)))
            image = fma(beta4, load(q, n), load(w, n))
            rest = fma(minus_alpha4, image, load(r, n))
            store(p, n, direction)
            store(q, n, image)
            store(r, n, rest)
            store(x, n, fma(alpha8, direction, load(x, n)))
            square = fma(rest, rest, square)
            y = fma(load(gz, o), y, rest) * load(inv, o)
            store(z, o, y)
        back_substitute(gz, inv, z, c + m, nz, M)
        total += lane_sum(square)
    return total


@compiled
def image(gx, gy, gz, ground, z, w, r, sums, level, i):
    """w := (A z) on black half i, in flux form; its shares of r.z and z.w go to sums."""
    nx, nz, M, H, S = level[NX], level[NZ], level[M_], level[H_], level[S_]
    colour = 1 - i % 2
    c, h = level[CELL] + i * S + colour * H, i * H
    shift = (1 - 2 * colour) * H + colour
    left = S if i > 0 else 0
    right, link = (S, S) if i < nx - 1 else (0, -i * S)
    r_z, z_w = 0.0, 0.0
    for m in range(0, M, LANES):
        rz4, zw4 = splat(np.float32(0.0)), splat(np.float32(0.0))
        o = c + m
        here = load(z, o)
        below = splat(np.float32(0.0))
        for k in range(nz):
            o = c + k * M + m
            b = o + shift
            flow = load(gx, o) * (here - load(z, o - left)) + load(gx, o + link) * (here - load(z, o + right))
            flow = fma(load(gy, o), here - load(z, b - 1), fma(load(gy, b), here - load(z, b), flow))
            flow = fma(load(ground, o), here, flow) + below
            if k < nz - 1:
                next_ = load(z, o + M)
                below = load(gz, o + M) * (next_ - here)
                flow = flow - below
            n = h + k * M + m
            store(w, n, flow)
            rz4 = fma(load(r, n), here, rz4)
            zw4 = fma(flow, here, zw4)
            if k < nz - 1:
                here = next_
        r_z += lane_sum(rz4)
        z_w += lane_sum(zw4)
    sums[2 * i], sums[2 * i + 1] = r_z, z_w


@compiled
def down_finest(f, v, tables, sync, me, team, scratch, alpha, beta, update):
    """Update (or not), black lines from zero, red residual restricted; sums[2 i] is slab i's share of r.r."""
    gx, gy, gz, inv, ground, z, wx, wy, own, lower, upper = f
    x, p, q, r, w, sums = v
    levels, maps = tables
    level = levels[0]
    a, b = maps[level[CUTS] + me], maps[level[CUTS] + me + 1]
    lo, hi = (a if a == 0 else a + 1), (b if b == level[NX] else b - 1)
    more = levels.shape[0] > 1
    done = a
    for I in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1) if more else range(0, 1):
        first, last = (maps[level[XFIRST] + I], maps[level[XFIRST] + I + 1]) if more else (a, b)
        while done < min(last + 1, b):
            if update:
                sums[2 * done] = advance(gz, inv, z, w, x, p, q, r, level, done, alpha, beta)
            else:
                relax_from_zero(gz, inv, z, r, done * level[H_], level, done, 1 - done % 2)
            done += 1
        if more and first >= lo and last <= hi:
            restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[1], maps, scratch, I)
    barrier(sync, team)
    if more:
        for I in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1):
            if maps[level[XFIRST] + I] < lo or maps[level[XFIRST] + I + 1] > hi:
                restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[1], maps, scratch, I)
    barrier(sync, team)


@compiled
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


@compiled
def down(f, tables, sync, me, team, scratch, l):
    """Red lines from zero, black lines, red residual restricted, on level l > 0; by slabs, one stage behind the other."""
    gx, gy, gz, inv, ground, z, wx, wy, own, lower, upper = f
    levels, maps = tables
    level = levels[l]
    nx, S, H = level[NX], level[S_], level[H_]
    a, b = (maps[level[CUTS] + me], maps[level[CUTS] + me + 1]) if team > 1 else (0, nx)
    lo1, hi1 = (a if a == 0 else a + 1), (b if b == nx else b - 1)
    lo2, hi2 = (a if a == 0 else a + 2), (b if b == nx else b - 2)
    more = l + 1 < levels.shape[0]
    red, black = a, lo1
    for I in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1) if more else range(0, 1):
        first, last = (maps[level[XFIRST] + I], maps[level[XFIRST] + I + 1]) if more else (a, b)
        while black < min(last + 1, hi1):
            while red < min(black + 2, b):
                gather_heat(own, lower, upper, level, red)
                relax_from_zero(gz, inv, z, own, level[RHS] + red * S + red % 2 * H, level, red, red % 2)
                red += 1
            p = 1 - black % 2
            relax(gx, gy, gz, inv, z, own, level[RHS] + black * S + p * H, level, black, p)
            black += 1
        if more and first >= lo2 and last <= hi2:
            restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[l + 1], maps, scratch, I)
    barrier(sync, team)
    for i in range(a, b):
        if i < lo1 or i >= hi1:
            p = 1 - i % 2
            relax(gx, gy, gz, inv, z, own, level[RHS] + i * S + p * H, level, i, p)
    barrier(sync, team)
    if more:
        for I in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1):
            if maps[level[XFIRST] + I] < lo2 or maps[level[XFIRST] + I + 1] > hi2:
                restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[l + 1], maps, scratch, I)
    barrier(sync, team)


@compiled
def up(f, v, tables, sync, me, team, scratch, l):
    """Red corrected from the coarse level, black lines, red lines; on the finest level also w = A z and its two sums."""
    gx, gy, gz, inv, ground, z, wx, wy, own, lower, upper = f
    x, p, q, r, w, sums = v
    levels, maps = tables
    level = levels[l]
    nx, S, H = level[NX], level[S_], level[H_]
    a, b = (maps[level[CUTS] + me], maps[level[CUTS] + me + 1]) if team > 1 else (0, nx)
    more = l + 1 < levels.shape[0]
    for phase in range(4):
        lo1, hi1 = (a if a == 0 else a + 1), (b if b == nx else b - 1)
        lo2, hi2 = (a if a == 0 else a + 2), (b if b == nx else b - 2)
        lo3, hi3 = (a if a == 0 else a + 3), (b if b == nx else b - 3)
        for s in range(a, b + 3):
            if phase == 0 and s < b and more:
                prolong(z, wx, wy, level, levels[l + 1], maps, scratch, s, l == 0)
            i = s - 1
            if a <= i < b and ((lo1 <= i < hi1) if phase == 0 else (phase == 1 and not lo1 <= i < hi1)):
                if l == 0:
                    relax(gx, gy, gz, inv, z, r, i * H, level, i, 1 - i % 2)
                else:
                    relax(gx, gy, gz, inv, z, own, level[RHS] + i * S + (1 - i % 2) * H, level, i, 1 - i % 2)
            i = s - 2
            if a <= i < b and ((lo2 <= i < hi2) if phase == 0 else (phase == 2 and not lo2 <= i < hi2)):
                relax(gx, gy, gz, inv, z, own, -1 if l == 0 else level[RHS] + i * S + i % 2 * H, level, i, i % 2)
            i = s - 3
            if l == 0 and a <= i < b and ((lo3 <= i < hi3) if phase == 0 else (phase == 3 and not lo3 <= i < hi3)):
                image(gx, gy, gz, ground, z, w, r, sums, level, i)
        barrier(sync, team)


@compiled
def cycle(f, v, tables, sync, me, team, parallel, scratch):
    """The rest of the V-cycle after `down_finest`: z on the finest level, w = A z, and the sums r.z and z.w by slab."""
    depth = tables[0].shape[0]
    for l in range(1, min(parallel, depth)):
        down(f, tables, sync, me, team, scratch, l)
    if me == 0:
        for l in range(max(parallel, 1), depth):
            down(f, tables, sync, me, 1, scratch, l)
        for l in range(depth - 1, max(parallel, 1) - 1, -1):
            up(f, v, tables, sync, me, 1, scratch, l)
    barrier(sync, team)
    for l in range(min(parallel, depth) - 1, -1, -1):
        up(f, v, tables, sync, me, team, scratch, l)


# ---- the coefficients as given ----------------------------------------------------------------------------------


@compiled
def residual(gx, gy, gz, ground, heat, t, r, z, sizes, level, buffer, i, scale):
    """r := scale * (heat - A t) of slab i from the given double-precision coefficients (C order); red part into z.

    buffer : float64 (LANES nz). Returns the sum of squares, unscaled.
    """
    nx, ny, nz, sx, sy, xx, xy, yx, yy, zx, zy = sizes
    M, H = level[M_], level[H_]
    total = 0.0
    for p in range(2):
        black = (i + p) % 2 == 1
        start = i * H if black else level[CELL] + i * level[S_] + p * H
        for m in range(0, (ny - p + 1) // 2, LANES):
            width = min(LANES, (ny - p + 1) // 2 - m)
            for s in range(width):
                j = 2 * (m + s) + p
                c, cx, cy, cz, row = i * sx + j * sy, i * xx + j * xy, i * yx + j * yy, i * zx + j * zy, s * nz
                for k in range(nz):
                    buffer[row + k] = heat[c + k] - ground[c + k] * t[c + k]
                if i > 0:
                    for k in range(nz):
                        buffer[row + k] += gx[cx - xx + k] * (t[c - sx + k] - t[c + k])
                if i < nx - 1:
                    for k in range(nz):
                        buffer[row + k] += gx[cx + k] * (t[c + sx + k] - t[c + k])
                if j > 0:
                    for k in range(nz):
                        buffer[row + k] += gy[cy - yy + k] * (t[c - sy + k] - t[c + k])
                if j < ny - 1:
                    for k in range(nz):
                        buffer[row + k] += gy[cy + k] * (t[c + sy + k] - t[c + k])
                for k in range(nz - 1):
                    flow = gz[cz + k] * (t[c + k + 1] - t[c + k])
                    buffer[row + k] += flow
                    buffer[row + k + 1] -= flow
                for k in range(nz):
                    total += buffer[row + k] * buffer[row + k]
            for k in range(nz):
                for s in range(width):
                    value = np.float32(scale * buffer[s * nz + k])
                    if black:
                        r[start + k * M + m + s] = value
                    else:
                        z[start + k * M + m + s] = value
    return total


@compiled
def red_lines(f, x, t, sizes, level, buffer, i, norm, from_x):
    """Red lines of slab i in double precision: t += norm T^-1 b with b = links x (from_x), else b = z, which becomes T^-1 b.

    buffer : float64 (2 LANES nz). The pivot is link above + leak, the leak a sum of positive terms: no cancellation, however thin
    the cells are.
    """
    gx, gy, gz, inv, ground, z = f[0], f[1], f[2], f[3], f[4], f[5]
    nx, ny, nz, sx, sy = sizes[0], sizes[1], sizes[2], sizes[3], sizes[4]
    M, H, S = level[M_], level[H_], level[S_]
    p = i % 2
    c = level[CELL] + i * S + p * H
    shift = (1 - 2 * p) * H + p
    link = S if i < nx - 1 else -i * S
    left, right = (H if i > 0 else 0), (H if i < nx - 1 else 0)
    zero = splat(0.0)
    for m in range(0, M, LANES):
        y, kept = zero, zero
        for k in range(nz):
            o = c + k * M + m
            h = i * H + k * M + m
            b = o + shift
            gl, gr, gd, gu = widen(load(gx, o)), widen(load(gx, o + link)), widen(load(gy, o)), widen(load(gy, b))
            g = widen(load(gz, o))
            above = widen(load(gz, o + M)) if k < nz - 1 else zero
            leak = fma(g, kept, (gl + gr) + (gd + gu)) + widen(load(ground, o))
            pivot = inverse(leak + above)
            kept = leak * pivot
            if from_x:
                rhs = fma(gd, load(x, h + p - 1), gu * load(x, h + p))
                rhs = fma(gl, load(x, h - left), fma(gr, load(x, h + right), rhs))
            else:
                rhs = widen(load(z, o))
            y = fma(g, y, rhs) * pivot
            store(buffer, 2 * LANES * k, y)
            store(buffer, 2 * LANES * k + LANES, above * pivot)
        for k in range(nz - 2, -1, -1):
            y = fma(load(buffer, 2 * LANES * k + LANES), y, load(buffer, 2 * LANES * k))
            store(buffer, 2 * LANES * k, y)
        for s in range(min(LANES, (ny - p + 1) // 2 - m)):
            j = 2 * (m + s) + p
            start = i * sx + j * sy
            for k in range(nz):
                t[start + k] += norm * buffer[2 * LANES * k + s]
        if not from_x:
            for k in range(nz):
                for s in range(LANES):
                    z[c + k * M + m + s] = np.float32(buffer[2 * LANES * k + s])


@compiled
def black_lines(x, p, t, sizes, level, i, norm):
    """t += norm x on the black columns of slab i, x := 0. Returns the largest |p| there."""
    ny, nz, sx, sy = sizes[1], sizes[2], sizes[3], sizes[4]
    M = level[M_]
    colour = 1 - i % 2
    largest = 0.0
    for m in range((ny - colour + 1) // 2):
        start = i * sx + (2 * m + colour) * sy
        h = i * level[H_] + m
        for k in range(nz):
            t[start + k] += norm * x[h + k * M]
            largest = max(largest, abs(p[h + k * M]))
    for h in range(i * level[H_], (i + 1) * level[H_]):
        x[h] = 0.0
    return largest


@compiled
def reduce_heat(f, r, level, i):
    """r += links z on black half i: what the eliminated red columns pass on."""
    gx, gy, z = f[0], f[1], f[5]
    nz, M, H, S = level[NZ], level[M_], level[H_], level[S_]
    p = 1 - i % 2
    c = level[CELL] + i * S + p * H
    shift = (1 - 2 * p) * H + p
    left = S if i > 0 else 0
    right, link = (S, S) if i < level[NX] - 1 else (0, -i * S)
    for k in range(nz):
        for m in range(0, M, LANES):
            o, h = c + k * M + m, i * H + k * M + m
            b = o + shift
            store(r, h, load(r, h) + lateral(gx, gy, z, o, left, right, link, b - 1, b))


# ---- conjugate gradients ----------------------------------------------------------------------------------------

CONVERGED, STALLED, RUNAWAY, LIMIT = 0, 1, 2, 3


@compiled
def total(sums, count, step):
    result = 0.0
    for i in range(count):
        result += sums[step * i]
    return result


@compiled
def solve(f, v, tables, given, heat, t, sizes, sync, me, team, parallel, scratch, buffer, tolerance, limit, uniform, history, report, aims):
    """Conjugate gradients on the black columns until |heat - A t| <= tolerance |heat| on the given coefficients.

    history : float64 (limit + 1), relative residual by iteration. report : float64 (5): status, iterations, relative residual as
    measured, largest change of the last step [K], number of measurements.
    """
    x, p, q, r, w, sums = v
    ax, ay, az, ag = given
    z = f[5]
    level = tables[0][0]
    nx, sx, sy = sizes[0], sizes[3], sizes[4]
    a, b = tables[1][level[CUTS] + me], tables[1][level[CUTS] + me + 1]
    for i in range(a, b):
        square, heat_sum, ground_sum = 0.0, 0.0, 0.0
        for j in range(sizes[1]):
            for k in range(i * sx + j * sy, i * sx + j * sy + sizes[2]):
                square += heat[k] * heat[k]
                heat_sum += heat[k]
                ground_sum += ag[k]
        sums[2 * i], w[2 * i], w[2 * i + 1] = square, heat_sum, ground_sum
        for h in range(i * level[H_], (i + 1) * level[H_]):
            x[h] = 0.0
            p[h] = 0.0
            q[h] = np.float32(0.0)
    barrier(sync, team)
    norm = np.sqrt(total(sums, nx, 2))
    if not norm > 0.0:
        norm = 1.0
    if uniform:
        start = total(w, nx, 2) / total(w[1:], nx, 2)
        for i in range(a, b):
            for j in range(sizes[1]):
                for k in range(i * sx + j * sy, i * sx + j * sy + sizes[2]):
                    t[k] = start
    barrier(sync, team)
    iterations, measured, previous, step = 0, 0, np.inf, 0.0
    rz_old, curvature_old = 0.0, 0.0
    status = LIMIT
    while True:
        for i in range(a, b):
            sums[2 * i] = residual(ax, ay, az, ag, heat, t, r, z, sizes, level, buffer, i, 1.0 / norm)
        barrier(sync, team)
        reached = np.sqrt(total(sums, nx, 2)) / norm
        if me == 0 and iterations == 0:
            history[0] = reached
        measured += 1
        if reached <= tolerance:
            status = CONVERGED
        elif status == LIMIT and not reached < 0.5 * previous:
            status = STALLED
        if status != LIMIT or iterations >= limit:
            break
        previous = reached
        for i in range(a, b):
            red_lines(f, x, t, sizes, level, buffer, i, norm, False)
        barrier(sync, team)
        for i in range(a, b):
            reduce_heat(f, r, level, i)
        barrier(sync, team)
        down_finest(f, v, tables, sync, me, team, scratch, 0.0, 0.0, False)
        aim = max(0.7 * tolerance, aims[min(measured - 1, 3)] * reached)
        if me == 0 and history.size > 900:
            history[500 + iterations] = reached
        while True:
            cycle(f, v, tables, sync, me, team, parallel, scratch)
            rz, zw = total(sums, nx, 2), total(sums[1:], nx, 2)
            barrier(sync, team)
            if rz == 0.0:
                break
            beta = 0.0
            if rz_old > 0.0:
                beta = np.float64(np.float32(rz / rz_old))
            curvature = zw - beta * beta * curvature_old
            if curvature <= 0.0 and zw > 0.0 and curvature > -1e-3 * zw:
                beta, curvature = 0.0, zw
            if not (rz > 0.0 and curvature > 0.0):
                status = RUNAWAY if curvature <= 0.0 else STALLED
                break
            alpha = np.float64(np.float32(rz / curvature))
            rz_old, curvature_old = rz, curvature
            down_finest(f, v, tables, sync, me, team, scratch, alpha, beta, True)
            rest = np.sqrt(total(sums, nx, 2))
            barrier(sync, team)
            iterations += 1
            step = alpha
            if me == 0:
                history[iterations] = rest
            if rest <= aim or iterations >= limit:
                break
        for i in range(a, b):
            red_lines(f, x, t, sizes, level, buffer, i, norm, True)
        barrier(sync, team)
        for i in range(a, b):
            sums[2 * i + 1] = black_lines(x, p, t, sizes, level, i, norm)
        barrier(sync, team)
        largest = 0.0
        for i in range(nx):
            largest = max(largest, sums[2 * i + 1])
        step = abs(step) * largest * norm
        if rz_old == 0.0 or status != LIMIT:
            pass
    if me == 0:
        report[0], report[1], report[2], report[3], report[4] = status, iterations, reached, step, measured

"""Every compiled kernel of the solution itself (set-up: `building.py`); nothing else.

Storage. A level of the grid is cut into slabs (one per i), a slab into its even and odd columns (two halves, p = j % 2,
j = 2 m + p), a half into B blocks of LANES columns that are B apart, m = lane B + block. A block is one contiguous piece of
memory, so vertical line solves run on LANES columns at once and stream, and all four lateral neighbours of LANES cells lie side by
side too (the blocks before and after; from the first to the last block they are shifted by one lane):

    offset(i, j, k) = CELL + i S + p H + block D + k LANES + lane,      D = (nz + 1) LANES,  H = B D,  S = 2 H

The row of zeros after each block is what a shifted load may touch.

Columns are coloured by (i + j) % 2: red 0, black 1, so the red half of slab i is p = i % 2. Links belong to the upper of their
two cells: `gx[c]` joins c to slab i-1, `gy[c]` to column j-1, `gz[c]` to k-1, and all three are zero at index 0. Padding and void
cells have zero links and a zero inverse pivot, hence stay at zero. All levels lie one behind the other in the same flat arrays.

Method. Red columns are eliminated exactly (each is a line of its own once the black ones are known), conjugate gradients run
on the black ones; the preconditioner is one V(1,1) cycle with red/black line relaxation. It ends with red lines solved, so the
red part of every residual is zero and only black halves of the vectors are kept (arrays "by half": HALF + i H + block D + k LANES + lane).
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
    collect,
    fma,
    gather,
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
CELL, HALF, RHS, NX, NY, NZ, M_, H_, S_, XMAP, XFIRST, YFIRST, ZFIRST, COLUMN, COLUMN_Y, MEMBER, CUTS, PAIRED, MASK, B_, D_ = range(21)
LEVEL_COLUMNS = 21


@compiled
def beside(level, p, block):
    """Offsets from LANES cells of half p to their neighbours in y, below and above; the link above is stored with the latter."""
    H, D, last = level[H_], level[D_], level[B_] - 1
    if p == 0:
        return (H - D if block > 0 else H + last * D - 1), H
    return -H, (D - H if block < last else 1 - last * D - H)


@compiled
def columns_of(level, count, block):
    """How many lanes of a block stand for columns, if the half has `count` of them (the rest is padding)."""
    return max(0, (count - block + level[B_] - 1) // level[B_])


@compiled
def lateral(gx, gy, z, o, left, right, link, a, b):
    """Sum of link * neighbour over the four lateral faces of LANES cells at `o`."""
    inner = fma(load(gy, o), load(z, a), load(gy, b) * load(z, b))
    return fma(load(gx, o), load(z, o - left), fma(load(gx, o + link), load(z, o + right), inner))


@compiled
def relax(gx, gy, gz, inv, z, rhs, r0, level, i, p):
    """Solve the lines of half (i, p) with their neighbours held: z := T^-1 (rhs + links z)."""
    nx, nz, M, H, S = level[NX], level[NZ], level[M_], level[H_], level[S_]
    c = level[CELL] + i * S + p * H
    left = S if i > 0 else 0
    right, link = (S, S) if i < nx - 1 else (0, -i * S)
    for block in range(level[B_]):
        m = block * level[D_]
        y0, y1 = beside(level, p, block)
        y = splat(np.float32(0.0))
        for k in range(nz):
            o = c + k * LANES + m
            b = o + y1
            sides = lateral(gx, gy, z, o, left, right, link, o + y0, b) + load(rhs, r0 + k * LANES + m)
            y = fma(load(gz, o), y, sides) * load(inv, o)
            store(z, o, y)
        back_substitute(gz, inv, z, c + m, nz)


@compiled
def back_substitute(gz, inv, z, c, nz):
    y = load(z, c + (nz - 1) * LANES)
    for k in range(nz - 2, -1, -1):
        o = c + k * LANES
        y = fma(load(gz, o + LANES) * load(inv, o), y, load(z, o))
        store(z, o, y)


@compiled
def relax_from_zero(gz, inv, z, rhs, r0, level, i, p):
    """Solve the lines of half (i, p) with zero neighbours: z := T^-1 rhs."""
    nz, M = level[NZ], level[M_]
    c = level[CELL] + i * level[S_] + p * level[H_]
    for block in range(level[B_]):
        m = block * level[D_]
        y = splat(np.float32(0.0))
        for k in range(nz):
            o = c + k * LANES + m
            y = fma(load(gz, o), y, load(rhs, r0 + k * LANES + m)) * load(inv, o)
            store(z, o, y)
        back_substitute(gz, inv, z, c + m, nz)


@compiled
def restrict(gx, gy, z, wx, wy, own, lower, upper, level, coarse, maps, scratch, I):
    """Residual of the red columns in the fine slabs of coarse slab I, gathered into the three coarse right-hand sides.

    The share of a fine cell that belongs to the next coarse column in x goes to `lower` or `upper` of its own coarse slab: slab I-1
    or I+1 adds it later, so that no two threads ever write one number.
    """
    nx, M, H, S = level[NX], level[M_], level[H_], level[S_]
    Mc = coarse[M_]
    first, last = maps[level[XFIRST] + I], maps[level[XFIRST] + I + 1]
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
                    o = coarse[RHS] + I * coarse[S_] + q * coarse[H_] + block * coarse[D_] + K * LANES
                    sides = gather(scratch, b_y, maps, table + Mc + n) + gather(scratch, b_y, maps, table + 2 * Mc + n)
                    sum_ = gather(scratch, b_own, maps, table + n) + sides
                    if i > first:
                        store(own, o, load(own, o) + sum_)
                        store(upper, o, gather(scratch, b_x, maps, table + n))
                    else:
                        store(own, o, sum_)
                        if last - first == 2:
                            store(lower, o, gather(scratch, b_x, maps, table + n))


@compiled
def prolong(z, wx, wy, level, coarse, maps, i, fresh):
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
    for K in range(coarse[NZ]):
        here = coarse[CELL] + I * coarse[S_] + K * LANES
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


# ---- sweeps of one level ----------------------------------------------------------------------------------------


@compiled
def advance(gz, inv, z, w, x, p, q, r, level, i, alpha, beta):
    """Conjugate-gradient update of black half i, then its lines from zero. Returns the half's share of r.r."""
    nz, M = level[NZ], level[M_]
    colour = 1 - i % 2
    c, h = level[CELL] + i * level[S_] + colour * level[H_], level[HALF] + i * level[H_]
    beta4, minus_alpha4 = splat(np.float32(beta)), splat(np.float32(-alpha))
    beta8, alpha8 = splat(beta), splat(alpha)
    total = 0.0
    for block in range(level[B_]):
        m = block * level[D_]
        y = splat(np.float32(0.0))
        square = splat(np.float32(0.0))
        for k in range(nz):
            o, n = c + k * LANES + m, h + k * LANES + m
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
        back_substitute(gz, inv, z, c + m, nz)
        total += lane_sum(square)
    return total


@compiled
def relax_red_finest(gx, gy, gz, inv, ground, z, change, level, i):
    """Red lines of slab i with no heat of their own, as a change of what stands in z: change := T^-1 (links z - T z).

    All in differences, so that a large common temperature costs no digits; z keeps the old value, z + change is the solution.
    """
    nx, nz, M, H, S = level[NX], level[NZ], level[M_], level[H_], level[S_]
    p = i % 2
    c, h = level[CELL] + i * S + p * H, level[HALF] + i * H
    left = S if i > 0 else 0
    right, link = (S, S) if i < nx - 1 else (0, -i * S)
    zero = splat(np.float32(0.0))
    for block in range(level[B_]):
        m = block * level[D_]
        y0, y1 = beside(level, p, block)
        y, below = zero, zero
        here = load(z, c + m)
        above = here
        for k in range(nz):
            o = c + k * LANES + m
            b = o + y1
            flow = fma(load(gx, o), load(z, o - left) - here, load(gx, o + link) * (load(z, o + right) - here))
            flow = fma(load(gy, o), load(z, o + y0) - here, fma(load(gy, b), load(z, b) - here, flow))
            flow = (flow - below) - load(ground, o) * here
            if k < nz - 1:
                above = load(z, o + LANES)
                below = load(gz, o + LANES) * (above - here)
                flow = flow + below
            y = fma(load(gz, o), y, flow) * load(inv, o)
            store(change, h + k * LANES + m, y)
            here = above
        for k in range(nz - 2, -1, -1):
            o, n = c + k * LANES + m, h + k * LANES + m
            y = fma(load(gz, o + LANES) * load(inv, o), y, load(change, n))
            store(change, n, y)


@compiled
def image(gx, gy, gz, ground, z, change, w, r, sums, level, i):
    """w := (A z) on black half i, red neighbours being z + change, in differences; shares of r.z and z.w go to sums."""
    nx, nz, M, H, S = level[NX], level[NZ], level[M_], level[H_], level[S_]
    colour = 1 - i % 2
    c, h = level[CELL] + i * S + colour * H, level[HALF] + i * H
    left = S if i > 0 else 0
    right, link = (S, S) if i < nx - 1 else (0, -i * S)
    before, after = (H if i > 0 else 0), (H if i < nx - 1 else 0)
    own_half = (1 - 2 * colour) * H
    r_z, z_w = 0.0, 0.0
    for block in range(level[B_]):
        m = block * level[D_]
        y0, y1 = beside(level, colour, block)
        rz4, zw4 = splat(np.float32(0.0)), splat(np.float32(0.0))
        o = c + m
        here = load(z, o)
        below = splat(np.float32(0.0))
        for k in range(nz):
            o = c + k * LANES + m
            b = o + y1
            n = h + k * LANES + m
            flow = load(gx, o) * ((here - load(z, o - left)) - load(change, n - before))
            flow = fma(load(gx, o + link), (here - load(z, o + right)) - load(change, n + after), flow)
            flow = fma(load(gy, o), (here - load(z, o + y0)) - load(change, n + y0 - own_half), flow)
            flow = fma(load(gy, b), (here - load(z, b)) - load(change, n + y1 - own_half), flow)
            flow = fma(load(ground, o), here, flow) + below
            if k < nz - 1:
                next_ = load(z, o + LANES)
                below = load(gz, o + LANES) * (next_ - here)
                flow = flow - below
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
    x, p, q, r, w, change, sums = v
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
                relax_from_zero(gz, inv, z, r, level[HALF] + done * level[H_], level, done, 1 - done % 2)
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
    x, p, q, r, w, change, sums = v
    levels, maps = tables
    level = levels[l]
    nx, S, H = level[NX], level[S_], level[H_]
    a, b = (maps[level[CUTS] + me], maps[level[CUTS] + me + 1]) if team > 1 else (0, nx)
    more = l + 1 < levels.shape[0]
    for phase in range(4 if team > 1 else 1):
        lo1, hi1 = (a if a == 0 else a + 1), (b if b == nx else b - 1)
        lo2, hi2 = (a if a == 0 else a + 2), (b if b == nx else b - 2)
        lo3, hi3 = (a if a == 0 else a + 3), (b if b == nx else b - 3)
        for s in range(a, b + 3):
            if phase == 0 and s < b and more:
                prolong(z, wx, wy, level, levels[l + 1], maps, s, l == 0)
            i = s - 1
            if a <= i < b and ((lo1 <= i < hi1) if phase == 0 else (phase == 1 and not lo1 <= i < hi1)):
                if l == 0:
                    relax(gx, gy, gz, inv, z, r, level[HALF] + i * H, level, i, 1 - i % 2)
                else:
                    relax(gx, gy, gz, inv, z, own, level[RHS] + i * S + (1 - i % 2) * H, level, i, 1 - i % 2)
            i = s - 2
            if a <= i < b and ((lo2 <= i < hi2) if phase == 0 else (phase == 2 and not lo2 <= i < hi2)):
                if l == 0:
                    relax_red_finest(gx, gy, gz, inv, ground, z, change, level, i)
                else:
                    relax(gx, gy, gz, inv, z, own, level[RHS] + i * S + i % 2 * H, level, i, i % 2)
            i = s - 3
            if l == 0 and a <= i < b and ((lo3 <= i < hi3) if phase == 0 else (phase == 3 and not lo3 <= i < hi3)):
                image(gx, gy, gz, ground, z, change, w, r, sums, level, i)
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
            flow = v_x0 * load(gx, x0 + k) * (load(t, c_x0 + k) - here) + v_x1 * load(gx, x1 + k) * (load(t, c_x1 + k) - here)
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


@compiled
def residual(gx, gy, gz, ground, heat, t, r, z, sizes, level, buffer, i, scale, flat):
    """r := scale * (heat - A t) of slab i from the given double-precision coefficients (C order); red part into z.

    buffer : float64 (LANES nz). flat : t is the same everywhere. Returns the sum of squares, scaled.
    """
    ny, nz, sx, sy = sizes[1], sizes[2], sizes[3], sizes[4]
    M, H = level[M_], level[H_]
    total_ = 0.0
    for p in range(2):
        black = (i + p) % 2 == 1
        start = level[HALF] + i * H if black else level[CELL] + i * level[S_] + p * H
        for block in range(level[B_]):
            m = block * level[D_]
            width = columns_of(level, (ny - p + 1) // 2, block)
            for s in range(width):
                j = 2 * (s * level[B_] + block) + p
                if flat:
                    c, row = i * sx + j * sy, s * nz
                    for k in range(nz):
                        buffer[row + k] = heat[c + k] - ground[c + k] * t[c + k]
                else:
                    residual_column(gx, gy, gz, ground, heat, t, sizes, i, j, s * nz, buffer)
            for k in range(width * nz, LANES * nz):
                buffer[k] = 0.0
            square = splat(0.0)
            for k in range(nz):
                value = splat(np.float32(scale)) * collect(buffer, k, nz)
                wide = widen(value)
                square = fma(wide, wide, square)
                if black:
                    store(r, start + k * LANES + m, value)
                else:
                    store(z, start + k * LANES + m, value)
            total_ += lane_sum(square)
    return total_


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
    link = S if i < nx - 1 else -i * S
    left, right = (H if i > 0 else 0), (H if i < nx - 1 else 0)
    own_half = (1 - 2 * p) * H
    zero = splat(0.0)
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
            store(buffer, 2 * LANES * k, y)
            store(buffer, 2 * LANES * k + LANES, above * pivot)
        for k in range(nz - 2, -1, -1):
            y = fma(load(buffer, 2 * LANES * k + LANES), y, load(buffer, 2 * LANES * k))
            store(buffer, 2 * LANES * k, y)
        for s in range(columns_of(level, (ny - p + 1) // 2, block)):
            start = i * sx + (2 * (s * level[B_] + block) + p) * sy
            for k in range(nz):
                t[start + k] += norm * buffer[2 * LANES * k + s]
        if not from_x:
            for k in range(nz):
                for s in range(LANES):
                    z[c + k * LANES + m + s] = np.float32(buffer[2 * LANES * k + s])


@compiled
def black_lines(x, p, t, sizes, level, i, norm):
    """t += norm x on the black columns of slab i, x := 0. Returns the largest |p| there."""
    ny, nz, sx, sy = sizes[1], sizes[2], sizes[3], sizes[4]
    colour = 1 - i % 2
    largest = 0.0
    for block in range(level[B_]):
        h = level[HALF] + i * level[H_] + block * level[D_]
        for s in range(columns_of(level, (ny - colour + 1) // 2, block)):
            start = i * sx + (2 * (s * level[B_] + block) + colour) * sy
            for k in range(nz):
                t[start + k] += norm * x[h + k * LANES + s]
                largest = max(largest, abs(p[h + k * LANES + s]))
    for h in range(level[HALF] + i * level[H_], level[HALF] + (i + 1) * level[H_]):
        x[h] = 0.0
    return largest


@compiled
def spread(f, p, t, sizes, level, buffer, sync, me, team, cuts):
    """t += the direction p, red columns following the black ones: the full vector whose curvature is in question."""
    a, b = cuts[me], cuts[me + 1]
    for i in range(a, b):
        red_lines(f, p, t, sizes, level, buffer, i, 1.0, True)
    barrier(sync, team)
    for i in range(a, b):
        black_lines(p, p, t, sizes, level, i, 1.0)


@compiled
def reduce_heat(f, r, level, i):
    """r += links z on black half i: what the eliminated red columns pass on."""
    gx, gy, z = f[0], f[1], f[5]
    nz, M, H, S = level[NZ], level[M_], level[H_], level[S_]
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


# ---- conjugate gradients ----------------------------------------------------------------------------------------

CONVERGED, STALLED, SUSPECT, LIMIT = 0, 1, 2, 3


@compiled
def look_along(z, p, level, i, beta):
    """p := z + beta p on black half i."""
    c, h = level[CELL] + i * level[S_] + (1 - i % 2) * level[H_], level[HALF] + i * level[H_]
    for n in range(level[H_]):
        p[h + n] = z[c + n] + beta * p[h + n]


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
    x, p, q, r, w, change, sums = v
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
        for h in range(level[HALF] + i * level[H_], level[HALF] + (i + 1) * level[H_]):
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
            sums[2 * i] = residual(ax, ay, az, ag, heat, t, r, z, sizes, level, buffer, i, 1.0 / norm, uniform and measured == 0)
        barrier(sync, team)
        reached = np.sqrt(total(sums, nx, 2))
        if me == 0 and iterations == 0:
            history[0] = reached
        measured += 1
        if reached <= tolerance:
            status = CONVERGED
        elif not reached < 0.5 * previous:
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
            if not curvature > 0.0:
                status = SUSPECT if curvature <= 0.0 else STALLED
                for i in range(a, b):
                    look_along(z, p, level, i, beta)
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
        if status == SUSPECT:
            break
    if me == 0:
        report[0], report[1], report[2], report[3], report[4] = status, iterations, reached, step, measured

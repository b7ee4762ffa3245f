"""Every compiled kernel of the solution itself (set-up: `setup_kernels.py`); nothing else.

Storage and names as in `storage.py`.

Method. Red columns are eliminated exactly (each is a line of its own once the black ones are known), conjugate
gradients run on the black ones; the preconditioner is one V(1,1) cycle with red/black line relaxation. It ends with
red lines solved, so the red part of every residual is zero and only black halves of the vectors are kept (arrays
"by half": HALF + i H + block D + k LANES + lane). Matrix and preconditioner are in single precision; the iterate
and its direction in double; `residual` measures what was reached on the given coefficients in double precision, and
conjugate gradients go on from there.

Threads. A kernel that runs on several threads is entered once by each (`me` of `team`), works on its own slabs and
meets the others in `barrier`. Sums over cells are kept by slab and added in the order of slabs: no result depends
on the thread count.

Y. Saad, "Iterative Methods for Sparse Linear Systems", 2nd ed., SIAM 2003, ch. 9, 12, 13; Chronopoulos and Gear,
"s-step iterative methods for symmetric linear systems", J. Comput. Appl. Math. 25 (1989) 153-168 (one sweep for
both inner products).
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
    NX,
    NZ,
    RHS,
    S_,
    XFIRST,
    XMAP,
    beside,
    lateral,
)
from thermsim.solver.multigrid.transfer import gather_heat, prolong, restrict
from thermsim.solver.multigrid.vector_registers import (
    LANES,
    barrier,
    compiled,
    fma,
    helper,
    lane_sum,
    load,
    splat,
    store,
    widen,
)


@helper
def relax(gx, gy, gz, inv, z, rhs, r0, level, i, p):
    """Solve the lines of half (i, p) with their neighbours held: z := T^-1 (rhs + links z)."""
    nx, nz, H, S = level[NX], level[NZ], level[H_], level[S_]
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


@helper
def back_substitute(gz, inv, z, c, nz):
    """Second half of the solution of the tridiagonal systems of a block of columns, in place."""
    y = load(z, c + (nz - 1) * LANES)
    for k in range(nz - 2, -1, -1):
        o = c + k * LANES
        y = fma(load(gz, o + LANES) * load(inv, o), y, load(z, o))
        store(z, o, y)


@helper
def relax_from_zero(gz, inv, z, rhs, r0, level, i, p):
    """Solve the lines of half (i, p) with zero neighbours: z := T^-1 rhs."""
    nz = level[NZ]
    c = level[CELL] + i * level[S_] + p * level[H_]
    for block in range(level[B_]):
        m = block * level[D_]
        y = splat(np.float32(0.0))
        for k in range(nz):
            o = c + k * LANES + m
            y = fma(load(gz, o), y, load(rhs, r0 + k * LANES + m)) * load(inv, o)
            store(z, o, y)
        back_substitute(gz, inv, z, c + m, nz)


# ---- sweeps of one level ----------------------------------------------------------------------------------------


@helper
def advance(gz, inv, z, w, x, p, q, r, level, i, alpha, beta):
    """Conjugate-gradient update of black half i, then its lines from zero. Returns the half's share of r.r."""
    nz = level[NZ]
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


@helper
def relax_red_finest(gx, gy, gz, inv, ground, z, change, level, i):
    """Red lines of slab i with no heat of their own, as a change of what stands in z: change := T^-1 (links z - T z).

    All in differences, so that a large common temperature costs no digits; z keeps the old value, z + change is the
    solution.
    """
    nx, nz, H, S = level[NX], level[NZ], level[H_], level[S_]
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


@helper
def image(gx, gy, gz, ground, z, change, w, r, sums, level, i):
    """w := (A z) on black half i, red neighbours being z + change, in differences; shares of r.z and z.w go to sums."""
    nx, nz, H, S = level[NX], level[NZ], level[H_], level[S_]
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
def down_finest(f, v, tables, sync, me, team, scratch, sums, alpha, beta, update):
    """Update (or not), black lines from zero, red residual restricted; sums : shares of r.r by slab."""
    gx, gy, gz, inv, _ground, z, wx, wy, own, lower, upper = f
    x, p, q, r, w, _change = v
    levels, maps = tables
    level = levels[0]
    a, b = maps[level[CUTS] + me], maps[level[CUTS] + me + 1]
    lo, hi = (a if a == 0 else a + 1), (b if b == level[NX] else b - 1)
    more = levels.shape[0] > 1
    done = a
    for ci in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1) if more else range(0, 1):
        first, last = (maps[level[XFIRST] + ci], maps[level[XFIRST] + ci + 1]) if more else (a, b)
        while done < min(last + 1, b):
            if update:
                sums[done] = advance(gz, inv, z, w, x, p, q, r, level, done, alpha, beta)
            else:
                relax_from_zero(gz, inv, z, r, level[HALF] + done * level[H_], level, done, 1 - done % 2)
            done += 1
        if more and first >= lo and last <= hi:
            restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[1], maps, scratch, ci)
    barrier(sync, team)
    if more:
        for ci in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1):
            if maps[level[XFIRST] + ci] < lo or maps[level[XFIRST] + ci + 1] > hi:
                restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[1], maps, scratch, ci)
    barrier(sync, team)


@helper
def down(f, tables, sync, me, team, scratch, lv):
    """Red lines from zero, black lines, red residual restricted, on level lv > 0; by slabs, one stage behind the
    other.
    """
    gx, gy, gz, inv, _ground, z, wx, wy, own, lower, upper = f
    levels, maps = tables
    level = levels[lv]
    nx, S, H = level[NX], level[S_], level[H_]
    a, b = (maps[level[CUTS] + me], maps[level[CUTS] + me + 1]) if team > 1 else (0, nx)
    lo1, hi1 = (a if a == 0 else a + 1), (b if b == nx else b - 1)
    lo2, hi2 = (a if a == 0 else a + 2), (b if b == nx else b - 2)
    more = lv + 1 < levels.shape[0]
    red, black = a, lo1
    for ci in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1) if more else range(0, 1):
        first, last = (maps[level[XFIRST] + ci], maps[level[XFIRST] + ci + 1]) if more else (a, b)
        while black < min(last + 1, hi1):
            while red < min(black + 2, b):
                gather_heat(own, lower, upper, level, red)
                relax_from_zero(gz, inv, z, own, level[RHS] + red * S + red % 2 * H, level, red, red % 2)
                red += 1
            p = 1 - black % 2
            relax(gx, gy, gz, inv, z, own, level[RHS] + black * S + p * H, level, black, p)
            black += 1
        if more and first >= lo2 and last <= hi2:
            restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[lv + 1], maps, scratch, ci)
    barrier(sync, team)
    for i in range(a, b):
        if i < lo1 or i >= hi1:
            p = 1 - i % 2
            relax(gx, gy, gz, inv, z, own, level[RHS] + i * S + p * H, level, i, p)
    barrier(sync, team)
    if more:
        for ci in range(maps[level[XMAP] + a], maps[level[XMAP] + b - 1] + 1):
            if maps[level[XFIRST] + ci] < lo2 or maps[level[XFIRST] + ci + 1] > hi2:
                restrict(gx, gy, z, wx, wy, own, lower, upper, level, levels[lv + 1], maps, scratch, ci)
    barrier(sync, team)


@helper
def up(f, v, tables, sync, me, team, sums, lv):
    """Red corrected from the coarse level, black lines, red lines; on the finest level w = A z with its two sums."""
    gx, gy, gz, inv, ground, z, wx, wy, own, _lower, _upper = f
    _x, _p, _q, r, w, change = v
    levels, maps = tables
    level = levels[lv]
    nx, S, H = level[NX], level[S_], level[H_]
    a, b = (maps[level[CUTS] + me], maps[level[CUTS] + me + 1]) if team > 1 else (0, nx)
    more = lv + 1 < levels.shape[0]
    for phase in range(4 if team > 1 else 1):
        lo1, hi1 = (a if a == 0 else a + 1), (b if b == nx else b - 1)
        lo2, hi2 = (a if a == 0 else a + 2), (b if b == nx else b - 2)
        lo3, hi3 = (a if a == 0 else a + 3), (b if b == nx else b - 3)
        for s in range(a, b + 3):
            if phase == 0 and s < b and more:
                prolong(z, wx, wy, level, levels[lv + 1], maps, s, lv == 0)
            i = s - 1
            if a <= i < b and ((lo1 <= i < hi1) if phase == 0 else (phase == 1 and not lo1 <= i < hi1)):
                if lv == 0:
                    relax(gx, gy, gz, inv, z, r, level[HALF] + i * H, level, i, 1 - i % 2)
                else:
                    relax(gx, gy, gz, inv, z, own, level[RHS] + i * S + (1 - i % 2) * H, level, i, 1 - i % 2)
            i = s - 2
            if a <= i < b and ((lo2 <= i < hi2) if phase == 0 else (phase == 2 and not lo2 <= i < hi2)):
                if lv == 0:
                    relax_red_finest(gx, gy, gz, inv, ground, z, change, level, i)
                else:
                    relax(gx, gy, gz, inv, z, own, level[RHS] + i * S + i % 2 * H, level, i, i % 2)
            i = s - 3
            if lv == 0 and a <= i < b and ((lo3 <= i < hi3) if phase == 0 else (phase == 3 and not lo3 <= i < hi3)):
                image(gx, gy, gz, ground, z, change, w, r, sums, level, i)
        barrier(sync, team)


@compiled
def cycle(f, v, tables, sync, me, team, parallel, scratch, sums):
    """The rest of the V-cycle after `down_finest`: z on the finest level, w = A z, and the sums r.z and z.w by slab."""
    depth = tables[0].shape[0]
    shared = min(parallel, depth)
    for turn in range(2 * depth - 1):
        going_down = turn < depth - 1
        lv = turn + 1 if going_down else 2 * (depth - 1) - turn
        team_here = team if lv < shared else 1
        if team_here == team or me == 0:
            if going_down:
                down(f, tables, sync, me, team_here, scratch, lv)
            else:
                up(f, v, tables, sync, me, team_here, sums, lv)
        if not going_down and lv == shared:
            barrier(sync, team)

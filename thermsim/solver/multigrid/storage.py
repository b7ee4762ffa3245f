"""How the cells of all levels lie in memory, and where a kernel finds the neighbours of its cells.

A level of the grid is cut into slabs (one per i), a slab into its even and odd columns (two halves, p = j % 2,
j = 2 m + p), a half into B blocks of LANES columns that are B apart, m = lane B + block. A block is one contiguous
piece of memory, so vertical line solves run on LANES columns at once and stream, and all four lateral neighbours of
LANES cells lie side by side too (the blocks before and after; from the first to the last block they are shifted by
one lane):

    offset(i, j, k) = CELL + i S + p H + block D + k LANES + lane,      D = (nz + 1) LANES,  H = B D,  S = 2 H

The row of zeros after each block is what a shifted load may touch.

Columns are coloured by (i + j) % 2: red 0, black 1, so the red half of slab i is p = i % 2. Links belong to the
upper of their two cells: `gx[c]` joins c to slab i-1, `gy[c]` to column j-1, `gz[c]` to k-1, and all three are zero
at index 0. Padding and void cells have zero links and a zero inverse pivot, hence stay at zero. All levels lie one
behind the other in the same flat arrays.
"""

# mypy: ignore-errors
# (numba infers the types of kernels; their twins in the tests pin them)

from __future__ import annotations

from thermsim.solver.multigrid.vector_registers import fma, helper, load

# columns of the level table (int64): starts in the arrays, sizes, strides, starts of index lists in `maps`
(
    CELL,
    HALF,
    RHS,
    NX,
    NY,
    NZ,
    M_,
    H_,
    S_,
    XMAP,
    XFIRST,
    YFIRST,
    ZFIRST,
    COLUMN,
    COLUMN_Y,
    MEMBER,
    CUTS,
    PAIRED,
    MASK,
    B_,
    D_,
) = range(21)
LEVEL_COLUMNS = 21


@helper
def beside(level, p, block):
    """Offsets from LANES cells of half p to their neighbours in y, below and above; the link above is stored with the
    latter.
    """
    H, D, last = level[H_], level[D_], level[B_] - 1
    if p == 0:
        return (H - D if block > 0 else H + last * D - 1), H
    return -H, (D - H if block < last else 1 - last * D - H)


@helper
def columns_of(level, count, block):
    """How many lanes of a block stand for columns, if the half has `count` of them (the rest is padding)."""
    return max(0, (count - block + level[B_] - 1) // level[B_])


@helper
def lateral(gx, gy, z, o, left, right, link, a, b):
    """Sum of link * neighbour over the four lateral faces of LANES cells at `o`."""
    inner = fma(load(gy, o), load(z, a), load(gy, b) * load(z, b))
    return fma(load(gx, o), load(z, o - left), fma(load(gx, o + link), load(z, o + right), inner))

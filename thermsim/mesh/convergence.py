"""Grid convergence: observed order, limit at cells of no size, and how far a told value may be off.

Everywhere: grids stand from coarse to fine, the finest last; `sizes` are representative cell widths in any unit,
falling; h3 > h2 > h1 are the last three, f3, f2, f1 their values, e32 = f3 - f2, e21 = f2 - f1, r32 = h3/h2,
r21 = h2/h1. The doubt is our own, made for quantities that do not converge with one clean order: temperatures near
edges of parts and zones. What the literature makes of grids stands in `thermsim.mesh.literature`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.errors import ThermsimError

Array = NDArray[np.float64]

LEAST_RATIO = 1.3  # Celik et al. 2008
ROUND_OFF = 4.0 * float(np.finfo(float).eps)  # of a value, relative: differences below it say nothing
FARTHEST_ORDER = 50.0  # stands for "no change left" and, negative, for "no change before"


def observed_order(e32: Array, e21: Array, r32: float, r21: float) -> Array:
    """The p that solves |e32/e21| = r21^p (r32^p - s)/(r21^p - s), s = sign(e32/e21), for each pair: float array.

    The right side grows with p, so halving an interval finds it; beyond +-50 the end is returned (e21 = 0: 50,
    e32 = 0: -50), and nan where both differences vanish.
    """
    sign = np.where(e32 * e21 < 0.0, -1.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        wanted = np.log(np.abs(e32)) - np.log(np.abs(e21))
    low, high = np.full(sign.shape, -FARTHEST_ORDER), np.full(sign.shape, FARTHEST_ORDER)
    for _ in range(60):
        middle = 0.5 * (low + high)
        power = np.where(middle == 0.0, 1e-9, middle)
        grown32, grown21 = (np.where(sign > 0, np.expm1(power * np.log(r)), r**power + 1.0) for r in (r32, r21))
        above = power * np.log(r21) + np.log(grown32 / grown21) > wanted
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.asarray(np.where(np.isnan(wanted), np.nan, 0.5 * (low + high)))


# ---- the doubt that every reported quantity carries -------------------------------------------------------------

# Tuned so that at least 95 % of true errors lie inside and the median half width stays below ten true errors, on
# finite-volume solutions of random strips on layered plates (exact answer: flux channel series), on random stacks with
# and without steps, and on synthetic sequences of order 1 to 2 with an erratic part; tests/test_convergence.py and
# tests/test_physics_mesh_doubt.py keep them so. Our own practice, no source.
SLOWEST, FASTEST = 0.5, 2.2  # observed orders that are believed
CAUTIOUS_ORDER = 1.3  # three grids: an observed order above it is not used, temperatures near edges do not hold it
CONFIRMED_ORDER = 1.7  # four grids whose two observed orders agree
AGREEMENT, CONFIRMED_LEAST = 0.5, 0.8
SECOND_ORDER, SECOND_LEAST, SECOND_AGREEMENT = 2.0, 1.5, 0.4  # ... closely, at the order of the scheme
OVER_NOISE = 100.0  # a doubt is never told to be smaller than so many errors of the solver
SAFETY_SETTLES, SAFETY_FAST, SAFETY_OSCILLATES, SAFETY_UNSETTLED = 1.75, 1.1, 1.5, 2.5
SAFETY_SECOND = 1.5
GRIDS_OF_LIMIT = 4
LIMIT_SLOWEST, LIMIT_SMOOTH, LIMIT_FASTEST = 1.15, 1.5, 4.0  # observed orders of the last three grids
SAFETY_LIMIT = 1.5
LIMIT_SHARE, LIMIT_SHARE_SLOW = 0.15, 0.25  # of the way from the finest grid to the limit

SETTLES = "settles"
SETTLES_SLOWLY = "settles slowly"
UNSETTLED = "does not settle"
OSCILLATES = "oscillates"
TOO_FAST = "settles (faster than expected; judged with caution)"
TOO_CLOSE = "grids too close to tell"
TO_ITS_LIMIT = "settles to its limit"


@dataclass(frozen=True)
class Doubt:
    """A quantity and how far the grids may hold it from the truth: value +- half_width.

    value : the limit at cells of no size where the sequence settles on four grids, else that of the finest grid
    finest : value of the finest grid
    order : as observed; None where differences change sign or say nothing
    note : how the sequence behaves, in plain words
    """

    value: float
    finest: float
    order: float | None
    half_width: float
    note: str

    @property
    def at_finest(self) -> Doubt:
        """The same of the value on the finest grid: for what must balance there, such as heat."""
        return replace(self, value=self.finest, half_width=self.half_width + abs(self.value - self.finest))


def doubt(values: Sequence[float], sizes: Sequence[float], noise: float = 0.0) -> Doubt:
    """The doubt of one quantity from three or more grids, see `doubts`."""
    return doubts(np.asarray(values, float)[:, None], sizes, noise)[0]


def doubts(table: ArrayLike, sizes: ArrayLike, noise: ArrayLike = 0.0) -> list[Doubt]:
    """The doubt of each quantity.

    Four grids whose values all move one way, with an observed order of 1.15 to 4 on the last three, are told at their
    limit. Three fits through the last three grids give it, by what the error of the scheme goes with:

        smooth   f0 + a h^2                where fields are smooth (through the last two grids)
        jump     f0 + h^2 (a + b ln h)     where the flux of heat jumps
        corner   f0 + a h^(4/3) + b h^2    at re-entrant edges

    The value is the middle of smooth and jump from order 1.5 on, of jump and corner below it. The half width is

        1.5 times the larger of what these two differ by and what the latter moved by with the last grid,
        and 0.15 times (below order 1.5: 0.25 times) what the value moved from the finest grid

    Else the value is that of the finest grid. Its error, if it were of order p, is |e21|/(r21^p - 1) by the last
    difference and |e32|/((r32^p - 1) r21^p) by the one before; larger(p) is the larger of the two. The half width is

        order 0.5 to 2.2           1.75 |e21|/(r21^p - 1), p at most 1.3, or 1.7 if a fourth grid confirms the order
        ... both 1.5 to 2.2, alike 1.5 |e21|/(r21^p - 1), p the smaller of both, at most 2
        order above 2.2            1.1 larger(1): a small last difference may be luck
        differences change sign    1.5 larger(1)
        order below 0.5            2.5 times the range of the last three values

    and in each case the noise, as much as extrapolation magnifies it, and a hundred times the noise at least. An
    error that turns round between the grids (two parts of opposite sign, one in twenty of our synthetic sequences) is
    held in only about half of its cases; a limit of a sequence that wobbles by a twentieth, in nine of ten.

    Parameters
    ----------
    table : (grids, quantities) float array, the finest grid last
    sizes : (grids,) float array of cell widths, falling by a factor of 1.3 or more
    noise : error of each value that does not come from the grid (solver), one number or one for each quantity

    Raises
    ------
    ThermsimError : fewer than three grids, sizes that do not fall by 1.3, or a value that is no number
    """
    values, widths = checked(np.asarray(table, float), sizes, grids=3)
    if np.min(widths[:-1] / widths[1:]) < LEAST_RATIO * (1.0 - 1e-9):
        raise ThermsimError(f"grids too alike for a mesh doubt: sizes {widths}, ratios of {LEAST_RATIO} needed")
    r32, r21 = float(widths[-3] / widths[-2]), float(widths[-2] / widths[-1])
    e32, e21 = values[-3] - values[-2], values[-2] - values[-1]
    floor = np.maximum(noise, ROUND_OFF * np.max(np.abs(values), axis=0))
    order = observed_order(e32, e21, r32, r21)
    kinds = [
        np.maximum(np.abs(e32), np.abs(e21)) <= 2.0 * floor,
        e32 * e21 < 0.0,
        order < 0.0,
        order < SLOWEST,
        order <= FASTEST,
    ]
    used, cap, safety = _believed_order(values, widths, order)
    span = SAFETY_UNSETTLED * np.ptp(values[-3:], axis=0)
    larger = np.maximum(np.abs(e21), np.abs(e32) * (r21 - 1.0) / ((r32 - 1.0) * r21)) / (r21 - 1.0)
    settled = safety * np.abs(e21) / (r21 ** np.clip(used, SLOWEST, cap) - 1.0)
    wavy = SAFETY_OSCILLATES * larger
    half_width = np.select(kinds, [wavy, wavy, span, span, settled], SAFETY_FAST * larger)
    half_width = half_width + floor * (1.0 + 2.0 / (r21 - 1.0))
    notes = np.select(kinds, [TOO_CLOSE, OSCILLATES, UNSETTLED, SETTLES_SLOWLY, SETTLES], TOO_FAST)
    unknown = (notes == TOO_CLOSE) | (notes == OSCILLATES) | ~(np.abs(np.nan_to_num(order)) < 0.9 * FARTHEST_ORDER)
    told = values[-1]
    if len(widths) >= GRIDS_OF_LIMIT:
        limit, off = _limit(values, widths, order, floor)
        has_limit = _has_limit(values, order, floor) & (off < half_width)
        told = np.where(has_limit, limit, told)
        half_width = np.where(has_limit, off, half_width)
        notes = np.where(has_limit, TO_ITS_LIMIT, notes)
    half_width = np.maximum(half_width, OVER_NOISE * np.asarray(noise))
    return [
        Doubt(float(value), float(finest), None if lost else float(p), float(half), str(note))
        for value, finest, lost, p, half, note in zip(told, values[-1], unknown, order, half_width, notes, strict=True)
    ]


def limit_weights(sizes: ArrayLike, order: float) -> Array:
    """Weights (3,) of the last three grids that make the limit of a quantity which settles with an order, see `doubts`.

    They are the same for all such quantities, so that what adds up on every grid adds up in the limit.
    """
    h = np.asarray(sizes, float)[-3:]
    smooth, jump, corner = (fit(h) for fit in (_smooth, _jump, _corner))
    return np.asarray(0.5 * (smooth + jump if order >= LIMIT_SMOOTH else jump + corner))


def _smooth(h: Array) -> Array:
    """(3,) weights of f0 in f0 + a h^2 through the last two of three grids."""
    grown = float(h[1] / h[2]) ** 2
    return np.array([0.0, -1.0, grown]) / (grown - 1.0)


def _jump(h: Array) -> Array:
    """(3,) weights of f0 in f0 + h^2 (a + b ln h) through three grids."""
    return _first(h**2, h**2 * np.log(h))


def _corner(h: Array) -> Array:
    """(3,) weights of f0 in f0 + a h^(4/3) + b h^2 through three grids."""
    return _first(h ** (4.0 / 3.0), h**2)


def _first(*terms: Array) -> Array:
    return np.asarray(np.linalg.inv(np.stack([np.ones(3), *terms], axis=1))[0])


def _limit(values: Array, widths: Array, order: Array, floor: Array) -> tuple[Array, Array]:
    """Limit of each quantity, and its half width."""
    h = widths / widths[-1]
    smooth, jump, corner = (fit(h[-3:]) @ values[-3:] for fit in (_smooth, _jump, _corner))
    jump_before, corner_before = (fit(h[-4:-1]) @ values[-4:-1] for fit in (_jump, _corner))
    is_smooth = order >= LIMIT_SMOOTH
    near, far = np.where(is_smooth, smooth, jump), np.where(is_smooth, jump, corner)
    moved = np.where(is_smooth, jump - jump_before, corner - corner_before)
    limit = 0.5 * (near + far)
    share = np.where(is_smooth, LIMIT_SHARE, LIMIT_SHARE_SLOW)
    off = SAFETY_LIMIT * np.maximum(np.abs(far - near), np.abs(moved)) + share * np.abs(limit - values[-1])
    return limit, off + floor * np.sum(np.abs(limit_weights(widths, LIMIT_SLOWEST)))


def _has_limit(values: Array, order: Array, floor: Array) -> NDArray[np.bool_]:
    """Whether values of the last four grids move one way, by more than noise, with a plausible order."""
    moves = np.diff(values[-GRIDS_OF_LIMIT:], axis=0)
    one_way = np.all(np.sign(moves) == np.sign(moves[-1]), axis=0) & np.all(np.abs(moves) > 2.0 * floor, axis=0)
    return np.asarray(one_way & (order >= LIMIT_SLOWEST) & (order <= LIMIT_FASTEST))


def _believed_order(values: Array, widths: Array, order: Array) -> tuple[Array, Array, Array]:
    """Order to use, the cap on it, and the factor of safety.

    Where a fourth grid confirms the order: the smaller of two, a higher cap, and for second order a smaller factor.
    """
    cautious, safe = np.full_like(order, CAUTIOUS_ORDER), np.full_like(order, SAFETY_SETTLES)
    if len(widths) < 4:
        return order, cautious, safe
    before = observed_order(
        values[-4] - values[-3],
        values[-3] - values[-2],
        float(widths[-4] / widths[-3]),
        float(widths[-3] / widths[-2]),
    )
    lower, upper = np.fmin(order, before), np.fmax(order, before)
    signs = np.sign(np.diff(values[-4:], axis=0))
    confirmed = np.all(signs == signs[0], axis=0) & (upper <= FASTEST) & (lower >= CONFIRMED_LEAST)
    confirmed &= upper - lower <= AGREEMENT
    second = confirmed & (lower >= SECOND_LEAST) & (upper - lower <= SECOND_AGREEMENT)
    cap = np.where(second, SECOND_ORDER, np.where(confirmed, CONFIRMED_ORDER, cautious))
    return np.where(confirmed, lower, order), cap, np.where(second, SAFETY_SECOND, safe)


def checked(table: Array, sizes: ArrayLike, grids: int, exactly: bool = False) -> tuple[Array, Array]:
    widths = np.asarray(sizes, float)
    count = f"{'' if exactly else 'at least '}{grids} grids"
    if table.ndim != 2 or widths.shape != table.shape[:1] or len(widths) < grids or (exactly and len(widths) > grids):
        raise ThermsimError(f"a convergence study needs {count}; got values {table.shape} and sizes {widths.shape}")
    if not (np.all(np.isfinite(table)) and np.all(widths > 0.0) and np.all(np.diff(widths) < 0.0)):
        raise ThermsimError("a convergence study needs finite values and cell sizes that fall, the finest last")
    return table, widths

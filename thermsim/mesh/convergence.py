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

LEAST_RATIO = 1.3  # of one cell width to the next finer one: Celik et al. 2008
# Relative difference of two values below which they are the same but for rounding.
ROUND_OFF = 4.0 * float(np.finfo(float).eps)
FARTHEST_ORDER = 50.0  # order given where the finer step is nothing; its negative where the coarser one is


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

# Chosen on random stacks of every kind (`thermsim.proof.run.random_stacks`, seed 20263001) so that all answers of a
# stack together lie within their doubts in 95 of 100 stacks, and the median half width stays below ten true errors; on
# other stacks tests/mesh/test_physics_mesh_doubt.py keeps them so, on synthetic sequences
# tests/mesh/test_convergence.py. Our own practice, no source.
SLOWEST, FASTEST = 0.5, 2.2  # observed orders of three grids that are believed
# Highest order that a doubt is computed with: temperatures near edges do not keep a higher observed one.
CAUTIOUS_ORDER = 1.3
TIMES_NOISE = 100.0  # a doubt is at least so many times the error of the solver
SAFETY_SETTLES, SAFETY_FAST, SAFETY_OSCILLATES, SAFETY_UNSETTLED = 2.5, 1.1, 1.5, 2.5
# A doubt on three grids is at least this share of the distance to the limit that allows for errors of first order; the
# second holds where answers settle faster than believed.
FIRST_ORDER, FIRST_ORDER_FAST = 1.5, 1.0
GRIDS_OF_LIMIT = 4
# Weight, in the limit, of the extrapolation for jumps of heat (h^2, h^2 log h); that for corners (h^(4/3), h^2) has the
# rest.
SHARE_OF_JUMP = 1.0 / 3.0
FASTEST_LIMIT = 4.0
# Factors of the doubt of a limit: on the distance between the limits of first and of second order, on how far the last
# grid moved the limit, and on its distance from the finest answer.
SAFETY_DEPARTS, SAFETY_MOVED, SHARE_OF_DISTANCE = 1.4, 1.2, 0.04
# Three steps per logarithm of the width drift if the smallest is at least this share of the largest: then no limit is
# in sight.
EQUAL_STEPS = 0.75
SLOW_DRIFT = 0.1  # observed orders of three grids below it are a drift: their two steps are all but equal
DRIFT_ORDER = 0.1  # the order with which the doubt of a drift assumes that it goes on

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


def doubts(table: ArrayLike, sizes: ArrayLike, noise: ArrayLike = 0.0, slowest: float | None = None) -> list[Doubt]:
    """The doubt of each quantity.

    Errors of the scheme go with h^2 where fields are smooth, with h^2 ln h where the flux of heat jumps, with h^(4/3)
    at re-entrant edges, and with h itself while layers beside an edge are thinner than the cells. No sequence is of one
    of these orders alone, and where two of opposite sign meet the error turns round: the observed order says little
    then. So limits are taken with the terms that may be there, as in Richardson's extrapolation with several known
    orders (Richardson, Gaunt, Phil. Trans. R. Soc. A 226 (1927) 299; Joyce, SIAM Rev. 13 (1971) 435, both from memory),
    and the doubt is made from how far such limits lie apart and move, as Eca and Hoekstra (see `mesh.literature`) judge
    a fit by its scatter.
    Through the last grids:

        smooth   f0 + a h^2                through the last two
        jump     f0 + h^2 (a + b ln h)     through the last three
        corner   f0 + a h^(4/3) + b h^2    through the last three
        first    f0 + a h + b h^2          through the last three

    With three grids the value is that of the finest. Its error, if it were of order p, is |e21|/(r21^p - 1) by the last
    difference and |e32|/((r32^p - 1) r21^p) by the one before; larger(p) is the larger of the two. The half width is

        order 0.5 to 2.2           2.5 |e21|/(r21^p - 1), p at most 1.3
        order above 2.2            1.1 larger(1): a small last difference may be luck
        differences change sign    1.5 larger(1)
        order below 0.5            2.5 times the range of the three values; |e21|/(r21^0.1 - 1) where
                                   two steps are all but equal (order within 0.1 of none), if that is more

    and 1.5 |first - finest| at least, |first - finest| where the order is above 2.2.

    With four grids or more the value is the limit, a third of jump and two thirds of corner, where differences are of
    one sign and their order is 0.5 at least. Its half width is

        1.4 |first - smooth|  +  1.2 times what the last grid moved it by  +  0.04 |limit - finest|

    the last of which bounds from below what the rule itself can be trusted for. Else the value is that of the finest
    grid, and its distance from the limit is added. Three steps of one sign that are equal for the logarithm of the size
    are a drift, of which no grid tells the end: |e21|/(r21^0.1 - 1) at least.

    Where an order slower than all these is known to be there, the half width is 1.5 larger(p) with that p at least,
    about the value of the finest grid.

    In each case the noise is added, as much as extrapolation magnifies it, and a hundred times the noise is the least.

    Parameters
    ----------
    table : (grids, quantities) float array, the finest grid last
    sizes : (grids,) float array of cell widths, falling by a factor of 1.3 or more
    noise : error of each value that does not come from the grid (solver), one number or one for each quantity
    slowest : an order that the grids themselves cannot show, see `mesh.pinched_edges`

    Raises
    ------
    ThermsimError : fewer than three grids, sizes that do not fall by 1.3, or a value that is no number
    """
    values, widths = checked(np.asarray(table, float), sizes, grids=3)
    if np.min(widths[:-1] / widths[1:]) < LEAST_RATIO * (1.0 - 1e-9):
        raise ThermsimError(f"grids too alike for a mesh doubt: sizes {widths}, ratios of {LEAST_RATIO} needed")
    floor = np.maximum(noise, ROUND_OFF * np.max(np.abs(values), axis=0))
    order = _order(values, widths)
    e32, e21 = values[-3] - values[-2], values[-2] - values[-1]
    kinds = [
        np.maximum(np.abs(e32), np.abs(e21)) <= 2.0 * floor,
        e32 * e21 < 0.0,
        order < 0.0,
        order < SLOWEST,
        order <= (FASTEST if len(widths) < GRIDS_OF_LIMIT else FASTEST_LIMIT),
    ]
    settles = SETTLES if len(widths) < GRIDS_OF_LIMIT else TO_ITS_LIMIT
    notes = np.select(kinds, [TOO_CLOSE, OSCILLATES, UNSETTLED, SETTLES_SLOWLY, settles], TOO_FAST)
    if len(widths) < GRIDS_OF_LIMIT:
        reported, half_width = values[-1], _of_three(values, widths, order, kinds)
    else:
        drifts = _drifts(values, widths) & (notes != TOO_CLOSE)
        notes = np.where(drifts, UNSETTLED, notes)
        limit, off = _limit(values, widths)
        has_limit = (notes == TO_ITS_LIMIT) | (notes == TOO_FAST)
        reported = np.where(has_limit, limit, values[-1])
        half_width = np.where(has_limit, off, off + np.abs(limit - values[-1]))
        drift = np.abs(e21) / ((widths[-2] / widths[-1]) ** DRIFT_ORDER - 1.0)
        half_width = np.where(drifts, np.maximum(half_width, drift), half_width)
    if slowest is not None:
        creeps = SAFETY_OSCILLATES * _larger(values, widths, slowest) + np.abs(reported - values[-1])
        half_width = np.maximum(half_width, creeps)
    half_width = half_width + floor * np.sum(np.abs(_first_order(widths[-3:] / widths[-1])))
    half_width = np.maximum(half_width, TIMES_NOISE * np.asarray(noise))
    unknown = (notes == TOO_CLOSE) | (notes == OSCILLATES) | ~(np.abs(np.nan_to_num(order)) < 0.9 * FARTHEST_ORDER)
    return [
        Doubt(float(value), float(finest), None if lost else float(p), float(half), str(note))
        for value, finest, lost, p, half, note in zip(
            reported, values[-1], unknown, order, half_width, notes, strict=True
        )
    ]


def limit_weights(sizes: ArrayLike) -> Array:
    """Weights (3,) of the last three grids that make a limit, see `doubts`.

    They are the same for all quantities, so that what adds up on every grid adds up in the limit.
    """
    h = np.asarray(sizes, float)[-3:]
    h = h / h[-1]
    jump, corner = _of_terms(h**2, h**2 * np.log(h)), _of_terms(h ** (4.0 / 3.0), h**2)
    return np.asarray(SHARE_OF_JUMP * jump + (1.0 - SHARE_OF_JUMP) * corner)


def _smooth(h: Array) -> Array:
    """(3,) weights of f0 in f0 + a h^2 through the last two of three grids."""
    grown = float(h[1] / h[2]) ** 2
    return np.array([0.0, -1.0, grown]) / (grown - 1.0)


def _first_order(h: Array) -> Array:
    """(3,) weights of f0 in f0 + a h + b h^2 through three grids."""
    return _of_terms(h, h**2)


def _of_terms(*terms: Array) -> Array:
    return np.asarray(np.linalg.inv(np.stack([np.ones(3), *terms], axis=1))[0])


def _weighted(weights: Array, values: Array) -> Array:
    """Of each quantity, the sum of its last three values; in the same bits however many there are."""
    return np.asarray(weights[0] * values[-3] + weights[1] * values[-2] + weights[2] * values[-1])


def _order(values: Array, widths: Array) -> Array:
    """The order that the last three grids show."""
    r32, r21 = float(widths[-3] / widths[-2]), float(widths[-2] / widths[-1])
    return observed_order(values[-3] - values[-2], values[-2] - values[-1], r32, r21)


def _of_three(values: Array, widths: Array, order: Array, kinds: list[NDArray[np.bool_]]) -> Array:
    """Half widths of the values of the finest of three grids, without noise."""
    h = widths[-3:] / widths[-1]
    r21 = float(h[1])
    e21 = np.abs(values[-2] - values[-1])
    larger = _larger(values, h, 1.0)
    settled = SAFETY_SETTLES * e21 / (r21 ** np.clip(order, SLOWEST, CAUTIOUS_ORDER) - 1.0)
    drift = np.where(np.abs(order) < SLOW_DRIFT, e21 / (r21**DRIFT_ORDER - 1.0), 0.0)
    span, wavy = np.maximum(SAFETY_UNSETTLED * np.ptp(values[-3:], axis=0), drift), SAFETY_OSCILLATES * larger
    found = np.select(kinds, [wavy, wavy, span, span, settled], SAFETY_FAST * larger)
    share = np.select(kinds, [FIRST_ORDER] * len(kinds), FIRST_ORDER_FAST)
    return np.asarray(np.maximum(found, share * np.abs(_weighted(_first_order(h), values) - values[-1])))


def _larger(values: Array, widths: Array, order: float) -> Array:
    """The error of the finest grid by an order, by the last difference or by the one before, whichever is more."""
    r32, r21 = float(widths[-3] / widths[-2]) ** order, float(widths[-2] / widths[-1]) ** order
    e32, e21 = np.abs(values[-3] - values[-2]), np.abs(values[-2] - values[-1])
    return np.asarray(np.maximum(e21, e32 * (r21 - 1.0) / ((r32 - 1.0) * r21)) / (r21 - 1.0))


def _limit(values: Array, widths: Array) -> tuple[Array, Array]:
    """Limit of each quantity, and its half width without noise."""
    h = widths[-3:] / widths[-1]
    limit, before = _weighted(limit_weights(widths), values), _weighted(limit_weights(widths[:-1]), values[:-1])
    departs = np.abs(_weighted(_first_order(h) - _smooth(h), values))
    distance = np.maximum(np.abs(limit - values[-1]), np.abs(values[-2] - values[-1]))
    off = SAFETY_DEPARTS * departs + SAFETY_MOVED * np.abs(limit - before) + SHARE_OF_DISTANCE * distance
    return limit, off


def _drifts(values: Array, widths: Array) -> NDArray[np.bool_]:
    """Whether the last three steps of each quantity are of one sign and equal for the logarithm of the size."""
    steps = np.diff(values[-4:], axis=0) / np.diff(np.log(widths[-4:]))[:, None]
    least, most = np.abs(steps).min(axis=0), np.abs(steps).max(axis=0)
    return np.asarray((np.abs(np.sign(steps).sum(axis=0)) == 3.0) & (least >= EQUAL_STEPS * most))


def checked(table: Array, sizes: ArrayLike, grids: int, exactly: bool = False) -> tuple[Array, Array]:
    """(grids, answers) values and (grids,) cell sizes as arrays. Raises ThermsimError where they make no study."""
    widths = np.asarray(sizes, float)
    count = f"{'' if exactly else 'at least '}{grids} grids"
    if table.ndim != 2 or widths.shape != table.shape[:1] or len(widths) < grids or (exactly and len(widths) > grids):
        raise ThermsimError(f"a convergence study needs {count}; got values {table.shape} and sizes {widths.shape}")
    if not (np.all(np.isfinite(table)) and np.all(widths > 0.0) and np.all(np.diff(widths) < 0.0)):
        raise ThermsimError("a convergence study needs finite values and cell sizes that fall, the finest last")
    return table, widths

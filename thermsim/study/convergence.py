"""Grid convergence: observed order, extrapolated value, and how far a value of the finest grid may be off.

Everywhere: grids stand from coarse to fine, the finest last; `sizes` are representative cell widths in any unit,
falling; h3 > h2 > h1 are the last three, f3, f2, f1 their values, e32 = f3 - f2, e21 = f2 - f1, r32 = h3/h2,
r21 = h2/h1.

`celik` and `eca_hoekstra` follow the literature, for reports that are read beside it. `doubt` is our own, made for
quantities that do not converge with one clean order: temperatures near edges of parts and zones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.errors import ThermsimError

Array = NDArray[np.float64]

LEAST_RATIO = 1.3  # Celik et al. 2008
ROUND_OFF = 4.0 * float(np.finfo(float).eps)  # of a value, relative: differences below it say nothing
FARTHEST_ORDER = 50.0  # stands for "no change left" and, negative, for "no change before"

SAFETY_THREE_GRIDS = 1.25  # Roache 1998, also Celik et al. 2008
SAFETY_UNTRUSTED = 3.0  # Eca and Hoekstra 2014

Behaviour = Literal["settles", "oscillates", "does not settle", "too close to tell"]


# ---- Celik et al. 2008 ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Celik:
    """Three grids by the journal procedure. Ratios, not percent; None where the procedure does not apply.

    Errors are relative to the value itself: use rises over the coolant, not Celsius temperatures.
    """

    behaviour: Behaviour
    order: float | None
    extrapolated: float | None
    approximate_error: float | None  # |(f1 - f2)/f1|
    extrapolated_error: float | None  # |(f_ext - f1)/f_ext|
    gci_fine: float | None
    gci_coarse: float | None
    asymptotic_ratio: float | None  # r21^p GCI21/GCI32, close to 1 in the asymptotic range


def celik(values: Sequence[float], sizes: Sequence[float], noise: float = 0.0) -> Celik:
    """Order, extrapolation and grid convergence index of three grids with unequal ratios.

    p ln r21 = ln|e32/e21| + q(p), q(p) = ln((r21^p - s)/(r32^p - s)), s = sign(e32/e21); solved by bisection.
    f_ext = (r21^p f1 - f2)/(r21^p - 1), GCI21 = 1.25 e_a/(r21^p - 1).
    Source: Celik, Ghia, Roache, Freitas, Coleman, Raad, J. Fluids Eng. 130 (2008) 078001, doi 10.1115/1.2960953.

    noise : error of each value that does not come from the grid; differences within twice of it are too close.
    Raises ThermsimError, with the estimate in its text, if a ratio of sizes is below 1.3.
    """
    table, widths = _checked(np.asarray(values, float)[:, None], sizes, grids=3, exactly=True)
    result = _celik(table[:, 0].tolist(), widths, noise)
    if min(widths[:-1] / widths[1:]) < LEAST_RATIO * (1.0 - 1e-9):
        ratios = f"{widths[0] / widths[1]:.3g} and {widths[1] / widths[2]:.3g}"
        estimate = (
            f"order {_told(result.order)}, extrapolated {_told(result.extrapolated)}, GCI {_told(result.gci_fine)}"
        )
        raise ThermsimError(
            f"grids too alike: ratios {ratios}, {LEAST_RATIO} needed; they would have given {estimate}",
            f"refine each grid by at least {LEAST_RATIO} in every direction",
        )
    return result


def _celik(values: list[float], widths: Array, noise: float) -> Celik:
    f3, f2, f1 = values
    r32, r21 = float(widths[0] / widths[1]), float(widths[1] / widths[2])
    e32, e21 = f3 - f2, f2 - f1
    floor = max(noise, ROUND_OFF * max(abs(f1), abs(f2), abs(f3)))
    if min(abs(e32), abs(e21)) <= 2.0 * floor:
        return Celik("too close to tell", None, None, _ratio(e21, f1), None, None, None, None)
    order = float(observed_order(np.array([e32]), np.array([e21]), r32, r21)[0])
    if order <= 0.0:
        return Celik("does not settle", order, None, _ratio(e21, f1), None, None, None, None)
    grown21, grown32 = r21**order - 1.0, r32**order - 1.0
    extrapolated = f1 - e21 / grown21
    fine = SAFETY_THREE_GRIDS * _ratio(e21, f1) / grown21
    coarse = SAFETY_THREE_GRIDS * _ratio(e32, f2) / grown32
    behaviour: Behaviour = "oscillates" if e32 * e21 < 0.0 else "settles"
    missing = _ratio(extrapolated - f1, extrapolated)
    asymptotic = (grown21 + 1.0) * fine / coarse
    return Celik(behaviour, order, extrapolated, _ratio(e21, f1), missing, fine, coarse, asymptotic)


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


def standard_uncertainty(band: float, reading: Literal["normal", "at least"] = "normal") -> float:
    """Standard uncertainty of a value from its band (a GCI times the value, or the half width of a doubt), same unit.

    The stated rule: a band is meant for 95 %, so "normal" divides by 2 (an error that is normally distributed);
    "at least" divides by 1.15 (an error that all but always has the size of the band, before the factor of safety).
    Say which was taken. Source: ASME V&V 20-2009, section 2, from memory.
    """
    return band / (2.0 if reading == "normal" else 1.15)


def _ratio(part: float, whole: float) -> float:
    return abs(part / whole) if whole != 0.0 else math.inf


def _told(value: float | None) -> str:
    return "none" if value is None else f"{value:.4g}"


# ---- Eca and Hoekstra 2014 --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LeastSquares:
    """Fit of four or more grids. `order` is None for the fit a h + b h^2."""

    extrapolated: float
    order: float | None
    trusted: bool  # the order was observed, within [0.5, 2.1], and the scatter is below the data range
    weighted: bool
    scatter: float  # sigma, standard deviation of the fit
    data_range: float  # (max - min)/(n - 1)
    uncertainty: float  # U of the finest value, meant for 95 %


def eca_hoekstra(values: Sequence[float], sizes: Sequence[float]) -> LeastSquares:
    """Least-squares fit f = f0 + a h^p over four or more grids, and the uncertainty of the finest.

    Fits are made with equal weights and with weights 1/h; the one of less scatter is kept. If p is not within
    [0.5, 2.1]: fits with h and h^2, below 0.5 also with a h + b h^2. With e = |f_fit(h1) - f0|,
    U = Fs e + sigma + |f1 - f_fit(h1)| if sigma is below the data range D, else 3 sigma/D (e + sigma + |f1 - f_fit|);
    Fs = 1.25 for an order that was observed, else 3.
    Source: Eca and Hoekstra, J. Comput. Phys. 262 (2014) 104, from memory.
    """
    table, widths = _checked(np.asarray(values, float)[:, None], sizes, grids=4)
    f = table[:, 0]
    relative = widths / widths[-1]
    fits = [_power_fit(f, relative, weighted) for weighted in (False, True)]
    observed = [fit for fit in fits if fit.order is not None and 0.5 <= fit.order <= 2.1]
    if not observed:
        forms: list[tuple[float, ...]] = [(1.0,), (2.0,)]
        if min(fit.order for fit in fits if fit.order is not None) < 0.5:
            forms.append((1.0, 2.0))
        fits = [_fit(f, relative, powers, weighted, len(powers) + 1) for powers in forms for weighted in (False, True)]
    best = min(observed or fits, key=lambda fit: fit.scatter)
    data_range = float(np.ptp(f)) / (len(f) - 1)
    trusted = bool(observed) and best.scatter < data_range
    error, off = abs(best.finest - best.limit), abs(float(f[-1]) - best.finest)
    if best.scatter < data_range:
        uncertainty = (SAFETY_THREE_GRIDS if trusted else SAFETY_UNTRUSTED) * error + best.scatter + off
    else:
        share = best.scatter / data_range if data_range > 0.0 else 1.0
        uncertainty = SAFETY_UNTRUSTED * share * (error + best.scatter + off)
    uncertainty = max(uncertainty, ROUND_OFF * float(np.max(np.abs(f))))
    return LeastSquares(best.limit, best.order, trusted, best.weighted, best.scatter, data_range, uncertainty)


@dataclass(frozen=True)
class _Fit:
    limit: float  # f0
    finest: float  # f_fit(h1)
    order: float | None
    weighted: bool
    scatter: float


def _power_fit(f: Array, widths: Array, weighted: bool) -> _Fit:
    """Best p of f0 + a h^p: scan, then golden section; f0 and a are linear for each p."""

    def scatter(p: float) -> float:
        return _fit(f, widths, (p,), weighted, 3).scatter

    scanned = [p for p in np.arange(-2.0, 8.01, 0.1).tolist() if abs(p) > 0.05]
    best = min(scanned, key=scatter)
    low, high = best - 0.1, best + 0.1
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(60):
        left, right = high - golden * (high - low), low + golden * (high - low)
        low, high = (low, right) if scatter(left) < scatter(right) else (left, high)
    return _fit(f, widths, (0.5 * (low + high),), weighted, 3)


def _fit(f: Array, widths: Array, powers: tuple[float, ...], weighted: bool, unknowns: int) -> _Fit:
    """Weighted least squares of f0 + sum a_j h^p_j; `unknowns` counts p where it is one."""
    weight = len(f) * (1.0 / widths) / np.sum(1.0 / widths) if weighted else np.ones(len(f))
    columns = np.stack([np.ones(len(f)), *(widths**power for power in powers)], axis=1)
    root = np.sqrt(weight)
    shift = f[-1]  # differences keep their digits
    found = np.linalg.lstsq(columns * root[:, None], (f - shift) * root, rcond=None)[0]
    residual = f - shift - columns @ found
    freedom = max(len(f) - unknowns, 1)
    scatter = math.sqrt(float(np.sum(weight * residual**2)) / freedom)
    order = powers[0] if len(powers) == 1 else None
    return _Fit(float(shift + found[0]), float(shift + columns[-1] @ found), order, weighted, scatter)


# ---- the doubt that every reported quantity carries -------------------------------------------------------------

# Tuned so that at least 95 % of true errors lie inside and the median half width stays below ten true errors, on
# finite-volume solutions of random strips on layered plates (exact answer: flux channel series) and on synthetic
# sequences of order 1 to 2 with an erratic part; tests/test_convergence.py keeps them so. Our own practice, no source.
SLOWEST, FASTEST = 0.5, 2.2  # observed orders that are believed
CAUTIOUS_ORDER = 1.3  # three grids: an observed order above it is not used, temperatures near edges do not hold it
CONFIRMED_ORDER = 1.7  # four grids whose two observed orders agree
AGREEMENT, CONFIRMED_LEAST = 0.5, 0.8
SECOND_ORDER, SECOND_LEAST, SECOND_AGREEMENT = 2.0, 1.5, 0.4  # ... closely, at the order of the scheme
OVER_NOISE = 100.0  # a doubt is never told to be smaller than so many errors of the solver
SAFETY_SETTLES, SAFETY_FAST, SAFETY_OSCILLATES, SAFETY_UNSETTLED = 1.75, 1.1, 1.5, 2.5
SAFETY_SECOND = 1.5

SETTLES = "settles"
SETTLES_SLOWLY = "settles slowly"
UNSETTLED = "does not settle"
OSCILLATES = "oscillates"
TOO_FAST = "settles (faster than expected; judged with caution)"
TOO_CLOSE = "grids too close to tell"


@dataclass(frozen=True)
class Doubt:
    """A value of the finest grid and how far the grid may hold it from the truth: value +- half_width.

    order : as observed; None where differences change sign or say nothing
    extrapolated : better guess of the truth where the sequence settles, else the value itself
    note : how the sequence behaves, in plain words
    """

    value: float
    extrapolated: float
    order: float | None
    half_width: float
    note: str


def doubt(values: Sequence[float], sizes: Sequence[float], noise: float = 0.0) -> Doubt:
    """The doubt of one quantity from three or more grids, see `doubts`."""
    return doubts(np.asarray(values, float)[:, None], sizes, noise)[0]


def doubts(table: ArrayLike, sizes: ArrayLike, noise: ArrayLike = 0.0) -> list[Doubt]:
    """The doubt of each quantity.

    The error left at the finest grid, if it were of order p, is |e21|/(r21^p - 1) by the last difference and
    |e32|/((r32^p - 1) r21^p) by the one before; larger(p) is the larger of the two. The half width is

        order 0.5 to 2.2           1.75 |e21|/(r21^p - 1), p at most 1.3, or 1.7 if a fourth grid confirms the order
        ... both 1.5 to 2.2, alike 1.5 |e21|/(r21^p - 1), p the smaller of both, at most 2
        order above 2.2            1.1 larger(1): a small last difference may be luck
        differences change sign    1.5 larger(1)
        order below 0.5            2.5 times the range of the last three values

    and in each case the noise, as much as extrapolation magnifies it, and a hundred times the noise at least. An
    error that turns round between the grids (two parts of opposite sign, one in twenty of our synthetic sequences) is
    held in only about half of its cases.

    Parameters
    ----------
    table : (grids, quantities) float array, the finest grid last
    sizes : (grids,) float array of cell widths, falling by a factor of 1.3 or more
    noise : error of each value that does not come from the grid (solver), one number or one for each quantity

    Raises
    ------
    ThermsimError : fewer than three grids, sizes that do not fall by 1.3, or a value that is no number
    """
    values, widths = _checked(np.asarray(table, float), sizes, grids=3)
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
    half_width = np.maximum(half_width + floor * (1.0 + 2.0 / (r21 - 1.0)), OVER_NOISE * np.asarray(noise))
    notes = np.select(kinds, [TOO_CLOSE, OSCILLATES, UNSETTLED, SETTLES_SLOWLY, SETTLES], TOO_FAST)
    steps = e21 / (r21 ** np.clip(np.nan_to_num(order), SLOWEST, 2.0) - 1.0)
    unknown = (notes == TOO_CLOSE) | (notes == OSCILLATES) | ~(np.abs(np.nan_to_num(order)) < 0.9 * FARTHEST_ORDER)
    ends = np.where((notes == SETTLES) | (notes == TOO_FAST), values[-1] - steps, values[-1])
    return [
        Doubt(float(value), float(end), None if lost else float(p), float(half), str(note))
        for value, end, lost, p, half, note in zip(values[-1], ends, unknown, order, half_width, notes, strict=True)
    ]


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


def _checked(table: Array, sizes: ArrayLike, grids: int, exactly: bool = False) -> tuple[Array, Array]:
    widths = np.asarray(sizes, float)
    count = f"{'' if exactly else 'at least '}{grids} grids"
    if table.ndim != 2 or widths.shape != table.shape[:1] or len(widths) < grids or (exactly and len(widths) > grids):
        raise ThermsimError(f"a convergence study needs {count}; got values {table.shape} and sizes {widths.shape}")
    if not (np.all(np.isfinite(table)) and np.all(widths > 0.0) and np.all(np.diff(widths) < 0.0)):
        raise ThermsimError("a convergence study needs finite values and cell sizes that fall, the finest last")
    return table, widths

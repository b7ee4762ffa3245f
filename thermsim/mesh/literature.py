"""What the literature makes of grids: order, extrapolated value and uncertainty, for reports that are read beside it.

Everywhere: grids stand from coarse to fine, the finest last; `sizes` are representative cell widths in any unit,
falling; h3 > h2 > h1 are the last three, f3, f2, f1 their values, e32 = f3 - f2, e21 = f2 - f1, r32 = h3/h2,
r21 = h2/h1. Our own doubt is that of `thermsim.mesh.convergence`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import ThermsimError
from thermsim.mesh.convergence import LEAST_RATIO, ROUND_OFF, checked, observed_order

Array = NDArray[np.float64]

SAFETY_THREE_GRIDS = 1.25  # safety factor of Roache 1998, also in Celik et al. 2008
SAFETY_UNTRUSTED = 3.0  # safety factor of Eca and Hoekstra 2014 where an order is not trusted

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
    table, widths = checked(np.asarray(values, float)[:, None], sizes, grids=3, exactly=True)
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
    table, widths = checked(np.asarray(values, float)[:, None], sizes, grids=4)
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
    """Best p of f0 + a h^p: scan, then Brent's search; f0 and a are linear for each p."""

    def scatter(p: float) -> float:
        return _fit(f, widths, (p,), weighted, 3).scatter

    scanned = [p for p in np.arange(-2.0, 8.01, 0.1).tolist() if abs(p) > 0.05]
    best = min(scanned, key=scatter)
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(scatter, bounds=(best - 0.1, best + 0.1), method="bounded", options={"xatol": 1e-12})
    return _fit(f, widths, (float(found.x),), weighted, 3)


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

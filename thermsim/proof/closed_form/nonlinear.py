"""What depends on temperature, in closed form: slabs with k(T), and leakage that heats itself.

Temperatures of a slab are absolute [K]; those of leakage are [C].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from thermsim.errors import RunawayError


def power_law_slab_top(
    flux: float, thickness: float, cold_K: float, conductivity: float, at_K: float, exponent: float
) -> float:
    """Heated face [K] of a slab with k = k0 (T0/T)^n under `flux` [W/m2], its other face at `cold_K` [K].

    Kirchhoff's transform: T^(1-n) = Tb^(1-n) - q L (n-1)/(k0 T0^n); for n = 1, T = Tb exp(q L/(k0 T0)).
    Written as T = Tb exp(-log1p(-m s)/m) with m = n - 1, s = q L/(k0 T0) (Tb/T0)^m, which holds for m near 0.
    Source: Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 1.6.
    Raises RunawayError where no finite temperature carries the flux (n > 1).
    """
    over = exponent - 1.0
    scale = flux * thickness / (conductivity * at_K) * (cold_K / at_K) ** over
    if over * scale >= 1.0:
        raise RunawayError("the conductivity falls too fast with temperature to carry this flux at all")
    return float(cold_K * math.exp(scale if over == 0.0 else -math.log1p(-over * scale) / over))


def linear_law_slab_flux(
    thickness: float, hot_K: float, cold_K: float, conductivity: float, at_K: float, per_K: float
) -> float:
    """Flux [W/m2] through a slab with k = k0 (1 + b (T - T0)) between two face temperatures [K].

    q = k(mean) (T1 - T2)/L, because k is linear (Incropera et al., 6th ed., problem class of section 3.2).
    """
    mean = conductivity * (1.0 + per_K * ((hot_K + cold_K) / 2.0 - at_K))
    return mean * (hot_K - cold_K) / thickness


def linear_law_slab_inside(fraction: float, hot_K: float, cold_K: float, at_K: float, per_K: float) -> float:
    """Temperature [K] at `fraction` of the way from the hot to the cold face of the same slab.

    theta = (T - T0) + b (T - T0)^2/2 falls in a straight line; it is solved for T.
    """
    hot, cold = (t - at_K + per_K * (t - at_K) ** 2 / 2.0 for t in (hot_K, cold_K))
    theta = hot + fraction * (cold - hot)
    return at_K + 2.0 * theta / (1.0 + math.sqrt(1.0 + 2.0 * per_K * theta))


@dataclass(frozen=True)
class Leakage:
    """P = at_set_W exp((T - set_C)/slope_K); it doubles over slope_K ln 2.

    An exponential over 20 to 85 C is supported by De Vogeleer et al., arXiv:1404.3381.
    """

    at_set_W: float
    set_C: float
    slope_K: float

    @classmethod
    def doubling(cls, at_set_W: float, set_C: float, doubling_K: float) -> Leakage:
        """Leakage [W] that doubles with every `doubling_K`, known at one temperature [C]."""
        return cls(at_set_W, set_C, doubling_K / math.log(2.0))

    def power(self, temperature_C: float) -> float:
        """Leakage [W]."""
        return self.at_set_W * math.exp((temperature_C - self.set_C) / self.slope_K)


@dataclass(frozen=True)
class LeakageBalance:
    """Where leakage and cooling of one body meet."""

    stable_C: float
    unstable_C: float  # beyond this temperature the body heats itself without end
    leakage_W: float  # at the stable one


def leakage_balance(coolant_C: float, resistance: float, dynamic_W: float, leakage: Leakage) -> LeakageBalance:
    """Both solutions of T = Ta + R (Pd + P0 exp((T - T0)/s)).

    With A = (R P0/s) exp((Ta + R Pd - T0)/s): T = Ta + R Pd - s W(-A), W0 the stable branch of
    Lambert's function, W-1 the other (Corless et al., Adv. Comput. Math. 5 (1996) 329).
    Raises RunawayError, with the limit of R, if A > 1/e.
    """
    from scipy.special import lambertw

    base = coolant_C + resistance * dynamic_W
    start = resistance * leakage.at_set_W / leakage.slope_K * math.exp((base - leakage.set_C) / leakage.slope_K)
    if start > math.exp(-1.0):
        limit = leakage_limit(coolant_C, dynamic_W, leakage)
        raise RunawayError(
            f"no steady temperature: {resistance:.6g} K/W is above the limit of {limit.resistance_K_W:.6g} K/W",
            "less power or a better path to the coolant",
        )
    low, high = (base - leakage.slope_K * float(lambertw(-start, branch).real) for branch in (0, -1))
    return LeakageBalance(low, high, leakage.power(low))


@dataclass(frozen=True)
class LeakageLimit:
    """The worst cooling at which one body with leakage still has a steady state."""

    resistance_K_W: float
    temperature_C: float  # of the body at the limit, where both solutions meet


def leakage_limit(coolant_C: float, dynamic_W: float, leakage: Leakage) -> LeakageLimit:
    """Largest resistance to the coolant [K/W] that still has a steady state: A = 1/e, where R dP/dT = 1.

    With g = (P0/s) exp((Ta - T0)/s) and r = Pd/s: (R r) exp(R r) = r/(e g), so R = W0(r/(e g))/r.
    """
    from scipy.special import lambertw

    growth = leakage.at_set_W / leakage.slope_K * math.exp((coolant_C - leakage.set_C) / leakage.slope_K)
    ratio = dynamic_W / leakage.slope_K
    at_limit = 1.0 / (math.e * growth)
    resistance = float(lambertw(ratio * at_limit).real) / ratio if ratio > 0.0 else at_limit
    return LeakageLimit(resistance, coolant_C + resistance * dynamic_W + leakage.slope_K)


def linear_leakage_temperature(
    coolant_C: float, resistance: float, dynamic_W: float, at_set_W: float, set_C: float, per_K: float
) -> float:
    """Temperature [C] with leakage P0 (1 + b (T - T0)): [Ta + R (Pd + P0 (1 - b T0))]/(1 - R b P0).

    Raises RunawayError at and beyond R = 1/(b P0).
    """
    gain = resistance * per_K * at_set_W
    if gain >= 1.0:
        raise RunawayError(f"no steady temperature: the limit is {1.0 / (per_K * at_set_W):.6g} K/W")
    return (coolant_C + resistance * (dynamic_W + at_set_W * (1.0 - per_K * set_C))) / (1.0 - gain)

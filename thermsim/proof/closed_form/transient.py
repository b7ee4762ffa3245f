"""Bodies in time: half space and slabs as exact series, lumped bodies and the coolant loop.

Fo = alpha t/L^2 and Bi = h L/k throughout.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.errors import ThermsimError

Array = NDArray[np.float64]

DECAY = 40.0  # exponent from which on a term of a series is left out: exp(-40) = 4e-18
MOST_TERMS = 20_000


def half_space_flux(
    time_s: ArrayLike, depth_m: ArrayLike, flux: float, conductivity: float, density: float, heat_capacity: float
) -> Array:
    """Rise [K] of a half space whose face takes up `flux` [W/m2] from time 0; arrays broadcast.

    (2q/k) sqrt(alpha t/pi) exp(-x^2/(4 alpha t)) - (q x/k) erfc(x/(2 sqrt(alpha t)))
    Source: Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 2.9.
    """
    from scipy.special import erfc

    x = np.asarray(depth_m, float)
    reach = np.sqrt(conductivity / (density * heat_capacity) * np.asarray(time_s, float))
    steep = 2.0 * reach / math.sqrt(math.pi) * np.exp(-((x / (2.0 * reach)) ** 2))
    return np.asarray(flux / conductivity * (steep - x * erfc(x / (2.0 * reach))))


def slab_roots(biot: float, count: int) -> Array:
    """First `count` positive roots of zeta tan zeta = Bi: one lies in each (n pi, n pi + pi/2)."""
    from scipy.optimize import brentq

    def balance(zeta: float) -> float:
        return zeta * math.sin(zeta) - biot * math.cos(zeta)

    return np.array([brentq(balance, n * math.pi, (n + 0.5) * math.pi, xtol=1e-300) for n in range(count)])


def slab_cooling(fourier: float, place: ArrayLike, biot: float) -> Array:
    """(T - Tfluid)/(Ti - Tfluid) of a slab with films on both sides (or one, the other insulated).

    `place` 0 is the mid-plane or the insulated face, 1 the wetted face; L is the half thickness.
    theta = sum C exp(-z^2 Fo) cos(z place), C = 4 sin z/(2 z + sin 2z), z tan z = Bi
    Source: Incropera et al., 6th ed., eq. 5.39; Carslaw and Jaeger, section 3.11.
    """
    z = slab_roots(biot, _terms(fourier))
    weight = 4.0 * np.sin(z) / (2.0 * z + np.sin(2.0 * z)) * np.exp(-(z**2) * fourier)
    return np.asarray(np.cos(np.multiply.outer(np.asarray(place, float), z)) @ weight)


def slab_heating(fourier: float, place: ArrayLike, biot: float) -> Array:
    """(T - Tfluid) k/(q L) of a slab, at fluid temperature at first, heated by q on one face, film on the other.

    `place` 0 is the heated face, 1 the wetted one.
    theta = 1 - place + 1/Bi - sum 4/(z (2 z + sin 2z)) exp(-z^2 Fo) cos(z place), z tan z = Bi
    Source: Carslaw and Jaeger, section 3.11 (steady part less the cooling of its difference), worked out by us.
    """
    x = np.asarray(place, float)
    z = slab_roots(biot, _terms(fourier))
    weight = 4.0 / (z * (2.0 * z + np.sin(2.0 * z))) * np.exp(-(z**2) * fourier)
    return np.asarray(1.0 - x + 1.0 / biot - np.cos(np.multiply.outer(x, z)) @ weight)


def _terms(fourier: float) -> int:
    count = int(math.sqrt(DECAY / fourier) / math.pi) + 2
    if count > MOST_TERMS:
        raise ThermsimError(f"Fo {fourier:g} is too early for a series", "use the half space, exact for Fo below 0.1")
    return count


def lumped_cooling(time_s: ArrayLike, time_constant_s: float) -> Array:
    """(T - Tfluid)/(Ti - Tfluid) of a body at one temperature: exp(-t/tau), tau = rho c V/(h A)."""
    return np.asarray(np.exp(-np.asarray(time_s, float) / time_constant_s))


def loop_temperature(
    time_s: ArrayLike, power_W: float, heat_capacity_J_K: float, radiator_W_K: float, room_C: float, start_C: float
) -> Array:
    """Coolant [C]: C dT/dt = P - UA (T - room), from `start_C` (energy balance of one well-mixed body)."""
    final = room_C + power_W / radiator_W_K
    return np.asarray(final + (start_C - final) * lumped_cooling(time_s, heat_capacity_J_K / radiator_W_K))


class TwoNodeLoop(NamedTuple):
    """Block with die (C_p) that gives its heat over R_p to the coolant (C_l), and that to the room by UA."""

    block_J_K: float
    block_to_coolant_K_W: float
    coolant_J_K: float
    radiator_W_K: float

    def time_constants(self) -> tuple[float, float]:
        """Fast and slow [s]: -1/eigenvalues, the slower from the determinant so that it loses no digits."""
        fast, determinant = self._modes()
        return -1.0 / fast, -fast / determinant

    def temperatures(self, time_s: ArrayLike, power_W: float, room_C: float) -> tuple[Array, Array]:
        """Block and coolant [C] after the power is switched on, both at room temperature before.

        x(t) = x_inf - (e^{l1 t}(A - l2) - e^{l2 t}(A - l1)) x_inf/(l1 - l2), Sylvester's formula for exp(A t).
        """
        fast, determinant = self._modes()
        slow = determinant / fast
        a, b, c, d = self._matrix()
        coolant = power_W / self.radiator_W_K
        block = coolant + power_W * self.block_to_coolant_K_W
        t = np.asarray(time_s, float)
        early, late = np.exp(fast * t) / (fast - slow), np.exp(slow * t) / (fast - slow)
        block_left = early * ((a - slow) * block + b * coolant) - late * ((a - fast) * block + b * coolant)
        coolant_left = early * (c * block + (d - slow) * coolant) - late * (c * block + (d - fast) * coolant)
        return np.asarray(room_C + block - block_left), np.asarray(room_C + coolant - coolant_left)

    def _matrix(self) -> tuple[float, float, float, float]:
        link = 1.0 / self.block_to_coolant_K_W
        return (-link / self.block_J_K, link / self.block_J_K,
                link / self.coolant_J_K, -(link + self.radiator_W_K) / self.coolant_J_K)  # fmt: skip

    def _modes(self) -> tuple[float, float]:
        """The more negative eigenvalue [1/s] and the determinant [1/s2]."""
        a, b, c, d = self._matrix()
        fast = 0.5 * (a + d) - math.sqrt(0.25 * (a - d) ** 2 + b * c)
        return fast, self.radiator_W_K / (self.block_to_coolant_K_W * self.block_J_K * self.coolant_J_K)


def bar_with_a_swinging_end(
    place: float, time_s: float, length_m: float, diffusivity: float, period_s: float, terms: int = 4000
) -> float:
    """Temperature for an amplitude of 1 in a bar at zero, one end held there, the other at sin(2 pi t / period).

    place : from the held end, share of the length

    Duhamel's integral over the series of a step: Carslaw and Jaeger, section 3.5 (from memory).
    """
    number, turn = np.arange(1, terms + 1), 2.0 * np.pi / period_s
    rate = diffusivity * (number * np.pi / length_m) ** 2
    weight = 2.0 * (-1.0) ** (number + 1) / (number * np.pi)
    swing = rate * np.cos(turn * time_s) + turn * np.sin(turn * time_s) - rate * np.exp(-rate * time_s)
    late = turn * swing / (rate**2 + turn**2)
    return float(np.sin(turn * time_s) * place - np.sum(weight * late * np.sin(number * np.pi * place)))

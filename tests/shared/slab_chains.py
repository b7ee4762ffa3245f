"""Uniform stacks solved in one dimension, without any part of the program: what depends on temperature, in closed form.

A stack whose parts are all of one size, cooled over whole faces, carries heat along z only. With Kirchhoff's transform
theta(T) = integral of k dT (Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 1.6) a slab of
thickness L under a flux q takes theta(T_hot) - theta(T_cold) = q L, and a joint or film T_hot - T_cold = q R''. With
heat p P f(T) made in one face at T, and the fluxes up and down that this temperature drives,

    p(T) = (q_up(T) + q_down(T)) / (P f(T)),

so the steady state at a power p is the lowest root of p(T) = p, and the limit of thermal runaway the maximum of p(T).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from stacks import case_of, film, joint, part

from thermsim.case.vocabulary.schema import Case

ZERO_C = 273.15
SIDE_MM = 10.0
AREA = 1e-6 * SIDE_MM**2
HOTTEST_C = 2000.0  # where the search for a limit ends


@dataclass(frozen=True)
class Constant:
    k: float

    def theta(self, celsius: float) -> float:
        return self.k * celsius

    def inverse(self, theta: float) -> float:
        return theta / self.k

    @property
    def given(self) -> Any:
        return self.k


@dataclass(frozen=True)
class Power:
    """k = k0 (T0/T)^n, n below 1, so that every flux is carried.

    Continued as an odd function below absolute zero: a search for a root may begin there, and needs a rising function.
    """

    k0: float
    at_C: float
    exponent: float

    def theta(self, celsius: float) -> float:
        kelvin, m = celsius + ZERO_C, 1.0 - self.exponent
        return math.copysign(self.k0 * (self.at_C + ZERO_C) ** self.exponent * abs(kelvin) ** m / m, kelvin)

    def inverse(self, theta: float) -> float:
        m = 1.0 - self.exponent
        kelvin = (abs(theta) * m / (self.k0 * (self.at_C + ZERO_C) ** self.exponent)) ** (1.0 / m)
        return math.copysign(kelvin, theta) - ZERO_C

    @property
    def given(self) -> Any:
        return {"value": self.k0, "at_C": self.at_C, "exponent": self.exponent}


@dataclass(frozen=True)
class Table:
    """Straight lines between points (C, W/mK), constant outside."""

    points: tuple[tuple[float, float], ...]

    def theta(self, celsius: float) -> float:
        (first, k), whole = self.points[0], 0.0
        if celsius <= first:
            return k * (celsius - first)
        for (t0, k0), (t1, k1) in zip(self.points, self.points[1:], strict=False):
            to = min(celsius, t1)
            middle = k0 + (k1 - k0) * (0.5 * (t0 + to) - t0) / (t1 - t0)
            whole += middle * (to - t0)
            if celsius <= t1:
                return whole
        return whole + self.points[-1][1] * (celsius - self.points[-1][0])

    def inverse(self, theta: float) -> float:
        least = min(k for _, k in self.points)
        guess = self.points[0][0] + theta / max(k for _, k in self.points)
        other = self.points[0][0] + theta / least
        low, high = min(guess, other), max(guess, other)
        if high - low < 1e-12:
            return low
        return float(brentq(lambda t: self.theta(t) - theta, low - 1e-6, high + 1e-6, xtol=1e-12, rtol=1e-15))

    @property
    def given(self) -> Any:
        return {"table": [list(point) for point in self.points]}


Law = Constant | Power | Table


@dataclass(frozen=True)
class Slab:
    thickness_mm: float
    law: Law


@dataclass(frozen=True)
class Leak:
    """Factor on power: linear in T, or a share that doubles."""

    at_C: float
    per_K: float = 0.0
    share: float = 0.0
    doubling_K: float = 1.0

    def factor(self, celsius: float) -> float:
        if self.share == 0.0:
            return 1.0 + self.per_K * (celsius - self.at_C)
        return 1.0 - self.share + self.share * float(np.exp2((celsius - self.at_C) / self.doubling_K))

    @property
    def given(self) -> dict[str, float]:
        if self.share == 0.0:
            return {"at_C": self.at_C, "per_K": self.per_K}
        return {"at_C": self.at_C, "share": self.share, "doubling_K": self.doubling_K}


@dataclass(frozen=True)
class Way:
    """From the heated face outwards: slabs [Slab] and joints [m2K/W], and the film [W/m2K] and fluid [C] at the end."""

    steps: tuple[Slab | float, ...]
    film: float
    fluid_C: float

    def face_C(self, flux: float) -> float:
        """Temperature of the heated face [C] that drives a flux [W/m2] outwards."""
        at = self.fluid_C + flux / self.film
        for step in reversed(self.steps):
            if isinstance(step, Slab):
                at = step.law.inverse(step.law.theta(at) + 1e-3 * step.thickness_mm * flux)
            else:
                at += step * flux
        return at

    def flux(self, face_C: float) -> float:
        """[W/m2] outwards from a heated face [C]."""
        span = face_C - self.fluid_C
        if span == 0.0:
            return 0.0
        most = self.film * span  # all of the drop over the film
        return float(brentq(lambda q: self.face_C(q) - face_C, 0.0, most * (1 + 1e-9), xtol=1e-9, rtol=1e-14))


@dataclass(frozen=True)
class Chain:
    """A uniform stack with heat in one face of one part; `below` is None where the bottom is insulated."""

    slabs: tuple[Slab, ...]
    joints: tuple[float, ...]  # [m2K/W] over each slab but the last; zero where parts touch
    heated: int
    at: str  # bottom | top
    leak: Leak
    watts: float  # at the temperature of the leakage law
    up: tuple[float, float]
    down: tuple[float, float] | None

    @cached_property
    def ways(self) -> tuple[Way, ...]:
        first_up = self.heated + (self.at == "top")  # the first slab above the heated face
        up: list[Slab | float] = []
        for number in range(first_up, len(self.slabs)):
            if number > 0 and not (number == first_up and self.at == "bottom"):
                up.append(self.joints[number - 1])
            up.append(self.slabs[number])
        found = [Way(tuple(up), *self.up)]
        if self.down is not None:
            down: list[Slab | float] = []
            for number in range(first_up - 1, -1, -1):
                if not (number == first_up - 1 and self.at == "top"):
                    down.append(self.joints[number])
                down.append(self.slabs[number])
            found.append(Way(tuple(down), *self.down))
        return tuple(found)

    @property
    def coldest_C(self) -> float:
        return min(way.fluid_C for way in self.ways)

    def power(self, face_C: float) -> float:
        """Share of the power that holds the heated face at this temperature."""
        return AREA * sum(way.flux(face_C) for way in self.ways) / (self.watts * self.leak.factor(face_C))

    @cached_property
    def limit(self) -> tuple[float, float] | None:
        """The largest share of the power that has a steady state, and the face there [C]; None where it is not plain.

        Not plain: no maximum below HOTTEST_C, or more than one rise to it.
        """
        start = self._idle_C() + 1e-6
        grid = start + np.geomspace(0.1, HOTTEST_C - start, 400)
        shares = np.array([self.power(float(at)) for at in grid])
        top = int(np.argmax(shares))
        if top == len(grid) - 1 or np.any(np.diff(shares[: top + 1]) <= 0.0) or np.any(np.diff(shares[top:]) >= 0.0):
            return None
        found = minimize_scalar(
            lambda at: -self.power(at), bounds=(grid[top - 1], grid[top + 1]), method="bounded", options={"xatol": 1e-7}
        )
        return float(-found.fun), float(found.x)

    def face_at(self, share: float) -> float:
        """The heated face [C] in the stable steady state at a share of the power."""
        high = HOTTEST_C if self.limit is None else self.limit[1]
        return float(brentq(lambda at: self.power(at) - share, self._idle_C(), high, xtol=1e-12, rtol=1e-15))

    def _idle_C(self) -> float:
        """The heated face without power."""
        fluids = [way.fluid_C for way in self.ways]
        if min(fluids) == max(fluids):
            return fluids[0]
        out = lambda at: sum(way.flux(at) for way in self.ways)  # noqa: E731
        return float(brentq(out, min(fluids), max(fluids), xtol=1e-12))

    def case(self, share: float, **more: Any) -> Case:
        """The same stack as a case, at a share of the power."""
        layers: list[dict[str, Any]] = []
        for number, slab in enumerate(self.slabs):
            if number > 0 and self.joints[number - 1] > 0.0:
                layers.append(joint(f"joint {number}", 1e6 * self.joints[number - 1]))
            material = {"conductivity_W_mK": slab.law.given}
            layers.append(part(f"part {number}", [SIDE_MM, SIDE_MM], slab.thickness_mm, material))
        name = f"part {self.heated}"
        zones = [{"zone": "heat", "power_W": share * self.watts}]
        heat = [{"in": name, "at": self.at, "leakage": self.leak.given, "zones": zones}]
        cooling = [film("top", *self.up)]
        if self.down is not None:
            cooling.append(film("bottom", *self.down))
        return case_of(layers, heat, cooling, **more)


def random_chain(random: np.random.Generator, tables: float = 0.5) -> Chain:
    """A stack of two to five parts. tables : how likely each conductivity is a table"""

    def between(low: float, high: float) -> float:
        return float(f"{np.exp(random.uniform(np.log(low), np.log(high))):.5g}")

    def law() -> Law:
        if random.random() < tables:
            at = np.sort(random.uniform(-20.0, 250.0, int(random.integers(2, 7))))
            at = np.round(at + 3.0 * np.arange(len(at)), 2)
            return Table(tuple((float(t), between(4.0, 400.0)) for t in at))
        if random.random() < 0.5:
            return Power(between(5.0, 400.0), 27.0, float(f"{random.uniform(-0.5, 0.95):.4g}"))
        return Constant(between(1.0, 400.0))

    slabs = tuple(Slab(between(0.1, 4.0), law()) for _ in range(int(random.integers(2, 6))))
    joints = tuple(between(1.0, 60.0) * 1e-6 if random.random() < 0.7 else 0.0 for _ in slabs[1:])
    if random.random() < 0.75:
        leak = Leak(60.0, share=float(f"{random.uniform(0.05, 0.6):.3g}"), doubling_K=between(12.0, 60.0))
    else:
        leak = Leak(60.0, per_K=between(0.002, 0.02))
    cold = float(f"{random.uniform(5.0, 40.0):.4g}")
    down = (between(10.0, 5000.0), float(f"{random.uniform(5.0, 40.0):.4g}")) if random.random() < 0.5 else None
    heated = int(random.integers(0, len(slabs)))
    at = "bottom" if random.random() < 0.5 else "top"
    return Chain(slabs, joints, heated, at, leak, between(20.0, 200.0), (between(3000.0, 60000.0), cold), down)

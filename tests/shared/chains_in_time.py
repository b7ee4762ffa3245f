"""Uniform stacks in time, without any part of the program: two-ports in the Laplace domain, inverted numerically.

A stack whose parts are all of one size, cooled over whole faces, carries heat along z only. In the Laplace domain a
slab of thickness L, conductivity k and diffusivity alpha is a two-port with q = sqrt(s/alpha); seen from its inner face
it takes up

    Y_in = k q (Y + k q tanh q L)/(k q + Y tanh q L),      Y what the next one outwards takes up,

and a joint Y_in = 1/(1/Y + R''). A plane heated by a flux p from time 0 on rises by p/s / (Y_up + Y_down). Source:
Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 3.7, from memory. Inverted on the contour of
Weideman and Trefethen, Mathematics of Computation 76 (2007) 1341, from memory; held against mpmath by the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from stacks import case_of, film, joint, part

from thermsim.case.vocabulary.schema import Case

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MM, MICRON = 1e-3, 1e-6
NODES = 24  # of the contour: each gains a factor of about 3.9
RISES_K = 10.0, 120.0  # [K] of the heated plane at its end, to which powers are scaled


def inverted(transform: Any, times: Array) -> Array:
    """(n,) function of time [s] whose Laplace transform has no singularity off the negative real axis."""
    angle = np.pi * ((2.0 * np.arange(NODES) + 1.0) / NODES - 1.0)
    turn, span = 0.6407 * angle, NODES / times[:, None]
    s = span * (0.5017 * angle / np.tan(turn) - 0.6122 + 0.2645j * angle)
    along = span * (0.5017 / np.tan(turn) - 0.5017 * turn / np.sin(turn) ** 2 + 0.2645j)
    return np.asarray((np.exp(s * times[:, None]) * transform(s) * along / (1j * NODES)).sum(axis=1).real)


@dataclass(frozen=True)
class Slab:
    """A part, or a joint whose film stores heat. joint : whether it is one"""

    thickness_m: float
    conductivity: float  # [W/mK]
    density: float  # [kg/m3]
    heat_capacity: float  # [J/kgK]
    joint: bool = False

    def own(self, s: Complex) -> tuple[Complex, Complex]:
        """k q, and q."""
        q = np.sqrt(s * (self.density * self.heat_capacity / self.conductivity))
        return self.conductivity * q, q

    def taken_up(self, s: Complex, beyond: Complex) -> Complex:
        """[W/m2K] of its inner face. beyond : of its outer one"""
        kq, q = self.own(s)
        tanh = np.tanh(q * self.thickness_m)
        return np.asarray(kq * (beyond + kq * tanh) / (kq + beyond * tanh))

    def passed(self, s: Complex, beyond: Complex, depth_m: float) -> Complex:
        """Temperature at a depth under its inner face over that of this face."""
        kq, q = self.own(s)
        rest, whole = np.exp(-2.0 * q * (self.thickness_m - depth_m)), np.exp(-2.0 * q * self.thickness_m)
        y = beyond / kq
        return np.asarray(
            np.exp(-q * depth_m) * ((1.0 + rest) + y * (1.0 - rest)) / ((1.0 + whole) + y * (1.0 - whole))
        )


@dataclass(frozen=True)
class Joint:
    """A joint that stores nothing."""

    resistance: float  # [m2K/W]

    def taken_up(self, s: Complex, beyond: Complex) -> Complex:
        return np.asarray(beyond / (1.0 + self.resistance * beyond))

    def passed(self, s: Complex, beyond: Complex, depth_m: float = 0.0) -> Complex:
        return np.asarray(1.0 / (1.0 + self.resistance * beyond))


@dataclass(frozen=True)
class ChainInTime:
    """A uniform stack, from the bottom up, with heat in one face of one part.

    steps : parts and joints; heated : the number of the step that is heated; at : on which side
    films : [W/m2K] of bottom and top, zero where insulated; probe : number of a part, and height in it [m]
    """

    side_mm: float
    steps: tuple[Slab | Joint, ...]
    heated: int
    at: str  # bottom | top
    films: tuple[float, float]
    watts: float
    probe: tuple[int, float]

    @cached_property
    def area(self) -> float:
        """[m2]"""
        return (MM * self.side_mm) ** 2

    @property
    def split(self) -> int:
        """The first step above the heated plane."""
        return self.heated + (self.at == "top")

    def _way(self, up: bool) -> tuple[list[int], float]:
        """Numbers of the steps outwards from the heated plane, and the film at the end."""
        if up:
            return list(range(self.split, len(self.steps))), self.films[1]
        return list(range(self.split - 1, -1, -1)), self.films[0]

    def _taken_up(self, s: Complex, up: bool) -> list[Complex]:
        """Of the inner face of each step of a way, and of its end."""
        way, end = self._way(up)
        found = [np.full(s.shape, end, dtype=np.complex128)]
        for number in reversed(way):
            found.insert(0, self.steps[number].taken_up(s, found[0]))
        return found

    def plane(self, s: Complex) -> Complex:
        """Transform of the rise [K] of the heated plane."""
        flux = self.watts / self.area
        return np.asarray(flux / s / (self._taken_up(s, True)[0] + self._taken_up(s, False)[0]))

    def at_probe(self, s: Complex) -> Complex:
        """Transform of the rise [K] of the probe."""
        number, height = self.probe
        up = number >= self.split
        slab, found = self.steps[number], self.plane(s)
        assert isinstance(slab, Slab)
        beyond = self._taken_up(s, up)[1:]
        for step, taken_up in zip(self._way(up)[0], beyond, strict=True):
            if step == number:
                return np.asarray(found * slab.passed(s, taken_up, height if up else slab.thickness_m - height))
            one = self.steps[step]
            found = found * one.passed(s, taken_up, one.thickness_m if isinstance(one, Slab) else 0.0)
        raise AssertionError("the probe lies in no step")

    def rises(self, times: Array) -> dict[tuple[str, ...], Array]:
        """(n,) [K] of all temperatures that are asked for."""
        plane = inverted(self.plane, times)
        known = {("zone", "heat", "mean"): plane, ("zone", "heat", "highest"): plane, ("hottest",): plane}
        return {**known, ("probe", "anywhere"): inverted(self.at_probe, times)}

    @cached_property
    def case(self) -> Case:
        """The same stack as a case, all fluids at 0 C."""
        layers: list[dict[str, Any]] = []
        for number, step in enumerate(self.steps):
            if isinstance(step, Joint):
                layers.append(joint(f"joint {number}", step.resistance / MM**2))
                continue
            stores = {"density_kg_m3": step.density, "heat_capacity_J_kgK": step.heat_capacity}
            own = {"conductivity_W_mK": step.conductivity, **stores}
            if step.joint:
                layers.append({"joint": f"joint {number}", "film_um": step.thickness_m / MICRON, **own})
            else:
                layers.append(part(f"part {number}", [self.side_mm] * 2, step.thickness_m / MM, own))
        heat = [{"in": f"part {self.heated}", "at": self.at, "zones": [{"zone": "heat", "power_W": self.watts}]}]
        cooling = [film(face, own) for face, own in zip(("bottom", "top"), self.films, strict=True) if own > 0.0]
        number, height = self.probe
        middle = 0.5 * self.side_mm
        probes = [{"probe": "anywhere", "in": f"part {number}", "at_mm": [middle, middle, height / MM]}]
        return case_of(layers, heat, cooling, probes=probes)


def random_chain_in_time(random: np.random.Generator) -> ChainInTime:
    """One to four parts of 0.05 to 5 mm and 0.3 to 1000 W/mK, most with joints between them, half of which store."""

    def between(low: float, high: float) -> float:
        return float(f"{np.exp(random.uniform(np.log(low), np.log(high))):.5g}")

    steps: list[Slab | Joint] = []
    parts: list[int] = []
    for number in range(int(random.integers(1, 5))):
        if number > 0 and random.random() < 0.75:
            if random.random() < 0.5:
                steps.append(Joint(between(1.0, 100.0) * 1e-6))
            else:
                stores = between(1500.0, 8000.0), between(200.0, 1500.0)
                steps.append(Slab(between(15.0, 300.0) * MICRON, between(0.5, 80.0), *stores, joint=True))
        parts.append(len(steps))
        stores = between(1500.0, 9000.0), between(200.0, 1500.0)
        steps.append(Slab(between(0.05, 5.0) * MM, between(0.3, 1000.0), *stores))
    heated, at = int(random.choice(parts)), str(random.choice(["bottom", "top"]))
    films = between(10.0, 5000.0) if random.random() < 0.4 else 0.0, between(500.0, 50_000.0)
    inside = int(random.choice(parts))
    slab = steps[inside]
    assert isinstance(slab, Slab)
    share = float(random.choice([0.0, 1.0, random.uniform(0.0, 1.0), random.uniform(0.0, 1.0)]))
    probe = inside, float(f"{share * slab.thickness_m:.6g}")
    chain = ChainInTime(between(3.0, 20.0), tuple(steps), heated, at, films, 1.0, probe)
    resting = np.array([1e-9 + 0.0j])
    per_watt = float((chain.plane(resting) * resting).real[0])
    watts = float(f"{random.uniform(*RISES_K) / per_watt:.5g}")
    return ChainInTime(chain.side_mm, chain.steps, heated, at, films, watts, probe)

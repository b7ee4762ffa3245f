"""Unit flux steps on layered stacks against exact solutions in time.

Exact values: Laplace transforms of the layered slab, inverted with mpmath by two methods that agree to 1e-26 (our own
computation from the equation of conduction; Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., section 12.8,
for the method, from memory).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from thermsim.case.load import parse_case
from thermsim.warming.outcome import Warmup
from thermsim.warming.warmup import warmup

FLUX_W = 100.0  # on 1 cm2: rises in kelvin are then those of a unit flux in mm2K/W
TIMES = (1e-4, 1e-3, 1e-2, 3e-2, 0.1, 0.3, 1.0, 3.0, 10.0)
STEP = """
heat:
  - {in: die, at: bottom, zones: [{zone: all, power_W: 100.0}]}
cooling:
  - {face: top, film_W_m2K: 14000, fluid_C: 0.0}
"""
DIE_AND_LID = """
  - part: die
    material: {conductivity_W_mK: 125, density_kg_m3: 2330, heat_capacity_J_kgK: 712}
    size_mm: [10.0, 10.0]
    thickness_mm: 0.66
  - joint: film
    JOINT
  - part: lid
    material: {conductivity_W_mK: 395, density_kg_m3: 8933, heat_capacity_J_kgK: 385}
    size_mm: [10.0, 10.0]
    thickness_mm: 2.45
"""
LAMINATE = """
  - part: laminate
    material: {conductivity_W_mK: 0.3, density_kg_m3: 1875, heat_capacity_J_kgK: 900}
    size_mm: [10.0, 10.0]
    thickness_mm: 1.36
"""
PLAIN = DIE_AND_LID.replace("JOINT", "resistance_mm2K_W: 6.8")
INDIUM = DIE_AND_LID.replace(
    "JOINT",
    "{film_um: 240, conductivity_W_mK: 70, boundary_mm2K_W: 3.0, density_kg_m3: 7310, heat_capacity_J_kgK: 233}",
).replace("  - joint: film\n    {film_um", "  - {joint: film, film_um")

# rise of the heated face [mm2K/W] at TIMES, and at the end
EXACT = {
    "contact": (
        PLAIN,
        (0.7835777499, 2.478756961, 8.730003706, 14.11126139, 21.8589731, 38.64935476, 70.83169048, 88.61109349,
         89.71105055),
        89.71110307,
    ),
    "film that stores": (
        INDIUM,
        (0.7835777499, 2.478459128, 8.35156202, 13.40126232, 20.89208454, 37.2012355, 69.22577259, 88.0165346,
         89.3395779),
        89.3396745,
    ),
    "between laminate and die": (
        LAMINATE + PLAIN,
        (0.7466845181, 2.36201064, 8.275584607, 13.42343852, 20.95485427, 37.00027019, 67.80015982, 86.16816038,
         89.22614911),
        89.71110307,
    ),
}  # fmt: skip


@cache
def followed(name: str) -> Warmup:
    case = parse_case(f"title: {name}\nlayers:{EXACT[name][0]}{STEP}", "open.yaml")
    return warmup(case, 1e-4, 30.0, also_s=TIMES, first_cells=60)


SLOW = [pytest.param(name, marks=pytest.mark.slow) for name in ("contact", "between laminate and die")]


@pytest.mark.parametrize("name", ["film that stores", *SLOW])
def test_a_unit_flux_step_is_within_a_percent_and_within_what_is_told(name: str) -> None:
    found, (_, exact, end) = followed(name), EXACT[name]
    curve = found.curves["zone", "all", "mean"]
    print("time | exact | found | relative | told")
    for time, rise in zip(TIMES, exact, strict=True):
        at = int(np.flatnonzero(np.isclose(found.times_s, time, rtol=1e-12))[0])
        off = float(curve.value[at]) - rise
        print(f"{time:g} | {rise:.6f} | {curve.value[at]:.6f} | {off / rise:.2e} | {curve.half_width[at]:.4f}")
        assert abs(off) <= (0.01 if time >= 1e-3 else 0.02) * rise
        assert abs(off) <= curve.half_width[at]
    assert curve.loaded.value == pytest.approx(end, rel=1e-7)

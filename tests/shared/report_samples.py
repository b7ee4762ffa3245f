"""Small predictions that several tests of reports read; each is made once."""

from __future__ import annotations

from functools import cache

from thermsim.case.load import parse_case
from thermsim.doubt.inputs import with_input_doubt
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.nearby.superposition import Resistances, resistances

PACKAGE = """\
# Invented.
title: A small package [of three parts]
layers:
  - {part: board, material: laminate, size_mm: [20, 20], thickness_mm: 1.0}
  - part: die
    material: silicon
    size_mm: [8, 6]
    thickness_mm: 0.4
    around: {material: air}
    inserts:
      - {material: void, corner_mm: [6, 4], size_mm: [2, 2]}
  - {joint: film, film_um: {low: 20, high: 140, towards: +x}, conductivity_W_mK: 4}
  - {part: lid, material: copper, size_mm: [16, 14], thickness_mm: 1.5}
heat:
  - in: die
    at: bottom
    leakage: {per_K: 0.002, at_C: 60}
    zones:
      - {zone: big, corner_mm: [0, 0], size_mm: [6, 4], power_W: 9}
      - {zone: "small [one], 10 % of it", corner_mm: [6.5, 0], size_mm: [1, 1], power_W: 2}
      - {zone: "<small> & two", corner_mm: [6.5, 1], size_mm: [1, 1], power_W: 2}
cooling:
  - {face: top, film_W_m2K: 8000, fluid_C: 25}
  - {face: exposed, environment: the room, film_W_m2K: 10, fluid_C: 24}
limits: {reading_C: 60}
readings:
  - {reading: R big, zone: big, offset_K: {value: -1.5, plus_minus: 2}, step_K: 1}
  - {reading: R small, zone: "small [one], 10 % of it", takes: highest}
probes:
  - {probe: lid centre, in: lid, at_mm: [8, 7, 1.5]}
"""

SLICE = """\
title: A slice through a stack of bars
dimensions: 2
depth_mm: 10
layers:
  - part: bar
    material: {conductivity_W_mK: 52}
    size_mm: 60
    thickness_mm: 4
    inserts:
      - {material: void, corner_mm: 20, size_mm: 5}
  - {joint: film, resistance_mm2K_W: 20}
  - {part: spreader, material: {in_plane_W_mK: 1500, through_W_mK: 8}, size_mm: 80, thickness_mm: 2}
heat:
  - in: bar
    at: volume
    zones:
      - {zone: left, corner_mm: 0, size_mm: 20, power_W: 12}
      - {zone: right, corner_mm: 25, size_mm: 35, power_W: 9}
cooling:
  - {face: top, film_W_m2K: 900, fluid_C: 20}
"""

BARS = """\
title: Two bars between two temperatures
layers:
  - {part: lower, material: {conductivity_W_mK: 2}, size_mm: [40, 40], thickness_mm: 6}
  - {part: upper, material: {conductivity_W_mK: 10}, size_mm: [60, 40], thickness_mm: 4}
cooling:
  - {face: top, temperature_C: 20}
  - {face: bottom, temperature_C: 80}
"""

TEXTS = {"package": PACKAGE, "slice": SLICE, "bars": BARS}


def resistances_of(found: Prediction) -> Resistances:
    """On the grids of a prediction."""
    return resistances(found.case, found.plan, [step.multiplier for step in found.steps])


@cache
def prediction(name: str) -> Prediction:
    """A prediction of one of the cases here, on three coarse grids: good enough to be reported."""
    return with_input_doubt(predict(parse_case(TEXTS[name], f"{name}.yaml"), accuracy_K=50.0, first_cells=2000))

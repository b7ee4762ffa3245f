"""Texts of case files that several tests read."""

from __future__ import annotations

CORNCRAKE = """\
# Invented: the Corncrake package on Bench Four.
title: Corncrake on Bench Four
dimensions: 3

layers:
  - part: substrate
    material: laminate
    size_mm: [42.0, 38.0]
    thickness_mm: 1.36
  - part: die
    material: silicon
    size_mm: [24.8, 10.4]
    thickness_mm: {value: 0.66, plus_minus: 0.02, basis: measured}
    around: {material: air}
  - joint: solder
    film_um: {value: 240, plus_minus: 30, basis: measured}
    conductivity_W_mK: 70
    boundary_mm2K_W: 3.0
    wetted_fraction: 0.95
  - part: lid
    material: copper
    size_mm: [36.0, 32.0]
    thickness_mm: 2.45
  - joint: paste
    resistance_mm2K_W: {value: 7.8, plus_minus: 2, basis: assumed}
  - part: plate
    material: copper
    size_mm: [44.0, 44.0]
    thickness_mm: 3.0

heat:
  - in: die
    at: bottom
    leakage: {per_K: 0.003, at_C: 80}
    zones:
      - {zone: graphics, corner_mm: [0.0, 0.0], size_mm: [4.0, 10.4], power_W: 3.4}
      - {zone: C0, corner_mm: [4.0, 6.0], size_mm: [4.2, 4.4], power_W: 21.0}
      - {zone: C1, corner_mm: [8.2, 6.0], size_mm: [4.2, 4.4], power_W: 22.3}
      - {zone: C2, corner_mm: [12.4, 6.0], size_mm: [4.2, 4.4], power_W: 21.8}
      - {zone: C3, corner_mm: [16.6, 6.0], size_mm: [4.2, 4.4], power_W: 20.6}
      - {zone: C4, corner_mm: [4.0, 0.0], size_mm: [4.2, 4.4], power_W: 21.4}
      - {zone: C5, corner_mm: [8.2, 0.0], size_mm: [4.2, 4.4], power_W: 23.1}
      - {zone: C6, corner_mm: [12.4, 0.0], size_mm: [4.2, 4.4], power_W: 22.3}
      - {zone: C7, corner_mm: [16.6, 0.0], size_mm: [4.2, 4.4], power_W: 20.2}
      - {zone: cache, corner_mm: [4.0, 4.4], size_mm: [16.8, 1.6], power_W: 16.0}
      - {zone: memory, corner_mm: [20.8, 0.0], size_mm: [4.0, 6.0], power_W: 9.2}
      - {zone: input-output, corner_mm: [20.8, 6.0], size_mm: [4.0, 4.4], power_W: 6.7}

cooling:
  - {face: top, film_W_m2K: 14000, fluid_C: 31.0, wetted_mm: [34.0, 34.0]}
  - {face: bottom, film_W_m2K: 12, fluid_C: 30.0}
  - {face: exposed, film_W_m2K: 10, fluid_C: 30.0}

probes:
  - {probe: under C5, in: die, at_mm: [10.3, 2.2, 0.0]}

readings:
  - {reading: C0, zone: C0, takes: mean, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
  - {reading: C5, zone: C5, takes: highest}

limits: {reading_C: 95}

options:
  - option: gallium film, 30 um
    changes:
      solder: {film_um: {value: 30, plus_minus: 15}, conductivity_W_mK: 28, boundary_mm2K_W: 0.8}
  - option: thinner die, same height
    changes: {die.thickness_mm: 0.46, lid.thickness_mm: 2.65}
  - option: plate straight on die
    changes:
      lid: remove
      paste: remove

accuracy_K: 0.1
"""

SLICE = """\
title: A slice through a stack of bars
dimensions: 2
depth_mm: 500
layers:
  - part: bar
    material: {conductivity_W_mK: 52}
    size_mm: 60
    thickness_mm: 4
    inserts:
      - {material: void, corner_mm: 20, size_mm: 5}
  - joint: film
    film_um: {low: 20, high: 140, towards: +x}
    conductivity_W_mK: 4
  - part: spreader
    material: {in_plane_W_mK: 1500, through_W_mK: 8}
    size_mm: 80
    thickness_mm: 2
    centre_mm: 3
heat:
  - in: bar
    at: volume
    zones:
      - {zone: left, corner_mm: 0, size_mm: 20, power_W: 12}
      - {zone: right, corner_mm: 25, size_mm: 35, power_W: 9}
cooling:
  - {face: top, film_W_m2K: 900, fluid_C: 20, wetted_mm: 70}
  - {face: left, temperature_C: 25, corner_mm: 1, size_mm: 2}
probes:
  - {probe: foot, in: bar, at_mm: [30, 0]}
options:
  - option: even film
    changes: {film: {film_um: 40}, left.power_W: 10}
"""

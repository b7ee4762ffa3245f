"""A small chip under a lid with a word on every key, in which slips and units are tried; its numbers are invented."""

from __future__ import annotations

LIDDED = """\
# A small chip under a lid and a water-cooled plate. All numbers are invented.
# Units stand in the keys; another may stand beside a number: `780 um`, `86 F`, `1.5 W/cm2K`. A number may carry its
# tolerance: {value: 0.7, plus_minus: 0.02, basis: measured}; readings of a caliper are a list: [0.69, 0.70, 0.70].

title: My first stack                 # stands over every result
dimensions: 3                         # 3, or 2 for a slice

layers:                               # from the bottom up; every part is centred unless it has `centre_mm: [x, y]`
  - part: board                       # a part is solid; its name is yours to choose
    material: laminate                # a name from the catalogue, or values in place: {conductivity_W_mK: 0.4}
    size_mm: [40, 36]                 # x, y
    thickness_mm: 1.2

  - part: chip
    material: silicon
    size_mm: [14, 11]
    thickness_mm: {value: 0.7, plus_minus: 0.02, basis: measured}   # basis: measured, published or assumed
    # around: {material: underfill}   # what fills the rest of this level; left out, it is empty

  - joint: first joint                # a thin film between two parts
    film_um: {value: 60, plus_minus: 20, basis: assumed}
    # an uneven film: {low: 20, high: 120, towards: +x}, {edge: 90, centre: 30}, or {file: film.csv}
    conductivity_W_mK: {value: 4, plus_minus: 1, basis: assumed}
    boundary_mm2K_W: 4                # what both faces of the film add
    # wetted_fraction: 0.9            # the share of the area that the film wets

  - part: lid
    material: copper
    size_mm: [30, 28]
    thickness_mm: 2

  - joint: second joint
    resistance_mm2K_W: {value: 11, plus_minus: 3, basis: assumed}   # the whole joint as one number
    # or a joint class of the catalogue, which is a range: `material: silicone paste`

  - part: plate
    material: copper alloy
    size_mm: [38, 38]
    thickness_mm: 2.5

heat:
  - in: chip                          # the part in which it is made
    at: bottom                        # bottom or top (in the face), or volume
    leakage: {per_K: 0.002, at_C: 70} # power grows by this share for each kelvin above 70 C
    zones:                            # rectangles from the part's lower left corner
      - {zone: left core, corner_mm: [1, 3], size_mm: [4, 5], power_W: 28}
      - {zone: right core, corner_mm: [9, 3], size_mm: [4, 5], power_W: {value: 26, plus_minus: 1}}
      - {zone: rim, corner_mm: [0, 0], size_mm: [14, 2.5], power_W: 6}
    # or a table of power over the part: `map: {file: power.csv, holds: W}`

cooling:                              # a face that is not named here is insulated
  - face: top                         # top, bottom, left, right, front, back, or exposed
    film_W_m2K: {value: 9000, plus_minus: 1000}
    fluid_C: 28
    wetted_mm: [28, 28]               # only this much of the face, centred
  - {face: bottom, film_W_m2K: 10, fluid_C: 26}
  - {face: exposed, film_W_m2K: 8, fluid_C: 26}     # every other face that looks into air

probes:                               # points where the temperature is asked for, from the part's lower left bottom
  - {probe: middle of the chip, in: chip, at_mm: [7, 5.5, 0]}

readings:                             # what the sensors show
  - reading: left
    zone: left core                   # or `probe: ...`
    takes: highest                    # mean or highest of the zone
    offset_K: {value: 0, plus_minus: 2}   # how far the sensor may be off
    step_K: 1                         # it shows whole degrees
  - {reading: right, zone: right core, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}

limits: {reading_C: 95}               # no reading above this

options:                              # what could be changed, predict one with `--option`
  - option: thinner first joint
    changes:
      first joint: {film_um: {value: 30, plus_minus: 10, basis: assumed}}
  - option: plate straight on the chip
    changes:
      lid: remove
      second joint: remove
  - option: more flow
    changes:
      cooling.top.film_W_m2K: {value: 12000, plus_minus: 1500}

accuracy_K: 0.1                       # refine until the doubt of the grid is below this
"""

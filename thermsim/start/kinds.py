"""Commented cases to begin with, one of each kind. Their numbers are invented; whoever measures replaces them."""

from __future__ import annotations

_SOLDERED_DESKTOP = """\
# A case to begin with: a chip soldered under a lid, and a water-cooled plate. All numbers are invented; put in yours.
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

  - joint: solder                     # a thin film between two parts
    film_um: {value: 260, plus_minus: 40, basis: assumed}
    # an uneven film: {low: 20, high: 120, towards: +x}, {edge: 90, centre: 30}, or {file: film.csv}
    conductivity_W_mK: {value: 60, plus_minus: 12, basis: assumed}
    boundary_mm2K_W: 4                # what both faces of the film add
    density_kg_m3: 7310               # this and the next for `warmup` alone: the heat that the film stores
    heat_capacity_J_kgK: 233
    # wetted_fraction: 0.9            # the share of the area that the film wets

  - part: lid
    material: copper
    size_mm: [30, 28]
    thickness_mm: 2

  - joint: paste
    resistance_mm2K_W: {value: 11, plus_minus: 3, basis: assumed}   # the whole joint as one number
    # or a joint class of the catalogue, which is a range: `material: silicone paste`; `thermsim materials` lists them

  - part: plate
    material: copper alloy
    size_mm: [38, 38]
    thickness_mm: 2.5

heat:
  - in: chip                          # the part in which it is made
    at: bottom                        # bottom or top (in the face), or volume
    leakage: {per_K: 0.002, at_C: 70} # power grows by this share for each kelvin above 70 C
    zones:                            # rectangles from the part's lower left corner
      - {zone: left core, corner_mm: [1, 3], size_mm: [4, 5], power_W: 48}
      - {zone: right core, corner_mm: [9, 3], size_mm: [4, 5], power_W: {value: 44, plus_minus: 2}}
      - {zone: rim, corner_mm: [0, 0], size_mm: [14, 2.5], power_W: 6}
    # or one number for all of it: `power_W: 98` beside `zones`, which then take shares of it, or the rest by area
    # or a table of power over the part: `map: {file: power.csv, holds: W}`

cooling:                              # a face that is not named here is insulated
  - face: top                         # top, bottom, left, right, front, back, or exposed
    film_W_m2K: {value: 9000, plus_minus: 1000}
    # or a cooler class, which is a range: `film_W_m2K: water block`; or in K/W: `cooler_K_W: 0.09`
    fluid_C: 28
    wetted_mm: [28, 28]               # only this much of the face, centred
  - {face: bottom, film_W_m2K: bare board, fluid_C: 26}
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

clock:                                # the clock at which the powers hold; `afford` finds the one that the limit allows
  frequency_GHz: 4.0
  voltage_V: 1.10
  zones: [left core, right core]      # those that run at this clock
  steps:                              # clocks to try, each with the voltage that it needs
    - {frequency_GHz: 4.4, voltage_V: 1.20}
    - {frequency_GHz: 4.8, voltage_V: 1.32}

options:                              # what could be changed; `compare` judges them, `predict --option` shows one
  - option: gallium film
    changes:
      solder: {film_um: {value: 40, plus_minus: 15, basis: assumed}, conductivity_W_mK: {value: 21, plus_minus: 4}}
  - option: plate straight on the chip
    changes:
      lid: remove
      paste: remove
  - option: gallium film and more flow
    with: gallium film                # builds on another option
    changes:
      cooling.top.film_W_m2K: {value: 12000, plus_minus: 1500}

worth_K: 3                            # a gain below this is not worth opening the chip
one_mount_K: 0.8                      # standard deviation of one mount; two differ by up to 2.8 times as much
accuracy_K: 0.1                       # refine until the doubt of the grid is below this
"""


_BARE_DIE = """\
# A case to begin with: a bare chip on its board, pressed against a cooler through a film. All numbers are invented.
# `thermsim start FILE --like soldered-desktop` has a word on each key.

title: My bare chip
layers:                               # from the bottom up
  - {part: board, material: laminate with copper, size_mm: [36, 32], thickness_mm: 1.1}
  - part: chip
    material: silicon
    size_mm: [13, 10]
    thickness_mm: {value: 0.75, plus_minus: 0.02, basis: measured}
  - {joint: paste, material: silicone paste}              # a joint class of the catalogue: a range
  - {part: base, material: copper alloy, size_mm: [40, 40], thickness_mm: 3}      # of the cooler

heat:
  - in: chip
    power_W: {value: 45, plus_minus: 2, basis: measured}  # of all of it; zones share it
    zones:
      - {zone: left core, corner_mm: [1, 4], size_mm: [4, 5], share: 0.4}
      - {zone: right core, corner_mm: [8, 4], size_mm: [4, 5], share: 0.4}
      - {zone: rim, corner_mm: [0, 0], size_mm: [13, 3]}  # takes what is left, by area, with all that no zone covers

cooling:                              # a face that is not named here is insulated
  - {face: top, environment: cooler, film_W_m2K: air cooler, fluid_C: 26}         # a cooler class: a range
  - {face: bottom, film_W_m2K: bare board, fluid_C: 30}

readings:
  - {reading: left, zone: left core, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
  - {reading: right, zone: right core, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
limits: {reading_C: 95}
clock:
  frequency_GHz: 3.0
  voltage_V: 0.95
  steps:
    - {frequency_GHz: 3.4, voltage_V: 1.05}
    - {frequency_GHz: 3.8, voltage_V: 1.18}

options:
  - option: gallium film
    changes: {paste: {material: gallium film}}
  - option: thinner chip
    changes: {chip.thickness_mm: {value: 0.65, plus_minus: 0.02}}

worth_K: 3                            # a gain below this is not worth opening the chip
one_mount_K: 0.8                      # standard deviation of one mount; two differ by up to 2.8 times as much
accuracy_K: 0.1
"""

_SLICE = """\
# A case to begin with: a slice through a chip under a lid, answered at once. All numbers are invented. In a slice sizes
# are single lengths and powers those of its depth; heat spreads along x alone, so that a chip is told too hot.
# `thermsim start FILE --like soldered-desktop` has a word on each key.

title: My slice
dimensions: 2
depth_mm: 11                          # of the slice: as deep as the chip
layers:                               # from the bottom up
  - {part: board, material: laminate, size_mm: 40, thickness_mm: 1.2}
  - {part: chip, material: silicon, size_mm: 14, thickness_mm: {value: 0.7, plus_minus: 0.02, basis: measured}}
  - {joint: filling, material: factory polymer}           # a joint class of the catalogue: a range
  - {part: lid, material: copper, size_mm: 30, thickness_mm: 2}

heat:
  - in: chip
    zones:
      - {zone: left core, corner_mm: 1, size_mm: 4, power_W: {value: 24, plus_minus: 1}}
      - {zone: right core, corner_mm: 9, size_mm: 4, power_W: {value: 22, plus_minus: 1}}

cooling:
  - {face: top, environment: block, film_W_m2K: water block, fluid_C: 28}         # a cooler class: a range
  - {face: bottom, film_W_m2K: bare board, fluid_C: 26}

readings:
  - {reading: left, zone: left core, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
  - {reading: right, zone: right core, takes: highest, offset_K: {value: 0, plus_minus: 2}, step_K: 1}
limits: {reading_C: 95}
clock:
  frequency_GHz: 4.0
  voltage_V: 1.10
  steps:
    - {frequency_GHz: 4.4, voltage_V: 1.20}
    - {frequency_GHz: 4.8, voltage_V: 1.32}

options:
  - option: gallium film
    changes: {filling: {material: gallium film}}
  - option: thicker lid
    changes: {lid.thickness_mm: 3}

worth_K: 3                            # a gain below this is not worth opening the chip
one_mount_K: 0.8                      # standard deviation of one mount; two differ by up to 2.8 times as much
accuracy_K: 0.1
"""

KINDS = {"soldered-desktop": _SOLDERED_DESKTOP, "bare-die": _BARE_DIE, "slice": _SLICE}


def starter_text(kind: str = "soldered-desktop") -> str:
    """The text of a case of a kind that reads without a fault; the first kind has a word on each key."""
    return KINDS[kind]

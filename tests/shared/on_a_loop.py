"""Stacks on a coolant loop of which all is known in time: a block that is one node, and a slab."""

import numpy as np

# A block of 150 J/K with 0.08 K/W to the coolant of a loop: all but infinite conductivity makes it one node.
TWO_NODES = """
title: a block on a loop
layers:
  - part: block
    material: {conductivity_W_mK: 1.0e9, density_kg_m3: 7500, heat_capacity_J_kgK: 500}
    size_mm: [100, 100]
    thickness_mm: 4
heat:
  - {in: block, at: volume, zones: [{zone: all, power_W: 250}]}
cooling:
  - {face: top, film_W_m2K: 1250, fluid_C: loop}
coolant_loop: {heat_capacity_J_K: 2000, radiator_W_K: 40, room_C: 25}
"""
# Closed form of two nodes, eigenvalues of a 2 by 2 matrix in mpmath: block and coolant [C] after seconds.
BLOCK_AND_COOLANT = {
    1.0: (26.599250, 25.005022), 5.0: (31.829453, 25.108993), 10.0: (36.398776, 25.368329),
    30.0: (44.416368, 26.832938), 60.0: (47.836339, 28.643251), 120.0: (50.130222, 30.375670),
    300.0: (51.208068, 31.217250),
}  # fmt: skip
TIME_CONSTANTS = (54.8013683, 10.9486317)
RATES = np.array([[-12.5 / 150.0, 12.5 / 150.0], [12.5 / 2000.0, -52.5 / 2000.0]])  # of block and coolant [1/s]
LOADED_K = np.array([26.25, 6.25])  # both over the room of 25 C, in the end
BLOCK = TWO_NODES.replace("1.0e9", "1.0e5")  # as good as one node, for solvers that also meet its film

# Laplace transform of the slab on a mixed loop, inverted with mpmath by two methods that agree to 1e-26: rise over the
# room of 10 cm2 that take 1 W/mm2.
SLAB = """
title: a slab on a loop
layers:
  - part: die
    material: {conductivity_W_mK: 125, density_kg_m3: 2330, heat_capacity_J_kgK: 712}
    size_mm: [40, 25]
    thickness_mm: 0.66
  - {joint: film, resistance_mm2K_W: 6.8}
  - part: lid
    material: {conductivity_W_mK: 395, density_kg_m3: 8933, heat_capacity_J_kgK: 385}
    size_mm: [40, 25]
    thickness_mm: 2.45
heat:
  - {in: die, at: bottom, zones: [{zone: all, power_W: 1000}]}
cooling:
  - {face: top, film_W_m2K: 14000, fluid_C: loop}
coolant_loop: {heat_capacity_J_K: 4000, radiator_W_K: 20, room_C: 0}
"""
RISE = {
    0.1: 21.8589946, 1.0: 70.87109785, 10.0: 91.79923675, 60.0: 102.3751078, 300.0: 128.433515, 900.0: 139.1455968,
    3600.0: 139.7111023,
}  # fmt: skip
END = 139.7111031

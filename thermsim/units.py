"""User units to SI and back: the only conversions in the code.

Everything above the case files is SI, except that temperatures stay in degrees Celsius [C]
(differences are the same in kelvin) and are made absolute only inside k(T) laws.
"""

from __future__ import annotations

MM = 1e-3  # [m]
UM = 1e-6  # [m]
MM2 = 1e-6  # [m2]
MM2K_W = 1e-6  # [m2 K/W] in one mm2 K/W
W_MM2 = 1e6  # [W/m2] in one W/mm2
GRAM = 1e-3  # [kg]
L_MIN = 1e-3 / 60.0  # [m3/s] in one litre a minute
GIGABYTE = 1e9  # [byte]

ZERO_CELSIUS_K = 273.15  # [K], definition (BIPM SI brochure)
ABSOLUTE_ZERO_C = -ZERO_CELSIUS_K


def to_kelvin(temperature_C: float) -> float:
    """Absolute temperature [K] of a Celsius temperature [C]; works on arrays too."""
    return temperature_C + ZERO_CELSIUS_K

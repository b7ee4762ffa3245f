"""Solutions in closed form or as summed series, each with its formula and its outside source.

Nothing here knows the grid: these are the yardsticks that the solver is held against.

slab          one-dimensional stacks: layers, joints, heated planes, volume heat, films
half_space    heated patches on a body without end
flux_channel  heated rectangles on a stack of layers with adiabatic edges
discs         the same for discs, exact and as the approximation of Lee, Song, Au and Moran
fins          straight fin, annular fin, long rod
nonlinear     conductivity that varies with temperature; leakage and its runaway
iso10211      the square column of EN ISO 10211, case 1
transient     slabs and half spaces in time, lumped bodies, the coolant loop
ladder        Foster and Cauer networks

`published` holds thermsim against them and against what is printed, by case files; `references` is the table; `honesty`
asks whether the mesh doubt covers the true error of random stacks.

>>> from thermsim.proof import mean_rise, Channel
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOME = {
    "slab": ("End", "HeatedPlane", "INSULATED", "Joint", "Layer", "SlabSolution", "solve_slab"),
    "half_space": (
        "disc_centre", "disc_edge", "disc_isothermal", "disc_mean", "rectangle_centre", "rectangle_corner",
        "rectangle_mean", "rectangle_point", "square_isothermal",
    ),
    "flux_channel": (
        "Channel", "ChannelLayer", "Rectangle", "influence_matrix", "mean_rise", "point_rise", "rise_field", "strip",
        "strip_channel", "uniform_rise",
    ),
    "discs": ("disc_on_stack", "lee_song_au_moran"),
    "fins": (
        "annular_fin_efficiency", "fin_parameter", "long_rod_heat", "straight_fin_efficiency", "straight_fin_tip",
    ),
    "nonlinear": (
        "Leakage", "leakage_balance", "leakage_limit", "linear_law_slab_flux", "linear_law_slab_inside",
        "linear_leakage_temperature", "power_law_slab_top",
    ),
    "iso10211": ("square_column", "square_column_variable"),
    "transient": (
        "TwoNodeLoop", "half_space_flux", "loop_temperature", "lumped_cooling", "slab_cooling", "slab_heating",
        "slab_roots",
    ),
    "published": ("prove",),
    "honesty": ("judge",),
}  # fmt: skip
_MODULE = {name: module for module, names in _HOME.items() for name in names}


def __getattr__(name: str) -> Any:
    """Load each public name when it is first used: several modules load scipy."""
    if name not in _MODULE:
        raise AttributeError(f"module 'thermsim.proof' has no attribute {name!r}")
    return getattr(import_module(f"thermsim.proof.{_MODULE[name]}"), name)


def __dir__() -> list[str]:
    return sorted(_MODULE)

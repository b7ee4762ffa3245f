"""The part of the table of published references that is in time: see `references`."""

from __future__ import annotations

import math
from functools import partial

from thermsim.proof.closed_form import transient
from thermsim.proof.table.row import INVERTED, Number, Published, Row

CARSLAW = "Carslaw, Jaeger, Conduction of Heat in Solids, 2nd ed. (from memory)"
SILICON = {"conductivity": 148.0, "density": 2330.0, "heat_capacity": 712.0}
EARLY = (1e-4, 1e-3, 1e-2)  # [s]
FACE, BELOW = ("zone", "face", "mean"), ("probe", "below the face")


def half_space(time_s: float, depth_m: float) -> float:
    """Rise [K] of heated silicon at a time [s] and a depth [m]."""
    return float(transient.half_space_flux(time_s, depth_m, 1e6, **SILICON))


def heated_plane(time_s: float) -> float:
    """Rise [K] of the plane in which two half spaces meet."""
    effusivities = math.sqrt(148.0 * 2330.0 * 712.0) + math.sqrt(0.3 * 1875.0 * 900.0)
    return 2e6 * math.sqrt(time_s / math.pi) / effusivities


def slab(fourier: float, place: float) -> float:
    """Rise [K] of the heated slab, all terms; place 0 is the heated face."""
    return 100.0 * float(transient.slab_heating(fourier, place, 1.0))


def one_term(fourier: float, place: float) -> float:
    """Rise [K] of the heated slab with the slowest exponential alone."""
    z = float(transient.slab_roots(1.0, 1)[0])
    weight = 4.0 / (z * (2.0 * z + math.sin(2.0 * z))) * math.exp(-z * z * fourier)
    return 100.0 * (1.0 - place + 1.0 - weight * math.cos(z * place))


def block(time_s: float) -> float:
    """Temperature [C] of the block on the loop."""
    return float(transient.TwoNodeLoop(150.0, 0.08, 2000.0, 40.0).temperatures(time_s, 250.0, 25.0)[0])


def followed(
    quantity: str, asked: tuple[str, ...], time_s: float, reference: Number, within: float, differs: str = ""
) -> Row:
    """A temperature at a time, asked in percent of its rise."""
    excellent = 0.1 * within
    told = f"{quantity}, {time_s:g} s"
    return Row(told, asked, reference, "C", within, excellent, True, at_s=time_s, differs=differs)


STEP = (
    (1e-3, 2.478756961), (1e-2, 8.730003706), (3e-2, 14.11126139), (0.1, 21.8589731), (0.3, 38.64935476),
    (1.0, 70.83169048), (3.0, 88.61109349), (10.0, 89.71105055),
)  # fmt: skip

IN_TIME = (
    Published("Half space, heated", "published/heated-half-space.yaml", f"{CARSLAW}, section 2.9", (
        *(followed("face", FACE, at, partial(half_space, at, 0.0), 2.0 if at < 1e-3 else 1.0) for at in EARLY),
        *(followed("0.2 mm below", BELOW, at, partial(half_space, at, 2e-4), 2.0 if at < 1e-3 else 1.0)
          for at in EARLY[1:]),
    )),
    Published("Two half spaces, heated at their contact", "published/heated-plane.yaml", f"{CARSLAW}, section 2.15", (
        *(followed("plane", ("zone", "plane", "mean"), at, partial(heated_plane, at), 2.0 if at < 1e-3 else 1.0)
          for at in EARLY),
    )),
    Published("Slab, heated and cooled, Bi = 1", "published/heated-slab.yaml", f"{CARSLAW}, section 3.11", (
        *(followed("heated face", FACE, 10.0 * fourier, partial(slab, fourier, 0.0), 1.0)
          for fourier in (0.05, 0.2, 1.0, 5.0)),
        *(followed("cooled face", ("probe", "cooled face"), 10.0 * fourier, partial(slab, fourier, 1.0), 1.0)
          for fourier in (0.2, 1.0, 5.0)),
        *(followed("heated face, one term", FACE, 10.0 * fourier, partial(one_term, fourier, 0.0), 1.0,
                   "the slowest exponential stands for all")
          for fourier in (1.0, 5.0)),
    )),
    Published("Step of heat into two layers", "published/two-layers-step.yaml",
              "Laplace transform inverted with mpmath; Carslaw, Jaeger, section 12.8, for the method", (
        *(Row(f"heated face, {at:g} s", ("zone", "all", "mean"), rise, "C", 1.0, 0.1 if at > 1e-3 else 0.5, True,
              at_s=at, known=INVERTED)
          for at, rise in STEP),
    )),
    Published("Block on a coolant loop", "published/block-on-a-loop.yaml", "energy balance of two bodies", (
        *(followed("block", ("zone", "block", "mean"), at, partial(block, at), 0.02)
          for at in (1.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0)),
    )),
)  # fmt: skip

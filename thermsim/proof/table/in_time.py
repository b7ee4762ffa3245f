"""The part of the table of published references that is in time: see `references`."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from thermsim.proof.closed_form import transient
from thermsim.proof.table.row import INVERTED, MEMORY, Number, Published, Row
from thermsim.response.networks import Cauer, to_foster

CARSLAW = "Carslaw, Jaeger, Conduction of Heat in Solids, 2nd ed. (from memory)"
SILICON = {"conductivity": 148.0, "density": 2330.0, "heat_capacity": 712.0}
EARLY = (1e-4, 1e-3, 1e-2)  # [s]
INVERSION = "Laplace transform inverted with mpmath; Carslaw, Jaeger, section 12.8, for the method"
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


def wall(time_s: float, place: float, terms: int = 60) -> float:
    """Temperature [C] of the wall; place 0 is the insulated face."""
    fourier, biot = 63.9 / (7832.0 * 434.0) * time_s / 0.04**2, 500.0 * 0.04 / 63.9
    if terms > 1:
        return 60.0 - 80.0 * float(transient.slab_cooling(fourier, place, biot))
    z = float(transient.slab_roots(biot, 1)[0])
    weight = 4.0 * math.sin(z) / (2.0 * z + math.sin(2.0 * z))
    return 60.0 - 80.0 * weight * math.exp(-z * z * fourier) * math.cos(z * place)


def swung(time_s: float, place: float) -> float:
    """Temperature [C] of the bar; place 0 is the end that is held."""
    return 100.0 * transient.bar_with_a_swinging_end(place, time_s, 0.08, 50.0 / (7800.0 * 460.0), 60.0)


def swinging(time_s: float) -> float:
    """Coolant [C] at the end of the bar."""
    return 100.0 * math.sin(2.0 * math.pi * time_s / 60.0)


def ladder_of_two(time_s: float) -> float:
    """Temperature [C] of the heated one of two bodies in a row at 100 W."""
    ladder = Cauer(np.array([0.05, 0.2]), np.array([2.0, 100.0]))
    return 100.0 * float(to_foster(ladder).response(time_s))


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

ONE_BODY = "heat balance of one body, integrated with mpmath (our own)"
LEAKING = (
    (3.633185041, 40.0),
    (16.23096409, 60.0),
    (32.21090014, 70.0),
    (60.00640213, 75.0),
    (86.47276579, 76.0),
)  # [s] and [C]
THROUGH_A_STORE = (
    (1e-3, 2.478459128), (1e-2, 8.35156202), (3e-2, 13.40126232), (0.1, 20.89208454), (0.3, 37.2012355),
    (1.0, 69.22577259), (10.0, 89.3395779),
)  # fmt: skip
OVER_LAMINATE = (
    (1e-3, 2.36201064), (1e-2, 8.275584607), (0.1, 20.95485427), (1.0, 67.80015982), (10.0, 89.22614911),
)  # fmt: skip
ON_A_LOOP = (
    (0.1, 21.8589946), (1.0, 70.87109785), (10.0, 91.79923675), (60.0, 102.3751078), (300.0, 128.433515),
    (900.0, 139.1455968), (3600.0, 139.7111023),
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
    Published("Step of heat into two layers", "published/two-layers-step.yaml", INVERSION, (
        *(Row(f"heated face, {at:g} s", ("zone", "all", "mean"), rise, "C", 1.0, 0.1 if at > 1e-3 else 0.5, True,
              at_s=at, known=INVERTED)
          for at, rise in STEP),
    )),
    Published("Step of heat through a film that stores", "published/film-that-stores.yaml", INVERSION, (
        *(Row(f"heated face, {at:g} s", ("zone", "all", "mean"), rise, "C", 1.0, 0.2 if at > 1e-3 else 0.5, True,
              at_s=at, known=INVERTED)
          for at, rise in THROUGH_A_STORE),
    )),
    Published("Step of heat between laminate and die", "published/step-over-laminate.yaml", INVERSION, (
        *(Row(f"heated face, {at:g} s", ("zone", "all", "mean"), rise, "C", 1.0, 0.2 if at > 1e-3 else 0.5, True,
              at_s=at, known=INVERTED)
          for at, rise in OVER_LAMINATE),
    )),
    Published("Step of heat into two layers on a loop", "published/step-on-a-loop.yaml", INVERSION, (
        *(Row(f"heated face, {at:g} s", ("zone", "all", "mean"), rise, "C", 0.2, 0.02, True, at_s=at, known=INVERTED)
          for at, rise in ON_A_LOOP),
    )),
    Published("Wall from an even temperature", "published/wall-warmed.yaml",
              "Incropera, DeWitt, Fundamentals of Heat and Mass Transfer, 6th ed., example 5.4 (from memory)", (
        Row("insulated face, 480 s, one term and rounded tables", ("probe", "insulated face"), 42.9, "C", 0.2,
            at_s=480.0, known=MEMORY),
        Row("wetted face, 480 s, one term and rounded tables", ("zone", "wetted face", "mean"), 45.2, "C", 0.2,
            at_s=480.0, known=MEMORY),
        *(Row(f"insulated face, {at:g} s", ("probe", "insulated face"), partial(wall, at, 0.0), "C", 0.1, 0.02,
              at_s=at) for at in (120.0, 480.0, 1200.0)),
        *(Row(f"wetted face, {at:g} s", ("zone", "wetted face", "mean"), partial(wall, at, 1.0), "C", 0.1, 0.02,
              at_s=at) for at in (120.0, 480.0, 1200.0)),
        Row("insulated face, 480 s, one term", ("probe", "insulated face"), partial(wall, 480.0, 0.0, 1), "C",
            0.1, at_s=480.0, differs="the slowest exponential stands for all"),
    ), coolant_C=lambda _: 60.0),
    Published("Bar whose end swings", "published/bar-periodic.yaml", f"{CARSLAW}, section 3.6", (
        *(Row(f"{depth} mm, {at:g} s", ("probe", f"{depth} mm"), partial(swung, at, depth / 80.0), "C", 0.1, 0.02,
              at_s=at)
          for depth, at in ((60, 15.0), (60, 24.0), (40, 24.0), (60, 40.0))),
    ), coolant_C=swinging),
    Published("Two bodies in a row", "published/two-bodies.yaml", "eigenvalues of a matrix of two rows (our own)", (
        *(followed("small body", ("zone", "small body", "mean"), at, partial(ladder_of_two, at), 0.02)
          for at in (0.05, 0.1, 1.0, 10.0, 60.0)),
    )),
    Published("Body that leaks", "published/leaking-body.yaml", ONE_BODY, (
        *(Row(f"body, {at:.4g} s", ("zone", "body", "mean"), celsius, "C", 0.05, 0.02, at_s=at)
          for at, celsius in LEAKING),
    )),
    Published("Body that runs away", "published/leaking-runaway.yaml", ONE_BODY, (
        Row("passes 100 C after", ("passes",), 37.58026049, "s", 0.02, at_s=100.0),
    ), expects="runaway"),
    Published("Block on a coolant loop", "published/block-on-a-loop.yaml", "energy balance of two bodies", (
        *(followed("block", ("zone", "block", "mean"), at, partial(block, at), 0.02)
          for at in (1.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0)),
    )),
)  # fmt: skip

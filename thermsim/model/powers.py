"""A model with its heat sources changed as a whole: scaled, or with what they make at some temperatures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermsim.model.build import Model

Array = NDArray[np.float64]


BESIDE = 1e-6  # share of the heat, from which on what is made beside zones is told


def beside_zones_W(model: Model) -> float:
    """Watts of a model that are made where no zone is; 0 where rounding may be all of them."""
    left = [source.watts.copy() for source in model.sources]
    for zone in model.zones:
        left[zone.source][zone.x, zone.y] = 0.0
    beside = float(sum(watts.sum() for watts in left))
    return beside if abs(beside) > BESIDE * sum(float(source.watts.sum()) for source in model.sources) else 0.0


def scaled_power(model: Model, share: float) -> Model:
    """The same model with every heat source multiplied."""
    return replace(
        model,
        face_sources=tuple(replace(source, watts=share * source.watts) for source in model.face_sources),
        volume_sources=tuple(replace(source, watts=share * source.watts) for source in model.volume_sources),
    )


def with_share(model: Model, without: Model, share: float) -> Model:
    """The same model with a share of what its sources make more than those of another, `without`."""

    def of(own: Array, less: Array) -> Array:
        return less + share * (own - less)

    faces = zip(model.face_sources, without.face_sources, strict=True)
    volumes = zip(model.volume_sources, without.volume_sources, strict=True)
    return replace(
        model,
        face_sources=tuple(replace(one, watts=of(one.watts, less.watts)) for one, less in faces),
        volume_sources=tuple(replace(one, watts=of(one.watts, less.watts)) for one, less in volumes),
    )


def as_made(model: Model, temperature: Array, heated_face: Sequence[Array | float]) -> Model:
    """The same model whose sources make what they make at temperatures (nx, ny, nz) and of heated faces [C], always."""
    return replace(
        model,
        face_sources=tuple(
            replace(source, watts=np.nan_to_num(source.made(face)), leakage=None)
            for source, face in zip(model.face_sources, heated_face, strict=True)
        ),
        volume_sources=tuple(
            replace(source, watts=np.nan_to_num(source.made(temperature)), leakage=None)
            for source in model.volume_sources
        ),
    )

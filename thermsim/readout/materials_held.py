"""Materials of the catalogue that a solved stack takes beyond the temperature up to which they are what they are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from thermsim.case.vocabulary.schema import Case
from thermsim.materials import catalogue
from thermsim.materials.catalogue import HoldsTo
from thermsim.readout.field import Field


@dataclass(frozen=True)
class NotHeld:
    """A part, insert, filling or joint that gets hotter than its material holds. hottest_C : of it [C]"""

    where: str
    material: str
    hottest_C: float
    holds_to: HoldsTo

    @property
    def key(self) -> tuple[str, str]:
        """What makes it the same warning in another answer: the place and the material."""
        return self.where, self.material

    @property
    def words(self) -> str:
        """The warning as a sentence."""
        limit = self.holds_to
        return f"{self.where} reaches {self.hottest_C:.0f} C; {self.material} {limit.then} at {limit.celsius:.4g} C"


def materials_not_held(case: Case, field: Field) -> tuple[NotHeld, ...]:
    """In the order of the stack; a material given in place has no limit that is known."""
    found = (*_regions(field), *_joints(case, field))
    return tuple(one for one in found if one.hottest_C > one.holds_to.celsius)


def worst_of(found: Iterable[NotHeld]) -> tuple[NotHeld, ...]:
    """Each material of each place where it gets hottest."""
    worst: dict[tuple[str, str], NotHeld] = {}
    for one in found:
        worst[one.key] = max(one, worst.get(one.key, one), key=lambda each: each.hottest_C)
    return tuple(worst.values())


def _regions(field: Field) -> Iterator[NotHeld]:
    for number, region in enumerate(field.model.regions):
        here = field.model.region == number
        if region.material.holds_to is None or not here.any():
            continue
        hottest = float(field.temperature[here].max())
        for source, face in zip(field.model.face_sources, field.heated_face, strict=True):
            level = here[:, :, source.face - 1 if source.side == "lower" else source.face]
            hottest = max(hottest, float(np.max(face, where=level & (source.watts != 0.0), initial=hottest)))
        yield NotHeld(region.name, region.material.name, hottest, region.material.holds_to)


def _joints(case: Case, field: Field) -> Iterator[NotHeld]:
    named = {joint.joint: joint.material for joint in case.joints}
    for plane in field.model.joints:
        name = named.get(plane.joint)
        holds_to = None if name is None else catalogue.joint(name).holds_to
        if name is None or holds_to is None or not plane.meets.any():
            continue
        hottest = max(float(np.max(side[plane.meets])) for side in field.z_nodes(plane.face))
        yield NotHeld(plane.joint, name, hottest, holds_to)

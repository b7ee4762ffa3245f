"""The ladder: kelvin lost in each part and joint on the way from the hottest spot to the coolant.

The temperature of a plane is its mean weighted with the heat that crosses it, so a drop is what the
heat itself loses on average between two planes and the drops add up exactly. Beside each drop stands what
the same heat would lose if it used the whole area evenly; the rest is spreading (or crowding). Before the first
plane stand the rise of the hottest spot over its zone, and of that zone over the mean of all heat made in its part.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.model.physics.heat import FaceSource
from thermsim.readout.field import Field, ZoneReading

Array = NDArray[np.float64]

SAME = 1e-9  # of the stack: two ways to say one place


@dataclass(frozen=True)
class Rung:
    """drop_K : temperature lost; even_K : lost if the same heat crossed evenly; spreading_K : the difference."""

    item: str
    drop_K: float
    even_K: float

    @property
    def spreading_K(self) -> float:
        return self.drop_K - self.even_K


@dataclass(frozen=True)
class Ladder:
    """From the hottest spot in a zone (or, if no zone holds it, from the hottest zone) to the coolant of a face.

    zone, part, at, label : as in `case.geometry.zones.KnownZone`
    starts_at : which of the two; start_C : temperature there; share : of all heat that leaves, what leaves by that face
    environment : what the case calls the coolant there; the face if it has no name
    """

    zone: str
    part: str
    at: Literal["bottom", "top", "volume"]
    label: str
    starts_at: Literal["hottest spot", "zone"]
    start_C: float
    face: str
    environment: str
    share: float
    rungs: tuple[Rung, ...]

    def is_like(self, other: Ladder) -> bool:
        """Whether both go the same way by the same rungs."""
        mine, others = (
            (one.zone, one.part, one.at, one.starts_at, one.face, [rung.item for rung in one.rungs])
            for one in (self, other)
        )
        return mine == others


def blended(ladders: Sequence[Ladder], weights: Sequence[float]) -> Ladder:
    """Weighted sum of like ladders: drops that add up in each add up in it."""

    def sums(values: Iterable[float]) -> float:
        return sum(weight * value for weight, value in zip(weights, values, strict=True))

    rungs = (
        Rung(same[0].item, sums(rung.drop_K for rung in same), sums(rung.even_K for rung in same))
        for same in zip(*(one.rungs for one in ladders), strict=True)
    )
    start_C, share = sums(one.start_C for one in ladders), sums(one.share for one in ladders)
    return replace(ladders[-1], start_C=start_C, share=share, rungs=tuple(rungs))


def hottest_zone(field: Field) -> ZoneReading | None:
    """The zone that holds the hottest spot; if none that makes heat does, the one with the highest mean of those."""
    heated = [zone for zone in field.zones if zone.power_W > 0.0]
    return max(heated, key=lambda zone: (_holds_hottest(field, zone), zone.mean_C)) if heated else None


def _holds_hottest(field: Field, zone: ZoneReading) -> bool:
    cells = field.model.zones[field.zones.index(zone)]
    heights = slice(cells.face, cells.face) if cells.face is not None else cells.levels
    spans = zip(field.hottest[1], field.model.grid.axes, (cells.x, cells.y, heights), strict=True)
    return all(_within(at, axis.faces, span) for at, axis, span in spans)


def _within(at: float, faces: Array, span: slice) -> bool:
    room = SAME * float(faces[-1] - faces[0])
    return bool(faces[span.start] - room <= at <= faces[span.stop] + room)


def ladder(field: Field) -> Ladder | None:
    """The ladder of a solved model; None where no part makes heat or neither top nor bottom takes it."""
    zone = hottest_zone(field)
    flows = [flow for flow in field.flows if flow.face in ("top", "bottom") and flow.fluid_C is not None]
    if zone is None or not flows:
        return None
    leaving = {face: sum(flow.heat_W for flow in flows if flow.face == face) for face in ("top", "bottom")}
    end = "top" if leaving["top"] >= leaving["bottom"] else "bottom"
    if leaving[end] <= 0.0:
        return None
    way = _Way(field, upwards=end == "top")
    start = _heated_mean(field, zone.part)
    from_spot = _holds_hottest(field, zone)
    start_C = field.hottest[0] if from_spot else zone.mean_C
    rungs = [Rung("hottest spot above its zone's mean", start_C - zone.mean_C, 0.0)] if from_spot else []
    name = "its zone above the heat's mean" if from_spot else "hottest zone above the heat's mean"
    rungs.append(Rung(name, zone.mean_C - start, 0.0))
    here = start
    names = list(field.model.level_of_part)
    names = names[names.index(zone.part) :] if way.upwards else names[names.index(zone.part) :: -1]
    for name in names:
        level = field.model.level_of_part[name]
        leaves = level.stop if way.upwards else level.start
        before, after = way.plane(leaves)
        rungs.append(Rung(name, here - before, way.even_drop(name, level)))
        joint = next((joint for joint in field.model.joints if joint.face == leaves), None)
        if joint is not None and name != names[-1]:
            resistance, area = joint.resistance[joint.meets], field.model.grid.face_area(2)[joint.meets]
            even = way.heat(leaves) / float((area / resistance).sum()) if np.all(resistance > 0.0) else 0.0
            rungs.append(Rung(joint.joint, before - after, even))
        here = after
    film, fluid = way.film(end)
    rungs.append(Rung("film to the coolant", here - fluid, film))
    return Ladder(
        zone=zone.zone,
        part=zone.part,
        at=zone.at,
        label=zone.label,
        starts_at="hottest spot" if from_spot else "zone",
        start_C=start_C,
        face=end,
        environment=" and ".join(dict.fromkeys(flow.label for flow in flows if flow.face == end)),
        share=leaving[end] / sum(max(flow.heat_W, 0.0) for flow in field.flows),
        rungs=tuple(rungs),
    )


def _heated_mean(field: Field, part: str) -> float:
    """Mean temperature [C] of what makes heat in a part, weighted with the heat made."""
    made, weighted = 0.0, 0.0
    for source in field.model.sources:
        if source.part != part:
            continue
        if isinstance(source, FaceSource):
            under, over = field.z_nodes(source.face)
            temperature = under if source.side == "lower" else over
        else:
            temperature = field.temperature[:, :, source.levels]
        here = source.watts > 0.0
        made += float(source.watts[here].sum())
        weighted += float((source.watts[here] * temperature[here]).sum())
    return weighted / made


@dataclass(frozen=True)
class _Way:
    """Planes as met on the way up or down."""

    field: Field
    upwards: bool

    def heat(self, face: int) -> float:
        """Heat [W] that crosses a z plane in the direction of the way."""
        return (1.0 if self.upwards else -1.0) * float(self.field.z_flow(face).sum())

    def plane(self, face: int) -> tuple[float, float]:
        """Heat-weighted mean temperatures [C] of a plane before and after its joint."""
        flow = self.field.z_flow(face)
        under, over = (np.where(flow != 0.0, nodes, 0.0) for nodes in self.field.z_nodes(face))
        total = float(flow.sum())
        before, after = float((flow * under).sum()) / total, float((flow * over).sum()) / total
        return (before, after) if self.upwards else (after, before)

    def even_drop(self, name: str, level: slice) -> float:
        """Temperature [K] lost if the heat of a level crossed all of its part evenly."""
        model = self.field.model
        body = next(number for number, region in enumerate(model.regions) if region.name == name)
        inside = model.region[:, :, level] == body
        area = float(model.grid.face_area(2)[inside.any(axis=2)].sum())
        conductivity = float(np.mean(model.regions[body].material.along_z(self.field.temperature[:, :, level][inside])))
        crossing = [
            (self.through(cell) if self.upwards else -self.through(cell)) * float(model.grid.z.widths[cell])
            for cell in range(level.start, level.stop)
        ]
        return sum(crossing) / (conductivity * area)

    def through(self, cell: int) -> float:
        """Heat [W] that passes the middle of a level of cells upwards: the mean of what passes its inner faces."""
        model, total = self.field.model, 0.0
        temperature = self.field.temperature[:, :, cell]
        sides: tuple[tuple[Literal["lower", "upper"], float], ...] = (("lower", 1.0), ("upper", -1.0))
        for side, sign in sides:
            under, over = self.field.z_nodes(cell + (side == "upper"))
            half = model.half_conductance(2, cell, side, self.field.guess)
            total += sign * float(np.nansum(half * ((over if side == "lower" else under) - temperature)))
        return 0.5 * total

    def film(self, end: str) -> tuple[float, float]:
        """(drop if the heat left evenly [K], heat-weighted fluid temperature [C]) of the last face."""
        films = [
            (flow, cooling.film_W_m2K)
            for flow, cooling in zip(self.field.flows, self.field.model.coolings, strict=True)
            if flow.face == end and flow.fluid_C is not None
        ]
        heat = sum(flow.heat_W for flow, _ in films)
        fluid = sum(flow.heat_W * float(flow.fluid_C or 0.0) for flow, _ in films) / heat
        return heat / sum(film * flow.area_m2 for flow, film in films), fluid

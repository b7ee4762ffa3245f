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

from thermsim.model.joints import JointPlane
from thermsim.model.physics.heat import FaceSource
from thermsim.readout.field import Field, ZoneReading
from thermsim.solver.outflow import Leaving

Array = NDArray[np.float64]

SAME_HEIGHT = 1e-9  # share of the height of the stack within which two heights are one


@dataclass(frozen=True)
class Rung:
    """drop_K : temperature lost; even_K : lost if the same heat crossed evenly; spreading_K : the difference."""

    item: str
    drop_K: float
    even_K: float

    @property
    def spreading_K(self) -> float:
        """The part of the drop that comes from heat not being spread evenly [K]."""
        return self.drop_K - self.even_K


@dataclass(frozen=True)
class Ladder:
    """From the hottest spot in a zone (or, if no zone holds it, from the hottest zone) to the coolant of a face.

    zone, part, at, label : as in `case.geometry.zones.KnownZone`
    starts_at : which of the two; start_C : temperature there; share : of all heat that leaves, what that coolant takes
    environment : what the case calls the coolant, which is at coolant_C; the face if it has no name
    """

    zone: str
    part: str
    at: Literal["bottom", "top", "volume"]
    label: str
    starts_at: Literal["hottest spot", "zone"]
    start_C: float
    face: str
    environment: str
    coolant_C: float
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
    coolant_C = sums(one.coolant_C for one in ladders)
    return replace(ladders[-1], start_C=start_C, coolant_C=coolant_C, share=share, rungs=tuple(rungs))


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
    room = SAME_HEIGHT * float(faces[-1] - faces[0])
    return bool(faces[span.start] - room <= at <= faces[span.stop] + room)


def ladder(field: Field) -> Ladder | None:
    """The ladder of a solved model, down to the coolant that takes most heat; None where no part makes heat,
    or where the heat that leaves there has no bound.

    It goes from plane to plane through the parts between the heat and the part by which most of that heat leaves. In
    that part the next stop is the cooled faces, in the mean of the heat that leaves there, and then comes the film; so
    the rungs add up to the rise over `Field.coolant_C`.
    """
    zone = hottest_zone(field)
    leaving = [one for number in field.sink for one in field.leaving(number)]
    heat = sum(float(one.heat_W.sum()) for one in leaving)
    endless = {number for pair in field.touching for number in pair}
    if zone is None or heat <= 0.0 or endless.intersection(field.sink):
        return None
    flows = [field.flows[number] for number in field.sink]
    names = list(field.model.level_of_part)
    here, there = names.index(zone.part), names.index(_leaves_by(field, leaving))
    way = _Way(field, upwards=there > here or (there == here and flows[0].face == "top"))
    start = _heated_mean(field, zone.part)
    from_spot = _holds_hottest(field, zone)
    start_C = field.hottest[0] if from_spot else zone.mean_C
    rungs = [Rung("hottest spot above its zone's mean", start_C - zone.mean_C, 0.0)] if from_spot else []
    name = "its zone above the heat's mean" if from_spot else "hottest zone above the heat's mean"
    rungs.append(Rung(name, zone.mean_C - start, 0.0))
    reached = _cross(way, names[here:there] if way.upwards else names[here:there:-1], start, rungs)
    cooled = sum(float((one.heat_W * np.where(one.here, one.face_C, 0.0)).sum()) for one in leaving) / heat
    last = names[there]
    across = flows[0].face in ("top", "bottom")  # evenly sideways has no meaning
    even = way.even_drop(last, field.model.level_of_part[last]) if across else 0.0
    rungs.append(Rung(last, reached - cooled, even))
    rungs += _to_the_coolant(field, leaving, heat, cooled)
    return Ladder(
        zone=zone.zone,
        part=zone.part,
        at=zone.at,
        label=zone.label,
        starts_at="hottest spot" if from_spot else "zone",
        start_C=start_C,
        face=flows[0].face,
        environment=" and ".join(dict.fromkeys(flow.label for flow in flows)),
        coolant_C=field.coolant_C,
        share=heat / sum(max(flow.heat_W, 0.0) for flow in field.flows),
        rungs=tuple(rungs),
    )


def _to_the_coolant(field: Field, leaving: Sequence[Leaving], heat_W: float, cooled_C: float) -> list[Rung]:
    """From the mean of the cooled faces to the coolant: the film, and the warming of a flow from where it comes in."""
    drop, even = cooled_C - field.coolant_C, heat_W / _film_W_K(field, leaving)
    of_flow = 0.0
    for number in field.sink:
        for one in field.leaving(number):
            over = np.where(one.here, one.heat_W * (one.face_C - field.coolant_C), 0.0)
            of_flow += field.model.coolings[number].share_of_flow * float(over.sum()) / heat_W
    if of_flow == 0.0:
        return [Rung("film to the coolant", drop, even)]
    share = of_flow / drop
    flow = Rung("coolant on its way, mean over inlet", of_flow, share * even)
    return [Rung("film to the coolant", drop - of_flow, (1.0 - share) * even), flow]


def _cross(way: _Way, names: Sequence[str], here: float, rungs: list[Rung]) -> float:
    """Adds rungs of parts that are crossed from plane to plane and of the joints behind them; returns where it ends."""
    model = way.field.model
    for name in names:
        level = model.level_of_part[name]
        leaves = level.stop if way.upwards else level.start
        before, after = way.plane(leaves)
        rungs.append(Rung(name, here - before, way.even_drop(name, level)))
        joints = model.joints_at(leaves)
        if joints:
            # A film under a rim shares its plane with what lies within: both make one rung, side by side.
            name = next((joint.joint for joint in joints if not joint.is_foot), joints[0].joint)
            rungs.append(Rung(name, before - after, _even_drop(way, leaves, joints)))
        here = after
    return here


def _even_drop(way: _Way, face: int, joints: Sequence[JointPlane]) -> float:
    """Temperature [K] lost if heat crossed the joints of a plane evenly; none where parts touch there as well."""
    conductance = 0.0
    for joint in joints:
        resistance, area = joint.resistance[joint.meets], way.field.model.grid.face_area(2)[joint.meets]
        if not np.all(resistance > 0.0):
            return 0.0
        conductance += float((area / resistance).sum())
    touch = all(joint.is_foot for joint in joints)
    return 0.0 if touch else way.heat(face) / conductance


def _leaves_by(field: Field, leaving: Sequence[Leaving]) -> str:
    """The part by whose faces most heat leaves."""
    model = field.model
    heat = dict.fromkeys(model.level_of_part, 0.0)
    for one in leaving:
        for name, level in model.level_of_part.items():
            if one.axis < 2:
                heat[name] += float(one.heat_W[:, level].sum())
                continue
            for cell in (one.face - 1, one.face):
                if level.start <= cell < level.stop:
                    heat[name] += float(one.heat_W[model.region[:, :, cell] >= 0].sum())
    return max(heat, key=lambda name: heat[name])


def _film_W_K(field: Field, leaving: Sequence[Leaving]) -> float:
    """Film times area of all faces together [W/K]; all but infinite where they are held."""
    films = (field.model.boundary_at(one.axis, one.face, field.guess).film for one in leaving)
    return sum(float((film * one.area_m2)[one.here].sum()) for film, one in zip(films, leaving, strict=True))


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

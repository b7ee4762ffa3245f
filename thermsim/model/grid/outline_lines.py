"""Where grid lines must stand: every outline of a case, by name, and which of them are hot (heat turns there)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import (
    AXIS_OF_FACE,
    Box,
    insert_box,
    joint_box,
    levels,
    part_box,
    parts_of_joint,
    patch_box,
    stack_box,
    zone_box,
)
from thermsim.case.geometry.rims_and_legs import stand_boxes, stand_name
from thermsim.case.vocabulary.schema import Case
from thermsim.model.physics.boundary import KINDS
from thermsim.model.physics.properties import joint_of
from thermsim.units import MM, UM

SAME_mm = 1e-6  # [mm] outlines that differ by less are the same
ALIKE = 1e-9  # relative difference of changes that are the same but for rounding
MAP_LINES = 12  # grid lines that a map adds along each axis: enough for hot spots, few enough for a first grid


class Outline(NamedTuple):
    """One line across an axis. name : of whose edge it is, alike in all cases that have it; place [m]"""

    name: str
    place: float
    hot: bool


def outlines(case: Case) -> tuple[list[Outline], list[Outline], list[Outline]]:
    """For x, y and z: every outline; many may stand at one place."""
    heated = {heat.in_ for heat in case.heat}
    boxes = [("stack", stack_box(case), False)]
    boxes += [(part.part, part_box(case, part), part.part in heated) for part in case.parts]
    for part in case.parts:
        for number, insert in enumerate(part.inserts):
            boxes.append((f"{part.part}, insert {number}", insert_box(case, part, insert), True))
        for number, box in enumerate(stand_boxes(case, part)):
            boxes.append((f"{stand_name(part)}, {number}", box, False))
    parts = {part.part: part for part in case.parts}
    for heat in case.heat:
        for zone in heat.zones:
            boxes.append((f"{heat.in_}, zone {zone.zone}", zone_box(case, parts[heat.in_], zone), True))
    x, y = (
        [(f"{name}, {end}", box[axis + 2 * end], hot) for name, box, hot in boxes for end in (0, 1)] for axis in (0, 1)
    )
    maps = [
        (heat.in_, table_of(case, heat.map.file), part_box(case, parts[heat.in_]), True)
        for heat in case.heat
        if heat.map is not None
    ]
    for joint in case.joints:
        if joint.map_file is not None:
            conducts = 1.0 / joint_of(joint, case.dimensions).resistance_at(UM * table_of(case, joint.map_file))
            maps.append((joint.joint, conducts, joint_box(case, *parts_of_joint(case, joint)), False))
    for name, table, box, hot in maps:
        for found, edges in zip((x, y), _map_edges(table, box), strict=True):
            found += [(f"{name}, map {column}", edge, hot) for column, edge in edges]
    hot_heights = _hot_heights(case)
    z = []
    for low, high, part in levels(case):
        z += [(f"{part.part}, 0", low, low in hot_heights), (f"{part.part}, 1", high, high in hot_heights)]
    for number, cooling in enumerate(case.cooling):
        patch = patch_box(case, cooling)
        if patch is None:
            continue
        across = [axis for axis in range(3) if axis != AXIS_OF_FACE[cooling.face][0]]
        held = KINDS[cooling.kind].holds  # at the edge of a patch of fixed temperature the flux has no bound
        for place, axis in enumerate(across):
            (x, y, z)[axis].extend((f"patch {number}, {end}", patch[place + 2 * end], held) for end in (0, 1))
    everywhere = not heated
    found_x, found_y, found_z = (
        [Outline(name, MM * place, hot or everywhere) for name, place, hot in axis] for axis in (x, y, z)
    )
    return found_x, found_y, found_z


def table_of(case: Case, file: str) -> NDArray[np.float64]:
    """(columns, lines) of a table over a rectangle, rising along x and y; a file begins with the far edge."""
    return np.array(case.tables[file])[::-1].T


def _map_edges(table: NDArray[np.float64], box: Box) -> list[list[tuple[int, float]]]:
    """For x and y: number and place [mm] of edges between columns of a map over a box, those where it changes most."""
    found = []
    for axis in (0, 1):
        inner = np.linspace(box[axis], box[axis + 2], table.shape[axis] + 1)[1:-1]
        change = np.abs(np.diff(table, axis=axis)).sum(axis=1 - axis)
        found.append([(edge, float(inner[edge])) for edge in _strongest(change)])
    return found


def _strongest(change: NDArray[np.float64]) -> list[int]:
    """The edges where most changes, MAP_LINES at most; of more that are alike, some evenly from end to end."""
    rising = np.sort(change[change > 0.0])
    if len(rising) <= MAP_LINES:
        return [int(edge) for edge in np.flatnonzero(change > 0.0)]
    last = rising[-MAP_LINES]
    above = np.flatnonzero(change > last * (1.0 + ALIKE))
    like_it = np.flatnonzero(np.abs(change - last) <= last * ALIKE)
    room, count = MAP_LINES - len(above), len(like_it)
    if room % 2 and not count % 2:
        room -= 1  # so that a mirrored map has mirrored lines
    low = np.floor((np.arange((room + 1) // 2) + 0.5) * count / room).astype(np.int64)
    evenly = np.union1d(low, count - 1 - low)
    return [int(edge) for edge in np.union1d(above, like_it[evenly])]


def _hot_heights(case: Case) -> set[float]:
    """Heights [mm] where heat enters, and where a heated part meets one of another outline."""
    found = set()
    stack = levels(case)
    for heat in case.heat:
        number = next(index for index, (_, _, part) in enumerate(stack) if part.part == heat.in_)
        low, high, part = stack[number]
        if heat.at != "top":
            found.add(low)
        if heat.at != "bottom":
            found.add(high)
        for other in stack[max(number - 1, 0) : number + 2]:
            if not np.allclose(part_box(case, other[2]), part_box(case, part), rtol=0.0, atol=SAME_mm):
                found.add(low if other[0] < low else high)
    return found

"""Checks of a case in plan: what must lie inside what, and what must not overlap."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from thermsim.case.faults.examination import Look
from thermsim.case.faults.slipped_sizes import check_slipped_sizes
from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.geometry.places import (
    Box,
    face_box,
    insert_box,
    levels,
    part_box,
    patch_box,
    probe_point,
    shared,
    zone_box,
)
from thermsim.case.geometry.rims_and_legs import beside_stand, stand_boxes, stand_name
from thermsim.case.source.marked_values import KeyPath
from thermsim.case.vocabulary.schema import Case, Heat, Part, Quantity
from thermsim.materials.catalogue import VOID

SHORTEST_mm = 1e-5  # [mm] shortest length, 10 nm: thinner than any part, and well above TOLERANCE_mm
TOLERANCE_mm = 1e-6  # [mm] outlines that differ by less are the same: calipers, drawings and rounding leave that open


def check_outlines(look: Look) -> None:
    """Every check in plan; faults are collected in the look."""
    look.slipped = check_slipped_sizes(look)
    if look.knows_all("layers"):
        check_support(look)
    check_inserts(look)
    if look.knows_all("layers"):
        check_stands(look)
    check_zones(look)
    check_maps(look)
    check_probes(look)
    if look.knows_all("layers"):
        check_patches(look)


def check_lengths(look: Look) -> None:
    """No length that a grid could not tell from nothing."""
    check_thicknesses(look)
    for place, layer in enumerate(look.case.layers):
        if isinstance(layer, Part):
            _check_sides(look, ("layers", place), layer.size_mm)
            for number, insert in enumerate(layer.inserts):
                _check_sides(look, ("layers", place, "inserts", number), insert.size_mm)
            for number, leg in enumerate(layer.stands_on.legs if layer.stands_on is not None else ()):
                _check_sides(look, ("layers", place, "stands_on", "legs", number), leg.size_mm)
    for place, heat in enumerate(look.case.heat):
        for number, zone in enumerate(heat.zones):
            _check_sides(look, ("heat", place, "zones", number), zone.size_mm or ())


def check_thicknesses(look: Look) -> None:
    """No part is thinner than a grid can hold."""
    for place, layer in enumerate(look.case.layers):
        if isinstance(layer, Part) and layer.thickness_mm.value < SHORTEST_mm:
            _add_short(look, ("layers", place, "thickness_mm"), layer.thickness_mm.value)


def _check_sides(look: Look, path: KeyPath, size_mm: Sequence[Quantity]) -> None:
    for axis, side in enumerate(size_mm):
        if side.value < SHORTEST_mm:
            _add_short(look, (*path, "size_mm", axis), side.value)


def _add_short(look: Look, path: KeyPath, length_mm: float) -> None:
    key = next(step for step in reversed(path) if isinstance(step, str))
    what = f"`{key}` must be at least {SHORTEST_mm:g} mm, found {length_mm:g}"
    look.add(path, f"{what}; a film between two parts is a `joint`")


def overlap(first: Box, second: Box) -> bool:
    """Whether two rectangles share more than an edge."""
    x0, y0, x1, y1 = shared(first, second)
    return x1 - x0 > TOLERANCE_mm and y1 - y0 > TOLERANCE_mm


def outside(inner: Box, outer: Box) -> str:
    """On which sides, and how far, a rectangle sticks out of another; empty if it does not."""
    excess = {
        "left": outer[0] - inner[0],
        "lower": outer[1] - inner[1],
        "right": inner[2] - outer[2],
        "upper": inner[3] - outer[3],
    }
    return ", ".join(f"{by:.6g} mm over the {side} edge" for side, by in excess.items() if by > TOLERANCE_mm)


def _size(case: Case, box: Box, face: str = "top") -> str:
    """Extent of a rectangle in words; the depth of a slice is not worth a word."""
    if case.dimensions == 2:
        return f"{box[3] - box[1] if face in ('left', 'right') else box[2] - box[0]:g} mm"
    return f"{box[2] - box[0]:g} x {box[3] - box[1]:g} mm"


def check_support(look: Look) -> None:
    """A part rests on the one below it: heat crosses from one to the other."""
    case = look.case
    below: Part | None = None
    for place, part in enumerate(case.layers):
        if not isinstance(part, Part):
            continue
        filled = any(
            side.around is not None and side.around.material.name != VOID for side in (part, below) if side is not None
        )
        if below is not None and not filled and not overlap(part_box(case, below), part_box(case, part)):
            look.add(
                ("layers", place),
                f"it does not lie over {below.part!r} below it, so no heat crosses; check `centre_mm` of both, "
                "or fill the level of one with `around`",
            )
        below = part


def check_inserts(look: Look) -> None:
    """Inserts lie inside their part, apart from one another, and leave something of it."""
    case = look.case
    for place, part in enumerate(case.layers):
        if not isinstance(part, Part) or part.part in look.slipped:
            continue
        outline = part_box(case, part)
        boxes = [insert_box(case, part, insert) for insert in part.inserts]
        for number, box in enumerate(boxes):
            if out := outside(box, outline):
                what = f"insert {number + 1} sticks out of the part ({_size(case, outline)}): {out}"
                look.add(("layers", place, "inserts", number), what)
        paths: list[KeyPath] = [("layers", place, "inserts", number) for number in range(len(boxes))]
        _report_overlaps(look, boxes, paths, [f"insert {number + 1}" for number in range(len(boxes))])
        empty = sum(_area(box) for box, insert in zip(boxes, part.inserts, strict=True) if insert.material.name == VOID)
        if empty >= _area(outline) * (1.0 - 1e-9):
            look.add(
                ("layers", place, "inserts"), "the void inserts leave nothing of the part; leave the part out instead"
            )


def check_stands(look: Look) -> None:
    """A rim and legs reach down past one part or more to one that is there, clear of what lies between."""
    case = look.case
    names = [part.part for part in case.parts]
    in_level: dict[str, list[tuple[str, Box]]] = {}
    for place, part in enumerate(case.layers):
        if not isinstance(part, Part) or part.stands_on is None:
            continue
        path: KeyPath = ("layers", place, "stands_on")
        on = part.stands_on.down_to
        below = names[: names.index(part.part)]
        if on not in below[:-1]:
            why = "it lies on that part already" if on in below else "there is no such part under it"
            told = listed(below[:-1]) if below[:-1] else "none: two parts under it are needed"
            near = did_you_mean(on, below[:-1], f"there is: {told}")
            look.add((*path, "down_to"), f"{part.part!r} cannot stand on {on!r}, {why}{near}")
            continue
        outline, foot = part_box(case, part), part_box(case, case.parts[names.index(on)])
        sides = [outline[2] - outline[0], outline[3] - outline[1]][: case.dimensions - 1]
        rim = part.stands_on.rim_mm
        if rim is not None and 2.0 * rim.value >= min(sides) - TOLERANCE_mm:
            look.add((*path, "rim_mm"), f"a rim of {rim.told} mm fills the {min(sides):g} mm of {part.part!r}")
            continue
        for box in stand_boxes(case, part):
            what = f"the {stand_name(part).rsplit(', ', 1)[1]} of {part.part!r}"
            if out := outside(box, outline):
                look.add(path, f"{what}: a leg sticks out of it: {out}")
            if not overlap(box, foot):
                look.add(path, f"{what} does not meet {on!r} below: check sizes and `centre_mm`")
            for between in beside_stand(case, part):
                others = [(repr(between.part), part_box(case, between)), *in_level.get(between.part, [])]
                over = next((name for name, other in others if overlap(box, other)), None)
                if over is not None:
                    look.add(path, f"{what} runs through {over}: make it narrower, or move it")
                    break
        for between in beside_stand(case, part):
            boxes = [(f"what {part.part!r} stands on", box) for box in stand_boxes(case, part)]
            in_level.setdefault(between.part, []).extend(boxes)


def _area(box: Box) -> float:
    return max(box[2] - box[0], 0.0) * max(box[3] - box[1], 0.0)


def check_zones(look: Look) -> None:
    """Zones lie inside their part, over solid, and apart from one another."""
    case = look.case
    for place, heat in enumerate(look.case.heat):
        part = _part(case, heat.in_)
        if part is None or part.part in look.slipped:
            continue
        outline = part_box(case, part)
        voids = _voids(case, part)
        boxes = [zone_box(case, part, zone) for zone in heat.zones]
        for number, box in enumerate(boxes):
            path: KeyPath = ("heat", place, "zones", number)
            if out := outside(box, outline):
                what = f"it sticks out of {part.part!r} ({_size(case, outline)}): {out}"
                look.add((*path, "corner_mm"), what)
            for insert in voids:
                if overlap(box, insert):
                    look.add(path, f"it lies partly over a void insert of {part.part!r}; heat is made in solid only")
        paths: list[KeyPath] = [("heat", place, "zones", number) for number in range(len(boxes))]
        _report_overlaps(look, boxes, paths, [f"zone {zone.zone!r}" for zone in heat.zones])


def _part(case: Case, name: str) -> Part | None:
    return next((part for part in case.parts if part.part == name), None)


def _voids(case: Case, part: Part) -> list[Box]:
    return [insert_box(case, part, insert) for insert in part.inserts if insert.material.name == VOID]


def _report_overlaps(look: Look, boxes: Sequence[Box], paths: Sequence[KeyPath], names: Sequence[str]) -> None:
    """One fault for each rectangle that lies over an earlier one."""
    if len(boxes) < 2:
        return
    table = np.array(boxes)
    for number in range(1, len(boxes)):
        width = np.minimum(table[:number, 2], table[number, 2]) - np.maximum(table[:number, 0], table[number, 0])
        height = np.minimum(table[:number, 3], table[number, 3]) - np.maximum(table[:number, 1], table[number, 1])
        over = np.flatnonzero((width > TOLERANCE_mm) & (height > TOLERANCE_mm))
        if over.size:
            other = int(over[0])
            line = look.source.mark(paths[other])[0]
            what = f"it overlaps {names[other]} (line {line}) by {width[other]:.6g} x {height[other]:.6g} mm"
            if look.case.dimensions == 2:
                what = f"it overlaps {names[other]} (line {line})"
            look.add(paths[number], what)


def check_maps(look: Look) -> None:
    """A power map holds no power over a void."""
    for place, heat in enumerate(look.case.heat):
        part = _part(look.case, heat.in_)
        if heat.map is None or part is None or heat.map.file not in look.tables:
            continue
        if not look.tables[heat.map.file].any():
            look.add(("heat", place, "map"), f"every number of {heat.map.file!r} is 0; leave the map out")
        if any(_map_power_over(look, heat, part, void) for void in _voids(look.case, part)):
            what = f"{heat.map.file!r} has power over a void insert of {part.part!r}; heat is made in solid only"
            look.add(("heat", place, "map"), what)


def _map_power_over(look: Look, heat: Heat, part: Part, void: Box) -> bool:
    """Whether a column or line of the table that lies wholly within the void holds power."""
    assert heat.map is not None
    table = look.tables[heat.map.file][::-1]  # the first line of the file is the far edge
    x0, y0, x1, y1 = part_box(look.case, part)
    x, y = np.linspace(x0, x1, table.shape[1] + 1), np.linspace(y0, y1, table.shape[0] + 1)
    across = (x[:-1] >= void[0] - TOLERANCE_mm) & (x[1:] <= void[2] + TOLERANCE_mm)
    along = (y[:-1] >= void[1] - TOLERANCE_mm) & (y[1:] <= void[3] + TOLERANCE_mm)
    return bool(table[np.ix_(along, across)].any())


def check_probes(look: Look) -> None:
    """Probes lie in their part."""
    case = look.case
    for place, probe in enumerate(case.probes):
        part = _part(case, probe.in_)
        if part is None or part.part in look.slipped:
            continue
        box = part_box(case, part)
        sizes = [box[2] - box[0], box[3] - box[1], part.thickness_mm.value]
        axes: list[tuple[Literal["x", "y", "z"], float]] = list(zip(("x", "y", "z"), sizes, strict=True))
        if case.dimensions == 2:
            del axes[1]
        if ("layers", case.layers.index(part), "thickness_mm") in look.stand_ins:
            axes.pop()
        for (axis, extent), at in zip(axes, (at.value for at in probe.at_mm), strict=False):
            if not -TOLERANCE_mm <= at <= extent + TOLERANCE_mm:
                what = f"{axis} = {at:g} mm lies outside {part.part!r}, which reaches from 0 to {extent:g} mm in {axis}"
                look.add(("probes", place, "at_mm"), what)
        x, y, _ = probe_point(case, probe)
        in_void = any(_strictly_inside(x, y, void) for void in _voids(case, part))
        if in_void:
            look.add(
                ("probes", place, "at_mm"),
                f"the point lies in a void insert of {part.part!r}, which has no temperature",
            )


def _strictly_inside(x: float, y: float, box: Box) -> bool:
    return box[0] + TOLERANCE_mm < x < box[2] - TOLERANCE_mm and box[1] + TOLERANCE_mm < y < box[3] - TOLERANCE_mm


def check_patches(look: Look) -> None:
    """Patches lie on their face and apart from one another."""
    case = look.case
    if not levels(case):
        return
    by_face: dict[str, list[tuple[KeyPath, Box]]] = {}
    for place, cooling in enumerate(case.cooling):
        if case.dimensions == 2 and cooling.face in ("front", "back"):
            continue
        patch = patch_box(case, cooling)
        if patch is None:
            continue
        face = face_box(case, cooling.face)
        key = "wetted_mm" if cooling.wetted_mm is not None else "corner_mm"
        if out := outside(patch, face):
            what = f"`{key}`: the patch sticks out of the face ({_size(case, face, cooling.face)}): {out}"
            look.add(("cooling", place, key), what)
        by_face.setdefault(cooling.face, []).append((("cooling", place), patch))
    for found in by_face.values():
        paths = [path for path, _ in found]
        _report_overlaps(look, [box for _, box in found], paths, ["the patch"] * len(found))

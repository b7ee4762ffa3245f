"""Where things lie: rectangles and heights of a case in the coordinates of its stack, all in mm.

The axis of the stack is x = 0, y = 0; z = 0 is the underside of the lowest part. A part is centred on the axis
unless it has `centre_mm`. Zones, inserts and points count from the lower left of their part, patches from the
lower left of their face. Joints have no height here. In a slice y runs from 0 to its depth, and everything is as
deep as the slice.
"""

from __future__ import annotations

from thermsim.case.vocabulary.schema import Case, Cooling, Face, Insert, Joint, Part, Place, Probe, Size, Zone

Box = tuple[float, float, float, float]  # two lower edges, two upper edges: (x0, y0, x1, y1)

# Axis normal to an outer face (0 is x), and the end of that axis where the face lies (0 the lower, -1 the upper).
AXIS_OF_FACE = {"left": (0, 0), "right": (0, -1), "front": (1, 0), "back": (1, -1), "bottom": (2, 0), "top": (2, -1)}

SLICE_DEPTH_mm = 1000.0  # [mm] depth of a slice without `depth_mm`: its watts are then watts per metre


def depth_mm(case: Case) -> float:
    """Depth of a slice [mm]."""
    return SLICE_DEPTH_mm if case.depth_mm is None else case.depth_mm


def part_box(case: Case, part: Part) -> Box:
    """Outline of a part in plan (x0, y0, x1, y1) [mm]."""
    return _centred(case, part.size_mm, part.centre_mm)


def zone_box(case: Case, part: Part, zone: Zone) -> Box:
    """Outline of a zone of that part [mm]; the part's own where the zone names no place."""
    if zone.corner_mm is None or zone.size_mm is None:
        return part_box(case, part)
    return _from_corner(case, part_box(case, part), zone.corner_mm, zone.size_mm)


def insert_box(case: Case, part: Part, insert: Insert) -> Box:
    """Outline of an insert of that part [mm]."""
    return _from_corner(case, part_box(case, part), insert.corner_mm, insert.size_mm)


def joint_box(case: Case, below: Part, above: Part) -> Box:
    """Where the joint between two parts lies [mm]: the rectangle they share in plan."""
    return shared(part_box(case, below), part_box(case, above))


def levels(case: Case) -> list[tuple[float, float, Part]]:
    """Lower and upper height [mm] of each part, from the bottom up."""
    found = []
    low = 0.0
    for part in case.parts:
        high = low + part.thickness_mm.value
        found.append((low, high, part))
        low = high
    return found


def parts_of_joint(case: Case, joint: Joint) -> tuple[Part, Part]:
    """The parts under and over a joint.

    Raises ValueError where the joint does not lie between two parts; the reader lets no such case through.
    """
    place = next(number for number, layer in enumerate(case.layers) if layer is joint)
    below = case.layers[place - 1] if place > 0 else None
    above = case.layers[place + 1] if place + 1 < len(case.layers) else None
    if not isinstance(below, Part) or not isinstance(above, Part):
        raise ValueError(f"joint {joint.joint!r} does not lie between two parts")
    return below, above


def stack_box(case: Case) -> Box:
    """The smallest rectangle in plan that holds every part [mm]."""
    boxes = [part_box(case, part) for part in case.parts]
    return (
        min(box[0] for box in boxes),
        min(box[1] for box in boxes),
        max(box[2] for box in boxes),
        max(box[3] for box in boxes),
    )


def face_box(case: Case, face: Face) -> Box:
    """Extent of an outer face [mm], in the two coordinates that run along it.

    top, bottom : (x0, y0, x1, y1) of the top or bottom part
    left, right : (y0, z0, y1, z1) of the whole stack
    front, back : (x0, z0, x1, z1) of the whole stack

    Raises ValueError for `exposed`, which is no single face.
    """
    if face in ("top", "bottom"):
        return part_box(case, case.parts[-1 if face == "top" else 0])
    height = levels(case)[-1][1]
    x0, y0, x1, y1 = stack_box(case)
    if face in ("left", "right"):
        return (y0, 0.0, y1, height)
    if face in ("front", "back"):
        return (x0, 0.0, x1, height)
    raise ValueError("`exposed` faces have no common extent")


def patch_box(case: Case, cooling: Cooling) -> Box | None:
    """The part of its face that an entry of `cooling` is limited to [mm], as `face_box`; None if it is not limited."""
    if cooling.wetted_mm is None and cooling.size_mm is None:
        return None
    face = face_box(case, cooling.face)
    lengthwise = 0
    if case.dimensions == 2 and cooling.face in ("left", "right"):
        lengthwise = 1  # the one length of a side patch in a slice is a height
    if cooling.wetted_mm is not None:
        size = [length.value for length in cooling.wetted_mm]
        middle = [(face[0] + face[2]) / 2, (face[1] + face[3]) / 2]
        corner = [centre - length / 2 for centre, length in zip(middle[lengthwise:], size, strict=False)]
    else:
        assert cooling.size_mm is not None and cooling.corner_mm is not None  # the schema wants both or none
        size = [length.value for length in cooling.size_mm]
        corner = [face[lengthwise + axis] + offset.value for axis, offset in enumerate(cooling.corner_mm)]
    if len(size) == 2:
        return (corner[0], corner[1], corner[0] + size[0], corner[1] + size[1])
    if lengthwise:
        return (face[0], corner[0], face[2], corner[0] + size[0])
    return (corner[0], face[1], corner[0] + size[0], face[3])


def probe_point(case: Case, probe: Probe) -> tuple[float, float, float]:
    """A probe in the coordinates of the stack (x, y, z) [mm]; in a slice it stands at half depth.

    Raises KeyError if the case has no such part; the reader lets no such case through.
    """
    low, part = {part.part: (low, part) for low, _, part in levels(case)}[probe.in_]
    box = part_box(case, part)
    x, *in_plan, height = (at.value for at in probe.at_mm)
    return (box[0] + x, box[1] + in_plan[0] if in_plan else (box[1] + box[3]) / 2, low + height)


def shared(first: Box, second: Box) -> Box:
    """The rectangle that two rectangles share; upper edges not above lower ones if there is none."""
    return (
        max(first[0], second[0]),
        max(first[1], second[1]),
        min(first[2], second[2]),
        min(first[3], second[3]),
    )


def _centred(case: Case, size_mm: Size, centre_mm: Place | None) -> Box:
    x, *in_plan = (0.0, 0.0) if centre_mm is None else (offset.value for offset in centre_mm)
    half_x = size_mm[0].value / 2
    if case.dimensions == 2:
        return (x - half_x, 0.0, x + half_x, depth_mm(case))
    y, half_y = in_plan[0], size_mm[1].value / 2
    return (x - half_x, y - half_y, x + half_x, y + half_y)


def _from_corner(case: Case, holder: Box, corner_mm: Place, size_mm: Size) -> Box:
    x0 = holder[0] + corner_mm[0].value
    if case.dimensions == 2:
        return (x0, holder[1], x0 + size_mm[0].value, holder[3])
    y0 = holder[1] + corner_mm[1].value
    return (x0, y0, x0 + size_mm[0].value, y0 + size_mm[1].value)

"""What parts stand on beside what lies under them: a rim along their edge, or legs, down to a part farther below."""

from __future__ import annotations

from thermsim.case.geometry.places import Box, part_box
from thermsim.case.vocabulary.schema import Case, Joint, Part


def stand_boxes(case: Case, part: Part) -> tuple[Box, ...]:
    """Outlines [mm] of what a part stands on: the sides of its rim, which do not overlap, then its legs; often none."""
    stand = part.stands_on
    if stand is None:
        return ()
    x0, y0, x1, y1 = part_box(case, part)
    boxes: list[Box] = []
    if stand.rim_mm is not None:
        wide = stand.rim_mm.value
        boxes = [(x0, y0, x0 + wide, y1), (x1 - wide, y0, x1, y1)]
        if case.dimensions == 3:
            boxes += [(x0 + wide, y0, x1 - wide, y0 + wide), (x0 + wide, y1 - wide, x1 - wide, y1)]
    for leg in stand.legs:
        corner = [at.value for at in leg.corner_mm]
        size = [side.value for side in leg.size_mm]
        if case.dimensions == 2:
            boxes.append((x0 + corner[0], y0, x0 + corner[0] + size[0], y1))
        else:
            boxes.append((x0 + corner[0], y0 + corner[1], x0 + corner[0] + size[0], y0 + corner[1] + size[1]))
    return tuple(boxes)


def cut_in_the_middle(case: Case, part: Part) -> tuple[Box, ...]:
    """Those of them that a section through the middle of the part, seen from the front, cuts."""
    _, y0, _, y1 = part_box(case, part)
    middle = 0.5 * (y0 + y1)
    return tuple(box for box in stand_boxes(case, part) if box[1] <= middle <= box[3])


def stand_name(part: Part) -> str:
    """What the rim or the legs of a part are called, as a body of its material."""
    return f"{part.part}, {'legs' if part.stands_on is not None and part.stands_on.rim_mm is None else 'rim'}"


def foot_name(part: Part) -> str:
    """What the joint under them is called."""
    return f"under {stand_name(part)}"


def beside_stand(case: Case, part: Part) -> tuple[Part, ...]:
    """The parts that stand between a part and the one its rim or its legs reach down to, from the bottom up.

    Empty where there is no such part below; the reader lets no such case through.
    """
    names = [one.part for one in case.parts]
    if part.stands_on is None or part.stands_on.down_to not in names:
        return ()
    return tuple(case.parts[names.index(part.stands_on.down_to) + 1 : names.index(part.part)])


def passes_joint(case: Case, part: Part, joint: Joint) -> bool:
    """Whether the rim or the legs of a part go on beside a joint, as they do beside the parts that it joins."""
    if part.stands_on is None:
        return False
    names = [layer.part if isinstance(layer, Part) else layer.joint for layer in case.layers]
    return names.index(part.stands_on.down_to) < case.layers.index(joint) < names.index(part.part)

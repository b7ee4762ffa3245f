"""The stack as text: a view from the front, widths to scale, in plain ASCII that every console can show."""

from __future__ import annotations

from dataclasses import dataclass

from thermsim.case.geometry.cooling_places import places_told
from thermsim.case.geometry.places import Box, face_box, insert_box, part_box, patch_box, stack_box
from thermsim.case.geometry.rims_and_legs import beside_stand, cut_in_the_middle, passes_joint, stand_boxes
from thermsim.case.geometry.zones import heated_boxes, powers_of
from thermsim.case.vocabulary.schema import Case, Film, Heat, Joint, MaterialGiven, Part
from thermsim.model.physics.boundary import boundary_of
from thermsim.model.physics.properties import is_void, joint_of
from thermsim.plausibility.dimensions import heat_W, map_W
from thermsim.rounding import value_told
from thermsim.units import UM

LINES = 14  # lines that all parts together take, about
LINE_OVER_COLUMN = 2.0  # height of a character of a console over its width, about
LEAST_WIDTH = 48

PATTERN = {"copper": "#", "silicon": "%", "laminate": ":", "aluminium": "=", "air": ".", "void": " "}
HEAT, JOINT, INSERT, HOLE, OTHER, UP, DOWN = "*", "~", "i", "o", "/", "^", "v"


@dataclass(frozen=True)
class Scale:
    """Columns of the drawing. left [mm] stands at column 0; step [mm] is one column; depth in lines a mm."""

    left: float
    step: float
    columns: int
    lines_per_mm: float

    def span(self, low_mm: float, high_mm: float) -> tuple[int, int]:
        """First column and the one after the last, at least one column wide."""
        first = min(round((low_mm - self.left) / self.step), self.columns - 1)
        return first, max(round((high_mm - self.left) / self.step), first + 1)

    def lines(self, thickness_mm: float) -> int:
        """How many lines of text a thickness [mm] takes."""
        return max(1, round(thickness_mm * self.lines_per_mm))


def drawing(case: Case, width: int = 72) -> str:
    """The stack from the front, top first: a block a part, a line a joint, heat as `*`, what cools beside it.

    Parameters
    ----------
    width : of the longest line, in characters (48 at least)
    """
    width = max(width, LEAST_WIDTH)
    columns = int(0.55 * width)
    box = stack_box(case)
    height = sum(part.thickness_mm.value for part in case.parts)
    scale = Scale(box[0], (box[2] - box[0]) / columns, columns, LINES / height)
    rows = [*_outside(case, scale, "top", UP)]
    for layer in reversed(case.layers):
        rows += _part(case, scale, layer) if isinstance(layer, Part) else [_joint(case, scale, layer)]
    rows += _outside(case, scale, "bottom", DOWN)
    label_width = width - columns - 2
    lines = [f"{picture}  {_cut(label, label_width)}".rstrip() for picture, label in rows]
    return "\n".join([*lines, _ruler(scale, box), *_words(case, scale, width)])


def _part(case: Case, scale: Scale, part: Part) -> list[tuple[str, str]]:
    count = scale.lines(part.thickness_mm.value)
    fill = _pattern(part.material)
    row = [" "] * scale.columns
    if part.around is not None:
        row = [_pattern(part.around.material)] * scale.columns
    _paint(row, scale, part_box(case, part), fill)
    for insert in part.inserts:
        _paint(row, scale, insert_box(case, part, insert), HOLE if is_void(insert.material) else INSERT)
    for other in case.parts:
        if part in beside_stand(case, other):
            for box in cut_in_the_middle(case, other) or stand_boxes(case, other):
                _paint(row, scale, box, _pattern(other.material))
    rows = [list(row) for _ in range(count)]
    label = f"{part.part}, {part.material.name or 'own material'}, {part.thickness_mm.told} mm"
    for heat in case.heat:
        if heat.in_ != part.part:
            continue
        heated = {"top": rows[:1], "bottom": rows[-1:], "volume": rows}[heat.at]
        for line in heated:
            for box in heated_boxes(case, heat).values():
                _paint(line, scale, box, HEAT)
        label += f", {power_in_words(case, heat)}"
    middle = count // 2
    return [("".join(line), label if number == middle else "") for number, line in enumerate(rows)]


def _joint(case: Case, scale: Scale, joint: Joint) -> tuple[str, str]:
    at = case.layers.index(joint)
    below, above = case.layers[at - 1], case.layers[at + 1]
    assert isinstance(below, Part) and isinstance(above, Part)  # the reader refuses anything else
    first, second = part_box(case, below), part_box(case, above)
    row = [" "] * scale.columns
    for other in case.parts:
        if passes_joint(case, other, joint):
            for box in cut_in_the_middle(case, other) or stand_boxes(case, other):
                _paint(row, scale, box, _pattern(other.material))
    low, high = scale.span(max(first[0], second[0]), min(first[2], second[2]))
    row[low:high] = JOINT * (high - low)
    return "".join(row), f"{joint.joint}, {joint_in_words(joint)}"


def power_in_words(case: Case, heat: Heat) -> str:
    """`141 W`, or with a map `145.8 W (141 W in zones, 4.8 W from heat.csv)`."""
    watts = f"{heat_W(case, heat):.4g} W"
    if heat.map is None:
        return watts
    from_map = f"{map_W(case, heat):.4g} W from {heat.map.file}"
    zones = sum(powers_of(case, heat).zones)
    return f"{watts} ({zones:.4g} W in zones, {from_map})" if zones else from_map


def joint_in_words(joint: Joint) -> str:
    """The film of a joint as the case gives it: `240 um`, `wedge 20 to 140 um (+x)`, `7.8 mm2K/W`."""
    film = joint.film_um
    if film is not None:
        return _film_in_words(film)
    if joint.resistance_mm2K_W is not None:
        return f"{joint.resistance_mm2K_W.told} mm2K/W"
    known = joint_of(joint)
    if known.film is not None:
        return f"about {known.film.value / UM:.3g} um"
    return f"as {joint.material}"


def _film_in_words(film: Film) -> str:
    if film.low is not None and film.high is not None:
        return f"wedge {film.low.told} to {film.high.told} um ({film.towards})"
    if film.edge is not None and film.centre is not None:
        return f"edge {film.edge.told}, centre {film.centre.told} um"
    return f"film from {film.file}" if film.file is not None else f"{value_told(film.value or 0.0, film.plus_minus)} um"


def _outside(case: Case, scale: Scale, face: str, arrow: str) -> list[tuple[str, str]]:
    rows = []
    for cooling, place in zip(case.cooling, places_told(case), strict=True):
        if cooling.face == face:
            row = [" "] * scale.columns
            _paint(row, scale, patch_box(case, cooling) or face_box(case, cooling.face), arrow)
            rows.append(("".join(row), f"{cooling.label}{place}: {boundary_of(case, cooling).words}"))
    return rows or [(" " * scale.columns, f"{face}: insulated")]


def _ruler(scale: Scale, box: Box) -> str:
    text = f" {box[2] - box[0]:g} mm "
    return f"|{text.center(scale.columns - 2, '-')}|"


def _words(case: Case, scale: Scale, width: int) -> list[str]:
    """What the picture cannot show: faces that are not top or bottom, and how far it is to scale."""
    words = [
        f"{cooling.label}: {boundary_of(case, cooling).words}"
        + (f" (every face{f' of {cooling.of}' if cooling.of else ''} that looks into a void)")
        * (cooling.face == "exposed")
        for cooling in case.cooling
        if cooling.face not in ("top", "bottom")
    ]
    stretch = LINE_OVER_COLUMN * scale.step * scale.lines_per_mm
    words.append(f"heights are drawn {stretch:.2g} times the widths; joints as one line ({JOINT}), not to scale")
    thin = [part.part for part in case.parts if part.thickness_mm.value * scale.lines_per_mm < 0.5]
    if thin:
        words.append(f"thinner than a line, not to scale: {', '.join(thin)}")
    if case.heat:
        words.append(f"{HEAT} heat is made here")
    if any(part.inserts for part in case.parts):
        words.append(f"{INSERT} an insert, {HOLE} a void: where one lies somewhere along the view")
    return [line for word in words for line in _wrapped(word, width)]


def _wrapped(text: str, width: int) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return [_cut(line, width) for line in lines]


def _paint(row: list[str], scale: Scale, box: Box, mark: str) -> None:
    low, high = scale.span(box[0], box[2])
    row[low:high] = mark * (high - low)


def _pattern(given: MaterialGiven) -> str:
    name = given.name or ""
    return next((pattern for word, pattern in PATTERN.items() if name.startswith(word)), OTHER)


def _cut(text: str, width: int) -> str:
    plain = text.encode("ascii", "replace").decode("ascii")
    return plain if len(plain) <= width else plain[: width - 2] + ".."

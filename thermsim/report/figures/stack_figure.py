"""The stack from the front, to scale: materials by hatch and by name, films drawn thick enough to be seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thermsim.case.geometry.cooling_places import places_told
from thermsim.case.geometry.places import Box, face_box, insert_box, part_box, patch_box, stack_box
from thermsim.case.geometry.rims_and_legs import beside_stand, cut_in_the_middle, passes_joint, stand_boxes
from thermsim.case.geometry.zones import heated_boxes
from thermsim.case.vocabulary.schema import Case, Cooling, Joint, MaterialGiven, Part
from thermsim.model.physics.boundary import boundary_of
from thermsim.report.drawing.labels import Labels, Spot
from thermsim.report.drawing.style import FAINT, INK, PAPER, SMALL, SOLID, TEXT, canvas, styled
from thermsim.report.drawing.text_stack import joint_in_words, power_in_words
from thermsim.report.figures.section_figure import in_words, name_bands, stretch
from thermsim.report.words.titles import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN = 5.6  # [in] drawn width of the stack itself
FILM_SHARE = 0.022  # drawn thickness of a film, as a share of the height of the stack: true films could not be seen
ARROW_MM = 4.0  # [mm] on paper from one arrow of heat to the next, about

# Hatch and shade by the beginning of a material's name; the empty last name is that of all others.
LOOKS = {
    "copper": ("", "#ddd3c8"),
    "brass": ("", "#e6e0cc"),
    "silicon": ("xxx", "#eef0f2"),
    "laminate": ("---", "#eef1ea"),
    "aluminium": ("///", "#eceff1"),
    "air": ("..", "#ffffff"),
    "": ("\\\\\\", "#f3f3f3"),
}


@dataclass(frozen=True)
class Drawn:
    """A layer as drawn: heights [mm of the drawing] with films thickened."""

    layer: Part | Joint
    low: float
    high: float
    box: Box


def stack(case: Case, ax: Axes | None = None) -> Figure:
    """Side view of a case; needs no solution."""
    with styled():
        return _draw(case, ax)


def layers_drawn(case: Case) -> list[Drawn]:
    """Every layer from the bottom up; a film as thick as it must be to be seen."""
    film = FILM_SHARE * sum(part.thickness_mm.value for part in case.parts)
    drawn: list[Drawn] = []
    height = 0.0
    for number, layer in enumerate(case.layers):
        if isinstance(layer, Part):
            box, thickness = part_box(case, layer), layer.thickness_mm.value
        else:
            below, above = case.layers[number - 1], case.layers[number + 1]
            assert isinstance(below, Part) and isinstance(above, Part)  # the reader refuses anything else
            first, second = part_box(case, below), part_box(case, above)
            box, thickness = (max(first[0], second[0]), 0.0, min(first[2], second[2]), 0.0), film
        drawn.append(Drawn(layer, height, height + thickness, box))
        height += thickness
    return drawn


def _draw(case: Case, ax: Axes | None) -> Figure:
    drawn = layers_drawn(case)
    x0, _, x1, _ = stack_box(case)
    height = drawn[-1].high
    times = stretch(x1 - x0, height)
    tall_in = WIDTH_IN * times * height / (x1 - x0)
    is_own_figure = ax is None
    notes = _notes(case, times)
    figure, ax = canvas(ax, WIDTH_IN + 4.5, tall_in + 2.15 + 0.19 * len(notes))
    ax.set_xlim(x0, x1)
    ax.set_ylim(0.0, height)
    ax.set_aspect(times)
    if is_own_figure:
        w, h = figure.get_size_inches()
        ax.set_position((0.65 / w, (0.95 + 0.19 * len(notes)) / h, WIDTH_IN / w, tall_in / h))
    ax.apply_aspect()
    for one in drawn:
        _fill(ax, case, one, (x0, x1))
    _heat(ax, case, drawn)
    _cooling(ax, case, (0.0, height))
    names = [(_name(one.layer, case), (one.box[2], 0.5 * (one.low + one.high))) for one in drawn]
    name_bands(ax, names, 0.0, height)
    ax.set_yticks([])
    ax.set_xlabel("x from the axis of the stack [mm]", labelpad=1)
    ax.tick_params(axis="x", pad=33, length=0)
    for side in ax.spines.values():
        side.set_visible(False)
    titled(ax, case, "the stack from the front", pad=38)
    for number, note in enumerate(reversed(notes)):
        place: dict[str, Any] = {"xycoords": "figure fraction", "textcoords": "offset points"}
        ax.annotate(note, (0.0, 0.0), (14.0, 8.0 + 13.5 * number), fontsize=SMALL, **place)
    return figure


def _notes(case: Case, times: int) -> list[str]:
    notes = [f"Widths to scale, heights {in_words(times)}."]
    if case.joints:
        notes[0] += " Joints are drawn thicker than they are, to be seen."
    if case.heat:
        notes[0] += " A thick bar or a shade: heat is made here."
    if any(part.inserts for part in case.parts):
        notes.append("Dashed: an insert, seen through its part.")
    if any(len(cut_in_the_middle(case, part)) < len(stand_boxes(case, part)) for part in case.parts):
        notes.append("Dashed beside what lies between: a rim or legs before and behind the middle.")
    for cooling in case.cooling:
        if cooling.face not in ("top", "bottom"):
            whose = f" of {cooling.of}" if cooling.of else ""
            every = f" (every face{whose} that looks into a void)" if cooling.face == "exposed" else ""
            notes.append(f"{cooling.environment or cooling.face}: {boundary_of(case, cooling).words}{every}")
    return notes


def _look(given: MaterialGiven) -> tuple[str, str]:
    name = given.name or ""
    return next(look for word, look in LOOKS.items() if name.startswith(word))


def _fill(ax: Axes, case: Case, one: Drawn, edges: tuple[float, float]) -> None:
    if isinstance(one.layer, Joint):
        _stands(ax, case, one, [other for other in case.parts if passes_joint(case, other, one.layer)], 0.0)
        _block(ax, (one.box[0], one.low, one.box[2], one.high), fc=FAINT, lw=0.6)
        return
    part = one.layer
    if part.around is not None and part.around.material.name != "void":
        hatch, shade = _look(part.around.material)
        _block(ax, (edges[0], one.low, edges[1], one.high), fc=shade, hatch=hatch, ec=FAINT, lw=0.6)
    _stands(ax, case, one, [other for other in case.parts if part in beside_stand(case, other)], 0.6)
    hatch, shade = _look(part.material)
    _block(ax, (one.box[0], one.low, one.box[2], one.high), fc=shade, hatch=hatch, ec=FAINT, lw=0.0)
    for insert in part.inserts:
        box = insert_box(case, part, insert)
        hatch, shade = ("", PAPER) if insert.material.name == "void" else _look(insert.material)
        _block(ax, (box[0], one.low, box[2], one.high), fc=shade, hatch=hatch, ec=FAINT, lw=0.9, ls="--")
    _block(ax, (one.box[0], one.low, one.box[2], one.high), fill=False, lw=1.2)


def _block(ax: Axes, box: Box, **style: Any) -> None:
    from matplotlib.patches import Rectangle

    given = {"ec": INK, "clip_on": False, **style}
    ax.add_patch(Rectangle((box[0], box[1]), box[2] - box[0], box[3] - box[1], **given))


def _stands(ax: Axes, case: Case, one: Drawn, parts: list[Part], lw: float) -> None:
    """Rims and legs of some parts, as they pass what is drawn: as far as the middle cuts them, else as outlines."""
    for part in parts:
        hatch, shade = _look(part.material)
        cut = cut_in_the_middle(case, part)
        for box in stand_boxes(case, part):
            if box in cut:
                _block(ax, (box[0], one.low, box[2], one.high), fc=shade, hatch=hatch, ec=FAINT, lw=lw)
            elif lw > 0.0:
                _block(ax, (box[0], one.low, box[2], one.high), fill=False, ec=FAINT, lw=0.9, ls="--")


def _heat(ax: Axes, case: Case, drawn: list[Drawn]) -> None:
    """A bar along the heated face (or a shade over the heated part), as wide as what makes heat."""
    for heat in case.heat:
        one = next(one for one in drawn if isinstance(one.layer, Part) and one.layer.part == heat.in_)
        for box in heated_boxes(case, heat).values():
            if heat.at == "volume":
                _block(ax, (box[0], one.low, box[2], one.high), fc=SOLID, ec="none", alpha=0.45)
            else:
                at = one.low if heat.at == "bottom" else one.high
                ax.plot([box[0], box[2]], [at, at], color=SOLID, lw=4.5, solid_capstyle="butt", zorder=6)


def _cooling(ax: Axes, case: Case, heights: tuple[float, float]) -> None:
    """Arrows where heat leaves by top and bottom, and what takes it in words."""
    labels = Labels(ax)
    for face, height, away in (("bottom", heights[0], -1.0), ("top", heights[1], 1.0)):
        named = zip(case.cooling, places_told(case), strict=True)
        entries = [(cooling, place) for cooling, place in named if cooling.face == face]
        for cooling, _ in entries:
            box = patch_box(case, cooling) or face_box(case, cooling.face)
            _arrows(ax, (box[0], box[2]), height, away, _arrow_style(case, cooling))
        words = "; ".join(f"{one.label}{place}: {boundary_of(case, one).words}" for one, place in entries)
        spot = Spot(
            0.5 * sum(ax.get_xlim()), height, TEXT, offset_points=(0.0, away * 19.0), up="bottom" if away > 0 else "top"
        )
        labels.place(words or f"{face}: insulated", [spot], color=INK)


def _arrow_style(case: Case, cooling: Cooling) -> str:
    """Arrows that leave the stack, enter it, or (nothing makes heat, so nobody knows) point both ways."""
    boundary = boundary_of(case, cooling)
    if boundary.is_prescribed:
        return "-|>" if boundary.influx_W_m2 > 0.0 else "<|-"
    return "<|-" if case.heat else "<|-|>"


def _arrows(ax: Axes, span: tuple[float, float], height: float, away: float, style: str) -> None:
    left, right = ax.transData.transform([(span[0], 0.0), (span[1], 0.0)])[:, 0]
    count = max(2, round((right - left) / ax.figure.dpi * 25.4 / ARROW_MM))
    look = {"arrowstyle": style, "color": FAINT, "lw": 0.8, "shrinkA": 0, "shrinkB": 2}
    for number in range(count):
        x = span[0] + (number + 0.5) / count * (span[1] - span[0])
        far = (0.0, away * 17.0)
        ax.annotate("", (x, height), far, textcoords="offset points", arrowprops=look, annotation_clip=False)


def _name(layer: Part | Joint, case: Case) -> str:
    if isinstance(layer, Joint):
        return f"{layer.joint}: {joint_in_words(layer)}"
    sides = " x ".join(f"{side.told}" for side in layer.size_mm)
    words = f"{layer.part}: {layer.material.name or 'own material'}, {sides} mm, {layer.thickness_mm.told} mm thick"
    for heat in case.heat:
        if heat.in_ == layer.part:
            words += f", {power_in_words(case, heat)}"
    return words

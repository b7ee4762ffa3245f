"""What must be said before a step that cannot be undone: gallium alloys against aluminium and copper.

Sources: liquid-metal embrittlement of aluminium by gallium is textbook knowledge (e.g. Joseph, Picat, Barbier,
Eur. Phys. J. AP 5 (1999) 19, from memory); that gallium alloys soak into bare copper is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from thermsim.case.vocabulary.schema import Case, Joint, MaterialGiven, Option, Part
from thermsim.model.physics.properties import is_void, joint_of, material_of
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.slip import Slip

GALLIUM = re.compile(r"gallium|galinstan|liquid[ _-]*metal|\bega?in\b", re.IGNORECASE)
ALUMINIUM = re.compile(r"\balu(mini?um)?\b", re.IGNORECASE)
COPPER = ("copper", "copper alloy", "brass")
# Range of conductivity that gallium alloys have in a joint, and no other filler that wets a face (common practice, no
# source).
GALLIUM_CONDUCTIVITY = usual.Usual(12.0, 40.0, "W/mK")
THICKEST_GALLIUM_um = 150.0


def option_of(case: Case) -> Option | None:
    """The option that a case was changed by."""
    return next((option for option in case.options if option.option == case.option), None)


def gallium_cautions(case: Case, option: Option | None = None) -> Iterator[Slip]:
    """Places where a gallium alloy meets aluminium (danger) or bare copper (notice).

    A joint of a class holds gallium if its class does. One given by values does if its name says so, or if an option
    whose name says so gave them. A joint that only conducts as gallium does is asked about where it meets aluminium.
    """
    places = gallium_places(case, option)
    for name, neighbours in places:
        for part in neighbours:
            for metal, where in _metals(case, part):
                yield from _meeting(name, metal, where)
    told = {name for name, _ in places}
    for joint in case.joints:
        if joint.joint not in told and _conducts_like_gallium(joint):
            around = _parts_next_to(case, _place(case, joint))
            metals = [where for part in around for metal, where in _metals(case, part) if metal.startswith("aluminium")]
            if metals:
                yield Slip(
                    "warning",
                    joint.joint,
                    f"the values of {joint.joint} are those of a gallium alloy, and {metals[0]} is aluminium: "
                    "gallium ruins it, within hours and for good",
                    "if it is a gallium alloy, take another joint material, or a part of nickel-plated copper",
                )
    touched = {part.part for _, neighbours in places for part in neighbours}
    apart = [part for part in case.parts if part.part not in touched]
    far = [where for part in apart for metal, where in _metals(case, part) if metal == "aluminium"]
    if places and far:
        yield Slip(
            "warning",
            far[0],
            f"{far[0]} is aluminium, and this stack holds a gallium alloy elsewhere: a drop that runs out ruins it",
            "mask the parts around, use as little as wets the face, and keep tools apart",
        )


def _meeting(name: str, metal: str, where: str) -> Iterator[Slip]:
    """What a gallium alloy does to one metal."""
    remedy = (
        "another joint material, or a part of nickel-plated copper; "
        "a plating on aluminium protects it only until its first scratch"
    )
    if metal == "aluminium":
        message = (
            f"{name} brings a gallium alloy to {where}, which is aluminium: it soaks into the grain "
            "boundaries and the part crumbles, within hours and for good"
        )
        yield Slip("danger", name, message, remedy)
    elif metal == "aluminium by density":
        message = (
            f"{name} brings a gallium alloy to {where}: is it aluminium? It conducts and weighs as aluminium does, "
            "which gallium makes crumble, within hours and for good"
        )
        yield Slip("danger", name, message, f"find out first; if it is: {remedy}")
    elif metal == "aluminium by conductivity":
        message = (
            f"{name} brings a gallium alloy to {where}: is it aluminium? It may be by its conductivity, and gallium "
            "makes aluminium crumble, within hours and for good"
        )
        yield Slip("warning", name, message, "name its material, or give `density_kg_m3`")
    elif metal == "copper":
        yield Slip(
            "notice",
            name,
            f"{name} brings a gallium alloy to {where}: bare copper slowly takes it up",
            "nickel-plate the copper, or plan to refresh the film after some months",
        )


def gallium_places(case: Case, option: Option | None) -> list[tuple[str, list[Part]]]:
    """Names of joints and parts that hold gallium, each with the parts it touches."""
    built = [] if option is None else case.built_from(option.option)
    speaking = [one for one in built if GALLIUM.search(one.option)]
    changes = {key: value for one in speaking for key, value in one.changes.items()}
    added = [layer for one in speaking for entry in one.adds for layer in entry.layers if isinstance(layer, Joint)]
    changes |= {joint.joint: {} for joint in added if joint.material is None}
    found: list[tuple[str, list[Part]]] = []
    for number, layer in enumerate(case.layers):
        around = [other for other in _parts_next_to(case, number) if other is not layer]
        if isinstance(layer, Joint):
            by_name = GALLIUM.search(layer.joint) is not None and layer.material is None
            if joint_of(layer).holds_gallium or by_name or _made_gallium(changes, layer):
                found.append((layer.joint, around))
        elif any(_holds_gallium(entry) for entry in _bodies(layer)):
            found.append((layer.part, [*around, layer]))
    return found


def _made_gallium(changes: dict[str, Any], joint: Joint) -> bool:
    """Whether changes of an option named after gallium give a joint values of its own, and no class of another kind."""
    given = [(key, value) for key, value in changes.items() if _names(key, joint.joint)]
    by_class = any(
        key.endswith(".material") or (isinstance(value, dict) and "material" in value) for key, value in given
    )
    return bool(given) and (joint.material is None or not by_class)


def _conducts_like_gallium(joint: Joint) -> bool:
    k, film = joint.conductivity_W_mK, joint.film_um
    if k is None or film is None or film.file is not None:
        return False
    thickest = film.value or max(end.value for end in film.ends)
    return GALLIUM_CONDUCTIVITY.holds(k.value) and thickest <= THICKEST_GALLIUM_um


def _place(case: Case, joint: Joint) -> int:
    return next(number for number, layer in enumerate(case.layers) if layer is joint)


def _names(key: str, joint: str) -> bool:
    """Whether the key of a change, such as `solder.film_um` or `layers.solder`, is about that joint."""
    return f".{joint}." in f".{key}."


def _parts_next_to(case: Case, number: int) -> list[Part]:
    """The nearest part under and the nearest part over a layer; a joint between does not keep an alloy away."""
    below = next((part for part in reversed(case.layers[:number]) if isinstance(part, Part)), None)
    above = next((part for part in case.layers[number + 1 :] if isinstance(part, Part)), None)
    return [part for part in (below, above) if part is not None]


def _bodies(part: Part) -> list[MaterialGiven]:
    around = [part.around.material] if part.around is not None else []
    return [part.material, *(insert.material for insert in part.inserts), *around]


def _holds_gallium(given: MaterialGiven) -> bool:
    return not is_void(given) and material_of(given).holds_gallium


def _metals(case: Case, part: Part) -> Iterator[tuple[str, str]]:
    """The metals of a part that gallium attacks, and where they are; aluminium by what it looks like, too."""
    if ALUMINIUM.search(part.part) and part.material.name is None:
        yield "aluminium", part.part
        return
    for number, given in enumerate(_bodies(part)):
        where = part.part if number == 0 else f"an insert or filling of {part.part}"
        if is_void(given):
            continue
        if material_of(given).is_aluminium:
            yield "aluminium", where
        elif given.name in COPPER:
            yield "copper", where
        elif given.name is None and usual.role_of(case, part) != "die":
            yield from _unnamed(given, where)


def _unnamed(given: MaterialGiven, where: str) -> Iterator[tuple[str, str]]:
    """Whether values given in place are those of aluminium or copper."""
    density = given.density_kg_m3.value if given.density_kg_m3 is not None else None
    conducts = float(material_of(given).along_z(60.0))
    if density is None:
        if usual.ALUMINIUM_CONDUCTIVITY.holds(conducts):
            yield "aluminium by conductivity", where
    elif usual.ALUMINIUM_kg_m3.holds(density) and conducts >= usual.ALUMINIUM_CONDUCTIVITY.low:
        yield "aluminium by density", where
    elif usual.COPPER_kg_m3.holds(density):
        yield "copper", where

"""What must be said before a step that cannot be undone: gallium alloys against aluminium and copper.

Sources: liquid-metal embrittlement of aluminium by gallium is textbook knowledge (e.g. Joseph, Picat, Barbier,
Eur. Phys. J. AP 5 (1999) 19, from memory); that gallium alloys soak into bare copper is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from thermsim.case.schema import Case, Joint, MaterialGiven, Option, Part
from thermsim.model.properties import is_void, joint_of, material_of

GALLIUM = re.compile(r"gallium|liquid[ _-]*metal", re.IGNORECASE)
ALUMINIUM = re.compile(r"\balumini?um\b", re.IGNORECASE)
COPPER = ("copper", "copper alloy", "brass")


@dataclass(frozen=True)
class Slip:
    """A likely slip or a caution: how grave, where, what, and what to do about it."""

    severity: Literal["danger", "warning", "notice"]
    place: str
    message: str
    remedy: str


def gallium_cautions(case: Case, option: Option | None = None) -> Iterator[Slip]:
    """Places where a gallium alloy meets aluminium (danger) or bare copper (notice).

    A joint of a class holds gallium if its class does. One without a class does if its name says so, or if an option
    whose name says so changes it.
    """
    places = _gallium_places(case, option)
    for name, neighbours in places:
        for part in neighbours:
            for metal, where in _metals(part):
                if metal == "aluminium":
                    yield Slip(
                        "danger",
                        name,
                        f"{name} brings a gallium alloy to {where}, which is aluminium: it soaks into the grain "
                        "boundaries and the part crumbles, within hours and for good",
                        "another joint material, or a part of nickel-plated copper; "
                        "a plating on aluminium protects it only until its first scratch",
                    )
                elif metal == "copper":
                    yield Slip(
                        "notice",
                        name,
                        f"{name} brings a gallium alloy to {where}: bare copper slowly takes it up",
                        "nickel-plate the copper, or plan to refresh the film after some months",
                    )
    touched = {part.part for _, neighbours in places for part in neighbours}
    apart = [part for part in case.parts if part.part not in touched]
    far = [where for part in apart for metal, where in _metals(part) if metal == "aluminium"]
    if places and far:
        yield Slip(
            "warning",
            far[0],
            f"{far[0]} is aluminium, and this stack holds a gallium alloy elsewhere: a drop that runs out ruins it",
            "mask the parts around, use as little as wets the face, and keep tools apart",
        )


def _gallium_places(case: Case, option: Option | None) -> list[tuple[str, list[Part]]]:
    """Names of joints and parts that hold gallium, each with the parts it touches."""
    speaks = option is not None and GALLIUM.search(option.option) is not None
    changed = option.changes if option is not None and speaks else {}
    found: list[tuple[str, list[Part]]] = []
    for number, layer in enumerate(case.layers):
        around = [other for other in _parts_next_to(case, number) if other is not layer]
        if isinstance(layer, Joint):
            named = GALLIUM.search(layer.joint) is not None or any(_names(key, layer.joint) for key in changed)
            if joint_of(layer).holds_gallium or (named and layer.material is None):
                found.append((layer.joint, around))
        elif any(_holds_gallium(entry) for entry in _bodies(layer)):
            found.append((layer.part, [*around, layer]))
    return found


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


def _metals(part: Part) -> Iterator[tuple[str, str]]:
    """The metals of a part that gallium attacks, and where they are."""
    if ALUMINIUM.search(part.part) and part.material.name is None:
        yield "aluminium", part.part
    for number, given in enumerate(_bodies(part)):
        where = part.part if number == 0 else f"an insert or filling of {part.part}"
        if is_void(given):
            continue
        if material_of(given).is_aluminium:
            yield "aluminium", where
        elif given.name in COPPER:
            yield "copper", where

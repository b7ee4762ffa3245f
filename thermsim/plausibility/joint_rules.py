"""Likely slips in joints: films, conductivities and resistances out of the usual, or out of their class."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from thermsim.case.inputs.values import inputs
from thermsim.case.vocabulary.schema import Case, Joint
from thermsim.materials import catalogue
from thermsim.materials.catalogue import JointClass, Range
from thermsim.model.physics.properties import joint_of
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.slip import Slip
from thermsim.plausibility.usual_ranges import Usual, meant, outside

# A value so many times outside the range of its joint class is a likely slip, and nearer ones are a special joint; our
# own choice.
FAR_FACTOR = 5.0
SOLDER = re.compile(r"solder", re.IGNORECASE)


def joint_slips(case: Case, joint: Joint, holds_gallium: bool = False) -> Iterator[Slip]:
    """Everything about one joint but its tolerance; `holds_gallium` where its values are those of a gallium alloy."""
    name = joint.joint
    film = _film_um(case, joint)
    usual_film = film is None or all(usual.FILM.holds(end) for end in film)
    if film is not None and not usual_film:
        worst = film[0] if not usual.FILM.holds(film[0]) else film[1]
        other = film[1] if worst == film[0] else film[0]
        yield from outside(worst, usual.FILM, usual.FILM_UNITS, f"film of {name}", f"{name}.film_um", also=other)
    if joint.conductivity_W_mK is not None:
        k = joint.conductivity_W_mK.value
        yield from outside(
            k, usual.JOINT_CONDUCTIVITY, usual.DECIMALS[:4], f"conductivity of {name}", f"{name}.conductivity_W_mK"
        )
    if joint.resistance_mm2K_W is not None:
        yield from outside(
            joint.resistance_mm2K_W.value,
            usual.JOINT_RESISTANCE,
            usual.RESISTANCE_UNITS,
            f"resistance of {name}",
            f"{name}.resistance_mm2K_W",
        )
    kind = catalogue.joint("gallium film") if holds_gallium else _class_of(joint)
    if kind is not None:
        yield from _against_class(joint, kind, film if usual_film else None)
    yield from _left_out(joint)


def joint_tolerance(case: Case, joint: Joint) -> Iterator[Slip]:
    """A resistance that is open by more than half."""
    middle = joint_of(joint).middle()
    if middle is not None and middle.plus_minus > 0.5 * middle.value:
        share = 100 * middle.plus_minus / middle.value
        message = (
            f"the resistance of {joint.joint} is known to within {share:.0f} % only: not fit to tell options apart"
        )
        yield Slip("notice", joint.joint, message, _narrower(case, joint))


def _narrower(case: Case, joint: Joint) -> str:
    """How the number of a joint that is known worst is found: on the bench, or by a test that was run."""
    own = [
        one for one in inputs(case) if one.owner == joint.joint and one.plus_minus > 0.0 and one.acts_on == "balance"
    ]
    if not own:
        return "measure its film"
    worst = max(own, key=lambda one: one.plus_minus / one.value)
    low, high = max(worst.value - worst.plus_minus, 0.1 * worst.value), worst.value + worst.plus_minus
    path = f'"{worst.path}"' if " " in worst.path else worst.path
    return (
        "measure its film, or see which value gives the readings of a test: "
        f"`thermsim sweep CASE --vary {path} {low:.3g} {high:.3g} 9`"
    )


def _film_um(case: Case, joint: Joint) -> tuple[float, float] | None:
    """Thinnest and thickest film that the case writes down [um], in a map too."""
    film = joint.film_um
    if film is None:
        return None
    if film.file is not None:
        table = np.asarray(case.tables[film.file], dtype=np.float64)
        return float(table.min()), float(table.max())
    numbers = [end.value for end in film.ends] or [film.value or 0.0]
    return min(numbers), max(numbers)


def _left_out(joint: Joint) -> Iterator[Slip]:
    name = joint.joint
    if joint.film_um is not None and joint.boundary_mm2K_W is None and joint.material is None:
        yield Slip(
            "notice",
            f"{name}.boundary_mm2K_W",
            f"{name} has no boundary resistance: counted as 0, which no real joint has",
            "give `boundary_mm2K_W` (often 0.5 to 8 mm2K/W, both faces together)",
        )
    if joint.wetted_fraction is not None and joint.wetted_fraction.value < 0.5:
        yield Slip(
            "notice",
            f"{name}.wetted_fraction",
            f"only {100 * joint.wetted_fraction.value:.3g} % of {name} is wetted",
            "check that it is a fraction, not what is missing",
        )


def _class_of(joint: Joint) -> JointClass | None:
    """The class of a joint; that of a joint called solder which conducts as solder does is taken from its name."""
    if joint.material is not None:
        return catalogue.joint(joint.material)
    solder = catalogue.joint("indium solder")
    k = joint.conductivity_W_mK
    if SOLDER.search(joint.joint) and k is not None and _near(k.value, solder.conductivity_W_mK):
        return solder
    return None


def _near(value: float, bounds: Range | None) -> bool:
    return bounds is None or 0.5 * bounds.low <= value <= 1.5 * bounds.high


def _against_class(joint: Joint, kind: JointClass, film_um: tuple[float, float] | None) -> Iterator[Slip]:
    """Values beside a joint class that lie well outside its range."""
    for end in dict.fromkeys(film_um or ()):
        yield from _one(joint, "film_um", end, kind, kind.film_um, "um")
    for key, bounds, unit in (
        ("conductivity_W_mK", kind.conductivity_W_mK, "W/mK"),
        ("boundary_mm2K_W", kind.boundary_mm2K_W, "mm2K/W"),
        ("resistance_mm2K_W", kind.resistance_mm2K_W, "mm2K/W"),
    ):
        given = getattr(joint, key)
        if given is not None:
            yield from _one(joint, key, given.value, kind, bounds, unit)


def _one(joint: Joint, key: str, value: float, kind: JointClass, bounds: Range | None, unit: str) -> Iterator[Slip]:
    if bounds is None or _near(value, bounds):
        return
    far = key != "boundary_mm2K_W" and (value >= FAR_FACTOR * bounds.high or value <= bounds.low / FAR_FACTOR)
    usual_here = Usual(bounds.low, bounds.high, unit)
    remedy = meant(value, usual_here, (*usual.FILM_UNITS, *usual.DECIMALS[:2])) if key == "film_um" else ""
    if not remedy and key == "conductivity_W_mK" and "W/mK" in kind.note:
        remedy = kind.note
    if not remedy and key == "film_um":
        remedy = "check the thickness and its unit, or the joint class: the two do not go together"
    yield Slip(
        "warning" if far else "notice",
        f"{joint.joint}.{key}",
        f"{value:g} {unit} lies outside what {kind.name!r} delivers in practice, {bounds.low:g} to {bounds.high:g}",
        remedy or "check the number and its unit",
    )

"""Likely slips about where heat is made and how it leaves: forgotten faces, bare contacts, the wrong side of a die."""

from __future__ import annotations

from collections.abc import Iterator

from thermsim.case.geometry.places import part_box, shared
from thermsim.case.vocabulary.cooling import LOOP
from thermsim.case.vocabulary.schema import Case, Cooling, Part
from thermsim.model.physics.coolant_loop import Loop
from thermsim.model.physics.properties import is_void, material_of
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.coverage import area_mm2
from thermsim.plausibility.dimensions import heat_W, part_called
from thermsim.plausibility.heat_paths import Ways, acting_mm2, film_conductances_W_K, ways_of
from thermsim.plausibility.slip import Severity, Slip
from thermsim.plausibility.usual_ranges import in_full, outside, role_of
from thermsim.units import MM2

# Materials that are cast, painted, soldered or pressed on: they fill their own contact.
WETS = frozenset(
    (
        "gallium",
        "gallium-indium",
        "gallium-indium-tin",
        "indium",
        "solder, tin-silver-copper",
        "solder, gold-tin",
        "epoxy",
        "underfill",
        "mould compound",
        "paste",
        "phase-change film",
        "air",
        "water",
    )
)
# materials of boards: a part on one is held by balls or bumps, so that a bare contact is no slip
LAMINATES = ("laminate", "laminate with copper")
# A flat stack whose top and bottom have less than this share of the conductance of all films is cooled sideways, which
# is probably a slip; our own choice.
LEAST_SHARE_OF_ENDS = 0.1
NOTABLE_RISE_K = 50.0


def heat_balance(case: Case) -> Iterator[Slip]:
    """No heat at all; heat that cannot leave as the films stand."""
    power = sum(heat_W(case, heat) for heat in case.heat)
    if power <= 0.0:
        yield from _no_heat(case)
        return
    films = film_conductances_W_K(case)
    rises = [power / sum(films)] if sum(films) > 0.0 else []
    for heat in case.heat:
        total = ways_of(case, heat).total
        rises += [heat_W(case, heat) / total] if total > 0.0 else []
    ends = sum(film for film, cooling in zip(films, case.cooling, strict=True) if cooling.face in ("top", "bottom"))
    sideways = ends < LEAST_SHARE_OF_ENDS * sum(films)
    rise = max(rises, default=0.0)
    if rise <= (NOTABLE_RISE_K if sideways else usual.MOST_FILM_RISE_K):
        return
    by_strength = sorted(zip(films, case.cooling, strict=True), key=lambda pair: -pair[0])
    through = ", ".join(dict.fromkeys(cooling.label for film, cooling in by_strength if film > 0.0))
    cooled = {cooling.face for film, cooling in by_strength if film > 0.0}
    bare = [face for face in ("top", "bottom") if face not in cooled]
    nothing = f"nothing cools the {' and the '.join(bare)}; " if bare else ""
    yield Slip(
        "warning",
        "cooling",
        f"{nothing}{in_full(power)} W must leave through {through}: at least {in_full(rise)} K above the fluid",
        "check which `face` each entry of `cooling` names, film coefficients (W/m2K), wetted areas and powers"
        + _weak_film(case, power),
    )


def _weak_film(case: Case, power_W: float) -> str:
    """What the film on the end that conducts better would have to be, where that is far from what it is."""
    ends = [c for c in case.cooling if c.face in ("top", "bottom") and c.film_W_m2K is not None]
    if not ends:
        return ""

    def conducts(cooling: Cooling) -> tuple[float, float]:
        given = case.parts[-1 if cooling.face == "top" else 0].material
        return (0.0 if is_void(given) else float(material_of(given).along_z(usual.HOT_C))), acting_mm2(case, cooling)

    best = max(ends, key=conducts)
    area_mm2 = acting_mm2(case, best)
    film = 0.0 if best.film_W_m2K is None else best.film_W_m2K.value
    needed = power_W / (area_mm2 * MM2 * NOTABLE_RISE_K) if area_mm2 > 0.0 else 0.0
    if needed < 3.0 * film:
        return ""
    what = f"{best.label} has {film:g} W/m2K on {area_mm2:.4g} mm2"
    return f"; {what}, and {NOTABLE_RISE_K:g} K would take {in_full(needed)}"


def loop_of_no_face(case: Case) -> Iterator[Slip]:
    """A loop that is typed and counts for nothing."""
    if case.option is None and case.coolant_loop is not None and not any(cooling.on_loop for cooling in case.cooling):
        remedy = f"write `fluid_C: {LOOP}` at the faces that do, or leave the loop out"
        yield Slip("warning", "coolant_loop", "no face gives its heat to the loop: it counts for nothing", remedy)


def _no_heat(case: Case) -> Iterator[Slip]:
    temperatures = {value for cooling in case.cooling for value in cooling.known_C}
    loop = Loop.of(case)
    temperatures |= set() if loop is None else {loop.still_C}
    fluxes = [c.flux_W_mm2 for c in case.cooling if c.flux_W_mm2 is not None]
    if len(temperatures) == 1 and not any(flux.value for flux in fluxes):
        message = f"no heat is made: the whole stack stays at {temperatures.pop():g} C"
        yield Slip("warning", "heat", message, "give `heat` with zones and their `power_W`, or a `map`")


def bare_contacts(case: Case) -> Iterator[Slip]:
    """Parts that touch without a joint where the heat crosses."""
    ways = [ways_of(case, heat) for heat in case.heat if heat_W(case, heat) > 0.0]
    pairs = {(low.part, high.part): (low, high) for way in ways for low, high in way.bare}
    for low, high in pairs.values():
        if area_mm2(shared(part_box(case, low), part_box(case, high))) <= 0.0:
            continue
        severity = None if _is_grown(case, low, high) else _gravity(case, low, high)
        if severity is not None:
            yield Slip(
                severity,
                high.part,
                f"{low.part} touches {high.part} without a joint: perfect contact, which no mount has",
                "put a `joint` between them (such as `dry lapped contact`), unless both are one piece",
            )


def _is_grown(case: Case, low: Part, high: Part) -> bool:
    """Whether one of two parts is a plating of the other: of what lies below, else of what lies above it."""
    for plating, other in ((high, low), (low, high)):
        if role_of(case, plating) == "plating" and role_of(case, other) != "plating":
            layer = case.layers.index(plating)
            below = case.layers[layer - 1] if layer > 0 else None
            return other is below or not isinstance(below, Part)
    return False


def _gravity(case: Case, low: Part, high: Part) -> Severity | None:
    names = (low.material.name, high.material.name)
    if any(name in WETS for name in names):
        return None
    if None in names or any(name in LAMINATES for name in names):
        return "notice"
    if names[0] == names[1] and role_of(case, low) == role_of(case, high):
        return None  # levels of one piece
    return "warning"


def temperatures_of_laws(case: Case) -> Iterator[Slip]:
    """Limits and temperatures of laws that were typed in kelvin."""
    given = [("limits.reading_C", "the limit of readings", case.limits.reading_C, usual.READING_LIMIT)]
    for heat in case.heat:
        if heat.leakage is not None:
            place = f"heat in {heat.in_}, leakage.at_C"
            given.append((place, "the temperature at which powers hold", heat.leakage.at_C, usual.LAW_AT))
    for part in case.parts:
        k = part.material.conductivity_W_mK
        if k is not None and k.at_C is not None:
            what = f"the temperature at which the conductivity of {part.part} holds"
            given.append((f"{part.part}.material", what, k.at_C, usual.LAW_AT))
    for place, what, value, bounds in given:
        if value is not None and not bounds.holds(value) and (remedy := usual.in_kelvin(value, bounds)):
            yield Slip("warning", place, f"{what}, {value:g} C, is out of the usual", remedy)


def heated_side(case: Case) -> Iterator[Slip]:
    """Heat in that face of a die which is joined to the cooled parts."""
    for heat in case.heat:
        part = part_called(case, heat.in_)
        above = case.parts[case.parts.index(part) + 1 :]
        if heat.at != "top" or not above or role_of(case, part) != "die":
            continue
        ways: Ways = ways_of(case, heat)
        if ways.up > ways.down:
            yield Slip(
                "notice",
                f"heat in {part.part}, at",
                f"the heat is made in the face of {part.part} towards {above[0].part}, through which it is cooled",
                "write `at: bottom` if the die lies with its circuits down, as under a lid it does",
            )


def depth_of_slice(case: Case) -> Iterator[Slip]:
    """A slice whose depth nobody gave, and power that would not fit it."""
    if case.dimensions != 2:
        return
    if case.depth_mm is None and case.heat:
        message = "a slice, 1000 mm deep (assumed): its watts are watts per metre of depth"
        yield Slip("notice", "depth_mm", message, "give `depth_mm`, the depth of the heated part, for watts of a part")
    for heat in case.heat:
        part, power = part_called(case, heat.in_), heat_W(case, heat)
        box = part_box(case, part)
        flux = power / area_mm2(box)
        if role_of(case, part) == "die" and 0.0 < flux < usual.LEAST_DIE_FLUX:
            message = (
                f"{in_full(power)} W in {part.part}, {box[2] - box[0]:g} mm long and {box[3] - box[1]:g} mm deep, "
                f"are {flux:.3g} W/mm2; a working die makes {usual.LEAST_DIE_FLUX:g} to 5"
            )
            remedy = "give `depth_mm` as deep as the die, or power for a metre of depth"
            yield Slip("warning", "depth_mm", message, remedy)


def cooling_values(cooling: Cooling) -> Iterator[Slip]:
    """Film coefficients and temperatures that nothing has."""
    label = cooling.label
    place = f"cooling of {label}"
    if cooling.film_W_m2K is not None:
        bounds = usual.COEFFICIENT_AROUND if cooling.face == "exposed" else usual.COEFFICIENT
        what = f"film coefficient of {label}"
        yield from outside(cooling.film_W_m2K.value, bounds, usual.COEFFICIENT_UNITS, what, place)
    if cooling.cooler_K_W is not None:
        yield from outside(
            cooling.cooler_K_W.value, usual.COOLER, usual.COOLER_UNITS, f"resistance of {label}", f"{label}.cooler_K_W"
        )
    for value in cooling.known_C:
        if not usual.FLUID.holds(value):
            message = f"{label} at {value:g} C is out of the usual {usual.FLUID.low:g} to {usual.FLUID.high:g}"
            yield Slip("warning", place, message, usual.in_kelvin(value, usual.FLUID) or "check the temperature")

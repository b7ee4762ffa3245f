"""Likely slips in a case, in plain words with place and remedy. A slip is never an error: the user decides."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from thermsim.case.geometry.places import part_box, shared
from thermsim.case.inputs.values import inputs
from thermsim.case.vocabulary.schema import Case, MaterialGiven, Option, Part
from thermsim.materials import catalogue
from thermsim.model.physics.properties import is_void, material_of
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.cautions import gallium_cautions, gallium_places, option_of
from thermsim.plausibility.cooling_rules import (
    bare_contacts,
    cooling_values,
    depth_of_slice,
    heat_balance,
    heated_side,
    loop_of_no_face,
    temperatures_of_laws,
)
from thermsim.plausibility.coverage import area_mm2
from thermsim.plausibility.heat_rules import clock_typed, heat_slips, total_power, zone_gaps
from thermsim.plausibility.joint_rules import joint_slips, joint_tolerance
from thermsim.plausibility.slip import Slip
from thermsim.plausibility.usual_ranges import outside, role_of
from thermsim.rounding import tolerance, value_told

__all__ = ["Slip", "in_order", "slips_of"]

SEVERITIES = ("danger", "warning", "notice")
# Half widths that are narrower than bench and data sheets ever are, or wider; common practice, no source.
NARROWEST_FILM = 0.01  # of films, joints and coolers, as a share
NARROWEST_POWER = 0.001
NARROWEST_mm = 0.0005
NARROWEST_K = 0.005
WIDEST_K = 40.0
LARGE_TOLERANCE = 0.10  # share of a thickness from which on its tolerance is pointed out; our own choice


def slips_of(case: Case, option: Option | None = None) -> tuple[Slip, ...]:
    """Every likely slip of a case, the gravest first; `option` is the one it was changed by, if it does not say so.

    Among slips of one severity heat and the ways it takes come first, then sizes, then values, then tolerances.
    """
    option = option or option_of(case)
    gallium = {name for name, _ in gallium_places(case, option)}
    heat = [slip for heat in case.heat for slip in heat_slips(case, heat)]
    films = [slip for cooling in case.cooling for slip in cooling_values(cooling)]
    kelvin = [*(slip for slip in films if "kelvin" in slip.remedy), *temperatures_of_laws(case)]
    sizes = {part.part: list(_part(case, part)) for part in case.parts}
    slipped = {name for name, told in sizes.items() if any(_is_grave(one, f"{name}.size_mm") for one in told)}
    one_zone = any(slip.severity == "warning" and slip.place.endswith((".power_W", ".size_mm")) for slip in heat)
    watts = [] if one_zone else list(total_power(case))
    # What follows from a slip that is told already is left out.
    causes = [slip for slip in (*heat, *films, *watts) if slip.severity == "warning"]
    found = [
        *gallium_cautions(case, option),
        *watts,
        *clock_typed(case),
        *heat,
        *([] if causes else heat_balance(case)),
        *films,
        *temperatures_of_laws(case),
        *_overhang(case, slipped),
        *bare_contacts(case),
        *loop_of_no_face(case),
        *depth_of_slice(case),
        *heated_side(case),
        *(slip for heat in case.heat for slip in zone_gaps(case, heat)),
        *(slip for told in sizes.values() for slip in told),
        *(slip for joint in case.joints for slip in joint_slips(case, joint, joint.joint in gallium)),
        *(slip for part in case.parts for slip in _tolerance(part)),
        *(slip for joint in case.joints for slip in joint_tolerance(case, joint)),
        *_widths(case),
        *([] if kelvin else _validity(case)),
    ]
    return in_order(found)


def in_order(slips: Iterable[Slip]) -> tuple[Slip, ...]:
    """Each slip once, the gravest first."""
    return tuple(sorted(dict.fromkeys(slips), key=lambda slip: SEVERITIES.index(slip.severity)))


def _is_grave(slip: Slip, place: str) -> bool:
    return slip.severity == "warning" and slip.place == place


def _part(case: Case, part: Part) -> Iterator[Slip]:
    role = role_of(case, part)
    label = part.part if role in ("part", part.part) else f"{part.part} (a {role})"
    thickness = part.thickness_mm.value
    yield from outside(
        thickness, usual.THICKNESS[role], usual.DECIMALS, f"thickness of {label}", f"{part.part}.thickness_mm"
    )
    sides = [side.value for side in part.size_mm]
    yield from outside(
        max(sides), usual.LONGER_SIDE[role], usual.PLAN_UNITS, f"longer side of {label}", f"{part.part}.size_mm"
    )
    if max(sides) > 10 * min(sides):
        yield Slip(
            "notice",
            f"{part.part}.size_mm",
            f"{part.part} is {max(sides) / min(sides):.0f} times as long as wide",
            "check both sides for a decimal point",
        )
    if thickness > 0.5 * min(sides) and usual.THICKNESS[role].holds(thickness):
        yield Slip(
            "notice",
            f"{part.part}.thickness_mm",
            f"{part.part} is {thickness:g} mm thick and only {min(sides):g} mm wide",
            "check thickness and sides: a level of a stack is usually flat",
        )
    yield from _material(part, role)


def _tolerance(part: Part) -> Iterator[Slip]:
    thickness = part.thickness_mm
    if thickness.plus_minus >= LARGE_TOLERANCE * thickness.value:
        yield Slip(
            "warning",
            f"{part.part}.thickness_mm",
            f"the tolerance is {100 * thickness.plus_minus / thickness.value:.0f} % of the thickness of {part.part}",
            "measure again with a micrometer, or check the unit of `plus_minus`",
        )


def _widths(case: Case) -> Iterator[Slip]:
    """Tolerances so narrow that nobody measures it, or so wide that they say nothing: a decimal point, or a share."""
    joints = {joint.joint for joint in case.joints}
    for one in inputs(case):
        if one.plus_minus == 0.0 or one.is_filled_in:
            continue
        share = one.plus_minus / abs(one.value) if one.value else 1.0
        is_film = one.unit in ("W/m2K", "K/W", "mm2K/W") or (one.owner in joints and one.unit in ("um", "W/mK"))
        if is_film and share < NARROWEST_FILM:
            too = f"only {100 * share:.2g} % of {value_told(one.value, one.plus_minus)}: no film is known so well"
        elif one.unit == "W" and share < NARROWEST_POWER:
            too = f"only {100 * share:.2g} % of {value_told(one.value, one.plus_minus)} W: no power is known so well"
        elif one.unit == "mm" and one.plus_minus < NARROWEST_mm:
            too = "finer than any caliper or micrometer"
        elif one.unit in ("C", "K") and one.plus_minus < NARROWEST_K:
            too = "finer than any thermometer on a bench"
        elif one.unit in ("C", "K") and one.plus_minus > WIDEST_K:
            too = "so wide that it says nothing"
        else:
            continue
        is_share = is_film and 0.01 < one.plus_minus < 1.0 < one.value
        remedy = (
            f"if a share is meant, write `plus_minus: {100 * one.plus_minus:.4g} %`; else check it" if is_share else ""
        )
        message = f"the half width {tolerance(one.plus_minus)} {one.unit} of {one.path} is {too}"
        yield Slip("warning", one.path, message, remedy or "check `plus_minus` and its decimal point")


def _material(part: Part, role: str) -> Iterator[Slip]:
    yield from _for_its_role(part, role)
    given: list[tuple[MaterialGiven, str]] = [(part.material, f"{part.part}.material")]
    given += [(insert.material, f"{part.part}, insert {n}") for n, insert in enumerate(part.inserts, 1)]
    if part.around is not None:
        given.append((part.around.material, f"{part.part}.around"))
    for entry, place in given:
        if is_void(entry):
            continue
        body = material_of(entry)
        here = [float(law(60.0)) for law in body.laws]
        for value in sorted({min(here), max(here)}):
            yield from outside(value, usual.SOLID_CONDUCTIVITY, (), "a conductivity (at 60 C)", place)
        if entry.name is not None and (entry.conductivity_W_mK is not None or entry.in_plane_W_mK is not None):
            known = [float(law(60.0)) for law in catalogue.material(entry.name).laws]
            ratio = max(max(mine / its, its / mine) for mine, its in zip(here, known, strict=True))
            if ratio > 3.0:
                yield Slip(
                    "warning",
                    place,
                    f"the conductivity beside {entry.name!r} is off the catalogue's by a factor of {ratio:.3g}",
                    "check the number, or leave the name out if it is another material",
                )
        solid = f"{part.part}.around" != place
        if part.weighed_g is not None and body.density_kg_m3 is None and solid:
            yield Slip(
                "warning",
                place,
                f"{part.part} was weighed, but its material has no density: the mass says nothing",
                "give `density_kg_m3`",
            )


def _for_its_role(part: Part, role: str) -> Iterator[Slip]:
    """A conductivity given in place that what the part is, or its density, makes unlikely."""
    given = part.material
    if given.name is not None or given.conductivity_W_mK is None:
        return
    known, what = usual.ROLE_CONDUCTIVITY.get(role), "" if role == part.part else f" (a {role})"
    if known is None and given.density_kg_m3 is not None and usual.COPPER_kg_m3.holds(given.density_kg_m3.value):
        known, what = usual.ROLE_CONDUCTIVITY["plate"], f" (copper by its {given.density_kg_m3.value:g} kg/m3)"
    k = float(material_of(given).along_z(60.0))
    if known is not None and usual.SOLID_CONDUCTIVITY.holds(k):
        factors = usual.DECIMALS[:4]
        yield from outside(k, known, factors, f"conductivity of {part.part}{what}", f"{part.part}.material")


def _overhang(case: Case, slipped: set[str]) -> Iterator[Slip]:
    """Parts that hang over one another; slipped : names of those whose size is told to be wrong already."""
    heated = {heat.in_ for heat in case.heat}
    for below, above in zip(case.parts, case.parts[1:], strict=False):
        if slipped.intersection((below.part, above.part)):
            continue
        low, high = part_box(case, below), part_box(case, above)
        both = area_mm2(shared(low, high))
        place = f"{above.part}.size_mm"
        if both <= 0.0:  # the reader lets this through only where a filling carries the heat across
            continue
        out_below, out_above = 1 - both / area_mm2(low), 1 - both / area_mm2(high)
        if below.part in heated and out_below > 1e-6:
            hidden = f"{100 * out_below:.3g} % of {below.part} lies outside {above.part}"
            yield Slip(
                "warning",
                place,
                f"{hidden}: the heat made there has no way up",
                f"check the sizes of {below.part} and {above.part}",
            )
        elif out_below > 1e-6 and out_above > 1e-6:
            yield Slip(
                "warning",
                place,
                f"{above.part} and {below.part} each hang over the other",
                "check `centre_mm`, and that both sizes are [x, y] in the same order",
            )
        if above.part in heated and out_above > 1e-6:
            yield Slip(
                "warning",
                place,
                f"{100 * out_above:.3g} % of {above.part} hangs over {below.part}",
                f"check the sizes of {below.part} and {above.part}",
            )


def _validity(case: Case) -> Iterator[Slip]:
    """Conductivity laws that are asked outside the temperatures they were made for."""
    fluids = [value for cooling in case.cooling for value in cooling.known_C]
    if not fluids:
        return
    hottest = max(usual.HOT_C, case.limits.reading_C or usual.HOT_C) if case.heat else max(fluids)
    for part in case.parts:
        if is_void(part.material):
            continue
        for law in _distinct(material_of(part.material).laws):
            low, high = law.valid_C
            if min(fluids) < low or hottest > high:
                yield Slip(
                    "notice",
                    f"{part.part}.material",
                    f"its conductivity is known from {low:.4g} to {high:.4g} C; "
                    f"the stack may be anywhere from {min(fluids):.4g} to {hottest:.4g} C",
                    law.outside,
                )


def _distinct(laws: Iterable[catalogue.Law]) -> tuple[catalogue.Law, ...]:
    return tuple(dict.fromkeys(laws))

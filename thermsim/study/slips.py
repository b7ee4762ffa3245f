"""Likely slips in a case, in plain words with place and remedy. A slip is never an error: the user decides."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from thermsim.case.places import Box, part_box, shared, zone_box
from thermsim.case.schema import Case, Cooling, Heat, Joint, Option, Part
from thermsim.materials import catalogue
from thermsim.model.properties import is_void, joint_of, material_of
from thermsim.study import usual
from thermsim.study.cautions import Slip, gallium_cautions
from thermsim.study.coverage import area_mm2, cover, thin_strips
from thermsim.study.usual import Usual, meant, role_of

__all__ = ["Slip", "in_order", "slips_of"]

SEVERITIES = ("danger", "warning", "notice")
LARGE_TOLERANCE = 0.10  # of a thickness


def slips_of(case: Case, option: Option | None = None) -> tuple[Slip, ...]:
    """Every likely slip of a case, the gravest first; `option` is the one it was changed by, if any."""
    found = [
        *gallium_cautions(case, option),
        *(slip for part in case.parts for slip in _part(case, part)),
        *_overhang(case),
        *(slip for joint in case.joints for slip in _joint(joint)),
        *(slip for heat in case.heat for slip in _heat(case, heat)),
        *_total_power(case),
        *(slip for cooling in case.cooling for slip in _cooling(case, cooling)),
        *_validity(case),
    ]
    return in_order(found)


def in_order(slips: Iterable[Slip]) -> tuple[Slip, ...]:
    """Each slip once, the gravest first."""
    return tuple(sorted(dict.fromkeys(slips), key=lambda slip: SEVERITIES.index(slip.severity)))


def _outside(value: float, bounds: Usual, factors: tuple[usual.Factor, ...], what: str, place: str) -> Iterator[Slip]:
    if not bounds.holds(value):
        message = f"{what} of {value:g} {bounds.unit} is out of the usual {bounds.low:g} to {bounds.high:g}"
        yield Slip("warning", place, message, meant(value, bounds, factors) or "check the number and its unit")


def _part(case: Case, part: Part) -> Iterator[Slip]:
    role = role_of(case, part)
    label = part.part if role in ("part", part.part) else f"{part.part} (a {role})"
    thickness = part.thickness_mm.value
    yield from _outside(
        thickness, usual.THICKNESS[role], usual.DECIMALS, f"thickness of {label}", f"{part.part}.thickness_mm"
    )
    sides = [side.value for side in part.size_mm]
    yield from _outside(
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
    if part.thickness_mm.plus_minus >= LARGE_TOLERANCE * thickness:
        yield Slip(
            "warning",
            f"{part.part}.thickness_mm",
            f"the tolerance is {100 * part.thickness_mm.plus_minus / thickness:.0f} % of the thickness of {part.part}",
            "measure again with a micrometer, or check the unit of `plus_minus`",
        )
    yield from _material(part)


def _material(part: Part) -> Iterator[Slip]:
    given = [(part.material, f"{part.part}.material")]
    given += [(insert.material, f"{part.part}, insert {n}") for n, insert in enumerate(part.inserts, 1)]
    if part.around is not None:
        given.append((part.around.material, f"{part.part}.around"))
    for entry, place in given:
        if is_void(entry):
            continue
        body = material_of(entry)
        here = [float(law(60.0)) for law in body.laws]
        for value in sorted({min(here), max(here)}):
            yield from _outside(value, usual.SOLID_CONDUCTIVITY, (), "a conductivity (at 60 C)", place)
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


def _overhang(case: Case) -> Iterator[Slip]:
    heated = {heat.in_ for heat in case.heat}
    for below, above in zip(case.parts, case.parts[1:], strict=False):
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


def _joint(joint: Joint) -> Iterator[Slip]:
    name = joint.joint
    film = joint.film_um
    if film is not None:
        numbers = [v for v in (film.value, film.low, film.high, film.edge, film.centre) if v is not None]
        for number in numbers:
            yield from _outside(number, usual.FILM, usual.FILM_UNITS, f"film of {name}", f"{name}.film_um")
    if joint.conductivity_W_mK is not None:
        k = joint.conductivity_W_mK.value
        yield from _outside(
            k, usual.JOINT_CONDUCTIVITY, usual.DECIMALS[:4], f"conductivity of {name}", f"{name}.conductivity_W_mK"
        )
    if joint.resistance_mm2K_W is not None:
        yield from _outside(
            joint.resistance_mm2K_W.value,
            usual.JOINT_RESISTANCE,
            usual.RESISTANCE_UNITS,
            f"resistance of {name}",
            f"{name}.resistance_mm2K_W",
        )
    yield from _against_class(joint)
    if film is not None and joint.boundary_mm2K_W is None and joint.material is None:
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
    middle = joint_of(joint).middle()
    if middle is not None and middle.plus_minus > 0.5 * middle.value:
        yield Slip(
            "warning",
            name,
            f"the resistance of {name} is open by {100 * middle.plus_minus / middle.value:.0f} %: "
            "not fit to tell options apart",
            "measure its film, or fit it from runs",
        )


def _against_class(joint: Joint) -> Iterator[Slip]:
    """Values beside a joint class that lie well outside its range."""
    if joint.material is None:
        return
    kind = catalogue.joint(joint.material)
    film = joint.film_um.value if joint.film_um is not None else None
    pairs = [("film_um", film, kind.film_um)]
    for key, bounds in (
        ("conductivity_W_mK", kind.conductivity_W_mK),
        ("boundary_mm2K_W", kind.boundary_mm2K_W),
        ("resistance_mm2K_W", kind.resistance_mm2K_W),
    ):
        given = getattr(joint, key)
        pairs.append((key, given.value if given is not None else None, bounds))
    for key, value, bounds in pairs:
        if value is not None and bounds is not None and not 0.5 * bounds.low <= value <= 1.5 * bounds.high:
            yield Slip(
                "notice",
                f"{joint.joint}.{key}",
                f"{value:g} lies outside what {kind.name!r} delivers in practice, {bounds.low:g} to {bounds.high:g}",
                kind.note or "check the number and its unit",
            )


def _heat(case: Case, heat: Heat) -> Iterator[Slip]:
    part = next(part for part in case.parts if part.part == heat.in_)
    holder = part_box(case, part)
    boxes = {zone.zone: zone_box(case, part, zone) for zone in heat.zones}
    for zone in heat.zones:
        flux = zone.power_W.value / area_mm2(boxes[zone.zone])
        if not usual.ZONE_FLUX.holds(flux):
            watts = zone.power_W.value
            remedy = "check power and size of the zone"
            if usual.ZONE_FLUX.holds(flux / 1000):
                remedy = f"did you mean {watts / 1000:.4g} W (milliwatts written as W)?"
            message = f"{zone.zone} makes {flux:.3g} W/mm2; silicon rarely makes more than 5, nothing more than 20"
            yield Slip("warning", f"{zone.zone}.power_W", message, remedy)
    if heat.map is None:
        made = {zone.zone: boxes[zone.zone] for zone in heat.zones if zone.power_W.value > 0}
        yield from _gaps(part.part, holder, made)
    law = heat.leakage
    if law is not None and law.per_K is not None and not usual.LEAKAGE_PER_K.holds(law.per_K):
        remedy = f"did you mean {law.per_K / 100:g} (per cent written as a fraction)?"
        message = f"leakage that grows by {100 * law.per_K:.3g} % a kelvin is out of the usual 0.1 to 1 %"
        yield Slip("warning", f"heat in {part.part}, leakage.per_K", message, remedy)


def _gaps(part: str, holder: Box, made: dict[str, Box]) -> Iterator[Slip]:
    """What the zones of a part leave free, where it looks as if nothing should be."""
    place = f"heat in {part}"
    for strip in thin_strips(holder, made, usual.WIDEST_STRIP_mm):
        first, second = strip.between
        size = f"{strip.width_mm:.3g} x {strip.length_mm:.3g} mm"
        message = f"a strip of {size} between {first} and {second} makes no heat"
        yield Slip("warning", place, message, "close the gap, if it is one: compare corners and sizes")
    coverage = cover(holder, list(made.values()))
    free = coverage.free_mm2 / area_mm2(holder)
    if 1e-9 < free < 0.1:
        message = f"the zones leave {coverage.free_mm2:.3g} mm2 ({100 * free:.2g} %) of {part} without heat"
        yield Slip("notice", place, message, "give it to a zone, if it makes heat")


def _total_power(case: Case) -> Iterator[Slip]:
    if case.dimensions == 2 or any(heat.map is not None for heat in case.heat) or not case.heat:
        return
    watts = sum(zone.power_W.value for heat in case.heat for zone in heat.zones)
    yield from _outside(watts, usual.TOTAL_POWER, usual.POWER_UNITS, "total power", "heat")


def _cooling(case: Case, cooling: Cooling) -> Iterator[Slip]:
    label = cooling.environment or cooling.face
    place = f"cooling of {label}"
    if cooling.film_W_m2K is not None:
        yield from _outside(
            cooling.film_W_m2K.value, usual.COEFFICIENT, usual.COEFFICIENT_UNITS, f"film coefficient of {label}", place
        )
    for given in (cooling.fluid_C, cooling.temperature_C):
        if given is not None and not usual.FLUID.holds(given.value):
            celsius = given.value - 273.15
            kelvin = f"did you mean {celsius:.4g} C (kelvin written as C)?" if usual.FLUID.holds(celsius) else ""
            message = f"{label} at {given.value:g} C is out of the usual {usual.FLUID.low:g} to {usual.FLUID.high:g}"
            yield Slip("warning", place, message, kelvin or "check the temperature")


def _validity(case: Case) -> Iterator[Slip]:
    """Conductivity laws that are asked outside the temperatures they were made for."""
    fluids = [given.value for c in case.cooling for given in (c.fluid_C, c.temperature_C) if given is not None]
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
                    "extend the table: outside, the nearest value is held"
                    if law.kind == "table"
                    else "outside, the law is stretched",
                )


def _distinct(laws: Iterable[catalogue.Law]) -> tuple[catalogue.Law, ...]:
    return tuple(dict.fromkeys(laws))

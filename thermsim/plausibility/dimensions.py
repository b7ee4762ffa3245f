"""Levels, parts and joints of a case, measured on the grid that the model would use."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import prod, sqrt

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import part_box
from thermsim.case.geometry.rims_and_legs import beside_stand, stand_name
from thermsim.case.geometry.zones import powers_of
from thermsim.case.vocabulary.schema import Case, Heat, Joint, Part
from thermsim.materials.catalogue import VOID, Material
from thermsim.model.build import Model
from thermsim.model.physics.properties import Bounded, JointProperties, joint_of, material_of
from thermsim.units import GRAM, MM, MM2, MM2K_W, UM

Array = NDArray[np.float64]

# Relative half width of a density from the catalogue, by how sure the catalogue is of it (common practice, no source).
DENSITY_DOUBT = {"measured standard value": 0.005, "handbook": 0.02, "range from practice": 0.05}
# Of a mass, where neither the scale nor the sizes nor the density has a tolerance: calipers leave as much; our own
# choice.
UNSAID_TOLERANCE = 0.005


@dataclass(frozen=True)
class Level:
    """One part or joint of the stack. thickness_mm is None where nobody knows it (a joint given by its resistance)."""

    level: str
    kind: str
    thickness_mm: float | None
    plus_minus_mm: float
    note: str = ""


@dataclass(frozen=True)
class Height:
    """The whole stack: sum of what is known, worst case and root-sum-square of the tolerances."""

    height_mm: float
    worst_case_mm: float
    root_sum_square_mm: float
    unknown: tuple[str, ...]


@dataclass(frozen=True)
class PartMeasure:
    """Area, volume and mass of a part with its inserts, without what stands around it.

    verdict : "agrees" or "differs" where a weighed mass was given, "cannot say" without density, else ""
    thickness_by_mass_mm : thickness at which the weighed mass would be right, with rim and legs as they are; None where
        these alone weigh more
    """

    part: str
    area_mm2: float
    volume_mm3: float
    mass_g: float | None
    mass_plus_minus_g: float | None
    weighed_g: float | None = None
    difference_g: float | None = None
    tolerance_g: float | None = None
    thickness_by_mass_mm: float | None = None
    verdict: str = ""


@dataclass(frozen=True)
class JointMeasure:
    """A joint: resistance (mean over its area, uneven films lowest to highest); drop if all heat crossed it evenly.

    `assumed` names the terms whose basis is `assumed` or not said; `fit` is False where the tolerance is more than
    half of the value.
    """

    joint: str
    between: tuple[str, str]
    area_mm2: float
    film_um: float | None
    resistance_mm2K_W: float
    plus_minus_mm2K_W: float
    lowest_mm2K_W: float
    highest_mm2K_W: float
    drop_K: float
    drop_plus_minus_K: float
    largest_doubt: str
    assumed: tuple[str, ...]
    fit: bool


def heat_W(case: Case, heat: Heat) -> float:
    """Power [W] of one entry of `heat`: its zones, what no zone covers, and its map."""
    return powers_of(case, heat).total + map_W(case, heat)


def map_W(case: Case, heat: Heat) -> float:
    """Power [W] of the map of one entry of `heat`; 0 where it has none."""
    if heat.map is None:
        return 0.0
    table = np.asarray(case.tables[heat.map.file], dtype=np.float64)
    if heat.map.holds == "W":
        return float(table.sum())
    x0, y0, x1, y1 = part_box(case, part_called(case, heat.in_))
    return float(table.mean()) * (x1 - x0) * (y1 - y0)


def map_W_mm2(case: Case, heat: Heat) -> Array:
    """Power of each cell of an entry's map [W/mm2], (lines, columns) as in the file.

    Raises KeyError if the entry has no map.
    """
    if heat.map is None:
        raise KeyError(heat.in_)
    table = np.asarray(case.tables[heat.map.file], dtype=np.float64)
    if heat.map.holds == "W/mm2":
        return table
    x0, y0, x1, y1 = part_box(case, part_called(case, heat.in_))
    return table * table.size / ((x1 - x0) * (y1 - y0))


def film_bounds_m(case: Case, known: JointProperties) -> tuple[float, float, float] | None:
    """Lowest, mean and highest film [m]; None where nobody knows the film."""
    form = known.form
    if form is None:
        return None if known.film is None else (known.film.value,) * 3
    if form.file is not None:
        table = UM * np.asarray(case.tables[form.file], dtype=np.float64)
        return float(table.min()), float(table.mean()), float(table.max())
    mean = known.film.value if known.film is not None else 0.0
    bounds = [UM * end.value for end in form.ends]
    return min(bounds), mean, max(bounds)


def levels_of(case: Case) -> tuple[Level, ...]:
    """Every layer with its thickness, from the bottom up."""
    found: list[Level] = []
    for layer in case.layers:
        if isinstance(layer, Part):
            found.append(Level(layer.part, "part", layer.thickness_mm.value, layer.thickness_mm.plus_minus))
            continue
        known = joint_of(layer, case.dimensions)
        bounds = film_bounds_m(case, known)
        if bounds is None:
            note = "given by its resistance: thickness unknown, not counted"
            found.append(Level(layer.joint, "joint", None, 0.0, note))
            continue
        note = f"uneven, {bounds[0] / UM:.3g} to {bounds[2] / UM:.3g} um" if bounds[0] < bounds[2] else ""
        if layer.film_um is None:
            note = f"thickness from the joint class {layer.material!r}: assumed"
        half = known.film.plus_minus if known.film is not None else 0.0
        found.append(Level(layer.joint, "joint", bounds[1] / MM, half / MM, note))
    return tuple(found)


def height_of(levels: tuple[Level, ...]) -> Height:
    """Sum of the levels, with what is not known named."""
    tolerances = [level.plus_minus_mm for level in levels]
    return Height(
        height_mm=sum(level.thickness_mm or 0.0 for level in levels),
        worst_case_mm=sum(tolerances),
        root_sum_square_mm=_root_sum_square(tolerances),
        unknown=tuple(level.level for level in levels if level.thickness_mm is None),
    )


def part_measure(case: Case, part: Part, model: Model) -> PartMeasure:
    """Area, volume and mass of a part; the mass held against the scale if it was weighed."""
    volumes = _volumes_by_material(part, model)
    volume = sum(each for each, _ in volumes)
    x0, y0, x1, y1 = part_box(case, part)
    measured = PartMeasure(part.part, (x1 - x0) * (y1 - y0), volume / MM**3, None, None)
    densities = [body.density_kg_m3 for _, body in volumes]
    if any(density is None for density in densities):
        no_density = "cannot say" if part.weighed_g is not None else ""
        weighed = part.weighed_g.value if part.weighed_g is not None else None
        return replace(measured, weighed_g=weighed, verdict=no_density)
    mass = sum(each * (density or 0.0) for (each, _), density in zip(volumes, densities, strict=True)) / GRAM
    stand_g = volumes[-1][0] * (volumes[-1][1].density_kg_m3 or 0.0) / GRAM if part.stands_on is not None else 0.0
    half = _mass_tolerance(part, mass - stand_g, volumes, _stand_tolerances_m3(case, part, model))
    measured = replace(measured, mass_g=mass, mass_plus_minus_g=half)
    if part.weighed_g is None:
        return measured
    tolerance = _root_sum_square([half, part.weighed_g.plus_minus]) or UNSAID_TOLERANCE * mass
    difference = part.weighed_g.value - mass
    return replace(
        measured,
        weighed_g=part.weighed_g.value,
        difference_g=difference,
        tolerance_g=tolerance,
        thickness_by_mass_mm=(
            part.thickness_mm.value * (part.weighed_g.value - stand_g) / (mass - stand_g)
            if part.weighed_g.value > stand_g and mass > stand_g
            else None
        ),
        verdict="agrees" if abs(difference) <= tolerance else "differs",
    )


def _volumes_by_material(part: Part, model: Model) -> list[tuple[float, Material]]:
    """Volumes [m3] of the part's body, of each of its inserts (later ones win) and of its rim or legs, on the grid.

    A rim and legs go on beside the films that hold the parts apart.
    """
    grid = model.grid
    volume = grid.face_area(2)[:, :, None] * grid.z.widths
    names = [
        part.part,
        *(f"{part.part}, insert {number}" for number in range(1, len(part.inserts) + 1)),
        stand_name(part),
    ]
    gaps = sum(volume for _, volume in _stand_in_gaps(part, model))
    return [
        (
            float(volume[model.region == number].sum()) + (gaps if region.name == stand_name(part) else 0.0),
            region.material,
        )
        for number, region in enumerate(model.regions)
        if region.part == part.part and region.name in names
    ]


def _stand_in_gaps(part: Part, model: Model) -> list[tuple[str, float]]:
    """Volume [m3] of a part's rim or legs beside each film that they pass, with the name of its joint."""
    names = [region.name for region in model.regions]
    if part.stands_on is None:
        return []
    stand, area = model.region == names.index(stand_name(part)), model.grid.face_area(2)
    found = []
    for joint in model.joints:
        reach = joint.fill_under * stand[:, :, joint.face - 1] + joint.fill_over * stand[:, :, joint.face]
        found.append((joint.joint, float((area * reach).sum())))
    return [(name, volume) for name, volume in found if volume > 0.0]


def _stand_tolerances_m3(case: Case, part: Part, model: Model) -> list[float]:
    """What each tolerance of its height and of its width moves the volume of a part's rim or legs by."""
    stand = part.stands_on
    if stand is None:
        return []
    number = [region.name for region in model.regions].index(stand_name(part))
    area = model.grid.face_area(2)
    joints = {joint.joint: joint for joint in case.joints}
    terms, height, plan = [], 0.0, 0.0
    for beside in beside_stand(case, part):
        level = model.level_of_part[beside.part]
        plan = float(area[model.region[:, :, level.start] == number].sum())
        terms.append(plan * MM * beside.thickness_mm.plus_minus)
        height += MM * beside.thickness_mm.value
    for name, volume in _stand_in_gaps(part, model):
        known = joint_of(joints[name], case.dimensions)
        bounds = film_bounds_m(case, known)
        height += volume / plan
        if bounds is None:
            terms.append(volume)  # nobody knows the film: it may be missing, or twice as thick
        elif known.film is not None:
            terms.append(volume * known.film.plus_minus / bounds[1])
    x0, y0, x1, y1 = (MM * edge for edge in part_box(case, part))
    if stand.rim_mm is not None:
        wide, half = MM * stand.rim_mm.value, MM * stand.rim_mm.plus_minus
        inner_edge = 2.0 * (x1 - x0 + y1 - y0) - 8.0 * wide if case.dimensions == 3 else 2.0 * (y1 - y0)
        terms.append(height * inner_edge * half)
    for leg in stand.legs:
        of_leg = prod(MM * side.value for side in leg.size_mm) * (1.0 if len(leg.size_mm) == 2 else y1 - y0)
        terms += [height * of_leg * side.plus_minus / side.value for side in leg.size_mm]
    return terms


def _mass_tolerance(part: Part, plate_g: float, volumes: list[tuple[float, Material]], stand_m3: list[float]) -> float:
    """Root-sum-square [g] of the size tolerances of the part, its inserts and its rim or legs, and of the densities.

    plate_g : mass without rim and legs, which grows with the thickness of the part
    stand_m3 : what each tolerance of rim and legs moves their volume by
    """
    body = volumes[0][1]
    rho = body.density_kg_m3 or 0.0
    solid_g = rho * MM**3 / GRAM * part.thickness_mm.value
    area = prod(side.value for side in part.size_mm) if len(part.size_mm) == 2 else None
    terms = [plate_g * part.thickness_mm.plus_minus / part.thickness_mm.value]
    terms += [rho / GRAM * volume for volume in stand_m3]
    terms += [(solid_g * area if area else plate_g) * side.plus_minus / side.value for side in part.size_mm]
    for insert in part.inserts:
        inside = 0.0 if insert.material.name == VOID else material_of(insert.material).density_kg_m3 or 0.0
        change_g = (inside - rho) * MM**3 / GRAM * part.thickness_mm.value
        sides = [side.value for side in insert.size_mm]
        if len(sides) == 2:
            terms += [change_g * sides[0] * sides[1] * side.plus_minus / side.value for side in insert.size_mm]
    given = part.material.density_kg_m3
    doubt = given.plus_minus / given.value if given is not None else DENSITY_DOUBT.get(body.how_sure, 0.0)
    of_body = volumes[0][0] + (volumes[-1][0] if part.stands_on is not None else 0.0)
    terms.append(of_body * rho / GRAM * doubt)
    return _root_sum_square(terms)


def joint_measure(case: Case, joint: Joint, model: Model) -> JointMeasure:
    """Area and resistance of a joint, and what is open of it."""
    plane = next(plane for plane in model.joints if plane.joint == joint.joint)
    area_mm2 = float(model.grid.face_area(2)[plane.meets].sum()) / MM2
    known = joint_of(joint, case.dimensions)
    bounds = film_bounds_m(case, known)
    if bounds is not None and known.way == "film":
        half = known.film.plus_minus if known.film is not None else 0.0
        known = replace(known, film=Bounded(bounds[1], half, known.film.basis if known.film is not None else None))
    middle = known.middle()
    assert middle is not None  # the mean film stands in for a map
    ends = known.resistance_at([bounds[0], bounds[2]] if bounds is not None else [0.0, 0.0])
    terms = {
        "resistance": known.resistance,
        "film": known.film if known.way == "film" else None,
        "conductivity": known.conductivity,
        "boundary": known.boundary,
        "wetted fraction": known.wetted if joint.wetted_fraction is not None else None,
    }
    flux = sum(heat_W(case, heat) for heat in case.heat) / area_mm2 if area_mm2 else 0.0
    resistance, plus_minus = middle.value / MM2K_W, middle.plus_minus / MM2K_W
    at = case.layers.index(joint)
    below, above = case.layers[at - 1], case.layers[at + 1]
    assert isinstance(below, Part) and isinstance(above, Part)  # the reader refuses anything else
    return JointMeasure(
        joint=joint.joint,
        between=(below.part, above.part),
        area_mm2=area_mm2,
        film_um=None if bounds is None else bounds[1] / UM,
        resistance_mm2K_W=resistance,
        plus_minus_mm2K_W=plus_minus,
        lowest_mm2K_W=float(ends[0]) / MM2K_W,
        highest_mm2K_W=float(ends[1]) / MM2K_W,
        drop_K=resistance * flux,
        drop_plus_minus_K=plus_minus * flux,
        largest_doubt=_largest(known.doubts()),
        assumed=tuple(name for name, term in terms.items() if term is not None and term.basis in (None, "assumed")),
        fit=plus_minus <= 0.5 * resistance,
    )


def _largest(doubts: dict[str, float]) -> str:
    """Which term leaves most of the resistance open; empty if no term has a tolerance."""
    name = max(doubts, key=lambda term: doubts[term])
    return name if doubts[name] > 0.0 else ""


def part_called(case: Case, name: str) -> Part:
    """The part of that name; the reader has seen to it that it exists."""
    return next(part for part in case.parts if part.part == name)


def _root_sum_square(terms: list[float]) -> float:
    return sqrt(sum(term * term for term in terms))

"""What a stack stores: heat capacities of its cells, and the films thick enough to become cells in time.

A film between two parts is a resistance in the steady state. In time it also fills up with heat: 240 um of indium hold
a third of what 0.66 mm of silicon do, and at first a thin film beside a heated face holds most. So every film whose
thickness and heat capacity are known is cut into cells, the resistance of its filling spread evenly over its thickness
and half of the boundary's on either side; heat goes through them upwards only, so that the steady state is what it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import joint_box, levels, part_box, parts_of_joint
from thermsim.case.geometry.rims_and_legs import passes_joint, stand_boxes
from thermsim.case.source.marked_values import KeyPath
from thermsim.case.vocabulary.schema import Case, Joint
from thermsim.case.vocabulary.stack import MaterialGiven, Part
from thermsim.errors import CaseError, Fault
from thermsim.materials.catalogue import VOID, Material
from thermsim.model.build import Model
from thermsim.model.grid.cells import plan_slices
from thermsim.model.grid.plan import TYPICAL_C
from thermsim.model.joints import film_thickness
from thermsim.model.physics.coolant_loop import Loop
from thermsim.model.physics.properties import JointProperties, joint_of, material_of
from thermsim.units import MM, UM

Array = NDArray[np.float64]

FILM_SHARE = 0.02  # of the least heat capacity of a heated part, above which what a film stores must be known
GIVE_CAPACITY = "give `density_kg_m3` and `heat_capacity_J_kgK`, or take a material of the catalogue"
GIVE_LOOP = "give `heat_capacity_J_K`, about 4180 J/K for each litre of water"
TYPICAL_J_m3K = 4e6  # heat capacity of a cubic metre that no filling has more of; water has 4.2e6, metals 1.7 to 3.9e6


@dataclass(frozen=True, eq=False)
class StoringFilm:
    """A film that stores heat.

    face : index of the z face it lies at
    meets : (nx, ny) where its two parts meet
    bulk, contact : (nx, ny) resistance of the filling, and of one of its two boundaries [m2K/W]
    heat : (nx, ny) heat capacity of a square metre [J/m2K]; thickness : mean [m]
    diffusivity : of the filling upwards [m2/s]
    beside : (nx, ny) heat capacity of a square metre of the rims and legs that stand beside it as high as it is thick
        [J/m2K]: they reach as far up as the parts it joins and itself together
    """

    joint: str
    face: int
    meets: NDArray[np.bool_]
    bulk: Array
    contact: Array
    heat: Array
    thickness: float
    diffusivity: float
    beside: Array


def volumetric_J_m3K(material: Material, celsius: Array | float) -> Array:
    """Heat capacity of a cubic metre [J/m3K] at temperatures [C]; the material must have one."""
    assert material.heat_capacity is not None and material.density_kg_m3 is not None
    return np.asarray(material.density_kg_m3 * material.heat_capacity(celsius))


def cell_capacities(model: Model, temperature: Array) -> Array:
    """Heat capacity of every cell (nx, ny, nz) [J/K] at temperatures [C], zero in voids."""
    capacity = np.zeros(model.grid.shape)
    for number, region in enumerate(model.regions):
        here = model.region == number
        if here.any():
            capacity[here] = volumetric_J_m3K(region.material, temperature[here])
    return np.asarray(capacity * model.grid.face_area(2)[:, :, None] * model.grid.z.widths)


def check_capacities(case: Case) -> None:
    """Every part, insert and surround needs a heat capacity, so does a film that might hold much, and a coolant loop.

    Raises
    ------
    CaseError : at all that lack one
    """
    lacks = [(path, f"what {name} stores", GIVE_CAPACITY) for path, name, material in _bodies(case) if _lacks(material)]
    most = FILM_SHARE * heated_J_K(case)
    for place, joint in enumerate(case.layers):
        if not isinstance(joint, Joint):
            continue
        known = joint_of(joint, case.dimensions)
        is_thick = known.film is not None and _film_J_K(case, joint, known, TYPICAL_J_m3K) > most
        if known.heat_J_m3K is None and is_thick:
            lacks.append((("layers", place), f"what the film of joint {joint.joint!r} stores", GIVE_CAPACITY))
    loop = Loop.of(case)
    if loop is not None and loop.capacity_J_K is None:
        lacks.append((("coolant_loop",), "how fast the coolant of the loop warms up", GIVE_LOOP))
    if lacks:
        option = "" if case.option is None else f"option {case.option!r}: "
        raise CaseError(
            [
                Fault(case.file, *case.mark(*path), f"{option}{what} is not known, and time needs it; {remedy}")
                for path, what, remedy in lacks
            ]
        )


def storing_joints(case: Case) -> list[tuple[Joint, JointProperties]]:
    """Joints whose film becomes cells in time."""
    found = [(joint, joint_of(joint, case.dimensions)) for joint in case.joints]
    return [
        (joint, known)
        for joint, known in found
        if known.heat_J_m3K is not None and (known.film is not None or known.form is not None)
    ]


def storing_films(case: Case, model: Model) -> list[StoringFilm]:
    """Films that become cells, on the grid of a model, from the bottom up."""
    found = []
    for joint, known in storing_joints(case):
        plane = next(one for one in model.joints if one.joint == joint.joint)
        below, above = parts_of_joint(case, joint)
        x0, y0, x1, y1 = (MM * edge for edge in joint_box(case, below, above))
        film = film_thickness(case, model.grid, known, (x0, y0, x1, y1))
        assert known.heat_J_m3K is not None
        boundary = 0.0 if known.boundary is None else known.boundary.value / known.wetted.value
        bulk = np.maximum(plane.resistance - boundary, 0.0)
        mean = float(film[plane.meets].mean())
        conducts = mean / float(bulk[plane.meets].mean())
        found.append(
            StoringFilm(
                joint.joint,
                plane.face,
                plane.meets,
                bulk,
                np.full(bulk.shape, 0.5 * boundary),
                film * known.heat_J_m3K * known.wetted.value,
                mean,
                conducts / known.heat_J_m3K,
                np.where(plane.meets, 0.0, mean * _standing_J_m3K(case, model, joint)),
            )
        )
    return sorted(found, key=lambda one: one.face)


def _standing_J_m3K(case: Case, model: Model, joint: Joint) -> Array:
    """(nx, ny) heat capacity of a cubic metre of the rim or leg that passes a joint, zero where none does."""
    found = np.zeros(model.grid.shape[:2])
    for part in case.parts:
        if passes_joint(case, part, joint):
            for box in stand_boxes(case, part):
                found[plan_slices(model.grid, box)] = volumetric_J_m3K(material_of(part.material), TYPICAL_C)
    return found


def left_out(case: Case) -> list[str]:
    """Joints whose filling is left out of what is stored though it may hold much: nobody knows how thick they are."""
    most = FILM_SHARE * heated_J_K(case)
    return [
        joint.joint
        for joint in case.joints
        for known in [joint_of(joint, case.dimensions)]
        if known.film is None and known.form is None and _film_J_K(case, joint, known, TYPICAL_J_m3K) > most
    ]


def little_left_out(case: Case) -> dict[str, float]:
    """Joints whose film is known to hold too little to be asked for, and at most which share of the heated part's."""
    whole = heated_J_K(case)
    return {
        joint.joint: _film_J_K(case, joint, known, TYPICAL_J_m3K) / whole
        for joint in case.joints
        for known in [joint_of(joint, case.dimensions)]
        if known.heat_J_m3K is None and (known.film is not None or known.form is not None)
    }


def heated_J_K(case: Case) -> float:
    """Heat capacity [J/K] of the heated part that has least; of one that lacks it, that of as much of a metal."""
    found = [np.inf]
    for name in {heat.in_ for heat in case.heat}:
        part = next(part for part in case.parts if part.part == name)
        material = material_of(part.material)
        per_m3 = TYPICAL_J_m3K if _lacks(material) else float(volumetric_J_m3K(material, TYPICAL_C))
        found.append(per_m3 * _plan_area(part_box(case, part)) * MM * part.thickness_mm.value)
    return min(found)


class Warming(NamedTuple):
    """From where to where a part reaches upwards [m], and how it takes up heat there.

    diffusivity : the least of its materials [m2/s]; effusivity : the largest [J/(m2 K s^0.5)]
    """

    low: float
    high: float
    diffusivity: float
    effusivity: float


def warming_parts(case: Case) -> list[Warming]:
    """How the parts take up heat, upwards."""
    found = []
    for low, high, part in levels(case):
        bodies = [material_of(part.material)]
        if part.around is not None and part.around.material.name != VOID:
            bodies.append(material_of(part.around.material))
        of = [(float(one.along_z(TYPICAL_C)), float(volumetric_J_m3K(one, TYPICAL_C))) for one in bodies]
        slowest, most = min(k / stores for k, stores in of), max(k * stores for k, stores in of) ** 0.5
        found.append(Warming(MM * low, MM * high, slowest, most))
    return found


def _bodies(case: Case) -> list[tuple[KeyPath, str, Material]]:
    """Where each stands in the case, what it is called, and its material."""
    found: list[tuple[KeyPath, str, Material]] = []
    for place, part in enumerate(case.layers):
        if not isinstance(part, Part):
            continue
        path, name = ("layers", place), f"part {part.part!r}"
        given: list[tuple[KeyPath, str, MaterialGiven]] = [((*path, "material"), name, part.material)]
        for number, insert in enumerate(part.inserts):
            inside = (*path, "inserts", number, "material")
            given.append((inside, f"insert {number + 1} of {name}", insert.material))
        if part.around is not None:
            given.append(((*path, "around", "material"), f"the surround of {name}", part.around.material))
        found += [(at, called, material_of(one)) for at, called, one in given if one.name != VOID]
    return found


def _lacks(material: Material) -> bool:
    return material.density_kg_m3 is None or material.heat_capacity is None


def _film_J_K(case: Case, joint: Joint, known: JointProperties, per_m3: float) -> float:
    """Heat capacity of a film [J/K]; of one that is a map, as if it were as thick as its thickest place."""
    below, above = parts_of_joint(case, joint)
    thickness = known.thickness if known.form is None or known.film is not None else _thickest_of_map(case, known)
    return per_m3 * thickness * _plan_area(joint_box(case, below, above))


def _thickest_of_map(case: Case, known: JointProperties) -> float:
    assert known.form is not None and known.form.file is not None
    return UM * float(np.max(case.tables[known.form.file]))


def _plan_area(box: tuple[float, float, float, float]) -> float:
    return (box[2] - box[0]) * (box[3] - box[1]) * MM**2

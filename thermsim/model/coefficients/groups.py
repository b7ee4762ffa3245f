"""Single coefficients of many nearby cases, without a model of each: what a small model reads its operators off.

Cases of one topology differ in a few numbers: conductivities, thicknesses, joints, films, coolants, powers, leakage. A
coefficient of the heat balance (see `thermsim.model.assemble`) depends on those of its own cell and face only, so any
coefficient of any such case follows from numbers alone. A thickness that changes stretches all cells of its part alike:
half-cell conductances upwards go as 1/t, those sideways as t.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.rims_and_legs import stand_name
from thermsim.case.geometry.zones import powers_of, zones_of
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case, MaterialGiven, Part, Stand
from thermsim.errors import ThermsimError
from thermsim.materials.conductivity import Law
from thermsim.model.assemble import FacePlane
from thermsim.model.build import Model
from thermsim.model.coefficients.power_shares import zone_shares
from thermsim.model.cooled_faces import cooled_areas
from thermsim.model.physics.boundary import boundary_of
from thermsim.model.physics.face_link import NOWHERE
from thermsim.model.physics.properties import is_void, joint_of, material_of
from thermsim.units import MM2K_W

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

VARIES = ("balance", "heights", "sensor")  # what an input of a small model may act on


@dataclass(frozen=True, eq=False)
class Numbers:
    """What coefficients of n cases of one topology depend on, [SI], temperatures in C.

    conductivity : (n, regions, 3) along x, y, z; a factor on the base's law where that is no constant
    stretch : (n, parts) thickness over the base's
    joint : (n, joints) resistance per area; NaN where it is uneven, and then the base's
    gap : (n, joints) thickness of the film over the base's, for the fill beside it
    film, fluid, flux : (n, coolings); power : (n, zones + sources), of zones and of what no zone of a source covers
    per_K, at_C : (n, sources) of leakage
    """

    conductivity: Array
    stretch: Array
    joint: Array
    gap: Array
    film: Array
    fluid: Array
    flux: Array
    power: Array
    per_K: Array
    at_C: Array

    def rows(self, which: slice) -> Numbers:
        """The same of some of the cases."""
        return Numbers(**{name: values[which] for name, values in vars(self).items()})


@dataclass(frozen=True, eq=False)
class Topology:
    """A base case on its grid.

    laws : of its regions along x, y, z; thickness : (parts,) [mm]; films : (joints,) [m]
    part_of_level : index of the part of each level of cells; given : what the case says of each material, with its laws
    """

    case: Case
    model: Model
    laws: tuple[tuple[Law, Law, Law], ...]
    thickness: Array
    films: Array
    part_of_level: Ints
    given: tuple[tuple[MaterialGiven, tuple[Law, Law, Law]], ...]

    @cached_property
    def cooled(self) -> Array:
        """(coolings, 1 + parts) area [m2] of each entry of `cooling` in plan, then upright in each part."""
        by_level = cooled_areas(self.model.grid, self.model.cooling_face, len(self.case.cooling))
        of_part = self.part_of_level == np.arange(len(self.thickness))[:, None]
        return np.column_stack([by_level[:, 0], by_level[:, 1:] @ of_part.T])

    @cached_property
    def bends(self) -> NDArray[np.bool_]:
        """(regions,) bool: whose conductivity depends on temperature."""
        return np.array([not all(law.is_constant for law in laws) for laws in self.laws], dtype=bool)


def topology(case: Case, model: Model) -> Topology:
    """Raises ThermsimError where leakage or a boundary is not linear, or a face is held at many temperatures."""
    if any(source.leakage is not None and not source.leakage.is_linear for source in model.sources):
        raise ThermsimError("a small model takes leakage linear in temperature only", "solve each case in full")
    if model.on_loop:
        raise ThermsimError(
            "a small model takes coolants whose temperatures are known, and not that of a loop",
            "solve each case in full",
        )
    uneven = [one.label for one in model.coolings if not (one.is_linear and one.is_even)]
    if uneven:
        raise ThermsimError(
            f"a small model takes films, fluxes and faces of one temperature only, not {', '.join(uneven)}",
            "solve each case in full",
        )
    parts = np.zeros(model.grid.shape[2], dtype=np.int64)
    for number, part in enumerate(case.parts):
        parts[model.level_of_part[part.part]] = number
    thickness = np.array([part.thickness_mm.value for part in case.parts])
    given = tuple((one, material_of(one).laws) for part in case.parts for _, one in _givens(part) if not is_void(one))
    laws = tuple(region.material.laws for region in model.regions)
    return Topology(case, model, laws, thickness, _films(case), parts, given)


def _films(case: Case) -> Array:
    """(joints,) thickness of even films [m]; 1 for uneven ones, which cannot vary, without thickness, or for feet."""
    known = (joint_of(layer, case.dimensions) for layer in case.joints)
    films = [1.0 if one.form is not None else one.thickness or 1.0 for one in known]
    return np.array([*films, *(1.0 for _ in _stands(case))])


def _stands(case: Case) -> list[Stand]:
    return [part.stands_on for part in case.parts if part.stands_on is not None]


def check_varies(case: Case, varied: Sequence[Input]) -> None:
    """Raises ThermsimError for an input that changes more than numbers of one topology."""
    uneven = {joint.joint for joint in case.joints if joint_of(joint, case.dimensions).form is not None}
    maps = {number for number, heat in enumerate(case.heat) if heat.map is not None}
    for one in varied:
        film = one.steps[0] == "layers" and one.owner in uneven
        if one.acts_on not in VARIES or film or (one.key == "power_W" and one.steps[1] in maps):
            raise ThermsimError(
                f"a small model cannot vary {one.path}",
                "leave it out, or solve each case in full: it changes outlines, an uneven film or a law",
            )


def numbers(base: Topology, cases: Sequence[Case]) -> Numbers:
    """The numbers of cases that differ from the base in the inputs that `check_varies` lets pass.

    Raises
    ------
    ThermsimError : a conductivity law of another course than the base's
    """
    rows = [_row(base, case) for case in cases]
    return Numbers(*(np.array([row[column] for row in rows]) for column in range(10)))


def _row(base: Topology, case: Case) -> tuple[Array | list[float], ...]:
    joints = [joint_of(joint, case.dimensions) for joint in case.joints]
    zones = zones_of(case)
    heat_of = {cells.source: case.heat[zone.heat] for cells, zone in zip(base.model.zones, zones, strict=True)}
    stretch = np.array([part.thickness_mm.value for part in case.parts]) / base.thickness
    leaks = [heat_of[source].leakage for source in range(len(base.model.sources))]
    return (
        _conductivities(base, case),
        stretch,
        [
            *(
                known.middle().value if known.form is None else np.nan  # type: ignore[union-attr]  # even: it has one
                for known in joints
            ),
            *(MM2K_W * stand.resistance_mm2K_W.value for stand in _stands(case)),
        ],
        _films(case) / base.films,
        *_links(base, case, stretch).T,
        _powers(base, case),
        [0.0 if leak is None else leak.per_K or 0.0 for leak in leaks],
        [0.0 if leak is None else leak.at_C for leak in leaks],
    )


def _powers(base: Topology, case: Case) -> list[float]:
    """Of each zone, then of what no zone of each source covers [W]."""
    of_heat = [powers_of(case, heat) for heat in case.heat]
    found = [power for powers in of_heat for power in powers.zones]
    rests = [0.0] * len(base.model.sources)
    for cells, zone in zip(base.model.zones, zones_of(case), strict=True):
        rests[cells.source] = of_heat[zone.heat].rest
    return found + rests


def _links(base: Topology, case: Case, stretch: Array) -> Array:
    """(coolings, 3) film [W/m2K], known temperature [C] and influx [W/m2]; areas upright grow with their parts."""
    areas = base.cooled[:, 0] + base.cooled[:, 1:] @ stretch
    found = [boundary_of(case, one).over(area) for one, area in zip(case.cooling, areas.tolist(), strict=True)]
    return np.array([one.link(NOWHERE) for one in found])


def _conductivities(base: Topology, case: Case) -> Array:
    given = {name: one for part in case.parts for name, one in _givens(part)}
    known = {id(one): laws for one, laws in base.given}
    found = np.empty((len(base.laws), 3))
    for number, (region, laws) in enumerate(zip(base.model.regions, base.laws, strict=True)):
        one = given[region.name]
        if id(one) not in known:
            known[id(one)] = material_of(one).laws
        for axis, (law, before) in enumerate(zip(known[id(one)], laws, strict=True)):
            found[number, axis] = law(0.0) if before.is_constant else _factor(region.name, law, before)
    return found


def _factor(name: str, law: Law, before: Law) -> float:
    """How many times the base's law another one is."""
    factor = law.factor_over(before)
    if factor is None:
        raise ThermsimError(f"the conductivity of {name!r} takes another course over temperature than the base's")
    return factor


def _givens(part: Part) -> list[tuple[str, MaterialGiven]]:
    """Materials by the names that regions have."""
    found = [(part.part, part.material)]
    if part.around is not None and not is_void(part.around.material):
        found.append((f"around {part.part}", part.around.material))
    inserts = enumerate(part.inserts, start=1)
    found += [(f"{part.part}, insert {number}", insert.material) for number, insert in inserts]
    return found + [(stand_name(part), part.material)] * (part.stands_on is not None)


# ---- faces ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Side:
    """The cells on one side of some faces; arrays over the faces.

    cell : flat index, 0 where there is none; solid : whether there is one that conducts
    over : area over half width [m] at the base; level_part : whose thickness stretches it
    cooling : entry that stands in place of the cell, -1 for none; influx : entry whose flux enters here, -1 for none
    gap : how far a fill reaches into the gap of a joint, over half the width, at the base; gap_joint : which joint's
    """

    cell: Ints
    solid: NDArray[np.bool_]
    region: Ints
    over: Array
    level_part: Ints
    cooling: Ints
    influx: Ints
    gap: Array
    gap_joint: Ints


@dataclass(frozen=True, eq=False)
class Faces:
    """Some faces of the base's grid, with what acts on them.

    axis : (faces,); area : (faces,) [m2] at the base; joint : index, -1 for none; uneven : its resistance at the base
    sources : for each face source that acts on one of them: its index, whether on the lower side, base watts (faces,),
        and the share of each zone's watts, then of each rest (zones + sources, faces)
    """

    base: Topology
    axis: Ints
    area: Array
    lower: Side
    upper: Side
    joint: Ints
    uneven: Array
    sources: tuple[tuple[int, bool, Array, Array], ...]

    def planes(self, numbers: Numbers, base: Numbers, below: Array, above: Array) -> FacePlane:
        """The formula of the heat balance for (n, faces), with k(T) at cell temperatures (n, faces) [C]."""
        area = self.area * self._stretch(numbers, self._level_part(), np.where(self.axis == 2, 0, 1))
        lower, known_lower = self._half(numbers, self.lower, below, area)
        upper, known_upper = self._half(numbers, self.upper, above, area)
        joint = np.zeros_like(lower)
        here = self.joint >= 0
        per_area = numbers.joint[:, self.joint[here]]
        joint[:, here] = np.where(np.isnan(per_area), self.uneven[here], per_area) / area[:, here]
        heat = [np.zeros_like(lower), np.zeros_like(lower)]
        slope = [np.zeros_like(lower), np.zeros_like(lower)]
        for place, side in enumerate((self.lower, self.upper)):
            entering = side.influx >= 0
            heat[place][:, entering] += numbers.flux[:, side.influx[entering]] * area[:, entering]
        for index, on_lower, watts, shares in self.sources:
            place = 0 if on_lower else 1
            made = watts + (numbers.power - base.power) @ shares
            per_K, at_C = numbers.per_K[:, index, None], numbers.at_C[:, index, None]
            heat[place] += made * (1.0 - per_K * at_C)
            slope[place] += made * per_K
        return FacePlane(lower, upper, joint, heat[0], heat[1], slope[0], slope[1], known_lower, known_upper)

    def _level_part(self) -> Ints:
        return np.where(self.lower.solid, self.lower.level_part, self.upper.level_part)

    def _stretch(self, numbers: Numbers, part: Ints, power: Ints) -> Array:
        return np.asarray(numbers.stretch[:, part] ** power)

    def _half(self, numbers: Numbers, side: Side, at: Array, area: Array) -> tuple[Array, Array]:
        """Half-cell conductance (or the film in its place) and the known temperature there (NaN for none)."""
        k = np.where(side.solid, numbers.conductivity[:, side.region, self.axis], 0.0)
        bends = self.base.bends[side.region] & side.solid
        for region in np.unique(side.region[bends]).tolist():
            for axis in range(3):
                here = bends & (side.region == region) & (self.axis == axis)
                law = self.base.laws[region][axis]
                if here.any() and not law.is_constant:
                    k[:, here] *= law(at[:, here])
        half = k * side.over * self._stretch(numbers, side.level_part, np.where(self.axis == 2, -1, 1))
        reaches = side.gap > 0.0
        wider = numbers.gap[:, side.gap_joint[reaches]] / numbers.stretch[:, side.level_part[reaches]]
        half[:, reaches] /= 1.0 + side.gap[reaches] * wider
        known = np.full_like(half, np.nan)
        cooled = side.cooling >= 0
        entry = side.cooling[cooled]
        half[:, cooled] = numbers.film[:, entry] * area[:, cooled]
        known[:, cooled] = numbers.fluid[:, entry]
        return half, known


def faces_at(base: Topology, axis: Ints, place: Ints) -> Faces:
    """Faces by axis (faces,) and place (faces, 3): the cell above each face, one beyond the last at the far side."""
    model = base.model
    area = np.empty(len(axis))
    cooling, joint = np.full(len(axis), -1), np.full(len(axis), -1)
    uneven = np.zeros(len(axis))
    for one in range(3):
        here = axis == one
        rest = [place[here, other] for other in range(3) if other != one]
        area[here] = model.grid.face_area(one)[rest[0], rest[1]]
        cooling[here] = model.cooling_face[one][tuple(place[here].T)]
    for number, plane in enumerate(model.joints):
        here = (axis == 2) & (place[:, 2] == plane.face)
        here[here] = plane.meets[place[here, 0], place[here, 1]]
        joint[here] = number
        uneven[here] = plane.resistance[place[here, 0], place[here, 1]]
    lower, upper = _side(base, axis, place, -1), _side(base, axis, place, 0)
    for number, plane in enumerate(model.joints):
        here = (axis == 2) & (place[:, 2] == plane.face)
        for side, fill in ((lower, plane.fill_under), (upper, plane.fill_over)):
            filled = here.copy()
            filled[here] = fill[place[here, 0], place[here, 1]] > 0.0
            side.gap[filled] = fill[place[filled, 0], place[filled, 1]] / (area[filled] / side.over[filled])
            side.gap_joint[filled] = number
    flux = np.array([entry.is_prescribed for entry in model.coolings] + [False])
    for side, other in ((lower, upper), (upper, lower)):
        side.cooling[:] = np.where(other.solid & (cooling >= 0) & ~flux[cooling] & ~side.solid, cooling, -1)
        side.influx[:] = np.where(side.solid & (cooling >= 0) & flux[cooling], cooling, -1)
    return Faces(base, axis, area, lower, upper, joint, uneven, _sources(base, axis, place))


def _side(base: Topology, axis: Ints, place: Ints, step: int) -> Side:
    model, shape = base.model, np.array(base.model.grid.shape)
    cell = place.copy()
    cell[np.arange(len(axis)), axis] += step
    inside = np.all((cell >= 0) & (cell < shape), axis=1)
    cell[~inside] = 0
    region = model.region[tuple(cell.T)].astype(np.int64)
    solid = inside & (region >= 0)
    widths = np.array([model.grid.axes[one].widths[cell[row, one]] for row, one in enumerate(axis.tolist())])
    area = np.empty(len(axis))
    for one in range(3):
        here = axis == one
        rest = [cell[here, other] for other in range(3) if other != one]
        area[here] = model.grid.face_area(one)[rest[0], rest[1]]
    nothing = np.full(len(axis), -1)
    flat = np.ravel_multi_index(tuple(cell.T), tuple(shape.tolist()))
    return Side(
        np.asarray(flat, dtype=np.int64), solid, np.where(solid, region, 0), area * 2.0 / widths,
        base.part_of_level[cell[:, 2]], nothing.copy(), nothing.copy(), np.zeros(len(axis)), nothing.copy(),
    )  # fmt: skip


def _sources(base: Topology, axis: Ints, place: Ints) -> tuple[tuple[int, bool, Array, Array], ...]:
    found = []
    for index, source in enumerate(base.model.face_sources):
        here = (axis == 2) & (place[:, 2] == source.face)
        if not here.any():
            continue
        i, j = place[here, 0], place[here, 1]
        of_zones = zone_shares(base.case, base.model, index)
        watts, shares = np.zeros(len(axis)), np.zeros((len(of_zones), len(axis)))
        watts[here] = source.watts[i, j]
        shares[:, here] = of_zones[:, i, j]
        found.append((index, source.side == "lower", watts, shares))
    return tuple(found)

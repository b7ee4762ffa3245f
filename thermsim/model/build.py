"""Case and grid -> Model: regions, joints, heat, cooling and zones as SI arrays on the grid."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import levels, part_box, zone_box
from thermsim.case.geometry.zones import Place, powers_of, zones_in, zones_of
from thermsim.case.vocabulary.schema import Case, Heat, Part
from thermsim.model.cooled_faces import cooled_areas, cooling_faces
from thermsim.model.grid.axes import Grid
from thermsim.model.grid.cells import as_planes, level_slice, plan_slices
from thermsim.model.grid.outline_lines import table_of
from thermsim.model.joints import JointPlane, joint_planes
from thermsim.model.physics.boundary import boundary_of
from thermsim.model.physics.coolant_loop import Loop
from thermsim.model.physics.face_link import Boundary, Link, Surface
from thermsim.model.physics.heat import FaceSource, VolumeSource, overlap
from thermsim.model.regions import Region, regions_of
from thermsim.units import MM, W_MM2

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ZoneCells:
    """Where a zone lies on the grid.

    zone, part, at, label : as in `case.geometry.zones.KnownZone`; source : which of the model's sources makes its power
    face : index of the z face, None for a zone of a volume; side : on which side of it the part lies
    """

    zone: str
    part: str
    at: Place
    label: str
    source: int
    x: slice
    y: slice
    levels: slice
    face: int | None
    side: Literal["lower", "upper"]


@dataclass(frozen=True, eq=False)
class Guess:
    """Temperatures at which k(T) is taken, and leakage and boundaries are linearised.

    temperature : (nx, ny, nz) [C], any finite value in voids
    heated_face : for each face source, its face temperatures (nx, ny) [C], or one value
    conductivity : along x, y and z there, (nx, ny, nz) [W/mK], zero in voids; one array where they are alike
    surface : by (axis, face), temperatures of the planes where a boundary is not linear [C], over the plane
    reach : along x, y and z, half of what the temperature changes by across each cell, (nx, ny, nz) [K], which
        conductivities are means over; None where no kink of a conductivity lies among the temperatures
    """

    temperature: Array
    heated_face: tuple[Array | float, ...]
    conductivity: tuple[Array, Array, Array]
    surface: Mapping[tuple[int, int], Array] = field(default_factory=dict)
    reach: tuple[Array, Array, Array] | None = None


@dataclass(frozen=True, eq=False)
class Model:
    """A case on a grid, in SI (temperatures in C).

    region : (nx, ny, nz) int16, index into `regions`; -1 in a void
    cooling_face : for each axis, index into `coolings` of every face across it, -1 where there is none
    may_have_islands : False where parts that rest on one another are all there is, which the reader has seen to
    loop : the coolant loop that boundaries hang on whose `is_on_loop` holds, see `at_coolant`
    """

    grid: Grid
    region: NDArray[np.int16]
    regions: tuple[Region, ...]
    joints: tuple[JointPlane, ...]
    face_sources: tuple[FaceSource, ...]
    volume_sources: tuple[VolumeSource, ...]
    coolings: tuple[Boundary, ...]
    cooling_face: tuple[NDArray[np.int16], NDArray[np.int16], NDArray[np.int16]]
    zones: tuple[ZoneCells, ...]
    level_of_part: dict[str, slice]
    may_have_islands: bool
    loop: Loop | None = None

    def at_coolant(self, coolant_C: float) -> Model:
        """The same with the coolant of its loop at a temperature [C]."""
        return replace(self, coolings=tuple(one.at_coolant(coolant_C) for one in self.coolings))

    @property
    def on_loop(self) -> tuple[int, ...]:
        """Entries of `coolings` whose heat goes to the loop."""
        return tuple(number for number, one in enumerate(self.coolings) if one.is_on_loop)

    @property
    def coolant_C(self) -> float | None:
        """Of the loop [C]: where it is solved for, as in the model of a `Field`, what was found."""
        return next((float(one.known_C[0]) for one in self.coolings if one.is_on_loop), None)

    def shares(self, zone: ZoneCells) -> Array:
        """What each face, or cell, of a zone has in its mean: (nx, ny) or (nx, ny, levels), 0 in a void, in all 1."""
        whole = self.solid_area(zone)
        if zone.face is None:
            whole = whole[:, :, None] * self.grid.z.widths[zone.levels]
        return np.asarray(whole / whole.sum())

    def solid_area(self, zone: ZoneCells) -> Array:
        """(nx, ny) area [m2] of the columns of a zone, 0 in a void; a void insert goes through its whole height."""
        solid = self.region[zone.x, zone.y, zone.levels.start] >= 0
        return np.asarray(self.grid.face_area(2)[zone.x, zone.y] * solid)

    @property
    def sources(self) -> tuple[FaceSource | VolumeSource, ...]:
        """All that makes heat: in faces, then in volumes."""
        return (*self.face_sources, *self.volume_sources)

    @cached_property
    def is_linear(self) -> bool:
        """True where one linear solve is the answer: constant k, leakage and boundaries linear in temperature."""
        laws = [source.leakage for source in self.sources if source.leakage is not None]
        constant = all(region.material.is_constant for region in self.regions)
        return constant and all(law.is_linear for law in laws) and not self.curved_planes

    @cached_property
    def coldest_C(self) -> float:
        """The lowest known temperature [C]; without heat sinks inside, nothing is colder."""
        return min(known for cooling in self.coolings for known in cooling.known_C)

    @property
    def even_C(self) -> float | None:
        """The temperature [C] of a stack that makes no heat; None where coolants or fluxes make it uneven."""
        known = {value for cooling in self.coolings for value in cooling.known_C}
        is_even = len(known) == 1 and not any(cooling.influx_W_m2 for cooling in self.coolings)
        return known.pop() if is_even else None

    def first_guess(self) -> Guess:
        """As cold as the coldest coolant; faces whose boundary is not linear as hot as if all heat left there.

        Heat by radiation bends upwards over temperature, and a search along its tangents comes down safely from above.
        """
        cold = self.coldest_C
        heat = sum(float(source.watts.sum()) for source in self.sources)
        surface = {}
        for axis, face in self.curved_planes:
            at = np.full(self.grid.face_area(axis).shape, cold)
            for cooling, here in self.coolings_at(axis, face):
                if not cooling.is_linear:
                    at[here] = max(cold, cooling.carrying_C(heat / self.cooled_area(cooling)))
            surface[axis, face] = at
        return self.guess(np.full(self.grid.shape, cold), tuple(cold for _ in self.face_sources), surface)

    @cached_property
    def kinks_C(self) -> tuple[float, ...]:
        """Temperatures [C] at which the slope of some conductivity jumps, in rising order."""
        laws = {law for region in self.regions for law in region.material.laws if not law.is_constant}
        return tuple(sorted({at for law in laws for at in law.kinks_C}))

    def guess(
        self,
        temperature: Array,
        heated_face: tuple[Array | float, ...],
        surface: Mapping[tuple[int, int], Array] | None = None,
        reach: tuple[Array, Array, Array] | None = None,
    ) -> Guess:
        """Temperatures (nx, ny, nz) [C] and those of the heated faces, with the conductivities there.

        surface, reach : as `Guess` has them; surfaces as warm as the cells under them unless given
        """
        if surface is None:
            surface = {place: self._of_cells_at(*place, temperature) for place in self.curved_planes}
        along: list[Array] = []
        for axis in range(3):
            alike = next((before for before in range(axis) if self._conducts_alike(before, axis)), None)
            if alike is None or reach is not None:
                along.append(self._conductivity(axis, temperature, None if reach is None else reach[axis]))
            else:
                along.append(along[alike])
        return Guess(temperature, heated_face, (along[0], along[1], along[2]), surface, reach)

    def _of_cells_at(self, axis: int, face: int, temperature: Array) -> Array:
        """Of the solid cells beside a plane of faces, the upper ones where both are solid."""
        solid, cells = as_planes(axis, self.region >= 0), as_planes(axis, temperature)
        last = len(cells) - 1
        if face > last:
            return np.asarray(cells[last])
        return np.asarray(np.where(solid[face], cells[face], cells[max(face - 1, 0)]))

    def half_conductance(self, axis: int, index: int, side: Literal["lower", "upper"], guess: Guess) -> Array:
        """Conductance [W/K] of one plane of cells across an axis, from centre to lower or upper face; zero in voids."""
        conductivity = as_planes(axis, guess.conductivity[axis])[index]
        length = 0.5 * self.grid.axes[axis].widths[index]
        if axis == 2:
            length = length + self.fill_in_gap(index + (side == "upper"), side)
        return np.asarray(conductivity * self.grid.face_area(axis) / length)

    def fill_in_gap(self, face: int, side: Literal["lower", "upper"]) -> Array | float:
        """How far [m] the cells that have a z face as their lower or upper side reach into the gap of a joint there."""
        return sum((joint.fill_over if side == "lower" else joint.fill_under for joint in self.joints_at(face)), 0.0)

    def joints_at(self, face: int) -> list[JointPlane]:
        """Joints on a z plane."""
        return [joint for joint in self.joints if joint.face == face]

    def is_plain(self, axis: int) -> NDArray[np.bool_]:
        """For each plane of faces across an axis: whether all that happens there is conduction between two cells."""
        plain = np.ones(self.grid.shape[axis] + 1, dtype=bool)
        plain[[0, -1, *self._cooled_planes[axis]]] = False
        if axis == 2:
            plain[[joint.face for joint in self.joints]] = False
            plain[[source.face for source in self.face_sources]] = False
        return plain

    def _conducts_alike(self, first: int, second: int) -> bool:
        return all(region.material.laws[first] == region.material.laws[second] for region in self.regions)

    def _conductivity(self, axis: int, temperature: Array, reach: Array | None) -> Array:
        laws = [region.material.laws[axis] for region in self.regions]
        conductivity = np.array([*(float(law(self.coldest_C)) for law in laws), 0.0])[self.region]
        for law in {law for law in laws if not law.is_constant}:
            here = np.array([*(other == law for other in laws), False])[self.region]
            conductivity[here] = law(temperature[here]) if reach is None else law.mean(temperature[here], reach[here])
        return conductivity

    def joint_resistance(self, face: int) -> Array | float:
        """Resistance per area [m2 K/W] of the joint at a z face, zero where parts touch."""
        return sum((joint.resistance for joint in self.joints_at(face)), 0.0)

    def sources_at(self, face: int) -> Iterator[tuple[int, FaceSource]]:
        """Heat made in a z plane, with its number among all sources."""
        return ((index, source) for index, source in enumerate(self.face_sources) if source.face == face)

    def boundary_at(self, axis: int, face: int, guess: Guess) -> Link:
        """The link of every face of a plane to what cools it: film zero and nothing known (NaN) where nothing does."""
        if (axis, face) in guess.surface:
            return self._boundary_at(axis, face, guess.surface[axis, face])
        if (axis, face) not in self._linear_links:
            self._linear_links[axis, face] = self._boundary_at(axis, face, 0.0)
        return self._linear_links[axis, face]

    @cached_property
    def _linear_links(self) -> dict[tuple[int, int], Link]:
        """Of planes whose link does not hang on their temperature: what was asked for so far."""
        return {}

    def _boundary_at(self, axis: int, face: int, surface_C: Array | float) -> Link:
        shape = self.grid.face_area(axis).shape
        film, known_C, influx = np.zeros(shape), np.full(shape, np.nan), np.zeros(shape)
        for cooling, here in self.coolings_at(axis, face):
            own = cooling.link(Surface(surface_C, self._places(axis, face)))
            film = np.where(here, own.film, film)
            known_C = np.where(here & (film > 0.0), own.known_C, known_C)
            influx = np.where(here, own.influx, influx)
        return Link(film, known_C, influx)

    def cooled_area(self, cooling: Boundary) -> float:
        """Area [m2] that an entry of `cooling` acts on."""
        return sum(
            float(self.grid.face_area(axis)[here].sum())
            for axis, face in self.cooled_planes
            for one, here in self.coolings_at(axis, face)
            if one is cooling
        )

    @cached_property
    def cooled_planes(self) -> tuple[tuple[int, int], ...]:
        """(axis, face) of every plane where an entry of `cooling` acts."""
        return tuple((axis, face) for axis, planes in enumerate(self._cooled_planes) for face in planes)

    @cached_property
    def curved_planes(self) -> tuple[tuple[int, int], ...]:
        """(axis, face) of those where one acts that is not linear in temperature."""
        acting = {place: self.coolings_at(*place) for place in self.cooled_planes}
        return tuple(place for place, entries in acting.items() if not all(one.is_linear for one, _ in entries))

    def _places(self, axis: int, face: int) -> tuple[Array | float, Array | float, Array | float]:
        """Where the faces of a plane are along x, y, z [m], as they broadcast over it."""
        across = [other for other in range(3) if other != axis]
        found: list[Array | float] = [float(self.grid.axes[axis].faces[face])] * 3
        found[across[0]] = self.grid.axes[across[0]].centres[:, None]
        found[across[1]] = self.grid.axes[across[1]].centres[None, :]
        return found[0], found[1], found[2]

    def coolings_at(self, axis: int, face: int) -> list[tuple[Boundary, NDArray[np.bool_]]]:
        """Each cooling entry that acts on a plane of faces, with the faces it acts on."""
        return self._cooled_planes[axis].get(face, [])

    @cached_property
    def _cooled_planes(self) -> list[dict[int, list[tuple[Boundary, NDArray[np.bool_]]]]]:
        planes: list[dict[int, list[tuple[Boundary, NDArray[np.bool_]]]]] = []
        for axis, entries in enumerate(self.cooling_face):
            of = as_planes(axis, entries)
            planes.append({})
            for face in np.flatnonzero((of >= 0).any(axis=(1, 2))).tolist():
                acting = np.unique(of[face][of[face] >= 0]).tolist()
                planes[axis][face] = [(self.coolings[index], of[face] == index) for index in acting]
        return planes


def build_model(case: Case, grid: Grid) -> Model:
    """Put a case on a grid whose lines stand on every outline of it (see `plan_grid`)."""
    region, regions = regions_of(case, grid)
    sources, volumes, zones = _heat(case, grid, region)
    solid = region >= 0
    cooling_face = cooling_faces(case, grid, solid)
    areas = cooled_areas(grid, cooling_face, len(case.cooling)).sum(axis=1).tolist()
    return Model(
        grid=grid,
        region=region,
        regions=tuple(regions),
        joints=joint_planes(case, grid, solid),
        face_sources=tuple(sources),
        volume_sources=tuple(volumes),
        coolings=tuple(boundary_of(case, one).over(area) for one, area in zip(case.cooling, areas, strict=True)),
        cooling_face=cooling_face,
        zones=tuple(zones),
        level_of_part={part.part: level_slice(grid, low, high) for low, high, part in levels(case)},
        may_have_islands=any(part.around or part.inserts or part.stands_on for part in case.parts),
        loop=Loop.of(case),
    )


def _heat(
    case: Case, grid: Grid, region: NDArray[np.int16]
) -> tuple[list[FaceSource], list[VolumeSource], list[ZoneCells]]:
    sources: list[FaceSource] = []
    volumes: list[VolumeSource] = []
    zones: list[ZoneCells] = []
    level = {part.part: (low, high, part) for low, high, part in levels(case)}
    of_heat: list[tuple[FaceSource | VolumeSource, slice, int | None, Literal["lower", "upper"]]] = []
    for heat in case.heat:
        low, high, part = level[heat.in_]
        z = level_slice(grid, low, high)
        watts = _plan_watts(case, grid, part, heat, _solid_columns(case, grid, part, region[:, :, z.start]))
        law = None if heat.leakage is None else heat.leakage.law
        side: Literal["lower", "upper"] = "lower" if heat.at == "top" else "upper"
        face = None if heat.at == "volume" else (z.start if heat.at == "bottom" else z.stop)
        if face is None:
            share = grid.z.widths[z] / grid.z.widths[z].sum()
            volumes.append(VolumeSource(part.part, z, watts[:, :, None] * share, law))
        else:
            sources.append(FaceSource(part.part, face, side, watts, law))
        of_heat.append((volumes[-1] if face is None else sources[-1], z, face, side))
    order = [id(source) for source in (*sources, *volumes)]
    for known in zones_of(case):
        source, z, face, side = of_heat[known.heat]
        x, y = plan_slices(grid, zone_box(case, level[known.part][2], known.given))
        made_by = order.index(id(source))
        zones.append(ZoneCells(known.zone, known.part, known.at, known.label, made_by, x, y, z, face, side))
    return sources, volumes, zones


def _solid_columns(case: Case, grid: Grid, part: Part, region: NDArray[np.int16]) -> NDArray[np.bool_]:
    """(nx, ny) where a part itself is solid; a void insert goes through its whole height."""
    solid = np.zeros(region.shape, dtype=bool)
    x, y = plan_slices(grid, part_box(case, part))
    solid[x, y] = region[x, y] >= 0
    return solid


def _plan_watts(case: Case, grid: Grid, part: Part, heat: Heat, solid: NDArray[np.bool_]) -> Array:
    """(nx, ny) [W] from the zones and the map of one heated part, which is solid in these columns."""
    watts = np.zeros(grid.shape[:2])
    area = grid.face_area(2)
    powers, free = powers_of(case, heat), solid.copy()
    for zone, power in zip(zones_in(heat), powers.zones, strict=True):
        x, y = plan_slices(grid, zone_box(case, part, zone))
        here = area[x, y] * solid[x, y]
        watts[x, y] += power * here / here.sum()
        free[x, y] = False
    if powers.rest:
        watts += powers.rest * area * free / area[free].sum()
    if heat.map is not None:
        table = table_of(case, heat.map.file)
        x0, y0, x1, y1 = (MM * edge for edge in part_box(case, part))
        columns, rows = np.linspace(x0, x1, table.shape[0] + 1), np.linspace(y0, y1, table.shape[1] + 1)
        if heat.map.holds == "W/mm2":
            table = W_MM2 * table * np.diff(columns)[:, None] * np.diff(rows)[None, :]
        in_x, in_y = overlap(grid.x.faces, columns), overlap(grid.y.faces, rows)
        # What a cell of the map holds over a void is made by the rest of that cell: none is lost, no zone has it.
        share = in_x.T @ solid @ in_y
        watts += solid * (in_x @ np.divide(table, share, out=np.zeros_like(table), where=share > 0.0) @ in_y.T)
    return watts

"""What is read off a solved model: zones, probes, the hottest spot, flows through every face, heat balance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import AbsoluteZeroError, HeatBalanceError
from thermsim.model.assemble import FacePlane, face_plane
from thermsim.model.build import Guess, Model, ZoneCells
from thermsim.model.grid.cells import as_planes
from thermsim.model.physics.face_link import Boundary
from thermsim.model.physics.heat import FaceSource, VolumeSource
from thermsim.readout.faces import Place, away_from_summits, heated_boxes, plane_of, zone_boxes
from thermsim.readout.surface_maximum import Plane, Summit
from thermsim.readout.touching_faces import touching
from thermsim.readout.weights import Cell, Weights, at_point, at_warmest_cell, mean_over, sides_of
from thermsim.solver.guesses import beside
from thermsim.solver.outflow import Leaving, acting, leaving
from thermsim.solver.steady import Steady
from thermsim.units import ABSOLUTE_ZERO_C

Array = NDArray[np.float64]

LARGEST_IMBALANCE = 1e-8  # largest imbalance, relative to all heat that enters, that residual and round-off may leave
NO_HEAT_W = 1e-6  # [W] of heat below which a stack counts as unheated: its balance then holds round-off only


@dataclass(frozen=True)
class ZoneReading:
    """Temperatures [C] over a zone's face (or volume), the heat made in it with leakage [W], its plan area [m2].

    zone, part, at, label : as in `case.geometry.zones.KnownZone`
    """

    zone: str
    part: str
    at: Literal["bottom", "top", "volume"]
    label: str
    mean_C: float
    highest_C: float
    highest_at: Place
    power_W: float
    area_m2: float


@dataclass(frozen=True)
class Flow:
    """Heat [W] out through one cooling entry; area [m2] and mean temperature [C] of the faces it acts on."""

    label: str
    face: str
    heat_W: float
    area_m2: float
    face_C: float
    fluid_C: float | None


@dataclass(frozen=True, eq=False)
class Field:
    """A solved model.

    temperature : (nx, ny, nz) [C] at cell centres, NaN in voids
    guess : the temperatures at which its coefficients were taken
    error_K : algebraic error [K]
    """

    model: Model
    guess: Guess
    temperature: Array
    error_K: float

    @classmethod
    def of(cls, model: Model, steady: Steady) -> Field:
        """The field of a steady state, if heat in and heat out agree.

        Raises
        ------
        HeatBalanceError
        """
        if steady.coolant_C is not None:
            model = model.at_coolant(steady.coolant_C)
        return cls(model, steady.guess, steady.solution.temperature, steady.error_K).checked()

    @property
    def filled(self) -> Array:
        """(nx, ny, nz) temperatures [C] without NaN: voids are as cold as the coldest coolant."""
        return np.nan_to_num(self.temperature, nan=self.model.coldest_C)

    def guess_for(self, model: Model) -> Guess | None:
        """These temperatures for another model to start from; None where its grid has other cells."""
        if model.grid.shape != self.model.grid.shape:
            return None
        return model.guess(self.filled, self.heated_face)

    def z_nodes(self, face: int) -> tuple[Array, Array]:
        """Temperatures (nx, ny) [C] of a z plane, under and over a joint there; NaN where there is no face."""
        return self.nodes(2, face)

    def nodes(self, axis: int, face: int) -> tuple[Array, Array]:
        """Temperatures [C] on both sides of a plane of faces across an axis; NaN where there is no face."""
        if (axis, face) not in self._nodes:
            self._nodes[axis, face] = self._plane(axis, face).nodes(*beside(axis, face, self.temperature))
        return self._nodes[axis, face]

    @cached_property
    def _nodes(self) -> dict[tuple[int, int], tuple[Array, Array]]:
        """What was asked for so far."""
        return {}

    def _plane(self, axis: int, face: int) -> FacePlane:
        """Kept where more happens than conduction: those few are read again and again."""
        if (axis, face) in self._planes:
            return self._planes[axis, face]
        plane = face_plane(self.model, axis, face, self.guess)
        if not self.model.is_plain(axis)[face]:
            self._planes[axis, face] = plane
        return plane

    @cached_property
    def _planes(self) -> dict[tuple[int, int], FacePlane]:
        """What was asked for so far."""
        return {}

    @cached_property
    def heated_face(self) -> tuple[Array, ...]:
        """Temperatures (nx, ny) [C] of each heated face; the coldest known one where there is no face."""
        cold = self.model.coldest_C
        sides = (self.face_C(source.face, source.side) for source in self.model.face_sources)
        return tuple(np.nan_to_num(face, nan=cold) for face in sides)

    def z_flow(self, face: int) -> Array:
        """Heat [W] that crosses a z plane upwards (through its joint, if it has one), (nx, ny)."""
        plane = self._plane(2, face)
        under, over = self.z_nodes(face)
        if face > 0:
            below = self.temperature[:, :, face - 1]
            flow = plane.lower * (below - under) + plane.heat_lower + plane.slope_lower * under
        else:
            above = self.temperature[:, :, face]
            flow = plane.upper * (over - above) - plane.heat_upper - plane.slope_upper * over
        if 0 < face < self.model.grid.shape[2]:
            # Where a film stands in a void, the heat leaves the stack there and crosses nothing.
            flow = np.where(np.isnan(plane.known_lower) & np.isnan(plane.known_upper), flow, 0.0)
        return np.nan_to_num(flow)

    @cached_property
    def zones(self) -> tuple[ZoneReading, ...]:
        """What every zone reads, in the order of the case."""
        return tuple(self._zone(zone) for zone in self.model.zones)

    @cached_property
    def flows(self) -> tuple[Flow, ...]:
        """What leaves by every cooling, in the order of the case."""
        return tuple(_flow(self, index, cooling) for index, cooling in enumerate(self.model.coolings))

    def leaving(self, number: int) -> list[Leaving]:
        """What leaves through one entry of `cooling`, by the planes of faces that it acts on."""
        return [
            leaving(self.model, self.guess, self.temperature, place, self._plane(*place[:2]))
            for place in acting(self.model, number)
        ]

    @cached_property
    def heat_made_W(self) -> float:
        """Heat made in all parts, with leakage at these temperatures [W]."""
        faces = sum(float(made.sum()) for made in self._made_at_faces)
        return faces + sum(float(source.made(self.temperature).sum()) for source in self.model.volume_sources)

    @cached_property
    def heat_balance_W(self) -> float:
        """Heat in minus heat out [W]: what residual and round-off leave."""
        return self.heat_made_W - sum(flow.heat_W for flow in self.flows)

    @cached_property
    def heat_balance_relative(self) -> float:
        """`heat_balance_W` over all heat that enters the stack."""
        enters = self.heat_made_W + sum(max(-flow.heat_W, 0.0) for flow in self.flows)
        return abs(self.heat_balance_W) / enters if enters > NO_HEAT_W else 0.0

    @cached_property
    def hottest(self) -> tuple[float, Place]:
        """Temperature [C] and place (x, y, z) [m] of the hottest spot."""
        on_faces = [self.place_of(summit, face) for (face, _), summit in self.hot_summits]
        return max([*on_faces, *(self.highest_in(cell) for cell in self.hot_cells)], key=lambda spot: spot[0])

    @cached_property
    def hot_summits(self) -> list[tuple[tuple[int, str], Summit]]:
        """Of heated faces, by plane and side: of zones, and of what is heated outside them."""
        return [
            (key, summit)
            for key, summits in self.summits.items()
            for summit in summits
            if summit.counts_beside(zone_boxes(self.model, *key))[0]
        ]

    @cached_property
    def hot_cells(self) -> list[Cell]:
        """Where the hottest spot may lie besides the summits of heated faces: the hottest cell of each zone that is a
        volume, and of all over which no summit stands.
        """
        found = [self.hottest_cell(zone.x, zone.y, zone.levels) for zone in self.model.zones if zone.face is None]
        elsewhere = away_from_summits(self.model, self.warmed_from_outside)
        if elsewhere.any():
            among = np.where(elsewhere, self.temperature, -np.inf)
            i, j, k = np.unravel_index(int(among.argmax()), among.shape)
            found.append((int(i), int(j), int(k)))
        return found

    @cached_property
    def warmed_from_outside(self) -> NDArray[np.bool_]:
        """(nx, ny, nz) cells with an outer face that is hotter than they are."""
        found = np.zeros(self.temperature.shape, dtype=bool)
        for axis, face in self.model.cooled_planes:
            cooled = as_planes(axis, self.model.cooling_face[axis])[face] >= 0
            cells, marks = as_planes(axis, self.temperature), as_planes(axis, found)
            for node, at in zip(self.nodes(axis, face), (face - 1, face), strict=True):
                if 0 <= at < len(cells):
                    marks[at] |= cooled & (node > cells[at])
        return found

    @cached_property
    def summits(self) -> dict[tuple[int, str], list[Summit]]:
        """By plane and side: of each zone there, then, where heat is made outside them, of all that makes heat."""
        return {
            (face, side): self.plane(face, side).summits(self.face_C(face, side)[None], boxes)
            for (face, side), boxes in heated_boxes(self.model).items()
        }

    def plane(self, face: int, side: str) -> Plane:
        """The cells under or over a z plane."""
        return plane_of(self.model, face, side)

    def place_of(self, summit: Summit, face: int) -> tuple[float, Place]:
        """Temperature [C] and place [m] of a summit of a z plane."""
        along = []
        for axis, own in enumerate((self.model.grid.x, self.model.grid.y)):
            cell = int(summit.cell[axis, 0])
            along.append(float(own.centres[cell] + own.widths[cell] * summit.place[axis, 0]))
        return float(summit.value[0]), (along[0], along[1], float(self.model.grid.z.faces[face]))

    @cached_property
    def touching(self) -> tuple[tuple[int, int], ...]:
        """Pairs of entries of `cooling` between which heat flows without bound, see `touching.py`."""
        return touching(self.model)

    @cached_property
    def sink(self) -> tuple[int, ...]:
        """The entries of `cooling` by which most heat leaves: those of one face with one fluid count together.

        One whose heat has no bound counts only where all are such.
        """
        endless = {number for pair in self.touching for number in pair}
        known = [number for number, flow in enumerate(self.flows) if flow.fluid_C is not None]
        alike: dict[tuple[str, float | None], list[int]] = {}
        for number in [number for number in known if number not in endless] or known:
            alike.setdefault((self.flows[number].face, self.flows[number].fluid_C), []).append(number)
        return tuple(max(alike.values(), key=lambda numbers: sum(self.flows[number].heat_W for number in numbers)))

    @property
    def coolant_C(self) -> float:
        """Temperature [C] of the coolant that takes most heat; of a face that is held, its own (the mean if graded)."""
        return float(self.flows[self.sink[0]].fluid_C or 0.0)

    def read(self, weights: Weights) -> float:
        """The sum of temperatures times weights [C]; NaN where there are none."""
        if weights.is_nowhere:
            return float("nan")
        total = float(self.temperature[tuple(weights.cells)] @ weights.of_cells)
        for (axis, face, side), (at, of_faces) in weights.faces.items():
            total += float(self.nodes(axis, face)[side][tuple(at)] @ of_faces)
        return total

    def at(self, place: Place, part: str | None = None) -> float:
        """Temperature [C] at a point of the stack [m], NaN in a void; see `weights.at_point`."""
        return self.read(at_point(self.model, place, part))

    def checked(self) -> Field:
        """Itself, if heat in and heat out agree, and nothing is colder than can be.

        Raises
        ------
        HeatBalanceError, AbsoluteZeroError
        """
        if self.heat_balance_relative > LARGEST_IMBALANCE:
            raise HeatBalanceError(
                f"heat in and out differ by {self.heat_balance_W:.3g} W ({self.heat_balance_relative:.1e} of the heat)",
                "this is a fault of the solver or of a coefficient range: keep the case file and report it",
            )
        coldest = min([float(np.nanmin(self.temperature)), *(flow.face_C for flow in self.flows if flow.area_m2 > 0.0)])
        if coldest <= ABSOLUTE_ZERO_C:
            cell = np.unravel_index(int(np.nanargmin(self.temperature)), self.temperature.shape)
            out = [f"`{flow.label}` ({flow.heat_W:.4g} W)" for flow in self.flows if flow.fluid_C is None]
            raise AbsoluteZeroError(
                f"{self.model.regions[self.model.region[cell]].name} would be at {coldest:.1f} C, below absolute zero",
                f"less heat may be taken out than {' and '.join(out) or 'by the coolants'} does, or more must come in",
            )
        return self

    @cached_property
    def _made_at_faces(self) -> tuple[Array, ...]:
        return tuple(source.made(face) for source, face in zip(self.model.face_sources, self.heated_face, strict=True))

    def face_C(self, face: int, side: str) -> Array:
        """Temperatures (nx, ny) [C] on one side of a z plane."""
        under, over = self.z_nodes(face)
        return under if side == "lower" else over

    def _zone(self, zone: ZoneCells) -> ZoneReading:
        mean, (highest, at) = self.read(mean_over(self.model, zone)), self._highest_of(zone)
        area = float(self.model.solid_area(zone).sum())
        power = float(self.made_in(zone)[0].sum())
        return ZoneReading(zone.zone, zone.part, zone.at, zone.label, mean, highest, at, power, area)

    def made_in(self, zone: ZoneCells, like: Model | None = None) -> tuple[Array, Array]:
        """Heat made in the faces or cells of a zone [W], and how it grows with their temperatures [W/K].

        like : another model, whose sources make the heat at these temperatures
        """
        model = like or self.model
        sources: Sequence[FaceSource | VolumeSource]
        if zone.face is None:
            sources = [source for source in model.volume_sources if source.part == zone.part]
            cells_C = np.nan_to_num(self.temperature[zone.x, zone.y, zone.levels])
        else:
            on_face = zone.face, zone.side
            sources = [source for source in model.face_sources if (source.face, source.side) == on_face]
            cells_C = np.nan_to_num(self.face_C(zone.face, zone.side)[zone.x, zone.y])
        made, growth = np.zeros(cells_C.shape), np.zeros(cells_C.shape)
        for source in sources:
            watts, law = source.watts[zone.x, zone.y], source.leakage
            made += watts if law is None else watts * law.factor(cells_C)
            growth += 0.0 if law is None else watts * law.slope(cells_C)
        return made, growth

    def _highest_of(self, zone: ZoneCells) -> tuple[float, Place]:
        if zone.face is None:
            return self.highest_in(self.hottest_cell(zone.x, zone.y, zone.levels))
        return self.place_of(self.summit_of(zone), zone.face)

    def summit_of(self, zone: ZoneCells) -> Summit:
        """The highest temperature of a zone that is no volume."""
        assert zone.face is not None
        return next(one for one in self.summits[zone.face, zone.side] if one.box == (zone.x, zone.y))

    def hottest_cell(self, x: slice, y: slice, z: slice) -> Cell:
        """Of a block of cells."""
        block = self.temperature[x, y, z]
        i, j, k = np.unravel_index(int(np.nanargmax(block)), block.shape)
        return int(i) + (x.start or 0), int(j) + (y.start or 0), int(k) + (z.start or 0)

    def warmest_in(self, cell: Cell) -> tuple[Weights, list[float]]:
        """What `weights.at_warmest_cell` makes of a cell."""
        centre = float(self.temperature[cell])
        sides = [[self.read(Weights.of({spot: 1.0})) for spot in sides_of(cell, axis)] for axis in range(3)]
        return at_warmest_cell(cell, [(low, centre, high) for low, high in sides])

    def highest_in(self, cell: Cell) -> tuple[float, Place]:
        """Highest temperature [C] of a cell, and its place [m]."""
        weights, places = self.warmest_in(cell)
        along = zip(self.model.grid.axes, cell, places, strict=True)
        at = [float(axis.centres[index] + 0.5 * axis.widths[index] * place) for axis, index, place in along]
        return self.read(weights), (at[0], at[1], at[2])


def _flow(field: Field, index: int, cooling: Boundary) -> Flow:
    """Sum over every face on which one cooling entry acts."""
    heat = weighted = area = 0.0
    for one in field.leaving(index):
        heat += float(one.heat_W.sum())
        weighted += float((one.face_C * one.area_m2)[one.here].sum())
        area += float(one.area_m2[one.here].sum())
    mean = weighted / area if area > 0.0 else float("nan")
    return Flow(cooling.label, cooling.face, heat, area, mean, cooling.fluid_C)


def seek_together(fields: Sequence[Field]) -> None:
    """Seek the summits of fields on one grid at once: much quicker than field by field."""
    found: list[dict[tuple[int, str], list[Summit]]] = [{} for _ in fields]
    for (face, side), boxes in heated_boxes(fields[0].model).items():
        faces = np.array([one.face_C(face, side) for one in fields])
        summits = fields[0].plane(face, side).summits(faces, boxes)
        for row, of_field in enumerate(found):
            of_field[face, side] = [summit.of_row(row) for summit in summits]
    for one, of_field in zip(fields, found, strict=True):
        vars(one)["summits"] = of_field  # where `cached_property` keeps them

"""What a case says before anything is solved: heights, areas, masses, power, joints, faces, likely slips."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.cooling_places import places_told
from thermsim.case.geometry.places import AXIS_OF_FACE, part_box, zone_box
from thermsim.case.geometry.zones import heated_boxes, powers_of, zones_in
from thermsim.case.options import with_option
from thermsim.case.typed.typed_numbers import Typed, typed_numbers
from thermsim.case.vocabulary.schema import Case, Heat, Option
from thermsim.model.build import Model, build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.coverage import cover, thin_strips
from thermsim.plausibility.dimensions import (
    Height,
    JointMeasure,
    Level,
    PartMeasure,
    heat_W,
    height_of,
    joint_measure,
    levels_of,
    map_W,
    map_W_mm2,
    part_called,
    part_measure,
)
from thermsim.plausibility.grid_forecast import Forecast, forecast
from thermsim.plausibility.likely_slips import Slip, in_order, slips_of
from thermsim.printable import Printable
from thermsim.units import MM2


@dataclass(frozen=True)
class ZoneMeasure:
    """A zone in numbers: its area, its power, and the power for each of its square millimetres."""

    zone: str
    area_mm2: float
    power_W: float
    flux_W_mm2: float


@dataclass(frozen=True)
class HeatMeasure:
    """One heated part; powers hold at the temperature of its leakage law. Strips: `between a and b`, with width.

    map_highest_W_mm2 : the hottest cell of its power map; None without a map, as map_file and map_W, its whole power
    rest_W : of `power_W`, what the area without zones makes; None where there is no such rest
    """

    part: str
    at: str
    power_W: float
    area_mm2: float
    mean_W_mm2: float
    covered_share: float
    free_mm2: float
    strips: tuple[str, ...]
    zones: tuple[ZoneMeasure, ...]
    map_highest_W_mm2: float | None = None
    map_file: str | None = None
    map_W: float | None = None
    rest_W: float | None = None


@dataclass(frozen=True)
class FaceMeasure:
    """One cooling entry with the area it really acts on, or (kind `insulated`) what no entry names.

    film_W_m2K, resistance_K_W : the same two ways, by the area; of a cooler with a flow from where the coolant comes in
    place : where on its face it acts, in words; None unless another entry has its name and face
    on_loop : whether its fluid is the coolant of the loop; `fluid_C` is then what that is if all power comes to it
    """

    label: str
    face: str
    kind: str
    area_mm2: float
    film_W_m2K: float | None = None
    fluid_C: float | None = None
    flux_W_mm2: float | None = None
    conductance_W_K: float | None = None
    resistance_K_W: float | None = None
    place: str | None = None
    on_loop: bool = False


@dataclass(frozen=True)
class OptionMeasure:
    """What an option does to the height and the power, and the slips that the base case has not."""

    option: str
    height: Height
    height_change_mm: float
    power_W: float
    slips: tuple[Slip, ...]


@dataclass(frozen=True)
class Measurements(Printable):
    """Everything `inspect` knows. Lengths mm, areas mm2, masses g, resistances mm2K/W."""

    title: str
    height: Height
    levels: tuple[Level, ...]
    parts: tuple[PartMeasure, ...]
    joints: tuple[JointMeasure, ...]
    power_W: float
    heat: tuple[HeatMeasure, ...]
    faces: tuple[FaceMeasure, ...]
    slips: tuple[Slip, ...]
    options: tuple[OptionMeasure, ...]
    forecast: Forecast
    typed: tuple[Typed, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain mappings and lists, ready for JSON."""
        return asdict(self)


def measure(case: Case) -> Measurements:
    """Measure a case without solving it; its options are looked at as well.

    Raises
    ------
    CaseError : an option whose changes cannot be made
    UnknownNameError : a material or joint class that the catalogue does not hold
    """
    levels = levels_of(case)
    model = build_model(case, plan_grid(case).grid(1))
    parts = tuple(part_measure(case, part, model) for part in case.parts)
    faces = tuple(_faces(case, model))
    power = sum(heat_W(case, heat) for heat in case.heat)
    slips = in_order([*slips_of(case), *_weighing(parts)])
    return Measurements(
        title=case.title,
        height=height_of(levels),
        levels=levels,
        parts=parts,
        joints=tuple(joint_measure(case, joint, model) for joint in case.joints),
        power_W=power,
        heat=tuple(_heat(case, heat) for heat in case.heat),
        faces=faces,
        slips=slips,
        options=tuple(_option(case, option, height_of(levels), slips) for option in case.options_to_take),
        forecast=forecast(case),
        typed=typed_numbers(case),
    )


def _weighing(parts: tuple[PartMeasure, ...]) -> Iterator[Slip]:
    """Parts whose mass on the scale is not what size and density make."""
    for part in parts:
        if part.verdict == "differs" and part.mass_g is not None:
            right = part.thickness_by_mass_mm
            sides = "sides and thickness" if right is not None else "sides, thickness and what it stands on"
            yield Slip(
                "warning",
                f"{part.part}.weighed_g",
                f"{part.part} weighs {part.weighed_g:.4g} g, size and density make {part.mass_g:.4g} g; their "
                f"tolerances leave {part.tolerance_g:.2g} g between the two",
                f"measure its {sides} again{'' if right is None else f' ({right:.4g} mm would be right)'}, or "
                "its material is another one",
            )


def _heat(case: Case, heat: Heat) -> HeatMeasure:
    part = part_called(case, heat.in_)
    holder = part_box(case, part)
    made, powers = heated_boxes(case, heat), powers_of(case, heat)
    coverage = cover(holder, list(made.values()))
    area = (holder[2] - holder[0]) * (holder[3] - holder[1])
    zones = []
    # A zone that stands for the whole part is told where it makes heat, and not beside a map.
    told = zip(zones_in(heat), powers.zones, strict=True) if heat.zones or heat.map is None else ()
    for zone, power in told:
        x0, y0, x1, y1 = zone_box(case, part, zone)
        size = (x1 - x0) * (y1 - y0)
        zones.append(ZoneMeasure(zone.zone, size, power, power / size))
    strips = [] if heat.map is not None else thin_strips(holder, made, usual.WIDEST_STRIP_mm)
    power = heat_W(case, heat)
    return HeatMeasure(
        part=part.part,
        at=heat.at,
        power_W=power,
        area_mm2=area,
        mean_W_mm2=power / area,
        covered_share=coverage.covered_mm2 / area,
        free_mm2=coverage.free_mm2,
        strips=tuple(f"between {a} and {b}: {s.width_mm:.3g} mm" for s in strips for a, b in [s.between]),
        zones=tuple(zones),
        map_highest_W_mm2=None if heat.map is None else float(map_W_mm2(case, heat).max()),
        map_file=None if heat.map is None else heat.map.file,
        map_W=None if heat.map is None else map_W(case, heat),
        rest_W=powers.rest or None,
    )


def _faces(case: Case, model: Model) -> list[FaceMeasure]:
    """The area of every cooling entry on the grid, and of every outer face (or face to a void) that none names."""
    acting: dict[int, float] = defaultdict(float)
    bare: dict[str, float] = defaultdict(float)
    outer = {(axis, end): face for face, (axis, end) in AXIS_OF_FACE.items()}
    solid = model.region >= 0
    for axis in range(3):
        area = model.grid.face_area(axis) / MM2
        entries = np.moveaxis(model.cooling_face[axis], axis, 0)
        turns = _turning_faces(np.moveaxis(solid, axis, 0))
        for index, (entry, turning) in enumerate(zip(entries, turns, strict=True)):
            for number in np.unique(entry[entry >= 0]):
                acting[int(number)] += float(area[entry == number].sum())
            end = -1 if index == len(entries) - 1 else index
            face = outer.get((axis, end), "faces to voids")
            bare[face] += float(area[turning & (entry < 0)].sum())
    found = []
    places = [place.removeprefix(", ") or None for place in places_told(case)]
    for number, (cooling, place) in enumerate(zip(model.coolings, places, strict=True)):
        area_mm2 = acting[number]
        film, fluid = cooling.film_W_m2K, cooling.fluid_C
        if cooling.is_on_loop and model.loop is not None:
            fluid = model.loop.coolant_C(sum(heat_W(case, heat) for heat in case.heat))
        flux = cooling.influx_W_m2 * MM2 if cooling.is_prescribed else None
        conductance = None if film is None else film * area_mm2 * MM2
        acts = (cooling.label, cooling.face, cooling.kind, area_mm2)
        resistance = 1.0 / conductance if conductance else None
        found.append(FaceMeasure(*acts, film, fluid, flux, conductance, resistance, place, cooling.is_on_loop))
    return found + [FaceMeasure(face, face, "insulated", area) for face, area in bare.items() if area > 1e-9]


def _turning_faces(solid: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where matter ends across the first axis: (n+1, ...) for (n, ...) cells."""
    nothing = np.zeros_like(solid[:1])
    padded = np.concatenate([nothing, solid, nothing])
    return np.asarray(padded[1:] != padded[:-1])


def _option(case: Case, option: Option, base: Height, base_slips: tuple[Slip, ...]) -> OptionMeasure:
    changed = with_option(case, option.option)
    height = height_of(levels_of(changed))
    cooling_told = any(slip.place == "cooling" for slip in base_slips)  # its kelvins change with every option
    slips = [slip for slip in slips_of(changed, option) if slip not in base_slips]
    new = tuple(slip for slip in slips if not (cooling_told and slip.place == "cooling"))
    power = sum(heat_W(changed, heat) for heat in changed.heat)
    return OptionMeasure(option.option, height, height.height_mm - base.height_mm, power, new)

"""Ways by which heat leaves a stack, as conductances that the true ones cannot exceed: enough to find a forgotten face.

Every level is taken as ideal across its plane, every film as acting on all of its face. By Rayleigh's monotonicity such
a stack conducts better than the real one (e.g. Doyle and Snell, Random Walks and Electric Networks, 1984, section 1.4).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf

from thermsim.case.geometry.places import Box, part_box, patch_box, shared, stack_box
from thermsim.case.vocabulary.schema import Case, Cooling, Heat, Joint, Part
from thermsim.materials.conductivity import Law
from thermsim.model.physics.boundary import boundary_of
from thermsim.model.physics.properties import is_void, joint_of, material_of
from thermsim.plausibility import usual_ranges as usual
from thermsim.plausibility.coverage import area_mm2
from thermsim.plausibility.dimensions import film_bounds_m
from thermsim.units import MM, MM2

CONDUCTIVITY_AT_C = 60.0  # [C] at which conductivities are taken: a usual temperature of a stack at work
FLUSH_mm = 1e-6


@dataclass(frozen=True)
class Ways:
    """Conductances [W/K] from one heated part upwards to the top's films, downwards to the bottom's, and of all others.

    above, below : the pairs of parts that touch without a joint on the way (lower, upper)
    """

    up: float
    down: float
    others: float
    above: tuple[tuple[Part, Part], ...]
    below: tuple[tuple[Part, Part], ...]

    @property
    def total(self) -> float:
        """All heat that leaves [W]."""
        return self.up + self.down + self.others

    @property
    def bare(self) -> tuple[tuple[Part, Part], ...]:
        """Bare contacts on the ways that carry a tenth or more of what the better one does."""
        found = self.below if self.down > 0.0 and self.down >= 0.1 * self.up else ()
        return (*found, *(self.above if self.up > 0.0 and self.up >= 0.1 * self.down else ()))


def ways_of(case: Case, heat: Heat) -> Ways:
    """The ways out for the heat of one entry."""
    place = next(n for n, layer in enumerate(case.layers) if isinstance(layer, Part) and layer.part == heat.in_)
    films = film_conductances_W_K(case)
    up = case.layers[place if heat.at == "bottom" else place + 1 :]
    down = case.layers[: place + 1 if heat.at == "top" else place]
    return Ways(
        up=_in_series(_resistance_K_W(case, up), _on(case, films, "top")),
        down=_in_series(_resistance_K_W(case, down), _on(case, films, "bottom")),
        others=sum(film for film, c in zip(films, case.cooling, strict=True) if c.face not in ("top", "bottom")),
        above=_touching(case.layers[place:]),
        below=_touching(case.layers[: place + 1]),
    )


def film_conductances_W_K(case: Case) -> list[float]:
    """Film times area of each entry of `cooling` [W/K]: infinite for a fixed temperature, zero for a flux."""
    areas = [acting_mm2(case, cooling) * MM2 for cooling in case.cooling]
    found = [boundary_of(case, cooling).over(area) for cooling, area in zip(case.cooling, areas, strict=True)]
    films = [one.most_film(usual.HOT_C) for one in found]
    return [film * area if area > 0.0 else 0.0 for film, area in zip(films, areas, strict=True)]


def acting_mm2(case: Case, cooling: Cooling) -> float:
    """Area [mm2] on which an entry of `cooling` acts; walls of void inserts are not counted."""
    patch = patch_box(case, cooling)
    if patch is not None:
        return area_mm2(patch)
    if cooling.face == "exposed":
        return _exposed_mm2(case, cooling)
    if cooling.face in ("top", "bottom"):
        whole = area_mm2(_level_box(case, case.parts[-1 if cooling.face == "top" else 0]))
    else:
        outer = stack_box(case)
        side = ("left", "front", "right", "back").index(cooling.face)
        whole = sum(_side_mm2(part, box, side) for part, box in _levels(case) if _is_flush(box, outer, side))
    patches = [patch_box(case, other) for other in case.cooling if other.face == cooling.face]
    return max(whole - sum(area_mm2(box) for box in patches if box is not None), 0.0)


def _exposed_mm2(case: Case, cooling: Cooling) -> float:
    """Sides that do not lie in an outer face, and ledges where a part is wider than its neighbour."""
    outer, levels = stack_box(case), _levels(case)
    area = 0.0
    for number, (part, box) in enumerate(levels):
        if cooling.of not in (None, part.part):
            continue
        for side, looks in enumerate(("-x", "-y", "+x", "+y")):
            if cooling.looking in (None, looks) and not _is_flush(box, outer, side):
                area += _side_mm2(part, box, side)
        for other, looks in ((number - 1, "-z"), (number + 1, "+z")):
            if cooling.looking in (None, looks) and 0 <= other < len(levels):
                area += area_mm2(box) - area_mm2(shared(box, levels[other][1]))
    return area


def _levels(case: Case) -> list[tuple[Part, Box]]:
    return [(part, _level_box(case, part)) for part in case.parts]


def _level_box(case: Case, part: Part) -> Box:
    """What is solid of a part's level: all of it where something fills the rest."""
    filled = part.around is not None and not is_void(part.around.material)
    return stack_box(case) if filled else part_box(case, part)


def _side_mm2(part: Part, box: Box, side: int) -> float:
    """One side of a level; sides in the order of the edges of a box: left, front, right, back."""
    return part.thickness_mm.value * (box[3] - box[1] if side in (0, 2) else box[2] - box[0])


def _is_flush(box: Box, outer: Box, side: int) -> bool:
    return abs(box[side] - outer[side]) < FLUSH_mm


def _on(case: Case, films: list[float], face: str) -> float:
    return sum(film for film, cooling in zip(films, case.cooling, strict=True) if cooling.face == face)


def _resistance_K_W(case: Case, layers: Sequence[Part | Joint]) -> float:
    """Least resistance [K/W] of layers on top of one another."""
    total = 0.0
    for layer in layers:
        if isinstance(layer, Part):
            conducts = max(float(law(CONDUCTIVITY_AT_C)) for law in _through(layer))
            total += layer.thickness_mm.value * MM / (conducts * area_mm2(_level_box(case, layer)) * MM2)
            continue
        place = next(number for number, other in enumerate(case.layers) if other is layer)
        below, above = case.layers[place - 1], case.layers[place + 1]
        assert isinstance(below, Part) and isinstance(above, Part)  # the reader refuses anything else
        known = joint_of(layer, case.dimensions)
        bounds = film_bounds_m(case, known)
        least = float(known.resistance_at(bounds[0] if bounds is not None else 0.0))
        area = area_mm2(shared(_level_box(case, below), _level_box(case, above))) * MM2
        total += least / area if area > 0.0 else inf
    return total


def _through(part: Part) -> list[Law]:
    """Laws of conductivity across the plane of everything in a level."""
    given = [part.material, *(insert.material for insert in part.inserts)]
    given += [part.around.material] if part.around is not None else []
    return [material_of(entry).along_z for entry in given if not is_void(entry)]


def _in_series(resistance_K_W: float, film_W_K: float) -> float:
    if film_W_K <= 0.0:
        return 0.0
    both = resistance_K_W + 1.0 / film_W_K
    return 1.0 / both if both > 0.0 else inf


def _touching(layers: Sequence[Part | Joint]) -> tuple[tuple[Part, Part], ...]:
    pairs = pairwise(layers)
    return tuple((low, high) for low, high in pairs if isinstance(low, Part) and isinstance(high, Part))

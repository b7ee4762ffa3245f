"""What is drawn on a part while the part changes its size: stretched with it, or kept where it is on the stack."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from thermsim.case.faults.outlines import outside
from thermsim.case.geometry.places import face_box, insert_box, part_box, zone_box
from thermsim.case.vocabulary.schema import Case, Cooling, Part, Probe
from thermsim.errors import ThermsimError

FloorPlan = Literal["stretched", "kept"]


def stretched(case: Case, name: str, axis: int, factor: float) -> Case:
    """What is drawn on a part stretched with it along one axis: a tolerance of its size is one of its scale.

    Zones and inserts stretch in plan (axis 0 or 1), probes in height too (axis 2).
    """

    def with_it(entry: Any) -> Any:
        if entry.corner_mm is None or axis == 2:
            return entry
        corner, size = list(entry.corner_mm), list(entry.size_mm)
        corner[axis] *= factor
        size[axis] = size[axis].model_copy(update={"value": size[axis].value * factor})
        return entry.model_copy(update={"corner_mm": tuple(corner), "size_mm": tuple(size)})

    def probe_with_it(probe: Probe) -> Probe:
        at_mm = list(probe.at_mm)
        at_mm[-1 if axis == 2 else axis] *= factor if probe.in_ == name else 1.0
        return probe.model_copy(update={"at_mm": tuple(at_mm)})

    changed = _with_entries(case, lambda part: with_it if part == name else _as_it_is)
    return changed.model_copy(update={"probes": [probe_with_it(probe) for probe in changed.probes]})


def kept(before: Case, after: Case) -> Case:
    """`after` with everything where it was on the stack `before`: another part under the same circuit.

    Zones and inserts keep their size and their distance from the centre of their part, patches theirs from the centre
    of their face. A probe keeps its place in plan, and its share of the height of its part. What has no place of its
    own (a zone or a map of the whole part) goes with the part.

    Raises
    ------
    ThermsimError : a part no longer holds a zone or an insert; says from which size on it does
    """
    old, new = ({part.part: part for part in case.parts} for case in (before, after))
    moves = {
        name: _corner_moved(part_box(before, old[name]), part_box(after, part))
        for name, part in new.items()
        if name in old
    }

    def mover(part: str) -> Callable[[Any], Any]:
        return lambda entry: entry if entry.corner_mm is None else _moved(entry, moves[part])

    changed = _with_entries(after, mover)
    _check_held(changed)
    probes = [_probe(probe, moves[probe.in_], old[probe.in_], new[probe.in_]) for probe in changed.probes]
    cooling = [_patch(before, after, entry) for entry in changed.cooling]
    return changed.model_copy(update={"probes": probes, "cooling": cooling})


def _with_entries(case: Case, mover: Callable[[str], Callable[[Any], Any]]) -> Case:
    """A case with the zones and inserts of each part changed by what `mover` gives for it."""
    layers = [
        layer.model_copy(update={"inserts": [mover(layer.part)(insert) for insert in layer.inserts]})
        if isinstance(layer, Part) and layer.inserts
        else layer
        for layer in case.layers
    ]
    heat = [entry.model_copy(update={"zones": [mover(entry.in_)(zone) for zone in entry.zones]}) for entry in case.heat]
    return case.model_copy(update={"layers": layers, "heat": heat})


def _as_it_is(entry: Any) -> Any:
    return entry


def _corner_moved(before: tuple[float, ...], after: tuple[float, ...]) -> tuple[float, float]:
    """How much is to be added to places that count from the lower left [mm]."""
    return before[0] - after[0], before[1] - after[1]


def _moved(entry: Any, move: tuple[float, float]) -> Any:
    corner = tuple(at + by for at, by in zip(entry.corner_mm, move, strict=False))
    return entry.model_copy(update={"corner_mm": corner})


def _probe(probe: Probe, move: tuple[float, float], before: Part, after: Part) -> Probe:
    *plan, height = probe.at_mm
    share = height / before.thickness_mm.value
    at_mm = (*(at + by for at, by in zip(plan, move, strict=False)), share * after.thickness_mm.value)
    return probe.model_copy(update={"at_mm": at_mm})


def _patch(before: Case, after: Case, entry: Cooling) -> Cooling:
    if entry.corner_mm is None:
        return entry
    move = _corner_moved(face_box(before, entry.face), face_box(after, entry.face))
    upright = len(entry.corner_mm) == 1 and entry.face in ("left", "right")  # of a slice: its one length is a height
    moved: Cooling = _moved(entry, (*move[1:], 0.0) if upright else move)
    return moved


def _check_held(case: Case) -> None:
    parts = {part.part: part for part in case.parts}
    boxes = [
        (part, f"its insert {number}", insert_box(case, part, insert))
        for part in case.parts
        for number, insert in enumerate(part.inserts, 1)
    ]
    boxes += [
        (parts[heat.in_], f"zone {zone.zone!r}", zone_box(case, parts[heat.in_], zone))
        for heat in case.heat
        for zone in heat.zones
    ]
    for part, what, box in boxes:
        holder = part_box(case, part)
        if out := outside(box, holder):
            needed = [
                f"{2.0 * max(middle - box[axis], box[axis + 2] - middle):g} mm along {'xy'[axis]}"
                for axis in range(2)
                for middle in [(holder[axis] + holder[axis + 2]) / 2]
                if box[axis] < holder[axis] or box[axis + 2] > holder[axis + 2]
            ]
            raise ThermsimError(
                f"{part.part!r} of that size no longer holds {what}, which keeps its place: it sticks out {out}",
                f"{part.part!r} needs {' and '.join(needed)} at least",
            )

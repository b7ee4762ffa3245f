"""A number changed, and what is drawn on a part that changes its size: stretched with it, or kept on the stack."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from thermsim.case.geometry.places import face_box, part_box
from thermsim.case.vocabulary.numbers import Input, Steps
from thermsim.case.vocabulary.quantities import Entry
from thermsim.case.vocabulary.schema import Case, Cooling, Part, Probe, Quantity

FloorPlan = Literal["stretched", "kept"]


def with_number(case: Case, one: Input, value: float, floor_plan: FloorPlan = "stretched") -> Case:
    """A copy with one number replaced that the case gives; nothing is checked, see `thermsim.case.faults.changed`."""
    changed: Case = put(case, {one.steps: value})
    axis = None if floor_plan == "kept" else stretches(one)
    return changed if axis is None else stretched(changed, one.owner, axis, value / one.value)


def stretches(one: Input) -> int | None:
    """The axis along which a part is stretched when the number changes, if it is a size of one."""
    if one.steps[0] != "layers":
        return None
    if one.steps[2:] == ("thickness_mm",):
        return 2
    if len(one.steps) == 4 and one.steps[2] == "size_mm" and isinstance(one.steps[3], int):
        return one.steps[3]
    return None


def put(holder: Any, changes: Mapping[Steps, Any]) -> Any:
    """A copy of an entry, or of a list in it, with values inside replaced; what stood beside them stays."""
    if not changes:
        return holder
    if () in changes:
        value = changes[()]
        return holder.model_copy(update={"value": value}) if isinstance(holder, Quantity) else value
    inside: dict[int | str, dict[Steps, Any]] = {}  # what is copied once for all that changes in it
    for steps, value in changes.items():
        inside.setdefault(steps[0], {})[steps[1:]] = value
    if isinstance(holder, Entry):
        return holder.model_copy(
            update={str(step): put(getattr(holder, str(step)), rest) for step, rest in inside.items()}
        )
    return type(holder)([put(one, inside[at]) if at in inside else one for at, one in enumerate(holder)])


def stretched(case: Case, name: str, axis: int, factor: float) -> Case:
    """What is drawn on a part stretched with it along one axis: a tolerance of its size is one of its scale.

    Zones and inserts stretch in plan (axis 0 or 1), probes in height too (axis 2).
    """

    def with_it(entry: Any) -> Any:
        if entry.corner_mm is None:
            return entry
        corner, size = _at(entry.corner_mm, axis, factor), _at(entry.size_mm, axis, factor)
        return entry.model_copy(update={"corner_mm": corner, "size_mm": size})

    def probe_with_it(probe: Probe) -> Probe:
        if probe.in_ != name:
            return probe
        return probe.model_copy(update={"at_mm": _at(probe.at_mm, -1 if axis == 2 else axis, factor)})

    changed = case if axis == 2 else _with_entries(case, lambda part: with_it if part == name else _as_it_is)
    return changed.model_copy(update={"probes": [probe_with_it(probe) for probe in changed.probes]})


def _at(lengths: tuple[Quantity, ...], axis: int, factor: float) -> tuple[Quantity, ...]:
    """Lengths with one of them times a factor; tolerances stay."""
    found = list(lengths)
    found[axis] = found[axis].model_copy(update={"value": found[axis].value * factor})
    return tuple(found)


def _by(lengths: Sequence[Quantity], moves: Sequence[float]) -> tuple[Quantity, ...]:
    """Lengths with something added to each."""
    return tuple(one.model_copy(update={"value": one.value + by}) for one, by in zip(lengths, moves, strict=False))


def kept(before: Case, after: Case) -> Case:
    """`after` with everything where it was on the stack `before`: another part under the same circuit.

    Zones and inserts keep their size and their distance from the centre of their part, patches theirs from the centre
    of their face. A probe keeps its place in plan, and its share of the height of its part. What has no place of its
    own (a zone or a map of the whole part) goes with the part. Whether parts still hold
    all of it is checked by `thermsim.case.faults.changed.check_held`.
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
    probes = [_probe(probe, moves[probe.in_], old[probe.in_], new[probe.in_]) for probe in changed.probes]
    cooling = [_patch(before, after, entry) for entry in changed.cooling]
    return changed.model_copy(update={"probes": probes, "cooling": cooling})


def _with_entries(case: Case, mover: Callable[[str], Callable[[Any], Any]]) -> Case:
    """A case with the zones and inserts of each part changed by what `mover` gives for it."""
    layers = [
        _with_boxes(layer, mover(layer.part))
        if isinstance(layer, Part) and (layer.inserts or layer.stands_on)
        else layer
        for layer in case.layers
    ]
    heat = [entry.model_copy(update={"zones": [mover(entry.in_)(zone) for zone in entry.zones]}) for entry in case.heat]
    return case.model_copy(update={"layers": layers, "heat": heat})


def _with_boxes(part: Part, move: Callable[[Any], Any]) -> Part:
    """A part with its inserts and its legs changed; a rim follows the edge by itself."""
    update: dict[str, Any] = {"inserts": [move(insert) for insert in part.inserts]}
    if part.stands_on is not None:
        update["stands_on"] = part.stands_on.model_copy(update={"legs": [move(leg) for leg in part.stands_on.legs]})
    return part.model_copy(update=update)


def _as_it_is(entry: Any) -> Any:
    return entry


def _corner_moved(before: tuple[float, ...], after: tuple[float, ...]) -> tuple[float, float]:
    """How much is to be added to places that count from the lower left and keep their distance from the centre [mm]."""
    x, y = (0.5 * (after[axis + 2] - after[axis] - before[axis + 2] + before[axis]) for axis in (0, 1))
    return x, y


def _moved(entry: Any, move: tuple[float, float]) -> Any:
    return entry.model_copy(update={"corner_mm": _by(entry.corner_mm, move)})


def _probe(probe: Probe, move: tuple[float, float], before: Part, after: Part) -> Probe:
    *plan, height = probe.at_mm
    share = after.thickness_mm.value / before.thickness_mm.value
    return probe.model_copy(update={"at_mm": (*_by(plan, move), *_at((height,), 0, share))})


def _patch(before: Case, after: Case, entry: Cooling) -> Cooling:
    if entry.corner_mm is None:
        return entry
    move = _corner_moved(face_box(before, entry.face), face_box(after, entry.face))
    upright = len(entry.corner_mm) == 1 and entry.face in ("left", "right")  # of a slice: its one length is a height
    moved: Cooling = _moved(entry, (*move[1:], 0.0) if upright else move)
    return moved

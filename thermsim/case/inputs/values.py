"""The numbers of a case as a flat list, each with its address and tolerance, and the case with some of them changed.

Addresses are those that options use: `die.thickness_mm`, `solder.film_um`, `water.film_W_m2K`, `zones.C0.power_W`. What
the case leaves to the catalogue is listed too: a joint by what its class fills in, a material by a factor on its
conductivity (`material copper`), which all parts of that material share.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import inf
from typing import Any, Literal

from thermsim.case.inputs.floor_plan import FloorPlan, kept, stretched
from thermsim.case.source.yaml_source import LARGEST_NUMBER
from thermsim.case.vocabulary.quantities import Entry, Tolerance
from thermsim.case.vocabulary.schema import (
    BOUNDARY_KEYS,
    Basis,
    Case,
    Conductivity,
    Directions,
    Film,
    Fraction,
    Joint,
    MaterialGiven,
    NonNegative,
    Part,
    Positive,
    Quantity,
)
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.materials.leakage import LAWS
from thermsim.model.physics.properties import Bounded, is_void, joint_of, material_of
from thermsim.units import ABSOLUTE_ZERO_C, MM2K_W, UM

Steps = tuple[str | int, ...]
Shape = Literal["normal", "even", "triangle", "t"]
Sign = Literal["positive", "not negative", "fraction", "temperature", "any"]

# What is varied of each kind of entry, by key; lengths in plan and k of a material are treated apart.
OF_JOINT = ("resistance_mm2K_W", "film_um", "conductivity_W_mK", "boundary_mm2K_W", "wetted_fraction")
OF_LEAKAGE = (*(key for kind in LAWS for key in kind.given_as()), "at_C")
OF_COOLING = tuple(key for keys in BOUNDARY_KEYS.values() for key in keys if key != "towards")
OF_FILM = ("value", "low", "high", "edge", "centre")
SIGNS: dict[str, Sign] = {
    "boundary_mm2K_W": "not negative",
    "resistance_mm2K_W": "not negative",
    "power_W": "not negative",
    "per_K": "not negative",
    "wetted_fraction": "fraction",
    "share": "fraction",
    "emissivity": "fraction",
    **{key: "temperature" for key in OF_COOLING if key.endswith("_C")},
    "flux_W_mm2": "any",
    "offset_K": "any",
    "at_C": "temperature",
    "exponent": "any",
}
DEMANDS: dict[Sign, str] = {
    "positive": "above zero",
    "not negative": "zero or more",
    "fraction": "above 0 and at most 1",
    "temperature": f"above absolute zero, {ABSOLUTE_ZERO_C:g} C",
    "any": "a number",
}
UNITS = ("mm2K_W", "W_m2K", "W_mm2", "W_mK", "mm", "um", "C", "K", "W")
UNIT_IN_WORDS = {"mm2K_W": "mm2K/W", "W_m2K": "W/m2K", "W_mm2": "W/mm2", "W_mK": "W/mK"}
FACTOR = "conductivity factor"


@dataclass(frozen=True)
class Input:
    """One number of a case.

    path : its address; unit : of `value` and `plus_minus`, "" for a plain number
    plus_minus : half width of its tolerance; shape, freedom : how it is spread, with how many degrees of freedom
    owner : the part, joint, zone, environment, sensor or material that it belongs to
    steps : where it stands in the case
    """

    path: str
    value: float
    unit: str
    plus_minus: float
    shape: Shape
    freedom: float
    basis: Basis | None
    owner: str
    sign: Sign
    steps: Steps

    def allows(self, value: float) -> bool:
        """Whether the number may have this value; beyond LARGEST_NUMBER no case may."""
        if not abs(value) <= LARGEST_NUMBER:  # no number at all, too
            return False
        if self.sign == "fraction":
            return 0.0 < value <= 1.0
        if self.sign == "temperature":
            return value > ABSOLUTE_ZERO_C
        return {"positive": value > 0.0, "not negative": value >= 0.0, "any": True}[self.sign]

    @property
    def demand(self) -> str:
        """What `allows` asks for, in words."""
        if self.sign in ("fraction", "temperature"):
            return DEMANDS[self.sign]
        return f"{DEMANDS[self.sign]}, of a size up to {LARGEST_NUMBER:g}"


def inputs(case: Case) -> tuple[Input, ...]:
    """Every number that temperatures of a case depend on, with or without a tolerance, in the order of the file."""
    found = [*_layers(case), *_materials(case), *_heat(case), *_cooling(case), *_readings(case)]
    times = Counter(one.path for one in found)
    return tuple(one for one in found if times[one.path] == 1)


def with_inputs(
    case: Case,
    values: Mapping[str, float],
    known: Mapping[str, Input] | None = None,
    floor_plan: FloorPlan = "stretched",
) -> Case:
    """The case with some numbers changed.

    Parameters
    ----------
    known : inputs of the case by path, where they are at hand
    floor_plan : whether a part that changes its size takes its zones and inserts along (right for a tolerance), or
        they are kept where they are on the stack, with probes and patches (right for another part in its place)

    Raises
    ------
    UnknownNameError : a path that the case does not have
    ThermsimError : a value that the number cannot have (a thickness of zero, a wetted fraction above 1), or a part
        that no longer holds what is kept in its place
    """
    known = {one.path: one for one in inputs(case)} if known is None else known
    changed = case
    for path, value in values.items():
        one = known.get(path)
        if one is None:
            raise UnknownNameError(f"the case has no number {path!r}", "see `thermsim.inputs(case)` for what it has")
        if not one.allows(value):
            raise ThermsimError(f"{path} cannot be {value:g}", f"it must be {one.demand}")
        changed = _with(changed, one, value, floor_plan)
    return kept(case, changed) if floor_plan == "kept" else changed


# ---- the list ---------------------------------------------------------------------------------------------------


def _layers(case: Case) -> Iterator[Input]:
    names = _shared_names(case)
    for number, layer in enumerate(case.layers):
        steps: Steps = ("layers", number)
        if isinstance(layer, Joint):
            yield from _joint(layer, _address("layers", layer.joint, names), steps)
            continue
        address = _address("layers", layer.part, names)
        yield _input(f"{address}.thickness_mm", layer.thickness_mm, layer.part, (*steps, "thickness_mm"))
        for axis, length in enumerate(layer.size_mm):
            yield _input(f"{address}.size_mm.{axis}", length, layer.part, (*steps, "size_mm", axis))
        yield from _material(layer.material, f"{address}.material", layer.part, (*steps, "material"))
        if layer.around is not None:
            inner = (*steps, "around", "material")
            yield from _material(layer.around.material, f"{address}.around.material", f"around {layer.part}", inner)
        for place, insert in enumerate(layer.inserts):
            owner = f"{layer.part}, insert {place + 1}"
            inner = (*steps, "inserts", place, "material")
            yield from _material(insert.material, f"{address}.inserts.{place}.material", owner, inner)


def _joint(joint: Joint, address: str, steps: Steps) -> Iterator[Input]:
    film = joint.film_um
    known = joint_of(joint)
    filled: dict[str, tuple[Bounded | None, float]] = {"wetted_fraction": (known.wetted, 1.0)}
    if known.way == "resistance":
        filled["resistance_mm2K_W"] = (known.resistance, MM2K_W)
    else:
        filled["film_um"] = (known.film if known.form is None else None, UM)
        filled["conductivity_W_mK"] = (known.conductivity, 1.0)
        filled["boundary_mm2K_W"] = (known.boundary, MM2K_W)
    for key in OF_JOINT:
        bounded, unit = filled.get(key, (None, 1.0))
        given = getattr(joint, key)
        if given is not None and not isinstance(given, Film) and bounded is not None:
            yield _input(f"{address}.{key}", given, joint.joint, (*steps, key))
        elif key == "film_um" and film is not None and known.way == "film":
            for form in OF_FILM:
                value = getattr(film, form)
                if value is not None:
                    tail = "" if form == "value" else f".{form}"
                    yield _input(f"{address}.film_um{tail}", film, joint.joint, (*steps, key, form), value)
        elif bounded is not None:
            shape: Shape = "even"
            spread = (bounded.plus_minus / unit, shape, inf, bounded.basis)
            yield _plain(f"{address}.{key}", bounded.value / unit, joint.joint, (*steps, key), spread)


def _material(given: MaterialGiven, address: str, owner: str, steps: Steps) -> Iterator[Input]:
    """What a case gives of a material itself."""
    if given.conductivity_W_mK is not None:
        k = given.conductivity_W_mK
        inner: Steps = (*steps, "conductivity_W_mK")
        if k.value is not None:
            yield _input(f"{address}.conductivity_W_mK", k, owner, (*inner, "value"), k.value)
        if k.exponent is not None:
            yield _plain(f"{address}.conductivity_W_mK.exponent", k.exponent, owner, (*inner, "exponent"))
    for axis, k_plan in enumerate(given.in_plane_W_mK or ()):
        yield _input(f"{address}.in_plane_W_mK.{axis}", k_plan, owner, (*steps, "in_plane_W_mK", axis))
    if given.through_W_mK is not None:
        yield _input(f"{address}.through_W_mK", given.through_W_mK, owner, (*steps, "through_W_mK"))


def _materials(case: Case) -> Iterator[Input]:
    """A factor for each material of the catalogue, whose value of 1 stands for the catalogue's conductivity."""
    for name in dict.fromkeys(given.name for _, given in _givens(case) if _from_catalogue(given)):
        spread = material_of(MaterialGiven(name=name)).k_spread
        basis: Basis = "published"
        yield _plain(f"material {name}", 1.0, str(name), (FACTOR, str(name)), (spread, "even", inf, basis))


def _heat(case: Case) -> Iterator[Input]:
    names = _shared_names(case)
    for number, heat in enumerate(case.heat):
        if heat.leakage is not None:
            for key in OF_LEAKAGE:
                value = getattr(heat.leakage, key)
                if value is not None:
                    steps: Steps = ("heat", number, "leakage", key)
                    yield _plain(f"heat.{heat.in_}.leakage.{key}", value, heat.in_, steps)
        for place, zone in enumerate(heat.zones):
            address = _address("zones", zone.zone, names)
            yield _input(f"{address}.power_W", zone.power_W, zone.zone, ("heat", number, "zones", place, "power_W"))


def _cooling(case: Case) -> Iterator[Input]:
    names = _shared_names(case)
    for number, cooling in enumerate(case.cooling):
        owner = cooling.environment or cooling.face
        address = _address("cooling", owner, names)
        for key in OF_COOLING:
            given = getattr(cooling, key)
            if given is not None:
                yield _input(f"{address}.{key}", given, owner, ("cooling", number, key))
        for axis, length in enumerate(cooling.wetted_mm or ()):
            yield _input(f"{address}.wetted_mm.{axis}", length, owner, ("cooling", number, "wetted_mm", axis))


def _readings(case: Case) -> Iterator[Input]:
    for number, reading in enumerate(case.readings):
        steps: Steps = ("readings", number, "offset_K")
        yield _input(f"readings.{reading.reading}.offset_K", reading.offset_K, reading.reading, steps)


def _input(path: str, given: Tolerance, owner: str, steps: Steps, value: float | None = None) -> Input:
    """A number that the case gives with its tolerance; `value` where it is not called so."""
    shape: Shape = "t" if given.repeats is not None else given.shape or "even"
    freedom = inf if given.repeats is None else given.repeats - 1.0
    number = given.value if isinstance(given, Quantity) else value
    assert number is not None
    return _plain(path, number, owner, steps, (given.plus_minus, shape, freedom, given.basis))


def _plain(
    path: str,
    value: float,
    owner: str,
    steps: Steps,
    spread: tuple[float, Shape, float, Basis | None] = (0.0, "even", inf, None),
) -> Input:
    key = next(str(step) for step in reversed(steps) if step != "value" and isinstance(step, str))
    if key in OF_FILM:
        key = "film_um"
    sign: Sign = "positive" if steps[0] == FACTOR else SIGNS.get(key, "positive")
    return Input(path, value, _unit(path, key), *spread, owner, sign, steps)


def _unit(path: str, key: str) -> str:
    if key == "per_K":
        return "1/K"
    if path.startswith("material ") or key in ("wetted_fraction", "share", "exponent"):
        return ""
    unit = next((unit for unit in UNITS if key.endswith(f"_{unit}")), "")
    return UNIT_IN_WORDS.get(unit, unit)


def _address(kind: str, name: str, shared: set[str]) -> str:
    return f"{kind}.{name}" if name in shared else name


def _shared_names(case: Case) -> set[str]:
    """Names that stand for several things, so that the list that is meant must stand before them."""
    names = [layer.part if isinstance(layer, Part) else layer.joint for layer in case.layers]
    names += [zone.zone for heat in case.heat for zone in heat.zones]
    names += [name for cooling in case.cooling for name in {cooling.environment, cooling.face} if name is not None]
    names += [probe.probe for probe in case.probes] + [reading.reading for reading in case.readings]
    return {name for name, count in Counter(names).items() if count > 1}


# ---- changes ----------------------------------------------------------------------------------------------------


def _with(case: Case, one: Input, value: float, floor_plan: FloorPlan) -> Case:
    if one.steps[0] == FACTOR:
        return _with_factor(case, str(one.steps[1]), value)
    changed = _put(case, one.steps, value)
    assert isinstance(changed, Case)
    if floor_plan == "kept" or one.steps[0] != "layers":
        return changed
    if one.steps[2:] == ("thickness_mm",):
        return stretched(changed, one.owner, 2, value / one.value)
    if len(one.steps) == 4 and one.steps[2] == "size_mm" and isinstance(one.steps[3], int):
        return stretched(changed, one.owner, one.steps[3], value / one.value)
    return changed


def _put(holder: Any, steps: Steps, value: float) -> Any:
    """A copy of a model, or of a list in it, with one number inside replaced; what stood beside it stays."""
    if not steps:
        if isinstance(holder, (Film, Conductivity, Quantity)):
            return holder.model_copy(update={"value": value})
        return value
    step, rest = steps[0], steps[1:]
    if isinstance(holder, Entry):
        held = getattr(holder, str(step))
        if held is None and not rest:
            return holder.model_copy(update={str(step): _new(str(step), value)})
        return holder.model_copy(update={str(step): _put(held, rest, value)})
    assert isinstance(step, int)
    return type(holder)([*holder[:step], _put(holder[step], rest, value), *holder[step + 1 :]])


def _new(key: str, value: float) -> Any:
    """A number that the catalogue had filled in."""
    if key == "film_um":
        return Film(value=value)
    return {"wetted_fraction": Fraction, "conductivity_W_mK": Positive}.get(key, NonNegative)(value=value)


def _givens(case: Case) -> Iterator[tuple[Steps, MaterialGiven]]:
    for number, part in enumerate(case.layers):
        if not isinstance(part, Part):
            continue
        steps: Steps = ("layers", number)
        yield (*steps, "material"), part.material
        if part.around is not None:
            yield (*steps, "around", "material"), part.around.material
        for place, insert in enumerate(part.inserts):
            yield (*steps, "inserts", place, "material"), insert.material


def _from_catalogue(given: MaterialGiven) -> bool:
    own = (given.conductivity_W_mK, given.in_plane_W_mK, given.through_W_mK)
    return given.name is not None and not is_void(given) and all(value is None for value in own)


def _with_factor(case: Case, name: str, factor: float) -> Case:
    for steps, given in _givens(case):
        if given.name == name and _from_catalogue(given):
            case = _replaced(case, steps, _scaled(given, factor))
    return case


def _replaced(holder: Any, steps: Steps, entry: Any) -> Any:
    if not steps:
        return entry
    step = steps[0]
    if isinstance(holder, Entry):
        return holder.model_copy(update={str(step): _replaced(getattr(holder, str(step)), steps[1:], entry)})
    assert isinstance(step, int)
    return type(holder)([*holder[:step], _replaced(holder[step], steps[1:], entry), *holder[step + 1 :]])


def _scaled(given: MaterialGiven, factor: float) -> MaterialGiven:
    """The material with its catalogue conductivity times a factor, said in the words of a case."""
    x, y, z = (law.scaled(factor) for law in material_of(given).laws)
    if x == y == z:
        return given.model_copy(update={"conductivity_W_mK": Conductivity(**x.given)})
    if not (x.is_constant and y.is_constant and z.is_constant):
        raise ThermsimError(
            f"{given.name}: a conductivity that differs by direction and falls with temperature cannot be varied",
            "give its values in the case",
        )
    plan: Directions = (Positive(value=float(x(0.0))), Positive(value=float(y(0.0))))
    return given.model_copy(update={"in_plane_W_mK": plan, "through_W_mK": Positive(value=float(z(0.0)))})

"""The registry of the numbers of a case: what a number is called, its unit and bounds, and what it acts on.

Every number that a case file gives is found by going through the entries of the vocabulary: a key that is added there
is listed, varied and set without another word, its unit being that of its key and its bounds those of its type. Said
here is only what a key cannot tell: what the number acts on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from math import inf
from typing import Any, Literal, get_args

from pydantic.fields import FieldInfo

from thermsim.case.source.marked_values import KeyPath
from thermsim.case.source.yaml_source import LARGEST_NUMBER
from thermsim.case.vocabulary.addresses import called
from thermsim.case.vocabulary.quantities import Basis, Conductivity, Entry, Quantity, Tolerance
from thermsim.case.vocabulary.schema import Alike, Case, Film, Insert, Leakage, Leg, MaterialGiven, Part
from thermsim.rounding import with_tolerance
from thermsim.units import ABSOLUTE_ZERO_C

Steps = KeyPath
Shape = Literal["normal", "even", "triangle", "t"]
# balance: a coefficient or a known term of the heat balance; law: the course of one over temperature
# heights, plan: lengths upwards and in plan, which move grid lines; sensor: what a sensor shows, and no temperature
# nothing: no temperature that lasts (masses, heat capacities)
ActsOn = Literal["balance", "law", "heights", "plan", "sensor", "nothing"]

# A `Quantity` acts on the balance unless it is named here.
ACTS_ON: dict[str, ActsOn] = {
    "thickness_mm": "heights",
    "size_mm": "plan",
    "corner_mm": "plan",
    "centre_mm": "plan",
    "wetted_mm": "plan",
    "rim_mm": "plan",
    "at_mm": "plan",
    "depth_mm": "plan",
    "offset_K": "sensor",
    "weighed_g": "nothing",
    "density_kg_m3": "nothing",
    "heat_capacity_J_kgK": "nothing",
    "heat_capacity_J_K": "nothing",
}
# Of plain numbers only those that are named here are numbers of the stack; the others are settings and limits.
PLAIN: dict[type[Entry], dict[str, ActsOn]] = {
    Case: {"depth_mm": "plan"},
    Leakage: {"at_C": "balance", "per_K": "balance", "share": "law", "doubling_K": "law"},
    Film: {"value": "balance"},
    Conductivity: {"value": "balance", "at_C": "law", "exponent": "law"},
}
# Keys of inputs in which temperatures are linear, or have the derivative of a linear model at the solved state.
LINEAR = (
    "power_W", "film_W_m2K", "fluid_C", "inlet_C", "temperature_C", "low_C", "high_C", "flux_W_mm2", "per_K", "share",
    "pump_W",
)  # fmt: skip
PLACES = ("corner_mm", "centre_mm", "at_mm")
FILMS = ("film_um", "low", "high", "edge", "centre")
UNITS = (
    "mm2K_W", "W_m2K", "W_mm2", "W_mK", "J_kgK", "kg_m3", "W_K", "J_K", "K_W", "l_min", "mm", "um",
    "GHz", "C", "K", "W", "V", "g", "s",
)  # fmt: skip
UNIT_IN_WORDS = {"mm2K_W": "mm2K/W", "W_m2K": "W/m2K", "W_mm2": "W/mm2", "W_mK": "W/mK", "J_kgK": "J/kgK"}
UNIT_IN_WORDS |= {"kg_m3": "kg/m3", "K_W": "K/W", "W_K": "W/K", "J_K": "J/K", "l_min": "l/min"}


@dataclass(frozen=True)
class Bounds:
    """What a number may be. is_open : whether `low` itself is out of bounds"""

    low: float = -inf
    high: float = inf
    is_open: bool = False

    def allow(self, value: float) -> bool:
        """Whether a number may be that; beyond LARGEST_NUMBER no number of a case may."""
        least = self.low < value if self.is_open else self.low <= value
        return least and value <= self.high and abs(value) <= LARGEST_NUMBER

    def least(self, value: float, share: float) -> float:
        """The lowest that a number may be drawn as: where it must not reach a bound, a share of the way is left."""
        return self.low + share * (value - self.low) if self.is_open else self.low

    def __str__(self) -> str:
        """`above 0 and at most 1`: what a number must be."""
        low = f"absolute zero, {self.low:g} C," if self.low == ABSOLUTE_ZERO_C else f"{self.low:g}"
        least = "" if self.low == -inf else f"above {low}" if self.is_open else f"{low} or more"
        most = f"at most {self.high:g}" if self.high < inf else f"of a size up to {LARGEST_NUMBER:g}"
        return " and ".join(end for end in (least, most) if end)


EXACT = Tolerance()
POSITIVE = Bounds(0.0, inf, True)


@dataclass(frozen=True)
class Input:
    """One number of a case.

    path : its address; unit : of `value` and `plus_minus`, "" for a plain number
    plus_minus : half width of its tolerance; shape, freedom : how it is spread, with how many degrees of freedom
    owner : the part, joint, zone, environment, probe, sensor or material that it belongs to
    steps : where it stands in the case
    is_filled_in : whether the catalogue gives it, and not the case
    """

    path: str
    value: float
    unit: str
    plus_minus: float
    shape: Shape
    freedom: float
    basis: Basis | None
    owner: str
    bounds: Bounds
    acts_on: ActsOn
    steps: Steps
    is_filled_in: bool = False

    @property
    def key(self) -> str:
        """The key of the case file that it is the value of."""
        return key_of(self.steps)

    @property
    def spread(self) -> tuple[float, float, Shape, float]:
        """Value, half width, shape and degrees of freedom: what two numbers share that vary alike."""
        return self.value, self.plus_minus, self.shape, self.freedom

    @property
    def said(self) -> str:
        """`60 +- 30 um`"""
        return f"{with_tolerance(self.value, self.plus_minus)} {self.unit}".rstrip()

    @property
    def is_linear(self) -> bool:
        """Whether what it acts on is a straight line in it."""
        return self.key in LINEAR

    @property
    def is_offset(self) -> bool:
        """Whether it shifts what a sensor shows, and no temperature."""
        return self.acts_on == "sensor"

    @property
    def is_length(self) -> bool:
        """Whether it moves outlines, so that geometry must be looked at."""
        return self.acts_on in ("heights", "plan")

    @property
    def is_ratio(self) -> bool:
        """Whether nothing is its zero; a place or a temperature has an arbitrary one, and no relative width."""
        return self.unit != "C" and self.key not in PLACES

    def allows(self, value: float) -> bool:
        """Whether the number may have this value."""
        return self.bounds.allow(value)


def numbers(case: Case) -> tuple[Input, ...]:
    """Every number that the case gives, but for tables over temperature, in the order of the file."""
    found = list(_of_entry(case, "", "the case", ()))
    for one in called(case):
        # A reading always says that it is one: its offset is that of a sensor, not of the zone of the same name.
        address = one.addresses[-1] if one.kind == "readings" else one.address
        found += _of_entry(one.entry, f"{address}.", one.name, one.path)
    times = Counter(one.path for one in found)
    return tuple(one if times[one.path] == 1 else _by_place(one) for one in found)


def _by_place(one: Input) -> Input:
    """Where names with dots run into one another, nothing but the place is left."""
    return replace(one, path=".".join(map(str, one.steps)))


def _of_entry(entry: Entry, prefix: str, owner: str, steps: Steps) -> Iterator[Input]:
    """The numbers inside an entry, but for those of entries with a name of their own."""
    kind = type(entry)
    for key in kind.model_fields:
        value, place = getattr(entry, key), (*steps, key)
        path = prefix.removesuffix(".") if key == "value" else f"{prefix}{key}"
        if isinstance(value, Quantity):
            if value.is_number:
                yield _quantity(path, value, owner, place)
        elif isinstance(value, (float, int)) and key in PLAIN.get(kind, {}):
            given = entry if isinstance(entry, Tolerance) and key == "value" else EXACT
            yield input_of(path, given, float(value), owner, place, bounds_of(kind, key), PLAIN[kind][key])
        elif isinstance(value, (tuple, list)):
            yield from _of_list(value, path, owner, place)
        elif isinstance(value, Entry) and kind is not Case:
            inner = f"around {owner}" if key == "around" else owner
            yield from _of_entry(value, f"{path}.", inner, place)


def _of_list(values: Any, path: str, owner: str, steps: Steps) -> Iterator[Input]:
    for place, value in enumerate(values):
        if isinstance(value, Quantity):
            yield _quantity(f"{path}.{place}", value, owner, (*steps, place))
        elif isinstance(value, (Insert, Alike, Leg)):
            kind = type(value).__name__.lower()
            yield from _of_entry(value, f"{path}.{place}.", f"{owner}, {kind} {place + 1}", (*steps, place))


def input_of(
    path: str, given: Tolerance, value: float, owner: str, steps: Steps, bounds: Bounds, acts_on: ActsOn
) -> Input:
    """A number with the tolerance that a case gives it."""
    shape: Shape = "t" if given.repeats is not None else given.shape or "even"
    freedom = inf if given.repeats is None else given.repeats - 1.0
    unit = unit_of(key_of(steps))
    return Input(path, value, unit, given.plus_minus, shape, freedom, given.basis, owner, bounds, acts_on, steps)


def _quantity(path: str, given: Quantity, owner: str, steps: Steps) -> Input:
    acts_on = ACTS_ON.get(key_of(steps), "balance")
    return input_of(path, given, given.value, owner, steps, bounds_of(type(given), "value"), acts_on)


def key_of(steps: Steps) -> str:
    """The key of the case file that a number is the value of."""
    return next(str(step) for step in reversed(steps) if step != "value" and isinstance(step, str))


@cache
def unit_of(key: str) -> str:
    """The unit that a key ends with, in words."""
    if key == "per_K":
        return "1/K"
    if key in FILMS:
        return "um"
    unit = next((unit for unit in UNITS if key.endswith(f"_{unit}")), "")
    return UNIT_IN_WORDS.get(unit, unit)


@cache
def bounds_of(kind: type[Entry], key: str) -> Bounds:
    """What the vocabulary lets a number of an entry be."""
    info = kind.model_fields[key]
    low, high, is_open = -inf, inf, False
    for bound in _metadata(info):
        if (above := getattr(bound, "gt", None)) is not None:
            low, is_open = float(above), True
        elif (least := getattr(bound, "ge", None)) is not None:
            low, is_open = float(least), False
        if (most := getattr(bound, "le", None)) is not None:
            high = float(most)
    return Bounds(low, high, is_open)


def _metadata(info: FieldInfo) -> Iterator[Any]:
    """What stands beside a type, also where the value may be left out."""
    yield from info.metadata
    for choice in get_args(info.annotation):
        for beside in getattr(choice, "__metadata__", ()):
            yield from beside.metadata if isinstance(beside, FieldInfo) else (beside,)


def materials(case: Case) -> Iterator[tuple[Steps, MaterialGiven]]:
    """What a case says of the materials of its parts, of what is around them and of inserts, with its place."""
    for number, part in enumerate(case.layers):
        if not isinstance(part, Part):
            continue
        steps: Steps = ("layers", number)
        yield (*steps, "material"), part.material
        if part.around is not None:
            yield (*steps, "around", "material"), part.around.material
        for place, insert in enumerate(part.inserts):
            yield (*steps, "inserts", place, "material"), insert.material

"""The points of a sweep: which quantities take which values, and the case at each point, checked before solving."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.case.geometry.floor_plan import put
from thermsim.case.geometry.heights import made_up_mm
from thermsim.case.inputs.values import inputs, number_of, with_inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case, Part
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.readout.answers import observables
from thermsim.readout.observable import HOTTEST, Asked, Observable, find, temperatures

MOST_QUANTITIES = 2
FEWEST_VALUES = 2
MOST_POINTS = 10_000  # more values of a range than anybody waits for: taken for a slip and refused
DIGITS = 12  # significant digits of a value, so that no round-off of the spacing is shown
SAME_HEIGHT_mm = 1e-9
SAME_HALF_WIDTH = ("mm", "C", "K", "")  # units of numbers whose tolerance is no share of them: see `keeps_share`
MOST_MEANT = 6  # numbers that are named where a path may mean several


@dataclass(frozen=True)
class Vary:
    """What is asked: `count` values of one number of the case from `low` to `high`, in even steps or even ratios.

    low, high : in the unit of the number; or text with a unit, such as `780 um`
    """

    path: str
    low: float | str
    high: float | str
    count: int
    is_log: bool = False


@dataclass(frozen=True)
class Range:
    """One number of the case with the values that it takes, rising; `typed` is the value of the case."""

    path: str
    unit: str
    typed: float
    values: tuple[float, ...]
    is_log: bool = False

    @property
    def label(self) -> str:
        """`die.size_mm.0 (along x) [mm]`"""
        along = {".0": " (along x)", ".1": " (along y)"}.get(self.path[-2:], "") if "_mm." in self.path else ""
        return f"{self.path}{along} [{self.unit}]" if self.unit else self.path

    def at(self, value: float) -> str:
        """`die.thickness_mm = 0.5`: the unit stands in the path."""
        return f"{self.path} = {value:.6g}"


@dataclass(frozen=True)
class Place:
    """One point before it is solved. made_up_mm : thickness of the part that keeps the height.

    changed : paths of the numbers that are not those of the case: what is varied, and that thickness
    """

    values: tuple[float, ...]
    made_up_mm: float | None
    case: Case
    changed: tuple[str, ...]


def ranges_of(case: Case, vary: Sequence[Vary]) -> tuple[Range, ...]:
    """The numbers that are swept.

    Raises
    ------
    UnknownNameError : a path that the case does not have, with the nearest that it has
    ThermsimError : no quantity or more than two, one twice, or a range that is none
    """
    if not 1 <= len(vary) <= MOST_QUANTITIES:
        raise ThermsimError(f"a sweep varies one or two quantities, not {len(vary)}", "give --vary once or twice")
    if max(one.count for one in vary) > MOST_POINTS:
        raise ThermsimError(f"more than {MOST_POINTS} values are asked for", "ask for fewer")
    known = {one.path: one for one in inputs(case)}
    found = tuple(_range(known, one) for one in vary)
    if len({one.path for one in found}) < len(found):
        raise ThermsimError(f"{found[0].path} is varied twice", "vary two different quantities")
    count = math.prod(len(one.values) for one in found)
    if count > MOST_POINTS:
        raise ThermsimError(f"that makes {count} points, more than {MOST_POINTS}", "ask for fewer values")
    return found


def _range(known: dict[str, Input], vary: Vary) -> Range:
    if vary.path not in known:
        raise UnknownNameError(*_unknown(vary.path, known))
    if vary.count < FEWEST_VALUES:
        raise ThermsimError(f"{vary.path}: {vary.count} value makes no range", f"ask for {FEWEST_VALUES} at least")
    one = known[vary.path]
    low, high = (float(number_of(one, given)) for given in (vary.low, vary.high))
    if not (math.isfinite(low) and math.isfinite(high)):
        raise ThermsimError(f"{vary.path}: {low:g} to {high:g} is no range", "give two numbers")
    if not low < high:
        raise ThermsimError(f"{vary.path}: {low:g} is not below {high:g}", "give the lower end first")
    for end in (low, high):
        if not one.allows(end):
            raise ThermsimError(f"{vary.path} cannot be {end:g}", f"it must be {one.bounds}")
    if vary.is_log and low <= 0.0:
        raise ThermsimError(f"{vary.path}: even ratios cannot begin at {low:g}", "begin above 0, or leave out --log")
    spaced = (np.geomspace if vary.is_log else np.linspace)(low, high, vary.count)
    values = tuple(float(f"{value:.{DIGITS}g}") for value in spaced.tolist())
    return Range(one.path, one.unit, one.value, values, vary.is_log)


def _may_mean(path: str, whole: str) -> bool:
    """Whether a path names a number but for its list and place: `top.film_W_m2K` of `cooling.top.0.film_W_m2K`."""
    parts = iter(whole.split("."))
    return whole.endswith("." + path.split(".")[-1]) and all(part in parts for part in path.split("."))


def _unknown(path: str, known: dict[str, Input]) -> tuple[str, str]:
    """What is wrong with a path, and what the case has instead."""
    paths = list(known)
    if meant := [one for one in paths if _may_mean(path, one)]:
        several = "the case has no number {!r}" if len(meant) == 1 else "{!r} may mean several numbers"
        name = ", or give each `environment`, a name" if len(meant) > 1 and meant[0].startswith("cooling.") else ""
        return several.format(path), f"write {' or '.join(meant[:MOST_MEANT])}{name}"
    heads = dict.fromkeys(one.rpartition(".")[0].split(".")[0] or one for one in paths)
    kind, _, rest = path.partition(".")
    of_kind = [one for one, given in known.items() if given.steps[0] == kind]
    inside = rest if of_kind and rest and kind not in heads else path  # behind the name of its list
    head = inside.split(".")[0]
    of_head = [one for one in paths if one.startswith(f"{head}.")]
    remedy = f"numbers belong to: {listed(heads, 40)}"
    if of_head or of_kind:
        remedy = f"{head if of_head else kind} has: {listed(of_head or of_kind)}"
    return f"the case has no number {path!r}{did_you_mean(inside, of_head or of_kind or paths)}", remedy


def questions_of(case: Case, asked: Collection[Asked]) -> tuple[Observable, ...]:
    """What is asked, by itself or by its words: `reading C5`, `zone cache` (its mean), `zone cache, highest`.

    The hottest spot where nothing is said.

    Raises UnknownNameError: the case has no such temperature.
    """
    known = temperatures(observables(case))
    found = [HOTTEST if words == "hottest" else find(known, words) for words in asked or [HOTTEST]]
    return tuple(dict.fromkeys(found))


def places_of(case: Case, ranges: Sequence[Range], same_height: str | None) -> tuple[Place, ...]:
    """The case at every point, the last range varying fastest; the circuit stays where it is on the stack.

    same_height : a part whose thickness keeps the height of the stack

    Raises
    ------
    UnknownNameError : no such part
    ThermsimError : a point whose case cannot be; says which points can
    """
    known = {one.path: one for one in inputs(case)}
    path = None if same_height is None else _thickness_path(case, ranges, same_height, known)
    places: list[Place] = []
    refused: list[tuple[tuple[float, ...], str]] = []
    for values in product(*(one.values for one in ranges)):
        numbers = {one.path: value for one, value in zip(ranges, values, strict=True)}
        thickness = None
        if path is not None and same_height is not None:
            numbers[path] = thickness = made_up_at(case, numbers, same_height, known)
        try:
            changed = with_inputs(case, numbers, known, "kept")
        except ThermsimError as error:
            refused.append((values, error.what))
            continue
        changed = _with_shares(changed, [known[one.path] for one in ranges], values)
        places.append(Place(values, thickness, changed, tuple(numbers)))
    if refused:
        raise _refusal(ranges, refused)
    return tuple(places)


def keeps_share(one: Input) -> bool:
    """Whether the tolerance of a number that is varied stays the same share of it, and not the same half width.

    Lengths are held to a caliper and temperatures to a sensor, whatever they are; films, powers, conductivities and
    resistances are known to so many percent (common practice, no source).
    """
    return one.unit not in SAME_HALF_WIDTH and one.value != 0.0


def _with_shares(case: Case, varied: Sequence[Input], values: Sequence[float]) -> Case:
    for one, value in zip(varied, values, strict=True):
        if one.plus_minus and not one.is_filled_in and keeps_share(one):
            beside = one.steps[:-1] if one.steps[-1] == "value" else one.steps
            case = put(case, {(*beside, "plus_minus"): one.plus_minus * abs(value / one.value)})
    return case


def made_up_at(case: Case, numbers: dict[str, float], name: str, known: dict[str, Input]) -> float:
    """Thickness of a part [mm] that keeps the height of the case with some numbers changed; may be zero or less."""
    # Sizes do not change heights, and need not hold the circuit yet.
    changed = with_inputs(case, {path: at for path, at in numbers.items() if known[path].acts_on != "plan"}, known)
    return made_up_mm(case, changed, next(part for part in changed.parts if part.part == name))


def _thickness_path(case: Case, ranges: Sequence[Range], name: str, known: dict[str, Input]) -> str:
    """Address of the thickness of the part that keeps the height, once it is sure that it can."""
    names = [part.part for part in case.parts]
    if name not in names:
        what = f"the case has no part {name!r} that could keep the height{did_you_mean(name, names)}"
        raise UnknownNameError(what, f"its parts: {listed(names)}")
    number = next(n for n, layer in enumerate(case.layers) if isinstance(layer, Part) and layer.part == name)
    path = next(one.path for one in known.values() if one.steps == ("layers", number, "thickness_mm"))
    if path in [one.path for one in ranges]:
        raise ThermsimError(f"{path} is varied, and cannot keep the height as well", "let another part keep it")
    worst: dict[str, float] = {}
    moving = []
    for one in ranges:
        ends = {end: made_up_at(case, {one.path: end}, name, known) for end in (one.values[0], one.values[-1])}
        worst[one.path] = min(ends, key=lambda end: ends[end])
        if abs(np.ptp(list(ends.values()))) > SAME_HEIGHT_mm:
            moving.append(one)
    if not moving:
        what = f"nothing that is varied changes the height, so {name!r} has nothing to make up for"
        raise ThermsimError(what, "leave out --same-height, or vary a thickness")
    thinnest = made_up_at(case, worst, name, known)
    if thinnest <= 0.0:
        where = " and ".join(one.at(worst[one.path]) for one in moving)
        limits = [_limit(case, one, worst, name, known) for one in moving]
        raise ThermsimError(
            f"{name!r}, which keeps the height, would be {thinnest:g} mm thick at {where}",
            f"{' or '.join(limit for limit in limits if limit) or 'no part of this range'} works",
        )
    return path


def _limit(case: Case, one: Range, worst: dict[str, float], name: str, known: dict[str, Input]) -> str:
    """Up to, or from which value of one quantity the part keeps a thickness, the other one at its worst."""
    low, high = one.values[0], one.values[-1]
    at_low, at_high = (made_up_at(case, {**worst, one.path: end}, name, known) for end in (low, high))
    if max(at_low, at_high) <= 0.0:
        return ""
    zero = low + (high - low) * at_low / (at_low - at_high)  # heights are straight lines in thicknesses
    return f"{one.path} {'below' if at_high < at_low else 'above'} {zero:.6g}"


def _refusal(ranges: Sequence[Range], refused: list[tuple[tuple[float, ...], str]]) -> ThermsimError:
    """The first point that cannot be, and what works of each range whatever the other quantity is."""
    values, why = refused[0]
    where = ", ".join(one.at(value) for one, value in zip(ranges, values, strict=True))
    works = []
    for axis, one in enumerate(ranges):
        bad = {values[axis] for values, _ in refused}
        good = [value for value in one.values if value not in bad]
        if len(good) == 1:  # no range, and yet an end of one
            works.append(f"{one.path} from {good[0]:.6g} {'up' if good[0] == one.values[-1] else 'down'}")
        elif good and bad:
            works.append(f"{one.path} from {good[0]:.6g} to {good[-1]:.6g}")
    return ThermsimError(f"{where}: {why}", f"{' or '.join(works)} works" if works else "change the ranges")

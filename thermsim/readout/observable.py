"""What can be read off a solved case, by name: keys of all answers, and how one may ask for them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol, TypeVar

from thermsim.case.faults.wording import did_you_mean, listed
from thermsim.errors import UnknownNameError

Takes = Literal["", "mean", "highest", "power"]
Value = TypeVar("Value")


@dataclass(frozen=True)
class Observable:
    """What can be read off a solved case: a temperature [C], or a heat [W].

    kind : which list of the case it stands in; the hottest spot of the stack, the coolant of its loop and the
        warmest reading are one of a kind
    name : of zone, probe or reading; of a flow the number of its entry of `cooling`, from 0
    takes : what of a zone is meant; part, at : where that zone is
    label : its name in words, where others are called so
    """

    kind: str
    name: str = ""
    takes: Takes = ""
    part: str = ""
    at: Literal["", "bottom", "top", "volume"] = ""
    label: str = field(default="", compare=False, repr=False)

    def __str__(self) -> str:
        """`zone C5, mean`, `reading C0`, `the hottest spot`."""
        if not self.name:
            return "the hottest spot" if self.kind == "hottest" else f"the {self.kind}"
        return f"{self.kind} {self.label or self.name}" + (f", {self.takes}" if self.takes else "")

    @property
    def is_heat(self) -> bool:
        """Whether it is a heat; all else are temperatures."""
        return self.kind == "flow" or self.takes == "power"

    def is_called(self, given: Asked) -> bool:
        """Whether it is meant by its words, or by the first of its kind, name, what it takes, part and place in it."""
        if isinstance(given, Observable):
            return given == self
        if isinstance(given, str):
            words = str(self)
            return given in (words, words.removeprefix("the "), words.removesuffix(", mean"))
        return (self.kind, self.name, self.takes, self.part, self.at)[: len(given)] == tuple(given)


# How one may ask for it: by itself, its words, or ("hottest",), ("zone", name, "mean"), ("zone", name, "mean", part,
# at), ("reading", name), ("probe", name), ("flow", number).
Asked = Observable | str | tuple[str, ...]


class Zoned(Protocol):
    """Whatever names a zone, as `case.geometry.zones.KnownZone` does."""

    @property
    def zone(self) -> str:
        """The name of the zone."""

    @property
    def part(self) -> str:
        """The part that it belongs to."""

    @property
    def at(self) -> Literal["bottom", "top", "volume"]:
        """The side of the part that it lies on."""

    @property
    def label(self) -> str:
        """What it is called where its name alone is not enough."""


HOTTEST = Observable("hottest")
COOLANT = Observable("coolant")  # of the loop, mean of a pass
WARMEST = Observable("warmest reading")


class UnknownObservableError(UnknownNameError, KeyError):
    """Nothing, or more than one thing, that can be read off is called so."""

    __str__ = Exception.__str__


def find(known: Iterable[Observable], given: Asked) -> Observable:
    """The one observable that is meant.

    Raises UnknownObservableError where none is, or several.
    """
    known = list(known)
    found = [one for one in known if one.is_called(given)]
    if len(found) == 1:
        return found[0]
    words = str(given) if isinstance(given, (Observable, str)) else ", ".join(given)
    if found:
        ways = listed([f"{one}: {(one.kind, one.name, one.takes, one.part, one.at)}" for one in found])
        raise UnknownObservableError(f"{words!r} may be any of {len(found)}", f"say which: {ways}")
    names = list(dict.fromkeys(map(str, known)))
    raise UnknownObservableError(
        f"nothing called {words!r} can be read off{did_you_mean(words, names)}", f"there are: {listed(names, 60)}"
    )


class Answers(dict[Observable, Value]):
    """Values by what they are of, found by all that `Asked` allows."""

    def __getitem__(self, given: Asked) -> Value:
        return super().__getitem__(given if isinstance(given, Observable) else find(self, given))

    def __missing__(self, given: Observable) -> Value:
        return self[find(self, given)]  # which says what there is

    def __contains__(self, given: object) -> bool:
        if isinstance(given, (str, tuple)):
            return any(one.is_called(given) for one in self)
        return super().__contains__(given)

    def get(self, given: Asked, default: Any = None, /) -> Any:
        """The answer asked for, or another value where there is none."""
        return self[given] if given in self else default  # noqa: SIM401  # what `in` and `[]` find, it finds


def of_zone(zone: Zoned, takes: Takes) -> Observable:
    """A temperature of a zone."""
    return Observable("zone", zone.zone, takes, zone.part, zone.at, zone.label)


def of_probe(probe: str) -> Observable:
    """The temperature at a probe."""
    return Observable("probe", probe)


def of_reading(reading: str) -> Observable:
    """A reading of the case."""
    return Observable("reading", reading)


def of_flow(number: int) -> Observable:
    """Of an entry of `cooling`, counted from 0."""
    return Observable("flow", str(number))


def temperatures(asked: Iterable[Observable]) -> list[Observable]:
    """Those that are temperatures: what `accuracy_K` is asked of."""
    return [one for one in asked if not one.is_heat]

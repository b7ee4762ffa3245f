"""The vocabulary of a case file, as pydantic models: shapes and bounds of single values.

`quantities`, `stack`, `heat`, `cooling`, `bench` hold its parts; this file is their door, and holds what a case is made
of. What needs two values at once (zones inside their part, names that exist, overlaps) is checked in `case/faults`.
Numbers stay in the units their key names. A string below a key says what it means: `cases/case.schema.json` and the
documentation are made from these models.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, PrivateAttr, model_validator

from thermsim.case.source.file_origin import Origin
from thermsim.case.source.marked_values import KeyPath, Mark
from thermsim.case.vocabulary.bench import Bench as Bench
from thermsim.case.vocabulary.cooling import BOUNDARY_KEYS as BOUNDARY_KEYS
from thermsim.case.vocabulary.cooling import CoolantLoop as CoolantLoop
from thermsim.case.vocabulary.cooling import Cooling as Cooling
from thermsim.case.vocabulary.cooling import Direction as Direction
from thermsim.case.vocabulary.cooling import Face as Face
from thermsim.case.vocabulary.heat import Alike as Alike
from thermsim.case.vocabulary.heat import Heat as Heat
from thermsim.case.vocabulary.heat import Leakage as Leakage
from thermsim.case.vocabulary.heat import PowerMap as PowerMap
from thermsim.case.vocabulary.heat import Zone as Zone
from thermsim.case.vocabulary.quantities import Basis as Basis
from thermsim.case.vocabulary.quantities import Celsius as Celsius
from thermsim.case.vocabulary.quantities import Conductivity as Conductivity
from thermsim.case.vocabulary.quantities import Directions as Directions
from thermsim.case.vocabulary.quantities import Entry as Entry
from thermsim.case.vocabulary.quantities import Fraction as Fraction
from thermsim.case.vocabulary.quantities import Name as Name
from thermsim.case.vocabulary.quantities import NonNegative as NonNegative
from thermsim.case.vocabulary.quantities import Place as Place
from thermsim.case.vocabulary.quantities import Point as Point
from thermsim.case.vocabulary.quantities import Positive as Positive
from thermsim.case.vocabulary.quantities import Quantity as Quantity
from thermsim.case.vocabulary.quantities import Size as Size
from thermsim.case.vocabulary.quantities import Tolerance as Tolerance
from thermsim.case.vocabulary.stack import Around as Around
from thermsim.case.vocabulary.stack import Film as Film
from thermsim.case.vocabulary.stack import Insert as Insert
from thermsim.case.vocabulary.stack import Joint as Joint
from thermsim.case.vocabulary.stack import Layer as Layer
from thermsim.case.vocabulary.stack import Leg as Leg
from thermsim.case.vocabulary.stack import MaterialGiven as MaterialGiven
from thermsim.case.vocabulary.stack import Part as Part
from thermsim.case.vocabulary.stack import Stand as Stand
from thermsim.case.vocabulary.warm_up import LoadStep as LoadStep
from thermsim.case.vocabulary.warm_up import WarmUp as WarmUp


class Probe(Entry):
    """A point where a temperature is asked for, from the named part's lower left bottom."""

    probe: Name
    """its name"""
    in_: Annotated[Name, Field(alias="in")]
    """the part it lies in; between two levels that one is read, between two materials of a level the better conductor
    """
    at_mm: Point
    """[x, y, z] from the lower left bottom of the part; [x, z] in a slice"""


class Reading(Entry):
    """What a sensor in a zone, or at a probe, shows."""

    reading: Name
    """its name"""
    zone: Name | None = None
    """the zone it sits in"""
    in_: Name | None = Field(None, alias="in")
    """the part of its zone, if several are called so"""
    at: Literal["bottom", "top", "volume"] | None = None
    """the side of the part, likewise"""
    probe: Name | None = None
    """the probe it sits at"""
    takes: Literal["mean", "highest"] = "mean"
    """what of its zone"""
    offset_K: Quantity = Quantity(value=0.0)
    """what it shows too much"""
    step_K: Annotated[float, Field(gt=0.0)] | None = None
    """step to which it rounds"""

    @model_validator(mode="after")
    def _one_place(self) -> Reading:
        if (self.zone is None) == (self.probe is None):
            raise ValueError("a reading belongs to a `zone` or to a `probe`")
        if self.zone is None and (self.in_ is not None or self.at is not None):
            raise ValueError("`in` and `at` say which `zone` is meant; a probe has one place")
        if self.zone is None and "takes" in self.model_fields_set:
            raise ValueError("`takes` says what of a zone is read: leave it out, a probe is one point")
        return self


class Limits(Entry):
    """Temperatures that must not be exceeded."""

    reading_C: Annotated[float, Field(gt=-273.15)] | None = None
    """highest reading allowed: what `afford` goes up to"""
    holds_back: bool = False
    """whether the chip lets its power fall so that no reading passes that, in a `warmup`"""


class ClockStep(Entry):
    """A clock to try, with the voltage that it needs."""

    frequency_GHz: Annotated[float, Field(gt=0.0)]
    """the clock"""
    voltage_V: Annotated[float, Field(gt=0.0)]
    """that it needs"""


class Clock(ClockStep):
    """The clock and voltage at which the powers of the case hold, and the steps to try instead."""

    zones: list[Name] = Field(default_factory=list)
    """those that run at this clock; all heat, maps too, unless given"""
    steps: list[ClockStep] = Field(default_factory=list)
    """clocks to try, rising"""


class Added(Entry):
    """Layers that an option adds over or under one that is there, or puts in its place."""

    above: Name | None = None
    """the part or joint over which they come"""
    below: Name | None = None
    """the one under which they come"""
    in_place_of: Name | None = None
    """the one that they replace"""
    layers: Annotated[list[Layer], Field(min_length=1)]
    """parts and joints, from the bottom up"""

    @model_validator(mode="after")
    def _one_place(self) -> Added:
        if len([one for one in (self.above, self.below, self.in_place_of) if one is not None]) != 1:
            raise ValueError(
                "layers are added `above` or `below` a part or joint, or `in_place_of` it: give one of these"
            )
        return self


class Option(Entry):
    """The base case with some values changed; keys are `name: {key: value}` or `name.key: value`."""

    option: Name
    """its name"""
    with_: Annotated[Name | list[Name], Field(alias="with")] = Field(default_factory=list)
    """options that it builds on: theirs comes first, then its own"""
    changes: dict[str, Any] = Field(default_factory=dict)
    """`part.key: value`, `joint: {key: value}`, or `layer: remove`"""
    adds: list[Added] = Field(default_factory=list)
    """layers that it adds to the stack, or replaces"""
    same_height_by: Name | None = None
    """the part whose thickness makes up for what the changes do to the height of the stack"""
    same_as_base: list[Name] = Field(default_factory=list)
    """addresses of numbers that the changes give and that are those of the base: they vary together"""

    @property
    def builds_on(self) -> list[str]:
        """Names of the options that it builds on, in their order."""
        return [self.with_] if isinstance(self.with_, str) else self.with_

    @model_validator(mode="after")
    def _something(self) -> Option:
        if not (self.changes or self.adds or self.builds_on) and not {"changes", "adds"} & self.model_fields_set:
            raise ValueError("an option needs `changes`, or `adds`, or options to build on `with`")
        return self


class Case(Entry):
    """A stack, its heat and its cooling: everything one prediction needs."""

    title: Name
    """what results call it"""
    about: str | None = None
    """whatever should be remembered of it"""
    dimensions: Literal[2, 3] = 3
    """2 is a slice: sizes and corners are single lengths, points are `[x, z]`, and nothing spreads along its depth, so
    that a chip is told too hot
    """
    depth_mm: Annotated[float, Field(gt=0.0)] | None = None
    """depth of a slice; 1000 unless given"""
    layers: Annotated[list[Layer], Field(min_length=1)]
    """parts and joints, from the bottom up"""
    heat: list[Heat] = Field(default_factory=list)
    """where heat is made"""
    cooling: Annotated[list[Cooling], Field(min_length=1)]
    """where it leaves; of two entries for one face the narrower comes first, and an outer face without any is
    insulated
    """
    coolant_loop: CoolantLoop | None = None
    """the coolant that faces with `fluid_C: loop` give their heat to, and its radiator"""
    probes: list[Probe] = Field(default_factory=list)
    """points where a temperature is asked for"""
    readings: list[Reading] = Field(default_factory=list)
    """what sensors show"""
    limits: Limits = Limits()
    """what must not be exceeded"""
    clock: Clock | None = None
    """the clock at which the powers hold, and clocks to try"""
    warmup: WarmUp | None = None
    """what `thermsim warmup` follows: times, and a load that changes"""
    options: list[Option] = Field(default_factory=list)
    """named changes, to be compared with the case as it is"""
    worth_K: Annotated[float, Field(gt=0.0)] | None = None
    """gain that is worth opening the chip"""
    one_mount_K: Annotated[float, Field(gt=0.0, le=20.0)] | None = None
    """standard deviation of the mean reading of one mount about that of many mounts of the same chip"""
    bench: Bench | None = None
    """measured runs, and how they were noted: what `judge` goes by"""
    accuracy_K: Annotated[float, Field(gt=0.0)] = 0.1
    """refine until every mesh doubt is below"""
    accuracy_W: Annotated[float, Field(gt=0.0)] | None = None
    """refine until the mesh doubt of every flow is below this too"""
    _origin: Origin | None = PrivateAttr(None)  # set by the reader; not part of the vocabulary

    @property
    def parts(self) -> list[Part]:
        """Solid layers, from the bottom up."""
        return [layer for layer in self.layers if isinstance(layer, Part)]

    @property
    def joints(self) -> list[Joint]:
        """What lies between parts, from the bottom up."""
        return [layer for layer in self.layers if isinstance(layer, Joint)]

    @property
    def tables(self) -> dict[str, NDArray[np.float64]]:
        """Tables by their file name as written; (lines, columns) as in the file, the first line is the far edge."""
        return {} if self._origin is None else self._origin.tables

    @property
    def option(self) -> str | None:
        """Name of the option that this case was changed by."""
        return None if self._origin is None or self._origin.own is None else self._origin.own.option

    @property
    def options_to_take(self) -> list[Option]:
        """The options that can still be worked out: none once one was, for they are changes of the base."""
        return self.options if self.option is None else []

    def built_from(self, name: str) -> list[Option]:
        """The options that one is made of: those it builds on, each once and before what builds on it, itself last."""
        known = {option.option: option for option in self.options}
        found: dict[str, Option] = {}
        waiting: set[str] = set()

        def take(one: str) -> None:
            if one in found or one in waiting or one not in known:
                return  # taken already; or built on itself or on nothing, which the reader tells
            waiting.add(one)
            for other in known[one].builds_on:
                take(other)
            found[one] = known[one]

        take(name)
        return list(found.values())

    def identity_of(self, steps: KeyPath) -> tuple[str | None, KeyPath]:
        """What makes a number the same in a case and its options, see `thermsim.case.source.file_origin.Own`."""
        return (None, steps) if self._origin is None or self._origin.own is None else self._origin.own.identity(steps)

    @property
    def source_text(self) -> str:
        """The text of the case file; empty for a case that was not read from one."""
        return "" if self._origin is None else self._origin.source.text

    @property
    def file(self) -> str:
        """Name of the case file, as it stands in messages."""
        return "" if self._origin is None else self._origin.source.name

    @property
    def folder(self) -> Path | None:
        """Folder of the case file."""
        return None if self._origin is None else self._origin.source.folder

    def mark(self, *path: str | int) -> Mark:
        """Line and column of a value, `case.mark("layers", 2, "film_um")`; of what holds it if it was not written."""
        return (1, 1) if self._origin is None else self._origin.source.mark(path)

    def place(self, *path: str | int) -> str:
        """The same as `file:line:column`, for messages."""
        line, column = self.mark(*path)
        return f"{self.file}:{line}:{column}"

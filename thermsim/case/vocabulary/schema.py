"""The vocabulary of a case file, as pydantic models: shapes and bounds of single values.

What needs two values at once (zones inside their part, names that exist, overlaps) is checked
in `case/faults`. Numbers stay in the units their key names. `cases/case.schema.json` is made
from these models.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Discriminator, Field, GetJsonSchemaHandler, PrivateAttr, Tag, model_validator
from pydantic.json_schema import JsonSchemaValue

from thermsim.case.source.file_origin import Origin
from thermsim.case.source.yaml_source import KeyPath, Mark
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
from thermsim.materials.leakage import LeakageLaw, law_of, one_of_them


class MaterialGiven(Entry):
    """A catalogue name, or values in place; values beside a name replace the catalogue's."""

    name: Name | None = None
    conductivity_W_mK: Conductivity | None = None
    in_plane_W_mK: Directions | None = Field(None, description="one value for x and y, or [x, y]")
    through_W_mK: Positive | None = None
    density_kg_m3: Positive | None = None
    heat_capacity_J_kgK: Positive | None = None

    @model_validator(mode="before")
    @classmethod
    def _plain_name(cls, given: Any) -> Any:
        return {"name": given} if isinstance(given, str) else given

    @model_validator(mode="after")
    def _conducts(self) -> MaterialGiven:
        directions = (self.in_plane_W_mK is not None, self.through_W_mK is not None)
        if any(directions) and (not all(directions) or self.conductivity_W_mK is not None):
            raise ValueError("give `conductivity_W_mK` alone, or `in_plane_W_mK` together with `through_W_mK`")
        if self.name is None and self.conductivity_W_mK is None and not all(directions):
            raise ValueError("a material in place needs `conductivity_W_mK`, or `in_plane_W_mK` and `through_W_mK`")
        return self

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"anyOf": [{"type": "string"}, handler.resolve_ref_schema(handler(core))]}


class Around(Entry):
    """What fills the rest of a level around its part."""

    material: MaterialGiven


class Insert(Entry):
    """A box of another material (or `void`) through the whole height of a level, from the part's lower left."""

    material: MaterialGiven
    corner_mm: Place
    size_mm: Size


class Part(Entry):
    """One solid level of the stack."""

    part: Name
    material: MaterialGiven
    size_mm: Size
    thickness_mm: Positive
    centre_mm: Place | None = Field(None, description="offset of the part's centre from the axis of the stack")
    around: Around | None = None
    inserts: list[Insert] = Field(default_factory=list)
    weighed_g: Positive | None = Field(None, description="mass read off a scale, held against volume and density")


class Film(Tolerance):
    """Thickness of a joint [um]: a number, a wedge (low, high, towards), a dome (edge, centre), or a map (file)."""

    value: Annotated[float, Field(gt=0.0)] | None = None
    low: Annotated[float, Field(gt=0.0)] | None = None
    high: Annotated[float, Field(gt=0.0)] | None = None
    towards: Literal["+x", "-x", "+y", "-y"] | None = Field(None, description="the side at which the film is `high`")
    edge: Annotated[float, Field(gt=0.0)] | None = None
    centre: Annotated[float, Field(gt=0.0)] | None = None
    file: Name | None = Field(
        None, description="CSV table of um over the joint; its first line is the far edge (largest y)"
    )

    @model_validator(mode="before")
    @classmethod
    def _plain_number(cls, given: Any) -> Any:
        return {"value": given} if isinstance(given, (int, float)) and not isinstance(given, bool) else given

    @model_validator(mode="after")
    def _one_form(self) -> Film:
        wedge = [self.low is not None, self.high is not None, self.towards is not None]
        dome = [self.edge is not None, self.centre is not None]
        forms = [self.value is not None, any(wedge), any(dome), self.file is not None]
        if sum(forms) == 1 and self.low is not None and self.high is not None and self.towards is None:
            raise ValueError("`towards` is missing: the side at which the film is `high`, +x, -x, +y or -y")
        if sum(forms) != 1 or (any(wedge) and not all(wedge)) or (any(dome) and not all(dome)):
            raise ValueError(
                "a film is one of: a number (or value, plus_minus, basis); low, high and towards; edge and centre; file"
            )
        if any(wedge) and self.low > self.high:  # type: ignore[operator]  # all three are given here
            raise ValueError("`low` is above `high`: exchange them, or turn `towards` round")
        return self

    def mean_um(self, dimensions: int) -> float | None:
        """Mean thickness [um]: of a dome 1 - x^2 along a slice, (1 - x^2)(1 - y^2) over a rectangle; None for a map."""
        if self.low is not None and self.high is not None:
            return (self.low + self.high) / 2
        if self.edge is not None and self.centre is not None:
            return self.edge + (2 / 3) ** (dimensions - 1) * (self.centre - self.edge)
        return self.value

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, handler.resolve_ref_schema(handler(core))]}


class Joint(Entry):
    """A thin film between two parts: a resistance per area, not cells."""

    joint: Name
    material: Name | None = Field(
        None, description="a joint class of the catalogue; fills in what is not given, as a range"
    )
    resistance_mm2K_W: NonNegative | None = None
    film_um: Film | None = None
    conductivity_W_mK: Positive | None = None
    boundary_mm2K_W: NonNegative | None = Field(None, description="both faces together")
    wetted_fraction: Fraction | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Joint:
        film_way = self.film_um is not None or self.conductivity_W_mK is not None or self.boundary_mm2K_W is not None
        if self.resistance_mm2K_W is not None and film_way:
            raise ValueError(
                "give `resistance_mm2K_W` alone, or `film_um` with `conductivity_W_mK` (and `boundary_mm2K_W`)"
            )
        no_film = self.film_um is None or self.conductivity_W_mK is None
        if self.resistance_mm2K_W is None and self.material is None and no_film:
            raise ValueError(
                "a joint needs `resistance_mm2K_W`, or `film_um` with `conductivity_W_mK`, "
                "or a joint class as `material`"
            )
        return self


class Leakage(Entry):
    """How power grows with the temperature of the place where it is made.

    Linear: P = power (1 + per_K (T - at_C)). Exponential: a `share` of the power at `at_C` is leakage
    that doubles every `doubling_K`.
    """

    at_C: Annotated[float, Field(gt=-273.15)]
    per_K: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
    share: Annotated[float, Field(gt=0.0, le=1.0)] | None = None
    doubling_K: Annotated[float, Field(gt=0.0)] | None = None

    @model_validator(mode="after")
    def _one_law(self) -> Leakage:
        if law_of(dict(self)) is None:
            raise ValueError(one_of_them())
        return self

    @property
    def law(self) -> LeakageLaw:
        """As the class that knows its power, slope and words."""
        law = law_of(dict(self))
        assert law is not None  # as validated
        return law


class Zone(Entry):
    """A rectangle of a heated part, from the part's lower left; the whole part if no corner and size are given."""

    zone: Name
    power_W: NonNegative = NonNegative(value=0.0)
    corner_mm: Place | None = None
    size_mm: Size | None = None

    @model_validator(mode="after")
    def _both_or_none(self) -> Zone:
        if (self.corner_mm is None) != (self.size_mm is None):
            raise ValueError("a zone has both `corner_mm` and `size_mm`, or neither (then it is the whole part)")
        return self


class PowerMap(Entry):
    """A rectangular table of power over the part; its first line is the far edge (largest y)."""

    file: Name
    holds: Literal["W", "W/mm2"]


class Heat(Entry):
    """Heat made in one part: zones, a map, or both (zones without power then only read temperatures)."""

    in_: Annotated[Name, Field(alias="in")]
    at: Literal["bottom", "top", "volume"] = "bottom"
    leakage: Leakage | None = None
    zones: list[Zone] = Field(default_factory=list)
    map: PowerMap | None = None

    @model_validator(mode="after")
    def _something(self) -> Heat:
        if not self.zones and self.map is None:
            raise ValueError("`heat` needs `zones`, or `map`, or both")
        return self


# What may happen on a face, and the keys that say so: all of one kind, and of no other.
BOUNDARY_KEYS: dict[str, tuple[str, ...]] = {
    "film": ("film_W_m2K", "fluid_C"),
    "fixed temperature": ("temperature_C",),
    "graded temperature": ("low_C", "high_C", "towards"),
    "flux": ("flux_W_mm2",),
    "radiation": ("emissivity", "room_C"),
}
Direction = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Face = Literal["top", "bottom", "left", "right", "front", "back", "exposed"]


class Cooling(Entry):
    """What happens on one outer face of the stack, or on every face that looks into a void (`exposed`)."""

    face: Face
    environment: Name | None = Field(None, description="a name for this entry in results; the face if not given")
    of: Name | None = Field(None, description="limits `exposed` to the faces of one part")
    looking: Direction | None = Field(None, description="limits `exposed` to the faces that look that way")
    film_W_m2K: Positive | None = None
    fluid_C: Celsius | None = None
    temperature_C: Celsius | None = None
    low_C: Celsius | None = Field(None, description="with `high_C`: the face is held at what rises evenly between them")
    high_C: Celsius | None = None
    towards: Direction | None = Field(None, description="the side at which the face is at `high_C`")
    flux_W_mm2: Quantity | None = Field(None, description="heat into the stack")
    emissivity: Fraction | None = Field(None, description="with `room_C`: the face radiates to a room")
    room_C: Celsius | None = None
    wetted_mm: Size | None = Field(None, description="a centred area of the face")
    corner_mm: Place | None = Field(None, description="a patch, from the lower left of the face")
    size_mm: Size | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> Cooling:
        given = {kind: [getattr(self, key) is not None for key in keys] for kind, keys in BOUNDARY_KEYS.items()}
        begun = [kind for kind, keys in given.items() if any(keys)]
        if len(begun) != 1 or not all(given[begun[0]]):
            listed = (" with ".join(f"`{key}`" for key in keys) for keys in BOUNDARY_KEYS.values())
            raise ValueError(f"a cooled face has {', or '.join(listed)}")
        if self.low_C is not None and self.high_C is not None and self.low_C.value > self.high_C.value:
            raise ValueError("`low_C` is above `high_C`: exchange them, or turn `towards` round")
        if (self.corner_mm is None) != (self.size_mm is None) or (self.wetted_mm and self.size_mm):
            raise ValueError("a patch is `wetted_mm` (centred), or `corner_mm` with `size_mm`")
        if self.face == "exposed" and (self.wetted_mm or self.size_mm):
            raise ValueError("`exposed` means every face that looks into a void: it takes no patch")
        if self.of is not None and self.face != "exposed":
            raise ValueError("`of` limits `exposed` to the faces of one part; limit any other face to a patch")
        if self.looking is not None and self.face != "exposed":
            raise ValueError("`looking` limits `exposed`; any other face looks one way only")
        return self

    @property
    def kind(self) -> str:
        """Which of `BOUNDARY_KEYS` it gives."""
        return next(kind for kind, keys in BOUNDARY_KEYS.items() if getattr(self, keys[0]) is not None)

    @property
    def label(self) -> str:
        """What results call it."""
        return self.environment or self.face

    @property
    def known_C(self) -> list[float]:
        """The temperatures that it ties the face to [C]; none for a heat that is given."""
        return [getattr(self, key).value for key in BOUNDARY_KEYS[self.kind] if key.endswith("_C")]


class Probe(Entry):
    """A point where a temperature is asked for, from the named part's lower left bottom."""

    probe: Name
    in_: Annotated[Name, Field(alias="in")]
    at_mm: Point


class Reading(Entry):
    """What a sensor in a zone, or at a probe, shows."""

    reading: Name
    zone: Name | None = None
    in_: Name | None = Field(None, alias="in", description="the part of its zone, if several are called so")
    at: Literal["bottom", "top", "volume"] | None = Field(None, description="the side of the part, likewise")
    probe: Name | None = None
    takes: Literal["mean", "highest"] = "mean"
    offset_K: Quantity = Quantity(value=0.0)
    step_K: Annotated[float, Field(gt=0.0)] | None = None

    @model_validator(mode="after")
    def _one_place(self) -> Reading:
        if (self.zone is None) == (self.probe is None):
            raise ValueError("a reading belongs to a `zone` or to a `probe`")
        if self.zone is None and (self.in_ is not None or self.at is not None):
            raise ValueError("`in` and `at` say which `zone` is meant; a probe has one place")
        return self


class Limits(Entry):
    """Temperatures that must not be exceeded."""

    reading_C: Annotated[float, Field(gt=-273.15)] | None = None


class ClockStep(Entry):
    """A clock to try, with the voltage that it needs."""

    frequency_GHz: Annotated[float, Field(gt=0.0)]
    voltage_V: Annotated[float, Field(gt=0.0)]


class Clock(ClockStep):
    """The clock and voltage at which the powers of the case hold, and the steps to try instead."""

    zones: list[Name] = Field(default_factory=list, description="those that run at this clock; all, unless given")
    steps: list[ClockStep] = Field(default_factory=list)


class Option(Entry):
    """The base case with some values changed; keys are `name: {key: value}` or `name.key: value`."""

    option: Name
    changes: dict[str, Any]
    same_height_by: Name | None = Field(
        None, description="the part whose thickness makes up for what the changes do to the height of the stack"
    )
    same_as_base: list[Name] = Field(
        default_factory=list,
        description="addresses of numbers that the changes give and that are those of the base: they vary together",
    )


def _kind_of_layer(given: Any) -> str:
    if not isinstance(given, dict):
        return "joint" if isinstance(given, Joint) else "part"
    if "joint" in given or "part" in given:
        return "joint" if "joint" in given else "part"
    # The word itself is missing or misspelt: the other keys tell what was meant.
    fits_joint, fits_part = (sum(key in kind.model_fields for key in given) for kind in (Joint, Part))
    return "joint" if fits_joint > fits_part else "part"


Layer = Annotated[
    Annotated[Part, Tag("part")] | Annotated[Joint, Tag("joint")],
    Discriminator(_kind_of_layer),
]


class Case(Entry):
    """A stack, its heat and its cooling: everything one prediction needs."""

    title: Name
    about: str | None = None
    dimensions: Literal[2, 3] = 3
    depth_mm: Annotated[float, Field(gt=0.0)] | None = Field(None, description="depth of a slice; 1000 unless given")
    layers: Annotated[list[Layer], Field(min_length=1)]
    heat: list[Heat] = Field(default_factory=list)
    cooling: Annotated[list[Cooling], Field(min_length=1)]
    probes: list[Probe] = Field(default_factory=list)
    readings: list[Reading] = Field(default_factory=list)
    limits: Limits = Limits()
    clock: Clock | None = None
    options: list[Option] = Field(default_factory=list)
    worth_K: Annotated[float, Field(gt=0.0)] | None = Field(None, description="gain that is worth opening the chip")
    mount_scatter_K: Annotated[float, Field(gt=0.0)] | None = Field(
        None, description="half width of readings when the same chip is mounted again, 19 times in 20"
    )
    accuracy_K: Annotated[float, Field(gt=0.0)] = Field(0.1, description="refine until every mesh doubt is below")
    accuracy_W: Annotated[float, Field(gt=0.0)] | None = Field(
        None, description="refine until the mesh doubt of every flow is below this too"
    )
    _origin: Origin | None = PrivateAttr(None)  # set by the reader; not part of the vocabulary

    @property
    def parts(self) -> list[Part]:
        return [layer for layer in self.layers if isinstance(layer, Part)]

    @property
    def joints(self) -> list[Joint]:
        return [layer for layer in self.layers if isinstance(layer, Joint)]

    @property
    def tables(self) -> dict[str, NDArray[np.float64]]:
        """Tables by their file name as written; (lines, columns) as in the file, the first line is the far edge."""
        return {} if self._origin is None else self._origin.tables

    @property
    def option(self) -> str | None:
        """Name of the option that this case was changed by."""
        return None if self._origin is None or self._origin.own is None else self._origin.own.option

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

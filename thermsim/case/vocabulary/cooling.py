"""Cooling in words: what happens on the faces of a stack."""

from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import (
    GetJsonSchemaHandler,
    ModelWrapValidatorHandler,
    PrivateAttr,
    SerializerFunctionWrapHandler,
    field_validator,
    model_serializer,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue

from thermsim.case.vocabulary.quantities import (
    Celsius,
    Entry,
    Fraction,
    Name,
    NonNegative,
    Place,
    Positive,
    Quantity,
    Size,
)
from thermsim.errors import UnknownNameError
from thermsim.materials import catalogue

# What may happen on a face, and the keys that say so: an entry gives just those of one kind.
BOUNDARY_KEYS: dict[str, tuple[str, ...]] = {
    "film": ("film_W_m2K", "fluid_C"),
    "fixed temperature": ("temperature_C",),
    "graded temperature": ("low_C", "high_C", "towards"),
    "flux": ("flux_W_mm2",),
    "radiation": ("emissivity", "room_C"),
    "film and radiation": ("film_W_m2K", "fluid_C", "emissivity", "room_C"),
    "cooler": ("cooler_K_W", "fluid_C"),
    "cooler with flow": ("cooler_K_W", "flow_l_min", "inlet_C"),
}
LOOP = "loop"  # in the place of a temperature: that of the coolant of the loop
UNKNOWN_C = 0.0  # stands where that word stood, and is read by nobody
USUAL_COOLANT_C = (-80.0, 150.0)  # common practice, no source
Direction = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Face = Literal["top", "bottom", "left", "right", "front", "back", "exposed"]


class FilmCoefficient(Positive):
    """A film coefficient; in the place of the number the name of a cooler class of the catalogue may stand.

    The class gives the middle of its range, with half the range as tolerance, assumed: as a joint class does.
    """

    @model_validator(mode="before")
    @classmethod
    def _of_class(cls, given: Any) -> Any:
        named = given.get("value") if isinstance(given, dict) else given
        if not isinstance(named, str) or not named[:1].isalpha():
            return given
        try:
            usual = catalogue.cooler(named).film_W_m2K
        except UnknownNameError as error:
            raise ValueError(f"a number above 0, or a cooler class: {error.what}; {error.remedy}") from None
        of_class = {"plus_minus": usual.half_width, "basis": "assumed"}
        return of_class | (given if isinstance(given, dict) else {}) | {"value": usual.middle}

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        given = super().__get_pydantic_json_schema__(core, handler)
        return {"anyOf": [*given["anyOf"], {"type": "string", "enum": list(catalogue.cooler_names())}]}


class FluidTemperature(Celsius):
    """The temperature of a fluid; in the place of the number the word `loop`: that of the coolant of `coolant_loop`."""

    _on_loop: bool = PrivateAttr(False)

    @model_validator(mode="wrap")
    @classmethod
    def _of_loop(cls, given: Any, make: ModelWrapValidatorHandler[Self]) -> Self:
        if given == LOOP:
            made = make({"value": UNKNOWN_C})
            made._on_loop = True
            return made
        if isinstance(given, dict) and given.get("value") == LOOP:
            raise ValueError(f"`{LOOP}` stands alone: its tolerances are those of the numbers of `coolant_loop`")
        if isinstance(given, str) and given[:1].isalpha():
            raise ValueError(f"a number, or `{LOOP}` for the coolant of `coolant_loop`, found {given!r}")
        return make(given)

    @model_serializer(mode="wrap")
    def _as_written(self, make: SerializerFunctionWrapHandler) -> Any:
        return LOOP if self._on_loop else make(self)

    @property
    def on_loop(self) -> bool:
        """Whether the word stood there."""
        return self._on_loop

    @property
    def is_number(self) -> bool:
        return not self._on_loop

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        given = super().__get_pydantic_json_schema__(core, handler)
        return {"anyOf": [*given["anyOf"], {"type": "string", "enum": [LOOP]}]}


class CoolantLoop(Entry):
    """The coolant that several faces may give their heat to (`fluid_C: loop`), and the radiator that it leaves by.

    Where a block lets heat Q in, the coolant comes out of the radiator at  room + (Q + pump) / radiator  and is warmed
    by Q / (rho c flow) in one pass; faces feel the mean of before and after, one for all faces of the loop.
    """

    radiator_W_K: Positive
    """heat that leaves by the radiator for each kelvin that the coolant which leaves it is warmer than the room"""
    room_C: Celsius
    """temperature of the air at the radiator"""
    heat_capacity_J_K: Positive | None = None
    """of all coolant, and of the metal that is as warm as it: needed where time is followed"""
    flow_l_min: Positive | None = None
    """flow of the coolant; without it the coolant is not warmed in a pass"""
    pump_W: NonNegative = NonNegative(value=0.0)
    """heat that the pump gives the coolant"""
    coolant: Name | None = None
    """with `flow_l_min`: what flows, a material of the catalogue with density and heat capacity; water unless given"""

    @field_validator("coolant")
    @classmethod
    def _carries_heat(cls, given: str | None) -> str | None:
        return _that_carries_heat(given)

    @model_validator(mode="after")
    def _with_a_flow(self) -> CoolantLoop:
        if self.coolant is not None and self.flow_l_min is None:
            raise ValueError("`coolant` says what flows: give `flow_l_min` with it, or leave it out")
        return self


def _that_carries_heat(given: str | None) -> str | None:
    """A material of the catalogue that may flow."""
    if given is None:
        return None
    try:
        body = catalogue.material(given)
    except UnknownNameError as error:
        raise ValueError(f"{error.what}; {error.remedy}") from None
    if body.density_kg_m3 is None or body.heat_capacity_J_kgK is None:
        raise ValueError(f"{given!r} has no density and heat capacity in the catalogue: take `water` or `air`")
    return given


class Cooling(Entry):
    """What happens on one outer face of the stack, or on every face that looks into a void (`exposed`)."""

    face: Face
    """an outer face; `exposed` is every face that looks into a void"""
    environment: Name | None = None
    """a name for this entry in results; the face if not given"""
    of: Name | None = None
    """limits `exposed` to the faces of one part"""
    looking: Direction | None = None
    """limits `exposed` to the faces that look that way"""
    film_W_m2K: FilmCoefficient | None = None
    """heat transfer coefficient, with `fluid_C`: a number, or a cooler class of the catalogue, which is a range"""
    cooler_K_W: Positive | None = None
    """resistance of a cooler from the area it wets to its fluid, with `fluid_C`, or `flow_l_min` and `inlet_C`: spread
    evenly over all that the entry acts on, as a film of 1 / (`cooler_K_W` times that area)
    """
    flow_l_min: Positive | None = None
    """with `inlet_C`: flow of the coolant through the cooler in one pass. `cooler_K_W` then counts from the mean
    coolant, which is warmer than the inlet by half of what the heat of this entry warms the flow; where more heat
    leaves, the coolant is warmer in proportion
    """
    inlet_C: Celsius | None = None
    """temperature of the coolant where it comes in"""
    coolant: Name | None = None
    """with `flow_l_min`: what flows, a material of the catalogue with density and heat capacity; water unless given"""
    fluid_C: FluidTemperature | None = None
    """temperature of the fluid: a number, or `loop` for the coolant of `coolant_loop`"""
    temperature_C: Celsius | None = None
    """the face is held at it"""
    low_C: Celsius | None = None
    """with `high_C`: the face is held at what rises evenly between them"""
    high_C: Celsius | None = None
    """with `low_C`"""
    towards: Direction | None = None
    """the side at which the face is at `high_C`"""
    flux_W_mm2: Quantity | None = None
    """heat into the stack"""
    emissivity: Fraction | None = None
    """with `room_C`: the face radiates to a room"""
    room_C: Celsius | None = None
    """with `emissivity`"""
    wetted_mm: Size | None = None
    """a centred area of the face"""
    corner_mm: Place | None = None
    """a patch, from the lower left of the face"""
    size_mm: Size | None = None
    """of the patch, with `corner_mm`"""

    @field_validator("coolant")
    @classmethod
    def _carries_heat(cls, given: str | None) -> str | None:
        return _that_carries_heat(given)

    @model_validator(mode="after")
    def _one_kind(self) -> Cooling:
        if self._given not in map(set, BOUNDARY_KEYS.values()):
            raise ValueError(self._told_of_kind())
        if self.on_loop and self.emissivity is not None:
            raise ValueError(
                "a face on the loop cannot radiate beside it: leave out `emissivity` and `room_C`, which matter "
                "little beside a coolant, or give `fluid_C` as a number"
            )
        if self.low_C is not None and self.high_C is not None and self.low_C.value > self.high_C.value:
            raise ValueError("`low_C` is above `high_C`: exchange them, or turn `towards` round")
        if (self.corner_mm is None) != (self.size_mm is None) or (self.wetted_mm and self.size_mm):
            raise ValueError("a patch is `wetted_mm` (centred), or `corner_mm` with `size_mm`")
        if self.coolant is not None and self.flow_l_min is None:
            raise ValueError("`coolant` says what flows: give `flow_l_min` and `inlet_C` with it, or leave it out")
        if self.face == "exposed" and (self.wetted_mm or self.size_mm):
            raise ValueError("`exposed` means every face that looks into a void: it takes no patch")
        if self.of is not None and self.face != "exposed":
            raise ValueError("`of` limits `exposed` to the faces of one part; limit any other face to a patch")
        if self.looking is not None and self.face != "exposed":
            raise ValueError("`looking` limits `exposed`; any other face looks one way only")
        return self

    def _told_of_kind(self) -> str:
        """What is missing of the kind that was begun; all kinds where none was, or where two exclude each other."""
        begun = [keys for keys in BOUNDARY_KEYS.values() if self._given and self._given < set(keys)]
        if not begun:
            listed = (" with ".join(f"`{key}`" for key in keys) for keys in BOUNDARY_KEYS.values())
            return f"a cooled face has {', or '.join(listed)}"
        least = min(begun, key=len)
        missing = [key for key in least if key not in self._given]
        there = " with ".join(f"`{key}`" for key in least if key in self._given)
        verb = "is" if len(missing) == 1 else "are"
        return f"{' and '.join(f'`{key}`' for key in missing)} {verb} missing: {there} is given, and needs it"

    @property
    def _given(self) -> set[str]:
        return {key for keys in BOUNDARY_KEYS.values() for key in keys if getattr(self, key) is not None}

    @property
    def kind(self) -> str:
        """Which of `BOUNDARY_KEYS` it gives."""
        return next(kind for kind, keys in BOUNDARY_KEYS.items() if set(keys) == self._given)

    @property
    def label(self) -> str:
        """What results call it."""
        return self.environment or self.face

    @property
    def known_C(self) -> list[float]:
        """The temperatures that it ties the face to [C]; none for a heat that is given, or the coolant of a loop."""
        given = [getattr(self, key) for key in BOUNDARY_KEYS[self.kind] if key.endswith("_C")]
        return [one.value for one in given if one.is_number]

    @property
    def on_loop(self) -> bool:
        """Whether its fluid is the coolant of the loop."""
        return self.fluid_C is not None and self.fluid_C.on_loop

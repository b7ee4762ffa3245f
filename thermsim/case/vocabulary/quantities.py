"""Numbers of a case file: with tolerance and basis, as lengths in plan, or as a course over temperature."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue

from thermsim.rounding import value_told

Basis = Literal["measured", "published", "assumed"]
# How a value is spread over its tolerance, see `Tolerance`.
Shape = Literal["normal", "even", "triangle"]


class Entry(BaseModel):
    """Every mapping in a case file: no unknown key, no silent conversion, no NaN, no change later."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class Tolerance(Entry):
    """The half width of a value, how the value is spread over it, and where it comes from.

    "even": anywhere within, alike; so unless said otherwise. "triangle": within, the middle more likely. "normal":
    within in 19 of 20 cases. `repeats`: the value is the mean of so many readings, and `plus_minus` the half width
    that holds the truth in 19 of 20 cases by Student's t.
    """

    plus_minus: Annotated[float, Field(ge=0.0)] = 0.0
    """half width of what the value may be"""
    shape: Shape | None = None
    """how it is spread over that; `even` unless given"""
    repeats: Annotated[int, Field(ge=2)] | None = None
    """the value is the mean of so many readings"""
    basis: Basis | None = None
    """where it comes from"""

    @model_validator(mode="after")
    def _of_a_tolerance(self) -> Self:
        if self.plus_minus == 0.0 and (self.shape is not None or self.repeats is not None):
            raise ValueError("`shape` and `repeats` belong to a `plus_minus`")
        if self.repeats is not None and self.shape not in (None, "normal"):
            raise ValueError("the mean of repeated readings is spread by Student's t: leave out `shape`")
        return self


class Quantity(Tolerance):
    """A number, or a number with its tolerance."""

    value: float
    """the number"""

    @property
    def told(self) -> str:
        """The number as text, without digits that its tolerance makes idle."""
        return value_told(self.value, self.plus_minus)

    @model_validator(mode="before")
    @classmethod
    def _plain_number(cls, given: Any) -> Any:
        return {"value": given} if isinstance(given, (int, float)) and not isinstance(given, bool) else given

    @property
    def is_number(self) -> bool:
        """Whether it is given; not where what is solved for stands in its place."""
        return True

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        whole = handler.resolve_ref_schema(handler(core))
        number = {key: bound for key, bound in whole["properties"]["value"].items() if key != "title"}
        return {"anyOf": [number, whole]}


class Positive(Quantity):
    """A quantity above zero."""

    value: Annotated[float, Field(gt=0.0)]
    """the number"""


class NonNegative(Quantity):
    """A quantity that may be zero, never below."""

    value: Annotated[float, Field(ge=0.0)]
    """the number"""


class Fraction(Quantity):
    """A quantity above zero and up to one."""

    value: Annotated[float, Field(gt=0.0, le=1.0)]
    """the number"""


class Celsius(Quantity):
    """A temperature [C] above absolute zero."""

    value: Annotated[float, Field(gt=-273.15, le=5000.0)]
    """the number"""


def _as_tuple(given: Any) -> Any:
    """One length (a slice) or a list of two (a plan) both become a tuple."""
    if isinstance(given, list):
        return tuple(given)
    return (given,) if isinstance(given, (int, float, dict)) and not isinstance(given, bool) else given


class _OrAlone:
    """In the JSON schema: a list, or its one item without brackets."""

    def __get_pydantic_json_schema__(self, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        many = handler(core)
        return {"anyOf": [many["items"], many]}


# Plan sizes and places: [x, y] in 3-D, one length in a slice. Places of points carry z as well.
_OneOrTwo = Field(min_length=1, max_length=2)
Size = Annotated[tuple[Positive, ...], _OneOrTwo, BeforeValidator(_as_tuple), _OrAlone()]
Place = Annotated[tuple[Quantity, ...], _OneOrTwo, BeforeValidator(_as_tuple), _OrAlone()]
Point = Annotated[tuple[Quantity, ...], Field(min_length=2, max_length=3), BeforeValidator(_as_tuple)]
Directions = Annotated[tuple[Positive, ...], _OneOrTwo, BeforeValidator(_as_tuple), _OrAlone()]
Name = Annotated[str, Field(min_length=1, max_length=80)]


class Conductivity(Tolerance):
    """k [W/mK]: a number, a power law k = value (T0/T)^exponent in kelvin, or a table over temperature."""

    value: Annotated[float, Field(gt=0.0)] | None = None
    """the number; at `at_C` where it falls"""
    at_C: Annotated[float, Field(gt=-273.15)] | None = None
    """temperature at which `value` holds"""
    exponent: float | None = None
    """k falls as the absolute temperature to this power"""
    table: list[Annotated[tuple[float, float], BeforeValidator(_as_tuple)]] | None = None
    """pairs [C, W/mK], rising in temperature; straight lines between, constant outside"""

    @model_validator(mode="before")
    @classmethod
    def _plain_number(cls, given: Any) -> Any:
        return {"value": given} if isinstance(given, (int, float)) and not isinstance(given, bool) else given

    @model_validator(mode="after")
    def _one_law(self) -> Conductivity:
        if (self.value is None) == (self.table is None):
            raise ValueError("a conductivity is either `value` (with `at_C` and `exponent` if it falls) or `table`")
        if (self.exponent is None) != (self.at_C is None):
            raise ValueError("a power law needs both `at_C` and `exponent`")
        if self.table is not None:
            temperatures = [point[0] for point in self.table]
            if self.exponent is not None or self.plus_minus:
                raise ValueError("a table stands alone: no `exponent`, `at_C` or `plus_minus` beside it")
            if len(self.table) < 2 or any(b <= a for a, b in pairwise(temperatures)):
                raise ValueError("a table needs two or more pairs [C, W/mK] that rise in temperature")
            if any(k <= 0 for _, k in self.table):
                raise ValueError("every conductivity of a table must be above zero")
        return self

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, handler.resolve_ref_schema(handler(core))]}

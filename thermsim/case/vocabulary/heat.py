"""Heat in words: zones, maps, and how power grows with temperature."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from thermsim.case.vocabulary.quantities import Entry, Name, NonNegative, Place, Size
from thermsim.materials.leakage import LeakageLaw, law_of, one_of_them


class Leakage(Entry):
    """How power grows with the temperature of the place where it is made.

    Linear: P = power (1 + per_K (T - at_C)). Exponential: a `share` of the power at `at_C` is leakage
    that doubles every `doubling_K`.
    """

    at_C: Annotated[float, Field(gt=-273.15)]
    """temperature at which the powers typed hold"""
    per_K: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
    """growth of the power, of the power at `at_C`"""
    share: Annotated[float, Field(gt=0.0, le=1.0)] | None = None
    """of the power at `at_C` that leaks"""
    doubling_K: Annotated[float, Field(gt=0.0)] | None = None
    """kelvins in which that share doubles"""

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
    """its name, by which readings and options call it"""
    power_W: NonNegative = NonNegative(value=0.0)
    """made in it"""
    corner_mm: Place | None = None
    """lower left corner, from that of the part"""
    size_mm: Size | None = None
    """[x, y]; one length in a slice"""

    @model_validator(mode="after")
    def _both_or_none(self) -> Zone:
        if (self.corner_mm is None) != (self.size_mm is None):
            raise ValueError("a zone has both `corner_mm` and `size_mm`, or neither (then it is the whole part)")
        return self


class PowerMap(Entry):
    """A rectangular table of power over the part; its first line is the far edge (largest y)."""

    file: Name
    """CSV, beside the case file"""
    holds: Literal["W", "W/mm2"]
    """what a cell of the table says"""


class Heat(Entry):
    """Heat made in one part: zones, a map, or both (zones without power then only read temperatures)."""

    in_: Annotated[Name, Field(alias="in")]
    """the part in which it is made"""
    at: Literal["bottom", "top", "volume"] = "bottom"
    """the active face, or the whole volume"""
    leakage: Leakage | None = None
    """how the powers grow with temperature"""
    zones: list[Zone] = Field(default_factory=list)
    """rectangles with their watts"""
    map: PowerMap | None = None
    """a table of power over the part"""

    @model_validator(mode="after")
    def _something(self) -> Heat:
        if not self.zones and self.map is None:
            raise ValueError("`heat` needs `zones`, or `map`, or both")
        return self

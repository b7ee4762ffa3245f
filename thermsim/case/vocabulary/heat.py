"""Heat in words: zones, maps, and how power grows with temperature."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from thermsim.case.vocabulary.quantities import Entry, Fraction, Name, NonNegative, Place, Size
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
    power_W: NonNegative | None = None
    """made in it; none unless given, or what the `power_W` of its heat leaves to it"""
    share: Fraction | None = None
    """of the `power_W` of its heat"""
    corner_mm: Place | None = None
    """lower left corner, from that of the part"""
    size_mm: Size | None = None
    """[x, y]; one length in a slice"""

    @model_validator(mode="after")
    def _both_or_none(self) -> Zone:
        if (self.corner_mm is None) != (self.size_mm is None):
            raise ValueError("a zone has both `corner_mm` and `size_mm`, or neither (then it is the whole part)")
        if self.share is not None and self.power_W is not None:
            raise ValueError("a zone has a `share` of the power of its heat, or a `power_W` of its own: leave one out")
        return self


class Alike(Entry):
    """Zones that make as much as one another, and together a share of the `power_W` of their heat."""

    zones: Annotated[list[Name], Field(min_length=1)]
    """their names"""
    share: Fraction
    """of all of them together"""


class PowerMap(Entry):
    """A rectangular table of power over the part; its first line is the far edge (largest y)."""

    file: Name
    """CSV, beside the case file"""
    holds: Literal["W", "W/mm2"]
    """what a cell of the table says"""


class Heat(Entry):
    """Heat made in one part: zones, a map, or both (zones without power then only read temperatures).

    With `power_W`, the power of the whole, zones take the shares that they have, or the watts of their own; what is
    left is spread by area over the zones without either and over what no zone covers.
    """

    in_: Annotated[Name, Field(alias="in")]
    """the part in which it is made"""
    at: Literal["bottom", "top", "volume"] = "bottom"
    """the active face, or the whole volume"""
    leakage: Leakage | None = None
    """how the powers grow with temperature"""
    power_W: NonNegative | None = None
    """of all of it together, which zones share"""
    zones: list[Zone] = Field(default_factory=list)
    """rectangles with their watts, or shares of `power_W`"""
    alike: list[Alike] = Field(default_factory=list)
    """zones that share a part of `power_W` equally"""
    map: PowerMap | None = None
    """a table of power over the part"""

    @model_validator(mode="after")
    def _something(self) -> Heat:
        if not self.zones and self.map is None and self.power_W is None:
            raise ValueError("`heat` needs `zones`, or `map`, or both, or `power_W` for the whole part")
        return self

    @model_validator(mode="after")
    def _shares(self) -> Heat:
        shared = [zone.zone for zone in self.zones if zone.share is not None]
        if self.power_W is None and (shared or self.alike):
            told = f"`share` of zone {shared[0]!r}" if shared else "`alike`"
            raise ValueError(f"{told} is of the `power_W` of its heat: give that beside `zones`, or each its `power_W`")
        if self.power_W is not None and self.map is not None:
            raise ValueError("a map holds watts of its own: leave out `power_W`, and scale the numbers of the map")
        own = {zone.zone for zone in self.zones if zone.share is not None or zone.power_W is not None}
        seen: set[str] = set()
        for group in self.alike:
            for name in group.zones:
                if name not in [zone.zone for zone in self.zones]:
                    names = ", ".join(repr(zone.zone) for zone in self.zones) or "none"
                    raise ValueError(f"`alike`: this heat has no zone {name!r}; it has: {names}")
                if name in own or name in seen:
                    raise ValueError(f"`alike`: zone {name!r} has its power already (`share`, `power_W` or `alike`)")
                seen.add(name)
        return self

"""The stack in words: materials, parts, and the films between them."""

from __future__ import annotations

from math import hypot
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, GetJsonSchemaHandler, Tag, model_validator
from pydantic.json_schema import JsonSchemaValue

from thermsim.case.vocabulary.quantities import (
    Conductivity,
    Directions,
    Entry,
    Fraction,
    Name,
    NonNegative,
    Place,
    Positive,
    Size,
    Tolerance,
)


class MaterialGiven(Entry):
    """A catalogue name, or values in place; values beside a name replace the catalogue's."""

    name: Name | None = None
    """of the catalogue"""
    conductivity_W_mK: Conductivity | None = None
    """alike in all directions, or a course over temperature"""
    in_plane_W_mK: Directions | None = None
    """one value for x and y, or [x, y]"""
    through_W_mK: Positive | None = None
    """across the layer"""
    density_kg_m3: Positive | None = None
    """where mass matters"""
    heat_capacity_J_kgK: Positive | None = None
    """how much heat it stores; no steady answer depends on it"""

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
    """beside a joint it also fills the gap that the film leaves: as wide as the film, or as 3 W/mK and the resistance
    make it where that alone is given
    """


class Insert(Entry):
    """A box of another material (or `void`) through the whole height of a level, from the part's lower left."""

    material: MaterialGiven
    """a name, values in place, or `void`"""
    corner_mm: Place
    """lower left corner, from that of the part"""
    size_mm: Size
    """[x, y]; one length in a slice"""


class Leg(Entry):
    """A box of the part's own material under it, from the part's lower left."""

    corner_mm: Place
    """lower left corner, from that of the part"""
    size_mm: Size
    """[x, y]; one length in a slice"""


class Stand(Entry):
    """A rim along the edge of a part, or legs, on which it stands over what lies between."""

    down_to: Name
    """the part farther below on which they stand; their height is all that lies between"""
    rim_mm: Positive | None = None
    """width of a rim along the whole edge; two walls in a slice"""
    legs: list[Leg] = Field(default_factory=list)
    """boxes instead, or inside the rim"""
    resistance_mm2K_W: NonNegative
    """of the glue, or the gap, under them; 0 where they touch perfectly"""

    @model_validator(mode="after")
    def _something(self) -> Stand:
        if self.rim_mm is None and not self.legs:
            raise ValueError("`stands_on` needs `rim_mm`, the width of a rim along the edge, or `legs`")
        return self


class Part(Entry):
    """One solid level of the stack."""

    part: Name
    """its name, by which heat, probes and options call it"""
    material: MaterialGiven
    """a catalogue name, or values in place: `{conductivity_W_mK: 52}`, `{in_plane_W_mK: 1500, through_W_mK: 8}`;
    `{name: silicon, conductivity_W_mK: 120}` changes an entry
    """
    size_mm: Size
    """[x, y]; one length in a slice"""
    thickness_mm: Positive
    """its height"""
    centre_mm: Place | None = None
    """offset of the part's centre from the axis of the stack"""
    around: Around | None = None
    """what fills the rest of its level; nothing (a void) unless given"""
    inserts: list[Insert] = Field(default_factory=list)
    """boxes of another material, or of `void`, through the level"""
    stands_on: Stand | None = None
    """a rim or legs of its own material, down to a part farther below, as a lid has them around a die"""
    weighed_g: Positive | None = None
    """mass read off a scale, held against volume and density"""


class Film(Tolerance):
    """Thickness of a joint [um]: a number, a wedge (low, high, towards), a dome (edge, centre), or a map (file)."""

    value: Annotated[float, Field(gt=0.0)] | None = None
    """even"""
    low: Positive | None = None
    """wedge: on the thin side"""
    high: Positive | None = None
    """wedge: on the thick side"""
    towards: Literal["+x", "-x", "+y", "-y"] | None = None
    """the side at which the film is `high`"""
    edge: Positive | None = None
    """dome: at the edge"""
    centre: Positive | None = None
    """dome: in the middle"""
    file: Name | None = None
    """CSV table of um over the joint; its first line is the far edge (largest y)"""

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
        if self.low is not None and self.high is not None and self.low.value > self.high.value:
            raise ValueError("`low` is above `high`: exchange them, or turn `towards` round")
        return self

    def mean_um(self, dimensions: int) -> float | None:
        """Mean thickness [um]: of a dome 1 - x^2 along a slice, (1 - x^2)(1 - y^2) over a rectangle; None for a map."""
        shares = self._shares(dimensions)
        return sum(share * end.value for share, end in shares) if shares else self.value

    def mean_plus_minus_um(self, dimensions: int) -> float:
        """Half width of the mean [um]; two ends vary each by itself."""
        shares = self._shares(dimensions)
        return hypot(*(share * end.plus_minus for share, end in shares)) if shares else self.plus_minus

    @property
    def ends(self) -> tuple[Positive, ...]:
        """Both ends of a wedge or a dome."""
        return tuple(end for end in (self.low, self.high, self.edge, self.centre) if end is not None)

    def _shares(self, dimensions: int) -> list[tuple[float, Positive]]:
        """Both ends of a wedge or a dome, with what each has in the mean; none of another film."""
        if self.edge is not None and self.centre is not None:
            centre = (2 / 3) ** (dimensions - 1)
            return [(1.0 - centre, self.edge), (centre, self.centre)]
        return [(0.5, end) for end in self.ends]

    @classmethod
    def __get_pydantic_json_schema__(cls, core: Any, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, handler.resolve_ref_schema(handler(core))]}


class Joint(Entry):
    """A thin film between two parts: a resistance per area, not cells; in time it stores heat where it is thick."""

    joint: Name
    """its name, by which options call it"""
    material: Name | None = None
    """a joint class of the catalogue; fills in what is not given, as a range"""
    resistance_mm2K_W: NonNegative | None = None
    """of the whole joint, alone"""
    film_um: Film | None = None
    """thickness: a number, `{low, high, towards}`, `{edge, centre}`, or `{file}`"""
    conductivity_W_mK: Positive | None = None
    """of the filling"""
    boundary_mm2K_W: NonNegative | None = None
    """both faces together"""
    wetted_fraction: Fraction | None = None
    """share of the area that conducts"""
    density_kg_m3: Positive | None = None
    """of the filling, for the heat that the film stores"""
    heat_capacity_J_kgK: Positive | None = None
    """of the filling; no steady answer depends on it"""

    @property
    def map_file(self) -> str | None:
        """The file of a film that is a map."""
        return None if self.film_um is None else self.film_um.file

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

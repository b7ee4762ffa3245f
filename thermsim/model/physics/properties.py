"""What the case says about materials and joints, completed from the catalogue, in SI."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt

from thermsim.case.vocabulary.schema import Basis, Conductivity, Film, Joint, MaterialGiven, Quantity
from thermsim.errors import ThermsimError
from thermsim.materials import catalogue
from thermsim.materials.catalogue import JointClass, Material, Range
from thermsim.materials.conductivity import ConstantLaw, Law, PowerLaw, TableLaw
from thermsim.units import MM2K_W, UM

# Conductivity [W/mK] of greases, pads and glues, which is what joints given by resistance mostly are; 1 to 10 (common
# practice, no source). It only says how wide the gap is that such a joint leaves to a fill around its parts, and what
# goes through the fill at its edge changes with the logarithm of that.
TYPICAL_FILM = 3.0


def material_of(given: MaterialGiven) -> Material:
    """The material that a case names or describes; values beside a name replace the catalogue's.

    `k_spread` of values in place is their largest `plus_minus` as a fraction.

    Raises
    ------
    UnknownNameError : no such material in the catalogue
    ThermsimError : `void`, which is no material: callers treat it before
    """
    if is_void(given):
        raise ThermsimError(
            "`void` has no conductivity",
            "leave a level around its part void by leaving out `around`; an insert may be void, a part may not",
        )
    if given.name is not None:
        body = catalogue.material(given.name)
    else:
        nothing = ConstantLaw(1.0)  # replaced below: the schema demands a conductivity where there is no name
        body = Material("given in the case", nothing, nothing, nothing)
    return _with_own_values(body, given)


def is_void(given: MaterialGiven) -> bool:
    """Whether a case leaves that place empty: no conduction, not an unknown of the model."""
    return given.name == catalogue.VOID


def law_of(given: Conductivity) -> Law:
    """The conductivity law of a case entry [W/mK over C]."""
    if given.table is not None:
        return TableLaw.of(given.table)
    assert given.value is not None  # the schema demands one of the two
    if given.exponent is not None and given.at_C is not None:
        return PowerLaw(given.value, given.at_C, given.exponent)
    return ConstantLaw(given.value)


def _with_own_values(body: Material, given: MaterialGiven) -> Material:
    if given.density_kg_m3 is not None:
        body = replace(body, density_kg_m3=given.density_kg_m3.value)
    if given.heat_capacity_J_kgK is not None:
        body = replace(body, heat_capacity=ConstantLaw(given.heat_capacity_J_kgK.value))
    if given.conductivity_W_mK is not None:
        law = law_of(given.conductivity_W_mK)
        spread = given.conductivity_W_mK.plus_minus / (given.conductivity_W_mK.value or 1.0)
        return _conducting(body, (law, law, law), spread)
    if given.in_plane_W_mK is not None and given.through_W_mK is not None:
        x, y, z = given.in_plane_W_mK[0], given.in_plane_W_mK[-1], given.through_W_mK
        spread = max(direction.plus_minus / direction.value for direction in (x, y, z))
        return _conducting(body, (ConstantLaw(x.value), ConstantLaw(y.value), ConstantLaw(z.value)), spread)
    return body


def _conducting(body: Material, laws: tuple[Law, Law, Law], spread: float) -> Material:
    return replace(
        body,
        along_x=laws[0],
        along_y=laws[1],
        along_z=laws[2],
        k_spread=spread,
        source="given in the case",
        how_sure="given in the case",
    )


@dataclass(frozen=True)
class Bounded:
    """A value [SI] with its half width and where it comes from (None: the case does not say)."""

    value: float
    plus_minus: float = 0.0
    basis: Basis | None = None


@dataclass(frozen=True)
class JointProperties:
    """One joint as the model sees it: R'' = (film / conductivity + boundary) / wetted, or resistance / wetted.

    Attributes
    ----------
    way : "film" or "resistance", whichever of the two holds
    film : thickness [m], the mean of its bounds if it is not even; in the way "resistance" it counts for the height
        only; None if nobody knows it or it is a map from a file
    form : the case's own words on an uneven film; None if it is even
    conductivity [W/mK], boundary [m2K/W] : None in the way "resistance"
    resistance : [m2K/W]; None in the way "film"
    wetted : fraction of the area that conducts
    density [kg/m3], heat_capacity [J/kgK] : of the filling; None if nobody knows
    """

    name: str
    way: Literal["film", "resistance"]
    wetted: Bounded
    film: Bounded | None = None
    form: Film | None = None
    conductivity: Bounded | None = None
    boundary: Bounded | None = None
    resistance: Bounded | None = None
    holds_gallium: bool = False
    density: Bounded | None = None
    heat_capacity: Bounded | None = None

    @property
    def heat_J_m3K(self) -> float | None:
        """Heat capacity of a cubic metre of the filling [J/m3K]; None if nobody knows it."""
        if self.density is None or self.heat_capacity is None:
            return None
        return self.density.value * self.heat_capacity.value

    @property
    def thickness(self) -> float:
        """Thickness [m] of an even film; where nobody knows it, of a film of TYPICAL_FILM with the same resistance."""
        if self.film is not None:
            return self.film.value
        assert self.resistance is not None  # a joint given by its film has one, unless it is a map
        return self.resistance.value * TYPICAL_FILM

    def resistance_at(self, film_m: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Resistance of a square metre [m2K/W] where the film is `film_m` thick [m]; any shape."""
        film = np.asarray(film_m, dtype=np.float64)
        if self.resistance is not None:
            return np.full_like(film, self.resistance.value / self.wetted.value)
        assert self.conductivity is not None and self.boundary is not None
        return np.asarray((film / self.conductivity.value + self.boundary.value) / self.wetted.value)

    def middle(self) -> Bounded | None:
        """Resistance of a square metre [m2K/W] at the mean film, and what its terms leave open.

        The half width is the root-sum-square of `doubts`. None if the film is a map from a file.
        """
        if self.resistance is not None:
            value = self.resistance.value / self.wetted.value
        elif self.film is not None and self.conductivity is not None and self.boundary is not None:
            value = float(self.resistance_at(self.film.value))
        else:
            return None
        return Bounded(value, sqrt(sum(doubt**2 for doubt in self.doubts().values())))

    def doubts(self) -> dict[str, float]:
        """What each term leaves open of the resistance of a square metre [m2K/W], to first order."""
        wetted = self.wetted.value
        if self.resistance is not None:
            found = {"resistance": self.resistance.plus_minus / wetted}
            value = self.resistance.value / wetted
        else:
            assert self.film is not None and self.conductivity is not None and self.boundary is not None
            bulk = self.conductivity
            found = {
                "film": self.film.plus_minus / bulk.value / wetted,
                "conductivity": self.film.value * bulk.plus_minus / bulk.value**2 / wetted,
                "boundary": self.boundary.plus_minus / wetted,
            }
            value = float(self.resistance_at(self.film.value))
        return {**found, "wetted fraction": value * self.wetted.plus_minus / wetted}


def joint_of(joint: Joint, dimensions: int = 3) -> JointProperties:
    """A joint in SI; what the case leaves out comes from its class: mid-range, half the range as tolerance, assumed.

    A joint that gives nothing but its class takes the class's resistance, which is narrower than what its film,
    conductivity and boundary allow together; the film then counts for the height only.

    dimensions : of the case, for what depends on the mean of a dome

    Raises
    ------
    UnknownNameError : no such joint class
    ThermsimError : neither the case nor the class says enough
    """
    kind = catalogue.joint(joint.material) if joint.material is not None else _NO_CLASS
    wetted = _bounded(joint.wetted_fraction, 1.0) or Bounded(1.0)
    density = _bounded(joint.density_kg_m3, 1.0) or _middle(kind.density_kg_m3, 1.0)
    heat_capacity = _bounded(joint.heat_capacity_J_kgK, 1.0) or _middle(kind.heat_capacity_J_kgK, 1.0)
    film = _film(joint.film_um, dimensions) or _middle(kind.film_um, UM)
    resistance = _bounded(joint.resistance_mm2K_W, MM2K_W)
    of_film = (joint.film_um, joint.conductivity_W_mK, joint.boundary_mm2K_W)
    if resistance is None and all(value is None for value in of_film):
        resistance = _middle(kind.resistance_mm2K_W, MM2K_W)
    if resistance is not None:
        gallium = kind.holds_gallium
        return JointProperties(
            joint.joint, "resistance", wetted, film, resistance=resistance, holds_gallium=gallium,
            density=density, heat_capacity=heat_capacity,
        )  # fmt: skip
    conductivity = _bounded(joint.conductivity_W_mK, 1.0) or _middle(kind.conductivity_W_mK, 1.0)
    boundary = _bounded(joint.boundary_mm2K_W, MM2K_W) or _middle(kind.boundary_mm2K_W, MM2K_W) or Bounded(0.0)
    no_film = film is None and joint.film_um is None
    if no_film or conductivity is None:
        missing = "film_um" if no_film else "conductivity_W_mK"
        raise ThermsimError(
            f"joint {joint.joint!r}: neither the case nor the joint class {joint.material!r} gives `{missing}`",
            f"give `{missing}`, or `resistance_mm2K_W` alone",
        )
    form = joint.film_um if joint.film_um is not None and joint.film_um.value is None else None
    if form is not None and form.file is not None:
        film = None
    return JointProperties(
        joint.joint, "film", wetted, film, form, conductivity, boundary, holds_gallium=kind.holds_gallium,
        density=density, heat_capacity=heat_capacity,
    )  # fmt: skip


_NO_CLASS = JointClass("", None, None, None, None, "given in the case", "given in the case")


def _bounded(given: Quantity | None, unit: float) -> Bounded | None:
    return None if given is None else Bounded(given.value * unit, given.plus_minus * unit, given.basis)


def _middle(bounds: Range | None, unit: float) -> Bounded | None:
    return None if bounds is None else Bounded(bounds.middle * unit, bounds.half_width * unit, "assumed")


def _film(given: Film | None, dimensions: int) -> Bounded | None:
    """Mean film [m]; that it is uneven is no tolerance. A map is not read here."""
    mean = None if given is None else given.mean_um(dimensions)
    if given is None or mean is None:
        return None
    return Bounded(mean * UM, given.mean_plus_minus_um(dimensions) * UM, given.basis)

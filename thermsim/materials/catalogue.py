"""Materials, joint classes and cooler classes from `catalogue.yaml`: value, range, source and how sure."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from thermsim.errors import UnknownNameError
from thermsim.materials.conductivity import ConstantLaw, Law, PowerLaw, TableLaw
from thermsim.nearest_words import nearest_names
from thermsim.units import ZERO_CELSIUS_K

__all__ = [
    "HOW_SURE",
    "VOID",
    "CoolerClass",
    "HoldsTo",
    "JointClass",
    "Law",
    "Material",
    "Range",
    "cooler",
    "cooler_names",
    "joint",
    "joint_names",
    "material",
    "names",
    "rows",
]

# name of a place that does not conduct: understood wherever a material is named, never an entry of the catalogue
VOID = "void"

TABULATED_C = 300.0 - ZERO_CELSIUS_K  # temperature at which handbooks tabulate heat capacities

_IN_WORDS = {"materials": "material", "joints": "joint class", "coolers": "cooler class"}
HOW_SURE = ("measured standard value", "handbook", "range from practice")


@dataclass(frozen=True)
class HoldsTo:
    """Up to which temperature [C] a material is what it is, what it does then, and where that comes from."""

    celsius: float
    then: str
    source: str
    how_sure: str


@dataclass(frozen=True)
class Material:
    """What a body is made of.

    Attributes
    ----------
    along_x, along_y, along_z : conductivity over temperature [W/mK]
    density_kg_m3 : [kg/m3]; None if nobody gave it
    heat_capacity : over temperature [J/kgK]; None if nobody gave it
    heat_spread : half width of the heat capacity of a cubic metre as a fraction of its value
    heat_source, heat_how_sure : where density and heat capacity come from
    k_spread : half width of the conductivity as a fraction of its value
    source, how_sure : where the conductivity comes from
    holds_gallium, is_aluminium : the pair that must never meet
    holds_to : None where nothing is known of it
    """

    name: str
    along_x: Law
    along_y: Law
    along_z: Law
    density_kg_m3: float | None = None
    heat_capacity: Law | None = None
    k_spread: float = 0.0
    heat_spread: float = 0.0
    heat_source: str = "given in the case"
    heat_how_sure: str = "given in the case"
    source: str = "given in the case"
    how_sure: str = "given in the case"
    holds_gallium: bool = False
    is_aluminium: bool = False
    note: str = ""
    holds_to: HoldsTo | None = None

    @property
    def laws(self) -> tuple[Law, Law, Law]:
        """The conductivities along x, y and z."""
        return (self.along_x, self.along_y, self.along_z)

    @property
    def is_constant(self) -> bool:
        """Whether no conductivity changes with temperature."""
        return all(law.is_constant for law in self.laws)

    @property
    def heat_capacity_J_kgK(self) -> float | None:
        """At 300 K, where handbooks tabulate it."""
        return None if self.heat_capacity is None else float(self.heat_capacity(TABULATED_C))


@dataclass(frozen=True)
class Range:
    """Low and high bound of a value."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """Half way between the ends, in the unit of the range."""
        return (self.low + self.high) / 2

    @property
    def half_width(self) -> float:
        """Half of the distance between the ends, in the unit of the range."""
        return (self.high - self.low) / 2


@dataclass(frozen=True)
class JointClass:
    """What a joint of one kind may deliver before it is measured: ranges, never single truths.

    `density_kg_m3` [kg/m3] and `heat_capacity_J_kgK` [J/kgK] are those of the filling.
    `film_um` [um], `conductivity_W_mK` [W/mK], `boundary_mm2K_W` [mm2K/W, both faces together] and
    `resistance_mm2K_W` [mm2K/W, the whole joint]; None where the class is not described that way.
    """

    name: str
    film_um: Range | None
    conductivity_W_mK: Range | None
    boundary_mm2K_W: Range | None
    resistance_mm2K_W: Range | None
    source: str
    how_sure: str
    holds_gallium: bool = False
    note: str = ""
    holds_to: HoldsTo | None = None
    density_kg_m3: Range | None = None
    heat_capacity_J_kgK: Range | None = None


@dataclass(frozen=True)
class CoolerClass:
    """What a cooler of one kind may deliver: `film_W_m2K` is referred to the area that it acts on."""

    name: str
    film_W_m2K: Range
    source: str
    how_sure: str
    note: str = ""


def names() -> tuple[str, ...]:
    """Names of all materials, in the order of the catalogue (`void` is not one of them)."""
    return tuple(_entries()["materials"])


def joint_names() -> tuple[str, ...]:
    """Names of all joint classes, in the order of the catalogue."""
    return tuple(_entries()["joints"])


def cooler_names() -> tuple[str, ...]:
    """Names of all cooler classes, in the order of the catalogue."""
    return tuple(_entries()["coolers"])


@cache
def material(name: str) -> Material:
    """The material of that name.

    Raises
    ------
    UnknownNameError : no such material; the remedy names the nearest one
    """
    entry = _entry("materials", name)
    if "conductivity_W_mK" in entry:
        in_plane = through = _law(entry["conductivity_W_mK"])
    else:
        in_plane, through = _law(entry["in_plane_W_mK"]), _law(entry["through_W_mK"])
    conductivity = entry.get("conductivity_W_mK")
    own_source = conductivity.get("source") if isinstance(conductivity, dict) else None
    return Material(
        name=name,
        along_x=in_plane,
        along_y=in_plane,
        along_z=through,
        density_kg_m3=_number(entry, "density_kg_m3"),
        heat_capacity=_heat_capacity(entry),
        heat_spread=float(entry["heat_spread"]),
        heat_source=_source({"source": entry.get("heat_source", entry["source"])}),
        heat_how_sure=entry.get("heat_how_sure", entry["how_sure"]),
        k_spread=float(entry["spread"]),
        source=own_source or _source(entry),
        how_sure=entry["how_sure"],
        holds_gallium="gallium" in entry.get("tags", ()),
        is_aluminium="aluminium" in entry.get("tags", ()),
        note=entry.get("note", ""),
        holds_to=_holds_to(entry),
    )


@cache
def joint(name: str) -> JointClass:
    """The joint class of that name.

    Raises
    ------
    UnknownNameError : no such class; the remedy names the nearest one
    """
    entry = _entry("joints", name)
    return JointClass(
        name=name,
        film_um=_range(entry, "film_um"),
        conductivity_W_mK=_range(entry, "conductivity_W_mK"),
        boundary_mm2K_W=_range(entry, "boundary_mm2K_W"),
        resistance_mm2K_W=_range(entry, "resistance_mm2K_W"),
        source=_source(entry),
        how_sure=entry["how_sure"],
        holds_gallium="gallium" in entry.get("tags", ()),
        note=entry.get("note", ""),
        holds_to=_holds_to(entry),
        density_kg_m3=_range(entry, "density_kg_m3"),
        heat_capacity_J_kgK=_range(entry, "heat_capacity_J_kgK"),
    )


@cache
def cooler(name: str) -> CoolerClass:
    """The cooler class of that name.

    Raises
    ------
    UnknownNameError : no such class; the remedy names the nearest one
    """
    entry = _entry("coolers", name)
    film = _range(entry, "film_W_m2K")
    assert film is not None  # every class has it, as the tests of the catalogue see to
    return CoolerClass(name, film, _source(entry), entry["how_sure"], entry.get("note", ""))


def rows(name: str | None = None) -> list[dict[str, str]]:
    """Lines of a table to print: kind, name, conductivity [W/mK at 27 C], range, source, how sure, note.

    Parameters
    ----------
    name : one material, joint class or cooler class; all of them if not given

    Raises
    ------
    UnknownNameError : nothing in the catalogue has that name
    """
    known = names() + joint_names() + cooler_names()
    if name is not None and name not in known:
        raise _unknown("material, joint class or cooler class", name, known)
    bodies = [_material_row(material(each)) for each in names() if name in (None, each)]
    films = [_joint_row(joint(each)) for each in joint_names() if name in (None, each)]
    coolers = [_cooler_row(cooler(each)) for each in cooler_names() if name in (None, each)]
    return bodies + films + coolers


def _material_row(body: Material) -> dict[str, str]:
    at_27_C = [float(law(27.0)) for law in (body.along_x, body.along_z)]
    isotropic = body.along_x == body.along_z
    conductivity = f"{at_27_C[0]:.4g}" if isotropic else f"{at_27_C[0]:.4g} in plane, {at_27_C[1]:.4g} through"
    return {
        "kind": "material",
        "name": body.name,
        "conductivity_W_mK": conductivity + ("" if body.is_constant else " (varies with temperature)"),
        "range": f"+-{100 * body.k_spread:.0f} %",
        "density_kg_m3": "-" if body.density_kg_m3 is None else f"{body.density_kg_m3:.5g}",
        "heat_capacity_J_kgK": _heat_capacity_text(body),
        "heat_capacity_range": f"+-{100 * body.heat_spread:.0f} %",
        "source": body.source,
        "heat_capacity_source": "" if body.heat_source == body.source else body.heat_source,
        "how_sure": body.how_sure,
        "note": body.note,
    }


def _joint_row(film: JointClass) -> dict[str, str]:
    parts = [
        f"{label} {bounds.low:g} to {bounds.high:g} {unit}"
        for label, bounds, unit in (
            ("resistance", film.resistance_mm2K_W, "mm2K/W"),
            ("film", film.film_um, "um"),
            ("boundary", film.boundary_mm2K_W, "mm2K/W"),
        )
        if bounds is not None
    ]
    bulk = film.conductivity_W_mK
    return {
        "kind": "joint class",
        "name": film.name,
        "conductivity_W_mK": _as_range(bulk),
        "range": ", ".join(parts),
        "density_kg_m3": _as_range(film.density_kg_m3),
        "heat_capacity_J_kgK": _as_range(film.heat_capacity_J_kgK),
        "heat_capacity_range": "",
        "source": film.source,
        "heat_capacity_source": "",
        "how_sure": film.how_sure,
        "note": film.note,
    }


def _heat_capacity_text(body: Material) -> str:
    """At 300 K, where handbooks tabulate it."""
    if body.heat_capacity is None:
        return "-"
    varies = "" if body.heat_capacity.is_constant else " (varies with temperature)"
    return f"{body.heat_capacity_J_kgK:.4g}{varies}"


def _as_range(bounds: Range | None) -> str:
    return "-" if bounds is None else f"{bounds.low:g} to {bounds.high:g}"


def _cooler_row(kind: CoolerClass) -> dict[str, str]:
    return {
        "kind": "cooler class",
        "name": kind.name,
        "conductivity_W_mK": "-",
        "range": f"film {kind.film_W_m2K.low:g} to {kind.film_W_m2K.high:g} W/m2K",
        "density_kg_m3": "-",
        "heat_capacity_J_kgK": "-",
        "heat_capacity_range": "",
        "source": kind.source,
        "heat_capacity_source": "",
        "how_sure": kind.how_sure,
        "note": kind.note,
    }


@cache
def _entries() -> dict[str, Any]:
    text = files("thermsim.materials").joinpath("catalogue.yaml").read_text(encoding="utf-8")
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    entries: dict[str, Any] = yaml.load(text, Loader=loader)
    return entries


def _entry(kind: str, name: str) -> dict[str, Any]:
    entries: dict[str, dict[str, Any]] = _entries()[kind]
    if name not in entries:
        raise _unknown(_IN_WORDS[kind], name, tuple(entries))
    return entries[name]


def _unknown(kind: str, name: str, known: tuple[str, ...]) -> UnknownNameError:
    nearest, _ = nearest_names(name, known)
    if nearest:
        remedy = f"did you mean {' or '.join(map(repr, nearest))}?"
    else:
        remedy = f"the catalogue has: {', '.join(map(repr, known))}"
    return UnknownNameError(f"no {kind} is called {name!r}", remedy)


def _law(given: Any) -> Law:
    if not isinstance(given, dict):
        return ConstantLaw(float(given))
    if "table_K" in given:
        return TableLaw.of([(kelvin - ZERO_CELSIUS_K, value) for kelvin, value in given["table_K"]])
    coldest, hottest = given["valid_K"]
    return PowerLaw(
        float(given["value"]),
        given["at_K"] - ZERO_CELSIUS_K,
        float(given["exponent"]),
        (coldest - ZERO_CELSIUS_K, hottest - ZERO_CELSIUS_K),
    )


def _holds_to(entry: dict[str, Any]) -> HoldsTo | None:
    given = entry.get("holds_to")
    return None if given is None else HoldsTo(float(given["C"]), given["then"], _source(given), given["how_sure"])


def _heat_capacity(entry: dict[str, Any]) -> Law | None:
    return _law(entry["heat_capacity_J_kgK"]) if "heat_capacity_J_kgK" in entry else None


def _number(entry: dict[str, Any], key: str) -> float | None:
    return None if key not in entry else float(entry[key])


def _range(entry: dict[str, Any], key: str) -> Range | None:
    return None if key not in entry else Range(*map(float, entry[key]))


def _source(entry: dict[str, Any]) -> str:
    """An entry names one of the shared sources by its key, or writes its source out."""
    sources: dict[str, str] = _entries()["sources"]
    return sources.get(entry["source"], str(entry["source"]))

"""What is usual in the trade, and what a value far outside of it was probably meant to be.

All ranges are common practice, no source: they find slips of the keyboard, they are no limits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from thermsim.case.vocabulary.cooling import USUAL_COOLANT_C
from thermsim.case.vocabulary.schema import Case, Part
from thermsim.plausibility.slip import Slip
from thermsim.units import ZERO_CELSIUS_K


@dataclass(frozen=True)
class Usual:
    """A usual range, with the unit it is written in."""

    low: float
    high: float
    unit: str

    def holds(self, value: float) -> bool:
        """Whether a value is nothing out of the ordinary."""
        return self.low <= value <= self.high


@dataclass(frozen=True)
class Factor:
    """A slip and what undoes it."""

    factor: float
    slip: str


DECIMALS = (
    Factor(0.1, "a decimal point one place off"),
    Factor(10.0, "a decimal point one place off"),
    Factor(0.01, "a decimal point two places off"),
    Factor(100.0, "a decimal point two places off"),
    Factor(0.001, "um written as mm"),
    Factor(1000.0, "metres written as mm"),
    Factor(25.4, "inches written as mm"),
)
PLAN_UNITS = (
    Factor(10.0, "cm written as mm"),
    Factor(25.4, "inches written as mm"),
    Factor(1000.0, "metres written as mm"),
    Factor(0.001, "um written as mm"),
    Factor(0.1, "a decimal point one place off"),
)
FILM_UNITS = (Factor(1000.0, "mm written as um"), Factor(0.001, "nm written as um, or um multiplied twice"))
MILLIWATTS = "milliwatts written as W, or kW for W"
POWER_UNITS = (Factor(0.001, MILLIWATTS), Factor(1000.0, "kilowatts written as W"))
COEFFICIENT_UNITS = (
    Factor(1e4, "W/cm2K written as W/m2K"),
    Factor(1e6, "W/mm2K written as W/m2K"),
    Factor(0.1, "a decimal point one place off"),
    Factor(0.01, "a decimal point two places off"),
)
COOLER_UNITS = (*DECIMALS[:4], Factor(0.001, "K/kW written as K/W"))
RESISTANCE_UNITS = (Factor(100.0, "cm2K/W written as mm2K/W"), Factor(1e6, "m2K/W written as mm2K/W"))

# By role: usual thickness, and usual longer side in plan.
THICKNESS = {
    "die": Usual(0.04, 1.5, "mm"),
    "substrate": Usual(0.2, 4.0, "mm"),
    "lid": Usual(0.3, 6.0, "mm"),
    "plate": Usual(0.5, 25.0, "mm"),
    "part": Usual(0.01, 60.0, "mm"),
    "plating": Usual(5e-5, 0.05, "mm"),
}
LONGER_SIDE = {
    "die": Usual(3.0, 60.0, "mm"),
    "substrate": Usual(8.0, 120.0, "mm"),
    "lid": Usual(8.0, 100.0, "mm"),
    "plate": Usual(10.0, 300.0, "mm"),
    "part": Usual(0.5, 500.0, "mm"),
    "plating": Usual(0.5, 500.0, "mm"),
}
FILM = Usual(1.0, 1000.0, "um")
JOINT_CONDUCTIVITY = Usual(0.1, 100.0, "W/mK")
JOINT_RESISTANCE = Usual(0.3, 1000.0, "mm2K/W")
SOLID_CONDUCTIVITY = Usual(0.01, 2500.0, "W/mK")  # from resting gas to single-crystal diamond
# Of values given in place, by role: a lid or plate is metal, a die a semiconductor crystal.
ROLE_CONDUCTIVITY = {
    "lid": Usual(80.0, 450.0, "W/mK"),
    "plate": Usual(80.0, 450.0, "W/mK"),
    "die": Usual(20.0, 500.0, "W/mK"),
}
COPPER_kg_m3 = Usual(8700.0, 9000.0, "kg/m3")
ALUMINIUM_kg_m3 = Usual(2600.0, 2850.0, "kg/m3")
ALUMINIUM_CONDUCTIVITY = Usual(80.0, 250.0, "W/mK")
ZONE_FLUX = Usual(0.0, 20.0, "W/mm2")
LEAST_DIE_FLUX = 0.03  # [W/mm2] mean over a whole die at work; less is a likely slip of units
TOTAL_POWER = Usual(0.5, 2000.0, "W")
COEFFICIENT = Usual(1.0, 200_000.0, "W/m2K")  # resting air to the best micro-fins, referred to the base area
COOLER = Usual(0.005, 200.0, "K/W")  # from a large micro-channel plate to a bare small package in resting air
COEFFICIENT_AROUND = Usual(0.5, 500.0, "W/m2K")  # of faces that look into a void: air, and seldom a liquid
READING_LIMIT = Usual(30.0, 200.0, "C")
LAW_AT = Usual(-80.0, 200.0, "C")  # temperatures at which powers and conductivities are told
FLUID = Usual(*USUAL_COOLANT_C, "C")
LEAKAGE_PER_K = Usual(0.0, 0.03, "per K")
MOST_FILM_RISE_K = 100.0  # [K] from fluid to chip, for the films alone: with more, silicon is past its limits
WIDEST_STRIP_mm = 0.3  # [mm] a free strip between zones that is narrower than this is probably a slip, not a design
HOT_C = 110.0  # [C] to which a chip may be driven before it slows itself down

_WORDS = {
    "die": ("die", "chip", "silicon", "chiplet"),
    "lid": ("lid", "spreader", "cap", "ihs"),
    "plate": ("plate", "block", "base", "cooler", "sink", "heatsink"),
    "substrate": ("substrate", "board", "laminate", "pcb", "package", "carrier", "interposer"),
}


def role_of(case: Case, part: Part) -> str:
    """What a part is, by its name, else by its material and its place: die, lid, plate, substrate, or just part.

    What is thin enough is a plating, or sprayed on.
    """
    words = part.part.lower().replace("-", " ").replace("_", " ").split()
    for role, names in _WORDS.items():
        if any(word in names for word in words):
            return role
    if part.thickness_mm.value <= THICKNESS["plating"].high:
        return "plating"
    heated = {heat.in_ for heat in case.heat}
    material = part.material.name or ""
    if part.part in heated and material in ("silicon", ""):
        return "die"
    return "substrate" if material.startswith("laminate") else "part"


def in_full(value: float) -> str:
    """Three digits, without powers of ten."""
    return f"{value:.0f}" if value >= 100.0 else f"{value:.3g}"


def shortly(value: float) -> str:
    """A number as it was typed; four digits of one that was worked out, as a mean is."""
    return f"{value:g}" if float(f"{value:.5g}") == value else f"{float(f'{value:.4g}'):g}"


def meant(value: float, usual: Usual, factors: tuple[Factor, ...]) -> str:
    """`did you mean 2.45 mm (a decimal point one place off)?`, or nothing if no slip leads into the usual range."""
    hits = [f"{value * f.factor:.4g} {usual.unit} ({f.slip})" for f in factors if usual.holds(value * f.factor)]
    return f"did you mean {' or '.join(hits[:2])}?" if hits else ""


def in_kelvin(value: float, bounds: Usual) -> str:
    """`did you mean 27.85 C (kelvin written as C)?`, or nothing if that is not usual either."""
    return meant(value - ZERO_CELSIUS_K, bounds, (Factor(1.0, "kelvin written as C"),))


def outside(
    value: float, bounds: Usual, factors: tuple[Factor, ...], what: str, place: str, also: float | None = None
) -> Iterator[Slip]:
    """A warning where a value is out of the usual; `also` is the other end of a range that it belongs to."""
    if bounds.holds(value):
        return
    shown, remedy = shortly(value), meant(value, bounds, factors)
    if also is not None and also != value:
        low, high = sorted((value, also))
        shown = f"{shortly(low)} to {shortly(high)}"
        hits = [f for f in factors if bounds.holds(low * f.factor) and bounds.holds(high * f.factor)]
        spans = [f"{low * f.factor:.4g} to {high * f.factor:.4g} {bounds.unit} ({f.slip})" for f in hits]
        remedy = f"did you mean {' or '.join(spans[:2])}?" if spans else remedy
    message = f"{what} of {shown} {bounds.unit} is out of the usual {bounds.low:g} to {bounds.high:g}"
    yield Slip("warning", place, message, remedy or "check the number and its unit")

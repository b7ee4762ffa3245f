"""What is said of numbers that cannot be read, and what to write instead: one row a kind of message."""

from __future__ import annotations

from remedies import OfCall, OfCase, Row
from remedies_of_calls import small
from remedies_of_cases import FILM, PASTE, THICK, TOP

from thermsim.sweeps.points import Vary, ranges_of

KELVIN = (
    ("fluid_C: 31.0", "fluid_C: 304.15"),
    ("fluid_C: 30.0}", "fluid_C: 303}"),
    ("fluid_C: 30.0}", "fluid_C: 303}"),
)
WETTED = "wetted_fraction: 0.95"


def number(typed: str, told: str, instead: str | None = None) -> OfCase:
    """A thickness, and what it is typed as instead; None for what the message quotes."""
    mended = None if instead is None else ((f"thickness_mm: {typed}", f"thickness_mm: {instead}"),)
    return OfCase(((THICK, f"thickness_mm: {typed}"),), told, mended)


def text(old: str, new: str, told: str, instead: str | None = None) -> OfCase:
    return OfCase(((old, new),), told, None if instead is None else ((new, instead),))


def ends(low: str, told: str, instead: str) -> OfCall:
    """One end of a range that is swept."""

    def swept(end: str) -> object:
        return ranges_of(small(), [Vary("lid.thickness_mm", end, "5 mm", 3)])

    return OfCall(lambda folder: swept(low), told, lambda folder: swept(instead))


ROWS: list[Row] = [
    number("1.36 ell", "write the number in mm, without a unit", "1.36"),
    number("1.36 mm 2", "that is an area, and `thickness_mm` takes a length in mm", "1.36 mm"),
    number(f"'{'1.3' * 50}'", "write the number in mm", "1.36"),
    number(f"{'1' * 40} mm", "write the number in mm, with fewer digits", "1.36 mm"),
    number("'1.36'", "leave the quotes out", "1.36"),
    number("3/2", "write 1.5"),
    number("1/0 in", "nothing can be divided by 0", "1/2 in"),
    number("1e30 mm", "that is beyond 1e\\+15, more than any value of a case", "1.36 mm"),
    number("1e-30 mm", "that is nearer to 0 than 1e-15; write 0 or a larger number", "1.36 mm"),
    number("1e14 m", "that is beyond 1e\\+15, more than any value of a case", "1e-3 m"),
    number("~1.4", "write a number in mm, and how far it may be off as `plus_minus`", "{value: 1.4, plus_minus: 0.1}"),
    number("1.3-1.4", "if it lies anywhere between, write {value: 1.35, plus_minus: 0.05}"),
    number("1.3 to 1.4 mm", "if it lies anywhere between, write {value: 1.35 mm, plus_minus: 0.05 mm}"),
    number("{value: 1.36, plus_minus: 0.01-0.02}", "write one number in mm", "{value: 1.36, plus_minus: 0.02}"),
    number("{value: 1.36, plus_minus: ~0.02}", "write a number in mm", "{value: 1.36, plus_minus: 0.02}"),
    number("{value: 1.36, plus_minus: 0.02 +- 0.01}", "it takes no tolerance of its own: write one number in mm",
           "{value: 1.36, plus_minus: 0.02}"),
    number("'1,360'", "that may be 1.360 or 1360: write which", "1.360"),
    number("1,360,000 nm", "write the digits without marks between them: 1360000 nm", "1360000 nm"),
    number("1 360 um", "write the digits without marks between them: 1360 um", "1360 um"),
    number("1 %", "nobody knows what the hundred is: write the number in mm", "0.01"),
    number("1 x 2 mm", "it is one number: write it in mm", "1 mm"),
    number("1.36 W", "that is a power, and `thickness_mm` takes a length in mm", "1.36"),
    number("1.36 bar s", "of another kind: `thickness_mm` takes a length in mm", "1.36"),
    number("[1.36]", "one alone is a number with its `plus_minus`", "{value: 1.36, plus_minus: 0.01}"),
    number("[1.36, 1.36]", "write {measured: \\[1.36, 1.36\\], plus_minus: ...} with what the instrument may be off",
           "{measured: [1.36, 1.36], plus_minus: 0.01}"),
    number("[1,36]", "decimals are written with a point, not a comma", "1.36"),
    number("[1.36, true]", "readings are numbers, such as", "[1.36, 1.37]"),
    number("{measured: [1.36, 1.37], repeats: 2}", "beside `measured` may stand `plus_minus` of the instrument",
           "{measured: [1.36, 1.37]}"),
    number("{measured: [1.36, 1.37], plus_minus: -1}",
           "`plus_minus` beside `measured` is what the instrument may be off",
           "{measured: [1.36, 1.37], plus_minus: 0.01}"),
    number("{measured: [1.36, 1.37], shape: t}", "`shape` beside `measured` is that of the instrument: `even`",
           "{measured: [1.36, 1.37], plus_minus: 0.01, shape: even}"),
    text(FILM, "[150, 350]", "write {measured: \\[150, 350\\]} for two readings, or {low:",
         "{low: 150, high: 350, towards: +x}"),
    text("size_mm: [42.0, 38.0]", "size_mm: 42 x 38 x 1 mm", "it is at most 2 numbers", "size_mm: 42 x 38 mm"),
    text("size_mm: [42.0, 38.0]", "size_mm: 42 mm x 38", "give every number its unit, or one unit behind the last",
         "size_mm: 42 x 38 mm"),
    text(WETTED, "wetted_fraction: 0.95 mm", "it has no unit: write the number alone", WETTED),
    text(WETTED, "wetted_fraction: 0.95 ell", "no unit that is known here: write the number alone",
         WETTED),
    text(WETTED, "wetted_fraction: {value: 0.95, plus_minus: 4 %}",
         "write the half width alone, `\\+- 0.038` for so much of 0.95, or `\\+- (0.04)` for so much of the whole",
         "wetted_fraction: 0.95 +- {0}"),
    text(WETTED, "wetted_fraction: 0.8 +- 5 %", "write the half width alone, `\\+- (0.04)` for so much of 0.8",
         "wetted_fraction: 0.8 +- {0}"),
    text(TOP, "film_W_m2K: 14000, fluid_C: 31 +- 2 K",
         "say whether the temperature itself is in C or K: give it its unit too",
         "film_W_m2K: 14000, fluid_C: 31 C +- 2 K"),
    text(TOP, "film_W_m2K: 10 W/m2, fluid_C: 31.0", "takes a film coefficient in W/m2K; did you mean 10 W/m2K?",
         "film_W_m2K: 10 W/m2K, fluid_C: 31.0"),
    text(TOP, "cooler_K_W: 0.05 W/K, fluid_C: 31.0", "its reciprocal is 20 K/W: write 20, or 0.05 with the unit",
         "cooler_K_W: 20, fluid_C: 31.0"),
    text(PASTE, PASTE.replace("{value: 7.8, plus_minus: 2, basis: assumed}", "60 um"), "; write `film_um: 60`",
         "    film_um: 60\n    conductivity_W_mK: 4"),
    text("reading_C: 95", "reading_C: 90-95", "write one number, such as 92.5", "reading_C: 92.5"),
    text("thickness_mm: 3.0", "film_um: 3000", "unknown key `film_um`; did you mean `thickness_mm: 3`"),
    text("power_W: 23.1", "power_mW: 23100", "unknown key `power_mW`; did you mean `power_W: 23.1`"),
    text("zone: C5, takes: highest", "zone: C5, takes: max", "did you mean `highest`"),
    text(WETTED, "wetted_fraction: 95", "a share is told as a part of 1, or in percent: write `95 %`"),
    OfCase(KELVIN, "if the coolants were typed in kelvin, write them so: `(303 K)`",
           (("304.15", "304.15 K"), ("fluid_C: 303", "fluid_C: {0}"), ("fluid_C: 303}", "fluid_C: {0}}"))),
    text("size_mm: [24.8, 10.4]", "size_mm: [2.48, 1.04]", "what is drawn on 'die' reaches to .* did you mean",
         "size_mm: [24.8, 10.4]"),
    text("accuracy_K: 0.1", "options:\n  - option: pad\n    adds: [{below: plate, part: shim, material: copper, "
         "size_mm: 9 x 9 mm, thickness_mm: 50 um}]", "layers that are added stand in a list: write `layers:",
         "options:\n  - option: pad\n    adds: [{below: plate, layers: [{part: shim, material: copper, "
         "size_mm: 9 x 9 mm, thickness_mm: 50 um}]}]"),
    ends("thin", "remedy: write a number in mm", "1 mm"),
    ends("1 +- 0.1 mm", "remedy: it is one number: write it in mm", "1 mm"),
    ends("1,2 mm", "remedy: write decimals with a point: 1.2 mm", "1.2 mm"),
]  # fmt: skip

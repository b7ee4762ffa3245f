"""Numbers as a person types them: with units, with tolerances, as readings of an instrument."""

from __future__ import annotations

import json
from math import sqrt
from pathlib import Path
from typing import Any

import click
import pytest
import yaml
from lidded import LIDDED
from malformed import load
from schema_fit import fits
from scipy import stats

from thermsim.case.faults.wording import did_you_mean
from thermsim.case.inputs.values import inputs
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.typed.typed_numbers import typed_numbers
from thermsim.case.vocabulary.json_schema import schema_text
from thermsim.case.vocabulary.schema import Case, Quantity
from thermsim.commands.terminal import FiniteRange
from thermsim.errors import CaseError, ThermsimError, UnknownNameError
from thermsim.plausibility.measure import measure
from thermsim.report.drawing.text_stack import drawing
from thermsim.report.text.inspection import measurement_blocks
from thermsim.rounding import with_tolerance
from thermsim.sweeps.points import Vary, ranges_of

STARTER = LIDDED
SCHEMA = json.loads(schema_text())
THICK = "thickness_mm: {value: 0.7, plus_minus: 0.02, basis: measured}"
FILM = "film_W_m2K: {value: 9000, plus_minus: 1000}"
TOP = "cooling.top.film_W_m2K: {value: 12000, plus_minus: 1500}"


def with_text(old: str, new: str, text: str = STARTER) -> Case:
    """A case that is read; what its reader takes, an editor that checks it by the schema takes too."""
    assert old in text, old
    changed = text.replace(old, new, 1)
    case = parse_case(changed, "f", Path())
    assert fits(load(changed), SCHEMA, SCHEMA), new
    return case


def plain(text: str) -> Any:
    """A value as its key's own unit has it."""
    return Quantity.model_validate(yaml.safe_load(text))


# What is typed, and the same in the key's unit. An inch is 25.4 mm, a British thermal unit (IT) 1055.05585262 J and a
# gallon 3.785411784 l by definition; 32 F = 0 C = 273.15 K (NIST Special Publication 811, 2008, appendix B).
@pytest.mark.parametrize(
    ("typed", "as_plain"),
    [
        ("780 um", "0.78"),
        ("780um", "0.78"),
        ("780 \u00b5m", "0.78"),
        ("780 \u03bcm", "0.78"),
        ("780 microns", "0.78"),
        ("0.78 mm", "0.78"),
        ("0.078 cm", "0.78"),
        ("7.8e-4 m", "0.78"),
        ("1/4 in", "6.35"),
        ("3/8 in", "9.525"),
        ("1 1/2 in", "38.1"),
        ('0.25"', "6.35"),
        ("0.25 inch", "6.35"),
        ("31 mil", "0.7874"),
        ("0.66 +- 0.02 mm", "{value: 0.66, plus_minus: 0.02}"),
        ("0.66 \u00b1 0.02", "{value: 0.66, plus_minus: 0.02}"),
        ("0.66 mm +/- 20 um", "{value: 0.66, plus_minus: 0.02}"),
        ("0.66 mm +- 5 %", "{value: 0.66, plus_minus: 0.033}"),
        ("0.66 +- 5%", "{value: 0.66, plus_minus: 0.033}"),
        ("{value: 660 um, plus_minus: 5 %}", "{value: 0.66, plus_minus: 0.033}"),
        ("{plus_minus: 5 %, value: 660 um}", "{value: 0.66, plus_minus: 0.033}"),
        ("{value: 660 um, plus_minus: 20 um, basis: measured}", "{value: 0.66, plus_minus: 0.02, basis: measured}"),
    ],
)
def test_lengths(typed: str, as_plain: str) -> None:
    case = with_text(THICK, f"thickness_mm: {typed}" if '"' not in typed else f"thickness_mm: '{typed}'")
    assert case.parts[1].thickness_mm.model_dump() == plain(as_plain).model_dump()


@pytest.mark.parametrize(
    ("typed", "as_plain"),
    [
        ("1.5 W/cm2K", 15000.0),
        ("1.5 W/cm\u00b2K", 15000.0),
        ("1.5 W/(cm^2 K)", 15000.0),
        ("1.5 W/cm2/K", 15000.0),
        ("1.5 W cm^-2 K^-1", 15000.0),
        ("1.5 W cm\u207b\u00b2 K\u207b\u00b9", 15000.0),
        ("1.5 W/K cm2", 15000.0),
        ("15 kW/m2K", 15000.0),
        ("15 kW/m2\u00b0C", 15000.0),
        ("15 mW/mm2K", 15000.0),
        ("100 Btu/(h ft2 F)", 567.826334),
    ],
)
def test_film_coefficients(typed: str, as_plain: float) -> None:
    film = with_text(FILM, f"film_W_m2K: {typed}").cooling[0].film_W_m2K
    assert film is not None and film.value == pytest.approx(as_plain, rel=1e-9 if "Btu" in typed else 0.0)


@pytest.mark.parametrize(
    ("typed", "value", "half"),
    [
        ("86 F", 30.0, 0.0),
        ("86 \u00b0F", 30.0, 0.0),
        ("303.15 K", 30.0, 0.0),
        ("303 K", 29.85, 0.0),
        ("30 \u00b0C", 30.0, 0.0),
        ("30 deg C", 30.0, 0.0),
        ("-40 F", -40.0, 0.0),
        ("30 C +- 2 K", 30.0, 2.0),
        ("86 F +- 9 F", 30.0, 5.0),
        ("86 +- 9 F", 30.0, 5.0),
        ("{value: 86 F, plus_minus: 9 F}", 30.0, 5.0),
        ("{value: 303.15 K, plus_minus: 2 K}", 30.0, 2.0),
        ("{value: 30, plus_minus: 2 C}", 30.0, 2.0),
    ],
)
def test_temperatures_have_a_zero_and_their_tolerances_none(typed: str, value: float, half: float) -> None:
    fluid = with_text("fluid_C: 28", f"fluid_C: {typed}").cooling[0].fluid_C
    assert fluid is not None and (fluid.value, fluid.plus_minus) == (value, half)


@pytest.mark.parametrize(
    ("old", "typed", "plainly"),
    [
        ("size_mm: [14, 11]", "size_mm: 14 x 11 mm", "size_mm: [14, 11]"),
        ("size_mm: [14, 11]", "size_mm: 14\u00d711", "size_mm: [14, 11]"),
        ("size_mm: [14, 11]", "size_mm: 1.4 cm x 11 mm", "size_mm: [14, 11]"),
        ("size_mm: [14, 11]", "size_mm: [1.4 cm, 11 mm]", "size_mm: [14, 11]"),
        ("at_mm: [7, 5.5, 0]", "at_mm: 7 x 5.5 x 0 mm", "at_mm: [7, 5.5, 0]"),
        ("power_W: 28", "power_W: 20000 mW", "power_W: 20"),
        ("power_W: {value: 26, plus_minus: 1}", "power_W: 26 W +- 10 %", "power_W: {value: 26, plus_minus: 2.6}"),
        ("boundary_mm2K_W: 4", "boundary_mm2K_W: 0.04 cm2K/W", "boundary_mm2K_W: 4"),
        ("# wetted_fraction: 0.9 ", "wetted_fraction: 90 %", "wetted_fraction: 0.9 "),
        ("{value: 4, plus_minus: 1, basis: assumed}", "0.04 W/cmK", "4"),
        ("film_um: {value: 60, plus_minus: 20, basis: assumed}", "film_um: {low: 0.02 mm, high: 0.1 mm, towards: +x}",
         "film_um: {low: 20, high: 100, towards: +x}"),
        ("leakage: {per_K: 0.002, at_C: 70}", "leakage: {per_K: 0.2 %/K, at_C: 343.15 K}",
         "leakage: {per_K: 0.002, at_C: 70}"),
        ("leakage: {per_K: 0.002, at_C: 70}", "leakage: {share: 30 %, doubling_K: 45 F, at_C: 158 F}",
         "leakage: {share: 0.3, doubling_K: 25, at_C: 70}"),
        ("material: silicon", "material: {conductivity_W_mK: {table: [[86 F, 1.48 W/cmK], [350.15 K, 119]]}}",
         "material: {conductivity_W_mK: {table: [[30, 148], [77, 119]]}}"),
        ("material: silicon", "material: {name: silicon, density_kg_m3: 2.33 g/cm3, heat_capacity_J_kgK: 0.7 J/gK}",
         "material: {name: silicon, density_kg_m3: 2330, heat_capacity_J_kgK: 700}"),
        ("limits: {reading_C: 95}", "limits: {reading_C: 203 F}", "limits: {reading_C: 95}"),
        ("limits: {reading_C: 95}", "clock: {frequency_GHz: 4200 MHz, voltage_V: 1100 mV}",
         "clock: {frequency_GHz: 4.2, voltage_V: 1.1}"),
        ("step_K: 1 ", "step_K: 1.8 F ", "step_K: 1 "),
        ("accuracy_K: 0.1", "accuracy_K: 100 mK", "accuracy_K: 0.1"),
        ("offset_K: {value: 0, plus_minus: 2}   #", "offset_K: 0 +- 2 C #", "offset_K: {value: 0, plus_minus: 2} #"),
        # options, by every way to write a change
        (TOP, "cooling.top.film_W_m2K: 1.2 W/cm2K +- 0.15 W/cm2K", TOP),
        (TOP, "cooling.top: {film_W_m2K: {value: 1.2 W/cm2K, plus_minus: 12.5 %}}", TOP),
        (TOP, "cooling.top.film_W_m2K.value: 1.2 W/cm2K", "cooling.top.film_W_m2K.value: 12000"),
        (TOP, "cooling.top.film_W_m2K.plus_minus: 1500 W/m2K", "cooling.top.film_W_m2K.plus_minus: 1500"),
        (TOP, "chip.size_mm.0: 1.5 cm", "chip.size_mm.0: 15"),
        (TOP, "chip.size_mm: 15 x 12 mm", "chip.size_mm: [15, 12]"),
        (TOP, "limits.reading_C: 194 F", "limits.reading_C: 90"),
    ],
)  # fmt: skip
def test_wherever_a_number_stands(old: str, typed: str, plainly: str) -> None:
    found, wanted = with_text(old, typed), with_text(old, plainly)
    for option in (None, *(option.option for option in wanted.options)):
        cases = [case if option is None else with_option(case, option) for case in (found, wanted)]
        one, other = (dict(case) | {"options": []} for case in cases)
        assert one == other


# ---- readings -------------------------------------------------------------------------------------------------------

# JCGM 100:2008, 4.4.3 and table 1: twenty readings, mean 100.145 C, s = 1.489 C, s / sqrt(20) = 0.333 C. The readings
# are from memory, and meet the deviation that the guide gives to half a percent.
GUIDE = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11,
         101.20, 101.57, 101.84, 102.36, 102.79]  # fmt: skip


def test_the_readings_of_the_guide() -> None:
    fluid = with_text("fluid_C: 28", f"fluid_C: {GUIDE}").cooling[0].fluid_C
    assert fluid is not None
    assert fluid.value == pytest.approx(100.145, abs=6e-3)
    assert fluid.plus_minus == pytest.approx(2.093 * 0.333, rel=5e-3)  # t of 19 degrees of freedom, table G.2
    assert (fluid.repeats, fluid.shape, fluid.basis) == (20, None, "measured")


def test_readings_of_a_caliper() -> None:
    thick = with_text(THICK, "thickness_mm: [2.58, 2.60, 2.61 mm]").parts[1].thickness_mm
    low, high = stats.t.interval(0.95, 2, loc=thick.value, scale=stats.sem([2.58, 2.60, 2.61]))
    assert thick.value == pytest.approx(7.79 / 3, rel=1e-15)
    assert thick.plus_minus == pytest.approx((high - low) / 2, rel=1e-12)
    assert thick.repeats == 3


def test_the_caliper_itself_may_be_off() -> None:
    """JCGM 100, 5.1.2 and equation G.2b, written out: an even tolerance has a / sqrt(3) and no end of freedom."""
    text = "thickness_mm: {measured: [2.58, 2.60, 2.61], plus_minus: 10 um}"
    thick = with_text(THICK, text).parts[1].thickness_mm
    scatter, instrument = stats.sem([2.58, 2.60, 2.61]), 0.01 / sqrt(3)
    together = sqrt(scatter**2 + instrument**2)
    freedom = together**4 / (scatter**4 / 2)
    assert thick.repeats == int(freedom) + 1 == 5
    assert thick.plus_minus == pytest.approx(stats.t.ppf(0.975, int(freedom)) * together, rel=1e-12)


def test_equal_readings_have_the_tolerance_of_the_instrument() -> None:
    thick = (
        with_text(THICK, "thickness_mm: {measured: [0.7, 0.7], plus_minus: 0.01, shape: normal}").parts[1].thickness_mm
    )
    assert (thick.value, thick.plus_minus, thick.shape, thick.repeats) == (0.7, 0.01, "normal", None)


def test_an_instrument_far_worse_than_its_scatter_makes_a_normal_spread() -> None:
    text = "thickness_mm: {measured: [0.700, 0.7001], plus_minus: 0.02}"
    thick = with_text(THICK, text).parts[1].thickness_mm
    assert (thick.shape, thick.repeats) == ("normal", None)
    assert thick.plus_minus == pytest.approx(1.95996 * 0.02 / sqrt(3), rel=1e-4)


def test_sides_may_be_read_too() -> None:
    size = with_text("size_mm: [14, 11]", "size_mm: [[13.98, 14.02], 11]").parts[1].size_mm
    assert (size[0].value, size[0].repeats, size[1].plus_minus) == (14.0, 2, 0.0)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("thickness_mm: [0.7]", "one alone is a number with its `plus_minus`"),
        ("thickness_mm: [0.7, 0.7, 0.7]", "all 3 readings are equal, so that their scatter says nothing: write {"),
        ("thickness_mm: [0,7]", "0 and 7 are no readings of one thing; decimals are written with a point, not a comma"),
        ("thickness_mm: [0.7, thick]", "found a list of 2; write the number in mm"),
        ("thickness_mm: [0.7, true]", "readings are numbers, such as [2.58, 2.60, 2.61]"),
        ("thickness_mm: {measured: [0.7, 0.7]}", "all 2 readings are equal"),
        ("thickness_mm: {measured: 0.7}", "`measured` takes two readings or more"),
        ("thickness_mm: {measured: [0.7, 0.71], repeats: 2}", "beside `measured` may stand `plus_minus`"),
        ("thickness_mm: {measured: [0.7, 0.71], plus_minus: -1}", "what the instrument may be off: 0 or more"),
        ("thickness_mm: {measured: [0.7, 0.71], shape: bell}", "`shape` beside `measured` is that of the instrument"),
    ],
)  # fmt: skip
def test_readings_that_say_nothing(typed: str, told: str) -> None:
    with pytest.raises(CaseError) as caught:
        with_text(THICK, typed)
    (fault,) = caught.value.faults
    assert told in fault.message


def test_two_values_of_a_film_are_no_mean() -> None:
    with pytest.raises(CaseError) as caught:
        with_text("film_um: {value: 60, plus_minus: 20, basis: assumed}", "film_um: [20, 120]")
    (fault,) = caught.value.faults
    ways = "write {measured: [20, 120]} for two readings, or {low: ..., high: ..., towards: +x} for a wedge"
    assert fault.message.endswith(ways)


def test_two_conductivities_in_plane_stay_two() -> None:
    case = with_text("material: silicon", "material: {in_plane_W_mK: [1500, 1.3 W/cmK], through_W_mK: 8}")
    assert [one.value for one in case.parts[1].material.in_plane_W_mK or ()] == [1500.0, 130.0]


# ---- what is told ---------------------------------------------------------------------------------------------------


def test_inspect_shows_what_was_typed() -> None:
    text = STARTER.replace(THICK, "thickness_mm: 780 um").replace(FILM, "film_W_m2K: [9100, 9000, 8900]")
    case = parse_case(text.replace(TOP, "cooling.top.film_W_m2K: 1.2 W/cm2K"), "f", Path())
    found = {one.place: (one.text, one.is_understood_as) for one in typed_numbers(case)}
    assert found == {
        "chip.thickness_mm": ("780 um", "0.78 mm"),
        "top.film_W_m2K": ("[9100, 9000, 8900]", "9000 +- 250 W/m2K, of 3 readings by Student's t"),
        "option 'more flow': cooling.top.film_W_m2K": ("1.2 W/cm2K", "12000 W/m2K"),
    }
    assert measure(case).to_dict()["typed"][0]["line"] == text[: text.index("mm: 780 um")].count("\n") + 1
    places = [one.place for one in typed_numbers(with_option(case, "more flow"))]
    assert places == ["chip.thickness_mm", "top.film_W_m2K"]


def test_a_mean_tells_how_many_readings_were_typed() -> None:
    """Three readings of a caliper that may be off have more degrees of freedom than two: they are no more readings."""
    lists = {
        "{measured: [2.40, 2.41, 2.39], plus_minus: 0.02}": (
            "2.4 +- 0.026 mm, of 3 readings by Student's t with 50 degrees of freedom"
        ),
        "{measured: [2.40, 2.40, 2.40], plus_minus: 0.02}": "2.4 +- 0.02 mm, of 3 readings",
        "[2.40, 2.41, 2.39]": "2.4 +- 0.025 mm, of 3 readings by Student's t",
        "{measured: [2.40, 2.41], plus_minus: 0}": "2.405 +- 0.064 mm, of 2 readings by Student's t",
    }
    for text, told in lists.items():
        assert [one.is_understood_as for one in typed_numbers(with_text(THICK, f"thickness_mm: {text}"))] == [told]


def test_layers_that_an_option_adds_may_have_units() -> None:
    added = "  - option: pad\n    adds: [{below: plate, layers: [{part: shim, material: copper, size_mm: 9 x 9 mm, "
    text = STARTER.replace("accuracy_K:", f"{added}thickness_mm: 50 um}}]}}]\naccuracy_K:")
    case = parse_case(text, "f", Path())
    assert [one.place for one in typed_numbers(case)][1] == "option 'pad': adds.0.layers.0.thickness_mm"
    changed = with_option(case, "pad")
    assert [one.place for one in typed_numbers(changed)] == ["shim.size_mm", "shim.thickness_mm"]
    assert next(part for part in changed.parts if part.part == "shim").thickness_mm.value == 0.05


def test_a_bound_is_told_with_what_was_typed() -> None:
    with pytest.raises(CaseError) as caught:
        with_text(THICK, "thickness_mm: -780 um")
    assert caught.value.faults[0].message.endswith("must be above 0, found -0.78 (typed `-780 um`)")


def test_equal_cases_however_they_were_typed() -> None:
    assert with_text(THICK, "thickness_mm: 780 um") == with_text(THICK, "thickness_mm: 0.78")


@pytest.mark.parametrize(("low", "high"), [("300 um", "0.8 mm"), ("0.3", "0.8"), (0.3, 0.8), ("300um", "0.08 cm")])
def test_a_range_with_units(low: str | float, high: str | float) -> None:
    (found,) = ranges_of(parse_case(STARTER, "f"), [Vary("chip.thickness_mm", low, high, 3)])
    assert found.values == (0.3, 0.55, 0.8)


@pytest.mark.parametrize(
    ("low", "told"),
    [("thin", "write a number in mm"), ("0,3", "write decimals with a point: 0.3"), ("3 W", "takes a length in mm"),
     ("0.3 +- 0.1 mm", "it is one number")],
)  # fmt: skip
def test_ends_of_a_range_that_are_no_numbers(low: str, told: str) -> None:
    with pytest.raises(ThermsimError) as caught:
        ranges_of(parse_case(STARTER, "f"), [Vary("chip.thickness_mm", low, 0.8, 3)])
    assert told in caught.value.remedy


@pytest.mark.parametrize(
    ("value", "half", "told"),
    [
        (7.79 / 3, 0.03787, "2.597 +- 0.038"),
        (655 / 3, 25.856, "218 +- 26"),
        (119.5, 3.7262, "119.5 +- 3.8"),  # the readings' own digits stay
        (0.6604, 0.02, "0.6604 +- 0.02"),  # as typed
        (240.0, 12.5, "240 +- 12.5"),
        (0.66, 0.1 * 0.66, "0.66 +- 0.066"),  # 10 %
        (2.45, 0.0, "2.45"),
    ],
)
def test_an_input_is_told_with_the_digits_that_its_tolerance_leaves(value: float, half: float, told: str) -> None:
    """Two digits of the uncertainty at most, and the value to the same: JCGM 100:2008, 7.2.6."""
    assert with_tolerance(value, half) == told


def test_the_mean_of_readings_is_told_alike_by_all() -> None:
    case = with_text(THICK, "thickness_mm: [2.58, 2.60, 2.61 mm]")
    shown = "\n".join(f"{block.title} {block.lines} {block.rows}" for block in measurement_blocks(measure(case)))
    assert "2.59666" not in shown and "2.59667" not in shown
    assert "2.597 mm" in drawing(case) and "'2.597', '0.038'" in shown and "2.597 +- 0.038 mm" in shown
    assert "2.597 +- 0.038 mm" in [one.said for one in inputs(case)]


@pytest.mark.parametrize(
    ("typed", "seconds"), [("5min", 300.0), ("30 s", 30.0), ("2 hours", 7200.0), ("1e3", 1e3), ("5ms", 0.005)]
)
def test_times_of_the_command_line_have_units(typed: str, seconds: float) -> None:
    assert FiniteRange(min=1e-7, unit="s").convert(typed, None, None) == seconds


@pytest.mark.parametrize("typed", ["5 m", "nan", "soon", "1 +- 1 s", "1e-9 s"])
def test_what_is_no_time_is_refused(typed: str) -> None:
    with pytest.raises(click.BadParameter):
        FiniteRange(min=1e-7, unit="s").convert(typed, None, None)


def test_none_of_a_numbered_row_is_nearer_than_another() -> None:
    assert did_you_mean("A9", ["A1", "A2", "cache"]) == "; there are `A1`, `A2`"
    assert did_you_mean("lidd", ["lid", "die"]) == "; did you mean `lid`?"
    assert did_you_mean("a1", ["A1", "A2"]) == "; did you mean `A1`?"


@pytest.mark.parametrize("path", ["cooling.top.cooler", "cooling.left.film_W_m2K", "top.cooler"])
def test_numbers_of_a_cooling_are_listed_for_who_varies_none_of_them(path: str) -> None:
    with pytest.raises(UnknownNameError) as caught:
        ranges_of(parse_case(STARTER, "f"), [Vary(path, 1.0, 2.0, 3)])
    assert "`top.fluid_C`" in caught.value.remedy

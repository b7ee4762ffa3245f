"""What is said of calls from Python, and what to call instead: one row a kind of message."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch

from remedies import ONE_OPTION, OPTION, OfCall, Row
from remedies_of_cases import MORE

from thermsim.case.inputs.spread import Spread, points, spread
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import parse_case, read_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.choice import chosen
from thermsim.materials import catalogue


def small(*edits: tuple[str, str], folder: Path | None = Path()) -> Case:
    text = ONE_OPTION
    for old, new in edits:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_case(text, "case.yaml", folder)


MAP = ("leakage: {per_K: 0.003, at_C: 80}", "map: {file: map.csv, holds: W}")
WEDGE = ("{value: 240, plus_minus: 30, basis: measured}", "{low: 150, high: 350, towards: +x}")
RAMP = ("film_W_m2K: 12, fluid_C: 30.0", "low_C: 30, high_C: 40, towards: +x")


def kept(folder: Path, width: float) -> Case:
    return with_inputs(small(), {"die.size_mm.0": width}, floor_plan="kept")


def from_here(folder: Path, **values: float) -> None:
    case = small(WEDGE, RAMP)
    with_inputs(case, {f"{key.replace('__', '.')}": value for key, value in values.items()})


def layered() -> None:
    """A material that conducts by direction and falls with temperature: the catalogue has none yet."""
    silicon = catalogue.material("silicon")
    x, y, z = silicon.laws
    one = SimpleNamespace(laws=(x, y, z.scaled(0.5)), k_spread=0.1)
    with patch("thermsim.case.inputs.values.material_of", lambda given: one):
        with_inputs(small(), {"material silicon": 1.1})


def cooled_by(coolant: str) -> None:
    """A flow of what the catalogue knows no heat capacity of, if it had such an entry."""
    known = catalogue.material("water")
    bodies = {"water": known, "epoxy": SimpleNamespace(density_kg_m3=None, heat_capacity_J_kgK=None)}
    flow = f"cooler_K_W: 0.05, flow_l_min: 2, inlet_C: 30, coolant: {coolant}"
    with patch("thermsim.case.vocabulary.cooling.catalogue.material", bodies.__getitem__):
        small(("film_W_m2K: 14000, fluid_C: 31.0", flow))


CASES: list[Row] = [
    OfCall(lambda _: read_case("a\0b"), "the file cannot be read", lambda _: small()),
    OfCall(lambda _: small(MAP, folder=None), "this case was not read from a file", lambda _: small(folder=None)),
    OfCall(
        lambda f: kept(f, 20),
        "of that size no longer holds .* 'die' needs 24.8 mm along x at least|needs",
        lambda f: kept(f, 24.8),
    ),
    OfCall(
        lambda _: with_inputs(small(), {"plate.size_mm.0": 30}),
        "change plate.size_mm.0 so that the stack can be",
        lambda _: with_inputs(small(), {"plate.size_mm.0": 40}),
    ),
    OfCall(
        lambda f: from_here(f, solder__film_um__low=400),
        "`low` is above `high` .400, 350 um.",
        lambda f: from_here(f, solder__film_um__low=340),
    ),
    OfCall(
        lambda f: from_here(f, bottom__low_C=50),
        "`low_C` is above `high_C` .50, 40 C.",
        lambda f: from_here(f, bottom__low_C=39),
    ),
    OfCall(
        lambda _: with_inputs(small(), {"die.thickness": 1}),
        "see `thermsim.inputs\\(case\\)` for what it has",
        lambda _: with_inputs(small(), {inputs(small())[0].path: inputs(small())[0].value}),
    ),
    OfCall(
        lambda _: with_inputs(small(), {"die.thickness_mm": -1}),
        "it must be above 0",
        lambda _: with_inputs(small(), {"die.thickness_mm": 1}),
    ),
    OfCall(
        lambda _: with_option(with_option(small(), OPTION), OPTION),
        "take 'plate straight on die' of the case as it was read",
        lambda _: with_option(small(), OPTION),
    ),
    OfCall(
        lambda _: with_option(with_inputs(small(), {"die.thickness_mm": 1}), OPTION),
        "take the option first, and change values after that",
        lambda _: with_inputs(with_option(small(), OPTION), {"die.thickness_mm": 1}),
    ),
    OfCall(
        lambda _: with_option(small(), "plate on die"),
        "there is no option 'plate on die'; did you mean `plate straight on die`",
        lambda _: with_option(small(), OPTION),
    ),
    OfCall(
        lambda _: cooled_by("epoxy"),
        "in the catalogue: take `water` or `air`",
        lambda _: cooled_by("water"),
    ),
    OfCall(
        lambda _: layered(),
        "cannot be varied\n  remedy: give its values in the case",
        lambda _: with_inputs(
            small(("material: silicon", "material: {name: silicon, conductivity_W_mK: 110}")),
            {"die.material.conductivity_W_mK": 99},
        ),
    ),
    OfCall(lambda _: Spread(1.0, -1.0), "give finite numbers", lambda _: Spread(1.0, 1.0)),
    OfCall(lambda _: Spread(1.0, 1.0, low=2.0), "correct the value", lambda _: Spread(2.0, 1.0, low=2.0)),
    OfCall(
        lambda _: Spread(1.0, 1.0, "t"), 'shape "t" has one or more, every other', lambda _: Spread(1.0, 1.0, "t", 1.0)
    ),
    OfCall(
        lambda _: spread(1.0, 1.0, "t"),
        "say of how many readings the value is the mean",
        lambda _: spread(1.0, 1.0, "t", 2),
    ),
    OfCall(
        lambda _: spread(1.0, 1.0, "even", 4),
        "spread by Student's t: leave out `shape`",
        lambda _: spread(1.0, 1.0, None, 4),
    ),
    OfCall(lambda _: points(100, 1, 20267, 8), "take 128 samples in 8 blocks", lambda _: points(128, 1, 20267, 8)),
    OfCall(
        lambda _: chosen(with_option(small(), OPTION), None, None),
        "compare the case as it was read, with 'plate straight on die' as the base",
        lambda _: chosen(small(("options:\n", f"options:\n{MORE}")), OPTION, None),
    ),
]

ROWS: list[Row] = [*CASES]

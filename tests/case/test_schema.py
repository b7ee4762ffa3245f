"""The vocabulary: its JSON schema, its bounds, its names."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from malformed import load
from pydantic import ValidationError
from samples import CORNCRAKE, SLICE
from schema_fit import fits

from thermsim.case.vocabulary.json_schema import schema, schema_text, write_schema
from thermsim.case.vocabulary.schema import Case, Film, Joint, Leakage, MaterialGiven, Positive
from thermsim.start.kinds import starter_text

STORED = Path(__file__).parents[2] / "cases" / "case.schema.json"


def test_the_stored_schema_is_the_vocabulary() -> None:
    """If this fails, write it anew: `write_schema(Path("cases/case.schema.json"))`."""
    assert STORED.read_text(encoding="utf-8") == schema_text()


def test_it_is_written_as_it_is_told(tmp_path: Path) -> None:
    write_schema(tmp_path / "s.json")
    assert (tmp_path / "s.json").read_bytes() == schema_text().encode()


@pytest.mark.parametrize("text", [CORNCRAKE, SLICE, starter_text()], ids=["demo", "slice", "starter"])
def test_sound_cases_fit_the_schema(text: str) -> None:
    schema = json.loads(schema_text())
    assert fits(load(text), schema, schema)


@pytest.mark.parametrize(
    "typed",
    ["1360 um", "{value: 1.36 mm, plus_minus: 5 %}", "[1.35, 1.37]", "{measured: [1.35 mm, 1.37], plus_minus: 0.01}"],
)
def test_what_may_be_typed_fits_the_schema(typed: str) -> None:
    schema = json.loads(schema_text())
    assert fits(load(CORNCRAKE.replace("thickness_mm: 1.36", f"thickness_mm: {typed}")), schema, schema)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("thickness_mm: 1.36", "thicknes_mm: 1.36"),
        ("thickness_mm: 1.36", "thickness_mm: -1.36"),
        ("thickness_mm: 1.36", "thickness_mm: thick"),
        ("thickness_mm: 1.36", "thickness_mm: null"),
        ("face: exposed", "face: expposed"),
        ("size_mm: [42.0, 38.0]", "size_mm: [42.0, 38.0, 1]"),
        ("wetted_fraction: 0.95", "wetted_fraction: 1.5"),
        ("title: Corncrake on Bench Four", "title: ''"),
        ("dimensions: 3", "dimensions: 4"),
    ],
)
def test_unsound_cases_do_not_fit_the_schema(old: str, new: str) -> None:
    schema = json.loads(schema_text())
    assert not fits(load(CORNCRAKE.replace(old, new)), schema, schema)


def test_every_key_of_the_starter_is_explained() -> None:
    """Each key stands with a comment on its own line or on the line of its neighbours."""
    assert starter_text().count("#") > 30
    assert "yaml-language-server" not in starter_text()  # no such file stands beside a new case


@pytest.mark.parametrize("value", [True, "4", float("nan"), float("inf"), None, [4], 0, -1])
def test_numbers_are_not_guessed(value: object) -> None:
    with pytest.raises(ValidationError):
        Positive.model_validate(value)


def test_numbers_with_and_without_tolerance() -> None:
    assert Positive.model_validate(4) == Positive(value=4.0)
    assert Positive.model_validate({"value": 4, "plus_minus": 1, "basis": "measured"}).plus_minus == 1


@pytest.mark.parametrize(
    "film",
    [
        5,
        {"value": 5, "plus_minus": 1},
        {"low": 1, "high": 2, "towards": "-y"},
        {"edge": 60, "centre": 20},
        {"file": "f.csv"},
    ],
)
def test_forms_of_a_film(film: object) -> None:
    Film.model_validate(film)


@pytest.mark.parametrize(
    "film",
    [
        0,
        {},
        {"low": 1, "high": 2},
        {"low": 3, "high": 2, "towards": "+x"},
        {"edge": 60},
        {"value": 5, "edge": 6, "centre": 7},
        {"low": 1, "high": 2, "towards": "+z"},
    ],
)
def test_no_forms_of_a_film(film: object) -> None:
    with pytest.raises(ValidationError):
        Film.model_validate(film)


@pytest.mark.parametrize(
    ("model", "given"),
    [
        (Joint, {"joint": "j"}),
        (Joint, {"joint": "j", "film_um": 5}),
        (Joint, {"joint": "j", "resistance_mm2K_W": 5, "boundary_mm2K_W": 1}),
        (Leakage, {"at_C": 80}),
        (Leakage, {"at_C": 80, "per_K": 0.1, "share": 0.2, "doubling_K": 20}),
        (Leakage, {"at_C": 80, "share": 0.2}),
        (MaterialGiven, {"density_kg_m3": 5}),
        (MaterialGiven, {"in_plane_W_mK": 5}),
        (MaterialGiven, {"conductivity_W_mK": {"value": 148, "exponent": 1.3}}),
        (MaterialGiven, {"conductivity_W_mK": {"table": [[20, 148]]}}),
        (MaterialGiven, {"conductivity_W_mK": {"table": [[20, 148], [20, 100]]}}),
        (MaterialGiven, {"conductivity_W_mK": {"table": [[20, 148], [40, 0]]}}),
    ],
)
def test_values_that_do_not_go_together(model: type[Any], given: object) -> None:
    with pytest.raises(ValidationError):
        model.model_validate(given)


def test_a_case_cannot_be_changed() -> None:
    case = Case.model_validate(load(CORNCRAKE))
    with pytest.raises(ValidationError):
        case.title = "other"  # type: ignore[misc]  # that is what is tried
    assert case.tables == {}
    assert case.mark("layers") == (1, 1)


def test_every_key_says_what_it_means() -> None:
    whole = schema()
    mappings = [whole, *(way for entry in whole["$defs"].values() for way in (entry, *entry.get("anyOf", [])))]
    keys = [(key, value) for mapping in mappings for key, value in mapping.get("properties", {}).items()]
    assert len(keys) > 100
    assert not [key for key, value in keys if not value.get("description")]

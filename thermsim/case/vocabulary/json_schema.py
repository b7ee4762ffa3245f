"""The vocabulary as JSON schema, for editors that check and complete a case while it is typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from thermsim.case.vocabulary.schema import Case

DIALECT = "https://json-schema.org/draft/2020-12/schema"

WITH_TOLERANCE = (
    "Quantity", "Positive", "NonNegative", "Fraction", "Celsius", "FluidTemperature", "Film", "Conductivity",
)  # fmt: skip
TEXT = {
    "type": "string",
    "pattern": r"^\s*[-+]?\s*\.?[0-9]",
    "description": "A number with its unit, such as `780 um`.",
}
_MANY = {"type": "array", "items": {"anyOf": [{"type": "number"}, {"$ref": "#/$defs/Text"}]}, "minItems": 2}
READINGS = {
    "description": "Readings of an instrument, and how far it may be off: their mean is meant.",
    "anyOf": [
        _MANY,
        {
            "type": "object",
            "properties": {
                "measured": _MANY,
                "plus_minus": {"anyOf": [{"type": "number", "minimum": 0.0}, {"$ref": "#/$defs/Text"}]},
                "shape": {"enum": ["normal", "even", "triangle"], "type": "string"},
                "basis": {"enum": ["measured", "published", "assumed"], "type": "string"},
            },
            "required": ["measured"],
            "additionalProperties": False,
        },
    ],
}


def schema() -> dict[str, Any]:
    """The vocabulary as a JSON schema, for editors and for the documentation."""
    return {"$schema": DIALECT, **_as_read(Case.model_json_schema(by_alias=True)), "title": "A thermsim case"}


def schema_text() -> str:
    """Text of `case.schema.json`, made from the vocabulary; the same text every time."""
    return json.dumps(_with_typed(schema()), indent=1, ensure_ascii=False) + "\n"


def write_schema(path: Path) -> None:
    """Write `case.schema.json`."""
    path.write_text(schema_text(), encoding="utf-8", newline="\n")


def _with_typed(whole: dict[str, Any]) -> dict[str, Any]:
    """The schema with what may be typed for a number: text with a unit, and where a tolerance may stand, readings."""
    found: dict[str, Any] = _or_text(whole)
    found["$defs"] |= {"Text": TEXT, "Readings": READINGS}
    return found


def _or_text(node: Any) -> Any:
    if isinstance(node, list):
        return [_or_text(item) for item in node]
    if not isinstance(node, dict):
        return node
    if node.get("type") == "number":
        told = {key: node[key] for key in ("description", "default") if key in node}
        return {"anyOf": [{key: node[key] for key in node if key not in told}, {"$ref": "#/$defs/Text"}], **told}
    found = {key: _or_text(value) for key, value in node.items()}
    for key, value in found.get("properties", {}).items():
        found["properties"][key] = _or_listed(_or_readings(value))
    return found


def _takes_tolerance(node: Any) -> bool:
    """Whether a schema is that of a number with or without a tolerance."""
    return isinstance(node, dict) and str(node.get("$ref")).rpartition("/")[2] in WITH_TOLERANCE


def _or_readings(node: Any) -> Any:
    """A number, also as one of several in plan, that may be the mean of readings."""
    if _takes_tolerance(node):
        told = {word: node[word] for word in node if word != "$ref"}
        return {"anyOf": [{"$ref": node["$ref"]}, {"$ref": "#/$defs/Readings"}], **told}
    if isinstance(node, dict) and _takes_tolerance(node.get("items")):
        return {**node, "items": _or_readings(node["items"])}
    if isinstance(node, dict) and "anyOf" in node:
        return {**node, "anyOf": [way if _takes_tolerance(way) else _or_readings(way) for way in node["anyOf"]]}
    return node


def _or_listed(node: Any) -> Any:
    """A place in space that may be text as a whole, such as `7 x 5 x 0 mm`; one in plan is so as one number is."""
    if not isinstance(node, dict) or node.get("type") != "array" or "anyOf" not in node.get("items", {}):
        return node
    told = {word: node[word] for word in ("description", "default") if word in node}
    ways = [{word: node[word] for word in node if word not in told}, {"$ref": "#/$defs/Text"}]
    return {"anyOf": ways, **told}


def _as_read(node: Any) -> Any:
    """The schema as the reader has it: a key without a value is refused, and names repeat nothing.

    The models say "or nothing" for keys that may be left out; in a file, nothing cannot be written.
    """
    if isinstance(node, list):
        return [_as_read(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = {key: _entries(value) if key in ("properties", "$defs") else _as_read(value) for key, value in node.items()}
    if isinstance(node.get("title"), str):
        del node["title"]
    if isinstance(node.get("description"), str):
        node["description"] = " ".join(node["description"].split())
    if isinstance(node.get("default"), dict):
        node["default"] = {key: value for key, value in node["default"].items() if value is not None}
    if "default" in node and node["default"] in (None, {}):
        del node["default"]
    if {"type": "null"} in node.get("anyOf", []):
        ways = [way for way in node.pop("anyOf") if way != {"type": "null"}]
        node = {**ways[0], **node} if len(ways) == 1 else {"anyOf": ways, **node}
    return node


def _entries(named: dict[str, Any]) -> dict[str, Any]:
    """The values of a mapping whose keys are names, not words of JSON schema (a case has a key `title`)."""
    return {name: _as_read(value) for name, value in named.items()}

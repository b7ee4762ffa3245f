"""The vocabulary as JSON schema, for editors that check and complete a case while it is typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from thermsim.case.vocabulary.schema import Case

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """The vocabulary as a JSON schema, for editors and for the documentation."""
    return {"$schema": DIALECT, **_as_read(Case.model_json_schema(by_alias=True)), "title": "A thermsim case"}


def schema_text() -> str:
    """Text of `case.schema.json`, made from the vocabulary; the same text every time."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"


def write_schema(path: Path) -> None:
    """Write `case.schema.json`."""
    path.write_text(schema_text(), encoding="utf-8", newline="\n")


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

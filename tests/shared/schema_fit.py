"""Whether a value fits a JSON schema: a reader of its own, small, of the words that the schema of cases uses."""

from __future__ import annotations

import re
from typing import Any


def fits(value: Any, schema: dict[str, Any], whole: dict[str, Any]) -> bool:
    """Whether a value fits a JSON schema, by the words of draft 2020-12 that the schema uses; others are an error."""
    schema = {k: v for k, v in schema.items() if k not in ("$schema", "$defs", "title", "description", "default")}
    kinds: dict[str, Any] = {"object": dict, "array": list, "string": str, "number": (int, float), "integer": int}
    for word, rule in schema.items():
        if word == "$ref":
            good = fits(value, whole["$defs"][rule.rsplit("/", 1)[1]], whole)
        elif word == "pattern":
            good = not isinstance(value, str) or re.search(rule, value) is not None
        elif word in ("anyOf", "oneOf"):
            matches = sum(fits(value, way, whole) for way in rule)
            good = matches == 1 if word == "oneOf" else matches > 0
        elif word == "type":
            good = isinstance(value, kinds[rule]) and not isinstance(value, bool)
        elif word == "enum":
            good = value in rule
        elif word == "required":
            good = not isinstance(value, dict) or all(key in value for key in rule)
        elif word == "properties":
            good = not isinstance(value, dict) or all(fits(value[k], s, whole) for k, s in rule.items() if k in value)
        elif word == "additionalProperties":
            known = schema.get("properties", {})
            good = rule is True or not isinstance(value, dict) or all(key in known for key in value)
        elif word == "items":
            good = not isinstance(value, list) or all(fits(item, rule, whole) for item in value)
        elif word == "prefixItems":
            good = not isinstance(value, list) or all(fits(v, s, whole) for v, s in zip(value, rule, strict=False))
        else:
            size = len(value) if isinstance(value, (list, str)) else value
            bounds: dict[str, Any] = {
                "minItems": list,
                "maxItems": list,
                "minLength": str,
                "maxLength": str,
                "minimum": (int, float),
                "maximum": (int, float),
                "exclusiveMinimum": (int, float),
                "exclusiveMaximum": (int, float),
            }
            if not isinstance(value, bounds[word]):
                continue
            good = size > rule if word == "exclusiveMinimum" else size >= rule if "min" in word else size <= rule
        if not good:
            return False
    return True

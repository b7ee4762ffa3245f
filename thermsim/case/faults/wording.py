"""What the vocabulary refuses, in plain words: what is wrong, what was found, what is allowed, the nearest word."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from thermsim.case.source.marked_values import KeyPath, Source, holds
from thermsim.case.typed.coverage import NORMAL_95
from thermsim.case.typed.keys import entries_in, key_of_number
from thermsim.case.typed.number_text import SHARES, as_number, as_text
from thermsim.case.typed.typed import MEASURED, why_not
from thermsim.case.typed.unit_remedies import (
    at_another_key,
    keys_of_kind,
    tolerance_with_its_unit,
    unit_in_key,
    units_of_table,
    with_its_unit,
)
from thermsim.case.typed.unit_words import Unit
from thermsim.case.vocabulary.numbers import unit_of
from thermsim.case.vocabulary.schema import Case, Conductivity, Entry, Film, Joint, MaterialGiven, Part, Quantity
from thermsim.errors import MOST_FAULTS, Fault
from thermsim.nearest_words import did_you_mean as did_you_mean
from thermsim.nearest_words import listed as listed
from thermsim.nearest_words import nearest_names
from thermsim.nearest_words import nearest_word as nearest_word

# What an entry is called by; a reading also names its zone or probe, so it comes before them.
NAMING_KEYS = ("part", "joint", "reading", "zone", "probe", "option", "environment", "face")


@dataclass(frozen=True)
class Problem:
    """One refused value.

    path : what is refused; for a missing key the mapping that lacks it
    unknown_key, missing_key : set where that is the matter
    meant_key, meant_value : the allowed key nearest to an unknown one, and what stands there in its unit
    whole_entry : the values of an entry do not go together, though each is allowed
    """

    path: KeyPath
    fault: Fault
    unknown_key: str | None = None
    missing_key: str | None = None
    meant_key: str | None = None
    meant_value: Any = None
    whole_entry: bool = False


# How the scatter of mounts was given before: as a half width.
FORMER_SCATTER = "mount_scatter_K"
IS_DEVIATION = "It is a standard deviation; what stands here was the half width that 19 of 20 mounts keep"
# What to write where a key is missing that everybody needs.
_TO_WRITE = {
    "part": ": a layer begins with `part: name` or `joint: name`",
    "joint": ": a layer begins with `part: name` or `joint: name`",
    "cooling": "; write `cooling:` and below it `  - {face: top, film_W_m2K: 10000, fluid_C: 30}` with your values",
    "layers": "; write `layers:` and below it, from the bottom up, "
    "`  - {part: name, material: silicon, size_mm: [x, y], thickness_mm: 0.7}` and so on",
    "title": "; write `title: a name for your case`",
}
_SIDES = {"right": "+x", "left": "-x", "back": "+y", "far": "+y", "front": "-y", "near": "-y"}


def problems_of(error: ValidationError, source: Source) -> list[Problem]:
    """Every refusal of the vocabulary with its place; a misspelt key is told once, not also as missing."""
    refused = error.errors(include_url=False)[:MOST_FAULTS]
    found = [_problem(one, source) for one in refused if not _is_echo(one, refused, source)]
    told: list[Problem] = []
    for problem in found:
        beside = [other for other in found if other.unknown_key and other.path[:-1] == problem.path]
        if problem.missing_key is not None and any(_stands_for(other, problem.missing_key) for other in beside):
            continue
        told.append(problem)
    return told


def _stands_for(problem: Problem, key: str) -> bool:
    return problem.meant_key == key or nearest_word(key, [str(problem.unknown_key)]) is not None


def _is_layer_alone(value: Any) -> bool:
    """Whether an entry of `adds` is itself the layer that it should hold."""
    places = {"above", "below", "in_place_of"}
    return isinstance(value, dict) and bool(places & value.keys() and {"part", "joint"} & value.keys())


def _is_echo(one: Any, refused: list[Any], source: Source) -> bool:
    """Whether a list only seems too short because its items were refused, or a number because its readings were."""
    place = one["loc"]
    holder = source.at(_walk(place[:-1], source.values))
    if isinstance(holder, dict) and MEASURED in holder and why_not(holder, _walk(place[:-1], source.values), None):
        return bool(place[-1] != MEASURED)
    if "adds" in place and one["type"] == "extra_forbidden" and _is_layer_alone(holder):
        return True
    return one["type"] == "too_short" and any(
        other["loc"][: len(place)] == place and len(other["loc"]) > len(place) for other in refused
    )


def _problem(one: Any, source: Source) -> Problem:
    path = _walk(one["loc"], source.values)
    kind = str(one["type"])
    value = source.at(path)
    where = context(source, path)
    if kind == "missing":
        key = one["loc"][-1]
        if isinstance(key, int):  # a pair with one value
            return Problem(
                path, source.fault(path, f"{where}{_label(path)} must be a pair of values, found {found(value)}")
            )
        if _is_layer_alone(value):
            what = "layers that are added stand in a list: write `layers: [{...}]` around what stands here"
            return Problem(path, source.fault(path, where + what), missing_key=key)
        to_write = "" if path and key == "layers" else _TO_WRITE.get(key, "")
        return Problem(path, source.fault(path, f"{where}`{key}` is missing{to_write}"), missing_key=key)
    if kind == "extra_forbidden" and path[-1] == MEASURED:
        told = why_not(source.at(path[:-1]), path[:-1], None)
        if told is not None:
            return Problem(path, source.fault(path, f"{where}{_label(path[:-1])}: {told.reason}"))
    if kind == "extra_forbidden":
        return _unknown_key(one["loc"], path, where, source)
    if kind == "value_error":
        return Problem(path, source.fault(path, where + str(one["ctx"]["error"])), whole_entry=True)
    message = f"{where}{_label(path)} {_must_be(kind, one.get('ctx', {}))}, found {found(value)}"
    if (text := source.typed_at(path)) is not None:
        message += f" (typed `{text}`)"
    if kind == "literal_error" and isinstance(value, str):
        known = re.findall("'([^']*)'", one["ctx"]["expected"])
        side = _SIDES.get(value.lower()) if "+x" in known else None
        in_units = units_of_table(value, known) if path[-1] == "holds" else None
        message += f"; {value} is `{side}`" if side else in_units or did_you_mean(value, known)
    if kind == "model_type" and one["ctx"].get("class_name") == "Around" and isinstance(value, str):
        message += f"; write {{material: {value}}}"
    return Problem(
        path,
        source.fault(path, message + _hint(kind, path, value, source.at(path[:-1]), _keys_beside(one["loc"], path))),
    )


def _walk(loc: tuple[str | int, ...], values: Any) -> KeyPath:
    """The path of a refusal in what was written, as far as it was written.

    The vocabulary's own places hold more steps than the file: the kind of a layer, and the inner `value` of a number
    that was written plainly.
    """
    path: KeyPath = ()
    value = values
    for position, step in enumerate(loc):
        if position == 2 and loc[0] == "layers":
            continue
        if not holds(value, step):
            break
        value = value[step]
        path = (*path, step)
    return path


def _keys_beside(loc: tuple[str | int, ...], path: KeyPath) -> list[str]:
    """The keys of the entry that a number belongs to."""
    key = key_of_number(path)
    return keys_of(_model_at(loc[: loc.index(key)])) if key in loc else []


def _unknown_key(loc: tuple[str | int, ...], path: KeyPath, where: str, source: Source) -> Problem:
    key = str(loc[-1])
    holder = source.at(path[:-1])
    allowed = keys_of(_model_at(loc[:-1]))
    if key in ("part", "joint") and isinstance(holder, dict) and "part" in holder and "joint" in holder:
        message = f"{where}a layer is either a `part` or a `joint`, not both"
        nearest = at_nearest = None
    else:
        nearest, at_nearest, hint, sure = _meant_key(key, source.at(path), holder or {}, allowed)
        message = f"{where}unknown key `{key}`{hint}" + ("" if sure else f"; allowed: {listed(allowed)}")
    return Problem(
        path, source.fault(path, message, at_key=True), unknown_key=key, meant_key=nearest, meant_value=at_nearest
    )


def _meant_key(key: str, value: Any, holder: Any, allowed: list[str]) -> tuple[str | None, Any, str, bool]:
    """The key that an unknown one stands for, its value in that key's unit, what to say of it, and whether it is sure.

    A key with a unit means one of the same kind of quantity, if the entry has just one that is free.
    """
    if key == FORMER_SCATTER and "one_mount_K" in allowed and isinstance(value, (int, float)):
        deviation = float(f"{value / NORMAL_95:.4g}")
        return "one_mount_K", deviation, f"; did you mean `one_mount_K: {deviation:g}`? {IS_DEVIATION}", True
    free = [word for word in allowed if word not in holder]
    near, sure = nearest_names(key, free, most=1)
    named = unit_in_key(key)
    if named is not None and not (near and sure and _has_kind(near[0], named)):
        fitting = keys_of_kind(named[1], free)
        near, sure = (fitting, True) if len(fitting) == 1 else (near, sure)
    if not near:
        near, sure = nearest_names(key, allowed, most=1)
    if not near:
        return None, None, "", sure
    meant = near[0]
    number = with_its_unit(key, value, meant)
    if number is not None and (named is None or named[0] != unit_of(meant)):
        return meant, as_number(number), f"; did you mean `{meant}: {as_text(number)}`?", sure
    if text := tolerance_with_its_unit(key, value, meant):
        return meant, text, f"; did you mean `{meant}: {text}`?", sure
    unit = " (mind the unit)" if named is not None and unit_of(meant) != named[0] else ""
    return meant, value, f"; did you mean `{meant}`?{unit}", sure


def _has_kind(key: str, named: tuple[str, Unit]) -> bool:
    return bool(keys_of_kind(named[1], [key]))


def keys_of(model: type[Entry]) -> list[str]:
    """Keys of a mapping, as they are written."""
    return [info.alias or name for name, info in model.model_fields.items()]


def _model_at(loc: tuple[str | int, ...]) -> type[Entry]:
    model: type[Entry] = Case
    for position, step in enumerate(loc):
        if isinstance(step, int):
            continue
        if position == 2 and loc[0] == "layers":
            model = Joint if step == "joint" else Part
            continue
        annotations = {info.alias or name: info.annotation for name, info in model.model_fields.items()}
        inner = entries_in(annotations.get(step))
        if not inner:
            break
        model = inner[0]
    return model


def context(source: Source, path: KeyPath) -> str:
    """`part 'die': ` and the like: the named entry that a value belongs to."""
    for length in range(len(path), 0, -1):
        entry = source.at(path[:length])
        if not isinstance(entry, dict):
            continue
        for key in sorted(
            NAMING_KEYS, key=lambda key: f"{key}s" != path[0]
        ):  # a probe is not called by a part it names
            if isinstance(entry.get(key), str) and path[length : length + 1] != (key,):
                return f"{key} {entry[key]!r}: "
        if path[:1] == ("heat",) and isinstance(entry.get("in"), str) and path[length:] != ("in",):
            return f"heat in {entry['in']!r}: "
    return ""


def _label(path: KeyPath) -> str:
    if not path:
        return "a case"
    if isinstance(path[-1], int):
        keys = [step for step in path if isinstance(step, str)]
        return f"item {path[-1] + 1} of `{keys[-1]}`" if keys else "an item"
    if path[-1] in ("value", "plus_minus", "basis") and len(path) > 1 and isinstance(path[-2], str):
        return f"`{path[-1]}` of `{path[-2]}`"
    return f"`{path[-1]}`"


def _must_be(kind: str, ctx: dict[str, Any]) -> str:
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"must be {_shape(str(ctx.get('class_name', '')))}"
    if kind == "literal_error":
        return f"must be one of {str(ctx['expected']).replace(' or ', ', ').replace(chr(39), '`')}"
    bounds = {
        "greater_than": "above {gt:g}",
        "greater_than_equal": "{ge:g} or above",
        "less_than_equal": "at most {le:g}",
        "less_than": "below {lt:g}",
    }
    if kind in bounds:
        return "must be " + bounds[kind].format(**ctx)
    if kind in ("too_short", "too_long"):
        bound = f"at least {ctx['min_length']}" if kind == "too_short" else f"at most {ctx['max_length']}"
        return f"must have {bound} {'entry' if bound.endswith(' 1') else 'entries'}"
    if kind == "string_too_long":
        return f"must be text of at most {ctx['max_length']} letters"
    return "must be " + {
        "float_type": "a number",
        "int_type": "a whole number",
        "finite_number": "a finite number",
        "string_type": "text",
        "string_too_short": "text of at least one letter",
        "list_type": "a list",
        "tuple_type": "one length, or a list of lengths [x, y]",
        "bool_type": "`true` or `false`",
    }.get(kind, "something else")


def _shape(class_name: str) -> str:
    kinds: dict[str, type[Entry]] = {model.__name__: model for model in _all_models(Entry)}
    model = kinds.get(class_name)
    if model is None:
        return "a mapping (`key: value`)"
    if issubclass(model, Quantity):
        return "a number, or a mapping with `value`, `plus_minus`, `basis`"
    if model in (Film, Conductivity):
        return f"a number, or a mapping with some of {listed(keys_of(model))}"
    if model is MaterialGiven:
        return f"a name of the catalogue, or a mapping with some of {listed(keys_of(model))}"
    return f"a mapping with some of {listed(keys_of(model))}"


def _all_models(model: type[Entry]) -> list[type[Entry]]:
    return [model] + [deeper for inner in model.__subclasses__() for deeper in _all_models(inner)]


def found(value: Any) -> str:
    """A value in a few words, as it was found."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if isinstance(value, str):
        return f"the text {value[:40]!r}" + ("..." if len(value) > 40 else "")
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    if isinstance(value, dict):
        return f"a mapping with {listed(value, 8)}" if value else "an empty mapping"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _hint(kind: str, path: KeyPath, value: Any, holder: Any, keys: list[str]) -> str:
    """What usually lies behind a value of the wrong kind."""
    if kind == "string_type" and isinstance(value, (int, float)):
        return "; put it in quotes to make it text"
    numbers = value if kind == "too_long" else holder if kind == "greater_than" else None
    if isinstance(numbers, list) and len(numbers) > 2 and any(isinstance(item, int) for item in numbers):
        return "; decimals are written with a point, not a comma"
    if kind == "less_than_equal" and key_of_number(path) in SHARES and isinstance(value, (int, float)) and value <= 100:
        return f"; a share is told as a part of 1, or in percent: write `{value:g} %`"
    if kind not in ("model_type", "float_type", "tuple_type", "too_long"):
        return ""
    told = why_not(value, path, holder)
    if told is None:
        return ""
    return (f"; {told.reason}" if told.reason else "") + at_another_key(told, keys)

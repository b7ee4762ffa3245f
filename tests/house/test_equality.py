"""Results and models may be held against one another with `==`, whatever arrays are in them."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
from typing import Any, get_args, get_type_hints

import numpy as np
from stacks import case_of, film, part

import thermsim
from thermsim.mesh.predict import predict
from thermsim.nearby.superposition import superposition

HOUSE = [
    module.name
    for module in pkgutil.walk_packages(thermsim.__path__, "thermsim.")
    if not module.name.endswith("__main__")
]


def holds_arrays(kind: Any) -> bool:
    if getattr(kind, "__origin__", kind) is np.ndarray:
        return True
    return any(holds_arrays(inner) for inner in get_args(kind))


def fields_of(one: type) -> list[Any]:
    """Types of its fields; of a library that is imported for types only, anything."""
    unknown: dict[str, Any] = {}
    while True:
        try:
            return list(get_type_hints(one, localns=unknown).values())
        except NameError as error:
            unknown[error.name] = Any


def classes() -> list[type]:
    found = set()
    for name in HOUSE:
        try:
            module = importlib.import_module(name)
        except ImportError:  # of an extra that is not installed
            continue
        found |= {one for one in vars(module).values() if dataclasses.is_dataclass(one) and isinstance(one, type)}
    return sorted((one for one in found if one.__module__.startswith("thermsim")), key=lambda one: one.__qualname__)


def test_no_comparison_of_arrays_is_left_to_tuples() -> None:
    """What a dataclass makes by itself compares tuples of fields, and an array in a tuple has no truth (ValueError)."""
    by_tuples = [one for one in classes() if vars(one)["__dataclass_params__"].eq]
    assert len(by_tuples) > 50
    assert [one.__qualname__ for one in by_tuples if any(map(holds_arrays, fields_of(one)))] == []


def test_results_and_models_can_be_compared() -> None:
    case = case_of(
        [part("slab", [10.0, 10.0], 2.0, 50.0)],
        [{"in": "slab", "at": "bottom", "zones": [{"zone": "all", "power_W": 3.0}]}],
        [film("top", 4000.0, 20.0)],
    )
    first, second = predict(case, first_cells=200), predict(case, first_cells=200)
    assert first == first and first != second
    assert first.field.model == first.field.model and first.field.model != second.field.model
    found = superposition(case, first.field)
    assert found == found and found in {found}

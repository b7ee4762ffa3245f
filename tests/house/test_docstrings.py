"""Everything that has a public name says what it is: by a docstring of its own, or by that of what it overrides."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from types import ModuleType

import pytest

import thermsim

NAMES = [one.name for one in pkgutil.walk_packages(thermsim.__path__, "thermsim.") if not one.name.endswith("__main__")]


def silent(module: ModuleType) -> list[str]:
    """The public functions, classes and methods of a module that say nothing."""
    found = []
    for name, one in vars(module).items():
        if name.startswith("_") or getattr(one, "__module__", None) != module.__name__:
            continue
        if inspect.isclass(one):
            said = one.__doc__ or ""
            if not said or said.startswith(f"{one.__name__}("):  # what `dataclass` and `NamedTuple` put there
                found.append(name)
            for inner, member in vars(one).items():
                is_code = inspect.isfunction(member) and member.__name__ != "<lambda>"
                is_code = is_code or isinstance(member, (property, classmethod, staticmethod))
                if is_code and not inner.startswith("_") and not inspect.getdoc(getattr(one, inner)):
                    found.append(f"{name}.{inner}")
        elif (
            inspect.isfunction(inspect.unwrap(one))
            and not getattr(one, "__name__", "_").startswith("_")
            and not inspect.getdoc(inspect.unwrap(one))
        ):
            found.append(name)
    return found


@pytest.mark.parametrize("name", NAMES)
def test_public_names_say_what_they_are(name: str) -> None:
    assert silent(importlib.import_module(name)) == []

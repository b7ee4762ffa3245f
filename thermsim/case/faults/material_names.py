"""Names of materials, looked up in what is written: a name is checked even where the rest of its entry is refused."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from thermsim.case.faults.wording import context, did_you_mean, listed
from thermsim.case.source.marked_values import KeyPath, Source
from thermsim.errors import MOST_FAULTS, Fault
from thermsim.materials import catalogue


def check_names_of_materials(source: Source) -> list[Fault]:
    """Names that the catalogue does not have, in refused entries too: taken from what is written, not from the case."""
    faults = []
    layers = source.values.get("layers") if isinstance(source.values, dict) else None
    for path, name in _named(layers, ("layers",)):
        layer = source.at(path[:2])
        if isinstance(layer, dict) and "joint" in layer:
            known, other, what = catalogue.joint_names(), catalogue.names(), "joint class"
            hint, ways = " (that is a material, for parts)", ""
        else:
            known, other, what = catalogue.names(), catalogue.joint_names(), "material"
            hint, ways = (
                " (that is a joint class, for `joint` entries)",
                "; or give values in place: {conductivity_W_mK: ...}",
            )
        if name not in known and (ways == "" or name != catalogue.VOID):
            near = did_you_mean(name, known, f"it has: {listed(known)}{ways}")
            found = f"the catalogue has no {what} {name!r}{hint if name in other else ''}{near}"
            faults.append(source.fault(path, f"{context(source, path)}{found}"))
            if len(faults) >= MOST_FAULTS:
                break
    return faults


def _named(value: Any, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """Every name written under a key `material`, with its path."""
    if isinstance(value, list):
        for place, item in enumerate(value):
            yield from _named(item, (*path, place))
    elif isinstance(value, dict):
        for key, item in value.items():
            if key == "material" and isinstance(item, str):
                yield (*path, key), item
            elif key == "material" and isinstance(item, dict) and isinstance(item.get("name"), str):
                yield (*path, key, "name"), item["name"]
            else:
                yield from _named(item, (*path, key))

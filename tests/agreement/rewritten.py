"""The same stack written in another way: mirrored, turned, upside down, reordered, cut, rounded, as a slab of a slice.

Each function takes a drawn case and gives another mapping of a file (with tables), whose answers must be the same.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from decimal import Decimal
from fractions import Fraction
from itertools import count
from typing import Any

import numpy as np
from generated import Drawn

Whole = dict[str, Any]
Tables = dict[str, list[list[float]]]

DIGITS = 9  # of mm that are worked out here


def number(given: Any) -> float:
    """A number that may have its tolerance beside it."""
    return float(given["value"] if isinstance(given, dict) else given)


def scaled(given: Any, factor: float) -> Any:
    """The same, times a factor."""
    if isinstance(given, dict):
        return given | {"value": given["value"] * factor, "plus_minus": given["plus_minus"] * factor}
    return given * factor


def plan(given: Any) -> list[float]:
    """Lengths in plan as numbers; a slice has one."""
    return [number(one) for one in given] if isinstance(given, list) else [number(given)]


def as_given(values: list[float]) -> Any:
    return values if len(values) > 1 else values[0]


def legs_of(layer: Whole) -> list[Whole]:
    found: list[Whole] = layer.get("stands_on", {}).get("legs", [])
    return found


def parts_of(whole: Whole) -> list[Whole]:
    return [layer for layer in whole["layers"] if "part" in layer]


def part_named(whole: Whole, name: str) -> Whole:
    return next(part for part in parts_of(whole) if part["part"] == name)


def height_of(whole: Whole) -> float:
    return sum(number(part["thickness_mm"]) for part in parts_of(whole))


def edges(whole: Whole, axis: int) -> tuple[float, float]:
    """Of the whole stack along an axis in plan."""
    low, high = [], []
    for part in parts_of(whole):
        half = 0.5 * plan(part["size_mm"])[axis]
        centre = plan(part["centre_mm"])[axis] if "centre_mm" in part else 0.0
        low.append(centre - half)
        high.append(centre + half)
    return min(low), max(high)


def face_size(whole: Whole, face: str) -> list[float]:
    """Of the face that a patch lies on, in the order of the patch's numbers."""
    is_slice = whole["dimensions"] == 2
    if face in ("top", "bottom"):
        return plan(parts_of(whole)[-1 if face == "top" else 0]["size_mm"])
    if is_slice:
        return [height_of(whole)]
    low, high = edges(whole, 1 if face in ("left", "right") else 0)
    return [high - low, height_of(whole)]


def plain(drawn: Drawn) -> tuple[Whole, Tables]:
    """Without options: they hold for the case as it was written."""
    whole = deepcopy(drawn.whole)
    whole.pop("options", None)
    return whole, deepcopy(drawn.tables)


def storing(drawn: Drawn) -> tuple[Whole, Tables]:
    """With what materials and films store, where the case does not say it."""
    whole, tables = plain(drawn)
    layers = whole["layers"]
    given = [entry["material"] for layer in layers for entry in [layer, *layer.get("inserts", [])] if "part" in layer]
    given += [layer["around"]["material"] for layer in layers if "around" in layer]
    given += [layer for layer in layers if "joint" in layer]
    for entry in given:
        if isinstance(entry, dict):
            entry.setdefault("density_kg_m3", 5000.0)
            entry.setdefault("heat_capacity_J_kgK", 500.0)
    return whole, tables


def turn(entry: Whole, to: dict[str, str]) -> None:
    """The directions that an entry names."""
    for key in ("towards", "looking"):
        if key in entry:
            entry[key] = to.get(entry[key], entry[key])


def mirrored(drawn: Drawn) -> tuple[Whole, Tables]:
    """Left and right exchanged."""
    whole, tables = plain(drawn)

    def other_side(corner: Any, size: Any, length: float) -> Any:
        places = plan(corner)
        return as_given([round(length - places[0] - plan(size)[0], DIGITS), *places[1:]])

    for layer in whole["layers"]:
        if "joint" in layer:
            film = layer.get("film_um")
            if isinstance(film, dict) and film.get("towards", "")[1:] == "x":
                film["towards"] = {"+x": "-x", "-x": "+x"}[film["towards"]]
            continue
        if "centre_mm" in layer:
            layer["centre_mm"] = as_given([-plan(layer["centre_mm"])[0], *plan(layer["centre_mm"])[1:]])
        for insert in layer.get("inserts", []):
            insert["corner_mm"] = other_side(insert["corner_mm"], insert["size_mm"], plan(layer["size_mm"])[0])
        for leg in legs_of(layer):
            leg["corner_mm"] = other_side(leg["corner_mm"], leg["size_mm"], plan(layer["size_mm"])[0])
    for heat in whole["heat"]:
        length = plan(part_named(whole, heat["in"])["size_mm"])[0]
        for zone in heat.get("zones", []):
            if "corner_mm" in zone:
                zone["corner_mm"] = other_side(zone["corner_mm"], zone["size_mm"], length)
    for cooling in whole["cooling"]:
        face = cooling["face"]
        cooling["face"] = {"left": "right", "right": "left"}.get(face, face)
        turn(cooling, {"+x": "-x", "-x": "+x"})
        if "corner_mm" in cooling and face not in ("left", "right"):
            cooling["corner_mm"] = other_side(cooling["corner_mm"], cooling["size_mm"], face_size(whole, face)[0])
    for probe in whole["probes"]:
        length = plan(part_named(whole, probe["in"])["size_mm"])[0]
        probe["at_mm"][0] = round(length - probe["at_mm"][0], DIGITS)
    return whole, {name: [line[::-1] for line in lines] for name, lines in tables.items()}


def turned(drawn: Drawn) -> tuple[Whole, Tables]:
    """x and y exchanged; only in three dimensions."""
    whole, tables = plain(drawn)

    def swap(entry: Whole, *keys: str) -> None:
        for key in keys:
            if isinstance(entry.get(key), list):
                entry[key] = [*entry[key][1::-1], *entry[key][2:]]

    for layer in whole["layers"]:
        swap(layer, "size_mm", "centre_mm")
        for insert in [*layer.get("inserts", []), *legs_of(layer)]:
            swap(insert, "corner_mm", "size_mm")
        if isinstance(layer.get("material"), dict):
            swap(layer["material"], "in_plane_W_mK")
        film = layer.get("film_um")
        if isinstance(film, dict) and "towards" in film:
            film["towards"] = film["towards"][0] + {"x": "y", "y": "x"}[film["towards"][1]]
    for heat in whole["heat"]:
        for zone in heat.get("zones", []):
            swap(zone, "corner_mm", "size_mm")
    to = {"left": "front", "front": "left", "right": "back", "back": "right"}
    for cooling in whole["cooling"]:
        if cooling["face"] in ("top", "bottom"):
            swap(cooling, "corner_mm", "size_mm", "wetted_mm")
        cooling["face"] = to.get(cooling["face"], cooling["face"])
        turn(cooling, {"+x": "+y", "-x": "-y", "+y": "+x", "-y": "-x"})
    for probe in whole["probes"]:
        swap(probe, "at_mm")
    return whole, {name: np.array(lines)[::-1].T[::-1].tolist() for name, lines in tables.items()}


def upside_down(drawn: Drawn) -> tuple[Whole, Tables]:
    """The stack on its head."""
    whole, tables = plain(drawn)
    height, over = height_of(whole), {"top": "bottom", "bottom": "top"}
    whole["layers"].reverse()
    for heat in whole["heat"]:
        heat["at"] = over.get(heat["at"], heat["at"])
    for cooling in whole["cooling"]:
        if cooling["face"] in ("left", "right", "front", "back") and "corner_mm" in cooling:
            corner, size = plan(cooling["corner_mm"]), plan(cooling["size_mm"])
            corner[-1] = round(height - corner[-1] - size[-1], DIGITS)
            cooling["corner_mm"] = as_given(corner)
        cooling["face"] = over.get(cooling["face"], cooling["face"])
        turn(cooling, {"+z": "-z", "-z": "+z"})
    for probe in whole["probes"]:
        thickness = number(part_named(whole, probe["in"])["thickness_mm"])
        probe["at_mm"][-1] = round(thickness - probe["at_mm"][-1], DIGITS)
    return whole, tables


def reordered(drawn: Drawn) -> tuple[Whole, Tables]:
    """Entries whose order means nothing, the other way round; keys of every entry too."""
    whole, tables = plain(drawn)
    for key in ("heat", "cooling", "probes", "readings"):
        whole[key].reverse()
    for entry in [*whole["heat"], *whole["layers"]]:
        for key in ("zones", "inserts"):
            if key in entry:
                entry[key].reverse()
    return _keys_reversed(whole), tables


def _keys_reversed(given: Any) -> Any:
    if isinstance(given, dict):
        return {key: _keys_reversed(value) for key, value in reversed(given.items())}
    return [_keys_reversed(one) for one in given] if isinstance(given, list) else given


def as_slab(drawn: Drawn) -> tuple[Whole, Tables]:
    """A slice as a stack in three dimensions that is as deep as the slice."""
    whole, tables = plain(drawn)
    depth = whole.pop("depth_mm")
    whole["dimensions"] = 3

    def deep(entry: Whole, lengths: tuple[str, ...], places: tuple[str, ...], second: Any = None) -> None:
        for key in lengths:
            if key in entry:
                entry[key] = [entry[key], depth]
        for key in places:
            if key in entry:
                entry[key] = [entry[key], 0.0]

    for layer in whole["layers"]:
        stand = layer.get("stands_on", {})
        if "rim_mm" in stand:  # of a slab it would run along the front and the back as well
            wide, whole_mm = number(stand.pop("rim_mm")), plan(layer["size_mm"])[0]
            stand["legs"] = [{"corner_mm": x, "size_mm": wide} for x in (0.0, round(whole_mm - wide, DIGITS))]
        deep(layer, ("size_mm",), ("centre_mm",))
        for insert in [*layer.get("inserts", []), *legs_of(layer)]:
            deep(insert, ("size_mm",), ("corner_mm",))
    for heat in whole["heat"]:
        for zone in heat.get("zones", []):
            deep(zone, ("size_mm",), ("corner_mm",))
    for cooling in whole["cooling"]:
        if cooling["face"] in ("left", "right"):  # the one length of a patch on a side is a height
            for key, first in (("size_mm", depth), ("corner_mm", 0.0)):
                if key in cooling:
                    cooling[key] = [first, cooling[key]]
        else:
            deep(cooling, ("size_mm", "wetted_mm"), ("corner_mm",))
    for probe in whole["probes"]:
        probe["at_mm"] = [probe["at_mm"][0], 0.5 * depth, probe["at_mm"][1]]
    return whole, tables


def rounded(drawn: Drawn, by_mm: float) -> tuple[Whole, Tables]:
    """Every length a little off, each by another amount: what a drawing program's last digits do."""
    whole, tables = plain(drawn)
    rng = np.random.default_rng((20_317, drawn.number))

    def off(given: Any) -> Any:
        if isinstance(given, list):
            return [off(one) for one in given]
        if isinstance(given, dict):
            return given | {"value": off(given["value"])}
        return given + by_mm * float(rng.uniform(-1.0, 1.0)) if given else given

    def every(entry: Any) -> Any:
        if isinstance(entry, list):
            return [every(one) for one in entry]
        if not isinstance(entry, dict):
            return entry
        lengths = ("size_mm", "corner_mm", "centre_mm", "wetted_mm", "thickness_mm", "rim_mm")
        return {key: off(value) if key in lengths else every(value) for key, value in entry.items()}

    found: Whole = every(whole)
    return found, tables


def cut_layer(drawn: Drawn, name: str, share: float) -> tuple[Whole, Tables]:
    """One part as two with nothing between them; what is made throughout it is made in both."""
    whole, tables = plain(drawn)
    upper = f"{name} upper"
    place = next(n for n, layer in enumerate(whole["layers"]) if layer.get("part") == name)
    below = whole["layers"][place]
    thickness = number(below["thickness_mm"])
    at = round(share * thickness, DIGITS)
    above = deepcopy(below) | {"part": upper, "thickness_mm": thickness - at}
    below["thickness_mm"] = at
    above.pop("stands_on", None)
    for layer in whole["layers"]:
        if layer.get("stands_on", {}).get("down_to") == name:
            layer["stands_on"]["down_to"] = upper
    whole["layers"].insert(place + 1, above)
    for heat in [heat for heat in whole["heat"] if heat["in"] == name]:
        if heat["at"] == "top":
            heat["in"] = upper
        if heat["at"] == "volume":
            _cut_volume(whole, tables, heat, upper, at / thickness)
    for cooling in [cooling for cooling in whole["cooling"] if cooling.get("of") == name]:
        other = deepcopy(cooling) | {"of": upper}
        if "environment" in other:
            other["environment"] += " upper"
        whole["cooling"].append(other)
    for probe in whole["probes"]:
        if probe["in"] == name and probe["at_mm"][-1] > at:
            probe["in"] = upper
            probe["at_mm"][-1] = round(probe["at_mm"][-1] - at, DIGITS)
    split = {zone["zone"] for heat in drawn.whole["heat"] if heat["at"] == "volume" and heat["in"] == name
             for zone in heat.get("zones", [])}  # fmt: skip
    whole["readings"] = [reading for reading in whole["readings"] if reading.get("zone") not in split]
    return whole, tables


def _cut_volume(whole: Whole, tables: Tables, heat: Whole, upper: str, share: float) -> None:
    """Heat made throughout a part, in proportion to the thickness of both pieces."""
    other = deepcopy(heat) | {"in": upper}
    for entry, part in ((heat, share), (other, 1.0 - share)):
        for zone in entry.get("zones", []):
            if entry is other:
                zone["zone"] += " upper"
            if "power_W" in zone:
                zone["power_W"] = scaled(zone["power_W"], part)
        if "power_W" in entry:
            entry["power_W"] = scaled(entry["power_W"], part)
        for group in entry.get("alike", []):
            group["zones"] = [f"{zone} upper" if entry is other else zone for zone in group["zones"]]
    if "map" in heat:
        file = heat["map"]["file"]
        other["map"] = heat["map"] | {"file": f"upper-{file}"}
        tables[f"upper-{file}"] = (np.array(tables[file]) * (1.0 - share)).tolist()
        tables[file] = (np.array(tables[file]) * share).tolist()
    whole["heat"].append(other)


def cut_zone(drawn: Drawn, place: int, share: float) -> tuple[Whole, Tables]:
    """The first zone of one heat as two that touch, each with its share of the power."""
    whole, tables = plain(drawn)
    heat = whole["heat"][place]
    zone = heat["zones"][0]
    size = plan(part_named(whole, heat["in"])["size_mm"] if "size_mm" not in zone else zone["size_mm"])
    corner = plan(zone["corner_mm"]) if "corner_mm" in zone else [0.0] * len(size)
    at = round(share * size[0], DIGITS)
    left = zone | {"corner_mm": as_given(corner), "size_mm": as_given([at, *size[1:]])}
    right = zone | {
        "zone": f"{zone['zone']} right",
        "corner_mm": as_given([round(corner[0] + at, DIGITS), *corner[1:]]),
        "size_mm": as_given([round(size[0] - at, DIGITS), *size[1:]]),
    }
    for key in {"power_W", "share"} & set(zone):
        left[key] = scaled(zone[key], at / size[0])
        right[key] = scaled(zone[key], 1.0 - at / size[0])
    heat["zones"] = [left, right, *heat["zones"][1:]]
    whole["readings"] = [reading for reading in whole["readings"] if reading.get("zone") != zone["zone"]]
    return whole, tables


# Other units of what a key ends with: how many there are in one of the key's, exactly, and the reading of the other
# scale at the zero of the key's (BIPM SI brochure; 0 C = 273.15 K = 32 F).
UNITS: dict[str, tuple[tuple[str, Fraction, Fraction], ...]] = {
    "_mm": (("um", Fraction(1000), Fraction()), ("cm", Fraction(1, 10), Fraction()), ("mm", Fraction(1), Fraction())),
    "_um": (("mm", Fraction(1, 1000), Fraction()), ("nm", Fraction(1000), Fraction())),
    "_W": (("mW", Fraction(1000), Fraction()), ("kW", Fraction(1, 1000), Fraction())),
    "_K_W": (("mK/W", Fraction(1000), Fraction()),),
    "_W_K": (("mW/K", Fraction(1000), Fraction()), ("kW/K", Fraction(1, 1000), Fraction())),
    "_J_K": (("kJ/K", Fraction(1, 1000), Fraction()),),
    "_l_min": (("l/h", Fraction(60), Fraction()), ("m^3/h", Fraction(6, 100), Fraction())),
    "_W_m2K": (("W/cm2K", Fraction(1, 10_000), Fraction()), ("mW/(mm^2 K)", Fraction(1, 1000), Fraction())),
    "_W_mm2": (("W/cm2", Fraction(100), Fraction()), ("kW/m2", Fraction(1000), Fraction())),
    "_W_mK": (("W/cmK", Fraction(1, 100), Fraction()), ("mW/mmK", Fraction(1), Fraction())),
    "_mm2K_W": (("cm2K/W", Fraction(1, 100), Fraction()), ("m2 C/W", Fraction(1, 10**6), Fraction())),
    "_C": (("K", Fraction(1), Fraction("273.15")), ("F", Fraction(9, 5), Fraction(32))),
    "_K": (("mK", Fraction(1000), Fraction()), ("F", Fraction(9, 5), Fraction())),
    "_kg_m3": (("g/cm3", Fraction(1, 1000), Fraction()),),
    "_g": (("kg", Fraction(1, 1000), Fraction()),),
}
OF_FILM = ("low", "high", "edge", "centre")
IN_PERCENT = ("wetted_fraction", "emissivity", "share")


def with_units(drawn: Drawn) -> tuple[Whole, Tables]:
    """Every number typed with another unit than its key's, in options too."""
    turn = count()

    def ways_of(key: str) -> tuple[tuple[str, Fraction, Fraction], ...]:
        if key in OF_FILM:
            return UNITS["_um"]
        if key in IN_PERCENT:
            return (("%", Fraction(100), Fraction()),)
        if key == "per_K":
            return (("%/K", Fraction(100), Fraction()), ("1/K", Fraction(1), Fraction()))
        ends = [end for end in UNITS if key.endswith(end)]
        return UNITS[max(ends, key=len)] if ends else ()

    def typed(given: Any, key: str) -> Any:
        if isinstance(given, list):
            return [typed(one, key) for one in given]
        if isinstance(given, dict):
            if "plus_minus" in given and "value" in given and key not in IN_PERCENT:
                half = as_typed(given["plus_minus"], ways_of(key), True) if ways_of(key) else given["plus_minus"]
                return given | {"value": typed(given["value"], key), "plus_minus": half}
            return {inner: typed(one, inner_key(inner, key)) for inner, one in given.items()}
        if isinstance(given, bool) or not isinstance(given, (int, float)) or not ways_of(key):
            return given
        return as_typed(given, ways_of(key), False)

    def inner_key(inner: str, key: str) -> str:
        last = inner.split(".")[-1]
        if last == "table":
            return ""
        return key if last == "value" or last.isdigit() else "" if last == "plus_minus" else last

    def as_typed(given: float, ways: tuple[tuple[str, Fraction, Fraction], ...], is_difference: bool) -> str:
        unit, factor, zero = ways[next(turn) % len(ways)]
        exact = Fraction(repr(given)) * factor + (0 if is_difference else zero)
        return f"{Decimal(exact.numerator) / Decimal(exact.denominator):f} {unit}"

    whole: Whole = typed(deepcopy(drawn.whole), "")
    return whole, deepcopy(drawn.tables)


def in_steps(whole: Whole, steps: tuple[Any, ...], change: Callable[[Any], Any]) -> Whole:
    """A copy of a mapping with one number in it changed; `value` in front of a plain number means the number."""
    found = deepcopy(whole)
    holder: Any = found
    path = list(steps)
    while True:
        step = path.pop(0)
        held = holder[step]
        if not path or (path == ["value"] and not isinstance(held, dict)):
            break
        holder = held
    if isinstance(held, dict) and "value" in held:
        holder[step] = held | {"value": change(held["value"])}
    else:
        holder[step] = change(held)
    return found

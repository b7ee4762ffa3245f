"""The known name that a word stands for: by its meaning in the trade, then by its letters; and how it is told."""

from __future__ import annotations

import re
from collections.abc import Iterable

# Likeness of two spellings (difflib's ratio) from which on one is surely the other.
SURE = 0.75
_DIGITS = "0123456789"
# What else people call things, in small letters, and the names that they mean here, the likeliest first. A word counts
# only where one of its names is known. Common practice, no source.
MEANINGS: dict[str, tuple[str, ...]] = {
    # what is taken of a zone, shapes of a tolerance, bases
    "max": ("highest",),
    "maximum": ("highest",),
    "peak": ("highest",),
    "hottest": ("highest",),
    "hot spot": ("highest",),
    "hotspot": ("highest",),
    "average": ("mean",),
    "avg": ("mean",),
    "ave": ("mean",),
    "middle": ("centre",),
    "uniform": ("even",),
    "rectangular": ("even",),
    "flat": ("even",),
    "triangular": ("triangle",),
    "gaussian": ("normal",),
    "gauss": ("normal",),
    "bell": ("normal",),
    "datasheet": ("published",),
    "data sheet": ("published",),
    "handbook": ("published",),
    "literature": ("published",),
    "vendor": ("published",),
    "guess": ("assumed",),
    "guessed": ("assumed",),
    "estimate": ("assumed",),
    "estimated": ("assumed",),
    "caliper": ("measured",),
    "micrometer": ("measured",),
    # sides
    "up": ("top",),
    "upper": ("top",),
    "above": ("top",),
    "down": ("bottom",),
    "lower": ("bottom",),
    "below": ("bottom",),
    "back side": ("bottom",),
    "everywhere": ("volume", "exposed"),
    "bulk": ("volume",),
    "throughout": ("volume",),
    "west": ("left",),
    "east": ("right",),
    "south": ("front",),
    "north": ("back",),
    "rest": ("exposed",),
    "other": ("exposed",),
    "others": ("exposed",),
    "sides": ("exposed",),
    "all": ("exposed",),
    # materials
    "cu": ("copper",),
    "al": ("aluminium",),
    "aluminum": ("aluminium",),
    "alu": ("aluminium",),
    "si": ("silicon",),
    "ni": ("nickel",),
    "in": ("indium",),
    "ga": ("gallium",),
    "au": ("gold",),
    "ag": ("silver",),
    "sn": ("tin",),
    "grease": ("silicone paste",),
    "thermal paste": ("silicone paste",),
    "thermal grease": ("silicone paste",),
    "tim": ("silicone paste",),
    "glue": ("adhesive",),
    "bare": ("dry lapped contact",),
    "dry": ("dry lapped contact",),
    "stainless": ("stainless steel",),
    "quartz": ("fused silica",),
    "fr4": ("laminate",),
    "fr-4": ("laminate",),
    "pcb": ("laminate", "laminate with copper"),
    "fibreglass": ("laminate",),
    "nothing": ("void", "air"),
    "vacuum": ("void",),
    "empty": ("void",),
    "galinstan": ("gallium-indium-tin", "gallium film"),
    "liquid metal": ("gallium film", "gallium-indium-tin"),
    # keys
    "h": ("film_W_m2K",),
    "htc": ("film_W_m2K",),
    "alpha": ("film_W_m2K",),
    "coefficient": ("film_W_m2K",),
    "heat_transfer_coefficient": ("film_W_m2K",),
    "ambient": ("fluid_C", "room_C"),
    "ambient_c": ("fluid_C", "room_C"),
    "t_fluid": ("fluid_C",),
    "water_c": ("fluid_C",),
    "air_c": ("fluid_C", "room_C"),
    "coolant_c": ("fluid_C",),
    "inlet_c": ("fluid_C",),
    "k": ("conductivity_W_mK",),
    "lambda": ("conductivity_W_mK",),
    "conductivity": ("conductivity_W_mK",),
    "k_w_mk": ("conductivity_W_mK",),
    "power": ("power_W",),
    "watts": ("power_W",),
    "p_w": ("power_W",),
    "heat_w": ("power_W",),
    "thickness": ("thickness_mm", "film_um"),
    "height": ("thickness_mm",),
    "height_mm": ("thickness_mm",),
    "blt": ("film_um",),
    "bond_line": ("film_um",),
    "bond_line_um": ("film_um",),
    "size": ("size_mm",),
    "width_mm": ("size_mm",),
    "length_mm": ("size_mm",),
    "position_mm": ("corner_mm", "centre_mm", "at_mm"),
    "origin_mm": ("corner_mm",),
    "offset_mm": ("centre_mm", "corner_mm"),
    "center_mm": ("centre_mm",),
    "density": ("density_kg_m3",),
    "rho": ("density_kg_m3",),
    "mass_g": ("weighed_g",),
    "weight_g": ("weighed_g",),
    "cp": ("heat_capacity_J_kgK",),
    "epsilon": ("emissivity",),
    "coverage": ("wetted_fraction",),
    "resistance": ("resistance_mm2K_W",),
    "tolerance": ("plus_minus",),
    "tol": ("plus_minus",),
    "uncertainty": ("plus_minus",),
    "distribution": ("shape",),
    "source": ("basis",),
    "origin": ("basis", "corner_mm"),
    "count": ("repeats",),
    "n": ("repeats",),
    "voltage": ("voltage_V",),
    "frequency": ("frequency_GHz",),
    # lists of a case
    "name": ("title", "part", "joint", "zone", "probe", "reading", "option"),
    "description": ("about",),
    "comment": ("about",),
    "notes": ("about",),
    "stack": ("layers",),
    "parts": ("layers",),
    "joints": ("layers",),
    "sources": ("heat",),
    "powers": ("heat",),
    "heats": ("heat",),
    "boundaries": ("cooling",),
    "boundary": ("cooling", "boundary_mm2K_W"),
    "boundary_conditions": ("cooling",),
    "coolers": ("cooling",),
    "sensors": ("readings",),
    "variants": ("options",),
    "changes": ("options",),
    "blocks": ("zones",),
    "cores": ("zones",),
}


def nearest_names(word: str, known: Iterable[str], most: int = 3) -> tuple[list[str], bool]:
    """Known names that a word may stand for, the likeliest first, and whether one of them is surely meant.

    The same name in other letters, else what the word means in the trade, else names that hold the word as one of
    theirs, else the one spelt most alike.
    """
    from difflib import SequenceMatcher, get_close_matches

    by_lower = {name.lower(): name for name in known}
    wanted = word.lower()
    if wanted in by_lower:
        return [by_lower[wanted]], True
    meant = [by_lower[name.lower()] for name in MEANINGS.get(wanted, ()) if name.lower() in by_lower]
    if meant:
        return meant[:1], True
    holding = [name for lower, name in by_lower.items() if len(wanted) > 2 and wanted in re.split(r"[\s,_.-]+", lower)]
    if holding:
        return holding[:most], len(holding) <= most
    found = get_close_matches(wanted, by_lower, n=1, cutoff=0.5 if len(wanted) <= 3 else 0.6)
    likeness = SequenceMatcher(None, found[0], wanted).ratio() if found else 0.0
    return [by_lower[name] for name in found], likeness >= SURE


def numbered_like(word: str, known: Iterable[str]) -> list[str]:
    """Known names that differ from a word in the number at their end alone: `C0` and `C7` for `C8`."""
    stem, lower = word.rstrip(_DIGITS).lower(), word.lower()
    row = [name for name in known if name[-1:] in _DIGITS and name.rstrip(_DIGITS).lower() == stem]
    is_numbered = stem and stem != lower
    return row if is_numbered and all(name.lower() != lower for name in row) else []


def did_you_mean(word: str, allowed: Iterable[str], otherwise: str = "") -> str:
    """`; did you mean ...?` with the nearest allowed words; empty if none is near.

    `otherwise` follows where that does not settle it, such as the list of what is allowed. Of a row that is numbered
    (`A1`, `A2`) none is nearer to `A9` than another: the row is listed.
    """
    allowed = list(allowed)
    if row := numbered_like(word, allowed):
        return f"; there {'is' if len(row) == 1 else 'are'} {listed(row)}"
    nearest, sure = nearest_names(word, allowed)
    hint = f"; did you mean {' or '.join(f'`{name}`' for name in nearest)}?" if nearest else ""
    return hint if sure else f"{hint}; {otherwise}" if otherwise else hint


def nearest_word(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed word that is most like one, if any is like it at all."""
    nearest, _ = nearest_names(word, allowed)
    return nearest[0] if nearest else None


def listed(words: Iterable[str], most: int = 30) -> str:
    """`a`, `b`, `c`; long lists are cut."""
    words = list(words)
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(f"`{word}`" for word in words[:most]) + more

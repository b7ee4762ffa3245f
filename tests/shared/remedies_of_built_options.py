"""What is said of options that build on others, and of layers that they add, and what to write instead."""

from __future__ import annotations

from remedies import SMALL, OfCase, Row

PLATE = "{part: x, material: copper, size_mm: [44, 44], thickness_mm: 1}"
THIN = "options:\n  - {option: thin, changes: {die.thickness_mm: 0.5}}\n"


def option(text: str, told: str, old: str, new: str) -> OfCase:
    return OfCase((("accuracy_K", f"{THIN}  - {text}\naccuracy_K"),), told, ((old, new),), base=SMALL)


ROWS: list[Row] = [
    option("{option: a, with: thn}", "there is no option 'thn'; did you mean `(thin)`", "thn", "{0}"),
    option("{option: a, with: [thin, a]}", "'a' builds on itself; leave it out here", "[thin, a]", "[thin]"),
    option("{option: a}", "an option needs `changes`, or `adds`, or options", "option: a", "option: a, with: thin"),
    option(
        "{option: b, changes: {die.thickness_mm: 0.4}}\n  - {option: a, with: [thin, b]}",
        "'thin' and 'b' both change `(die.thickness_mm)`: give it in `changes`, or leave one of them out",
        "[thin, b]",
        "[thin, b], changes: {{0}: 0.45}",
    ),
    option(
        "{option: even, changes: {solder.film_um: 50}, same_height_by: lid}\n"
        "  - {option: b, changes: {lid.thickness_mm: 2.5}}\n  - {option: a, with: [even, b]}",
        "'b' changes `(lid.thickness_mm)`, which `same_height_by` of 'even' works out: give it in `changes`",
        "[even, b]",
        "[even, b], changes: {{0}: 2.4}",
    ),
    option(
        f"{{option: a, adds: [{{above: lid, below: lid, layers: [{PLATE}]}}]}}",
        "layers are added `above` or `below` a part or joint, or `in_place_of` it: give one of these",
        "below: lid, ",
        "",
    ),
    option(
        f"{{option: a, adds: [{{above: lit, layers: [{PLATE}]}}]}}",
        "`above`: the stack has no part or joint 'lit'; did you mean `(lid)`",
        "lit",
        "{0}",
    ),
    option(
        f"{{option: a, changes: {{lid.thickness_mm: 1}}, adds: [{{in_place_of: lid, layers: [{PLATE}]}}]}}",
        "`in_place_of` takes out what `lid.thickness_mm` changes",
        "changes: {lid.thickness_mm: 1}, ",
        "",
    ),
]

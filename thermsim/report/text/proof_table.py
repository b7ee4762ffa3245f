"""A proof as lines of text: one table for the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import Any

QUANTITY_WIDTH = 36  # characters of the column of quantities
HEAD = ("reference", "thermsim", "difference", "tolerance", "finer", "mesh doubt", "order, asked", "verdict")
WIDE = (12, 12, 10, 10, 8, 10, 12, 9)
NOTHING = "-"


def table(document: dict[str, Any]) -> Iterator[str]:
    """The table, a case at a time: its title, its source, and a line for each quantity; then the summary."""
    yield _columns("quantity", HEAD)
    yield "-" * len(_columns("", HEAD))
    for title, lines in groupby(document["lines"], key=lambda line: line["case"]):
        yield from _case(title, list(lines))
    yield ""
    yield from summary(document)


def summary(document: dict[str, Any]) -> Iterator[str]:
    """What the table comes to, and the control."""
    count, control = len(document["lines"]), document["control"]
    yield f"{count - document['outside']} of {count} quantities are within their tolerance."
    yield (
        f"{document['excellent']} of the {document['asked_for_excellent']} for which a finer figure is asked reach it "
        "(verdict: excellent)."
    )
    yield (
        f"The mesh doubt holds the true error in {document['doubts_that_hold']} of {document['doubts_asked']} "
        f"quantities whose reference is exact for the very case; {document['doubts_at_round_off']} of these errors are "
        "round-off."
    )
    yield (
        f"Control: a slab read at cell centres has order {_order(control['order'])}, and is "
        f"{'LET THROUGH' if control['passes'] else 'refused'}, where {_asked(control['gate'])} is asked; read at its "
        f"face it has {_order(control['true_order'])}. "
        + ("As it must be." if control["works"] else "NOT AS IT MUST BE.")
    )
    if document["honesty"] is not None:
        yield from honesty_lines(document["honesty"])
    yield f"{document['seconds']:.0f} s. " + ("The proof holds." if document["holds"] else "THE PROOF DOES NOT HOLD.")


def honesty_lines(honesty: dict[str, Any]) -> Iterator[str]:
    """Whether the mesh doubt is honest, on random stacks."""
    yield ""
    yield (
        f"Mesh doubt of {honesty['stacks']} random stacks (seed {honesty['seed']}, {honesty['seconds']:.0f} s; "
        f"{honesty['accuracy_held']} held the accuracy asked for):"
    )
    shares = " ".join(f"{100 * share:>6.0f}%" for share in honesty["shares"])
    yield f"  {'':18}{'number':>7} {'covered':>8}   doubt over true error, quantiles\n  {'':36}{shares}"
    for name, kind in honesty["kinds"].items():
        widths = " ".join(f"{width:>7.2f}" for width in kind["doubt_over_error"])
        yield f"  {name:18}{kind['temperatures']:>7} {100 * kind['covered']:>7.1f}% {widths}"
    asked = honesty["asked"]
    yield (
        f"  asked: {100 * asked['covered']:.0f} % covered, a median of at most {asked['median_width']:g}: "
        + ("held" if honesty["holds"] else "NOT HELD")
    )
    for refused in honesty["refused"]:
        yield f"  no answer for {refused}"
    yield ""


def numbers(line: dict[str, Any]) -> tuple[str, ...]:
    """The cells of a line, as HEAD names them; thermsim's value has the decimals of the reference."""
    reference = line["reference"]
    found = NOTHING if line["thermsim"] is None else f"{line['thermsim']:.7g}"
    difference = NOTHING if line["difference"] is None else f"{line['difference']:+.1e}"
    return (
        f"{reference:.7g}",
        found,
        difference,
        f"{line['within']:.1e}",
        NOTHING if line["excellent"] is None else f"{line['excellent']:.1e}",
        NOTHING if line["mesh_doubt"] is None else f"{line['mesh_doubt']:.1e}",
        _order_cell(line),
        line["verdict"],
    )


def _order_cell(line: dict[str, Any]) -> str:
    """The order and what is asked of it, or in words why there is none."""
    if line["at_round_off"]:
        return "at round-off"
    if not line["errors"]:
        return NOTHING if line["wanted_order"] is None else f"none, {line['wanted_order']:g}"
    asked = "" if line["wanted_order"] is None else f", {line['wanted_order']:g}"
    return _order(line["order"]) + asked


def _asked(gate: float | None) -> str:
    return "no order" if gate is None else f"{gate:g}"


def _order(order: float | None) -> str:
    return "none" if order is None else f"{order:.2f}"


def _case(title: str, lines: list[dict[str, Any]]) -> Iterator[str]:
    sources = list(dict.fromkeys(line["source"] for line in lines))
    yield title
    if len(sources) == 1:
        yield f"  {sources[0]}"
    for number, line in enumerate(lines):
        if len(sources) > 1 and (number == 0 or lines[number - 1]["source"] != line["source"]):
            yield f"  {line['source']}"
        unit = f" [{line['unit']}]" if line["unit"] else ""
        yield _columns(f"    {line['quantity']}{unit}", numbers(line))
        if line["misses"]:
            yield f"      OUTSIDE: {'; '.join(line['misses'])}"


def _columns(first: str, cells: tuple[str, ...]) -> str:
    """One line; a quantity that is too long has a line of its own."""
    rest = " ".join(f"{cell:>{width}}" for cell, width in zip(cells, WIDE, strict=True))
    if len(first) > QUANTITY_WIDTH:
        return f"{first}\n{'':{QUANTITY_WIDTH}} {rest}"
    return f"{first:{QUANTITY_WIDTH}} {rest}"

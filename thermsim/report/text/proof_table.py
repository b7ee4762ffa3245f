"""A proof as blocks of text: a table for each case, then what they come to."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import Any

from thermsim.report.text.blocks import Block, Column

HEAD = ("reference", "thermsim", "difference", "tolerance", "finer", "mesh doubt", "order, asked", "verdict")
NOTHING = "-"

MEANINGS = (
    "Difference, tolerance, finer figure and mesh doubt are in the unit of the quantity. Tolerance: what its source "
    "leaves open, or what is asked here; finer: a closer figure, where one is asked for.",
    "Order, asked: with which power of the width of a cell the error falls, and the least that is asked of it; none: "
    "the errors show no power; at round-off: they are smaller than that can be seen.",
    "Verdict: excellent (within the finer figure), within (within the tolerance), OUTSIDE (beyond it, or of too low an "
    "order).",
)


def proof_blocks(document: dict[str, Any]) -> list[Block]:
    """A table for each case and source, the honesty of the mesh doubt if it was asked for, and the summary."""
    every = groupby(document["lines"], key=lambda line: (line["case"], line["source"]))
    blocks = [_case(title, source, list(lines)) for (title, source), lines in every]
    blocks += [honesty_block(document["honesty"])] if document["honesty"] is not None else []
    return [*blocks, Block("What it comes to", lines=tuple(summary(document)), notes=MEANINGS)]


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
    yield f"{document['seconds']:.0f} s. " + ("The proof holds." if document["holds"] else "THE PROOF DOES NOT HOLD.")


def honesty_block(honesty: dict[str, Any]) -> Block:
    """Whether the mesh doubt is honest, on random stacks."""
    asked = honesty["asked"]
    shares = (Column(f"{100 * share:.0f} %") for share in honesty["shares"])
    rows = tuple(
        (name, f"{of['temperatures']}", f"{100 * of['covered']:.1f} %", *(f"{x:.2f}" for x in of["doubt_over_error"]))
        for name, of in honesty["kinds"].items()
    )
    return Block(
        f"Mesh doubt of {honesty['stacks']} random stacks",
        lines=(
            f"Seed {honesty['seed']}, {honesty['seconds']:.0f} s; {honesty['accuracy_held']} held the accuracy asked "
            "for. Under the percents: quantiles of the doubt over the true error.",
        ),
        columns=(Column("temperatures", right=False), Column("number"), Column("covered"), *shares),
        rows=rows,
        notes=(
            f"asked: {100 * asked['covered']:.0f} % covered, a median of at most {asked['median_width']:g}: "
            + ("held" if honesty["holds"] else "NOT HELD"),
            *(f"no answer for {refused}" for refused in honesty["refused"]),
        ),
    )


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


def _case(title: str, source: str, lines: list[dict[str, Any]]) -> Block:
    """The quantities of a case whose references have one source."""
    columns = (Column("quantity", right=False), *map(Column, HEAD[:-1]), Column(HEAD[-1], right=False))
    rows = tuple(
        (" ".join([one["quantity"], *[f"[{one['unit']}]"] * bool(one["unit"])]), *numbers(one)) for one in lines
    )
    missed = (f"OUTSIDE, {one['quantity']}: {'; '.join(one['misses'])}" for one in lines if one["misses"])
    return Block(title, (source,), columns, rows, tuple(missed))

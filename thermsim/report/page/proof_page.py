"""A proof as a folder: one self-contained page, its figures as SVG, and the document as JSON."""

from __future__ import annotations

import re
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermsim.errors import WriteError
from thermsim.report.data.result import as_json
from thermsim.report.figures import proof_figures
from thermsim.report.page.self_contained import embedded_svg, rendered, svg
from thermsim.report.text.proof_table import HEAD, honesty_block, numbers, summary
from thermsim.report.text.tables import blocks_html

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAGE, DATA, TEMPLATE = "proof.html", "proof.json", "proof_page.html"


def write(document: dict[str, Any], folder: Path | str) -> list[Path]:
    """Write proof.html, proof.json and an SVG for each convergence plot; returns their paths.

    Raises
    ------
    WriteError : the folder cannot be written
    """
    folder = Path(folder)
    drawn = {name: svg(figure) for name, figure in pictures(document).items()}
    texts = {PAGE: html(document, drawn), DATA: as_json(document), **drawn}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            new = folder / f"{name}.new"
            new.write_text(text, encoding="utf-8", newline="\n")
            new.replace(folder / name)
    except OSError as problem:
        raise WriteError(
            f"{folder} cannot be written: {problem.strerror}", "choose a folder that you may write to"
        ) from None
    return [folder / name for name in texts]


def pictures(document: dict[str, Any]) -> dict[str, Figure]:
    """A convergence plot for every case whose error falls with the cells, the control, and the honesty of the doubt."""
    found = {}
    for title, lines in groupby(document["lines"], key=lambda line: line["case"]):
        shown = [line for line in lines if proof_figures.plottable(line)]
        if shown:
            found[f"{_slug(title)}.svg"] = proof_figures.convergence(title, shown)
    found["control.svg"] = proof_figures.failing_control(document["control"])
    if document["honesty"] is not None:
        found["honesty.svg"] = proof_figures.honesty(document["honesty"])
    return found


def html(document: dict[str, Any], drawn: dict[str, str]) -> str:
    """The page; figures are embedded, nothing is fetched. drawn : SVG texts by file name."""
    from markupsafe import Markup

    cases = [
        {"title": title, "lines": [{**line, "cells": numbers(line)} for line in lines]}
        for title, lines in groupby(document["lines"], key=lambda line: line["case"])
    ]
    images = {name: embedded_svg(text) for name, text in drawn.items()}
    plots = [(name, image) for name, image in images.items() if name not in ("control.svg", "honesty.svg")]
    honesty = document["honesty"]
    return rendered(
        TEMPLATE,
        document=document,
        cases=cases,
        head=HEAD,
        refusals=sum(line["refusal"] for line in document["lines"]),
        samples=sum(not line["file"] for line in document["lines"]),
        steepest=document["steepest_order"],
        plots=plots,
        images=images,
        summary=list(summary(document)),
        honesty_table=Markup(blocks_html([honesty_block(honesty)])) if honesty is not None else "",
    )


def _slug(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")

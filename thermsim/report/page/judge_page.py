"""A judgement of measured runs as one self-contained page: what changes bought first, then every run with its fate."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from thermsim.report.data.versions import versions
from thermsim.report.figures.bench.mounts_figure import chances_of_mounts
from thermsim.report.figures.bench.pattern_figure import change_patterns
from thermsim.report.figures.bench.strip_figure import runs_strip
from thermsim.report.page.self_contained import embedded_svg, made_now, rendered, svg
from thermsim.report.text.judge_table import change_name, judgement_blocks, runs_in_words
from thermsim.report.text.tables import blocks_html

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from thermsim.judgement.outcome import Judgement

TEMPLATE = "judge_page.html"
STRIP, PATTERN, MOUNTS = "runs.png", "pattern.png", "mounts.png"


def pictures(found: Judgement) -> dict[str, Figure]:
    """The pictures that a judgement has, by file name: no pattern and no mounts without a change."""
    drawn = {STRIP: runs_strip(found)}
    if found.bought is not None and found.bought.changes:
        drawn |= {PATTERN: change_patterns(found), MOUNTS: chances_of_mounts(found)}
    return drawn


def html(found: Judgement, drawn: dict[str, Figure]) -> str:
    """The page; pictures are embedded, nothing is fetched. drawn : by `pictures`"""
    from markupsafe import Markup

    _, *others = judgement_blocks(found)
    changes = () if found.bought is None else found.bought.changes
    return rendered(
        TEMPLATE,
        title=found.case.title,
        about=found.case.about or "",
        source=Path(found.runs.source).name,
        count=runs_in_words(found),
        why_not=found.why_not,
        changes=[
            {
                "name": change_name(found, one),
                "words": one.words,
                "kind": one.kind,
                "agreement": one.agreement_words or "",
                "pattern": shape.words,
            }
            for one, shape in zip(changes, found.patterns, strict=True)
        ],
        images={name.removesuffix(".png"): embedded_svg(svg(figure)) for name, figure in drawn.items()},
        tables=Markup(blocks_html(others)),
        made=made_now(),
        versions=versions(),
    )

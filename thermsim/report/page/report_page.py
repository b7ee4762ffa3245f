"""A comparison as one self-contained page: verdicts first, then gains, what to measure next, and what they rest on."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermsim.readout.observable import HOTTEST
from thermsim.report.data.versions import versions
from thermsim.report.figures.face_figure import active_face, shade_ends
from thermsim.report.figures.gain_figure import gains
from thermsim.report.figures.ladder_columns_figure import ladders
from thermsim.report.figures.share_figure import shares
from thermsim.report.page import page_tables as tables
from thermsim.report.page.self_contained import embedded, embedded_svg, made_now, rendered, svg
from thermsim.report.words import comparison as words
from thermsim.report.words.comparison import headline_question, name_of, predictions

if TYPE_CHECKING:
    from markupsafe import Markup
    from matplotlib.figure import Figure

    from thermsim.comparison.outcome import Comparison, OptionResult

TEMPLATE = "report_page.html"
GAINS, SHARES, LADDERS = "gains.png", "shares.png", "ladders.png"
MAP_DOTS_PER_INCH = 120


def pictures(comparison: Comparison) -> dict[str, Figure]:
    """The pictures that a comparison has, by file name: no shares without tolerances, no ladders without heat."""
    found = {GAINS: gains(comparison)}
    if any(words.shown_contributions(one, 1) for one in comparison.options):
        found[SHARES] = shares(comparison)
    if any(prediction.ladder is not None for _, prediction in predictions(comparison)):
        found[LADDERS] = ladders(comparison)
    return found


def maps(comparison: Comparison) -> list[tuple[str, Figure]]:
    """Maps of the heated face of base and options, all on one scale of colours."""
    named = predictions(comparison)
    ends = [shade_ends(prediction) for _, prediction in named]
    scale = min(low for low, _ in ends), max(high for _, high in ends)
    return [(name, active_face(prediction, ends_C=scale)) for name, prediction in named]


def html(comparison: Comparison, drawn: dict[str, Figure]) -> str:
    """The page; pictures are embedded, nothing is fetched. drawn : by `pictures`"""
    return rendered(
        TEMPLATE,
        filters={"code": _code, "sentence": words.sentence},
        **_head(comparison),
        options=[_option(comparison, one) for one in comparison.options],
        images={name.removesuffix(".png"): embedded_svg(svg(figure)) for name, figure in drawn.items()},
        maps=[(name, _png(figure), _map_words(name, comparison)) for name, figure in maps(comparison)],
        gains=tables.headline(comparison),
        flux=tables.flux(comparison),
        contributions=tables.contributions(comparison),
        others=tables.others(comparison),
        temperatures=tables.temperatures(comparison),
        temperatures_note=words.temperatures_note(comparison.coverage),
        ladder=tables.ladder(comparison),
        grids=tables.grids(comparison),
        meshes=tables.meshes(comparison),
        inputs=tables.uncertain(comparison),
        exact=words.exact(comparison),
    )


def _head(comparison: Comparison) -> dict[str, Any]:
    opens = words.opens_the_package(comparison)
    cautions = [(one.option, list(one.cautions)) for one in comparison.options if one.cautions]
    return {
        "title": comparison.case.title,
        "is_map": comparison.case.dimensions == 3,
        "about": comparison.case.about or "",
        "base": comparison.base_name,
        "base_changes": words.changes_of(comparison, comparison.base_name),
        "what": name_of(headline_question(comparison)),
        "warmest": words.warmest_of(comparison.base),
        "base_C": words.temperature_words(comparison.options[0].headline.base) if comparison.options else "",
        "often": words.often(comparison.coverage),
        "notes": [*words.worth_missing(comparison), words.scatter_note(comparison)],
        "contributions_note": words.CONTRIBUTIONS_NOTE,
        "mesh_note": words.mesh_note(comparison),
        "way": words.way_words(comparison),
        "grave": words.remarks_of(comparison, grave=True),
        "remarks": words.remarks_of(comparison, grave=False),
        "cautions": cautions,
        "opening": words.BEFORE_OPENING if opens else (),
        "made": made_now(),
        "versions": versions(),
        "file": Path(comparison.case.file).name if comparison.case.file else "",
        "gains_alt": _gains_words(comparison),
    }


def _option(comparison: Comparison, one: OptionResult) -> dict[str, Any]:
    """The verdict of an option, and what stands directly under it."""
    return {
        "name": one.option,
        "kind": one.kind,
        "reasons": words.reasons(one),
        "changes": words.changes_of(comparison, one.option),
        "next": "" if one.next_measurement is None else one.next_measurement.words,
        "unfit": list(one.unfit),
        "ways": one.ways,
        "ways_agree": words.is_small_print(one),
        "flux": one.flux.words,
    }


def _gains_words(comparison: Comparison) -> str:
    """What the picture of the gains shows, for who cannot see it."""
    marks = words.marks_of(comparison)
    each = [
        f"{one.option}: {words.value_words(one.headline, *marks)} K, from {words.interval_words(one.headline, *marks)} "
        f"K, {one.kind}"
        for one in comparison.options
    ]
    return f"Bars of the gain of the {name_of(headline_question(comparison))}. " + ". ".join(each) + "."


def _map_words(name: str, comparison: Comparison) -> str:
    prediction = dict(predictions(comparison))[name]
    hottest = max(prediction.field.zones, key=lambda zone: zone.highest_C, default=None)
    where = "" if hottest is None else f", in {hottest.label}"
    return f"Temperatures of the heated face, {name}: hottest {prediction.answers[HOTTEST]:.1f} C{where}"


def _code(text: str) -> Markup:
    """Text for the page, with what stands between backquotes as code."""
    from markupsafe import Markup, escape

    pieces = [
        Markup("<code>{}</code>").format(piece) if odd % 2 else escape(piece)
        for odd, piece in enumerate(text.split("`"))
    ]
    return Markup("").join(pieces)


def _png(figure: Figure) -> str:
    data = io.BytesIO()
    figure.savefig(data, format="png", dpi=MAP_DOTS_PER_INCH)
    return embedded("image/png", data.getvalue())

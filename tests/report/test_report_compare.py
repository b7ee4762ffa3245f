"""What `compare` shows: verdicts first, numbers rounded by their doubt, every key explained, pictures in words.

Gains here are made up, so that every text, cell and key can be told beforehand; the predictions are of a small stack.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from io import StringIO
from math import inf, nan
from typing import Any

import numpy as np
import pytest
from compare_samples import AGREE, BOTH, base_and_options, comparison, gain, option
from rich.console import Console

from thermsim.comparison.decision import verdict
from thermsim.comparison.outcome import (
    Comparison,
    Contribution,
)
from thermsim.comparison.uncertainty import compare_ways, first_order, summarise
from thermsim.readout.observable import HOTTEST, WARMEST
from thermsim.report.data.compare_result import COMPARE_KEYS, document
from thermsim.report.data.keys import KEYS
from thermsim.report.data.result import as_json, result
from thermsim.report.figures.gain_figure import gains
from thermsim.report.figures.ladder_columns_figure import items, ladders
from thermsim.report.figures.share_figure import shares
from thermsim.report.page import report_page
from thermsim.report.page.page_tables import contributions
from thermsim.report.text.compare_table import comparison_blocks
from thermsim.report.text.shown import show
from thermsim.report.words import comparison as compare_words


def printed(found: Comparison, width: int = 100) -> str:
    text = StringIO()
    show(found, Console(width=width, file=text))
    return text.getvalue()


# ---- words and rounding -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "low", "high", "told"),
    [
        (4.27, 2.91, 5.58, "4.3 (2.9 to 5.6)"),  # half width 1.3: two digits of it
        (41.3, 11.2, 75.4, "41 (11 to 75)"),
        (0.0312, 0.0308, 0.0317, "0.031 (0.031 to 0.032)"),  # three decimals at most
        (2.2, 1.02, 3.4, "2.20 (1.02 to 3.40)"),  # 1.0 would be what is worth it itself
        (-0.3, -1.3, 0.04, "-0.30 (-1.30 to 0.04)"),  # 0.0 would be no gain
        (-0.001, -1.3, 1.3, "0.0 (-1.3 to 1.3)"),  # no minus before a zero
        (0.0, 0.0, 0.0, "0.000 (0.000 to 0.000)"),
        (nan, -inf, inf, "- (unknown)"),
    ],
)
def test_gains_are_rounded_by_their_doubt(value: float, low: float, high: float, told: str) -> None:
    one = gain(WARMEST, value, low, high)
    assert f"{compare_words.value_words(one, 1.0)} ({compare_words.interval_words(one, 1.0)})" == told


@pytest.mark.parametrize(
    ("coverage", "told"), [(0.9, "9 of 10"), (0.95, "19 of 20"), (0.975, "97.5 of 100"), (0.68, "68 of 100")]
)
def test_coverage_in_words(coverage: float, told: str) -> None:
    assert compare_words.often(coverage) == told


@pytest.mark.parametrize(
    ("share", "samples", "told"),
    [
        (0.634, 1024, "63 %"),
        (1.0, 1024, "over 99 %"),
        (0.0, 1024, "under 1 %"),
        (1.0, 16, "over 93 %"),
        (0.0, 16, "under 7 %"),
    ],
)
def test_a_sampled_chance_is_never_certain(share: float, samples: int, told: str) -> None:
    assert compare_words.percent(share, samples) == told


@pytest.mark.parametrize(
    ("low", "value", "high", "told"),
    [
        (-1.0, 0.5, 2.0, "within it"),  # two mounts differ by 1.5 K times the root of 2, which is 2.12 K
        (1.0, 2.0, 3.0, "within it, maybe beyond"),
        (2.0, 3.0, 4.0, "beyond it, maybe within"),
        (2.2, 3.0, 4.0, "beyond it"),
        (-4.0, -3.0, -2.2, "beyond it"),
        (-9.0, 3.0, 9.0, "beyond it, maybe within"),
    ],
)
def test_scatter_between_mounts_in_words(low: float, value: float, high: float, told: str) -> None:
    one = option(1, "thicker lid", gain(WARMEST, value, low, high), "worth it")
    found = comparison(one)
    assert compare_words.scatter_K(found) == pytest.approx(2.1213, abs=1e-4)
    assert compare_words.scatter_words(found, one) == told
    assert compare_words.is_within_scatter(found, one) == told.startswith("within")
    assert compare_words.is_within_scatter(comparison(one, one_mount_K=None), one) is None


def test_agreement_is_known_by_the_words_that_the_study_uses() -> None:
    samples = np.random.default_rng(20_267).normal(3.0, 1.0, 4096)
    agreed = compare_ways(first_order([1.0], [1.0]).estimate(3.0, 0.9), summarise(samples, 0.9)).words
    assert agreed == AGREE == compare_words.AGREES


# ---- terminal and notebook --------------------------------------------------------------------------------------


def test_verdicts_come_first_then_gains_then_what_to_measure() -> None:
    titles = [block.title for block in comparison_blocks(comparison())]
    assert titles == [
        "A small package [of three parts]: 2 options against the base (as in the file)", "Read first",
        "Gain of the warmest reading (R small), 60.00 C in the base", "Measure next",
        "Sanity: change of joint resistance times heat flux", "Before a step that cannot be undone",
        "What carries the doubt", "Gain of other temperatures", "Temperatures with all their doubts",
        "How it was found", "Remarks",
    ]  # fmt: skip


def test_what_the_terminal_says() -> None:
    text = printed(comparison())
    lines = [" ".join(line.split()) for line in text.splitlines()]
    assert lines[1:4] == ["thicker lid", "Worth it: the gain is so much.", "no film <at> all"]
    assert lines[4] == "Undecided: the gain is so much."  # what to measure next is said once, further down
    assert text.count("Measure big.power_W next") == 1
    assert "thicker lid 4.3 2.9 to 5.6 70 % +- 0.02 55.73 beyond it" in lines
    assert "no film <at> all 0.4 -0.6 to 1.3 20 % +- 0.02 59.60 within it" in lines
    assert "big.power_W 75 % shared 9 +- 1 W, assumed +0.25" in lines
    assert "lid.thickness_mm 25 % of the option 3 +- 0.1 mm, measured -0.2" in lines
    assert "hottest spot 60.00 +- 0.03 -1.9 +2.3 58 to 62" in lines
    assert "warmest reading 55.73 +- 0.04 -5.8 +no end 49 to no end" in lines
    assert "WARNING: mind this" in lines and "the first remark" in lines
    assert lines.index("Read first") < lines.index("WARNING: mind this") < lines.index("Measure next")
    assert any("Opening a package cannot be undone." in line for line in lines)
    assert any(line.startswith("Taken as exact, for no tolerance is given: ") for line in lines)
    assert re.search(r"; and \d+ more\.", " ".join(lines))


def test_disagreement_of_the_ways_is_read_first() -> None:
    one = option(1, "thicker lid", gain(WARMEST, 4.0, 3.0, 5.0), "worth it", ways="Sensitivities and samples disagree.")
    blocks = {block.title: block for block in comparison_blocks(comparison(one))}
    assert "thicker lid: Sensitivities and samples disagree." in blocks["Read first"].notes
    assert not any("the same interval" in note for note in blocks["How it was found"].notes)


def test_no_caution_where_nothing_is_opened() -> None:
    base = base_and_options()[0]
    one = replace(option(1, "faster fans", gain(WARMEST, 1.5, 1.2, 1.8), "worth it"), case=base.case, prediction=base)
    assert not any("undone" in block.title for block in comparison_blocks(comparison(one)))
    refused = option(
        1, "gallium on aluminium", gain(WARMEST, 4.0, 3.0, 5.0), "not to be had", cautions=("it crumbles",)
    )
    (block,) = [block for block in comparison_blocks(comparison(refused)) if "undone" in block.title]
    assert block.lines == ("gallium on aluminium: it crumbles",)


def test_without_readings_scatter_and_worth() -> None:
    one = option(1, "thicker lid", gain(HOTTEST, 1.5, 1.2, 1.8), "worth it", gains=(), contributions=())
    found = comparison(one, worth_K=None, one_mount_K=None, remarks=())
    text = " ".join(printed(found).split())
    assert "Gain of the hottest spot, 60.00 C in the base" in text
    assert "give `worth_K`" in text and "give `one_mount_K`" in text
    assert "What carries the doubt" not in text
    assert set(report_page.pictures(found)) == {"gains.png", "ladders.png"}
    assert "the intervals hold the mesh doubt alone" in report_page.html(found, report_page.pictures(found))


def test_many_options_stay_readable_on_a_narrow_terminal() -> None:
    names = [f"option {number} with a name that is far too long for any table on a terminal" for number in range(8)]
    found = comparison(
        *(
            option(1 + number % 2, name, gain(WARMEST, number - 4.0, number - 5.0, number - 3.0), "undecided")
            for number, name in enumerate(names)
        )
    )
    text = printed(found, width=80)
    assert max(map(len, text.splitlines())) <= 80
    for name in names:
        assert name in " ".join(text.split())


def test_notebook_escapes_names() -> None:
    assert "no film &lt;at&gt; all" in comparison()._repr_html_()
    assert "<at>" not in comparison()._repr_html_()


# ---- the document -----------------------------------------------------------------------------------------------


def paths(value: object, path: str = "") -> set[str]:
    """Every key of a document, `options[].gain_K`; what a prediction holds is left to its own test."""
    found: set[str] = set()
    if isinstance(value, dict):
        for key, item in value.items():
            found |= {f"{path}{key}"} | (paths(item, f"{path}{key}.") if key != "prediction" else set())
    elif isinstance(value, list):
        for item in value:
            found |= paths(item, f"{path.removesuffix('.')}[].")
    return found


def test_document_extends_that_of_the_base() -> None:
    found = comparison()
    made = document(found)
    own = result(found.base)
    assert {key: made[key] for key in own} == own
    first = made["options"][0]
    assert (first["option"], first["verdict"], first["within_scatter"]) == ("thicker lid", "worth it", False)
    assert (first["gain_K"]["value"], first["gain_K"]["low"], first["gain_K"]["high"]) == (4.27, 2.91, 5.58)
    assert first["gain_K"]["mesh_doubt"] == 0.02
    assert first["prediction"] == result(found.options[0].prediction)
    assert [one["held_by"] for one in first["contributions"]] == ["both", "option"]
    assert made["options"][1]["next_measurement"]["input"] == BOTH
    assert first["next_measurement"] is None


def test_every_key_is_explained() -> None:
    nested = r"(gains\[\]\.gain_K)\..+"  # explained with the gain of the headline
    added = {key for key in paths(document(comparison())) if not re.search(nested, key)}
    assert added - set(KEYS) == set(COMPARE_KEYS)


def test_document_is_strict_json_even_with_numbers_that_do_not_exist() -> None:
    one = option(1, "thicker lid", gain(WARMEST, nan, -inf, inf), "undecided")
    text = as_json(document(comparison(one)))
    assert json.loads(text)["options"][0]["gain_K"]["high"] is None


# ---- pictures ---------------------------------------------------------------------------------------------------


def words_of(figure: Any) -> list[str]:
    from matplotlib.text import Text

    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def outside(figure: Any) -> list[str]:
    """Words that run over the edge of a figure."""
    from matplotlib.text import Text

    figure.canvas.draw()
    page = figure.bbox
    found = []
    for text in figure.findobj(Text):
        if text.get_text() and text.get_visible():
            box = text.get_window_extent()
            inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
            found += [] if inside else [text.get_text()]
    return found


def many() -> Comparison:
    name = "an option with quite a long name, as people give them who have tried too many things already"
    values = [(5.9, 4.2, 7.7), (0.0, 0.0, 0.0), (-7.2, -7.4, -6.9), (0.03, 0.02, 0.04), (3.0, -14.0, 22.0)]
    return comparison(
        *(
            option(1 + number % 2, f"{name} {number}", gain(WARMEST, *value), "undecided")
            for number, value in enumerate(values)
        )
    )


@pytest.mark.parametrize("draw", [gains, shares, ladders])
@pytest.mark.parametrize("make", [comparison, many])
def test_words_of_pictures_stay_inside(draw: Any, make: Any) -> None:
    assert outside(draw(make())) == []


def test_gains_are_told_in_words_beside_the_bars() -> None:
    said = words_of(gains(comparison()))
    for words in ("4.3 K (2.9 to 5.6)", "worth it", "0.4 K (-0.6 to 1.3)", "undecided", "worth it: 1 K"):
        assert words in said
    assert any("9 of 10" in words for words in said)
    assert any("two mounts of the same differ by up to 2.1 K" in words for words in said)


def test_bars_are_as_long_as_the_gains() -> None:
    (ax,) = gains(comparison()).axes
    lengths = [patch.get_width() for patch in ax.patches if patch.get_height() == pytest.approx(0.5)]
    assert lengths == [4.27, 0.4]


def test_shares_add_up_and_the_rest_is_told() -> None:
    small = [Contribution(f"input {number}", "both", 1.0, "", 0.1, None, 0.1, 0.08) for number in range(10)]
    one = option(1, "thicker lid", gain(WARMEST, 4.0, 3.0, 5.0), "worth it", contributions=tuple(small))
    (ax,) = shares(comparison(one)).axes
    lengths = [patch.get_width() for patch in ax.patches]
    assert lengths == pytest.approx([8.0] * 6 + [32.0, 20.0])
    assert [label.get_text() for label in ax.get_yticklabels()][-2:] == ["all other inputs", "the grids"]


@pytest.mark.parametrize(
    ("share", "told"), [(0.634, "63 %"), (0.012, "1 %"), (0.0071, "1 %"), (0.0052, "1 %"), (0.0031, "under 1 %")]
)
def test_a_share_is_told_alike_in_picture_and_tables(share: float, told: str) -> None:
    assert compare_words.share_words(share) == told
    if share < compare_words.SEEN:  # nobody is shown it
        return
    inputs = (Contribution("big.power_W", "both", 9.0, "W", 1.0, "assumed", 0.1, share),)
    one = option(1, "thicker lid", gain(WARMEST, 4.0, 3.0, 5.0), "worth it", contributions=inputs)
    found = comparison(one)
    (row,) = (line.split() for line in printed(found).splitlines() if line.split()[:1] == ["big.power_W"])
    ((cells,),) = ([row for row in table.rows if row[0] == "big.power_W"] for table in contributions(found))
    drawn = words_of(shares(found))
    assert " ".join(row[1:3]) == told and told in cells and told in drawn


def test_rungs_of_all_ladders_stand_in_the_order_of_the_way() -> None:
    found = comparison()
    columns = [(name, made.ladder) for name, made in compare_words.predictions(found)]
    rows = items(columns)
    assert rows == list(dict.fromkeys(rows))
    for _, ladder in columns:
        assert ladder is not None
        places = [rows.index(rung.item) for rung in ladder.rungs]
        assert places == sorted(places)
    assert "film" in rows  # the second option has none
    said = words_of(ladders(found))
    total = sum(rung.drop_K for rung in columns[2][1].rungs)  # type: ignore[union-attr]
    assert f"{total:.2f}" in said


def test_table_and_verdict_round_alike() -> None:
    """An end that would fall on zero, on what is worth it or on the scatter takes another decimal in both."""
    for low, value, high in ((3.02, 3.6, 8.1), (-0.3, 3.6, 8.1), (0.4, 3.6, 8.1), (1.9, 3.6, 8.1), (2.6, 3.6, 8.1)):
        words = verdict(value, low, high, worth_K=3.0, one_mount_K=2.0 / 1.959964, probability=0.8).words
        marks = 3.0, 2.0 * 2.0**0.5
        one = gain(WARMEST, value, low, high)
        ends = compare_words.interval_words(one, *marks).replace(" to ", " and ")
        assert f"the gain is {compare_words.value_words(one, *marks)} K, 9 times in 10 between {ends} K" in words

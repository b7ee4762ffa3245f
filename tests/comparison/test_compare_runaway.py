"""Comparisons whose tolerances reach into thermal runaway: the gain of the rest, beside how many have no answer."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from coarse_grids import begin_coarsely
from stacks import case_of, film, part

from thermsim.case.inputs.spread import Spread, table
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.compare import SEED, compare, identity, lost_of
from thermsim.comparison.decision import Lost, verdict
from thermsim.comparison.outcome import Comparison
from thermsim.comparison.tolerances import Samples
from thermsim.errors import RunawayError, ThermsimError
from thermsim.report.data.compare_result import csv_lines, document
from thermsim.report.files import compare_export
from thermsim.report.text.compare_table import comparison_blocks
from thermsim.run.journal import Journal

pytestmark = pytest.mark.filterwarnings("error")

WATTS, AREA_mm2, PER_K, FLUID_C = 60.0, 400.0, 0.0246, 20.0
FILM, FILM_DOUBT = 8000.0, 6000.0
CHIP, LID, OLD, NEW = 0.7e3 / 120.0, 2.0e3 / 390.0, 12.0, 4.0  # mm2K/W
SAMPLES, WORTH_K = 256, 4.0


def slab(film_doubt: float = FILM_DOUBT, **more: Any) -> Case:
    """Heat with a linear leakage in a stack of one outline: temperatures along a straight line, runaway included."""
    layers = [
        part("chip", 20.0, 0.7, 120.0),
        {"joint": "between", "resistance_mm2K_W": OLD},
        part("lid", 20.0, 2.0, 390.0),
    ]
    leakage = {"per_K": PER_K, "at_C": FLUID_C}
    heat = [{"in": "chip", "leakage": leakage, "zones": [{"zone": "all", "power_W": WATTS}]}]
    cooling = [film("top", 0, FLUID_C) | {"film_W_m2K": {"value": FILM, "plus_minus": film_doubt}}]
    options = [{"option": "new", "changes": {"between.resistance_mm2K_W": NEW}}]
    readings = [{"reading": "C", "zone": "all"}]
    return case_of(
        layers, heat, cooling, readings=readings, options=options, accuracy_K=0.5, dimensions=2, depth_mm=20.0, **more
    )


def rise(joint: float, films: np.ndarray) -> np.ndarray:
    """P R / (1 - P a R) for resistances in series, R from the heated face to the fluid [K]; NaN from P a R = 1 on."""
    loop = WATTS * (CHIP + joint + LID + 1e6 / films) / AREA_mm2
    return np.where(PER_K * loop < 1.0, loop / np.maximum(1.0 - PER_K * loop, 1e-9), np.nan)


def weakest(joint: float) -> float:
    """Film with which P a R = 1 [W/m2K]: with less of it there is no steady state."""
    return 1e6 / (AREA_mm2 / (WATTS * PER_K) - CHIP - joint - LID)


def lost_of_all(joint: float, film_doubt: float = FILM_DOUBT) -> int:
    """Of the samples of films between FILM -+ film_doubt, those too weak for a steady state."""
    return int(np.sum(table([Spread(FILM, film_doubt)], SAMPLES, SEED)[:, 0] <= weakest(joint)))


FEW_LOST = (FILM - weakest(OLD)) / (1.0 - 2.0 * 0.02)  # a tolerance with two samples in a hundred beyond the limit


@pytest.fixture(scope="module", autouse=True)
def coarse() -> Iterator[None]:
    """A straight line of temperatures is the same on any grid."""
    with pytest.MonkeyPatch.context() as patch:
        begin_coarsely(patch, 400, 400)
        yield


@pytest.fixture(scope="module")
def found() -> Comparison:
    return compare(slab(FEW_LOST, worth_K=WORTH_K), samples=SAMPLES)


def test_a_few_samples_without_a_steady_state_cost_nothing(found: Comparison) -> None:
    """Two samples in a hundred are beyond the limit: the gain is told of all others."""
    one = found.options[0]
    assert one.lost == Lost(SAMPLES, lost_of_all(OLD, FEW_LOST), lost_of_all(NEW, FEW_LOST), one.lost.base)
    assert one.lost.base == 3 and len(one.samples) == SAMPLES - one.lost.either
    assert any(f"in {one.lost.either} of {SAMPLES} samples" in remark for remark in found.remarks)


@pytest.mark.slow
def test_gain_of_the_rest_where_a_sixth_has_no_steady_state() -> None:
    """Both against the closed form of resistances in series with a linear leakage (any heat transfer textbook)."""
    one = compare(slab(worth_K=WORTH_K), samples=SAMPLES).options[0]
    assert one.lost.base == pytest.approx(lost_of_all(OLD), abs=1)
    assert one.lost.option == pytest.approx(lost_of_all(NEW), abs=1)
    assert one.lost.base > one.lost.option > 0.1 * SAMPLES
    for told in (one.headline.base, one.headline.option):  # no end can be told of what more than 1 in 20 have not
        assert told.inputs is not None and told.inputs.high == told.inputs.both_high == np.inf
        assert told.inputs.low < told.value_C
    films = np.linspace(FILM - FILM_DOUBT, FILM + FILM_DOUBT, 200_001)
    gains = rise(OLD, films) - rise(NEW, films)
    low, high = np.nanquantile(gains, [0.05, 0.95])
    assert one.headline.interval.low == pytest.approx(low, abs=0.05)
    # Beside its pole the gain grows without end: a hundredth of probability, two or three samples, is a fifth there.
    assert one.headline.interval.high == pytest.approx(high, rel=0.25)
    assert one.headline.probability == pytest.approx(np.mean(gains[np.isfinite(gains)] > WORTH_K), abs=0.02)
    assert len(one.samples) == SAMPLES - one.lost.either and np.isfinite(one.samples).all()
    assert sum(each.share for each in one.contributions) == pytest.approx(1.0, abs=0.01)


def test_terminal_page_and_files_tell_the_same(found: Comparison, tmp_path: Path) -> None:
    one = found.options[0]
    sentence = one.lost.words
    assert sentence.startswith(f"In {round(100 * one.lost.either / SAMPLES)} of 100 samples of the tolerances there is")
    assert sentence in one.words
    compare_export.write(found, tmp_path / "out")
    told = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))["options"][0]
    lost = {"base": one.lost.base, "option": one.lost.option, "either": one.lost.either}
    assert told["no_steady_state"] == lost
    assert told["verdict_in_words"] == one.words
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert sentence in page
    terminal = "\n".join(words for block in comparison_blocks(found) for words in (*block.lines, *block.notes))
    assert sentence in terminal
    with (tmp_path / "out" / "gains.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["no_steady_state"] for row in rows} == {str(one.lost.either)}
    assert "nan" not in json.dumps(document(found)).lower().replace("nano", "")
    assert len(list(csv_lines(found))) == len(rows) + 1


def test_a_journal_gives_the_same_result(found: Comparison, tmp_path: Path) -> None:
    """Samples without a steady state are kept like any other: what is gone on with tells the same."""
    case = slab(FEW_LOST, worth_K=WORTH_K)
    study = identity(case, samples=SAMPLES)
    for resume in (False, True):
        with Journal.open(tmp_path, study, resume=resume) as journal:
            again = compare(case, samples=SAMPLES, journal=journal)
        assert again.options[0].headline == found.options[0].headline
        assert again.options[0].lost == found.options[0].lost
        assert again.options[0].words == found.options[0].words


def test_most_samples_without_a_steady_state_are_refused() -> None:
    """A gain of the rest would be one of exceptions."""
    deviation = np.zeros((4, 2, 1))
    deviation[:3, 1] = np.nan
    nothing = np.zeros((2, 1))
    taken = Samples((), np.zeros((4, 0)), deviation, nothing, nothing, nothing[None], 1, (), np.zeros((4, 2), bool), "")
    with pytest.raises(RunawayError, match="new: 3 of 4 samples have no steady state"):
        lost_of(taken, 1, "new")


def test_samples_refused_for_another_reason_are_not_told_as_runaway() -> None:
    """One of four is lost by runaway, one refused; with three refused there is no gain, and why is said."""
    deviation = np.zeros((4, 2, 1))
    deviation[:2, 1] = np.nan
    nothing, refused = np.zeros((2, 1)), np.zeros((4, 2), bool)
    refused[1, 1] = True
    taken = Samples((), np.zeros((4, 0)), deviation, nothing, nothing, nothing[None], 1, (), refused, "too much power")
    assert lost_of(taken, 1, "new") == Lost(4, 0, 1, 1)
    deviation[:3, 1], refused[:3, 1] = np.nan, True
    with pytest.raises(ThermsimError, match=r"new: 3 of 4 samples .* another reason .* too much power") as error:
        lost_of(taken, 1, "new")
    assert not isinstance(error.value, RunawayError)


@pytest.mark.slow
def test_a_warning_tells_refused_samples_once_and_as_what_they_are() -> None:
    """Normal shares reach beyond their half widths: a file may hold what a sample far out cannot."""
    zones = [
        {
            "zone": "a",
            "corner_mm": [0],
            "size_mm": [10],
            "share": {"value": 0.9, "plus_minus": 0.05, "shape": "normal"},
        },
        {
            "zone": "b",
            "corner_mm": [10],
            "size_mm": [5],
            "power_W": {"value": 2.5, "plus_minus": 0.4, "shape": "normal"},
        },
    ]
    case = case_of(
        [part("chip", 20.0, 0.7, 120.0), {"joint": "between", "resistance_mm2K_W": OLD}, part("lid", 20.0, 2.0, 390.0)],
        [{"in": "chip", "power_W": WATTS, "zones": zones}],
        [film("top", FILM, FLUID_C)],
        readings=[{"reading": "A", "zone": "a"}],
        options=[{"option": "new", "changes": {"between.resistance_mm2K_W": NEW}}],
        accuracy_K=5.0, worth_K=WORTH_K, dimensions=2, depth_mm=20.0,
    )  # fmt: skip
    found = compare(case, samples=SAMPLES)
    assert found.options[0].lost == Lost(SAMPLES, 0, 0, 0)
    (told,) = (one for one in found.remarks if "no answer" in one or "runaway" in one)
    assert "another reason than thermal runaway" in told and "are more than all of its 60 W" in told
    assert told.count("heat in 'chip'") == 1


def test_an_option_that_may_run_away_is_not_worth_it() -> None:
    """More than one in twenty samples lost by the option alone, or by the base alone, leave no sure verdict."""
    sure = verdict(5.0, 4.0, 6.0, worth_K=1.0, probability=1.0, lost=Lost(1000, 40, 80, 80))
    assert sure.kind == "worth it" and "In 8 of 100 samples" in sure.words
    risky = verdict(5.0, 4.0, 6.0, worth_K=1.0, probability=1.0, lost=Lost(1000, 10, 80, 80))
    assert risky.kind == "undecided" and "with the option alone" in risky.words
    rescue = verdict(0.5, 0.4, 0.6, worth_K=1.0, probability=0.0, lost=Lost(1000, 170, 0, 170))
    assert rescue.kind == "undecided" and "in the base alone" in rescue.words
    plain = verdict(0.5, 0.4, 0.6, worth_K=1.0, probability=0.0, lost=Lost(1000, 0, 0, 0))
    assert plain == verdict(0.5, 0.4, 0.6, worth_K=1.0, probability=0.0)

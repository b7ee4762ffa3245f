"""What a comparison tells of drawn cases: a gain is the difference of two predictions, and its interval holds as often
as told the gains of full solves where the tolerances are drawn anew."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from drawn_cases import ACCURACY_K, FIRST_CELLS
from generated import as_text, drawn, rows, write_tables
from stacks import solve_on

from thermsim.case.inputs.values import with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.commands.main import commands
from thermsim.comparison import compare as comparing
from thermsim.comparison.compare import compare
from thermsim.comparison.outcome import Comparison
from thermsim.errors import RunawayError, ThermsimError
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.model.grid.topology import alike
from thermsim.nearby.uncertain_inputs import sample_of, variables
from thermsim.readout.answers import answers
from thermsim.readout.observable import WARMEST, Observable
from thermsim.report.data.compare_result import document

SEED = 20_341
SAMPLES, POINTS = 64, 10  # fewer samples than a comparison takes by itself: what chance leaves of its ends is told
COVERAGE = 0.6  # that so few samples can tell
LEAST_OF_ONE = 2  # of ten points that lie inside six times in ten: one or none does in 2 of 1000 cases
COMPARED = 16
WITH_BOTH = [n for n, row in enumerate(rows()[0]) if row["option"] != "none" and row["tolerance"] != "none"]
# In the fast tests is one whose tolerances are those of sensors, so that its samples need no solves.
FAST = next(n for n in WITH_BOTH if rows()[0][n]["tolerance"] == "sensors" and rows()[0][n]["dimensions"] == "slice")
CASES = [FAST, *(pytest.param(n, marks=pytest.mark.slow) for n in WITH_BOTH[:COMPARED] if n != FAST)]
inside: dict[int, list[bool]] = {}  # of each case that was compared, whether points lie in the interval


@pytest.fixture(autouse=True, scope="module")
def cheap() -> Iterator[None]:
    """Mesh studies begin on grids as coarse as outlines allow, and few samples are taken."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(predict.__kwdefaults__, "first_cells", FIRST_CELLS)
        patch.setattr(comparing, "_count", int)
        yield


@pytest.fixture(scope="module", params=CASES)
def found(request: pytest.FixtureRequest) -> tuple[int, Comparison]:
    return request.param, compared(request.param)


def compared(number: int) -> Comparison:
    try:
        return compare(drawn(number).case, accuracy_K=ACCURACY_K, coverage=COVERAGE, samples=SAMPLES, seed=SEED)
    except RunawayError as error:
        pytest.skip(f"told: {error}")


def answer(base: Prediction, case: Case, question: Observable) -> float:
    """On the coarsest grid of a prediction, stretched."""
    grid = alike(base.plan, base.case, case).grid(base.steps[0].multiplier)
    told = answers(case, solve_on(case, grid))
    if question == WARMEST:
        return max(value for asked, value in told.items() if asked.kind == "reading")
    return told[question]


def test_intervals_hold_full_solves(found: tuple[int, Comparison]) -> None:
    """By what a solve differs from that with the numbers of the case, on one grid: its error is in the mesh doubt."""
    number, one = found
    rng = np.random.default_rng((SEED, number))
    for option in one.options:
        cases = (one.case, option.case)
        varied = variables(cases, ("base", option.option))
        question, told, within = option.headline.question, option.headline.interval, []
        nominal, other = (answer(one.base, case, question) for case in cases)
        off = option.headline.value_K - (nominal - other)
        for _ in range(POINTS):
            try:
                values = [float(each.spread.quantile(np.array([rng.random()]))[0]) for each in varied]
                drawn_cases = [
                    with_inputs(case, sample) for case, sample in zip(cases, sample_of(varied, values), strict=True)
                ]
                base, other = (answer(one.base, case, question) for case in drawn_cases)
            except ThermsimError:
                continue  # thermal runaway, which is told by itself
            more = 3.0 * told.error_K + 1e-4
            within.append(told.low - more <= base - other + off <= told.high + more)
        inside.setdefault(number, []).extend(within)
        assert sum(within) >= len(within) - (POINTS - LEAST_OF_ONE), (option.option, told)


def test_a_gain_is_the_difference_of_two_predictions(found: tuple[int, Comparison]) -> None:
    """Each on grids of its own, the base less the option, in kelvins; the document has the same numbers."""
    number, one = found
    whole = drawn(number).case
    told = {option["option"]: option for option in document(one)["options"]}
    for option in one.options:
        made = predict(with_option(whole, option.option), accuracy_K=ACCURACY_K)
        for gain, row in zip(option.gains, told[option.option]["gains"], strict=True):
            known = [row["gain_K"][key] for key in ("value", "low", "high", "mesh_doubt")]
            assert known == [gain.value_K, gain.interval.low, gain.interval.high, gain.mesh.half_width]
            assert gain.interval.low <= gain.value_K <= gain.interval.high
            if gain.question == WARMEST:
                continue
            first, second = one.base.doubts[gain.question], made.doubts[gain.question]
            doubt = first.half_width + second.half_width + gain.mesh.half_width
            assert gain.value_K == pytest.approx(first.value - second.value, abs=doubt + 1e-6), str(gain.question)
        assert told[option.option]["gain_K"]["value"] == option.headline.value_K


@pytest.mark.slow
def test_intervals_of_all_cases_hold_as_often_as_told() -> None:
    """Of all points together, within what chance leaves of so many (three standard deviations)."""
    points = [point for one in inside.values() for point in one]
    if len(points) < 20 * POINTS:
        pytest.skip("few cases were compared")
    least = COVERAGE - 3.0 * (COVERAGE * (1.0 - COVERAGE) / len(points)) ** 0.5
    assert sum(points) >= least * len(points)


@pytest.mark.slow
def test_the_command_tells_the_same_gains(tmp_path: Path) -> None:
    one = drawn(FAST)
    write_tables(one.tables, tmp_path)
    (tmp_path / "case.yaml").write_text(as_text(one.whole))
    asked = [
        "--json",
        "--accuracy",
        str(ACCURACY_K),
        "--samples",
        str(SAMPLES),
        "--coverage",
        str(COVERAGE),
        "--seed",
        str(SEED),
        "--workers",
        "1",
    ]
    run = CliRunner().invoke(commands, ["compare", str(tmp_path / "case.yaml"), *asked])
    assert run.exit_code == 0, run.output
    there, here = json.loads(run.stdout), json.loads(json.dumps(document(compared(FAST))))
    assert [option["gains"] for option in there["options"]] == [option["gains"] for option in here["options"]]

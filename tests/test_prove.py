"""The proof itself: its table agrees with what the sources print, it tells a miss, and its page stands alone."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from thermsim.case.load import read_case
from thermsim.cli import commands
from thermsim.errors import ThermsimError
from thermsim.proof import closed
from thermsim.proof.control import control
from thermsim.proof.document import document
from thermsim.proof.honesty import Honesty, covered, draw, judge, widths
from thermsim.proof.published import Line, Proof, lines_of, observed_order, prove
from thermsim.proof.references import CASES
from thermsim.proof.row import value_of
from thermsim.proof.samples import SAMPLES
from thermsim.proof.shipped import cases_folder
from thermsim.report.proof_page import write
from thermsim.report.proof_table import table

FOLDER = Path(__file__).parent.parent / "cases"
QUICK = ("Chip, epoxy, aluminium", "Wall between two fluids", "Straight fin on a plate", "Leakage beyond its limit")


@pytest.fixture(scope="module")
def small() -> Proof:
    """A few cases and the control: what tables and pages are tried on."""
    lines = [line for case in CASES if case.title in QUICK for line in lines_of(case, FOLDER)]
    return Proof(tuple(lines), control(FOLDER), 1.0)


def test_the_table_is_large_and_every_row_has_its_source() -> None:
    rows = [row for case in CASES for row in case.rows]
    assert len(rows) + len(SAMPLES) >= 40
    assert all(case.source and (FOLDER / case.file).is_file() for case in CASES)
    assert all(row.within > 0.0 and (row.excellent is None or row.excellent < row.within) for row in rows)
    assert all(sample.source for sample in SAMPLES)


def test_every_published_file_is_used_and_says_its_source() -> None:
    files = {path.name for path in (FOLDER / "published").glob("*.yaml")}
    assert files == {Path(case.file).name for case in CASES if case.file.startswith("published/")}
    for name in files:
        text = (FOLDER / "published" / name).read_text(encoding="utf-8")
        assert "\n# Source: " in text and "\n# Shows: " in text
        assert read_case(FOLDER / "published" / name).title


@pytest.mark.parametrize(
    ("found", "printed"),
    [
        (closed.plate().mean(), 0.262682),
        (closed.plate().centre(), 0.296575),
        (closed.plate(x=15, y=22, size_x=14, film=10_000).mean(), 0.169276),
        (closed.compound.mean(), 0.159262),
        (closed.orthotropic.centre(), 0.576759),
        (closed.mutual(0, 1), 0.0726649),
        (closed.both(0), 23.9959),
        (closed.strip_mean(), 6.77319),
        (closed.device(), 4.043776),
        (closed.leaking_die(), 76.294952),
        (closed.linear_leakage(), 75.120117),
        (closed.silicon(5e6, 0.775e-3, 350, 1.4) + 273.15, 384.723881),
        (closed.on_half_space(1, "mean"), 0.473201004),
        (closed.on_half_space(4, "centre"), 0.49092590),
        (closed.fin_tip(True), 77.387223),
        (closed.rod(398), 8.30955),
        (closed.chip("chip"), 75.306788),
        (closed.square(4, 1, 0.02), 15.6524606),
        (closed.lee_mean(), 0.258379),
    ],
)  # fmt: skip
def test_closed_forms_of_the_table(found: float, printed: float) -> None:
    """Values of the same formulas, summed by other means (mpmath, plain double series), to the digits shown."""
    digits = len(f"{printed}".replace(".", "").lstrip("0"))
    assert found == pytest.approx(printed, rel=10.0 ** (1 - digits))


def test_a_few_cases_hold(small: Proof) -> None:
    assert small.holds
    assert {line.verdict for line in small.lines} == {"excellent", "within"}


def test_the_control_is_of_first_order_and_refused(small: Proof) -> None:
    assert small.control.order == pytest.approx(1.0, abs=0.1)
    assert not small.control.passes
    assert not replace(small, control=replace(small.control, gate=0.9)).holds


def test_a_miss_is_told() -> None:
    """Another reference, a stricter order, an answer where a refusal is due: each is OUTSIDE."""
    chip = next(case for case in CASES if case.title == QUICK[0])
    wrong = replace(chip, rows=(replace(chip.rows[0], reference=value_of(chip.rows[0].reference) + 0.01),))
    assert [line.verdict for line in lines_of(wrong, FOLDER)] == ["OUTSIDE"]
    limit = next(case for case in CASES if case.expects == "runaway")
    answered = replace(limit, option=None)
    line = lines_of(answered, FOLDER)[0]
    assert math.isnan(line.found) and line.verdict == "OUTSIDE"
    wall = next(case for case in CASES if case.title == "Composite wall with generation")
    steep = replace(wall, rows=(replace(wall.rows[-1], order=2.5),))
    assert [line.verdict for line in lines_of(steep, FOLDER)] == ["OUTSIDE"]


def test_order_of_exact_sequences() -> None:
    sizes = (1.0, 0.5, 1 / 3, 0.25)
    assert observed_order(sizes, tuple(3.0 * size**1.7 for size in sizes)) == pytest.approx(1.7, abs=1e-9)
    assert observed_order(sizes, (1.0, 0.5, -0.1, 0.01)) is None
    assert observed_order(sizes[:2], (1.0, 0.5)) is None


def test_page_is_whole_and_alone(small: Proof, tmp_path: Path) -> None:
    """Nothing is fetched, every line stands in it, and the JSON beside it is strict."""
    rng = np.random.default_rng(77)
    error, doubt = rng.uniform(0.1, 1.0, 30), rng.uniform(0.5, 3.0, 30)
    found = document(small, Honesty(10, 9, 77, (error, doubt), (error, doubt), ("stack 3: <none>",), 2.0))
    written = write(found, tmp_path / "proof")
    page = written[0].read_text(encoding="utf-8")
    assert not re.search(r"(src|href)=\"(?!data:)|url\(|<script|@import", page)
    assert all(line.case in page and line.source in page for line in small.lines)
    assert "&lt;none&gt;" in page and "stack 3: <none>" not in page
    assert json.loads((tmp_path / "proof" / "proof.json").read_text(encoding="utf-8"))["holds"] is found["holds"]
    assert (tmp_path / "proof" / "control.svg").is_file() and page.count("<img ") >= 2
    text = "\n".join(table(found))
    assert "OUTSIDE" not in text and "no answer for stack 3" in text


def test_honesty_can_fail() -> None:
    """Doubts that are too narrow, and doubts that are too wide, do not hold."""
    error = np.linspace(0.1, 1.0, 50)
    for doubt, holds in ((2.0 * error, True), (0.5 * error, False), (40.0 * error, False)):
        assert Honesty(1, 1, 7, (error, doubt), (error, doubt), (), 0.0).holds is holds
    assert covered(error, error) == 1.0
    assert widths(error, 3.0 * error) == pytest.approx(3.0)


def test_random_stacks_know_their_highest() -> None:
    """A highest temperature lies above the mean, and no point of a finer raster is hotter."""
    for seed in (9001, 9002):
        stack = draw(np.random.default_rng(seed))
        for question, exact in stack.exact.items():
            assert stack.exact["zone", question[1], "highest"] >= stack.exact["zone", question[1], "mean"] > 0.0
            assert math.isfinite(exact)


def test_cases_are_found_or_their_absence_is_told(tmp_path: Path) -> None:
    assert cases_folder() == FOLDER
    with pytest.raises(ThermsimError, match="--cases"):
        cases_folder(tmp_path)


@pytest.mark.slow
def test_the_whole_proof_holds(tmp_path: Path) -> None:
    """Every row within its tolerance, every finer figure that is asked for met, every mesh doubt holding."""
    proof: Proof = prove(FOLDER)
    missed: list[Line] = [line for line in proof.lines if line.excellent is not None and line.verdict != "excellent"]
    assert proof.holds and not missed
    held = [line.doubt_holds for line in proof.lines if line.doubt_holds is not None]
    assert np.mean(held) >= 0.95
    done = CliRunner().invoke(commands, ["prove", "--out", str(tmp_path / "proof")])
    assert done.exit_code == 0, done.output
    assert "The proof holds" in done.output


@pytest.mark.slow
def test_the_mesh_doubt_is_honest() -> None:
    """60 random stacks on grids up to half a million cells: 95 % covered, and in the median not ten times too wide."""
    found = judge(60, memory_GB=0.13)
    assert found.holds and not found.refused

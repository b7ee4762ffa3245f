"""The proof itself: its table agrees with what the sources print, it tells a miss, and its page stands alone."""

from __future__ import annotations

import io
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from rich.console import Console

from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.commands.main import commands
from thermsim.errors import ThermsimError
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.model.grid.plan import plan_grid
from thermsim.proof.closed_form import reference_solutions as solutions
from thermsim.proof.run import published
from thermsim.proof.run.compared_row import Line, observed_order
from thermsim.proof.run.control import Control, control
from thermsim.proof.run.document import document
from thermsim.proof.run.honesty import Honesty, covered, draw, judge, widths
from thermsim.proof.run.published import Proof, lines_of, prove
from thermsim.proof.run.samples import SAMPLES
from thermsim.proof.table.references import CASES
from thermsim.proof.table.row import BY_HAND, CLOSED_FORM, EXACT, value_of
from thermsim.proof.table.shipped import cases_folder
from thermsim.report.page.proof_page import write
from thermsim.report.text.proof_table import numbers, proof_blocks, summary
from thermsim.report.text.tables import show_blocks

FOLDER = Path(__file__).parents[2] / "cases"
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
        (solutions.plate().mean(), 0.262682),
        (solutions.plate().centre(), 0.296575),
        (solutions.plate(x=15, y=22, size_x=14, film=10_000).mean(), 0.169276),
        (solutions.compound.mean(), 0.159262),
        (solutions.orthotropic.centre(), 0.576759),
        (solutions.mutual(0, 1), 0.0726649),
        (solutions.both(0), 23.9959),
        (solutions.strip_mean(), 6.77319),
        (solutions.device(), 4.043776),
        (solutions.leaking_die(), 76.294952),
        (solutions.linear_leakage(), 75.120117),
        (solutions.silicon(5e6, 0.775e-3, 350, 1.4) + 273.15, 384.723881),
        (solutions.on_half_space(1, "mean"), 0.473201004),
        (solutions.on_half_space(4, "centre"), 0.49092590),
        (solutions.fin_tip(True), 77.387223),
        (solutions.rod(398), 8.30955),
        (solutions.chip("chip"), 75.306788),
        (solutions.square(4, 1, 0.02), 15.6524606),
        (solutions.lee_mean(), 0.258379),
    ],
)  # fmt: skip
def test_closed_forms_of_the_table(found: float, printed: float) -> None:
    """Values of the same formulas, summed by other means (mpmath, plain double series), to the digits shown."""
    digits = len(f"{printed}".replace(".", "").lstrip("0"))
    assert found == pytest.approx(printed, rel=10.0 ** (1 - digits))


def test_a_few_cases_hold(small: Proof) -> None:
    assert small.holds
    assert {line.verdict for line in small.lines} == {"excellent", "within"}


def test_the_control_is_refused_by_the_order_of_the_table(small: Proof) -> None:
    """The false reading is off by -q dz/(2k), k of silicon at its face; the true one shows its second order."""
    found = small.control
    conductivity = 148.0 * (300.0 / 356.475170) ** 1.3  # W/mK at the heated face, Kirchhoff's transform
    assert found.expected[0] == pytest.approx(-1e6 * 3.0126e-5 / (2.0 * conductivity), rel=1e-4)
    np.testing.assert_allclose(found.false.errors, found.expected, rtol=0.001)
    assert found.false.order == pytest.approx(1.0, abs=0.1)
    assert found.true.order == pytest.approx(2.0, abs=0.01) and not found.true.at_round_off
    assert found.true.wanted_order == found.false.wanted_order == 1.9
    assert found.false.verdict == "OUTSIDE" and found.false.misses == ("the error falls too slowly",)
    assert found.true.verdict == "excellent" and found.works and not found.passes


@pytest.mark.parametrize("order", [math.nan, 0.0, -3.0, 0.8, 1.2, None])
def test_a_control_of_another_order_does_not_count_as_refused(small: Proof, order: float | None) -> None:
    found = small.control
    broken = replace(found, false=replace(found.false, order=order))
    assert not broken.works and not replace(small, control=broken).holds


def test_a_control_that_proves_nothing_is_told(small: Proof) -> None:
    """Each of these was let through by a gate that only asks whether the false order is low."""
    found = small.control

    def holds(control: Control) -> bool:
        said = "\n".join(summary(document(replace(small, control=control))))
        assert ("NOT AS IT MUST BE" in said) is not control.works
        return replace(small, control=control).holds

    assert holds(found)
    assert not holds(replace(found, false=replace(found.false, wanted_order=0.9)))
    assert not holds(replace(found, false=replace(found.false, wanted_order=None)))
    assert not holds(replace(found, true=replace(found.true, order=None)))
    assert not holds(replace(found, true=replace(found.true, order=1.02)))
    assert not holds(replace(found, true=replace(found.true, noise=(1.0,) * 4)))
    assert not holds(replace(found, false=replace(found.false, within=0.01)))
    opposite = tuple(-error for error in found.false.errors)
    assert not holds(replace(found, false=replace(found.false, errors=opposite)))
    doubled = tuple(2.0 * error for error in found.false.errors)
    assert not holds(replace(found, false=replace(found.false, errors=doubled)))


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
    assert observed_order((1.0, 0.5, 1 / 3), (2.3e-4, 8.0e-6, 9.5e-7)) is None  # errors that cancel by chance
    errors = tuple(1e-3 * size**2 for size in sizes)
    assert observed_order(sizes, errors, (1e-9,) * 4) == pytest.approx(2.0, abs=1e-9)
    assert observed_order(sizes, errors, (1e-9, 1e-9, 1e-9, 1e-4)) is None
    spoilt = (*errors[:3], 1.3 * errors[3])  # by what the solver left
    weighted = observed_order(sizes, spoilt, (1e-9, 1e-9, 1e-9, 2e-5))
    assert weighted == pytest.approx(2.0, abs=0.05) and observed_order(sizes, spoilt) != pytest.approx(2.0, abs=0.1)


def test_an_order_that_is_asked_must_be_told() -> None:
    """Without one the line is OUTSIDE, unless its errors are what the solver leaves, and then the table says so."""
    slab = next(case for case in CASES if case.title == "Silicon slab, 1 W/mm2")
    line = lines_of(slab, FOLDER)[0]
    assert line.verdict == "excellent" and line.order is not None and line.order >= 1.9
    for order in (None, 1.02, math.nan):
        assert replace(line, order=order).verdict == "OUTSIDE"
    assert replace(line, order=None, errors=(), sizes=()).verdict == "OUTSIDE"
    quiet = replace(line, order=None, errors=(2e-9, -1e-9, 1e-9), noise=(1e-9, 1e-9, 1e-9))
    assert quiet.verdict == "excellent" and quiet.at_round_off
    found = document(Proof((quiet,), control(FOLDER), 1.0))
    assert numbers(found["lines"][0])[6] == "at round-off"


def test_an_accuracy_that_is_not_held_is_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    def hasty(case: Case) -> Prediction:
        return predict(case, accuracy_K=1e-9, plan=plan_grid(case, 1000), grids=3)

    monkeypatch.setattr(published, "predict", hasty)
    wall = next(case for case in CASES if case.title == "Composite wall with generation")
    lines = lines_of(wall, FOLDER)
    assert [line.verdict for line in lines] == ["OUTSIDE"] * 4
    assert all("accuracy" in line.misses[-1] for line in lines)


def test_a_doubt_is_judged_wherever_the_reference_is_exact() -> None:
    """A remark does not take a row out; only what stands between the reference and the very case does."""
    for case in CASES:
        for row in case.rows:
            exact = Line(case.title, case.file, None, case.source, row.known, row.quantity, row.unit, 1.0, 1.0, 0.1,
                         None, doubt=0.1, note=row.note, differs=row.differs)  # fmt: skip
            assert (exact.doubt_holds is True) is (row.known in EXACT and not row.differs)
    noted = [row for case in CASES for row in case.rows if row.note and row.known in EXACT and not row.differs]
    assert noted and all(row.known in (CLOSED_FORM, BY_HAND) for row in noted)


def test_gaps_of_the_block_are_those_that_the_table_says() -> None:
    """The block against a body without end: block series summed apart from the corner formula; gaps in percent."""
    gaps = {(1, "mean"): 0.026, (1, "centre"): 0.011, (1, "corner"): 0.087, (1, "mid-edge"): 0.040,
            (4, "mean"): 0.062, (4, "centre"): 0.026}  # fmt: skip
    for (ratio, place), gap in gaps.items():
        found = 100.0 * (solutions.on_block(ratio, place) / solutions.on_half_space(ratio, place) - 1.0)
        assert round(found, 3) == gap
    said = [row.differs for case in CASES for row in case.rows if "without end" in row.quantity]
    assert said == [f"the block has {gap:g} % more than a body without end" for gap in gaps.values()]


def test_by_hand_and_printed_are_told_apart() -> None:
    """A printed or remembered figure has the digits of a book; what was worked out is called so."""
    for case in CASES:
        for row in case.rows:
            if row.known in ("printed", "from memory"):
                digits = len(f"{value_of(row.reference):.12g}".replace(".", "").lstrip("0"))
                assert digits <= 4 or "0.36679" in case.source, (case.title, row.quantity)


def test_page_is_whole_and_alone(small: Proof, tmp_path: Path) -> None:
    """Nothing is fetched, every line stands in it, and the JSON beside it is strict."""
    rng = np.random.default_rng(77)
    error, doubt = rng.uniform(0.1, 1.0, 30), rng.uniform(0.5, 3.0, 30)
    found = document(small, Honesty(10, 9, 77, (error, doubt), (error, doubt), ("stack 3: <none>",), 2.0))
    written = write(found, tmp_path / "proof")
    page = written[0].read_text(encoding="utf-8")
    assert not re.search(r"(src|href)=\"(?!data:)|url\(|<script|@import", page)
    assert all(line.case in page and line.source in page for line in small.lines)
    kinds = {row.known for case in CASES for row in case.rows} | {sample.known for sample in SAMPLES}
    assert all(f"<i>{kind[0].upper()}{kind[1:]}</i>:" in page for kind in kinds)  # the legend explains every kind
    assert "All quantities but 1 were computed" in page and "the gate can tell the two apart" in page
    assert "&lt;none&gt;" in page and "stack 3: <none>" not in page
    assert json.loads((tmp_path / "proof" / "proof.json").read_text(encoding="utf-8"))["holds"] is found["holds"]
    assert (tmp_path / "proof" / "control.svg").is_file() and page.count("<img ") >= 2
    text = shown(found, 200)
    assert "OUTSIDE" not in text.replace("OUTSIDE (beyond it", "") and "no answer for stack 3" in text


def shown(found: dict[str, Any], width: int) -> str:
    console = Console(file=io.StringIO(), width=width, color_system=None)
    show_blocks(proof_blocks(found), console)
    return console.file.getvalue()  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", [40, 80, 200])
def test_the_table_breaks_in_no_number_and_no_word(small: Proof, width: int) -> None:
    error = np.linspace(0.1, 1.0, 30)
    missed = replace(small.lines[0], found=1e3)
    made = Honesty(10, 9, 77, (error, 2.0 * error), (error, 2.0 * error), ("stack 3: <none>",), 2.0)
    found = document(replace(small, lines=(missed, *small.lines[1:])), made)
    text = shown(found, width)
    assert max(map(len, text.splitlines())) <= width
    words = set(text.split())
    for block in proof_blocks(found):
        told = (block.title, *block.lines, *block.notes, *(cell for row in block.rows for cell in row))
        assert {word for cell in told for word in cell.split() if len(word) < width - 4} <= words
    assert "OUTSIDE, " in text


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
def test_the_whole_proof_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every row within its tolerance, every finer figure met or its miss explained, every mesh doubt holding."""
    made: list[Proof] = []
    monkeypatch.setattr(published, "prove", lambda *given: made.append(prove(*given)) or made[-1])
    done = CliRunner().invoke(commands, ["prove", "--out", str(tmp_path / "proof")])
    assert done.exit_code == 0, done.output
    assert "The proof holds" in done.output
    (proof,) = made
    missed: list[Line] = [line for line in proof.lines if line.excellent is not None and line.verdict != "excellent"]
    assert proof.holds and all(line.note for line in missed)  # the reason stands in the table
    held = [line.doubt_holds for line in proof.lines if line.doubt_holds is not None]
    assert np.mean(held) >= 0.95


@pytest.mark.slow
def test_the_mesh_doubt_is_honest() -> None:
    """60 random stacks on grids up to half a million cells: 95 % covered, and in the median not ten times too wide."""
    found = judge(60, memory_GB=0.13)
    assert found.holds and not found.refused

"""The demo's bench, judged: its story, the same from Python and command line, and its files.

What is hidden in `cases/crooked-film-runs.csv` is known: the film lies askew from 30 to 190 um, which is worth 2.16 K.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from benches import DEMO, FILM, bed, bench, demo
from benches import run as demo_run
from click.testing import CliRunner
from lidded_chip import COLD, chip, run

import thermsim
from thermsim.bench.read_runs import read_runs
from thermsim.bench.runs import BenchSettings, Runs
from thermsim.commands.main import commands
from thermsim.errors import NotComparableError, WriteError
from thermsim.judgement.judge import judge
from thermsim.judgement.next_runs import next_runs
from thermsim.judgement.outcome import Judgement
from thermsim.report.data.judge_result import JUDGE_KEYS, document
from thermsim.report.files.judge_export import OWN, write_judgement

HIDDEN_GAIN_K = 2.16


@pytest.fixture(scope="module")
def found() -> Judgement:
    return judge(demo(), bed=bed())


def test_a_change_of_the_coolant_itself_gets_no_verdict() -> None:
    """Its runs are put to one coolant, so that nothing of it is left to show: no gain of nothing, and no agreement."""
    case, own = chip()
    runs = [run(1), run(2), run(3, COLD, coolant_C=20.0), run(4, COLD, coolant_C=20.0)]
    told = judge(case, Runs("runs.csv", tuple(runs), BenchSettings(one_mount_K=0.8)), bed=own).bought
    assert told is not None
    change = told.of(COLD)
    assert change.kind == "undecided" and "the coolant itself is no part" in change.words
    assert change.predicted is None and change.agreement is None
    assert abs(change.gain.value_K) < change.gain.half_width_K


def test_the_first_opening_disappoints_because_the_film_lies_askew(found: Judgement) -> None:
    assert found.bought is not None
    change = found.bought.of(FILM)
    assert change.kind == "not worth it" and change.agreement == "less than predicted"
    assert change.gain.low_K < HIDDEN_GAIN_K < change.gain.high_K < 3.0
    assert change.predicted is not None and change.predicted.low_K > change.gain.high_K
    assert found.patterns[0].towards == ("+x",)
    assert "a film that is thicker towards +x" in found.patterns[0].words


def test_one_run_is_refused_and_a_warm_one_corrected(found: Judgement) -> None:
    assert [one.run.name for one in found.fates.fates if one.verdict == "not comparable"] == ["r09"]
    assert "fans ran at 2100 instead of 900" in found.fate("r09").why[0]
    warm = found.fate("r01")
    assert warm.verdict == "corrected" and warm.correction_K is not None and warm.correction_K < -0.5
    assert "coolant 1.2 K warmer" in warm.why[0]


def test_a_plan_reads_runs_as_late_as_those_before(found: Judgement) -> None:
    """Those of the demo were read after 12 to 27 min; read after 3, more of the coolant's lag would stay in them."""
    assert {one.on_load_s for one in next_runs(found).runs} == {25 * 60.0}
    assert next_runs(found).runs[0].option == FILM, "which is in place"


def test_one_mount_of_each_leaves_it_open() -> None:
    """The first mounts alone: undecided, and told why."""
    runs = read_runs(demo())
    first = judge(demo(), replace(runs, runs=(runs.runs[0], runs.runs[5])), bed=bed())
    assert first.bought is not None
    change = first.bought.of(FILM)
    assert (change.gain.mounts, change.gain.against) == (1, 1)
    assert change.kind == "undecided"
    assert "One mount is one mount" in change.words
    assert len(next_runs(first).runs) > 1


def test_the_order_of_lines_does_not_matter(found: Judgement) -> None:
    runs = read_runs(demo())
    turned = judge(demo(), replace(runs, runs=runs.runs[::-1]), bed=bed(), predict=False)
    assert turned.bought is not None and found.bought is not None
    forth, back = found.bought.changes[0], turned.bought.changes[0]
    assert (back.option, back.against) == (forth.option, forth.against)
    assert back.gain.value_K == pytest.approx(forth.gain.value_K, abs=1e-9)
    assert back.words == forth.words


def test_what_a_comparison_predicts_is_near_what_is_told_beside_it(found: Judgement) -> None:
    """The mean of the readings on a finer grid: within what the coarse one is allowed."""
    assert found.bought is not None
    predicted = found.bought.changes[0].predicted
    assert predicted is not None
    assert predicted.value_K == pytest.approx(5.67, rel=0.05)  # at three times the cells along each edge
    assert 3.5 < predicted.low_K < 4.6 < 6.9 < predicted.high_K < 8.0  # `compare` tells 4.2 to 7.7 of the hottest spot


def test_the_page_tells_what_is_told_now(found: Judgement) -> None:
    assert found.bought is not None
    page = " ".join(Path("docs/how-to/judge.md").read_text(encoding="utf-8").split())
    change = found.bought.changes[0]
    for words in (change.words, change.agreement_words, found.patterns[0].words):
        assert " ".join((words or "").split()) in page


def test_the_same_from_the_command_line(found: Judgement) -> None:
    told = CliRunner().invoke(commands, ["judge", DEMO, "--json"])
    assert told.exit_code == 0, told.output
    assert json.loads(told.stdout)["gains"][0]["gain_K"] == pytest.approx(
        document(found)["gains"][0]["gain_K"], abs=0.01
    )
    assert [one["verdict"] for one in json.loads(told.stdout)["runs"]] == [one.verdict for one in found.fates.fates]


def test_every_key_is_explained(found: Judgement) -> None:
    told = document(found)
    assert {key for key in JUDGE_KEYS if "." not in key} == set(told)
    for name in ("runs", "gains"):
        keys = {key.partition("[].")[2] for key in JUDGE_KEYS if key.startswith(f"{name}[].")}
        assert {key for key in keys if "." not in key} == set(told[name][0])
    assert {key.partition(".")[2] for key in JUDGE_KEYS if key.startswith("put_to.")} == set(told["put_to"])
    pattern = {key.rpartition(".")[2] for key in JUDGE_KEYS if key.startswith("gains[].pattern.")}
    assert pattern == set(told["gains"][0]["pattern"])


def test_it_prints_itself(found: Judgement) -> None:
    text = str(found)
    for words in ("Not worth it", "r09", "not comparable", "How many mounts settle it", "thicker towards +x"):
        assert words in text


def test_all_files_or_none(found: Judgement, tmp_path: Path) -> None:
    written = write_judgement(found, tmp_path / "out")
    assert set(OWN) <= {path.name for path in written}
    page = (tmp_path / "out" / "judgement.html").read_text(encoding="utf-8")
    assert page.count("data:image/svg+xml") == 3 and "http" not in page.replace("http://www.w3.org", "")
    other = replace(found, runs=replace(found.runs, source="others.csv"))
    with pytest.raises(WriteError, match="another judgement"):
        write_judgement(other, tmp_path / "out")


def test_nothing_comparable_has_its_own_exit_code(tmp_path: Path) -> None:
    """Every run is still told with its fate."""
    text = Path(DEMO).read_text(encoding="utf-8").replace("crooked-film-runs.csv", "runs.csv")
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    lines = Path("cases/crooked-film-runs.csv").read_text(encoding="utf-8").splitlines()
    head = [line for line in lines if line.startswith(("#", "run,", "r09"))]
    (tmp_path / "runs.csv").write_text("\n".join(head) + "\n", encoding="utf-8")
    told = CliRunner().invoke(commands, ["judge", str(tmp_path / "case.yaml"), "--json"])
    assert isinstance(told.exception, NotComparableError) and told.exception.exit_code == 14
    assert json.loads(told.stdout)["runs"][0]["verdict"] == "not comparable"


def test_a_plan_is_a_table_that_is_read_again(found: Judgement, tmp_path: Path) -> None:
    text = Path(DEMO).read_text(encoding="utf-8").replace("crooked-film-runs.csv", "next.csv")
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "next.csv").write_text(next_runs(found, 2).csv, encoding="utf-8")
    planned = read_runs(thermsim.read_case(tmp_path / "case.yaml"))
    assert [run.option for run in planned.runs] == [FILM, FILM, None, None]
    assert all(not run.readings for run in planned.runs)
    nothing = judge(demo(), planned, bed=bed())
    assert nothing.bought is None and {one.verdict for one in nothing.fates.fates} == {"to be made"}


def test_a_chain_is_told_step_by_step() -> None:
    """As in the file, the film, the thinner die: every pair, and which are steps."""
    thin = "thinner die, same height"
    runs = [
        demo_run(f"r{n:02d}", option, str(n)) for n, option in enumerate([None, None, FILM, FILM, thin, thin], start=1)
    ]
    told = judge(demo(), bench(*runs), bed=bed(), predict=False)
    assert told.bought is not None
    assert [(one.option, one.against) for one in told.bought.changes] == [(FILM, None), (thin, None), (thin, FILM)]
    assert [(one.option, one.against) for one in told.bought.steps] == [(FILM, None), (thin, FILM)]
    first, _, last = (one.gain.value_K for one in told.bought.changes)
    assert first == pytest.approx(5.75, abs=0.1) and last == pytest.approx(1.85 - 5.75, abs=0.1)


def test_patterns_of_even_changes_do_not_lean() -> None:
    rng = np.random.default_rng(73)
    runs = []
    for number in range(1, 7):
        option = None if number < 4 else FILM
        offsets = {f"C{core}": float(rng.normal(0.0, 0.4)) for core in range(8)}
        runs.append(demo_run(f"r{number:02d}", option, str(number), offsets=offsets))
    told = judge(demo(), bench(*runs), bed=bed(), predict=False)
    assert told.patterns[0].towards == ()
    assert "does not lean" in told.patterns[0].words

"""Tasks handed out to processes: equal bits on every way, and what happens to processes and tasks that fail.

Expected numbers come from plain Python floats (IEEE 754), see study_tasks.
"""

from __future__ import annotations

import functools
import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import psutil
import pytest
import study_tasks
from study_tasks import IDENTITY, done_in, make, make_troubled, plain, tasks

import thermsim
from thermsim.errors import (
    CaseError,
    Fault,
    InterruptedStudyError,
    MemoryLimitError,
    NotConvergedError,
    ThermsimError,
    WorkersError,
)
from thermsim.run import run_tasks
from thermsim.run.executor import chunk_size
from thermsim.run.journal import Journal
from thermsim.run.run_tasks import progress_line, run
from thermsim.run.tasks import Failure, Solved, Task
from thermsim.solver.multigrid.threads import available, use_threads


def bits(results: list[Any]) -> list[bytes]:
    return [np.asarray(result).tobytes() for result in results]


def plain_bits(count: int) -> list[bytes]:
    return bits([plain(number) for number in range(count)])


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_results_stand_in_the_order_of_tasks_and_do_not_depend_on_workers(workers: int) -> None:
    asked = tasks(40)[::-1]
    assert bits(run(make, asked, workers=workers)) == plain_bits(40)[::-1]


def test_no_tasks_start_nothing() -> None:
    assert run(study_tasks.cannot_make, []) == []


@pytest.mark.parametrize("workers", [1, 2])
def test_every_kind_of_result(workers: int, tmp_path: Path) -> None:
    asked = [Task(word, word) for word in ("named", "way", "large", "no solution")]
    named, way, large, lost = run(make_troubled(tmp_path), asked, workers=workers)
    assert isinstance(named, dict) and named["fortran"].flags["C_CONTIGUOUS"]
    assert named["fortran"].tolist() == [[0.0, 1.0, 2.0], [3.0, 4.0, 5.0]] and named["one"].shape == ()
    assert isinstance(way, Solved) and way.way == "superposition" and way.values.tolist() == [1.5]
    assert isinstance(large, np.ndarray) and large.tobytes() == np.full(300_000, 0.1).tobytes()
    assert lost == Failure("NotConvergedError", "the solver stopped\n  remedy: look again")


def test_a_process_of_many_gets_one_thread_of_the_solver(tmp_path: Path) -> None:
    asked = [Task("a", "threads"), Task("b", "threads")]
    assert [result.tolist() for result in run(make_troubled(tmp_path), asked, workers=2)] == [[1.0], [1.0]]


def test_the_setting_for_threads_holds_until_it_is_taken_back() -> None:
    before = available()
    use_threads(1)
    assert available() == 1
    use_threads(None)
    assert available() == before >= 1


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize(
    ("word", "error"),
    [("bug", ZeroDivisionError), ("no memory", MemoryLimitError), ("whole numbers", TypeError)],
)
def test_other_errors_carry_the_key(workers: int, word: str, error: type[Exception], tmp_path: Path) -> None:
    with Journal.open(tmp_path, IDENTITY) as journal:
        with pytest.raises(error) as told:
            run(make_troubled(tmp_path), [*tasks(9), Task("the bad one", word)], workers=workers, journal=journal)
        assert "the bad one" in str(told.value) + "".join(told.value.__notes__)
        assert "the bad one" not in journal.rows()
        if workers == 1:
            assert len(journal.rows()) == 9


def test_an_error_that_cannot_be_sent_is_told_in_words(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="OddError: ab") as told:
        run(make_troubled(tmp_path), [*tasks(3), Task("the bad one", "odd bug")], workers=2)
    assert "the bad one" in "".join(told.value.__notes__) and "study_tasks.py" in "".join(told.value.__notes__)


def test_failures_travel_between_processes_whole() -> None:
    fault = Fault("a.yaml", 3, 1, "wrong")
    for error in (CaseError([fault]), NotConvergedError("what", "remedy"), ThermsimError("what")):
        copy = pickle.loads(pickle.dumps(error))
        assert type(copy) is type(error) and str(copy) == str(error) and vars(copy) == vars(error)


@pytest.mark.parametrize("workers", [1, 2])
def test_a_state_that_cannot_be_made_ends_the_study(workers: int) -> None:
    with pytest.raises(NotConvergedError, match="no state to begin with"):
        run(study_tasks.cannot_make, tasks(4), workers=workers)


def test_processes_that_die_as_they_start_are_told() -> None:
    with pytest.raises(WorkersError, match="exit code 7") as told:
        run(study_tasks.dies_making, tasks(4), workers=2)
    assert told.value.exit_code == 13 and "__main__" in told.value.remedy


def test_a_process_that_dies_loses_nothing(tmp_path: Path) -> None:
    asked = tasks(30)
    asked[3], asked[17] = Task("first", "once"), Task("second", "once")
    found = bits(run(make_troubled(tmp_path), asked, workers=2))
    expected = plain_bits(30)
    expected[3] = expected[17] = bits([plain(5)])[0]
    assert found == expected
    assert (tmp_path / "first").exists() and (tmp_path / "second").exists()


def test_a_process_killed_from_outside_loses_nothing() -> None:
    shot: list[int] = []

    def shoot(line: str) -> None:
        if done_in(line) >= 10 and not shot:
            workers = [p for p in psutil.Process().children() if "multiprocessing-fork" in " ".join(p.cmdline())]
            shot.append(workers[0].pid)
            workers[0].kill()

    assert bits(run(study_tasks.slow, tasks(100), workers=2, progress=shoot, keep_every=0.0)) == plain_bits(100)
    assert shot


def test_a_task_that_kills_its_process_three_times_is_named(tmp_path: Path) -> None:
    asked = [*tasks(20), Task("the killer", "always dies")]
    with Journal.open(tmp_path, IDENTITY) as journal:
        with pytest.raises(
            WorkersError, match="'the killer' ended its process 3 times, the last time with exit code 9"
        ):
            run(make_troubled(tmp_path), asked, workers=2, journal=journal)
        rows = journal.rows()
    assert rows and "the killer" not in rows


@pytest.mark.parametrize("workers", [1, 2])
def test_progress_never_falls_and_counts_the_time_of_this_run_only(
    workers: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[tuple[int, int, float | None]] = []
    monkeypatch.setattr(run_tasks, "progress_line", lambda *state: told.append(state) or "")
    with Journal.open(tmp_path, IDENTITY) as journal:
        run(study_tasks.slow, tasks(30), workers=workers, journal=journal)
        run(study_tasks.slow, tasks(100), workers=workers, journal=journal, progress=lambda line: None, keep_every=0.01)
    assert told[0] == (30, 100, None) and told[-1] == (100, 100, 0.0)
    done = [said[0] for said in told]
    assert done == sorted(done) and all(said[1] == 100 for said in told)
    for finished, total, left in told[1:]:
        assert left is not None and left >= (total - finished) * 0.004 / workers  # each sleeps 4 ms at least


def test_finished_tasks_do_not_wait_for_a_long_one(tmp_path: Path) -> None:
    """The long one ends only when all others are in the journal."""
    with Journal.open(tmp_path, IDENTITY) as journal:

        def go_on(line: str) -> None:
            if done_in(line) == 20:
                assert len(journal.rows()) == 20
                (tmp_path / "go on").touch()

        asked = [Task("long", "waits"), *tasks(20)]
        found = run(make_troubled(tmp_path), asked, workers=2, journal=journal, progress=go_on)
    assert bits(found) == [*bits([plain(5)]), *plain_bits(20)]


def test_an_earlier_run_is_not_computed_again(tmp_path: Path) -> None:
    with Journal.open(tmp_path, IDENTITY) as journal:
        first = run(make, tasks(8), workers=1, journal=journal)
        again = run(study_tasks.cannot_make, tasks(8), workers=1, journal=journal)
        part = run(study_tasks.cannot_make, tasks(8)[5:2:-1], workers=1, journal=journal)
    assert bits(first) == bits(again) == plain_bits(8) and bits(part) == plain_bits(8)[5:2:-1]


def test_a_failed_task_stays_failed(tmp_path: Path) -> None:
    with Journal.open(tmp_path, IDENTITY) as journal:
        first = run(make_troubled(tmp_path), [Task("a", "no solution")], workers=1, journal=journal)
        assert run(study_tasks.cannot_make, [Task("a", "no solution")], workers=1, journal=journal) == first


def test_keys_must_differ() -> None:
    with pytest.raises(ValueError, match="'map 0'"):
        run(make, [*tasks(3), *tasks(1)])


@pytest.mark.parametrize("keep", [True, False])
def test_the_interrupt_key_in_one_process(keep: bool, tmp_path: Path) -> None:
    asked = [*tasks(9), Task("key", "interrupt"), *[Task(f"later {n}", n) for n in range(5)]]
    journal = Journal.open(tmp_path, IDENTITY) if keep else None
    with pytest.raises(InterruptedStudyError, match="9 of 15 tasks of this round are finished") as told:
        run(make_troubled(tmp_path), asked, workers=1, journal=journal)
    assert told.value.exit_code == 130
    if journal is None:
        assert "nothing is kept" in told.value.remedy
    else:
        assert "--resume" in told.value.remedy and str(tmp_path) in told.value.remedy
        assert set(journal.rows()) == {task.key for task in tasks(9)}
        journal.close()


def test_an_interrupt_counts_what_earlier_rounds_of_the_study_have_kept(tmp_path: Path) -> None:
    with Journal.open(tmp_path, IDENTITY) as journal:
        run(make, tasks(2), workers=1, journal=journal)
        with pytest.raises(InterruptedStudyError, match="0 of 1 tasks of this round are finished") as told:
            run(make_troubled(tmp_path), [Task("key", "interrupt")], workers=1, journal=journal)
    assert told.value.remedy.startswith("2 tasks are kept in ")
    assert ", 2 of them of earlier rounds of the study; the same command" in told.value.remedy


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT for a single process")
def test_the_interrupt_key_stops_workers_and_says_how_to_go_on(tmp_path: Path) -> None:
    """To the whole group of processes, as a terminal does."""
    command = [sys.executable, study_tasks.__file__, str(tmp_path), "5000", "2"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True) as program:
        assert program.stdout is not None
        said: list[str] = []
        for line in program.stdout:
            said.append(line)
            if int(line) >= 40:
                family = psutil.Process(program.pid).children()
                os.killpg(program.pid, signal.SIGINT)
                break
        said += list(program.stdout)
    assert program.returncode == 130
    words = "".join(said)
    assert "--resume" in words and "of 5000 tasks of this round are finished" in words
    study_tasks.wait_for_the_end(family)
    with Journal.open(tmp_path, IDENTITY, resume=True) as journal:
        rows = journal.rows()
    assert 40 <= len(rows) < 5000
    assert f"{len(rows)} of 5000" in words
    assert all(row.numbers == bits([plain(int(key.split()[1]))])[0] for key, row in rows.items())


ABANDONED = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from study_tasks import Task, make_troubled, run
run(make_troubled(Path(sys.argv[1])), [Task("a", "waits"), Task("b", "waits")], workers=2)
"""


def test_workers_end_with_their_owner_in_the_middle_of_a_task(tmp_path: Path) -> None:
    """A killed owner can tell nobody; the tasks would go on for a minute, the wait ends after 20 s."""
    here = str(Path(study_tasks.__file__).parent)
    with subprocess.Popen([sys.executable, "-c", ABANDONED, str(tmp_path), here]) as program:
        while not ((tmp_path / "a began").exists() and (tmp_path / "b began").exists()):
            assert program.poll() is None
            time.sleep(0.01)
        family = psutil.Process(program.pid).children()
        program.kill()
    assert len(family) >= 2
    study_tasks.wait_for_the_end(family)


def test_chunks_are_short_at_first_and_at_the_end() -> None:
    assert chunk_size(1000, 4, 0.0, 0) == 1
    assert chunk_size(100_000, 4, seconds=1.0, finished=100) == 25  # of 10 ms each: a quarter of a second
    assert chunk_size(16, 4, seconds=1.0, finished=1000) == 2
    assert chunk_size(1, 4, seconds=1.0, finished=1000) == 1
    assert chunk_size(1000, 4, seconds=60.0, finished=2) == 1


def test_the_line_for_a_person() -> None:
    assert progress_line(3, 10, None) == "3 of 10 solves"
    assert progress_line(10, 10, 0.0) == "10 of 10 solves"
    assert progress_line(3, 10, 0.2) == "3 of 10 solves, about 1 s left"
    assert progress_line(3, 10, 89.0) == "3 of 10 solves, about 89 s left"
    assert progress_line(3, 10, 120.0) == "3 of 10 solves, about 2 min left"
    assert progress_line(3, 10, 9000.0) == "3 of 10 solves, about 2.5 h left"


def slab() -> Callable[[Task], Any]:
    from thermsim.solver.steady import steady_state  # noqa: F401  (loaded once in each process, as a study would)

    return hottest


def hottest(task: Task) -> Any:
    text = (Path(__file__).parents[2] / "cases" / "bare-slab.yaml").read_text(encoding="utf-8")
    case = thermsim.parse_case(text.replace("power_W: 50", f"power_W: {task.value}"))
    return np.array([thermsim.predict(case).answers["hottest",]])


def test_solves_of_a_slab_have_equal_bits_on_both_ways() -> None:
    """By hand: P/A (t/k + 1/h) over the fluid, P/(400 mm2) (0.005/400 + 1/5000) K."""
    asked = [Task(f"{power} W", power) for power in (20, 35, 50)]
    here, there = (run(slab, asked, workers=workers) for workers in (1, 2))
    assert bits(here) == bits(there)
    by_hand = [25.0 + power / 4e-4 * (0.005 / 400.0 + 1.0 / 5000.0) for power in (20, 35, 50)]
    assert np.allclose(np.concatenate([np.asarray(one) for one in here]), by_hand, rtol=0.0, atol=1e-6)


def test_a_make_that_cannot_be_sent_says_so() -> None:
    with pytest.raises((AttributeError, pickle.PicklingError)):
        run(functools.partial(lambda: make()), tasks(3), workers=2)

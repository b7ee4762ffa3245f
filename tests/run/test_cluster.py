"""A real cluster of worker processes on this machine, one killed under way.

Expected numbers come from plain Python floats (IEEE 754), see study_tasks.
"""

from __future__ import annotations

import builtins
import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import study_tasks
from study_tasks import IDENTITY, done_in, make_troubled, plain, tasks

from thermsim.errors import InterruptedStudyError, WorkersError
from thermsim.run.journal import Journal
from thermsim.run.run_tasks import run
from thermsim.run.tasks import Failure, Task


def bits(results: list[Any]) -> list[bytes]:
    return [np.asarray(result).tobytes() for result in results]


def plain_bits(count: int) -> list[bytes]:
    return bits([plain(number) for number in range(count)])


def test_a_missing_package_is_told_with_its_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.split(".")[0] == "distributed":
            raise ImportError(name)
        return real(name, *rest)

    for name in [name for name in sys.modules if name.split(".")[0] == "distributed"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(WorkersError, match="not installed") as told:
        run(study_tasks.make, tasks(3), cluster="tcp://127.0.0.1:1")
    assert ".[cluster]" in told.value.remedy


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=3, threads_per_worker=1, processes=True, dashboard_address=":0", host="127.0.0.1"
    ) as made:
        yield made


@pytest.mark.slow
def test_an_address_where_nobody_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("thermsim.run.cluster.CONNECT_SECONDS", 1.0)
    for address in ("tcp://127.0.0.1:1", "nonsense://here"):
        with pytest.raises(WorkersError, match="no cluster answers"):
            run(study_tasks.make, tasks(3), cluster=address)


@pytest.mark.slow
def test_results_are_those_of_one_process(cluster: Any, tmp_path: Path) -> None:
    told: list[int] = []
    with Journal.open(tmp_path, IDENTITY) as journal:
        found = run(
            study_tasks.make, tasks(200), cluster=cluster.scheduler_address, journal=journal,
            progress=lambda line: told.append(done_in(line)),
        )  # fmt: skip
        assert bits(found) == plain_bits(200)
        assert len(journal.rows()) == 200
        again = run(study_tasks.cannot_make, tasks(200), cluster="tcp://127.0.0.1:1", journal=journal)
    assert bits(again) == bits(found)
    assert told == sorted(told) and told[0] == 0 and told[-1] == 200


@pytest.mark.slow
def test_a_worker_killed_under_way_loses_nothing(cluster: Any, tmp_path: Path) -> None:
    shot: list[int] = []

    def shoot(line: str) -> None:
        if done_in(line) >= 50 and not shot:
            shot.append(next(iter(cluster.workers.values())).pid)
            os.kill(shot[0], signal.SIGKILL)

    with Journal.open(tmp_path, IDENTITY) as journal:
        found = run(study_tasks.slow, tasks(600), cluster=cluster.scheduler_address, journal=journal, progress=shoot)
        assert len(journal.rows()) == 600
    assert shot and bits(found) == plain_bits(600)


@pytest.mark.slow
def test_a_task_that_kills_its_worker_once(cluster: Any, tmp_path: Path) -> None:
    asked = [*tasks(40), Task("one that dies", "once")]
    found = bits(run(make_troubled(tmp_path), asked, cluster=cluster.scheduler_address))
    assert found == [*plain_bits(40), *bits([plain(5)])]
    assert (tmp_path / "one that dies").exists()


@pytest.mark.slow
def test_failures_and_errors_of_tasks(cluster: Any, tmp_path: Path) -> None:
    asked = [*tasks(5), Task("lost", "no solution"), Task("threads", "threads")]
    found = run(make_troubled(tmp_path), asked, cluster=cluster.scheduler_address)
    assert isinstance(found[5], Failure) and found[5].kind == "NotConvergedError"
    assert np.asarray(found[6]).tolist() == [1.0]
    with pytest.raises(ZeroDivisionError) as told:
        run(make_troubled(tmp_path), [*tasks(5), Task("the bad one", "bug")], cluster=cluster.scheduler_address)
    assert "the bad one" in "".join(told.value.__notes__)


@pytest.mark.slow
def test_another_version_on_a_worker_is_refused(cluster: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("thermsim.run.cluster.program", lambda: "thermsim 99.9")
    with pytest.raises(WorkersError, match=r"not thermsim 99\.9"):
        run(study_tasks.make, tasks(5), cluster=cluster.scheduler_address)


@pytest.mark.slow
def test_the_interrupt_key(cluster: Any, tmp_path: Path) -> None:
    def press(line: str) -> None:
        if done_in(line) >= 30:
            raise KeyboardInterrupt

    with Journal.open(tmp_path, IDENTITY) as journal:
        with pytest.raises(InterruptedStudyError, match="of 2000 tasks of this round are finished"):
            run(study_tasks.slow, tasks(2000), cluster=cluster.scheduler_address, journal=journal, progress=press)
        rows = journal.rows()
        assert 30 <= len(rows) < 2000
        found = run(study_tasks.make, tasks(100), cluster=cluster.scheduler_address, journal=journal)
    assert bits(found) == plain_bits(100)


@pytest.mark.slow
def test_a_task_that_kills_every_worker_is_named(cluster: Any, tmp_path: Path) -> None:
    asked = [*tasks(20), Task("the killer", "always dies")]
    with pytest.raises(WorkersError, match="'the killer' ended every worker"):
        run(make_troubled(tmp_path), asked, cluster=cluster.scheduler_address)


@pytest.mark.slow
def test_a_scheduler_that_goes_away_is_told(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    made = distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0", host="127.0.0.1"
    )

    def close(line: str) -> None:
        if done_in(line) >= 20:
            made.close()

    with Journal.open(tmp_path, IDENTITY) as journal:
        with pytest.raises(WorkersError):
            run(study_tasks.slow, tasks(2000), cluster=made.scheduler_address, journal=journal, progress=close)
        assert len(journal.rows()) >= 20

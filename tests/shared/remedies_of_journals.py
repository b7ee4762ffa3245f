"""What is said of the journal of a study, and of processes or a cluster that compute it: one row a message."""

from __future__ import annotations

import sqlite3
import tomllib
from collections import Counter, deque
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from unittest.mock import patch

import numpy as np
import study_tasks
from remedies import OfCall, Row
from study_tasks import IDENTITY, make_troubled, tasks

from thermsim.run import cluster
from thermsim.run.cluster import Cluster, computed
from thermsim.run.journal import FILE, Identity, Journal
from thermsim.run.pool import Pool
from thermsim.run.run_tasks import run
from thermsim.run.tasks import Row as Finished
from thermsim.run.tasks import Task
from thermsim.solver.multigrid.threads import use_threads

EXTRAS = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8"))["project"][
    "optional-dependencies"
]
ANOTHER = Identity.of("another map", 7, "title: none")


# ------------------------------------------------------------------------------------------------------ the journal


def opened(folder: Path, identity: Identity = IDENTITY, **how: bool) -> None:
    Journal.open(folder, identity, **how).close()


def begun(folder: Path) -> Path:
    """A folder with a journal of one finished task in it."""
    if not (folder / FILE).exists():
        with Journal.open(folder, IDENTITY) as journal:
            run(study_tasks.make, tasks(1), workers=1, journal=journal)
    return folder


def edited_by(folder: Path, *statements: str) -> Path:
    """The journal after other hands were at it."""
    connection = sqlite3.connect(begun(folder) / FILE)
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()
    return folder


def read(folder: Path, **how: bool) -> None:
    with Journal.open(folder, IDENTITY, **how or {"resume": True}) as journal:
        run(study_tasks.make, tasks(1), workers=1, journal=journal)


def overwritten(folder: Path, replace: bool = False) -> None:
    """A journal whose pages are not what SQLite wrote, or its backup."""
    whole = (begun(folder) / FILE).read_bytes()
    (folder / FILE).write_bytes(whole if replace else whole[:4096] + bytes(len(whole) - 4096))
    try:
        read(folder)
    finally:
        (folder / FILE).write_bytes(whole)


def unreadable(folder: Path) -> None:
    begun(folder)
    (folder / FILE).write_bytes(b"no journal" * 1000)
    read(folder)


def in_use(folder: Path, elsewhere: str = "") -> None:
    with Journal.open(begun(folder), IDENTITY, resume=True):
        opened(folder / elsewhere, resume=not elsewhere)


def sick(problem: str) -> Callable[..., object]:
    """A database that fails at its first statement, or at its writing of rows, with such words of SQLite."""

    class Sick(sqlite3.Connection):
        def execute(self, sql: str, *more: object) -> sqlite3.Cursor:
            if sql == "BEGIN EXCLUSIVE" and problem != "no room":
                raise sqlite3.OperationalError(problem)
            return super().execute(sql, *more)  # type: ignore[arg-type]

        def executemany(self, sql: str, *more: object) -> sqlite3.Cursor:
            if "finished" in sql and problem == "no room":
                raise sqlite3.OperationalError(problem)
            return super().executemany(sql, *more)  # type: ignore[arg-type]

    def connect(path: object, **how: object) -> sqlite3.Connection:
        return sqlite3.Connection(path, **how) if problem == "" else Sick(path, **how)  # type: ignore[arg-type]

    return connect


def on_sick_disk(folder: Path, problem: str) -> None:
    with patch("thermsim.run.journal.sqlite3.connect", sick(problem)):
        read(folder, resume=(folder / FILE).exists())


def on_full_disk(folder: Path, full: bool) -> None:
    with patch("thermsim.run.journal.sqlite3.connect", sick("no room" if full else "")):
        journal = Journal.open(folder, IDENTITY, resume=(folder / FILE).exists())
    try:
        journal.add([Finished.of("one", np.zeros(1), 0.1)])
    finally:
        journal._waiting.clear()
        journal.close()


def interrupted(folder: Path, keep: bool, **how: bool) -> None:
    """A study whose second task is cut short by the interrupt key, unless it was begun before."""
    pressed = folder / "pressed"
    asked = [Task("one", 1), Task("two", 2 if pressed.exists() else "interrupt")]
    pressed.touch()
    if not keep:
        run(make_troubled(folder), asked, workers=1)
        return
    with Journal.open(folder, IDENTITY, **how) as journal:
        run(make_troubled(folder), asked, workers=1, journal=journal, keep_every=0.0)


JOURNALS: list[Row] = [
    OfCall(
        lambda f: opened(begun(f)),
        "`--resume` goes on with it, `--replace` begins anew, or choose another folder",
        lambda f: (opened(f, resume=True), opened(f, replace=True), opened(f / "other")),
    ),
    OfCall(
        lambda f: opened(begun(f), ANOTHER, resume=True),
        "give what it was begun with, choose another folder, or begin anew with `--replace`",
        lambda f: (opened(f, resume=True), opened(f / "other", ANOTHER), opened(f, ANOTHER, replace=True)),
    ),
    OfCall(
        lambda f: read(edited_by(f, "PRAGMA application_id=7")),
        "is not a journal of thermsim\\n  remedy: choose another folder",
        lambda f: opened(f / "other"),
    ),
    OfCall(
        lambda f: read(edited_by(f, "PRAGMA user_version=1")),
        "another version of thermsim\\n  remedy: choose another folder",
        lambda f: opened(f / "other"),
    ),
    OfCall(
        lambda f: read(edited_by(f, "UPDATE finished SET seconds=9")),
        "rows are not what was written .*\\n  remedy: begin anew with `--replace`",
        lambda f: (opened(f / "other"), read(f, replace=True)),
    ),
    OfCall(
        lambda f: Finished("one", "[0.5]", b"", 1.0).result,
        "is damaged\\n  remedy: begin anew with `--replace`, take a backup of the file, or choose another folder",
        lambda f: Finished("one", "[0]", b"", 1.0).result,
    ),
    OfCall(lambda f: overwritten(f), "take a backup of the file", lambda f: overwritten(f, replace=True)),
    OfCall(lambda f: unreadable(f), "cannot be read as a journal.*\\n.*choose another folder", lambda f: read(f / "x")),
    OfCall(
        in_use,
        "in use by another run\\n  remedy: wait for it, or choose another folder",
        lambda f: (in_use(f, "other"), read(f)),
    ),
    OfCall(
        lambda f: on_sick_disk(f, "attempt to write a readonly database"),
        "cannot be written: attempt.*\\n  remedy: choose a folder that can be",
        lambda f: read(f / "other", replace=True),
    ),
    OfCall(
        lambda f: opened(f / "file" / "folder") if (f / "file").touch() is None else None,
        "cannot be written: .*\\n  remedy: choose a folder that can be",
        lambda f: opened(f / "folder"),
    ),
    OfCall(
        lambda f: on_full_disk(f, full=True),
        "make room or mend the folder, then go on with `--resume`",
        lambda f: on_full_disk(f, full=False),
    ),
    OfCall(
        lambda f: interrupted(f, keep=True),
        "1 task is kept in .*; the same command with `--resume` goes on",
        lambda f: interrupted(f, keep=True, resume=True),
    ),
    OfCall(
        lambda f: interrupted(f, keep=False),
        "nothing is kept; with a folder for its journal, a study can be resumed",
        lambda f: interrupted(f, keep=True),
    ),
]

# ------------------------------------------------------------------------------------------------- what computes them


class Ended:
    """A worker process that has ended, at its first task or before."""

    def __init__(self, at_work: bool = False) -> None:
        self.tasks, self.ready, self.is_free = [Task("one", 1)] * at_work, at_work, not at_work

    def end(self) -> int:
        return -9


def buried(at_work: bool, times: int) -> None:
    """A pool that loses workers one after the other."""
    pool = Pool.__new__(Pool)
    pool.chunks, pool.error, pool.deaths, pool.false_starts = deque(), None, Counter(), 0
    pool.workers = []
    with patch("thermsim.run.pool._Worker", Ended):
        for _ in range(times):
            worker = Ended(at_work)
            pool.workers.append(worker)  # type: ignore[arg-type]
            pool._bury(worker)  # type: ignore[arg-type]
    if pool.error is not None:
        raise pool.error


class KilledWorker(Exception):  # noqa: N818
    """As the library of the cluster calls a task that ended its workers."""


class Client:
    """A cluster as its library shows it: who is not there, and who has no workers."""

    def __init__(self, address: str, **how: object) -> None:
        self.address = address
        if address == "tcp://nowhere:1":
            raise OSError("nobody answers")

    def wait_for_workers(self, count: int, timeout: float) -> None:
        if self.address == "tcp://alone:1":
            raise TimeoutError

    def close(self) -> None:
        pass


def library(is_there: bool = True) -> dict[str, ModuleType | None]:
    found = ModuleType("distributed")
    found.Client, found.KilledWorker = Client, KilledWorker  # type: ignore[attr-defined]
    return {"distributed": found if is_there else None}


def reached(address: str, is_there: bool = True) -> None:
    with patch.dict("sys.modules", library(is_there)):
        Cluster(study_tasks.make, address)


def given_up(trouble: Exception) -> None:
    with patch.dict("sys.modules", library()):
        error = Cluster.__new__(Cluster)._given_up([Task("one", 1)], trouble)
    assert error is not None
    raise error


def sent(owner: str) -> None:
    try:
        rows, problem = computed("a study", owner, study_tasks.make, [Task("one", 1)])
    finally:
        use_threads(None)  # a worker of a cluster solves with one thread; this process goes on with all
    if problem is not None:
        raise problem
    assert rows


WORKERS: list[Row] = [
    OfCall(
        lambda _: run(study_tasks.make, tasks(2), workers=100_000),
        "ask for one a processor, or leave `--workers` out",
        lambda _: run(study_tasks.make, tasks(2), workers=1),
    ),
    OfCall(
        lambda _: buried(at_work=True, times=3),
        "if memory ran out, use fewer workers or a coarser grid; else leave this task out",
        lambda _: run(study_tasks.make, tasks(1), workers=1),
    ),
    OfCall(
        lambda _: buried(at_work=False, times=3),
        "with one worker everything runs in one process",
        lambda _: run(study_tasks.make, tasks(1), workers=1),
    ),
    OfCall(
        lambda _: reached("tcp://here:1", is_there=False),
        r"install it, in the folder of the sources: python -m pip install \"\.\[(\w+)\]\"",
        lambda _, extra: (reached("tcp://here:1"), EXTRAS[extra]),
    ),
    OfCall(
        lambda _: reached("tcp://nowhere:1"),
        "start one with `dask scheduler`, and give the address that it tells",
        lambda _: reached("tcp://here:1"),
    ),
    OfCall(lambda _: reached("tcp://alone:1"), "start some: `dask worker tcp", lambda _: reached("tcp://here:1")),
    OfCall(
        lambda _: given_up(KilledWorker()),
        "give workers more or use a coarser grid; else leave this task out and report it",
        lambda _: run(study_tasks.make, tasks(1), workers=1),
    ),
    OfCall(
        lambda _: given_up(ImportError("no module named numba")),
        "install thermsim .* on every machine of the cluster",
        lambda _: sent(cluster.program()),
    ),
    OfCall(
        lambda _: given_up(RuntimeError("lost")),
        "see the messages of its scheduler, then go on with `--resume`",
        lambda f: read(begun(f)),
    ),
    OfCall(lambda _: sent("thermsim 99.9"), "install the same on all", lambda _: sent(cluster.program())),
]

ROWS: list[Row] = [*JOURNALS, *WORKERS]

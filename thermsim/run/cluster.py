"""The same tasks on many machines, by a dask.distributed cluster (docs.dask.org, distributed.dask.org).

`dask scheduler` on one machine and `dask worker tcp://host:8786` on each of the others make a cluster; thermsim must
be installed on all of them, in the same version. Whoever reaches the scheduler can run anything on its workers: only
on a network that you trust.

A worker that dies loses nothing: the scheduler hands what it had to another one. After `allowed-failures` deaths (3
unless the scheduler was told otherwise) it gives a piece of work up; a chunk of several tasks is then sent again one
by one, so that the task to blame is known by its key. Results come in any order; this process alone writes the
journal.
"""

from __future__ import annotations

import contextlib
import threading
import uuid
from collections import deque
from concurrent.futures import CancelledError
from typing import Any

from thermsim.errors import WorkersError
from thermsim.run.executor import Finished
from thermsim.run.program import program
from thermsim.run.tasks import Make, Row, Task, Work, compute, portable
from thermsim.solver.multigrid.threads import use_threads

CONNECT_SECONDS = 10.0
FIRST_WORKER_S = 60.0  # [s] how long a cluster is given for its first worker to come up; our own choice
_of_thread = threading.local()  # a hierarchy serves one solution at a time, so each thread makes its own `work`


class Cluster:
    """An `Executor`: the workers of a cluster, as many as it has."""

    ahead = 2

    def __init__(self, make: Make, address: str) -> None:
        """Raises WorkersError: dask is not installed, no cluster answers, or it has no workers."""
        self.make = make
        self.study = uuid.uuid4().hex
        self.alone: deque[Task] = deque()  # of a chunk that was given up: sent again one by one
        self.under_way: dict[Any, list[Task]] = {}
        self.error: Exception | None = None
        self._lanes = 1
        self.client = _client(address)

    @property
    def lanes(self) -> int:
        """How many tasks all workers compute at once."""
        with contextlib.suppress(OSError):  # a scheduler that is gone: `wait` tells it
            self._lanes = max(1, sum(int(count) for count in self.client.nthreads().values()))
        return self._lanes

    def room(self) -> int:
        """How many chunks it takes now."""
        return max(0, self.ahead * self.lanes - len(self.under_way))

    def submit(self, chunk: list[Task]) -> None:
        """Hand a chunk to the scheduler."""
        key = f"thermsim-{uuid.uuid4().hex}"
        future = self.client.submit(computed, self.study, program(), self.make, chunk, key=key)
        self.under_way[future] = chunk

    def wait(self, seconds: float | None) -> Finished:
        """What is finished after so many seconds, or as soon as something is."""
        from distributed import wait

        if seconds != 0.0:  # a cancelled or lost piece of work is told below, with what its future says
            with contextlib.suppress(TimeoutError, CancelledError), self.client.as_current():
                wait(list(self.under_way), timeout=seconds, return_when="FIRST_COMPLETED")
        rows: list[Row] = []
        for future in [future for future in self.under_way if future.done()]:
            rows += self._rows_of(future)
        while self.alone and self.error is None and self.room():
            self.submit([self.alone.popleft()])
        return rows, self.error

    def shutdown(self) -> None:
        """Call back what is under way, and leave the scheduler."""
        try:
            self.client.cancel(list(self.under_way), force=True)
        finally:
            self.client.close()

    def _rows_of(self, future: Any) -> list[Row]:
        """The rows of a finished chunk; notes the first error."""
        chunk = self.under_way.pop(future)
        try:
            found, problem = future.result()
        except (Exception, CancelledError) as trouble:
            self.error = self.error or self._given_up(chunk, trouble)
            return []
        self.error = self.error or problem
        return list(found)

    def _given_up(self, chunk: list[Task], trouble: BaseException) -> Exception | None:
        """What the scheduler says of a chunk that no worker has sent back."""
        from distributed import KilledWorker

        if isinstance(trouble, KilledWorker):
            if len(chunk) > 1:
                self.alone.extend(chunk)
                return None
            return WorkersError(
                f"task {chunk[0].key!r} ended every worker that took it",
                "if memory ran out, give workers more or use a coarser grid; else leave this task out and report it",
            )
        if isinstance(trouble, ImportError):
            return WorkersError(
                f"a worker of the cluster lacks something: {trouble}",
                f"install {program()} on every machine of the cluster",
            )
        keys = ", ".join(repr(task.key) for task in chunk[:3])
        return WorkersError(
            f"the cluster gave tasks {keys} up: {type(trouble).__name__}: {trouble}",
            "see the messages of its scheduler, then go on with `--resume`",
        )


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise WorkersError(
            "a cluster is reached by dask, which is not installed",
            'install it, in the folder of the sources: python -m pip install ".[cluster]"',
        ) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError) as problem:
        raise WorkersError(
            f"no cluster answers at {address}: {problem}",
            "start one with `dask scheduler`, and give the address that it tells (tcp://host:8786)",
        ) from None
    try:
        client.wait_for_workers(1, timeout=FIRST_WORKER_S)
    except TimeoutError:
        client.close()
        raise WorkersError(f"the cluster at {address} has no workers", f"start some: `dask worker {address}`") from None
    except BaseException:
        client.close()
        raise
    return client


def computed(study: str, owner: str, make: Make, chunk: list[Task]) -> tuple[list[Row], Exception | None]:
    """On a worker of the cluster: rows of the tasks up to the first that fails unexpectedly, and its error."""
    rows: list[Row] = []
    try:
        if owner != program():
            raise WorkersError(f"a worker of the cluster has {program()}, not {owner}", "install the same on all")
        work = _work(study, make)
        for task in chunk:
            rows.append(compute(work, task))
    except Exception as error:
        return rows, portable(error)
    return rows, None


def _work(study: str, make: Make) -> Work:
    if getattr(_of_thread, "study", None) != study:
        use_threads(1)
        _of_thread.work, _of_thread.study = make(), study
    return _of_thread.work  # type: ignore[no-any-return]

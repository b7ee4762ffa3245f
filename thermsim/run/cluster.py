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

import threading
import uuid
from collections import deque
from collections.abc import Generator, Sequence
from typing import Any

from thermsim.errors import WorkersError
from thermsim.run.journal import Row
from thermsim.run.program import program
from thermsim.run.workers import Make, Task, Work, chunk_size, compute, portable
from thermsim.solver.multigrid.threads import use_threads

CONNECT_SECONDS = 10.0
WORKER_SECONDS = 60.0  # a cluster may be about to get its first worker
AHEAD = 2  # chunks for each thread of the cluster, so that none waits for the way to here and back

_of_thread = threading.local()  # a hierarchy serves one solution at a time, so each thread makes its own `work`


def on_cluster(make: Make, tasks: Sequence[Task], address: str) -> Generator[tuple[int, list[Row]], None, None]:
    """Finished tasks as they come, and how many threads the cluster has.

    Raises
    ------
    WorkersError : dask is not installed, no cluster answers, it has no workers, its thermsim is another one, or a
        task kills whatever computes it
    """
    client = _client(address)
    try:
        yield from _Dispatch(client, make, tasks).batches()
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise WorkersError(
            "a cluster is reached by dask, which is not installed", 'install it: pip install "thermsim[cluster]"'
        ) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError) as problem:
        raise WorkersError(
            f"no cluster answers at {address}: {problem}",
            "start one with `dask scheduler`, and give the address that it tells (tcp://host:8786)",
        ) from None
    try:
        client.wait_for_workers(1, timeout=WORKER_SECONDS)
    except TimeoutError:
        client.close()
        raise WorkersError(f"the cluster at {address} has no workers", f"start some: `dask worker {address}`") from None
    except BaseException:
        client.close()
        raise
    return client


class _Dispatch:
    """Chunks under way on a cluster."""

    def __init__(self, client: Any, make: Make, tasks: Sequence[Task]) -> None:
        from distributed import as_completed

        self.client, self.make = client, make
        self.study = uuid.uuid4().hex
        self.waiting = deque(tasks)
        self.alone: deque[Task] = deque()  # of a chunk that was given up
        self.under_way: dict[Any, list[Task]] = {}
        self.done = as_completed(loop=client.loop)
        self.rows: list[Row] = []  # finished and not yet taken
        self.error: Exception | None = None
        self.finished, self.seconds = 0, 0.0

    def batches(self) -> Generator[tuple[int, list[Row]], None, None]:
        lanes = self.hand_out()
        try:
            while self.under_way:
                self.collect(self.done.next_batch(block=True))
                if self.error is None:
                    lanes = self.hand_out()
                if self.rows:
                    yield lanes, self.taken()
                if self.error is not None:
                    raise self.error
        except KeyboardInterrupt:
            yield lanes, self.taken()
            raise
        finally:
            self.client.cancel(list(self.under_way), force=True)

    def hand_out(self) -> int:
        """Keep every thread of the cluster busy, as many as it has now; give their number."""
        lanes = max(1, sum(int(count) for count in self.client.nthreads().values()))
        while (self.waiting or self.alone) and len(self.under_way) < AHEAD * lanes:
            if self.alone:
                chunk = [self.alone.popleft()]
            else:
                size = chunk_size(len(self.waiting), AHEAD * lanes, self.seconds, self.finished)
                chunk = [self.waiting.popleft() for _ in range(size)]
            future = self.client.submit(
                computed, self.study, program(), self.make, chunk, key=f"thermsim-{uuid.uuid4().hex}"
            )
            self.under_way[future] = chunk
            self.done.add(future)
        return lanes

    def taken(self) -> list[Row]:
        rows, self.rows = self.rows, []
        return rows

    def collect(self, futures: list[Any]) -> None:
        """Take the rows of finished chunks, and the first error."""
        for future in futures:
            chunk = self.under_way.pop(future)
            try:
                found, problem = future.result()
            except Exception as trouble:
                self.error = self.error or self._given_up(chunk, trouble)
                continue
            self.error = self.error or problem
            self.rows += found
            self.finished += len(found)
            self.seconds += sum(row.seconds for row in found)

    def _given_up(self, chunk: list[Task], trouble: Exception) -> Exception | None:
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

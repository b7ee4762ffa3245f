"""Worker processes of this machine: one pipe each, so that it is known what a process was at when it dies.

Why not a ready-made pool: when one of its processes is killed it gives up all of its tasks without saying which one
was to blame, and when its owner is killed its processes wait for ever.

Processes are spawned, not forked, the same on Linux, macOS and Windows: a forked process would inherit threads' locks
and file handles of the journal. A script that calls `run` therefore needs its `if __name__ == "__main__":` line.

A worker sends each result when it has it, and takes new tasks only when it has none: it never sends while its owner
sends, so that two full pipes cannot wait for each other.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Sequence
from typing import Any

from thermsim.errors import WorkersError
from thermsim.run.journal import Row
from thermsim.run.workers import Batches, Make, Task, chunk_size, compute, portable
from thermsim.solver.multigrid.threads import use_threads

MOST_DEATHS = 3  # of processes in the hands of one task, or one after the other before their first task

Connection = Any  # of multiprocessing; its class has another name on Windows


def in_processes(make: Make, tasks: Sequence[Task], count: int, keep_every: float) -> Batches:
    """Compute in so many processes, one thread of the solver each; batches hold what came since the last one."""
    pool = _Pool(make, tasks, count)
    last = time.monotonic()
    try:
        while pool.unfinished:
            due = last + keep_every - time.monotonic()
            pool.collect(max(0.0, due) if pool.rows else None)
            pool.hand_out()  # before the journal is written: nobody waits for the disk
            if pool.rows and (time.monotonic() >= last + keep_every or not pool.unfinished or pool.error):
                yield pool.taken()
                last = time.monotonic()
            if pool.error is not None:
                raise pool.error
    except KeyboardInterrupt:
        pool.collect(0.0)
        yield pool.taken()
        raise
    finally:
        pool.stop()


class _Worker:
    def __init__(self, make: Make) -> None:
        context = multiprocessing.get_context("spawn")
        self.connection, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(make, theirs), daemon=True, name="thermsim worker")
        self.process.start()
        theirs.close()  # so that the end of the process is the end of the pipe
        self.ready = False
        self.tasks: deque[Task] = deque()  # what it was given and has not sent back, the one it is at first

    def end(self) -> int | None:
        """Exit code of a process that was killed or ended by itself; minus the signal's number for a signal."""
        self.process.kill()
        self.process.join()
        self.connection.close()
        return self.process.exitcode


class _Pool:
    """Tasks that wait, tasks that are with a worker, and the first error that ends it all."""

    def __init__(self, make: Make, tasks: Sequence[Task], count: int) -> None:
        self.make = make
        self.waiting = deque(tasks)
        self.unfinished = len(tasks)
        self.rows: list[Row] = []  # finished and not yet taken
        self.error: Exception | None = None
        self.deaths: Counter[str] = Counter()
        self.false_starts = 0
        self.finished, self.seconds = 0, 0.0
        self.workers: list[_Worker] = []
        try:
            for _ in range(count):
                self.workers.append(_Worker(make))
        except BaseException:  # a `make` that cannot be pickled: it tells so itself
            self.stop()
            raise

    def hand_out(self) -> None:
        """Give every worker without a task new ones."""
        for worker in self.workers:
            if worker.ready and not worker.tasks and self.waiting:
                size = chunk_size(len(self.waiting), len(self.workers), self.seconds, self.finished)
                chunk = [self.waiting.popleft() for _ in range(size)]
                try:
                    worker.connection.send(chunk)
                    worker.tasks.extend(chunk)
                except OSError:  # it died while it had nothing to do; `collect` will see the end of its pipe
                    self.waiting.extendleft(reversed(chunk))

    def taken(self) -> list[Row]:
        rows, self.rows = self.rows, []
        return rows

    def collect(self, seconds: float | None) -> None:
        """Take what workers have sent; wait so long for the first of them (None: until one sends or dies).

        The dead are replaced, and their tasks wait again.
        """
        by_connection = {worker.connection: worker for worker in self.workers}
        for connection in multiprocessing.connection.wait(list(by_connection), seconds):
            worker = by_connection[connection]  # type: ignore[index]
            try:
                while worker.connection.poll():
                    self._take(worker, worker.connection.recv())
            except (EOFError, OSError):
                self._bury(worker)

    def _take(self, worker: _Worker, message: Row | Exception | None) -> None:
        if isinstance(message, Row):
            self.rows.append(message)
            worker.tasks.popleft()
            self.unfinished -= 1
            self.finished += 1
            self.seconds += message.seconds
        elif message is None:
            worker.ready = True
            self.false_starts = 0
        else:
            self.error = self.error or message

    def _bury(self, worker: _Worker) -> None:
        code = worker.end()
        self.workers.remove(worker)
        if self.error is not None:
            return
        if worker.tasks:
            key = worker.tasks[0].key
            self.deaths[key] += 1
            if self.deaths[key] >= MOST_DEATHS:
                self.error = WorkersError(
                    f"task {key!r} ended its process {MOST_DEATHS} times, the last time {_ended(code)}",
                    "if memory ran out, use fewer workers or a coarser grid; else leave this task out and report it",
                )
        elif not worker.ready:
            self.false_starts += 1
            if self.false_starts >= MOST_DEATHS:
                self.error = WorkersError(
                    f"worker processes end before their first task, the last one {_ended(code)}",
                    'see what they wrote above; a script needs its `if __name__ == "__main__":` line, and with one '
                    "worker everything runs in one process",
                )
        self.waiting.extendleft(reversed(worker.tasks))
        if self.error is None and self.waiting:
            self.workers.append(_Worker(self.make))

    def stop(self) -> None:
        for worker in self.workers:
            worker.process.kill()
        for worker in self.workers:
            worker.end()
        self.workers.clear()


def _ended(code: int | None) -> str:
    if code is not None and code < 0:
        return f"by signal {-code}"
    return f"with exit code {code}"


def _serve(make: Make, connection: Connection) -> None:
    """Life of a worker process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the key reaches every process of a terminal; the owner decides
    threading.Thread(target=_end_with_owner, daemon=True).start()
    use_threads(1)
    try:
        work = make()
        connection.send(None)
        while (tasks := _received(connection)) is not None:
            for task in tasks:
                connection.send(compute(work, task))
    except Exception as error:
        with contextlib.suppress(OSError):  # nobody listens any more
            connection.send(portable(error))


def _received(connection: Connection) -> list[Task] | None:
    try:
        return connection.recv()  # type: ignore[no-any-return]
    except (EOFError, OSError):
        return None


def _end_with_owner() -> None:
    """A killed owner cannot stop its workers: they watch it."""
    owner = multiprocessing.parent_process()
    if owner is not None:
        owner.join()
        os._exit(1)

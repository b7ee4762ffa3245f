"""Worker processes of this machine: one pipe each, so that it is known what a process was at when it dies.

Why not `concurrent.futures.ProcessPoolExecutor` (docs.python.org): when one of its processes is killed it gives up all
of its tasks without saying which one was to blame, and when its owner is killed its processes wait for ever.

Processes are spawned, not forked, the same on Linux, macOS and Windows: a forked process would inherit threads' locks
and file handles of the journal. A script that calls `run` therefore needs its `if __name__ == "__main__":` line.

A worker says that it is there, is sent `make`, says that it is ready, and then sends each result when it has it. It
takes new tasks only when it has none: it never sends while its owner sends, so that two full pipes cannot wait for each
other. `make` goes by the pipe and not with the process: an owner that is killed while it starts one leaves half of a
large message behind, of which Python itself would print a traceback.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import multiprocessing.connection
import multiprocessing.reduction
import os
import signal
import threading
from collections import Counter, deque
from collections.abc import Iterator
from typing import Any

from thermsim.errors import WorkersError
from thermsim.run.executor import Finished
from thermsim.run.tasks import Make, Row, Task, compute, portable
from thermsim.solver.multigrid.threads import use_threads

# A task is given up when it has ended so many processes, and the pool when so many processes in a row end before their
# first task; our own choice.
MOST_DEATHS = 3
BORN, READY = "born", "ready"  # messages of a worker: its process runs; its `work` is built and it can take tasks

Connection = Any  # of multiprocessing; its class has another name on Windows


class Pool:
    """An `Executor`: so many processes, one thread of the solver each."""

    ahead = 1

    def __init__(self, make: Make, count: int) -> None:
        """Raises what pickle raises where `make` cannot be sent."""
        self.make = multiprocessing.reduction.ForkingPickler.dumps(make)
        self.lanes = count
        self.chunks: deque[list[Task]] = deque()  # that no worker has yet
        self.rows: list[Row] = []  # finished and not yet given
        self.error: Exception | None = None
        self.deaths: Counter[str] = Counter()
        self.false_starts = 0
        self.workers: list[_Worker] = []
        try:
            for _ in range(count):
                self.workers.append(_Worker())
        except BaseException:
            self.shutdown()
            raise

    def room(self) -> int:
        """How many chunks it takes now."""
        return max(0, sum(worker.is_free for worker in self.workers) - len(self.chunks))

    def submit(self, chunk: list[Task]) -> None:
        """Take a chunk, and hand it to a worker that is free."""
        self.chunks.append(chunk)
        self._hand_out()

    def wait(self, seconds: float | None) -> Finished:
        """As in `Executor`; processes that died are replaced, and their tasks given to others."""
        by_connection = {worker.connection: worker for worker in self.workers}
        for connection in multiprocessing.connection.wait(list(by_connection), seconds):
            worker = by_connection[connection]  # type: ignore[index]
            try:
                while worker.connection.poll():
                    self._take(worker, worker.connection.recv())
            except (EOFError, OSError):
                self._bury(worker)
        self._hand_out()
        rows, self.rows = self.rows, []
        return rows, self.error

    def shutdown(self) -> None:
        """End all workers at once."""
        for worker in self.workers:
            worker.process.kill()
        for worker in self.workers:
            worker.end()
        self.workers.clear()

    def _hand_out(self) -> None:
        for worker in self.workers:
            if self.chunks and worker.is_free:
                chunk = self.chunks.popleft()
                try:
                    worker.connection.send(chunk)
                    worker.tasks.extend(chunk)
                except OSError:  # it died while it had nothing to do; `wait` will see the end of its pipe
                    self.chunks.appendleft(chunk)

    def _take(self, worker: _Worker, message: Row | Exception | str) -> None:
        if isinstance(message, Row):
            self.rows.append(message)
            worker.tasks.popleft()
        elif message == BORN:
            worker.connection.send_bytes(self.make)
        elif message == READY:
            worker.ready = True
            self.false_starts = 0
        elif isinstance(message, Exception):
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
            self.chunks.appendleft(list(worker.tasks))
        elif not worker.ready:
            self.false_starts += 1
            if self.false_starts >= MOST_DEATHS:
                self.error = WorkersError(
                    f"worker processes end before their first task, the last one {_ended(code)}",
                    'see what they wrote above; a script needs its `if __name__ == "__main__":` line, and with one '
                    "worker everything runs in one process",
                )
        if self.error is None:
            self.workers.append(_Worker())


class _Worker:
    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.connection, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs,), daemon=True, name="thermsim worker")
        with _deaf_to_interrupts():
            self.process.start()
        theirs.close()  # so that the end of the process is the end of the pipe
        self.ready = False
        self.tasks: deque[Task] = deque()  # what it was given and has not sent back, the one it is at first

    @property
    def is_free(self) -> bool:
        return self.ready and not self.tasks

    def end(self) -> int | None:
        """Exit code of a process that was killed or ended by itself; minus the signal's number for a signal."""
        self.process.kill()
        self.process.join()
        self.connection.close()
        return self.process.exitcode


@contextlib.contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Processes that are started inside never hear the interrupt key; this one hears it afterwards.

    The key reaches every process of a terminal. A worker would print a traceback of whatever it was importing, before a
    line of `_serve` runs; blocked signals are inherited by what is started.
    """
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # it would unblock the signal again when the first process starts it
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _ended(code: int | None) -> str:
    if code is not None and code < 0:
        return f"by signal {-code}"
    return f"with exit code {code}"


def _serve(connection: Connection) -> None:
    """Main loop of a worker process: takes tasks from its pipe, and sends each row back."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the owner decides
    threading.Thread(target=_end_with_owner, daemon=True).start()
    use_threads(1)
    try:
        connection.send(BORN)
        make = connection.recv()
        work = make()
        connection.send(READY)
        while True:
            for task in connection.recv():
                connection.send(compute(work, task))
    except (EOFError, BrokenPipeError, ConnectionResetError):
        return  # nobody listens any more
    except Exception as error:
        with contextlib.suppress(OSError):
            connection.send(portable(error))


def _end_with_owner() -> None:
    """A killed owner cannot stop its workers: they watch it."""
    owner = multiprocessing.parent_process()
    if owner is not None:
        owner.join()
        os._exit(1)

"""What computes tasks, seen from those who ask: this process, other processes, or a cluster, all by one interface.

`submit`, `wait` and `shutdown` mean what they mean in `concurrent.futures` (docs.python.org), with two differences.
Finished tasks come back from the executor itself and not from a future for each: they come in any order and are wanted
only once. And a task that kills what computes it is found out by the executor, which alone knows who had it.
"""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Generator, Sequence
from typing import Protocol

from thermsim.run.tasks import Make, Row, Task, compute

# [s] of work in one chunk. Asking for a chunk costs some milliseconds, so chunks of single short tasks would waste
# time; longer ones would let some workers end late. Our own choice.
CHUNK_SECONDS = 0.25
MOST_TASKS_IN_CHUNK = 1000  # largest number of tasks in one chunk, however short they are; our own choice

Finished = tuple[list[Row], Exception | None]


class Executor(Protocol):
    """Computes tasks, handed to it in chunks, until it is shut down."""

    @property
    def lanes(self) -> int:
        """Tasks that are computed at once, now: a cluster grows and shrinks."""

    @property
    def ahead(self) -> int:
        """Chunks for each lane that are on their way together, so that none waits for the next."""

    def room(self) -> int:
        """Chunks that are welcome now."""

    def submit(self, chunk: list[Task]) -> None:
        """Take a chunk; it is computed in the order of its tasks."""

    def wait(self, seconds: float | None) -> Finished:
        """Rows that were finished since the last call, and the error that ends it all, if there is one.

        Waits for the first of them, at most so long (None: until it comes, or fails).
        """

    def shutdown(self) -> None:
        """Give up what is under way, and leave nothing behind."""


def dispatch(
    executor: Executor, tasks: Sequence[Task], keep_every: float
) -> Generator[tuple[int, list[Row]], None, None]:
    """Yields, about every `keep_every` [s], how many tasks are computed at once, and the rows finished since.

    What is finished is passed on before an error or the interrupt key ends it. The executor is shut down at the end.
    """
    waiting = deque(tasks)
    unfinished, finished, seconds = len(tasks), 0, 0.0
    rows: list[Row] = []
    last = time.monotonic()
    try:
        while unfinished:
            for _ in range(executor.room() if waiting else 0):
                size = chunk_size(len(waiting), executor.lanes * executor.ahead, seconds, finished)
                executor.submit([waiting.popleft() for _ in range(size)])
                if not waiting:
                    break
            if rows and time.monotonic() >= last + keep_every:  # only now: nobody waits for the disk
                yield executor.lanes, rows
                rows, last = [], time.monotonic()
            found, problem = executor.wait(max(0.0, last + keep_every - time.monotonic()) if rows else None)
            rows += found
            unfinished -= len(found)
            finished += len(found)
            seconds += sum(row.seconds for row in found)
            if problem is not None:
                yield executor.lanes, rows
                raise problem
        yield executor.lanes, rows
    except KeyboardInterrupt:
        yield executor.lanes, rows + executor.wait(0.0)[0]
        raise
    finally:
        executor.shutdown()


def chunk_size(left: int, lanes: int, seconds: float, finished: int) -> int:
    """Tasks to hand out at once: CHUNK_SECONDS of work, one while nothing is known, fewer towards the end."""
    if finished == 0:
        return 1
    wanted = CHUNK_SECONDS * finished / max(seconds, 1e-9)
    return int(max(1, min(wanted, MOST_TASKS_IN_CHUNK, math.ceil(left / (2 * lanes)))))


class ThisProcess:
    """An `Executor` in this process, one task at a time."""

    lanes = ahead = 1

    def __init__(self, make: Make) -> None:
        self.work = make()
        self.waiting: deque[Task] = deque()
        self.rows: list[Row] = []  # finished and not yet given

    def room(self) -> int:
        """How many chunks it takes now."""
        return 0 if self.waiting else 1

    def submit(self, chunk: list[Task]) -> None:
        """Take a chunk."""
        self.waiting.extend(chunk)

    def wait(self, seconds: float | None) -> Finished:
        """Compute one task, unless not even a moment is given."""
        problem = None
        if self.waiting and seconds != 0.0:
            try:
                self.rows.append(compute(self.work, self.waiting.popleft()))
            except Exception as error:
                problem = error
        rows, self.rows = self.rows, []
        return rows, problem

    def shutdown(self) -> None:
        """Forget what is not begun."""
        self.waiting.clear()

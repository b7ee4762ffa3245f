"""Thousands of solves: tasks handed out to processes, results in the order of the tasks, a journal that can be resumed.

A task is a small value with a key; `make()` builds, once in each process, the function `work(task)` that computes one.
Results do not depend on the number of workers, the order in which they come or on interruptions, if `work` gives the
same bits for a task whatever it computed before: no guess from the last solution, no random numbers but from a seed
of the task's own, no order taken from a set.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from thermsim.errors import InterruptedStudyError, WorkersError
from thermsim.progress import Progress
from thermsim.run.executor import Executor, ThisProcess, dispatch
from thermsim.run.journal import Journal
from thermsim.run.tasks import Make, Result, Row, Task
from thermsim.solver.multigrid.threads import available

# Processes for each processor, and the number that is allowed on any machine: the larger of both is the limit, as more
# processes would only wait and take memory. Our own choice.
MOST_EACH, MOST_WORKERS = 4, 64
WRITE_EVERY_S = 0.5  # [s] between writes to the journal: a kill loses no more, and each write flushes the disk
MOST_IN_THIS_PROCESS = 32  # full solves that are made in this process: starting others takes as long


def run(
    make: Make,
    tasks: Sequence[Task],
    *,
    workers: int | None = None,
    journal: Journal | None = None,
    progress: Progress | None = None,
    cluster: str | None = None,
    keep_every: float = WRITE_EVERY_S,
) -> list[Result]:
    """Compute every task that the journal does not hold, and give all results in the order of the tasks.

    Parameters
    ----------
    make : picklable; called once in each process (each thread of a cluster's worker); gives `work`
    workers : processes; None for one a processor, 1 for this process (its solver may then use every processor)
    journal : open; takes every finished task, and gives those of an earlier run
    progress : called with a line that tells tasks done, all tasks and, once it is known, the time left
    cluster : address of a dask scheduler, "tcp://host:port"; `workers` is then what the cluster has
    keep_every : finished tasks go to the journal, and progress is told, about so often [s]; a kill costs no more. A
        cluster's results are kept as they come

    Returns arrays, dicts of arrays, `Solved` or, where `work` raised a ThermsimError, `Failure`. The one exception is
    MemoryLimitError, which says something about the machine and not about the task, and ends the study.

    Raises
    ------
    WorkersError : processes die as they start, a task killed its process three times, no cluster answers
    InterruptedStudyError : instead of KeyboardInterrupt; workers are stopped, finished tasks are in the journal
    WriteError : the journal cannot be written
    any other error of `work`, with the task's key as a note
    """
    keys = [task.key for task in tasks]
    if twice := [key for key, count in Counter(keys).items() if count > 1]:
        raise ValueError(f"tasks share the key {twice[0]!r}")
    kept = {} if journal is None else journal.rows()
    rows = {key: kept[key] for key in keys if key in kept}
    left = [task for task in tasks if task.key not in rows]
    counted = _Progress(len(tasks), len(rows), progress)
    if left:
        batches = dispatch(_executor(make, len(left), workers, cluster), left, keep_every)
        try:
            for lanes, batch in batches:
                if journal is not None:
                    journal.add(batch)
                rows |= {row.key: row for row in batch}
                counted.tell(batch, lanes)
        except KeyboardInterrupt:
            batches.close()
            raise _interrupted(keys, len(rows), journal) from None
        finally:
            batches.close()
    return [rows[key].result for key in keys]


def _executor(make: Make, count: int, workers: int | None, cluster: str | None) -> Executor:
    """What computes so many tasks; only what is asked for is loaded."""
    if cluster is not None:
        from thermsim.run.cluster import Cluster

        return Cluster(make, cluster)
    if workers is None:
        workers = available()
    if workers < 1:
        raise ValueError(f"{workers} workers")
    if workers > (most := max(MOST_WORKERS, MOST_EACH * available())):
        raise WorkersError(
            f"{workers} workers are more than {most} on {available()} processors",
            "ask for one a processor, or leave `--workers` out; a cluster has more",
        )
    lanes = min(workers, count)
    if lanes == 1:
        return ThisProcess(make)
    from thermsim.run.pool import Pool

    return Pool(make, lanes)


class _Progress:
    """Counts tasks and knows the time left, from the mean time of those that this run has finished."""

    def __init__(self, total: int, done: int, progress: Progress | None) -> None:
        self.total, self.done, self.progress = total, done, progress
        self.finished, self.seconds = 0, 0.0
        if progress is not None:
            progress(progress_line(done, total, None))

    def tell(self, batch: list[Row], lanes: int) -> None:
        if not batch:
            return
        self.done += len(batch)
        self.finished += len(batch)
        self.seconds += sum(row.seconds for row in batch)
        if self.progress is not None:
            left = self.seconds / self.finished * (self.total - self.done) / lanes
            self.progress(progress_line(self.done, self.total, left))


def progress_line(done: int, total: int, seconds_left: float | None) -> str:
    """One line for a person: "314 of 1000 solves, about 2 min left"."""
    told = f"{done} of {total} solves"
    if seconds_left is None or done >= total:
        return told
    for unit, size in (("h", 3600.0), ("min", 60.0)):
        if seconds_left >= 1.5 * size:
            return f"{told}, about {seconds_left / size:.2g} {unit} left"
    return f"{told}, about {max(1, math.ceil(seconds_left))} s left"


def _interrupted(keys: list[str], done: int, journal: Journal | None) -> InterruptedStudyError:
    kept = {}
    if journal is not None:  # the key may have struck while it was written
        journal.flush()
        kept = journal.rows()
        done = sum(key in kept for key in keys)
    what = f"interrupted: {done} of {len(keys)} tasks of this round are finished"
    if journal is None:
        return InterruptedStudyError(what, "nothing is kept; with a folder for its journal, a study can be resumed")
    # A study asks for its tasks in several rounds: the journal holds those of earlier rounds too.
    earlier = len(kept) - done
    rounds = f", {earlier} of them of earlier rounds of the study" if earlier else ""
    all_kept = f"{len(kept)} task{' is' if len(kept) == 1 else 's are'} kept in {journal.path}{rounds}"
    return InterruptedStudyError(what, f"{all_kept}; the same command with `--resume` goes on")

"""Tasks for the tests of studies, and a study as a program of its own that can be killed.

The numbers are a chaotic map, x -> 3.9 x (1 - x): a difference in the last bit is one in the first digit 100 steps
later. Multiplication and subtraction are exact to the bit by IEEE 754, so plain Python floats must give the same.
"""

from __future__ import annotations

import functools
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import psutil

from thermsim.errors import MemoryLimitError, NotConvergedError
from thermsim.run.journal import Identity, Journal
from thermsim.run.run_tasks import run
from thermsim.run.tasks import Solved, Task
from thermsim.solver.multigrid.threads import available

STEPS = 200
IDENTITY = Identity.of("chaotic map", 7, "title: none")


def tasks(count: int) -> list[Task]:
    return [Task(f"map {number}", number) for number in range(count)]


def start_of(number: int) -> float:
    return 0.1 + 0.8 * number / 1000.0


def plain(number: int) -> list[float]:
    """The same numbers without numpy."""
    found = []
    for lane in range(4):
        x = start_of(number) + 0.01 * lane
        for _ in range(STEPS):
            x = 3.9 * x * (1.0 - x)
        found.append(x)
    return found


def chaotic(task: Task, seconds: float = 0.0) -> np.ndarray[Any, Any]:
    x = start_of(task.value) + 0.01 * np.arange(4)
    for _ in range(STEPS):
        x = 3.9 * x * (1.0 - x)
    time.sleep(seconds)
    return x


def make() -> Callable[[Task], Any]:
    return chaotic


def slow() -> Callable[[Task], Any]:
    return functools.partial(chaotic, seconds=0.004)


def troubled(folder: Path) -> Callable[[Task], Any]:
    """Tasks whose value is a word do what it says; "once" only before its mark stands in the folder."""

    def work(task: Task) -> Any:
        value = task.value
        if value == "no solution":
            raise NotConvergedError("the solver stopped", "look again")
        if value == "no memory":
            raise MemoryLimitError("too large")
        if value == "bug":
            raise ZeroDivisionError("by nothing")
        if value == "odd bug":
            raise OddError("a", "b")
        if value == "interrupt":
            raise KeyboardInterrupt
        if value == "whole numbers":
            return np.arange(3)
        if value == "always dies":
            os._exit(9)
        if value == "once":
            mark = folder / task.key
            if not mark.exists():
                mark.touch()
                os._exit(9)
            value = 5
        if value == "waits":
            (folder / f"{task.key} began").touch()
            last = time.monotonic() + 60.0
            while not (folder / "go on").exists():
                assert time.monotonic() < last, "nobody said so"
                time.sleep(0.005)
            value = 5
        if value == "threads":
            return np.array([float(available())])
        if value == "named":
            return {
                "fortran": np.asfortranarray(np.arange(6.0).reshape(2, 3)),
                "one": np.array(0.1),
                "none": np.zeros(0),
            }
        if value == "way":
            return Solved(np.array([1.5]), "superposition")
        if value == "large":
            return np.full(300_000, 0.1)
        return chaotic(Task(task.key, value))

    return work


class OddError(Exception):
    """Cannot be built again from its arguments, as pickle would."""

    def __init__(self, one: str, two: str) -> None:
        super().__init__(one + two)


def make_troubled(folder: Path) -> Callable[[], Callable[[Task], Any]]:
    return functools.partial(troubled, folder)


def cannot_make() -> Callable[[Task], Any]:
    raise NotConvergedError("no state to begin with")


def dies_making() -> Callable[[Task], Any]:
    os._exit(7)


def wait_for_the_end(family: list[psutil.Process]) -> None:
    """Of all these processes, within 20 s; one that has ended and that nobody has asked about yet counts as gone."""
    last = time.monotonic() + 20.0
    while any(_alive(process) for process in family):
        assert time.monotonic() < last, "processes outlive their owner"
        time.sleep(0.005)


def _alive(process: psutil.Process) -> bool:
    try:
        return bool(process.status() != psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return False


def done_in(line: str) -> int:
    """Tasks done, of a line of progress."""
    return int(line.split()[0])


def main(folder: str, count: str, workers: str) -> None:
    """A study that says how far it is; its result stands in done.npy."""
    with Journal.open(folder, IDENTITY, resume=True) as journal:
        found = run(
            slow, tasks(int(count)), workers=int(workers), journal=journal,
            progress=lambda line: print(done_in(line), flush=True), keep_every=0.0,
        )  # fmt: skip
    np.save(Path(folder) / "done.npy", np.stack([np.asarray(result) for result in found]))


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # one started in the background may be deaf
    try:
        main(*sys.argv[1:])
    except Exception as error:
        print(f"ended: {error}", flush=True)
        sys.exit(getattr(error, "exit_code", 1))

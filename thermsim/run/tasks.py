"""One solve of a study: the task that asks for it, the function that computes it, and the row that it becomes."""

from __future__ import annotations

import hashlib
import json
import pickle
import time
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import accumulate
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import JournalError, MemoryLimitError, ThermsimError

Array = NDArray[np.float64]
Values = Array | dict[str, Array]

BEGIN_ANEW = "begin anew with `--replace`, take a backup of the file, or choose another folder"


@dataclass(frozen=True)
class Task:
    """One solve of a study. key : names it in the journal and never changes its meaning; value : anything picklable."""

    key: str
    value: Any = None


Work = Callable[[Task], Any]  # gives a float64 array, a dict of them, or either in `Solved`
Make = Callable[[], Work]


@dataclass(frozen=True)
class Failure:
    """The result of a task that has no solution: kind is the class of the error, message its text with the remedy."""

    kind: str
    message: str


@dataclass(frozen=True, eq=False)
class Solved:
    """A result together with the way it was found ("full solve", "superposition", ...), if a task wants to tell it."""

    values: Values
    way: str


Result = Values | Solved | Failure


@dataclass(frozen=True)
class Row:
    """A finished task as it is sent between processes and kept.

    Every result takes this form, also where nothing is sent or kept: its bits and its order in memory are then the
    same on every way, and so are the last digits of any sum made over it.
    layout : the shape, or the shape by name, as JSON; numbers : float64, little end first, C order, one array after
    another; seconds : time that the task took [s]
    """

    key: str
    layout: str
    numbers: bytes
    seconds: float
    way: str | None = None
    failure: str | None = None

    @classmethod
    def of(cls, key: str, found: object, seconds: float) -> Row:
        """Raises TypeError for anything but float64 arrays, one or by name, alone or in `Solved`."""
        way = found.way if isinstance(found, Solved) else None
        values = found.values if isinstance(found, Solved) else found
        if isinstance(values, Mapping):
            arrays = {name: _float64(key, value) for name, value in values.items()}
            if not all(isinstance(name, str) for name in arrays):
                raise TypeError(f"task {key!r} names its arrays by {list(arrays)}, not by text")
            layout = json.dumps({name: array.shape for name, array in arrays.items()})
            return cls(key, layout, b"".join(map(_bytes, arrays.values())), seconds, way)
        array = _float64(key, values)
        return cls(key, json.dumps(array.shape), _bytes(array), seconds, way)

    @classmethod
    def failed(cls, key: str, error: ThermsimError, seconds: float) -> Row:
        """A task that ended in an error of ours, which is an answer too."""
        return cls(key, "[0]", b"", seconds, type(error).__name__, str(error))

    @property
    def result(self) -> Result:
        """The answer back from its bytes, or the failure. Raises ValueError where the row is spoilt."""
        if self.failure is not None:
            return Failure(self.way or "", self.failure)
        try:
            layout = json.loads(self.layout)
            shapes = list(layout.values()) if isinstance(layout, dict) else [layout]
            arrays = self._arrays([_shape(one) for one in shapes])
        except ValueError:  # JSON's own error too
            raise JournalError(f"the row of task {self.key!r} is damaged", BEGIN_ANEW) from None
        values: Values = dict(zip(layout, arrays, strict=True)) if isinstance(layout, dict) else arrays[0]
        return values if self.way is None else Solved(values, self.way)

    def _arrays(self, shapes: list[tuple[int, ...]]) -> list[Array]:
        flat = np.frombuffer(self.numbers, dtype="<f8").astype(np.float64)  # a copy, which may be written to
        ends = list(accumulate(map(prod, shapes), initial=0))
        if ends[-1] != flat.size:
            raise ValueError(f"{flat.size} numbers, not {ends[-1]}")
        return [flat[a:b].reshape(shape) for a, b, shape in zip(ends[:-1], ends[1:], shapes, strict=True)]

    def digest(self, study: bytes) -> bytes:
        """Checksum of all that the row holds, as a row of one study."""
        told = repr((self.key, self.layout, self.seconds, self.way, self.failure)).encode("utf-8", "backslashreplace")
        return hashlib.blake2b(
            len(told).to_bytes(8, "little") + told + self.numbers, digest_size=16, key=study
        ).digest()


def _shape(found: object) -> tuple[int, ...]:
    """Raises ValueError for what is no shape."""
    if not isinstance(found, list) or not all(type(length) is int and length >= 0 for length in found):
        raise ValueError(f"{found!r} is no shape")
    return tuple(found)


def _float64(key: str, value: object) -> Array:
    array = np.asarray(value)
    if array.dtype != np.float64:
        raise TypeError(f"task {key!r} gave {array.dtype} numbers, not float64")
    return array


def _bytes(array: Array) -> bytes:
    return array.astype("<f8", copy=False).tobytes()  # C order, whatever the array has


def compute(work: Work, task: Task) -> Row:
    """One task. A ThermsimError is its result; any other error goes on its way with the task's key."""
    start = time.perf_counter()
    try:
        found = work(task)
        return Row.of(task.key, found, time.perf_counter() - start)
    except MemoryLimitError as error:
        error.add_note(f"in task {task.key!r}")
        raise
    except ThermsimError as error:
        return Row.failed(task.key, error, time.perf_counter() - start)
    except Exception as error:
        error.add_note(f"in task {task.key!r}")
        raise


def portable(error: Exception) -> Exception:
    """The error as it can be sent to another process, with its traceback as a note."""
    error.add_note("in a worker process:\n" + "".join(traceback.format_tb(error.__traceback__)))
    try:
        copy = pickle.loads(pickle.dumps(error))
    except Exception:  # whatever a foreign class does when it is taken apart
        copy = None
    if type(copy) is type(error):
        return error
    other = RuntimeError(f"{type(error).__name__}: {error}")
    for note in error.__notes__:
        other.add_note(note)
    return other

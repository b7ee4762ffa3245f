"""A journal that something else has changed: told as damaged, or gone on with to the bits of an undisturbed run.

Expected numbers come from plain Python floats (IEEE 754), see study_tasks. Damage is single bits flipped at places
drawn from a recorded seed: the fault of a disk or of memory, "silent data corruption" in the words of the field.
"""

from __future__ import annotations

import random
import sqlite3
from pathlib import Path

import numpy as np
import pytest
import study_tasks
from study_tasks import IDENTITY, plain, tasks

from thermsim.errors import JournalError
from thermsim.run.journal import FILE, Journal
from thermsim.run.run_tasks import run
from thermsim.run.tasks import Row

COUNT = 60
SEED = 271_828


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a finished study."""
    folder = tmp_path_factory.mktemp("sound")
    with Journal.open(folder, IDENTITY) as journal:
        run(study_tasks.make, tasks(COUNT), workers=1, journal=journal)
    return (folder / FILE).read_bytes()


def flipped(data: bytes, chance: random.Random, most: int) -> bytes:
    content = bytearray(data)
    for _ in range(chance.randint(1, most)):
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    return bytes(content)


def go_on(folder: Path) -> list[bytes]:
    with Journal.open(folder, IDENTITY, resume=True) as journal:
        found = run(study_tasks.make, tasks(COUNT), workers=1, journal=journal)
    return [np.asarray(one).tobytes() for one in found]


@pytest.mark.parametrize("most", [1, 4])
def test_flipped_bits_never_change_a_number(sound: bytes, most: int, tmp_path: Path) -> None:
    expected = [np.array(plain(number)).tobytes() for number in range(COUNT)]
    chance = random.Random(SEED + most)
    told = 0
    for number in range(100):
        folder = tmp_path / f"{number}"
        folder.mkdir()
        (folder / FILE).write_bytes(flipped(sound, chance, most))
        try:
            assert go_on(folder) == expected
        except JournalError as error:
            assert error.remedy
            told += 1
    assert told > 10, "a ninth of the file is rows"


CHANGES = {
    "numbers": "x'0000000000000840'",
    "layout": "'[2, 0.5]'",
    "seconds": "9.0",
    "way": "'small model'",
    "failure": "'no solution'",
    "key": "'map 7777'",
    "digest": "x'00'",
}


@pytest.mark.parametrize("column", CHANGES)
def test_a_row_that_something_else_wrote_is_told_by_its_key(sound: bytes, column: str, tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(sound)
    connection = sqlite3.connect(tmp_path / FILE)
    connection.execute(f"UPDATE finished SET {column} = {CHANGES[column]} WHERE key = 'map 7'")
    connection.commit()
    connection.close()
    with pytest.raises(JournalError, match=r"1 of 60 rows .*'map 7") as told:
        go_on(tmp_path)
    assert "--replace" in told.value.remedy
    Journal.open(tmp_path, IDENTITY, replace=True).close()  # what the remedy names works


@pytest.mark.parametrize("layout", ["", "[", "7", "[-1]", '{"a": 3}', '{"a": [2, "x"]}', "[1e3]", "null", "[[2]]"])
def test_a_layout_that_says_nothing_is_told(layout: str) -> None:
    """As from another program that keeps sums of its own: the row is whole, and means nothing."""
    with pytest.raises(JournalError, match="'here' is damaged"):
        _ = Row("here", layout, b"\0" * 16, 0.0).result

"""The journal: what is kept, what is refused, and what is left after a kill at any moment.

Rows are read back with sqlite3 and struct alone; expected numbers come from plain Python floats (IEEE 754).
"""

from __future__ import annotations

import random
import shutil
import sqlite3
import struct
import subprocess
import sys
import time
from pathlib import Path

import numba
import numpy as np
import psutil
import pytest
import scipy
import study_tasks
from study_tasks import IDENTITY

import thermsim
from thermsim.errors import JournalError, WriteError
from thermsim.run.journal import FILE, Identity, Journal
from thermsim.run.program import digest_of
from thermsim.run.run_tasks import run
from thermsim.run.tasks import Failure, Row, Solved

PROGRAM = Path(study_tasks.__file__)
COUNT = 60


def row(key: str, values: object = None) -> Row:
    return Row.of(key, np.array([0.1, 0.2]) if values is None else values, 0.5)


def test_every_bit_comes_back(tmp_path: Path) -> None:
    odd = np.array([np.nan, -0.0, 5e-324, np.inf, 0.1])
    odd.view(np.uint64)[0] = 0x7FF8_0000_DEAD_BEEF  # a NaN that carries something
    square = np.asfortranarray(np.arange(12.0).reshape(3, 4) / 7.0)
    kept = {"odd": odd, "square": square, "one": np.array(0.3), "none": np.zeros((0, 2))}
    with Journal.open(tmp_path, IDENTITY) as journal:
        journal.add([row("all", kept), row("way", Solved(odd, "superposition")), row("plain", square)])
    with Journal.open(tmp_path, IDENTITY, resume=True) as journal:
        rows = journal.rows()
    found = rows["all"].result
    assert isinstance(found, dict) and list(found) == list(kept)
    for name, array in kept.items():
        assert found[name].shape == array.shape and found[name].tobytes() == array.tobytes()
        assert found[name].flags["C_CONTIGUOUS"] and found[name].flags["WRITEABLE"]
    way = rows["way"].result
    assert isinstance(way, Solved) and way.way == "superposition"
    numbers = sqlite3.connect(tmp_path / FILE).execute("SELECT numbers FROM finished WHERE key='plain'").fetchone()[0]
    assert struct.unpack("<12d", numbers) == tuple(number / 7.0 for number in range(12))


def test_only_float64_is_taken() -> None:
    for wrong in (np.arange(3), np.zeros(2, np.float32), "text", {"a": [1, 2]}, {1: np.zeros(1)}):
        with pytest.raises(TypeError, match="'here'"):
            row("here", wrong)


def test_a_failure_is_kept_as_it_was(tmp_path: Path) -> None:
    error = WriteError("no room", "make some")
    with Journal.open(tmp_path, IDENTITY) as journal:
        journal.add([Row.failed("lost", error, 0.1)])
        assert journal.rows()["lost"].result == Failure("WriteError", "no room\n  remedy: make some")


def test_an_existing_journal_is_refused_unless_asked_for(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "new" / "folder", IDENTITY) as journal:
        journal.add([row("a"), row("b")])
    with pytest.raises(JournalError, match="2 of its tasks are finished") as told:
        Journal.open(tmp_path / "new" / "folder", IDENTITY)
    assert told.value.exit_code == 12 and "--resume" in told.value.remedy and "--replace" in told.value.remedy
    with Journal.open(tmp_path / "new" / "folder", IDENTITY, resume=True) as journal:
        assert set(journal.rows()) == {"a", "b"}
    with Journal.open(tmp_path / "new" / "folder", IDENTITY, replace=True) as journal:
        assert not journal.rows()


def test_a_journal_of_another_study_is_refused_with_what_differs(tmp_path: Path) -> None:
    Journal.open(tmp_path, IDENTITY).close()
    others = {
        "the case or one of its tables has changed": Identity.of("chaotic map", 7, "title: other"),
        "the seed was 7, and is 8": Identity.of("chaotic map", 8, "title: none"),
        "'chaotic map', and is 'sweep'": Identity.of("sweep", 7, "title: none"),
        r"begun by thermsim 0\.1\.0 \(files": Identity(IDENTITY.case_hash, 7, IDENTITY.study, "99.9"),
    }
    for message, other in others.items():
        with pytest.raises(JournalError, match=message):
            Journal.open(tmp_path, other, resume=True)
        with pytest.raises(JournalError):
            Journal.open(tmp_path, other)
    with Journal.open(tmp_path, others["the seed was 7, and is 8"], replace=True):
        pass
    with pytest.raises(JournalError, match="the seed was 8, and is 7"):
        Journal.open(tmp_path, IDENTITY, resume=True)


def test_where_one_text_ends_counts() -> None:
    assert Identity.of("s", 7, "ab", "c").case_hash != Identity.of("s", 7, "a", "bc").case_hash
    assert Identity.of("s", 7, "ab").case_hash == Identity.of("s", 7, b"ab").case_hash


def test_foreign_and_damaged_files_are_refused_and_left_alone(tmp_path: Path) -> None:
    foreign, rubbish, torn = (tmp_path / name for name in ("foreign", "rubbish", "torn"))
    for folder in (foreign, rubbish):
        folder.mkdir()
    other = sqlite3.connect(foreign / FILE)
    other.execute("PRAGMA journal_mode=WAL")
    other.execute("CREATE TABLE mine (a)")
    other.close()
    (rubbish / FILE).write_bytes(b"not a database at all" * 100)
    with Journal.open(torn, IDENTITY) as journal:
        journal.add([row(f"{n}", np.full(500, 0.1)) for n in range(50)])
    content = bytearray((torn / FILE).read_bytes())
    content[8192:12288] = b"\xff" * 4096
    (torn / FILE).write_bytes(content)
    for folder in (foreign, rubbish, torn):
        before = (folder / FILE).read_bytes()
        for how in ({"resume": True}, {"replace": True}, {}):
            with pytest.raises(JournalError):
                Journal.open(folder, IDENTITY, **how)
        assert (folder / FILE).read_bytes() == before


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(WriteError):
        Journal.open(tmp_path / "file", IDENTITY)


def test_a_second_run_is_kept_out(tmp_path: Path) -> None:
    with Journal.open(tmp_path, IDENTITY), pytest.raises(JournalError, match="in use by another run"):
        Journal.open(tmp_path, IDENTITY, resume=True)
    Journal.open(tmp_path, IDENTITY, resume=True).close()


def test_an_empty_file_is_a_journal_whose_making_was_cut_short(tmp_path: Path) -> None:
    (tmp_path / FILE).touch()
    with Journal.open(tmp_path, IDENTITY) as journal:
        journal.add([row("a")])
        assert set(journal.rows()) == {"a"}


def test_what_could_not_be_written_is_tried_again(tmp_path: Path) -> None:
    journal = Journal.open(tmp_path, IDENTITY)
    journal.add([row("a")])
    pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
    journal._connection.execute(f"PRAGMA max_page_count={pages}")  # as a full disk: SQLITE_FULL
    with pytest.raises(WriteError, match="full"):
        journal.add([row("b", np.full(2000, 0.1))])
    assert set(journal.rows()) == {"a"}
    journal._connection.execute("PRAGMA max_page_count=1000000")
    journal.close()
    with Journal.open(tmp_path, IDENTITY, resume=True) as journal:
        assert set(journal.rows()) == {"a", "b"}


HALF_WRITTEN = """
import os, sys
import numba
import numpy as np
sys.path.insert(0, sys.argv[2])
from study_tasks import IDENTITY

import thermsim
from thermsim.run.journal import Journal
from thermsim.run.tasks import Row
journal = Journal.open(sys.argv[1], IDENTITY)
journal.add([Row.of("kept", np.array([0.1]), 0.0)])
connection = journal._connection
connection.execute("PRAGMA cache_size=1")  # so that pages reach the file before COMMIT
connection.execute("BEGIN IMMEDIATE")
for number in range(200):
    row = Row.of(f"lost {number}", np.full(1000, 0.1), 0.0)
    connection.execute("INSERT INTO finished VALUES (?, ?, ?, ?, ?, ?, ?)",
                       (row.key, row.layout, row.numbers, row.seconds, None, None, row.digest(journal._study)))
os._exit(9)
"""


def test_a_transaction_cut_short_in_the_file_is_rolled_back(tmp_path: Path) -> None:
    """A "hot" journal as in sqlite.org/atomiccommit.html, section 4."""
    subprocess.run([sys.executable, "-c", HALF_WRITTEN, str(tmp_path), str(PROGRAM.parent)], check=False)
    assert (tmp_path / f"{FILE}-journal").stat().st_size > 512, "the transaction never reached the file"
    assert (tmp_path / FILE).stat().st_size > 100_000
    with Journal.open(tmp_path, IDENTITY, resume=True) as journal:
        assert set(journal.rows()) == {"kept"}


def killed(folder: Path, chance: random.Random, workers: int) -> int:
    """Kill the program after a random message and a random pause; how many tasks its last message had finished."""
    done, stop = 0, chance.randrange(COUNT)
    command = [sys.executable, str(PROGRAM), str(folder), str(COUNT), str(workers)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        for line in program.stdout:
            done = int(line)
            if done >= stop:
                break
        time.sleep(chance.uniform(0.0, 0.03))
        family = psutil.Process(program.pid).children(recursive=True)
        program.kill()
    study_tasks.wait_for_the_end(family)
    return done


def check_kills(tmp_path: Path, moments: int, seed: int) -> None:
    expected = np.array([study_tasks.plain(number) for number in range(COUNT)])
    chance = random.Random(seed)
    for moment in range(moments):
        folder = tmp_path / f"{moment}"
        done = killed(folder, chance, workers=2)
        copy = shutil.copytree(folder, tmp_path / f"copy {moment}")
        with Journal.open(folder, IDENTITY, resume=True) as journal:
            rows = journal.rows()
            assert done <= len(rows), "what was told to be finished is lost"
            for key, kept in rows.items():
                assert kept.numbers == expected[int(key.split()[1])].tobytes()
            found = run(study_tasks.make, study_tasks.tasks(COUNT), workers=1, journal=journal)
        assert np.array(found).tobytes() == expected.tobytes()
        assert sqlite3.connect(copy / FILE).execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_killed_at_three_moments_and_resumed(tmp_path: Path) -> None:
    check_kills(tmp_path, 3, seed=2718)


@pytest.mark.slow
def test_killed_at_twenty_moments_and_resumed(tmp_path: Path) -> None:
    check_kills(tmp_path, 20, seed=31415)


def test_killed_again_and_again_until_it_is_done(tmp_path: Path) -> None:
    """One folder, several kills, and the program itself to the end."""
    chance = random.Random(1618)
    for _ in range(3):
        killed(tmp_path, chance, workers=1)
    subprocess.run([sys.executable, str(PROGRAM), str(tmp_path), str(COUNT), "2"], check=True, capture_output=True)
    expected = np.array([study_tasks.plain(number) for number in range(COUNT)])
    assert np.load(tmp_path / "done.npy").tobytes() == expected.tobytes()


def test_the_identity_holds_what_decides_the_bits(tmp_path: Path) -> None:
    """Every file of the package by its content, and the libraries that compute by their version."""
    package = tmp_path / "package"
    shutil.copytree(Path(thermsim.__file__).parent, package, ignore=shutil.ignore_patterns("__pycache__"))
    assert digest_of(package)[:12] in IDENTITY.program
    for name, module in (("numpy", np), ("scipy", scipy), ("numba", numba)):
        assert f"{name} {module.__version__}" in IDENTITY.program
    for changed in ("model/assemble.py", "materials/catalogue.yaml"):
        before = digest_of(package)
        (package / changed).write_bytes((package / changed).read_bytes() + b"\n")
        assert digest_of(package) != before
    before = digest_of(package)
    (package / "model" / "assemble.py").rename(package / "model" / "assembled.py")
    assert digest_of(package) != before

"""The journal of a study: one row for each finished task, in a file that survives being killed at any moment.

The file is `study.sqlite` in the output folder. What is relied on, by "Atomic Commit In SQLite"
(sqlite.org/atomiccommit.html) and the page on pragmas (sqlite.org/pragma.html):

- A transaction is kept as a whole or not at all, whether the process is killed, the system crashes or the power
  fails. Before the file is changed, what stood there is written to `study.sqlite-journal` and flushed; a journal
  found when the file is opened ("hot") is rolled back. Half-written rows therefore never appear, and rows whose
  COMMIT returned stay. A killed process needs the first half of this only: what it wrote, the system still holds.
- With `synchronous=EXTRA` a COMMIT returns after the disk was told to flush, also the folder. A disk that says so
  before it did is beyond SQLite, and beyond us.
- The rollback journal is chosen over the write-ahead log (WAL): WAL needs memory shared between processes and does
  not work on network file systems (sqlite.org/wal.html), where output folders of clusters often are. One commit or
  a few a second make its speed worthless here.
- `locking_mode=EXCLUSIVE` keeps a second run out for as long as the first one lives; the system drops the lock with
  the process. File locks of some network file systems are broken (sqlite.org/howtocorrupt.html): one run a folder.
- `study.sqlite-journal`, if it is there, belongs to the file: move both or none.

Only one process writes, the one that hands the tasks out.

SQLite keeps no checksum of what it stores (sqlite.org/cksumvfs.html: an extension does): a bit that a disk loses in a
row comes back as another number. Every row therefore carries a checksum of its own, which is held against the row when
it is read. The checksum is keyed with the identity of the study: a row of another study is no row of this one.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import TracebackType

from thermsim.errors import JournalError, ThermsimError, WriteError
from thermsim.run.program import program
from thermsim.run.tasks import BEGIN_ANEW, Row

FILE = "study.sqlite"
APPLICATION_ID = 0x7468736A  # "thsj": SQLite's `application_id`, by which a file is known as a journal of thermsim
FORMAT = 2

TABLES = (
    "CREATE TABLE about (item TEXT PRIMARY KEY, value TEXT NOT NULL)",
    "CREATE TABLE finished (key TEXT PRIMARY KEY, layout TEXT NOT NULL, numbers BLOB NOT NULL, seconds REAL NOT NULL,"
    " way TEXT, failure TEXT, digest BLOB NOT NULL)",
)
DAMAGED = "take a backup of the file, or choose another folder"
FEW_NAMES = 5
# What reading a damaged file may raise; UnicodeDecodeError comes from SQLite's own message where a name in the file is
# damaged.
UNREADABLE = (sqlite3.Error, UnicodeDecodeError)


@dataclass(frozen=True)
class Identity:
    """What a study is: two studies with the same identity and the same key of a task have the same result.

    case_hash : of the case's text and all tables it names; study : everything else that results depend on, in words
    that a reader of an error message understands ("uncertainty, latin hypercube, grid 3"); program : what computes it
    """

    case_hash: str
    seed: int | None
    study: str
    program: str = field(default_factory=program)

    @classmethod
    def of(cls, study: str, seed: int | None, *texts: str | bytes) -> Identity:
        """texts : the case file, then its tables."""
        digest = hashlib.sha256()
        for text in texts:
            data = text.encode("utf-8") if isinstance(text, str) else text
            digest.update(len(data).to_bytes(8, "little") + data)
        return cls(digest.hexdigest(), seed, study)

    def items(self) -> dict[str, str]:
        """Everything that decides the bits of a study, as text."""
        return {name: str(value) for name, value in asdict(self).items()}

    @property
    def key(self) -> bytes:
        """Digest of the whole identity (32 bytes), the key of every checksum in the journal."""
        return hashlib.sha256(json.dumps(self.items(), sort_keys=True).encode("utf-8")).digest()


TOLD = {
    "case_hash": "the case or one of its tables has changed",
    "seed": "the seed was {old}, and is {new}",
    "study": "the study was '{old}', and is '{new}'",
    "program": "it was begun by {old}, and this is {new}",
}


class Journal:
    """Finished tasks of one study. Use `Journal.open`, and close it or use it in a `with` block."""

    def __init__(self, path: Path, connection: sqlite3.Connection, identity: Identity) -> None:
        self.path = path
        self._connection = connection
        self._study = identity.key
        self._waiting: list[Row] = []

    @classmethod
    def open(cls, folder: Path | str, identity: Identity, *, resume: bool = False, replace: bool = False) -> Journal:
        """The journal in a folder, made if there is none.

        resume : go on with the one that is there, which must be of the same study
        replace : begin anew; the finished tasks of the one that is there go, in the same transaction

        Raises
        ------
        JournalError : one is there and neither was asked for, it is of another study, another run has it open, or
            the file is damaged or none of ours (such a file is never replaced)
        WriteError : the folder cannot be written
        """
        if resume and replace:
            raise ValueError("a journal is gone on with or replaced, not both")
        path = Path(folder) / FILE
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            journal = cls(path, sqlite3.connect(path, timeout=1.0, isolation_level=None), identity)
        except (OSError, sqlite3.OperationalError) as problem:
            raise WriteError(f"{path} cannot be written: {problem}", "choose a folder that can be") from None
        try:
            journal._begin(identity, resume, replace)
            journal._connection.execute("PRAGMA journal_mode=DELETE")  # not before: the file might not be ours
        except BaseException as problem:
            journal._connection.close()
            if isinstance(problem, UNREADABLE):
                raise _explained(path, problem) from problem
            raise
        return journal

    def _begin(self, identity: Identity, resume: bool, replace: bool) -> None:
        run = self._connection.execute
        run("PRAGMA locking_mode=EXCLUSIVE")
        run("PRAGMA synchronous=EXTRA")
        run("BEGIN EXCLUSIVE")
        tables = run("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if tables:
            self._check_ours()
            if not replace:
                self._check_same(identity, resume)
                run("COMMIT")
                return
            run("DELETE FROM finished")
            run("DELETE FROM about")
        else:  # a new file, or one whose making was cut short
            for table in TABLES:
                run(table)
            run(f"PRAGMA application_id={APPLICATION_ID}")
            run(f"PRAGMA user_version={FORMAT}")
        self._connection.executemany("INSERT INTO about VALUES (?, ?)", identity.items().items())
        run("COMMIT")

    def _check_ours(self) -> None:
        run = self._connection.execute
        owner, made = (run(f"PRAGMA {name}").fetchone()[0] for name in ("application_id", "user_version"))
        if owner != APPLICATION_ID:
            raise JournalError(f"{self.path} is not a journal of thermsim", "choose another folder")
        if made != FORMAT:
            raise JournalError(f"{self.path} was written by another version of thermsim", "choose another folder")
        faults = run("PRAGMA integrity_check(1)").fetchone()[0]
        if faults != "ok":
            raise JournalError(f"{self.path} is damaged: {faults}", DAMAGED)

    def _check_same(self, identity: Identity, resume: bool) -> None:
        if not resume:
            count = self._connection.execute("SELECT count(*) FROM finished").fetchone()[0]
            raise JournalError(
                f"{self.path} holds a study already, {count} of its tasks are finished",
                "`--resume` goes on with it, `--replace` begins anew, or choose another folder",
            )
        before = dict(self._connection.execute("SELECT item, value FROM about").fetchall())
        changed = [
            TOLD[item].format(old=before.get(item), new=value)
            for item, value in identity.items().items()
            if before.get(item) != value
        ]
        if changed:
            raise JournalError(
                f"{self.path} is of another study: {'; '.join(changed)}",
                "give what it was begun with, choose another folder, or begin anew with `--replace`",
            )

    def rows(self) -> dict[str, Row]:
        """All finished tasks by their key.

        Raises JournalError where the file is damaged, or a row is not what was written.
        """
        query = "SELECT key, layout, numbers, seconds, way, failure, digest FROM finished"
        try:
            found = self._connection.execute(query).fetchall()
        except UNREADABLE as problem:
            raise _explained(self.path, problem) from problem
        rows = [Row(*values) for *values, _ in found]
        damaged = [
            str(row.key)
            for row, (*_, digest) in zip(rows, found, strict=True)
            if not isinstance(row.numbers, bytes) or row.digest(self._study) != digest
        ]
        if damaged:
            named = ", ".join(map(repr, damaged[:FEW_NAMES])) + (", ..." if len(damaged) > FEW_NAMES else "")
            raise JournalError(
                f"{self.path} is damaged: {len(damaged)} of {len(rows)} rows are not what was written ({named})",
                BEGIN_ANEW,
            )
        return {row.key: row for row in rows}

    def add(self, rows: Iterable[Row]) -> None:
        """Keep finished tasks: when it returns they are on the disk, all of them in one transaction.

        Raises WriteError if they cannot be written; a later `add`, `flush` or `close` tries again.
        """
        self._waiting.extend(rows)
        self.flush()

    def flush(self) -> None:
        """Write what an `add` that was cut short has left. A row that is kept already stays as it is."""
        if not self._waiting:
            return
        run = self._connection.execute
        rows = [
            (row.key, row.layout, row.numbers, row.seconds, row.way, row.failure, row.digest(self._study))
            for row in self._waiting
        ]
        try:
            run("BEGIN IMMEDIATE")
            self._connection.executemany("INSERT OR IGNORE INTO finished VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            run("COMMIT")
        except BaseException as problem:  # the interrupt key too: the next try begins with a clean connection
            if self._connection.in_transaction:
                run("ROLLBACK")
            if isinstance(problem, sqlite3.Error):
                raise WriteError(
                    f"{self.path} cannot be written: {problem}",
                    "make room or mend the folder, then go on with `--resume`",
                ) from problem
            raise
        self._waiting.clear()

    def close(self) -> None:
        """Write what is not yet written, and let go of the file."""
        try:
            self.flush()
        finally:
            self._connection.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _explained(path: Path, problem: Exception) -> ThermsimError:
    text = str(problem)
    if "locked" in text:
        return JournalError(f"{path} is in use by another run", "wait for it, or choose another folder")
    if "readonly" in text or "unable to open" in text or "full" in text:
        return WriteError(f"{path} cannot be written: {problem}", "choose a folder that can be")
    return JournalError(f"{path} cannot be read as a journal: {problem}", DAMAGED)

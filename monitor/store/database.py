"""One SQLite file per show: opening it, its tables, its transactions, and the folder's lock.

One `Database` per thread: opening costs microseconds, and a connection is never shared.
Nothing here opens the database file by itself to look inside: closing any handle on it
would drop the locks that the other threads' connections hold.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import sqlite3
import time
from typing import TYPE_CHECKING

from sqlite_utils import Database

from monitor.domain import UnableError
from monitor.store.schema import STEPS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

APPLICATION_ID = 0x44525950
""""DRYP" in the file's header: tells our database from any other program's."""

SMALLEST_BYTES = 512
"""The smallest page, so the smallest database (sqlite.org/fileformat2.html, 1.3.2)."""

LOCK_NAME = "dryspell.lock"

_BUSY_PAUSE_S = 0.02

_DISK = (
    "There is no room left on the disk, or the disk does not take what is written.",
    "Free some space (or look at the disk) and start again. Nothing was half written.",
)
_READ_ONLY = (
    "The database may not be written to.",
    "Let the user that runs Dryspell write to the show folder and to every file in it.",
)
_LOCKED = (
    "Another program has held the database for too long.",
    "Close whatever else has dryspell.db open (a database browser, a backup) and try again.",
)
_DAMAGED = (
    "The database is damaged, or it is not a Dryspell database.",
    "It has been left as it was. Move it aside, keep it, and put back the last good copy.",
)
_SENTENCES = {
    sqlite3.SQLITE_FULL: _DISK,
    sqlite3.SQLITE_IOERR: _DISK,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: _READ_ONLY,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_AUTH: _READ_ONLY,
    sqlite3.SQLITE_BUSY: _LOCKED,
    sqlite3.SQLITE_LOCKED: _LOCKED,
    sqlite3.SQLITE_PROTOCOL: _LOCKED,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
}


@contextlib.contextmanager
def in_plain_words() -> Iterator[None]:
    """What the disk or another program refused, as an UnableError; also a decorator.

    A fault of our own (an unknown table, a broken rule) is let through as it is.
    """
    try:
        yield
    except sqlite3.DatabaseError as fault:
        # The low byte is the kind of fault, the rest its finer grade.
        sentence = _SENTENCES.get(getattr(fault, "sqlite_errorcode", 0) & 0xFF)
        if sentence is None:
            raise
        says = f"{sentence[0].removesuffix('.')} ({fault})."
        raise UnableError(says, sentence[1]) from fault


def open_database(path: Path, wait_s: float = 30.0) -> Database:
    """The show's database at `path`, made if absent, with all steps of the schema taken.

    Refused with UnableError, and left exactly as it is: a file that is no database, one of
    another program, one of a newer Dryspell, and one that may not be written to.
    """
    if not path.parent.is_dir():
        raise UnableError(f"There is no folder {path.parent}.", "Give the folder of the show.")
    if path.exists() and not path.is_file():
        raise UnableError(f"{path} is not a file.", "Move it out of the show folder.")
    if path.exists() and not os.access(path, os.W_OK):
        raise UnableError(f"{path}: {_READ_ONLY[0]}", _READ_ONLY[1])
    if path.exists() and 0 < path.stat().st_size < SMALLEST_BYTES:
        # SQLite takes a file of one byte for an empty one, and would write over it.
        raise UnableError(f"{path}: {_DAMAGED[0]}", _DAMAGED[1])
    try:
        with in_plain_words():
            return _opened(path, wait_s)
    except UnableError as fault:
        raise UnableError(f"{path}: {fault.says}", fault.remedy) from fault


def _opened(path: Path, wait_s: float) -> Database:
    # No transaction is ever opened behind our back: isolation_level None.
    conn = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
    try:
        _refuse_what_is_not_ours(conn)
        _use_write_ahead(conn, wait_s)
        conn.execute("PRAGMA synchronous = FULL")
        conn.execute("PRAGMA foreign_keys = ON")
        db = Database(conn, execute_plugins=False, strict=True)
        _take_steps(db)
    except BaseException:
        conn.close()
        raise
    return db


def _number(conn: sqlite3.Connection, pragma: str) -> int:
    return int(conn.execute(f"PRAGMA {pragma}").fetchone()[0])


def _refuse_what_is_not_ours(conn: sqlite3.Connection) -> None:
    # Another process may be at its first step, so both numbers are read in one snapshot.
    conn.execute("BEGIN")
    whose = _number(conn, "application_id")
    taken = _number(conn, "user_version")
    strange = whose == 0 and (
        taken > 0 or conn.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] > 0
    )
    conn.execute("COMMIT")
    if strange or whose not in (0, APPLICATION_ID):
        raise UnableError(
            "This is another program's database.",
            "It has been left as it was. Move it out of the show folder.",
        )
    _refuse_newer(taken)


def _refuse_newer(taken: int) -> None:
    if taken > len(STEPS):
        raise UnableError(
            f"This database was written by a newer Dryspell (its step {taken}; this one knows"
            f" {len(STEPS)}).",
            "Install that version or a later one. The database has been left as it was.",
        )


def _use_write_ahead(conn: sqlite3.Connection, wait_s: float) -> None:
    """Write-ahead log, so that a reader never holds up the writer.

    SQLite does not wait when two connections change the mode at once, so we do.
    """
    until = time.monotonic() + wait_s
    while True:
        try:
            mode = conn.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        except sqlite3.OperationalError as fault:
            busy = fault.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
            if not busy or time.monotonic() > until:
                raise
            time.sleep(_BUSY_PAUSE_S)
            continue
        if mode != "wal":
            raise UnableError(
                "The disk of this folder cannot keep a write-ahead log.",
                "Keep the show folder on a local disk, not on a network share.",
            )
        return


def _take_steps(db: Database) -> None:
    if _number(db.conn, "user_version") == len(STEPS):
        return
    with immediate(db):
        # Read again: another process may have taken the steps while we waited.
        taken = _number(db.conn, "user_version")
        _refuse_newer(taken)
        for step in STEPS[taken:]:
            for statement in _statements(step):
                db.execute(statement)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {len(STEPS)}")


def _statements(script: str) -> Iterator[str]:
    """The statements of a script one by one: running a whole script would commit first."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


@contextlib.contextmanager
def immediate(db: Database) -> Iterator[Database]:
    """All or nothing: BEGIN IMMEDIATE, then COMMIT, or ROLLBACK on any exception.

    IMMEDIATE takes the write lock before anything is read, so what was read still holds
    when it is written. Inside another `immediate` it joins that transaction.
    """
    with in_plain_words():
        if db.conn.in_transaction:
            with db.atomic():
                yield db
            return
        db.execute("BEGIN IMMEDIATE")
        try:
            yield db
            db.execute("COMMIT")
        except BaseException:
            # A full disk may have ended the transaction already.
            if db.conn.in_transaction:
                with contextlib.suppress(sqlite3.OperationalError):
                    db.execute("ROLLBACK")
            raise


@contextlib.contextmanager
def hold_folder(folder: Path) -> Iterator[None]:
    """One service per show folder, for as long as this lasts.

    The lock is the open file's, not the file: it ends with the process however that ends,
    and a lock file left lying about means nothing.
    """
    path = folder / LOCK_NAME
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as fault:
        raise UnableError(
            f"The show folder {folder} cannot be locked: {fault.strerror}.",
            "Give the user that runs Dryspell the right to write there.",
        ) from fault
    try:
        _lock(handle, folder)
        _note_holder(handle, f"{os.getpid()}\n")
        try:
            yield
        finally:
            _note_holder(handle, "")
    finally:
        os.close(handle)


def _lock(handle: int, folder: Path) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        if fault.errno not in (errno.EAGAIN, errno.EACCES):
            raise UnableError(
                f"The show folder {folder} cannot be locked: {fault.strerror}.",
                "Keep the show folder on a local disk, not on a network share.",
            ) from fault
        holder = os.pread(handle, 32, 0).decode("ascii", "replace").strip()
        raise UnableError(
            f"Another Dryspell (process {holder or 'not known'}) is already watching "
            f"{folder.resolve()}.",
            "Let it run, or stop it first.",
        ) from fault


def _note_holder(handle: int, text: str) -> None:
    """Says who holds the lock; a courtesy only, so a full disk does not stop the service."""
    with contextlib.suppress(OSError):
        os.ftruncate(handle, 0)
        os.pwrite(handle, text.encode("ascii"), 0)

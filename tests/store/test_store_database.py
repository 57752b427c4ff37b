from __future__ import annotations

import contextlib
import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from stored_samples import NOON, alert, message, weather

from monitor.domain import UnableError
from monitor.store.chain import verify
from monitor.store.database import LOCK_NAME, hold_folder, immediate, open_database
from monitor.store.history import alert_changes, recall, record_change, remember
from monitor.store.outbox import enqueue
from monitor.store.runs import record_weather
from monitor.store.schema import STEPS


def rows_of(path: Path) -> dict[str, int]:
    with contextlib.closing(sqlite3.connect(path)) as conn:
        names = [r[0] for r in conn.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {name: conn.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in names}


def pragma(db, name):
    return db.execute(f"PRAGMA {name}").fetchone()[0]


# ------------------------------------------------------------ opening and tables


def test_it_opens_safe_against_power_cuts(db):
    assert pragma(db, "journal_mode") == "wal"
    assert pragma(db, "synchronous") == 2  # FULL, sqlite.org/pragma.html#pragma_synchronous
    assert pragma(db, "foreign_keys") == 1
    assert pragma(db, "busy_timeout") == 30_000


def test_every_table_is_strict(db):
    tables = db.query("SELECT name, strict FROM pragma_table_list WHERE schema = 'main'")
    assert {t["name"] for t in tables if not t["strict"]} <= {"sqlite_schema"}


def test_opening_twice_changes_nothing(path):
    with open_database(path) as db:
        remember(db, "a", 1)
        before = db.execute("SELECT sql FROM sqlite_schema ORDER BY name").fetchall()
    with open_database(path) as db:
        assert db.execute("SELECT sql FROM sqlite_schema ORDER BY name").fetchall() == before
        assert recall(db, "a") == 1
        assert pragma(db, "user_version") == len(STEPS)


def test_many_threads_may_open_a_new_one_at_once(tmp_path):
    for n in range(5):
        path, failed, gate = tmp_path / f"{n}.db", [], threading.Barrier(6)

        def opener(path=path, failed=failed, gate=gate):
            gate.wait()
            try:
                open_database(path).close()
            except Exception as fault:
                failed.append(fault)

        threads = [threading.Thread(target=opener) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failed == []


RACER = """
import pathlib, sys, time
from monitor.store.database import open_database
from monitor.store.history import remember
path, gate = map(pathlib.Path, sys.argv[1:3])
print("ready", flush=True)
while not gate.exists():
    time.sleep(0.001)
with open_database(path) as db:
    remember(db, sys.argv[3], True)
"""


def test_two_processes_may_open_a_new_one_at_once(path, tmp_path):
    gate = tmp_path / "start"
    racers = [
        subprocess.Popen(
            [sys.executable, "-c", RACER, str(path), str(gate), name],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for name in ("one", "two")
    ]
    for racer in racers:
        assert racer.stdout.readline() == "ready\n"
    gate.touch()
    for racer in racers:
        _, wrong = racer.communicate(timeout=60)
        assert (racer.returncode, wrong) == (0, "")
    with open_database(path) as db:
        assert (recall(db, "one"), recall(db, "two")) == (True, True)


def test_a_step_that_fails_leaves_the_database_as_it_was(path, monkeypatch):
    open_database(path).close()
    before = rows_of(path)
    broken = (*STEPS, "CREATE TABLE extra (a INTEGER) STRICT;\nCREATE TABLE chain (a INTEGER);\n")
    monkeypatch.setattr("monitor.store.database.STEPS", broken)
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        open_database(path)
    monkeypatch.undo()
    assert rows_of(path) == before
    with open_database(path) as db:
        assert pragma(db, "user_version") == len(STEPS)


# ------------------------------------------------------------ what is refused at the door


@pytest.mark.parametrize(
    "content",
    [
        b"x",
        b"id,code,position\nbeam-1,IP65,tower-2\n",
        b"\0" * 5000,
        b"SQLite format 3\0" + b"z" * 500,
    ],
)
def test_a_file_that_is_no_database_is_refused_and_kept(path, content):
    path.write_bytes(content)
    with pytest.raises(UnableError) as told:
        open_database(path)
    assert str(path) in told.value.says
    assert "left as it was" in told.value.remedy
    assert path.read_bytes() == content


def test_another_programs_database_is_refused_and_kept(path):
    with contextlib.closing(sqlite3.connect(path)) as conn:
        conn.execute("CREATE TABLE songs (title TEXT)")
    content = path.read_bytes()
    with pytest.raises(UnableError, match="another program's"):
        open_database(path)
    assert path.read_bytes() == content


def test_a_newer_database_is_refused_and_kept(path):
    open_database(path).close()
    with contextlib.closing(sqlite3.connect(path)) as conn:
        conn.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    with pytest.raises(UnableError, match="newer Dryspell") as told:
        open_database(path)
    assert "Install" in told.value.remedy
    with contextlib.closing(sqlite3.connect(path)) as conn:
        assert conn.execute("PRAGMA user_version").fetchone()[0] == len(STEPS) + 1


def test_no_folder_and_a_folder_in_its_place_are_refused(tmp_path):
    with pytest.raises(UnableError, match="no folder"):
        open_database(tmp_path / "nowhere" / "dryspell.db")
    with pytest.raises(UnableError, match="not a file"):
        open_database(tmp_path)


def test_a_damaged_page_is_told_plainly(path):
    with open_database(path) as db:
        for n in range(40):
            record_change(db, alert(n), "wet", NOON)
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xa5" * (len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises(UnableError, match="damaged") as told, open_database(path) as db:
        record_change(db, alert(), "wet", NOON)
    assert "put back the last good copy" in told.value.remedy


# ------------------------------------------------------------ all or nothing


def change_and_tell(db, number, *, then=None):
    record_change(db, alert(number), "wet", NOON)
    enqueue(db, message(number), "crew", "a@example.org", at=NOON, expires_at=NOON)
    if then:
        raise then


def test_an_exception_takes_everything_back(db):
    with pytest.raises(KeyError), immediate(db):
        change_and_tell(db, 1, then=KeyError("stop"))
    assert not db.conn.in_transaction
    assert db.execute("SELECT count(*) FROM chain").fetchone()[0] == 0


def test_inside_another_it_joins(db):
    with immediate(db):
        change_and_tell(db, 1)
        with pytest.raises(KeyError), immediate(db):
            change_and_tell(db, 2, then=KeyError("stop"))
        assert db.conn.in_transaction
    assert [change.alert.id for change in alert_changes(db)] == ["alert-1"]
    assert verify(db).rows == 2


def test_an_interrupt_takes_everything_back(db):
    with pytest.raises(KeyboardInterrupt), immediate(db):
        change_and_tell(db, 1, then=KeyboardInterrupt())
    assert not db.conn.in_transaction
    assert alert_changes(db) == ()


def test_reading_then_writing_from_many_threads_loses_none(path):
    open_database(path).close()
    each, failed = 25, []

    def counter():
        try:
            with open_database(path) as db:
                for _ in range(each):
                    with immediate(db):
                        remember(db, "count", (recall(db, "count") or 0) + 1)
        except Exception as fault:
            failed.append(fault)

    threads = [threading.Thread(target=counter) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    with open_database(path) as db:
        assert recall(db, "count") == 8 * each


def test_a_fault_of_our_own_is_not_dressed_up(db):
    with pytest.raises(sqlite3.OperationalError, match="no such table"), immediate(db):
        db.execute("INSERT INTO nowhere VALUES (1)")
    assert not db.conn.in_transaction


def test_held_by_another_program_is_told_plainly(path):
    open_database(path).close()
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with open_database(path, wait_s=0.05) as db:
            with pytest.raises(UnableError, match="held the database") as told:
                remember(db, "a", 1)
            assert "Close whatever else" in told.value.remedy
            assert recall(db, "a") is None
            other.execute("ROLLBACK")
            remember(db, "a", 1)


# ------------------------------------------------------------ a full disk


def big_weather():
    """Noise, so that packing it saves little: some 200 kB."""
    noise = np.random.default_rng(3).normal(size=(51, 168))
    return replace(weather(168, 51), temp_c=noise, dew_point_c=noise * 3, cloud_pct=noise * 7)


@contextlib.contextmanager
def files_at_most(size: int):
    """The kernel refuses to write past this size in any file, as it does on a full disk."""
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)


@contextlib.contextmanager
def pages_at_most(db, more: int):
    """SQLite's own limit, which gives its error for a full disk."""
    db.execute(f"PRAGMA max_page_count = {pragma(db, 'page_count') + more}").fetchall()
    try:
        yield
    finally:
        db.execute("PRAGMA max_page_count = 1000000000").fetchall()


def fill(db):
    with immediate(db):
        change_and_tell(db, 2)
        record_weather(db, big_weather(), None, NOON)


@pytest.mark.parametrize("limit", ["kernel", "sqlite"])
def test_a_full_disk_is_refused_with_nothing_half_written(db, path, limit):
    record_weather(db, weather(), b"{}", NOON)
    record_change(db, alert(), "wet", NOON)
    before = rows_of(path)
    full = (
        files_at_most(os.path.getsize(f"{path}-wal") + 20_000)
        if limit == "kernel"
        else pages_at_most(db, 5)
    )
    with full, pytest.raises(UnableError, match="no room left on the disk") as told:
        fill(db)
    assert "Free some space" in told.value.remedy
    assert rows_of(path) == before
    assert verify(db).ok
    # With room again the same connection writes on.
    record_weather(db, big_weather(), None, NOON)
    assert verify(db).ok
    with open_database(path) as again:
        assert verify(again).rows == 3


# ------------------------------------------------------------ a database that may not be written


@contextlib.contextmanager
def as_nobody():
    """Permissions bind only who is not root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder():
    """A folder that any user may look into."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        folder.chmod(0o755)


def test_a_read_only_database_is_refused_at_once(open_folder):
    path = open_folder / "dryspell.db"
    with open_database(path) as db:
        remember(db, "a", 1)
    path.chmod(0o444)
    content = path.read_bytes()
    with as_nobody(), pytest.raises(UnableError, match="may not be written to") as told:
        open_database(path)
    assert "write to the show folder" in told.value.remedy
    assert path.read_bytes() == content


def test_a_read_only_folder_is_refused_at_once(open_folder):
    open_folder.chmod(0o555)
    with as_nobody(), pytest.raises(UnableError, match="may not be written to"):
        open_database(open_folder / "dryspell.db")
    with (
        as_nobody(),
        pytest.raises(UnableError, match="cannot be locked"),
        hold_folder(open_folder),
    ):
        pass
    assert list(open_folder.iterdir()) == []


def test_turned_read_only_while_open_is_told_plainly(db, path):
    remember(db, "a", 1)
    db.execute("PRAGMA query_only = ON")
    with pytest.raises(UnableError, match="may not be written to"), immediate(db):
        record_change(db, alert(), "wet", NOON)
    db.execute("PRAGMA query_only = OFF")
    assert rows_of(path)["chain"] == 0


# ------------------------------------------------------------ one service per folder


def test_a_folder_is_held_by_one(tmp_path):
    with hold_folder(tmp_path):
        with (
            pytest.raises(UnableError, match=f"process {os.getpid()}") as told,
            hold_folder(tmp_path),
        ):
            pass
        assert "stop it first" in told.value.remedy
    with hold_folder(tmp_path):
        pass


HOLDER = """
import pathlib, sys, time
from monitor.store.database import hold_folder
with hold_folder(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_the_lock_of_a_killed_service_is_free_again(tmp_path):
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with holder:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(UnableError, match=f"process {holder.pid}"), hold_folder(tmp_path):
            pass
        holder.kill()
        holder.wait()
    assert (tmp_path / LOCK_NAME).read_text() == f"{holder.pid}\n"
    with hold_folder(tmp_path):
        pass


def test_no_folder_to_hold_is_told_plainly(tmp_path):
    with pytest.raises(UnableError, match="cannot be locked"), hold_folder(tmp_path / "nowhere"):
        pass

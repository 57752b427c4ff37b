from __future__ import annotations

import contextlib
import hashlib
import json
import sqlite3
import time
import zlib
from datetime import timedelta

import pytest
from sqlite_utils import Database
from stored_samples import HOUR, NOON, alert, entry, message, weather

from monitor.domain import Outcome
from monitor.store.chain import START, head, verify
from monitor.store.database import immediate, open_database
from monitor.store.history import record_change, record_log, record_revision
from monitor.store.outbox import cancel_older, enqueue, lease, settle
from monitor.store.runs import record_weather

HISTORY = ("weather_runs", "revisions", "log_entries", "alert_changes", "messages", "outcomes")


@pytest.fixture
def kept(path):
    """A small history with every kind of row, and the path it lies at."""
    later = NOON + 6 * HOUR
    with open_database(path) as db:
        record_weather(db, weather(issued_at=NOON, fetched_at=NOON), b'{"hourly": {}}', NOON)
        record_weather(db, weather(seed=2), None, NOON + HOUR)
        record_revision(db, {"show.toml": b"format = 1", "fixtures.csv": b"id"}, "aa", NOON)
        record_log(db, entry(), "k1", NOON)
        record_log(db, entry(at=NOON + HOUR, entry="uncovered"), "k2", NOON + HOUR)
        record_log(db, entry(at=NOON + 2 * HOUR), "k3", NOON + 2 * HOUR, replaces="k2")
        for number in (1, 2, 3):
            with immediate(db):
                record_change(db, alert(number), "rain", NOON)
                enqueue(db, message(number), "crew", "a@example.org", at=NOON, expires_at=later)
        settle(db, lease(db, NOON), Outcome(sent=True), NOON)
        settle(db, lease(db, NOON), Outcome(sent=False, detail="refused"), NOON)
        cancel_older(db, "thread-2", "crew", "a@example.org", NOON)
    return path


@contextlib.contextmanager
def forged(path):
    """Someone with the file and a database browser: no rules, no triggers, then undone."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as conn:
        conn.execute("PRAGMA foreign_keys = OFF")
        conn.execute("PRAGMA ignore_check_constraints = ON")
        db = Database(conn, execute_plugins=False)
        conn.execute("BEGIN")
        for (trigger,) in conn.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall():
            conn.execute(f"DROP TRIGGER {trigger}")
        yield db
        conn.execute("ROLLBACK")


def test_an_untouched_history_holds(kept):
    with open_database(kept) as db:
        report = verify(db)
        # 2 runs, 1 revision, 3 log entries, 3 alerts, 3 messages, 3 outcomes
        assert (report.ok, report.rows, report.first_bad) == (True, 15, None)
        assert report.head == head(db).link
        assert report.head in report.says


def test_an_empty_history_holds(db):
    assert (verify(db).ok, verify(db).rows, verify(db).head) == (True, 0, START)


def test_the_hashes_are_those_written_down(kept):
    """A second reckoning, from the description: SHA-256 over JSON lists without spaces."""

    def digest(parts):
        return hashlib.sha256(json.dumps(parts, separators=(",", ":")).encode()).hexdigest()

    with open_database(kept) as db:
        n, at, kind, row, content, link = db.execute("SELECT * FROM chain WHERE n = 1").fetchone()
        run = db.execute(
            "SELECT received_at, source, issued_at, fetched_at, weather_sha256, body_sha256"
            " FROM weather_runs WHERE id = 1"
        ).fetchone()
    assert run[-1] == hashlib.sha256(b'{"hourly": {}}').hexdigest()
    assert content == digest(["weather", 1, *run])
    assert link == digest(["0" * 64, 1, at, "weather", 1, content])
    assert (n, kind, row) == (1, "weather", 1)


def altered(value):
    """Other values for a cell of the same kind."""
    if isinstance(value, bytes):
        for at in (0, 1, len(value) // 2, len(value) - 1):
            yield value[:at] + bytes([value[at] ^ 0x41]) + value[at + 1 :]
    elif isinstance(value, int):
        yield value + 1000
    elif value is None:
        yield "7"
    else:
        yield value + "x"
        if value:
            yield value[:-1]
            yield None


def test_any_cell_of_any_row_that_is_altered_is_found(kept):
    tried = 0
    with forged(kept) as db:
        for table in (*HISTORY, "contents", "chain"):
            for rowid, *cells in db.execute(f"SELECT rowid, * FROM {table}").fetchall():
                names = [c.name for c in db[table].columns]
                for name, cell in zip(names, cells, strict=True):
                    for value in altered(cell):
                        db.execute("SAVEPOINT one")
                        # A cell that may not be empty is left as it was, and not counted.
                        done = db.execute(
                            f"UPDATE OR IGNORE {table} SET {name} = ? WHERE rowid = ?",
                            [value, rowid],
                        )
                        if done.rowcount == 0:
                            continue
                        report = verify(db)
                        assert not report.ok, (table, rowid, name, value)
                        assert report.says
                        db.execute("ROLLBACK TO one")
                        tried += 1
        assert verify(db).ok
    assert tried > 250


def test_any_row_that_is_removed_is_found(kept):
    with forged(kept) as db:
        for table in (*HISTORY, "contents", "chain", "outbox"):
            for (rowid,) in db.execute(f"SELECT rowid FROM {table}").fetchall():
                db.execute("SAVEPOINT one")
                db.execute(f"DELETE FROM {table} WHERE rowid = ?", [rowid])
                assert not verify(db).ok, (table, rowid)
                db.execute("ROLLBACK TO one")


def swap(db, table, columns, one, other):
    rows = [
        db.execute(f"SELECT {', '.join(columns)} FROM {table} WHERE rowid = ?", [rowid]).fetchone()
        for rowid in (other, one)
    ]
    for rowid, row in zip((one, other), rows, strict=True):
        sets = ", ".join(f"{column} = ?" for column in columns)
        db.execute(f"UPDATE {table} SET {sets} WHERE rowid = ?", [*row, rowid])


@pytest.mark.parametrize(
    ("table", "columns", "first"),
    [
        ("log_entries", ("at", "received_at", "entry"), 4),
        ("alert_changes", ("alert", "at", "stage", "reason", "body"), 7),
        ("messages", ("body", "thread"), 8),
        ("chain", ("at", "content", "link"), 7),
    ],
)
def test_swapped_rows_are_found(kept, table, columns, first):
    one, other = (7, 9) if table == "chain" else (1, 2)
    with forged(kept) as db:
        swap(db, table, columns, one, other)
        report = verify(db)
    assert (report.ok, report.first_bad) == (False, first)


def test_the_place_of_the_first_fault_is_told(kept):
    with forged(kept) as db:
        db.execute(
            "UPDATE messages SET body = replace(body, 'Start by 15:00', 'Start by 19:00') WHERE id = 2"
        )
        report = verify(db)
    # Rows 1-2 weather, 3 revision, 4-6 log, then change and message in turn: 7, 8, 9, 10.
    assert (report.ok, report.first_bad) == (False, 10)
    assert "messages row 2 was altered" in report.says


def test_weather_altered_and_packed_again_is_found(kept):
    with forged(kept) as db:
        name, packed = db.execute(
            "SELECT sha256, packed FROM contents JOIN weather_runs ON sha256 = weather_sha256"
            " WHERE weather_runs.id = 2"
        ).fetchone()
        content = bytearray(zlib.decompress(packed))
        content[-1] ^= 1
        db.execute(
            "UPDATE contents SET packed = ? WHERE sha256 = ?", [zlib.compress(bytes(content)), name]
        )
        report = verify(db)
    assert (report.ok, report.first_bad) == (False, 2)
    assert name in report.says


def test_text_that_is_no_text_any_more_is_found(kept):
    with forged(kept) as db:
        db.execute("UPDATE log_entries SET entry = CAST(x'ff80' AS TEXT) WHERE id = 1")
        report = verify(db)
        assert (report.ok, report.first_bad) == (False, 4)
        db.execute("UPDATE chain SET at = CAST(x'ff80' AS TEXT) WHERE n = 1")
        assert verify(db).first_bad == 1


def test_a_row_put_in_by_hand_is_found(kept):
    with forged(kept) as db:
        db.execute(
            "INSERT INTO log_entries (key, at, received_at, entry) VALUES ('k9', 'a', 'b', '{}')"
        )
        report = verify(db)
    assert not report.ok
    assert "log_entries row 4 is not in the chain" in report.says


@pytest.mark.parametrize(
    ("message_id", "state"),
    [(2, "sent"), (3, "sent"), (1, "queued"), (2, "queued"), (3, "given-up")],
)
def test_a_state_that_no_outcome_bears_out_is_found(kept, message_id, state):
    with forged(kept) as db:
        db.execute("UPDATE outbox SET state = ? WHERE message = ?", [state, message_id])
        report = verify(db)
    assert not report.ok
    assert f"message {message_id}" in report.says


def test_rows_taken_off_the_end_show_against_a_head_noted_elsewhere(kept):
    with open_database(kept) as db:
        noted = head(db).link
        record_log(db, entry(at=NOON + 4 * HOUR), "k4", NOON + 4 * HOUR)
        assert verify(db, [noted]).ok
        latest = head(db).link
    with forged(kept) as db:
        db.execute("DELETE FROM chain WHERE n = 16")
        db.execute("DELETE FROM log_entries WHERE id = 4")
        # In itself the shorter chain is whole, and says what it cannot show.
        assert verify(db).ok
        assert "off the end" in verify(db).says
        assert verify(db, [noted]).ok
        report = verify(db, [noted, latest])
        assert not report.ok
        assert latest in report.says


def test_history_is_neither_altered_nor_deleted_by_the_way(kept):
    with open_database(kept) as db:
        for table in (*HISTORY, "contents", "chain"):
            for statement in (
                f"DELETE FROM {table}",
                f"UPDATE {table} SET rowid = rowid",
                f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
            ):
                with pytest.raises(sqlite3.IntegrityError):
                    db.execute(statement)
        with pytest.raises(sqlite3.IntegrityError, match="at its end"):
            db.execute("INSERT INTO chain VALUES (99, 'a', 'log', 99, 'b', 'c')")
        assert verify(db).ok


def test_writing_goes_on_while_verifying(kept):
    with open_database(kept) as db, open_database(kept) as other, db.atomic():
        assert verify(db).rows == 15
        record_log(other, entry(at=NOON + timedelta(days=1)), "k5", NOON)
        assert verify(db).rows == 15


def test_a_thousand_rows_verify_quickly(db):
    with immediate(db):
        for n in range(1000):
            record_change(db, alert(n), "rain", NOON)
    start = time.perf_counter()
    assert verify(db).rows == 1000
    assert time.perf_counter() - start < 2.0

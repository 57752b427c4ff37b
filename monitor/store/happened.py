"""Everything that happened, newest first, a page at a time: only what is shown is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.domain import Alert, Answered, Declared, LogEntry, SetUp
from monitor.store.database import in_plain_words
from monitor.store.outbox_rows import Delivery, deliveries_where
from monitor.store.records import from_json, from_text
from monitor.store.withdrawn import Withdrawal, withdrawal_in

if TYPE_CHECKING:
    from datetime import datetime

    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class Happened:
    """One thing that was logged, answered, declared, told or described anew."""

    at: datetime
    what: LogEntry | Answered | Declared | Alert | SetUp | Withdrawal
    reason: str = ""
    """Why an alert was told"""
    received_at: datetime | None = None
    """When a log entry or declaration came in, where that was not at once"""
    replaced: bool = False
    """A log entry that a later one corrects or takes back: it counts no more"""
    number: int | None = None
    """Of a log entry, to be taken back by"""
    taken_back: LogEntry | None = None
    """What a withdrawal takes back"""


_ALL = """
    SELECT 'log' AS kind, id, iif(entry LIKE '{"withdrawn":%', received_at, at) AS at, 1 AS rank
        FROM log_entries
    UNION ALL SELECT 'answer', id, at, 2 FROM answers
    UNION ALL SELECT 'declared', id, at, 3 FROM declarations
    UNION ALL SELECT 'alert', id, at, 4 FROM alert_changes
    UNION ALL SELECT 'set-up', id, at, 5 FROM set_up_changes
"""


@in_plain_words()
def happened(db: Database, most: int, after: int = 0) -> tuple[Happened, ...]:
    """The latest `most`, leaving out the latest `after`."""
    rows = db.query(
        f"SELECT kind, id FROM ({_ALL}) ORDER BY at DESC, rank DESC, id DESC"  # noqa: S608
        " LIMIT ? OFFSET ?",
        [most, after],
    )
    return tuple(_one(db, row["kind"], row["id"]) for row in list(rows))


@in_plain_words()
def how_many_happened(db: Database) -> int:
    """In all."""
    return int(db.execute(f"SELECT count(*) FROM ({_ALL})").fetchone()[0])  # noqa: S608


def _one(db: Database, kind: str, number: int) -> Happened:
    if kind == "log":
        return _logged(db, number)
    if kind == "answer":
        at, body = db.execute("SELECT at, body FROM answers WHERE id = ?", [number]).fetchone()
        return Happened(from_text(at), from_json(Answered, body))
    if kind == "declared":
        at, received_at, body = db.execute(
            "SELECT at, received_at, body FROM declarations WHERE id = ?", [number]
        ).fetchone()
        return Happened(from_text(at), from_json(Declared, body), "", from_text(received_at))
    if kind == "set-up":
        at, body = db.execute(
            "SELECT at, body FROM set_up_changes WHERE id = ?", [number]
        ).fetchone()
        return Happened(from_text(at), from_json(SetUp, body))
    at, reason, body = db.execute(
        "SELECT at, reason, body FROM alert_changes WHERE id = ?", [number]
    ).fetchone()
    return Happened(from_text(at), from_json(Alert, body), reason)


def _logged(db: Database, number: int) -> Happened:
    at, received_at, body, target, later = db.execute(
        "SELECT at, received_at, entry,"
        " (SELECT entry FROM log_entries AS target WHERE target.key = log_entries.replaces),"
        " EXISTS (SELECT 1 FROM log_entries AS later WHERE later.replaces = log_entries.key)"
        " FROM log_entries WHERE id = ?",
        [number],
    ).fetchone()
    withdrawal = withdrawal_in(body)
    if withdrawal is not None:
        return Happened(from_text(received_at), withdrawal, taken_back=from_json(LogEntry, target))
    entry = from_json(LogEntry, body)
    return Happened(from_text(at), entry, "", from_text(received_at), bool(later), number)


@in_plain_words()
def latest_deliveries(db: Database, most: int) -> tuple[Delivery, ...]:
    """The messages queued last, newest first."""
    found = deliveries_where(
        db, "messages.id IN (SELECT id FROM messages ORDER BY id DESC LIMIT ?)", [most]
    )
    return tuple(reversed(found))

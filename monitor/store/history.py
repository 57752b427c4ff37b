"""What came in and what was decided: show revisions, the crew's log, alert changes.

Only added to. What follows from it (wetting, used, deadlines) is computed again each time
and never stored, so a late log entry or a measurement corrects all that comes after it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from monitor.domain import Alert, BadInputError, LogEntry, Problem
from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_json, from_text, to_json, to_text
from monitor.store.withdrawn import Withdrawal, withdrawal_in

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class StoredRevision:
    """The files of the show folder as they were from `from_time` on."""

    id: int
    revision: str
    from_time: datetime
    recorded_at: datetime
    files: Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """A log entry as sent; `replaced_by` is the key of the row that corrects or withdraws it."""

    id: int
    key: str
    entry: LogEntry
    received_at: datetime
    replaces: str | None
    replaced_by: str | None
    withdraws: Withdrawal | None = None
    """This row takes back the entry it replaces, which stands here as `entry`"""


@dataclass(frozen=True, slots=True)
class AlertChange:
    """One change of one alert, with the reason for it."""

    id: int
    alert: Alert
    reason: str
    at: datetime


@dataclass(frozen=True, slots=True)
class StoredAlert:
    """An open alert as it stands after its latest change."""

    alert: Alert
    change_id: int
    reason: str
    opened_at: datetime
    changed_at: datetime


# ---------------------------------------------------------------- the show folder


def record_revision(
    db: Database,
    files: Mapping[str, bytes],
    revision: str,
    from_time: datetime,
    recorded_at: datetime | None = None,
) -> int:
    """Keep the files of the folder as in force from `from_time`; returns the revision's id.

    Nothing is added where the latest revision is the same. `recorded_at` is when it was
    read, `from_time` where not given.
    """
    read_at = recorded_at or from_time
    with immediate(db):
        last = db.execute("SELECT id, revision FROM revisions ORDER BY id DESC LIMIT 1").fetchone()
        if last and last[1] == revision:
            return int(last[0])
        names = {name: chain.put_content(db, content) for name, content in files.items()}
        return chain.add(
            db,
            "revision",
            {
                "revision": revision,
                "from_time": to_text(from_time),
                "recorded_at": to_text(read_at),
                "files": to_json(names),
            },
            read_at,
        )


@in_plain_words()
def revisions(db: Database) -> tuple[StoredRevision, ...]:
    """Every revision of the show folder, in the order they were recorded."""
    return tuple(
        StoredRevision(
            row["id"],
            row["revision"],
            from_text(row["from_time"]),
            from_text(row["recorded_at"]),
            {name: chain.get_content(db, key) for name, key in json.loads(row["files"]).items()},
        )
        for row in list(db.query("SELECT * FROM revisions ORDER BY id"))
    )


# ---------------------------------------------------------------- the crew's log


def record_log(
    db: Database,
    entry: LogEntry,
    key: str,
    received_at: datetime,
    replaces: str | None = None,
) -> bool:
    """Keep what the crew did, however late it comes in; False where it was known already.

    `key` is made by the sender, so that sending twice records once. `replaces` is the key of
    an earlier entry that this one corrects: that one stays in the history but counts no more.
    """
    body = to_json(entry)
    with immediate(db):
        known = db.execute(
            "SELECT entry, replaces FROM log_entries WHERE key = ?", [key]
        ).fetchone()
        if known == (body, replaces):
            return False
        _refuse_bad_keys(db, key, replaces, known is not None)
        chain.add(
            db,
            "log",
            {
                "key": key,
                "at": to_text(entry.at),
                "received_at": to_text(received_at),
                "replaces": replaces,
                "entry": body,
            },
            received_at,
        )
    return True


def _refuse_bad_keys(db: Database, key: str, replaces: str | None, used: bool) -> None:
    problems = []
    if used:
        problems.append(
            Problem(
                "log-key-used",
                f"The key {key} already stands for another log entry.",
                "Give each entry a key of its own; to correct one, send a new entry that"
                " replaces it.",
                key="key",
            )
        )
    if replaces is not None:
        target = db.execute(
            "SELECT later.key FROM log_entries AS target LEFT JOIN log_entries AS later"
            " ON later.replaces = target.key WHERE target.key = ?",
            [replaces],
        ).fetchone()
        if target is None:
            problems.append(
                Problem(
                    "unknown-log-key",
                    f"There is no log entry {replaces} to replace.",
                    "Give the key of an entry that was recorded before.",
                    key="replaces",
                )
            )
        elif target[0] is not None and target[0] != key:
            problems.append(
                Problem(
                    "log-replaced",
                    f"The log entry {replaces} was already replaced by {target[0]}.",
                    f"Replace {target[0]} instead.",
                    key="replaces",
                )
            )
    if problems:
        raise BadInputError(problems)


@lru_cache(8192)
def _entry(body: str) -> LogEntry:
    # The whole log is read with every word and every evaluation, and of it hardly any is new.
    return from_json(LogEntry, body)


@in_plain_words()
def stored_log(db: Database) -> tuple[StoredEntry, ...]:
    """Every log entry ever sent, corrected ones too, sorted by when it happened."""
    rows = list(
        db.query(
            "SELECT log_entries.*, later.key AS replaced_by, target.entry AS taken_back"
            " FROM log_entries"
            " LEFT JOIN log_entries AS later ON later.replaces = log_entries.key"
            " LEFT JOIN log_entries AS target ON target.key = log_entries.replaces"
            " ORDER BY log_entries.at, log_entries.id"
        )
    )
    found = []
    for row in rows:
        withdraws = withdrawal_in(row["entry"])
        body = row["entry"] if withdraws is None else row["taken_back"]
        found.append(
            StoredEntry(
                row["id"],
                row["key"],
                _entry(body),
                from_text(row["received_at"]),
                row["replaces"],
                row["replaced_by"],
                withdraws,
            )
        )
    return tuple(found)


def log_entries(db: Database) -> tuple[LogEntry, ...]:
    """The log as it stands, sorted by when it happened."""
    return tuple(
        stored.entry
        for stored in stored_log(db)
        if stored.replaced_by is None and stored.withdraws is None
    )


# ---------------------------------------------------------------- alerts


def record_change(db: Database, alert: Alert, reason: str, at: datetime) -> int:
    """Keep one change of an alert with its reason; returns the id of the change.

    The messages it causes are queued in the same `immediate`, or a crash could keep one
    without the other.
    """
    return chain.add(
        db,
        "alert",
        {
            "alert": alert.id,
            "at": to_text(at),
            "stage": alert.stage,
            "reason": reason,
            "body": to_json(alert),
        },
        at,
    )


@in_plain_words()
def open_alerts(db: Database) -> tuple[StoredAlert, ...]:
    """The alerts whose latest change is not `stood-down`, oldest first.

    One that comes back after it was stood down is open from then on, not from its first time.
    """
    rows = db.query(
        """
        SELECT latest.id, latest.at, latest.reason, latest.body, min(opened.at) AS opened_at
        FROM (SELECT max(id) AS id FROM alert_changes GROUP BY alert) AS newest
        JOIN alert_changes AS latest ON latest.id = newest.id AND latest.stage <> 'stood-down'
        JOIN alert_changes AS opened ON opened.alert = latest.alert AND opened.id > coalesce(
            (SELECT max(id) FROM alert_changes AS ended
                WHERE ended.alert = latest.alert AND ended.stage = 'stood-down'),
            0)
        GROUP BY latest.id
        ORDER BY min(opened.id)
        """
    )
    return tuple(
        StoredAlert(
            from_json(Alert, row["body"]),
            row["id"],
            row["reason"],
            from_text(row["opened_at"]),
            from_text(row["at"]),
        )
        for row in list(rows)
    )


@in_plain_words()
def alert_changes(db: Database, since: datetime | None = None) -> tuple[AlertChange, ...]:
    """Every change at or after `since`, in the order they were recorded."""
    rows = db.query(
        "SELECT * FROM alert_changes WHERE at >= ? ORDER BY id",
        ["" if since is None else to_text(since)],
    )
    return tuple(_change(row) for row in list(rows))


@in_plain_words()
def change_of(db: Database, change_id: int) -> AlertChange | None:
    """One change by its id; None where there is none."""
    rows = list(db.query("SELECT * FROM alert_changes WHERE id = ?", [change_id]))
    return _change(rows[0]) if rows else None


@in_plain_words()
def latest_change(db: Database, alert_id: str) -> int | None:
    """The id of an alert's latest change; None where it was never raised."""
    found = db.execute("SELECT max(id) FROM alert_changes WHERE alert = ?", [alert_id]).fetchone()
    return None if found[0] is None else int(found[0])


def _change(row: dict[str, Any]) -> AlertChange:
    alert = from_json(Alert, row["body"])
    return AlertChange(row["id"], alert, row["reason"], from_text(row["at"]))


@in_plain_words()
def alerts_as_they_stand(db: Database) -> dict[str, Alert]:
    """Every alert there has been, ended ones too, by id as its latest change left it."""
    rows = db.query(
        "SELECT alert, body FROM alert_changes WHERE id IN"
        " (SELECT max(id) FROM alert_changes GROUP BY alert) ORDER BY id"
    )
    return {row["alert"]: from_json(Alert, row["body"]) for row in list(rows)}


# ---------------------------------------------------------------- small notes


def remember(db: Database, key: str, value: Any) -> None:
    """Keep a small piece of JSON data under a key, over what was there."""
    with immediate(db):
        db.execute(
            "INSERT INTO notes (key, value) VALUES (?, ?)"
            " ON CONFLICT (key) DO UPDATE SET value = excluded.value",
            [key, to_json(value)],
        )


@in_plain_words()
def recall(db: Database, key: str) -> Any:
    """What was kept under the key, None where nothing was."""
    found = db.execute("SELECT value FROM notes WHERE key = ?", [key]).fetchone()
    return None if found is None else json.loads(found[0])

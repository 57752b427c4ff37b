"""Messages queued with the change that caused them, until sent or given up aloud.

The service queues inside the `immediate` that records the change; delivery then leases one
row, sends it with no transaction open, and settles it. Killed in between, the lease runs out
and the row is sent again under the same id: at least once, never none.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal

from monitor.domain import Message, Outcome
from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.records import from_json, from_text, to_json, to_text
from monitor.units import SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlite_utils import Database

BACK_OFF_MINUTES = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0)
"""Pause after the first failed attempt, the second, ...; the last one repeats [min]."""

JITTER_SHARE = 0.2
"""A pause is drawn from this share either side, so that rows do not all come due at once."""

Result = Literal["sent", "retry", "given-up", "cancelled"]
State = Literal["queued", "sent", "given-up", "cancelled"]


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """One message to one recipient. `id` stays the same over every attempt and restart."""

    id: str
    number: int
    message: Message
    contact: str
    recipient: str
    queued_at: datetime
    expires_at: datetime
    attempt: int
    """1 on the first attempt."""


@dataclass(frozen=True, slots=True)
class Settled:
    """What became of a row. A `given-up` is to be told to somebody else: nobody has it."""

    row: OutboxRow
    result: Result
    detail: str
    at: datetime
    next_try_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message to one recipient as it stands, for the report."""

    row: OutboxRow
    state: State
    settled_at: datetime | None
    detail: str
    """What came of the last attempt, empty before the first."""


@dataclass(frozen=True, slots=True)
class Undelivered:
    """How far delivery is behind; `by_contact` counts the waiting ones."""

    oldest_age_s: float | None
    waiting: int
    failing: int
    """Waiting, and failed at least once."""
    given_up: int
    by_contact: Mapping[str, int]


def enqueue(
    db: Database,
    message: Message,
    contact: str,
    recipient: str,
    *,
    at: datetime,
    expires_at: datetime,
) -> str:
    """Queue a message to one recipient, once however often it is asked; returns the row's id.

    Called inside the `immediate` that records the change it tells of.
    """
    if not db.conn.in_transaction:
        raise RuntimeError("a message is queued in the transaction of the change it tells of")
    key = _key(message, contact, recipient)
    if db.execute("SELECT 1 FROM messages WHERE key = ?", [key]).fetchone():
        return key
    change = db.execute(
        "SELECT max(id) FROM alert_changes WHERE alert = ?", [message.alert_id]
    ).fetchone()[0]
    with immediate(db):
        number = chain.add(
            db,
            "message",
            {
                "key": key,
                "change": change,
                "contact": contact,
                "recipient": recipient,
                "thread": message.thread,
                "queued_at": to_text(at),
                "expires_at": to_text(expires_at),
                "body": to_json(message),
            },
            at,
        )
        db.execute(
            "INSERT INTO outbox (message, state, urgent, attempts, next_try_at)"
            " VALUES (?, 'queued', ?, 0, ?)",
            [number, int(message.kind == "stop" or message.stage == "stop"), to_text(at)],
        )
    return key


def _key(message: Message, contact: str, recipient: str) -> str:
    """From what makes the message one of its kind, so that doing it again gives the same id.

    Hex: a webhook's id holds no dot, and a mail's holds nothing to be quoted.
    """
    parts = [
        message.alert_id,
        message.kind,
        message.stage,
        message.thread,
        to_text(message.at),
        contact,
        recipient,
    ]
    return hashlib.sha256(to_json(parts).encode("ascii")).hexdigest()[:32]


def lease(db: Database, now: datetime, seconds: float = 60.0) -> OutboxRow | None:
    """The row to send next, ours for `seconds`; None when nothing is due.

    A stop goes before all else, then what has been due longest. What has expired is left
    for `expire`: an old message may say the opposite of what holds now.
    """
    with immediate(db):
        found = db.execute(
            """
            SELECT outbox.message FROM outbox JOIN messages ON messages.id = outbox.message
            WHERE state = 'queued' AND next_try_at <= ?1 AND expires_at > ?1
                AND (leased_until IS NULL OR leased_until <= ?1)
            ORDER BY urgent DESC, next_try_at, outbox.message LIMIT 1
            """,
            [to_text(now)],
        ).fetchone()
        if found is None:
            return None
        db.execute(
            "UPDATE outbox SET attempts = attempts + 1, leased_until = ? WHERE message = ?",
            [to_text(now + timedelta(seconds=seconds)), found[0]],
        )
        return _rows(db, "messages.id = ?", [found[0]])[0].row


def settle(
    db: Database, row: OutboxRow, outcome: Outcome, now: datetime, jitter: float = 0.5
) -> Settled:
    """Record what came of an attempt and decide what follows; `jitter` is drawn from [0, 1).

    Give it the same `immediate` as the delivery alert that a `given-up` calls for, or a
    crash in between would give up in silence.
    """
    with immediate(db):
        state, attempts = db.execute(
            "SELECT state, attempts FROM outbox WHERE message = ?", [row.number]
        ).fetchone()
        # Sent is sent, even where the row was cancelled or its lease ran out meanwhile.
        if outcome.sent:
            return _settled(db, row, "sent", outcome.detail, now)
        if state != "queued" or attempts != row.attempt:
            result: Result = "retry" if state == "queued" else state
            return Settled(row, result, outcome.detail, now)
        wait_s = _wait_s(row, outcome, now, jitter)
        if outcome.lasting or wait_s is None:
            return _settled(db, row, "given-up", outcome.detail, now)
        next_try_at = now + timedelta(seconds=wait_s)
        return _settled(db, row, "retry", outcome.detail, now, next_try_at=next_try_at)


def _wait_s(row: OutboxRow, outcome: Outcome, now: datetime, jitter: float) -> float | None:
    """How long until the next attempt [s]; None where none is left before it expires."""
    left_s = (row.expires_at - now).total_seconds()
    asked_s = outcome.retry_after_s or 0.0
    if left_s <= 0 or asked_s >= left_s:
        return None
    minutes = BACK_OFF_MINUTES[min(row.attempt, len(BACK_OFF_MINUTES)) - 1]
    own_s = minutes * SECONDS_PER_MINUTE * (1 + JITTER_SHARE * (2 * jitter - 1))
    if own_s < left_s:
        return max(own_s, asked_s)
    # Too little is left for the usual pause: half of it, until there is too little for that.
    last_s = max(left_s / 2, asked_s)
    return last_s if last_s >= SECONDS_PER_MINUTE / 2 else None


def _settled(
    db: Database,
    row: OutboxRow,
    result: Result,
    detail: str,
    now: datetime,
    *,
    next_try_at: datetime | None = None,
) -> Settled:
    chain.add(
        db,
        "outcome",
        {
            "message": row.number,
            "at": to_text(now),
            "attempt": row.attempt,
            "result": result,
            "detail": detail,
        },
        now,
    )
    db.execute(
        "UPDATE outbox SET state = ?, next_try_at = ?, leased_until = NULL WHERE message = ?",
        [
            "queued" if result == "retry" else result,
            to_text(next_try_at or now),
            row.number,
        ],
    )
    return Settled(row, result, detail, now, next_try_at)


def expire(db: Database, now: datetime) -> tuple[Settled, ...]:
    """Give up what is past its age and not in flight; the service tells of each, as above."""
    with immediate(db):
        late = _rows(
            db,
            "state = 'queued' AND expires_at <= ?1"
            " AND (leased_until IS NULL OR leased_until <= ?1)",
            [to_text(now)],
        )
        detail = "not delivered in the time it was worth sending"
        return tuple(
            _settled(db, delivery.row, "given-up", delivery.detail or detail, now)
            for delivery in late
        )


def cancel_older(
    db: Database, thread: str, contact: str, recipient: str, now: datetime
) -> tuple[Settled, ...]:
    """Drop what this recipient was still to be told in a thread, before what follows is queued.

    One in flight may still arrive; then it is recorded as sent.
    """
    with immediate(db):
        older = _rows(
            db,
            "state = 'queued' AND thread = ? AND contact = ? AND recipient = ?",
            [thread, contact, recipient],
        )
        detail = "overtaken by a later message"
        return tuple(_settled(db, item.row, "cancelled", detail, now) for item in older)


def free_leases(db: Database, now: datetime) -> int:
    """Make every unsent row due now; returns how many were.

    At the start of the service, for nobody else can be sending, and after the clock was
    set, for the times in the rows no longer mean anything.
    """
    with immediate(db):
        cursor = db.execute(
            "UPDATE outbox SET leased_until = NULL, next_try_at = min(next_try_at, ?)"
            " WHERE state = 'queued' AND (leased_until IS NOT NULL OR next_try_at > ?)",
            [to_text(now), to_text(now)],
        )
        return int(cursor.rowcount)


@in_plain_words()
def undelivered(db: Database, now: datetime) -> Undelivered:
    """How many messages wait, how many were given up, and how old the oldest waiting is."""
    oldest, waiting, failing = db.execute(
        "SELECT min(queued_at), count(*), coalesce(sum(EXISTS ("
        "   SELECT 1 FROM outcomes WHERE outcomes.message = outbox.message)), 0)"
        " FROM outbox JOIN messages ON messages.id = outbox.message WHERE state = 'queued'"
    ).fetchone()
    given_up = db.execute("SELECT count(*) FROM outbox WHERE state = 'given-up'").fetchone()[0]
    by_contact = db.execute(
        "SELECT contact, count(*) FROM outbox JOIN messages ON messages.id = outbox.message"
        " WHERE state = 'queued' GROUP BY contact"
    ).fetchall()
    age = None if oldest is None else (now - from_text(oldest)).total_seconds()
    return Undelivered(age, waiting, failing, given_up, dict(by_contact))


@in_plain_words()
def deliveries(db: Database, since: datetime | None = None) -> tuple[Delivery, ...]:
    """Every message to every recipient queued at or after `since`, in that order."""
    return _rows(db, "queued_at >= ?", ["" if since is None else to_text(since)])


def _rows(db: Database, where: str, arguments: list[Any]) -> tuple[Delivery, ...]:
    rows = db.query(
        f"""
        SELECT messages.*, outbox.state, outbox.attempts, last.at AS last_at, last.detail
        FROM messages JOIN outbox ON outbox.message = messages.id
        LEFT JOIN outcomes AS last ON last.id =
            (SELECT max(id) FROM outcomes WHERE outcomes.message = messages.id)
        WHERE {where} ORDER BY messages.id
        """,  # noqa: S608 - the conditions of this module
        arguments,
    )
    return tuple(
        Delivery(
            OutboxRow(
                id=row["key"],
                number=row["id"],
                message=from_json(Message, row["body"]),
                contact=row["contact"],
                recipient=row["recipient"],
                queued_at=from_text(row["queued_at"]),
                expires_at=from_text(row["expires_at"]),
                attempt=row["attempts"],
            ),
            row["state"],
            from_text(row["last_at"]) if row["state"] != "queued" else None,
            row["detail"] or "",
        )
        for row in list(rows)
    )

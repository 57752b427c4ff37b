"""Messages queued with the change that caused them, until sent or given up aloud.

The service queues inside the `immediate` that records the change; delivery then leases one
row, sends it with no transaction open, and settles it. Killed in between, the lease runs out
and the row is sent again under the same id: at least once, never none.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from monitor.domain import Message, Outcome
from monitor.store import chain
from monitor.store.database import immediate, in_plain_words
from monitor.store.outbox_rows import (
    Choose,
    Delivery,
    Hold,
    OutboxRow,
    Result,
    Send,
    Settled,
    State,
    Undelivered,
    deliveries_where,
    rows_where,
)
from monitor.store.records import from_text, to_json, to_text
from monitor.units import SECONDS_PER_MINUTE

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = [
    "Choose",
    "Delivery",
    "Hold",
    "OutboxRow",
    "Send",
    "Settled",
    "State",
    "Undelivered",
    "cancel_older",
    "deliveries",
    "enqueue",
    "expire",
    "free_leases",
    "lease",
    "settle",
    "undelivered",
]

BACK_OFF_MINUTES = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0)
"""Pause after the first failed attempt, the second, ...; the last one repeats [min]."""

JITTER_SHARE = 0.2
"""A pause is drawn from this share either side, so that rows do not all come due at once."""

_LOOK_AGAIN = timedelta(seconds=1)
"""A held row is not asked about again before this."""

_AT_A_TIME = 100
"""So many rows are asked about before others may write: thousands may be held at once."""


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


def lease(
    db: Database, now: datetime, seconds: float = 60.0, choose: Choose | None = None
) -> OutboxRow | None:
    """The row to send next, ours for `seconds`; None when nothing is due.

    A stop goes before all else, then what has been due longest; what failed before goes
    last, and one at a time for each contact, so that a dead server cannot hold up the rest.
    What has expired is left for `expire`: an old message may say the opposite of what holds
    now. `choose` may hold a row, or send another one with it.
    """
    while True:
        with immediate(db):
            due = _due(db, now)
            for number in due:
                found: Hold | Send = Send(number)
                if choose is not None:
                    found = choose(rows_where(db, "messages.id = ?", [number])[0])
                if isinstance(found, Send):
                    return _leased(db, found, now, seconds)
                until = max(found.until, now + _LOOK_AGAIN)
                db.execute(
                    "UPDATE outbox SET not_before = ? WHERE message = ?", [to_text(until), number]
                )
        if len(due) < _AT_A_TIME:
            return None


def _leased(db: Database, found: Send, now: datetime, seconds: float) -> OutboxRow:
    for other in found.joined:
        db.execute("UPDATE outbox SET joined_to = ? WHERE message = ?", [found.number, other])
    db.execute(
        "UPDATE outbox SET attempts = attempts + 1, leased_until = ? WHERE message = ?",
        [to_text(now + timedelta(seconds=seconds)), found.number],
    )
    row = rows_where(db, "messages.id = ?", [found.number])[0]
    return replace(row, joined=_joined(db, row))


def _due(db: Database, now: datetime) -> list[int]:
    found = db.execute(
        """
        SELECT outbox.message, EXISTS (
            SELECT 1 FROM outcomes WHERE outcomes.message = outbox.message
        ) AS failed
        FROM outbox JOIN messages ON messages.id = outbox.message
        WHERE state = 'queued' AND next_try_at <= ?1 AND expires_at > ?1
            AND (leased_until IS NULL OR leased_until <= ?1)
            AND (not_before IS NULL OR not_before <= ?1) AND joined_to IS NULL
            AND NOT (failed AND contact IN (
                SELECT contact FROM outbox JOIN messages ON messages.id = outbox.message
                WHERE state = 'queued' AND leased_until > ?1
            ))
        ORDER BY urgent DESC, failed, next_try_at, outbox.message LIMIT ?2
        """,
        [to_text(now), _AT_A_TIME],
    ).fetchall()
    return [int(number) for number, _ in found]


def _joined(db: Database, row: OutboxRow) -> tuple[OutboxRow, ...]:
    return rows_where(db, "state = 'queued' AND joined_to = ?", [row.number])


def _free_joined(db: Database, number: int) -> None:
    """What should have been told with a row is to be told by itself."""
    db.execute(
        "UPDATE outbox SET joined_to = NULL WHERE joined_to = ? AND state = 'queued'", [number]
    )


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
            for other in row.joined:
                _settled(db, other, "sent", f"told with message {row.id}", now)
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
    if result in ("given-up", "cancelled"):
        _free_joined(db, row.number)
    return Settled(row, result, detail, now, next_try_at)


def expire(db: Database, now: datetime) -> tuple[Settled, ...]:
    """Give up what is past its age and not in flight; the service tells of each, as above."""
    with immediate(db):
        late = deliveries_where(
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
    db: Database,
    thread: str,
    contact: str,
    recipient: str,
    now: datetime,
    newer: Message | None = None,
) -> tuple[Settled, ...]:
    """Drop what this recipient was still to be told in a thread, before what follows is queued.

    One in flight may still arrive; then it is recorded as sent. `newer` is what follows: where
    it is queued already, it stays.
    """
    kept = "" if newer is None else _key(newer, contact, recipient)
    with immediate(db):
        older = rows_where(
            db,
            "state = 'queued' AND thread = ? AND contact = ? AND recipient = ? AND key <> ?",
            [thread, contact, recipient, kept],
        )
        detail = "overtaken by a later message"
        return tuple(_settled(db, row, "cancelled", detail, now) for row in older)


def free_leases(db: Database, now: datetime) -> int:
    """Make every unsent row due now; returns how many were.

    At the start of the service, for nobody else can be sending, and after the clock was
    set, for the times in the rows no longer mean anything.
    """
    with immediate(db):
        cursor = db.execute(
            "UPDATE outbox SET leased_until = NULL, not_before = NULL,"
            " next_try_at = min(next_try_at, ?) WHERE state = 'queued'"
            " AND (leased_until IS NOT NULL OR not_before IS NOT NULL OR next_try_at > ?)",
            [to_text(now), to_text(now)],
        )
        return int(cursor.rowcount)


@in_plain_words()
def undelivered(db: Database, now: datetime) -> Undelivered:
    """How many messages wait, how many were given up, and how old the oldest waiting is.

    One that is held for its moment is waiting too, and grows no older before that.
    """
    oldest, waiting, failing = db.execute(
        "SELECT min(iif(not_before > ?1, NULL, max(queued_at, coalesce(not_before, '')))),"
        " count(*), coalesce(sum(EXISTS ("
        "   SELECT 1 FROM outcomes WHERE outcomes.message = outbox.message)), 0)"
        " FROM outbox JOIN messages ON messages.id = outbox.message WHERE state = 'queued'",
        [to_text(now)],
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
    return deliveries_where(db, "queued_at >= ?", ["" if since is None else to_text(since)])

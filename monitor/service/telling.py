"""A change and all the messages it causes, written in the caller's transaction."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts import wording
from monitor.alerts.delivery import recipients, wants
from monitor.alerts.losses import Trouble, follow
from monitor.store.history import recall, record_change, remember
from monitor.store.outbox import cancel_older, enqueue
from monitor.store.records import from_json, to_json

if TYPE_CHECKING:
    from collections.abc import Collection

    from sqlite_utils import Database

    from monitor.alerts.losses import Found
    from monitor.domain import Alert, AlertKind, Message, Show

USUAL_LIFE = timedelta(hours=6)
"""How long a message without a deadline is worth sending."""
AFTER_DEADLINE = timedelta(hours=4)
"""And one with a deadline, after that: late, the gear is wet and live."""
LEAST_LIFE = timedelta(hours=2)


def tell(
    db: Database,
    show: Show,
    alert: Alert,
    reason: str,
    now: datetime,
    *,
    leave_out: Collection[tuple[str, str]] = (),
) -> Message:
    """Record a change and queue a message to everybody who wants it.

    What a recipient was still to be told of the same alert is dropped: it may say the
    opposite by now. `leave_out` names (contact, recipient) that are known not to be reached.
    """
    record_change(db, alert, reason, now)
    message = wording.message(alert, now)
    send(db, show, message, now, expires_at(alert, now), leave_out=leave_out)
    return message


def send(
    db: Database,
    show: Show,
    message: Message,
    now: datetime,
    expires: datetime,
    *,
    leave_out: Collection[tuple[str, str]] = (),
) -> None:
    """Queue a message, one row for each contact and recipient."""
    for contact in show.contacts:
        for recipient in recipients(contact):
            ended = message.stage in ("stop", "stood-down")
            if ended or wants(contact, message):
                # Where the newer word is not wanted, the older one is still to arrive.
                cancel_older(db, message.thread, contact.name, recipient, now)
            if wants(contact, message) and (contact.name, recipient) not in leave_out:
                enqueue(db, message, contact.name, recipient, at=now, expires_at=expires)


def expires_at(alert: Alert, now: datetime) -> datetime:
    """Until when a message about the alert is worth sending."""
    until = now + USUAL_LIFE
    if alert.kind == "work" and alert.do_by is not None:
        until = alert.do_by + AFTER_DEADLINE
    return max(until, now + LEAST_LIFE)


def follow_trouble(
    db: Database,
    show: Show,
    name: str,
    found: Found | None,
    now: datetime,
    *,
    over: str,
    kind: AlertKind = "weather",
    next_word_at: datetime | None = None,
) -> Message | None:
    """One step of a trouble that is kept under its name; the message, if there was one."""
    key = f"trouble/{name}"
    kept: Any = recall(db, key)
    trouble = None if kept is None else from_json(Trouble, to_json(kept))
    alert, after = follow(
        kind, name, trouble, found, show, now, over=over, next_word_at=next_word_at
    )
    if after != trouble:
        remember(db, key, after)
    return None if alert is None else tell(db, show, alert, alert.reason, now)

"""A change and all the messages it causes, written in the caller's transaction."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.alerts import wording
from monitor.alerts.delivery import recipients, wants
from monitor.alerts.interruptions import is_sheet
from monitor.alerts.losses import Trouble, follow
from monitor.alerts.quiet import TURN_BECAUSE, quiet_next, quiet_now
from monitor.service.links import links_for
from monitor.service.turns import call_on_change
from monitor.store.history import recall, record_change, remember
from monitor.store.outbox import cancel_older, enqueue
from monitor.store.records import from_json, to_json

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from sqlite_utils import Database

    from monitor.alerts.losses import Found
    from monitor.domain import Alert, AlertKind, Contact, Message, Show

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
    turn, first_heard = call_on_change(db, show, alert, message, now, leave_out)
    # Who was told before sleeps by the usual rules; whose turn has come is woken.
    woken = first_heard if turn.because == "cannot" else frozenset()
    send_to(db, show, alert, turn.contacts, now, leave_out=leave_out, woken=woken, because="cannot")
    return message


def send_to(
    db: Database,
    show: Show,
    alert: Alert,
    called: Collection[str],
    now: datetime,
    *,
    leave_out: Collection[tuple[str, str]] = (),
    woken: Collection[str] = (),
    because: str = "told",
) -> None:
    """Queue an alert as it stands to the contacts whose turn it is, each with their own links.

    `woken` names those whose turn has come because others did not act; to them `because`
    stands in the data as `turn_because`, and quiet hours do not hold such a message.
    """

    def for_one(contact: Contact, recipient: str) -> Message:
        said = wording.message(alert, now, links_for(db, show, alert, contact, recipient))
        if contact.name not in woken:
            return said
        return replace(said, data={**said.data, TURN_BECAUSE: because})

    send(
        db,
        show,
        wording.message(alert, now),
        now,
        expires_at(alert, now),
        leave_out=leave_out,
        called=called,
        for_one=for_one,
    )


def send(
    db: Database,
    show: Show,
    message: Message,
    now: datetime,
    expires: datetime,
    *,
    leave_out: Collection[tuple[str, str]] = (),
    called: Collection[str] | None = None,
    for_one: Callable[[Contact, str], Message] | None = None,
) -> None:
    """Queue a message, one row for each contact and recipient.

    `called` names the contacts whose turn it is; None: all. `for_one` gives the message with
    what is only for one recipient; it differs from `message` in text and data alone. What may
    have to wait for quiet hours to end is worth sending after them.
    """
    quiet = quiet_now(show, now) or quiet_next(show, now)
    if quiet is not None and quiet[0] < expires and not is_sheet(message):
        expires = max(expires, quiet[1] + LEAST_LIFE)
    for contact in show.contacts:
        for recipient in recipients(contact):
            ended = message.stage in ("stop", "stood-down")
            is_called = called is None or contact.name in called
            if ended or (is_called and wants(contact, message)):
                # Where the newer word is not wanted, the older one is still to arrive.
                cancel_older(db, message.thread, contact.name, recipient, now, message)
            if not is_called or (contact.name, recipient) in leave_out:
                continue
            if wants(contact, message):
                own = message if for_one is None else for_one(contact, recipient)
                enqueue(db, own, contact.name, recipient, at=now, expires_at=expires)


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
    again: bool = True,
) -> Message | None:
    """One step of a trouble that is kept under its name; the message, if there was one."""
    key = f"trouble/{name}"
    kept: Any = recall(db, key)
    trouble = None if kept is None else from_json(Trouble, to_json(kept))
    alert, after = follow(
        kind, name, trouble, found, show, now, over=over, next_word_at=next_word_at, again=again
    )
    if after != trouble:
        remember(db, key, after)
    return None if alert is None else tell(db, show, alert, alert.reason, now)

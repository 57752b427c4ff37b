"""One step of delivery: lease the oldest due message, send it, record what came of it.

No transaction is open while a message is under way. What a sender did not foresee counts as
a failure that may pass: the message stays queued and is tried again.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Protocol

from monitor.alerts import by_apprise, by_email, by_folder, by_webhook
from monitor.alerts.words import one_line
from monitor.domain import DryspellError, Outcome
from monitor.store import outbox
from monitor.store.database import immediate

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Contact, Message

LEASE_S = 90.0
"""Longer than any sender takes."""


class Sender(Protocol):
    """One attempt to get one message to one recipient."""

    def __call__(  # noqa: D102
        self,
        message: Message,
        contact: Contact,
        recipient: str,
        row_id: str,
        *,
        secret: str | None,
        now: datetime,
    ) -> Outcome: ...


class Rules(Protocol):
    """What is held back, and what is told together."""

    def choose(self, row: outbox.OutboxRow, now: datetime) -> outbox.Hold | outbox.Send:
        """What to do with a row that is due."""

    def words(self, row: outbox.OutboxRow, now: datetime) -> Message:
        """The message as it is sent now, with what is told with it."""


SENDERS: dict[str, Sender] = {
    "email": by_email.send,
    "webhook": by_webhook.send,
    "folder": by_folder.send,
    "apprise": by_apprise.send,
}


def deliver_one(
    db: Database,
    contacts: Mapping[str, Contact],
    now: Callable[[], datetime],
    secret: Callable[[str], str],
    jitter: Callable[[], float],
    *,
    on_settled: Callable[[outbox.Settled], None] | None = None,
    rules: Rules | None = None,
) -> outbox.Settled | None:
    """Send the next due message; None when nothing is due.

    Parameters
    ----------
    contacts : by name, as the show folder has them now
    secret : reads a secret reference (`env:NAME`, `file:PATH`) at the moment of sending
    jitter : draws from [0, 1)
    on_settled : called in the transaction that records the outcome, so that a message given
        up and the alert about it are recorded together
    rules : who may be interrupted when; None: everybody, at any time
    """
    at = now()
    choose = None if rules is None else partial(rules.choose, now=at)
    row = outbox.lease(db, at, LEASE_S, choose)
    if row is None:
        return None
    message = row.message if rules is None else rules.words(row, at)
    outcome = attempt(
        message, contacts.get(row.contact), row.recipient, row.id, secret=secret, now=now()
    )
    with immediate(db):
        settled = outbox.settle(db, row, outcome, now(), jitter())
        if on_settled is not None:
            on_settled(settled)
    return settled


def attempt(
    message: Message,
    contact: Contact | None,
    recipient: str,
    row_id: str,
    *,
    secret: Callable[[str], str],
    now: datetime,
) -> Outcome:
    """One attempt through the right sender, which cannot bring the service down."""
    if contact is None:
        return Outcome(sent=False, lasting=True, detail="the show folder has this contact no more")
    try:
        reference = _reference(contact, recipient)
        opened = None if reference is None else secret(reference)
        return SENDERS[contact.kind](message, contact, recipient, row_id, secret=opened, now=now)
    except DryspellError as fault:
        return Outcome(sent=False, detail=one_line(str(fault))[:200])
    except Exception as fault:  # noqa: BLE001 - a message is never lost to a fault of ours
        # only the name: the text of an exception may carry a password or a key
        return Outcome(sent=False, detail=f"could not be sent ({type(fault).__name__})")


def _reference(contact: Contact, recipient: str) -> str | None:
    """Which secret this message needs; None where it needs none."""
    if contact.kind == "apprise":
        return recipient if recipient in contact.to else None
    return contact.password if contact.kind == "email" else contact.secret


def recipients(contact: Contact) -> tuple[str, ...]:
    """One outbox row each: every mailbox or target of a contact, else the contact itself."""
    return contact.to if contact.kind in {"email", "apprise"} else (contact.name,)


def wants(contact: Contact, message: Message) -> bool:
    """Whether the contact is told: `stages` filters work, and nothing else."""
    if message.kind != "work" or message.stage in {None, "stop"} or contact.stages is None:
        return True
    return message.stage in contact.stages

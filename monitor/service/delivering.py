"""Sending what is due, and telling the others of a contact that cannot be reached."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.delivery import deliver_one
from monitor.alerts.losses import Attempt, after_attempt, follow
from monitor.service.failing import failing as failing_now
from monitor.service.failing import note_failing
from monitor.service.interrupting import Interruptions
from monitor.service.telling import tell
from monitor.store import outbox
from monitor.store.database import immediate
from monitor.store.holding import ask_again

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Contact, Show


def deliver_due(
    db: Database,
    show: Show,
    contacts: Mapping[str, Contact],
    now: Callable[[], datetime],
    secret: Callable[[str], str],
    jitter: Callable[[], float],
    stopping: Callable[[], bool],
) -> list[outbox.Settled]:
    """Send everything that is due now; stops between two messages when asked to."""
    done: list[outbox.Settled] = []

    def look_after(settled: outbox.Settled) -> None:
        _look_after(db, show, settled, now())

    with immediate(db):
        for settled in outbox.expire(db, now()):
            look_after(settled)
            done.append(settled)
    rules = Interruptions(db, show)
    while not stopping():
        sent = deliver_one(db, contacts, now, secret, jitter, on_settled=look_after, rules=rules)
        if sent is None:
            break
        done.append(sent)
    return done


def _look_after(db: Database, show: Show, settled: outbox.Settled, now: datetime) -> None:
    """In the transaction that settles a message: what its failure, or its arrival, calls for."""
    row = settled.row
    before = failing_now(db)
    there = any(contact.name == row.contact for contact in show.contacts)
    alert, failing = after_attempt(
        # A contact that the folder has no more is told of once and then forgotten.
        before if there else (),
        Attempt(
            row.contact,
            row.recipient,
            row.message.subject,
            settled.result,
            row.attempt,
            settled.detail,
        ),
        show,
        now,
    )
    if there and failing != before:
        note_failing(db, failing)
        # What others sleep on because this one hears it is looked at again.
        ask_again(db)
    if alert is not None:
        failed = {(f.contact, r) for f in (*before, *failing) for r in f.recipients}
        tell(db, show, alert, alert.reason, now, leave_out=failed)


def forget_gone(db: Database, show: Show, now: datetime) -> None:
    """End the trouble of contacts that the show folder has no more."""
    names = {contact.name for contact in show.contacts}
    before = failing_now(db)
    gone = [f for f in before if f.contact not in names]
    if not gone:
        return
    for failing in gone:
        over = f"the show folder has the contact {failing.contact} no more"
        alert, _ = follow("delivery", "", failing.trouble, None, show, now, over=over)
        if alert is not None:
            tell(db, show, alert, alert.reason, now)
    note_failing(db, tuple(f for f in before if f.contact in names))

"""Whom a change of an alert is told to, kept in the transaction that queues the messages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.delivery import recipients, wants
from monitor.alerts.turns import told_now
from monitor.store.answers import answers, record_turn, turns

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from sqlite_utils import Database

    from monitor.domain import Alert, Answered, Contact, Message, Show


def call_on_change(
    db: Database,
    show: Show,
    alert: Alert,
    message: Message,
    now: datetime,
    leave_out: Collection[tuple[str, str]] = (),
) -> frozenset[str]:
    """The names of the contacts that are told of a change now."""
    contacts = reachable(show, message, leave_out)
    turn = told_now(alert, contacts, turns(db, alert.id), answers_to(db, alert.id), now)
    record_turn(db, turn)
    return frozenset(turn.contacts)


def reachable(
    show: Show, message: Message, leave_out: Collection[tuple[str, str]] = ()
) -> tuple[Contact, ...]:
    """Who wants a message and has a recipient that is not known to be out of reach."""
    return tuple(
        contact
        for contact in show.contacts
        if wants(contact, message)
        and any((contact.name, recipient) not in leave_out for recipient in recipients(contact))
    )


def answers_to(db: Database, alert_id: str) -> tuple[Answered, ...]:
    """The answers to one alert, oldest first."""
    return tuple(answered for answered in answers(db) if answered.alert == alert_id)

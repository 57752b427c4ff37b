"""Whom a change of an alert is told to, kept in the transaction that queues the messages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.alerts.delivery import recipients, wants
from monitor.alerts.turns import told_now
from monitor.domain import Turn
from monitor.store.answers import answers, answers_as_news, record_turn, turns
from monitor.store.reached import told_of

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
) -> tuple[Turn, frozenset[str]]:
    """Who is told of a change now, and the names of those who hear of the alert first by it."""
    contacts = reachable(show, message, leave_out)
    before = turns(db, alert.id) or _of_before(db, alert)
    news = [answered for answered in answers_as_news(db) if answered.alert == alert.id]
    turn = told_now(alert, contacts, before, news, now, _planned(show, alert))
    record_turn(db, turn)
    known = {name for earlier in before for name in earlier.contacts}
    return turn, frozenset(turn.contacts) - known


def _planned(show: Show, alert: Alert) -> frozenset[str]:
    """The contacts of those who are planned by name to do it."""
    who = alert.facts.who
    return frozenset(
        person.contact
        for person in show.crew.people
        if person.name in who and person.contact is not None
    )


def _of_before(db: Database, alert: Alert) -> tuple[Turn, ...]:
    """An alert told before turns were kept: who was told of it is told what follows."""
    told = told_of(db, alert.id)
    if told is None:
        return ()
    at, names = told
    return (Turn(at, alert.id, alert.stage, alert.action, names, "told"),)


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
